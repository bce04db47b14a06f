"""VBUS where the input's range ends, behind a capacitor, or where a programmable supply limits its current.

Nothing of this is the charger's fault, and some of it looks just like one. Where the column alone cannot tell, nobody
is accused; a charger that stays at 5 V or gets half way is still found. That inputs end at round numbers is common
practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.verdict import Outcome, Verdict
from tests.conversation.told import told
from tests.reference import words
from tests.reference.talk import Talk
from tests.rules.meters import Meter, Points, at, verdict_with
from tests.rules.scenes import GOOD, Scene, chatter, negotiate, talk_at_9v

QUIET = Meter(every_s=1e-3, noise=0.0)


def _stuck(volts: float) -> Scene:
    """The charger says that 9 V is ready and leaves VBUS elsewhere."""

    def story(talk: Talk) -> None:
        talk.attach()
        talk.say("source", "Source_Capabilities", [words.fixed(5000, 3000), words.fixed(9000, 3000)])
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 2000, 2000)])
        talk.responding()
        talk.say("source", "Accept")
        talk.move_vbus(volts, talk.now + 28e-3, talk.now + 60e-3)
        talk.now += 80e-3
        talk.say("source", "PS_RDY")

    return Scene(story, tail_s=1.0, whole=True)


def _said(verdict: Verdict) -> tuple[str, str | None, str]:
    return verdict.outcome.value, verdict.suspect.value if verdict.suspect else None, verdict.summary


@pytest.mark.parametrize("ceiling", [5.5, 6.6])
def test_a_quiet_input_that_ends_where_inputs_do(ceiling: float) -> None:
    verdict = Scene(chatter, volts=replace(QUIET, ceiling=ceiling)).verdict()
    assert verdict.outcome is Outcome.PASS, _said(verdict)
    # The technician reads at once that nothing is known of VBUS, and why.
    assert "highest value" in verdict.summary, verdict.summary


@pytest.mark.parametrize("volts", [5.0, 5.08, 6.0, 6.437, 7.0, 7.213, 7.5])
def test_a_quiet_column_still_finds_a_charger_that_does_not_get_there(volts: float) -> None:
    verdict = replace(_stuck(volts), volts=QUIET).verdict()
    assert _said(verdict)[:2] == ("fail", "source"), _said(verdict)


@pytest.mark.parametrize("volts", [5.5, 6.6, 7.0])
def test_noise_at_a_round_level_shows_that_the_input_goes_on(volts: float) -> None:
    verdict = replace(_stuck(volts), volts=replace(GOOD, noise=0.03)).verdict()
    assert _said(verdict)[:2] == ("fail", "source"), _said(verdict)


def test_an_input_that_ends_at_5v_and_trembles_only_while_vbus_is_off() -> None:
    verdict = Scene(chatter, volts=replace(GOOD, noise=0.03, ceiling=5.0)).verdict()
    assert verdict.outcome is Outcome.PASS, _said(verdict)


def test_what_clips_in_one_contract_is_not_believed_in_the_next() -> None:
    """A clamp that gives way a little: flat at 20 V, lower and noisy at 9 V."""
    talk = talk_at_9v(position=3)
    talk.now += 0.5
    negotiate(talk, 2, 2000)
    talk.now += 0.3
    one = told(talk, talk.rng, tail_s=0.6)
    assert one.vbus is not None
    times = np.arange(0.0, one.duration_s, 1e-3)
    volts = at(one.vbus, times) + np.random.default_rng(1).normal(0.0, 0.03, len(times))
    volts = np.where(volts > 15, 6.7, np.where(volts > 6, np.minimum(6.65, 6.15 + (volts - 9) * 0.8), volts))
    column = tuple(zip(times.tolist(), volts.tolist(), strict=True))
    verdict = verdict_with(replace(one, vbus=column), talk.rng, volts=QUIET)
    assert verdict.outcome is Outcome.PASS, _said(verdict)


def _behind_a_capacitor(points: Points, duration_s: float, tau_s: float) -> list[tuple[float, float]]:
    times = np.arange(0.0, duration_s, 1e-3)
    seen, level, before = [], 0.0, 0.0
    for time_s, volts in zip(times.tolist(), at(points, times).tolist(), strict=True):
        level = level * math.exp(-1e-3 / tau_s) + volts - before
        before = volts
        seen.append((time_s, level))
    return seen


@pytest.mark.parametrize("tau_s", [0.05, 0.3, 1.0, 5.0])
def test_a_probe_behind_a_capacitor(tau_s: float) -> None:
    """What reads well below zero for long has a capacitor or a ground that is elsewhere: 20 V, then 5 V."""
    talk = talk_at_9v(position=3)
    talk.now += 3.0
    negotiate(talk, 1, 2000)
    one = told(talk, talk.rng, tail_s=0.6)
    assert one.vbus is not None
    column = tuple(_behind_a_capacitor(one.vbus, one.duration_s, tau_s))
    verdict = verdict_with(replace(one, vbus=column), talk.rng, volts=GOOD)
    assert verdict.outcome is Outcome.PASS, _said(verdict)


def _programmable(talk: Talk, mv: int, volts: float) -> None:
    talk.say("sink", "Request", [words.request_pps(3, mv, 2000)])
    talk.responding()
    talk.say("source", "Accept")
    talk.move_vbus(volts, talk.now + 10e-3, talk.now + 30e-3)
    talk.now += 40e-3
    talk.say("source", "PS_RDY")


def _offers_pps(talk: Talk) -> None:
    talk.attach()
    talk.say("source", "Source_Capabilities", [
        words.fixed(5000, 3000), words.fixed(9000, 3000), words.pps(3300, 11000, 3000),
    ])
    talk.responding()


def test_a_supply_that_limits_its_current_does_so_when_asked_for_a_little_more() -> None:
    """USB PD, section 7.1.4.2 (programmable supply, current limit; from memory): VBUS goes where the load takes it."""

    def limits(talk: Talk) -> None:
        _offers_pps(talk)
        _programmable(talk, 9000, 9.0)
        talk.move_vbus(7.6, talk.now + 0.2, talk.now + 0.3)
        talk.now += 1.0
        _programmable(talk, 9020, 7.6)

    verdict = Scene(limits, tail_s=1.0, whole=True).verdict()
    assert verdict.outcome is Outcome.PASS, _said(verdict)


def test_a_programmable_supply_that_stays_at_5v_is_found() -> None:
    def stays(talk: Talk) -> None:
        _offers_pps(talk)
        _programmable(talk, 9000, 5.0)

    verdict = Scene(stays, tail_s=1.0, whole=True).verdict()
    assert _said(verdict)[:2] == ("fail", "source"), _said(verdict)


@pytest.mark.parametrize(("share", "expected"), [((0,), ("pass", None)), ((0, 1), ("fail", "source"))])
def test_peaks_beyond_the_allowance(share: tuple[int, ...], expected: tuple[str, str | None]) -> None:
    """One row of three above what is allowed is noise around a level that is right; two of three are too high."""
    talk = talk_at_9v()
    one = told(talk, talk.rng, tail_s=0.6)
    assert one.vbus is not None
    times = np.arange(0.0, one.duration_s, 0.5e-3)
    volts = at(one.vbus, times)
    peak = (times > one.duration_s - 0.5) & np.isin(np.arange(len(times)) % 3, share)
    column = tuple(zip(times.tolist(), np.where(peak, 11.0, volts).tolist(), strict=True))
    verdict = verdict_with(replace(one, vbus=column), talk.rng, volts=Meter(every_s=0.5e-3, noise=0.01))
    assert _said(verdict)[:2] == expected, _said(verdict)


@pytest.mark.parametrize(("lowest", "expected"), [(2.0, ("pass", None)), (4.9, ("fail", "source"))])
def test_a_plug_that_may_have_been_out_on_the_way_to_5v(lowest: float, expected: tuple[str, str | None]) -> None:
    """Below vSinkDisconnect the device is detached. What a filter, or a slow discharge, leaves of a plug that was
    turned over does not reach 0 V."""

    def falls(talk: Talk) -> None:
        talk.now += 0.5
        talk.move_vbus(lowest, talk.now, talk.now + 0.1)
        talk.move_vbus(5.0, talk.now + 0.25, talk.now + 0.3)

    verdict = Scene(falls, tail_s=2.0).verdict()
    assert _said(verdict)[:2] == expected, _said(verdict)
