"""Conversations that are lawful and unusual, and captures that cannot tell: nobody is accused who did no wrong.

Found with an encoder of its own against the verdict; told here with the reference talks, which share no code with the
checker. What the standard says stands at each test; section numbers are those of the USB PD specification, from memory.
"""

from __future__ import annotations

import random

import pytest

from pdcheck.rules import Who
from pdcheck.verdict import Outcome
from tests.conversation.told import told
from tests.reference import words
from tests.reference.healthy_talks import offer_to
from tests.reference.talk import Ports, Talk
from tests.rules.meters import Meter, verdict_with
from tests.rules.scenes import GOOD, GOOD_AMPS, OFFER, Scene, loud, negotiate


def asks(talk: Talk, *, most_ma: int, flags: int = 0, answer: str = "Reject") -> None:
    """A request for 9 V (3 A are offered) with that maximum, and its answer."""
    talk.attach()
    offer_to(talk, list(OFFER))
    talk.responding()
    talk.say("sink", "Request", [words.request_fixed(2, 1000, most_ma, flags=flags)])
    talk.responding()
    talk.say("source", answer)
    talk.now += 1.0


@pytest.mark.parametrize(
    ("most_ma", "flags", "who"),
    [(3500, 0, Who.SINK), (3000, 0, Who.SOURCE), (3500, words.MISMATCH, Who.SOURCE)],
)
def test_a_maximum_beyond_the_offer_may_be_refused(most_ma: int, flags: int, who: Who) -> None:
    """6.4.2.3: without the mismatch bit the maximum is at most what was offered, else the Request is not valid."""
    for seed in range(4):
        verdict = Scene(lambda talk: asks(talk, most_ma=most_ma, flags=flags), whole=True).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, who), verdict.summary


def test_a_maximum_beyond_the_offer_is_no_matter_where_it_is_accepted() -> None:
    def story(talk: Talk) -> None:
        asks(talk, most_ma=3500, answer="Accept")
        talk.now -= 0.9
        talk.move_vbus(9.0, talk.now - 0.05, talk.now - 0.01)
        talk.say("source", "PS_RDY")

    verdict = Scene(story, whole=True).verdict()
    assert verdict.outcome is Outcome.PASS
    assert not loud(verdict)


def trips(amps: float, by: str = "source") -> Scene:
    """After each Accept the device draws that, VBUS breaks down and somebody resets."""

    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(3):
            offer_to(talk, list(OFFER))
            talk.responding()
            talk.say("sink", "Request", [words.request_fixed(2, 1000, 1000)])
            talk.responding()
            talk.say("source", "Accept")
            talk.draw(amps, talk.now + 30e-3)
            talk.move_vbus(2.0, talk.now + 45e-3, talk.now + 50e-3)
            talk.now += 60e-3
            talk.draw(0.0, talk.now)
            talk.hard_reset(by)

    return Scene(story, amps=GOOD_AMPS, whole=True)


def test_an_overload_between_accept_and_ready_is_the_device_s() -> None:
    """7.2.3: the device goes to standby after Accept; a charger that then protects itself has done right."""
    for seed in range(4):
        verdict = trips(4.6).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, Who.SINK), verdict.summary
        assert not [f for f in loud(verdict) if f.who is Who.SOURCE]


def test_a_charger_that_gives_up_without_an_overload_is_still_named() -> None:
    for seed in range(4):
        verdict = trips(0.4).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, Who.SOURCE), verdict.summary


def restarts(times: int, held_s: float, last_s: float) -> Scene:
    """So many contracts that the device ends with a Hard Reset, then one that stands."""

    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(times):
            negotiate(talk, 2, 2000)
            talk.now += held_s
            talk.hard_reset("sink")
        negotiate(talk, 2, 2000)
        talk.now += last_s

    return Scene(story, whole=True, tail_s=0.0)


@pytest.mark.parametrize(
    ("times", "held_s", "last_s", "outcome"),
    [
        (3, 0.08, 4.0, Outcome.PASS), (5, 0.5, 4.0, Outcome.PASS), (3, 0.5, 0.3, Outcome.FAIL),
        (3, 2.0, 4.0, Outcome.FAIL),
    ],
)
def test_a_contract_that_outlasts_the_lost_ones_stands(
    times: int, held_s: float, last_s: float, outcome: Outcome
) -> None:
    """`pass` is a contract that nothing after it ended; a device that starts up on the charger may reset some times."""
    for seed in range(3):
        verdict = restarts(times, held_s, last_s).verdict(seed)
        assert verdict.outcome is outcome, verdict.summary
        if outcome is Outcome.PASS:
            assert "contract-regained" in [f.rule for f in verdict.findings]


def test_a_probe_behind_the_devices_switch_sees_no_gap() -> None:
    """VBUS that was never seen before PS_RDY does not go off: the device's switch lets it through after that."""

    def story(talk: Talk) -> None:
        talk.attach()
        negotiate(talk, 2, 2000)
        talk.now += 0.5
        talk.vbus = [(0.0, 0.0), (talk.now - 0.44, 0.0), (talk.now - 0.43, 8.9)]

    for seed in range(3):
        verdict = Scene(story, whole=True).verdict(seed)
        assert verdict.outcome is Outcome.PASS
        assert not loud(verdict), [f.summary for f in loud(verdict)]


def boots(offers: int, *, again_s: float = 0.13) -> Scene:
    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(offers):
            talk.unanswered("source", "Source_Capabilities", [one.word for one in OFFER], message_id=0)
            talk.now += again_s

    return Scene(story, whole=True, tail_s=0.0)


@pytest.mark.parametrize(("offers", "outcome"), [(2, Outcome.INCONCLUSIVE), (4, Outcome.FAIL), (8, Outcome.FAIL)])
def test_a_device_that_starts_up_may_miss_the_first_offers(offers: int, outcome: Outcome) -> None:
    """Two of them (common practice, no source); one that hears four times four sendings of an offer is awake."""
    for seed in range(3):
        verdict = boots(offers).verdict(seed)
        assert verdict.outcome is outcome, verdict.summary


def never_repeats(probe: bool) -> Scene:
    """Every offer is sent once; the sink, whose packets the capture lacks, resets as its Request is not heard."""

    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(5):
            if probe:
                talk.send("source", "Source_Capabilities", [one.word for one in OFFER])
                talk.now += 12e-3
            else:
                talk.unanswered("source", "Source_Capabilities", [one.word for one in OFFER], message_id=0)
            talk.hard_reset("sink")

    return Scene(story, whole=True)


@pytest.mark.parametrize(("probe", "outcome"), [(True, Outcome.INCONCLUSIVE), (False, Outcome.FAIL)])
def test_offers_that_are_not_repeated_were_heard(probe: bool, outcome: Outcome) -> None:
    """6.7.2: a message without GoodCRC is repeated. A charger that does not, and resets follow, has had its answer."""
    for seed in range(3):
        verdict = never_repeats(probe).verdict(seed)
        assert verdict.outcome is outcome, verdict.summary


def test_packets_that_break_in_a_good_capture_are_the_lines() -> None:
    """Whole packets with a wrong checksum, on a clean signal, are no matter of sample rate."""

    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(4):
            offer_to(talk, list(OFFER))
            talk.responding()
            talk.unanswered("sink", "Request", [words.request_fixed(2, 1000, 1000)], corrupt=True)
            talk.now += 5e-3
            talk.hard_reset("source")

    for seed in range(3):
        verdict = Scene(story, whole=True).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.INCONCLUSIVE, Who.LINK), verdict.summary


def test_a_second_accept_without_ready_at_the_same_voltage_and_no_reset() -> None:
    """Both would have broken the standard: the charger by no PS_RDY, the device by no reset after tPSTransition."""

    def story(talk: Talk) -> None:
        talk.attach()
        negotiate(talk, 2, 2000)
        talk.now += 0.2
        talk.say("sink", "Request", [words.request_fixed(2, 1500, 1500)])
        talk.responding()
        talk.say("source", "Accept")
        talk.now += 1.0

    for seed in range(3):
        ports = Ports(source_bps=304e3, sink_bps=296e3)
        talk = Talk(random.Random(seed), ports, 0.1)
        story(talk)
        verdict = verdict_with(told(talk, talk.rng, tail_s=0.1), talk.rng, volts=Meter(every_s=1e-3, noise=0.012))
        assert verdict.outcome is not Outcome.FAIL, verdict.summary


def test_padding_after_an_unchunked_offer_is_no_object() -> None:
    """6.2.1.2: Data Size says how long the data is; a port may send an offer of EPR in one piece."""
    offer = (*(one.word for one in OFFER), 0, 0, 0, 0, words.fixed(28000, 5000))
    data = b"".join(word.to_bytes(4, "little") for word in offer)

    def story(talk: Talk) -> None:
        talk.attach()
        negotiate(talk, 3, 2000)
        talk.say("sink", "EPR_Mode", [words.epr_mode(1, 140)])
        talk.responding()
        talk.say("source", "EPR_Mode", [words.epr_mode(2)])
        talk.now += 0.1
        talk.say("source", "EPR_Mode", [words.epr_mode(3)])
        talk.responding()
        first, *rest = words.extended_words(data)
        talk.say("source", "EPR_Source_Capabilities", [first & ~(1 << 15), *rest])
        talk.responding()
        talk.say("sink", "EPR_Request", [words.request_fixed(8, 3000, 3000), words.fixed(28000, 5000)])
        talk.responding()
        talk.say("source", "Accept")
        talk.move_vbus(28.0, talk.now + 28e-3, talk.now + 60e-3)
        talk.now += 0.1
        talk.say("source", "PS_RDY")

    verdict = Scene(story, whole=True, tail_s=0.2).verdict()
    assert verdict.outcome is Outcome.PASS and verdict.contract is not None
    assert verdict.contract.voltage_mv == 28000
    assert "padding" not in " ".join(f.summary for f in verdict.findings), [f.summary for f in verdict.findings]


def comes_down(late_s: float, *, peak: float | None = None) -> Scene:
    """From 20 V to 5 V; VBUS gets there so long after PS_RDY, as behind the device's diode or a slow divider."""

    def story(talk: Talk) -> None:
        talk.attach()
        negotiate(talk, 3, 1500)
        talk.now += 0.2
        talk.say("sink", "Request", [words.request_fixed(1, 1000, 1000)])
        talk.responding()
        talk.say("source", "Accept")
        if peak is not None:
            talk.move_vbus(peak, talk.now + 28e-3, talk.now + 40e-3)
        talk.move_vbus(5.05, talk.now + 45e-3, talk.now + 0.1 + late_s)
        talk.now += 0.1
        talk.say("source", "PS_RDY")
        talk.now += 0.5

    return Scene(story, whole=True, tail_s=0.4)


@pytest.mark.parametrize("late_s", [0.03, 0.06, 0.1, 0.2, 0.28])
def test_vbus_that_comes_down_late_has_not_risen(late_s: float) -> None:
    for seed in range(3):
        verdict = comes_down(late_s).verdict(seed)
        assert verdict.outcome is Outcome.PASS, verdict.summary
        assert {f.rule for f in loud(verdict)} <= {"ready-before-vbus"}


def test_vbus_above_both_levels_at_ready_has_risen() -> None:
    for seed in range(3):
        verdict = comes_down(0.2, peak=26.0).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, Who.SOURCE), verdict.summary


def lost_from(name: str, *, volts: float) -> Scene:
    """A good negotiation of which the capture has nothing from that message to PS_RDY; VBUS goes to `volts`."""

    def story(talk: Talk) -> None:
        talk.attach()
        negotiate(talk, 2, 2000)
        names = [packet.label for packet in talk.packets]
        talk.packets = talk.packets[: names.index(name)]
        talk.vbus[-1] = (talk.vbus[-1][0], volts)
        talk.now += 1.2

    return Scene(story, whole=True)


@pytest.mark.parametrize("name", ["Request", "Accept", "PS_RDY"])
@pytest.mark.parametrize(
    ("volts", "outcome"), [(9.05, Outcome.INCONCLUSIVE), (5.05, Outcome.FAIL), (12.0, Outcome.FAIL)]
)
def test_vbus_at_the_level_that_was_offered_shows_that_it_was_asked_for(
    name: str, volts: float, outcome: Outcome
) -> None:
    """Nobody resets, and VBUS is at 9 V as offered: what is not in the capture was said, or both broke the standard."""
    for seed in range(3):
        verdict = lost_from(name, volts=volts).verdict(seed)
        assert verdict.outcome is outcome, verdict.summary


def goes_mute(volts: float, *, meter: Meter | None = GOOD) -> Scene:
    """Under load VBUS goes to that, and the device hears neither a question nor the Soft_Reset that follows."""

    def story(talk: Talk) -> None:
        talk.attach()
        for _ in range(3):
            negotiate(talk, 2, 2000)
            talk.move_vbus(volts, talk.now + 25e-3, talk.now + 30e-3)
            talk.now += 80e-3
            for name in ("Get_Sink_Cap", "Soft_Reset"):
                talk.unanswered("source", name)
                talk.now += 2e-3
            talk.hard_reset("source")

    return Scene(story, whole=True, volts=meter)


@pytest.mark.parametrize(
    ("volts", "meter", "who"),
    [(9.0, GOOD, Who.SINK), (3.2, GOOD, None), (0.3, GOOD, None), (9.0, None, None), (9.0, Meter(every_s=0.2), None)],
)
def test_a_device_that_loses_its_power_is_not_accused_of_silence(
    volts: float, meter: Meter | None, who: Who | None
) -> None:
    for seed in range(3):
        verdict = goes_mute(volts, meter=meter).verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, who), verdict.summary
