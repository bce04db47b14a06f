"""VBUS as a bench sees it: behind a cable, through a wrong divider, on a probe that clips or is off.

A meter that is wrong must not convict the charger.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from tests.conversation.told import PASS, STEADY, Told, good, judged, mismatch, reading_of, verdict_on
from tests.conversation.told import faulty as faulty_row
from tests.reference.talk import Talk

NAMES = tuple(name for name in STEADY if name != "unplugged_at_the_end")
SEEDS = (1, 2, 4, 5)


def changed(one: Told, change: Callable[[float], float]) -> Told:
    """Every voltage changed."""
    assert one.vbus is not None
    return replace(one, vbus=tuple((t, change(v)) for t, v in one.vbus))


def sagging(talk: Talk, one: Told, ohms: float) -> Told:
    """VBUS at the device's end of a cable."""
    assert one.vbus is not None
    amps_t, amps = [t - talk.cut_s for t, _ in talk.amps], [a for _, a in talk.amps]
    times = sorted({t for t, _ in one.vbus} | set(amps_t))
    volts = np.interp(times, [t for t, _ in one.vbus], [v for _, v in one.vbus])
    volts = np.maximum(0.0, volts - ohms * np.interp(times, amps_t, amps))
    return replace(one, vbus=tuple(zip(times, volts.tolist(), strict=True)))


@pytest.mark.parametrize("name", NAMES)
def test_measured_at_the_device(name: str) -> None:
    for seed in SEEDS:
        talk, one, _ = good(name, seed)
        assert mismatch(PASS, sagging(talk, one, 0.2)) == ""
        assert mismatch(PASS, changed(one, lambda v: max(0.0, v - 0.6))) == ""


@pytest.mark.parametrize("factor", [0.0, 1 / 11, 0.1, 0.5, 2.0, 10.0, 11.0])
def test_a_divider_forgotten_or_counted_twice(factor: float) -> None:
    for name in NAMES:
        for seed in SEEDS[:2]:
            _, one, _ = good(name, seed)
            assert mismatch(PASS, changed(one, lambda v: v * factor)) == "", name


@pytest.mark.parametrize("factor", [0.85, 0.9, 1.1])
def test_a_divider_ten_percent_off(factor: float) -> None:
    for name in NAMES:
        for seed in SEEDS:
            _, one, _ = good(name, seed)
            assert mismatch(PASS, changed(one, lambda v: v * factor)) == "", name


@pytest.mark.parametrize("ceiling", [5.2, 10.0])
def test_an_input_that_clips(ceiling: float) -> None:
    noise = random.Random(1)
    for name in ("plain", "another_contract", "offers_less_later"):
        for seed in SEEDS:
            _, one, _ = good(name, seed)
            vbus = one.vbus
            assert vbus is not None
            times = np.arange(0.0, one.duration_s, 0.5e-3)
            volts = np.interp(times, [t for t, _ in vbus], [v for _, v in vbus])
            volts = np.minimum(ceiling, volts + np.array([noise.gauss(0.0, 0.02) for _ in times]))
            clipped = replace(one, vbus=tuple(zip(times.tolist(), volts.tolist(), strict=True)))
            assert mismatch(PASS, clipped) == "", name


def test_pulled_at_any_time_after_ps_rdy() -> None:
    for seed in range(150):
        _, one, _ = good("unplugged_at_the_end", seed)
        outcome, _, suspect = judged(one)
        assert outcome != "fail", f"{seed} {suspect} {verdict_on(one).summary}\n{one.lines()}"


def test_what_is_not_delivered_is_still_found() -> None:
    """The near side of all of the above."""
    for seed in range(60):
        _, one, _, expect = faulty_row("not_delivered", seed)
        assert mismatch(expect, one) == "", one.lines()
        assert reading_of(one).capture.lines[1].name == "VBUS [V]"


@pytest.mark.parametrize("rail_v", [999.999, 65.535, -99.999, 1e6, 3.4e28, 61.0, -7.0])
def test_what_no_port_can_have_accuses_nobody(rail_v: float) -> None:
    for name in ("plain", "another_contract"):
        for seed in SEEDS:
            _, one, _ = good(name, seed)
            assert one.vbus is not None
            railed = replace(one, vbus=tuple((t, rail_v if v > 6 else v) for t, v in one.vbus))
            assert mismatch(PASS, railed) == "", name
            if any(v > 6 for _, v in one.vbus):
                said = [f.summary for f in verdict_on(railed).findings if f.rule == "vbus-scale-doubtful"]
                assert len(said) == 1 and "no port can have" in said[0]
