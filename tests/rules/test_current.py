"""The current: the smallest breach of each rule, and the near miss beside each limit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pdcheck.rules import Severity, Who
from pdcheck.verdict import Outcome
from tests.reference.talk import Talk
from tests.rules.meters import Meter
from tests.rules.scenes import GOOD_AMPS, Scene, load, loud, negotiate, then, wait

SECOND = Meter(every_s=1e-3, held_s=1.0)


@pytest.mark.parametrize(
    ("amps", "hold_s", "broken"),
    [(2.6, 0.4, True), (3.0, 0.2, True), (2.0, 0.4, False), (2.25, 0.4, False), (6.0, 0.06, False)],
)
def test_more_than_the_contract(amps: float, hold_s: float, broken: bool) -> None:
    """The contract is for 2 A; a tenth, three percent and 0.1 A are the meter's, 0.1 s is inrush."""
    for seed in range(5):
        story = then(wait(0.3), load(amps, hold_s=hold_s), load(1.0), wait(0.3))
        verdict = Scene(story, amps=GOOD_AMPS).verdict(seed)
        assert verdict.outcome is Outcome.PASS
        assert [(f.rule, f.who) for f in loud(verdict)] == ([("draws-beyond-contract", Who.SINK)] if broken else [])


def test_a_slow_ammeter_needs_longer() -> None:
    def scene(hold_s: float) -> Scene:
        return Scene(then(wait(2.0), load(3.0, hold_s=hold_s), load(1.0), wait(2.5)), amps=SECOND)

    for seed in range(5):
        assert not loud(scene(1.2).verdict(seed))
        assert [f.rule for f in loud(scene(6.0).verdict(seed))] == ["draws-beyond-contract"]


def resets(amps: float, by: str, *, again: bool = False) -> Scene:
    """The device draws that for 0.15 s, then somebody resets."""

    def story(talk: Talk) -> None:
        talk.now += 0.3
        talk.draw(amps, talk.now)
        talk.now += 0.15
        talk.hard_reset(by, back=again)
        talk.draw(0.0, talk.packets[-1].end_s)
        if again:
            negotiate(talk, 2, 2000)
        else:
            talk.now += 2.8

    return Scene(story, amps=GOOD_AMPS, volts=None)


def test_an_overdraw_that_the_charger_resets_for() -> None:
    for seed in range(5):
        verdict = resets(3.5, "source").verdict(seed)
        assert (verdict.outcome, verdict.suspect) == (Outcome.FAIL, Who.SINK), verdict.summary
        assert verdict.leading is not None and verdict.leading.rule == "overdraw-ends-contract"
        fails = [f.who for f in loud(verdict) if f.severity is Severity.FAIL]
        assert set(fails) <= {Who.SINK, None}


def test_a_reset_without_overdraw_or_by_the_device_or_mended() -> None:
    for scene in (resets(1.5, "source"), resets(3.5, "sink")):
        assert scene.verdict().suspect is None
    mended = resets(3.5, "source", again=True).verdict()
    assert mended.outcome is Outcome.PASS
    assert [f.rule for f in loud(mended)] == ["draws-beyond-contract"]


def transition(amps: float, *, meter: Meter = GOOD_AMPS, position: int = 3) -> Scene:
    """The device goes on drawing so much while VBUS goes from 9 V to another level."""

    def story(talk: Talk) -> None:
        talk.now += 0.3
        talk.draw(amps, talk.now)
        talk.now += 0.1
        negotiate(talk, position, 1000, offer=False)
        talk.draw(0.5, talk.packets[-1].end_s)
        talk.now += 0.2

    return Scene(story, amps=meter)


def test_the_device_does_not_go_to_standby() -> None:
    for seed in range(5):
        verdict = transition(1.4).verdict(seed)
        assert verdict.outcome is Outcome.PASS
        assert [(f.rule, f.who) for f in loud(verdict)] == [("draws-in-transition", Who.SINK)]


@pytest.mark.parametrize(
    "scene", [
        transition(0.27), transition(0.45), transition(1.4, position=2), transition(1.4, meter=SECOND),
        transition(1.4, meter=replace(GOOD_AMPS, held_s=0.1)),
    ], ids=["standby", "a little more", "the same voltage", "a meter of 1 Hz", "a meter of 10 Hz"],
)
def test_standby_kept_or_not_known(scene: Scene) -> None:
    for seed in range(5):
        assert not loud(scene.verdict(seed))


@pytest.mark.parametrize(
    ("amps", "seconds", "said"), [(0.03, 2.5, True), (0.0, 2.5, True), (0.03, 1.5, False), (0.2, 4.0, False)],
)
def test_a_device_that_hardly_draws(amps: float, seconds: float, said: bool) -> None:
    verdict = Scene(then(load(amps), wait(seconds)), amps=GOOD_AMPS, tail_s=0.1).verdict()
    assert verdict.outcome is Outcome.PASS and not loud(verdict)
    found = {f.rule: f for f in verdict.findings}
    assert ("hardly-draws" in found) is said
    if said:
        assert found["hardly-draws"].who is None
        assert "have done their part" in found["hardly-draws"].summary


@pytest.mark.parametrize(
    "meter", [replace(GOOD_AMPS, gain=-1.0), replace(GOOD_AMPS, gain=10.0)], ids=["reversed", "ten times too much"],
)
def test_a_column_that_cannot_be_right_judges_nothing(meter: Meter) -> None:
    verdict = Scene(then(load(3.0), wait(1.0)), amps=meter).verdict()
    assert not loud(verdict)
    assert "current-doubtful" in {f.rule for f in verdict.findings}
