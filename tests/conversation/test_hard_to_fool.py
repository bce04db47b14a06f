"""Conversations made up to fool the checker, the smallest of each kind that once did.

Words by `tests/reference/words.py`, which shares no code with the checker; times are those of the specification's
timers as in `tests/reference/talk.py`.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from pdcheck.conversation.model import Step
from pdcheck.rules import Severity, Who
from pdcheck.rules.words import span
from pdcheck.verdict import Outcome, Verdict
from tests.conversation.told import told, verdict_on
from tests.reference import words
from tests.reference.talk import Ports, Talk
from tests.rules.stories import FIVE, NINE, PPS, contract, epr_contract, granted, keep_alive, offer


def judged(story: Callable[[Talk], None], *, tail_s: float = 0.3, with_vbus: bool = True) -> Verdict:
    talk = Talk(random.Random(1), Ports(), 0.2)
    talk.attach()
    story(talk)
    return verdict_on(told(talk, random.Random(2), tail_s=tail_s, with_vbus=with_vbus))


def rules(verdict: Verdict) -> dict[str, tuple[Severity, Who | None]]:
    return {f.rule: (f.severity, f.who) for f in verdict.findings}


def test_what_the_capture_cannot_tell_is_not_called_a_broken_rule() -> None:
    """A device that starts up on the charger resets once; the capture ends before the next offer is due."""

    def story(talk: Talk) -> None:
        contract(talk, 2)
        talk.hard_reset("sink", back=False)

    verdict = judged(story, tail_s=0.2)
    assert verdict.outcome is Outcome.INCONCLUSIVE and verdict.suspect is None
    assert rules(verdict)["contract-lost"] == (Severity.INFO, None)
    assert all(f.severity is Severity.INFO for f in verdict.findings)


@pytest.mark.parametrize(("rounds", "outcome"), [(2, Outcome.INCONCLUSIVE), (3, Outcome.FAIL)])
def test_contracts_that_never_last_are_a_fault_wherever_the_capture_ends(rounds: int, outcome: Outcome) -> None:
    def story(talk: Talk) -> None:
        for place in range(rounds):
            contract(talk, 2)
            talk.hard_reset("sink", back=place < rounds - 1)

    verdict = judged(story, tail_s=0.2)
    assert verdict.outcome is outcome
    assert verdict.suspect is None


def renewed_never(talk: Talk) -> None:
    offer(talk, (FIVE, NINE, PPS))
    talk.responding()
    talk.say("sink", "Request", [words.request_pps(3, 5000, 1000)])
    granted(talk)


@pytest.mark.parametrize(("tail_s", "warns"), [(9.8, False), (12.0, True)])
def test_a_programmable_contract_that_is_never_renewed(tail_s: float, warns: bool) -> None:
    """tPPSRequest is 10 s (from memory); the charger may be patient, the device is late all the same."""
    verdict = judged(renewed_never, tail_s=tail_s)
    assert verdict.outcome is Outcome.PASS
    assert (rules(verdict).get("pps-renewed-late") == (Severity.WARN, Who.SINK)) is warns


def test_a_programmable_contract_may_end_with_the_plug() -> None:
    """Without VBUS nobody knows whether the plug is still in."""
    assert "pps-renewed-late" not in rules(judged(renewed_never, tail_s=12.0, with_vbus=False))


def test_a_request_that_breaks_on_the_way_is_no_hurry() -> None:
    """Every Request is corrupt, and the device resets when nobody acknowledges it: nobody was given too little time."""

    def story(talk: Talk) -> None:
        for _ in range(3):
            offer(talk)
            talk.responding()
            talk.unanswered("sink", "Request", [words.request_fixed(2, 1000, 1000)], corrupt=True)
            talk.now += 2e-3
            talk.hard_reset("sink")
        offer(talk)

    verdict = judged(story, tail_s=1e-3)
    assert "given-up-early" not in rules(verdict)
    assert verdict.outcome is not Outcome.FAIL


def ask_cable(talk: Talk) -> None:
    question = [words.vdm_header(0xFF00, 1, 0, version=1)]
    for _ in range(3):
        talk.unanswered("source", "Vendor_Defined", question, sop="SOP'")
        talk.now += 45e-3


def reset_only(talk: Talk) -> None:
    talk.hard_reset("source")


@pytest.mark.parametrize("story", [ask_cable, reset_only])
def test_what_may_come_before_an_offer_does_not_prove_one(story: Callable[[Talk], None]) -> None:
    """Discover Identity on SOP' comes before the first offer (USB PD, section 8.3.3.2; from memory)."""
    verdict = judged(story)
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert verdict.suspect is Who.CAPTURE
    assert "the offer that came before it" not in verdict.summary


def test_a_request_proves_an_offer_before_the_capture() -> None:
    def story(talk: Talk) -> None:
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])

    assert "the offer that came before it is not in the file" in judged(story).summary


@pytest.mark.parametrize(("seconds", "text"), [
    (0.9994, "999 ms"), (0.99999, "1 s"), (0.99996e-3, "1 ms"), (1000.2, "1000 s"), (25e-3, "25 ms"),
])
def test_lengths_of_time_are_never_written_with_an_exponent(seconds: float, text: str) -> None:
    assert span(seconds) == text


def test_a_swap_that_the_capture_does_not_see_through_says_so() -> None:
    """Without VBUS the plug may have been pulled after the Accept: nobody is accused, and the report says why."""

    def story(talk: Talk) -> None:
        contract(talk, 2)
        talk.say("sink", "PR_Swap")
        talk.responding()
        talk.say("source", "Accept")

    verdict = judged(story, tail_s=2.0, with_vbus=False)
    assert (verdict.outcome, verdict.suspect) == (Outcome.INCONCLUSIVE, Who.CAPTURE)
    assert "swap of the power roles" in verdict.summary and verdict.next


def test_a_renewal_that_the_capture_lost_still_leaves_a_reason() -> None:
    """After 14 s without a readable Request comes a reset; one of the packets between is not in the capture."""

    def story(talk: Talk) -> None:
        renewed_never(talk)
        talk.now += 8.0
        ask = talk.send("sink", "Request", [words.request_pps(3, 5000, 1000)])
        talk.good_crc("source", ask)
        talk.packets.remove(ask)
        talk.now += 6.0
        talk.hard_reset("source", back=False)

    verdict = judged(story, tail_s=0.1, with_vbus=False)
    assert (verdict.outcome, verdict.suspect) == (Outcome.INCONCLUSIVE, None)
    assert "ended in a Hard Reset" in verdict.summary and verdict.next


def test_an_accept_that_nobody_heard_is_where_it_stopped_though_ps_rdy_follows() -> None:
    """A step is reached when its message is acknowledged, and the charger went on without that."""

    def story(talk: Talk) -> None:
        offer(talk)
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
        talk.responding()
        talk.unanswered("source", "Accept")
        talk.now += 0.1
        talk.unanswered("source", "PS_RDY")

    verdict = judged(story)
    assert (verdict.outcome, verdict.stopped_at, verdict.suspect) == (Outcome.FAIL, Step.ACCEPT, Who.SINK)


@pytest.mark.parametrize(("wrong", "outcome"), [(1, Outcome.INCONCLUSIVE), (3, Outcome.FAIL)])
def test_goodcrcs_that_name_another_message_each_time(wrong: int, outcome: Outcome) -> None:
    """Nobody repeats anything: one wrong number may be a slip, the same in every GoodCRC is the device's way."""

    def story(talk: Talk) -> None:
        def said(kind: str, number: int, objects: tuple[int, ...] = ()) -> None:
            packet = talk.send("source", kind, objects)
            own = talk.next_id("source")
            talk.good_crc("sink", packet, message_id=(own + 1) % 8 if number > 3 - wrong else None)
            talk.count_on("source")

        said("Source_Capabilities", 1, (FIVE, NINE))
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
        talk.responding()
        said("Accept", 2)
        talk.now += 0.1
        said("PS_RDY", 3)

    verdict = judged(story)
    assert verdict.outcome is outcome
    assert verdict.suspect is (Who.SINK if outcome is Outcome.FAIL else Who.CAPTURE)


@pytest.mark.parametrize(("asker", "party"), [("sink", Who.SOURCE), ("source", Who.SINK)])
@pytest.mark.parametrize(("answered", "again"), [(True, False), (False, True), (False, False)])
def test_who_does_not_answer_under_a_contract(asker: str, party: Who, answered: bool, again: bool) -> None:
    """The contract outlives it, and it is against the standard all the same (tReceiverResponse)."""
    ask = [words.request_fixed(2, 900, 900)]

    def story(talk: Talk) -> None:
        contract(talk)
        for _ in range(1 + again):
            if asker == "source":
                offer(talk)
            else:
                talk.say("sink", "Request", ask)
            talk.now += 0.15
        if answered:
            talk.now -= 0.14
            if asker == "source":
                talk.say("sink", "Request", ask)
            granted(talk, volts=9.0)

    verdict = judged(story, tail_s=0.9)
    assert verdict.outcome is Outcome.PASS
    assert rules(verdict).get("question-not-answered") == (None if answered else (Severity.WARN, party))


@pytest.mark.parametrize("anew", [True, False])
def test_an_offer_after_wait_is_answered_at_once(anew: bool) -> None:
    """tSinkRequest (100 ms) holds for a Request of the device's own; an offer is owed one within tReceiverResponse."""
    ask = [words.request_fixed(1, 1000, 1000)]

    def story(talk: Talk) -> None:
        offer(talk)
        talk.responding()
        talk.say("sink", "Request", ask)
        talk.responding()
        talk.say("source", "Wait")
        talk.now += 40e-3
        if anew:
            offer(talk)
            talk.responding()
        talk.say("sink", "Request", ask)
        granted(talk)

    verdict = judged(story)
    assert verdict.outcome is Outcome.PASS
    assert rules(verdict).get("asked-again-too-soon") == (None if anew else (Severity.WARN, Who.SINK))


def test_an_offer_that_was_only_asked_for_in_epr_mode_needs_no_request() -> None:
    """In EPR mode the answer to Get_Source_Cap tells, and the contract goes on (USB PD, section 6.4.1; from memory)."""

    def story(talk: Talk) -> None:
        epr_contract(talk)
        talk.now += 0.3
        talk.say("sink", "Get_Source_Cap")
        talk.responding()
        offer(talk)
        talk.now += 0.3
        keep_alive(talk)

    verdict = judged(story)
    assert verdict.outcome is Outcome.PASS
    assert "question-not-answered" not in rules(verdict)


@pytest.mark.parametrize(("tail_s", "outcome"), [(0.3, Outcome.INCONCLUSIVE), (4.0, Outcome.FAIL)])
def test_a_charger_that_still_asks_the_cable_after_a_reset_has_its_time(tail_s: float, outcome: Outcome) -> None:
    """Discover Identity goes out up to 20 times (nDiscoverIdentityCount) before the offer."""

    def story(talk: Talk) -> None:
        contract(talk, 2)
        talk.hard_reset("sink")
        for _ in range(20):
            question = [words.vdm_header(0xFF00, 1, 0, version=1)]
            talk.unanswered("source", "Vendor_Defined", question, sop="SOP'")
            talk.now += 45e-3

    verdict = judged(story, tail_s=tail_s)
    assert (verdict.outcome, verdict.suspect) == (outcome, None)


@pytest.mark.parametrize(("tail_s", "outcome"), [(10e-3, Outcome.INCONCLUSIVE), (60e-3, Outcome.FAIL)])
def test_a_late_request_may_meet_a_patient_charger(tail_s: float, outcome: Outcome) -> None:
    """45 ms after the offer, and acknowledged: whether the charger had given up shows within tSenderResponse."""

    def story(talk: Talk) -> None:
        offer(talk)
        talk.now += 45e-3
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])

    verdict = judged(story, tail_s=tail_s)
    assert verdict.outcome is outcome
    assert verdict.suspect is (Who.SINK if outcome is Outcome.FAIL else Who.CAPTURE)
    late = "late-request" if outcome is Outcome.FAIL else "answer-late"
    assert rules(verdict)[late][1] is Who.SINK


def test_a_charger_that_talks_on_has_not_given_up() -> None:
    """Something else is asked and answered between offer and Request, and takes its time."""

    def story(talk: Talk) -> None:
        offer(talk)
        talk.now += 14e-3
        talk.say("source", "Get_Sink_Cap")
        talk.now += 14e-3
        talk.say("sink", "Sink_Capabilities", [words.fixed(5000, 1000)])
        talk.now += 14e-3
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])

    verdict = judged(story, tail_s=60e-3, with_vbus=False)
    assert verdict.suspect is not Who.SINK


@pytest.mark.parametrize("both", [True, False])
def test_goodcrcs_that_send_back_the_header_they_acknowledge(both: bool) -> None:
    """Both ports do it and get on well: worth knowing. One port alone does not know its role."""

    def story(talk: Talk) -> None:
        def said(sender: str, kind: str, objects: tuple[int, ...] = ()) -> None:
            packet = talk.send(sender, kind, objects)
            wrong = both or sender == "source"
            talk.good_crc(sender if wrong else talk.partner(sender, "SOP"), packet)
            talk.count_on(sender)
            talk.now += 5e-3

        said("source", "Source_Capabilities", (FIVE, NINE))
        said("sink", "Request", (words.request_fixed(1, 1000, 1000),))
        said("source", "Accept")
        talk.now += 50e-3
        said("source", "PS_RDY")

    verdict = judged(story)
    assert verdict.outcome is Outcome.PASS
    found = {(f.who, f.severity) for f in verdict.findings if f.rule == "power-role-wrong"}
    info = {(Who.SINK, Severity.INFO), (Who.SOURCE, Severity.INFO)}
    assert found == (info if both else {(Who.SINK, Severity.WARN)})
