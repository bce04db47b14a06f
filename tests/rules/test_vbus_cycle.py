"""VBUS around a Hard Reset and at plug-in: the smallest breach of each rule, and the near miss beside each limit."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from pdcheck.rules import Severity, Who
from pdcheck.verdict import Outcome, Verdict
from tests.reference.healthy_talks import offer_to
from tests.reference.talk import Talk
from tests.rules.meters import Meter
from tests.rules.scenes import GOOD, OFFER, Scene, chatter, loud, negotiate

#: The limits of USB PD as the rules take them (tPSHardReset, tSafe0V, tSrcRecover: Zephyr 4.0, Linux 6.1).
OFF_S, RECOVER_S = 35e-3 + 650e-3, 660e-3
SLOW = Meter(every_s=1e-3, held_s=1.0)


def reset(sender: str, low_v: float, back_s: float | None, *, again: bool = True) -> Callable[[Talk], None]:
    """A Hard Reset, VBUS falling to a level 30 ms later and coming back so long after the reset (None: never)."""

    def story(talk: Talk) -> None:
        talk.now += 0.2
        talk.hard_reset(sender, back=False)
        talk.vbus, at = talk.vbus[:-2], talk.now
        talk.volts = talk.vbus[-1][1]
        talk.draw(0.0, at)
        talk.move_vbus(low_v, at + 30e-3, at + 60e-3)
        talk.now = at + 3.0 if back_s is None else at + back_s
        if back_s is not None:
            talk.move_vbus(5.05, talk.now, talk.now + 5e-3)
        if again:
            talk.now += 0.1
            negotiate(talk, 2, 2000)

    return story


def verdict(story: Callable[[Talk], None], *, seed: int = 1, tail_s: float = 0.6, volts: Meter = GOOD) -> Verdict:
    return Scene(story, tail_s=tail_s, volts=volts).verdict(seed)


@pytest.mark.parametrize("sender", ["source", "sink"])
def test_vbus_that_stays_on(sender: str) -> None:
    for seed in range(5):
        found = loud(verdict(reset(sender, 5.05, 1.0), seed=seed))
        assert [(f.rule, f.who, f.severity) for f in found] == [("vbus-stays-after-reset", Who.SOURCE, Severity.WARN)]


@pytest.mark.parametrize("low_v", [3.9, 1.6])
def test_a_vbus_that_something_holds_up_accuses_nobody(low_v: float) -> None:
    made = verdict(reset("source", low_v, 1.0))
    assert not loud(made)
    assert {f.rule: f.who for f in made.findings}["vbus-held-after-reset"] is None


def test_a_reset_that_the_charger_may_not_have_heard_accuses_nobody() -> None:
    made = verdict(reset("sink", 9.0, None, again=False))
    assert made.suspect is None and not [f for f in loud(made) if f.who is Who.SOURCE]


def test_the_capture_may_end_before_vbus_must_be_off() -> None:
    made = verdict(reset("source", 9.0, OFF_S - 0.1, again=False), tail_s=0.02)
    assert not [f for f in loud(made) if f.rule.startswith("vbus")]


@pytest.mark.parametrize(("back_s", "broken"), [(0.3, True), (0.5, True), (0.03 + RECOVER_S, False), (1.0, False)])
def test_vbus_that_is_back_too_soon(back_s: float, broken: bool) -> None:
    for seed in range(5):
        found = [(f.rule, f.who) for f in loud(verdict(reset("source", 0.0, back_s), seed=seed))]
        assert found == ([("vbus-back-too-soon", Who.SOURCE)] if broken else [])


def test_a_slow_meter_says_nothing_about_it() -> None:
    for seed in range(5):
        assert not loud(verdict(reset("source", 0.0, 0.4), seed=seed, volts=SLOW))
        assert not loud(verdict(reset("source", 5.0, 0.8), seed=seed, volts=SLOW))


def test_vbus_that_never_comes_back() -> None:
    def story(talk: Talk) -> None:
        reset("source", 0.0, None, again=False)(talk)
        chatter(talk)

    made = verdict(story)
    assert (made.outcome, made.suspect) == (Outcome.FAIL, Who.SOURCE)
    assert "vbus-not-back" in {f.rule for f in loud(made)}


def test_vbus_that_never_comes_back_in_silence_accuses_nobody() -> None:
    made = verdict(reset("source", 0.0, None, again=False))
    assert made.suspect is None
    assert {f.rule: f.who for f in made.findings}["vbus-gone-after-reset"] is None


def first_offer(after_s: float, *, cable_first: bool = False) -> Verdict:
    def story(talk: Talk) -> None:
        talk.attach()
        talk.now = talk.vbus[-1][0] + after_s
        if cable_first:
            talk.unanswered("source", "Vendor_Defined", [0xFF008001], sop="SOP'")
            talk.now += 0.3
        offer_to(talk, list(OFFER))
        talk.responding()
        negotiate(talk, 2, 2000, offer=False)

    return Scene(story, whole=True).verdict()


def test_a_first_offer_that_comes_late() -> None:
    assert [(f.rule, f.who) for f in loud(first_offer(0.6))] == [("first-offer-late", Who.SOURCE)]
    assert not loud(first_offer(0.25))
    assert not loud(first_offer(0.33))
    assert not loud(first_offer(0.2, cable_first=True))


def falls_at(after_s: float) -> Verdict:
    def story(talk: Talk) -> None:
        talk.now += 0.2
        talk.hard_reset("source", back=False)
        talk.vbus, at = talk.vbus[:-2], talk.now
        talk.volts = talk.vbus[-1][1]
        talk.draw(0.0, at)
        talk.move_vbus(0.0, at + after_s, at + after_s + 0.3)
        talk.move_vbus(5.05, at + after_s + 1.0, at + after_s + 1.01)
        talk.now = talk.vbus[-1][0] + 0.1
        negotiate(talk, 2, 2000)

    return verdict(story)


def test_vbus_that_begins_to_fall_late() -> None:
    assert [(f.rule, f.who) for f in loud(falls_at(0.3))] == [("vbus-falls-late", Who.SOURCE)]
    assert not loud(falls_at(0.034))
    assert not loud(falls_at(0.08))


def test_vbus_that_comes_back_late_accuses_nobody() -> None:
    made = verdict(reset("source", 0.0, 3.0))
    assert not loud(made)
    assert {f.rule: f.who for f in made.findings}["vbus-back-late"] is None
