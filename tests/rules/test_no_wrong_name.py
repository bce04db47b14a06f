"""Conversations in which the obvious one is not to blame, or no one can be told to be.

Each is paired with its near side, in which the blame is proven.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from pdcheck.conversation import follow
from pdcheck.rules import Case, Who
from pdcheck.verdict import Outcome, Verdict, judge_case
from tests.conversation.told import Told, reading_of, told, verdict_on
from tests.reference import words
from tests.reference.talk import Ports, Talk
from tests.rules.stories import FIVE, NINE, contract, epr, offer


def _verdict(story: Callable[[Talk], None], tail_s: float = 0.6, *, with_vbus: bool = True) -> Verdict:
    talk = Talk(random.Random(1), Ports(source_bps=300e3, sink_bps=310e3), 0.2)
    talk.response, talk.transmit = (5e-3, 5e-3), (60e-6, 60e-6)
    talk.attach()
    story(talk)
    return verdict_on(told(talk, random.Random(2), tail_s=tail_s, with_vbus=with_vbus))


@pytest.mark.parametrize(("objects", "who"), [
    ((FIVE, NINE), Who.SINK),
    ((NINE, FIVE), None),  # USB PD, section 6.4.1: the first object is vSafe5V
    ((FIVE, words.fixed(28000, 3000)), None),
    ((FIVE, words.variable(12000, 9000, 1000)), None),
])
def test_an_offer_that_breaks_the_standard_need_not_be_taken(objects: tuple[int, ...], who: Who | None) -> None:
    def story(talk: Talk) -> None:
        for _ in range(3):
            offer(talk, objects)
            talk.now += 30e-3
            talk.hard_reset("source")

    verdict = _verdict(story)
    assert (verdict.outcome, verdict.leading and verdict.leading.rule, verdict.suspect) == (
        Outcome.FAIL, "no-request", who,
    ), verdict.summary


@pytest.mark.parametrize(("broken", "expected"), [(0, Outcome.FAIL), (1, Outcome.FAIL), (8, Outcome.INCONCLUSIVE)])
def test_who_hears_a_line_on_which_hardly_anything_is_readable(broken: int, expected: Outcome) -> None:
    """An offer now and then arrives whole at the probe; nothing says that one did at the device."""

    def story(talk: Talk) -> None:
        for _ in range(6):
            talk.unanswered("source", "Source_Capabilities", (FIVE, NINE), message_id=0)
            talk.now += 0.15
            for _ in range(broken):
                talk.unanswered("source", "Source_Capabilities", (FIVE, NINE), message_id=0, corrupt=True)
                talk.now += 0.15

    verdict = _verdict(story)
    assert verdict.outcome is expected, verdict.summary
    assert verdict.suspect is (Who.SINK if expected is Outcome.FAIL else Who.LINK), verdict.summary


def _begins_anew(talk: Talk, rounds: int, hold_s: float) -> None:
    for place in range(rounds):
        if place:
            talk.restart_ids()
            talk.now += 0.6
        contract(talk, 2)
        talk.now += hold_s


def test_a_contract_that_is_lost_again_and_again_is_no_pass() -> None:
    verdict = _verdict(lambda talk: _begins_anew(talk, 5, 0.3), tail_s=0.1, with_vbus=False)
    assert (verdict.outcome, verdict.suspect) == (Outcome.INCONCLUSIVE, None), verdict.summary
    assert verdict.leading is not None and verdict.leading.rule == "contract-made-anew"


@pytest.mark.parametrize(("rounds", "tail_s"), [(3, 0.1), (5, 3.0)])
def test_replugged_a_little_or_standing_in_the_end_is_a_pass(rounds: int, tail_s: float) -> None:
    verdict = _verdict(lambda talk: _begins_anew(talk, rounds, 0.3), tail_s=tail_s, with_vbus=False)
    assert verdict.outcome is Outcome.PASS, verdict.summary


def test_new_offers_under_a_contract_are_no_new_beginning() -> None:
    def story(talk: Talk) -> None:
        for position in (2, 1, 2, 1, 2, 1):
            contract(talk, position)
            talk.now += 0.3

    assert _verdict(story, tail_s=0.1).outcome is Outcome.PASS


@pytest.mark.parametrize(("volts", "expected"), [
    (9.0, (Outcome.INCONCLUSIVE, Who.CAPTURE)), (5.0, (Outcome.FAIL, Who.SOURCE)), (7.0, (Outcome.FAIL, Who.SOURCE)),
])
def test_a_hole_in_the_capture_where_ps_rdy_should_be(volts: float, expected: tuple[Outcome, Who]) -> None:
    """VBUS came, and the device does not reset though it would have to (tPSTransition): it has had its PS_RDY."""

    def story(talk: Talk) -> None:
        offer(talk)
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 1000, 1000)])
        talk.responding()
        talk.say("source", "Accept")
        talk.move_vbus(volts, talk.now + 30e-3, talk.now + 60e-3)
        talk.now += 0.1

    verdict = _verdict(story, tail_s=3.0)
    assert (verdict.outcome, verdict.suspect) == expected, verdict.summary


def _told(story: Callable[[Talk], None]) -> Told:
    talk = Talk(random.Random(1), Ports(source_bps=300e3, sink_bps=310e3), 0.2)
    talk.response, talk.transmit = (5e-3, 5e-3), (60e-6, 60e-6)
    talk.attach()
    story(talk)
    return told(talk, random.Random(2), tail_s=0.6, with_vbus=False)


def _never_asks(talk: Talk) -> None:
    for _ in range(3):
        offer(talk)
        talk.now += 30e-3
        talk.hard_reset("source")


def _never_accepts(talk: Talk) -> None:
    for _ in range(3):
        offer(talk)
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 1000, 1000)])
        talk.now += 30e-3
        talk.hard_reset("sink")


def _pulled_early(talk: Talk) -> None:
    offer(talk)


@pytest.mark.parametrize(("read", "other", "expected"), [
    (_never_asks, contract, (Outcome.INCONCLUSIVE, None)),
    (contract, _never_asks, (Outcome.INCONCLUSIVE, None)),
    (_never_asks, _never_accepts, (Outcome.INCONCLUSIVE, None)),
    (_never_asks, _never_asks, (Outcome.FAIL, Who.SINK)),
    (contract, contract, (Outcome.PASS, None)),
    (contract, _pulled_early, (Outcome.PASS, None)),
    (_never_asks, _pulled_early, (Outcome.FAIL, Who.SINK)),
])
def test_a_plug_that_was_turned_over_in_the_capture(
    read: Callable[[Talk], None], other: Callable[[Talk], None], expected: tuple[Outcome, Who | None]
) -> None:
    """What fails on one CC contact and not on the other convicts no chip (README, "Turn the plug over")."""
    one, two = _told(read), _told(other)
    reading = replace(reading_of(one), second=replace(reading_of(two), cc="CC2"))
    verdict = judge_case(Case.of(reading, follow(reading)))
    assert (verdict.outcome, verdict.suspect) == expected, verdict.summary
    if expected == (Outcome.INCONCLUSIVE, None):
        assert '"CC1"' in verdict.summary and '"CC2"' in verdict.summary and "--cc" in verdict.next[0]


@pytest.mark.parametrize(("broken", "kind", "blamed"), [
    (False, "EPR_Source_Capabilities", True), (True, "EPR_Source_Capabilities", False),
    (False, "Extended_Control", False), (True, "Extended_Control", False),
])
def test_a_part_that_may_not_have_been_the_answer(broken: bool, kind: str, blamed: bool) -> None:
    """Part 1 is asked for, and what comes next bears the number 0: the wrong part only where it is of that message."""

    def story(talk: Talk) -> None:
        epr(talk)
        data = b"".join(word.to_bytes(4, "little") for word in (FIVE, NINE, 0, 0, 0, 0, 0, words.fixed(28000, 5000)))
        name = "EPR_Source_Capabilities"
        talk.responding()
        talk.say("source", name, words.extended_words(data[:26], size=len(data)))
        talk.responding()
        talk.say("sink", name, words.extended_words(b"", chunk=1, asking=True))
        talk.responding()
        if broken:
            rest = words.extended_words(data[26:], size=len(data), chunk=1)
            talk.unanswered("source", name, rest, corrupt=True, retries=0)
        again = data[:26] if kind == name else bytes((4, 0))
        talk.say("source", kind, words.extended_words(again, size=len(data) if kind == name else None))

    said = [f.who for f in _verdict(story).findings if f.rule == "wrong-chunk"]
    assert said == ([Who.SOURCE] if blamed else [])
