"""Questions to an analog line: stretches outside a band, its pace, its noise."""

from __future__ import annotations

import random

import numpy as np
import pytest
from numpy.typing import NDArray

from pdcheck.capture.levels import changes, highest, outside, resolution_s, reversals
from pdcheck.capture.model import AnalogLine, Role


def line(times: NDArray[np.float64] | list[float], values: NDArray[np.float64] | list[float]) -> AnalogLine:
    return AnalogLine("V", Role.VBUS, "V", np.array(times, dtype=np.float64), np.array(values, dtype=np.float64))


EMPTY = line([], [])


def test_an_empty_line_answers_everything() -> None:
    assert outside(EMPTY, 0.0, 1.0, low=4.0) == []
    assert resolution_s(EMPTY, 0.1) is None
    assert changes(EMPTY, 0.0, 1.0) == 0
    assert reversals(EMPTY, 0.0, 1.0, 0.1) == 0
    assert highest(EMPTY) is None


def test_a_stretch_is_clipped_to_the_look() -> None:
    one = line([0.0, 1.0, 2.0], [5.0, 3.0, 5.0])
    assert [(s.start_s, s.end_s) for s in outside(one, 0.0, 3.0, low=4.0)] == [(1.0, 2.0)]
    assert [(s.start_s, s.end_s) for s in outside(one, 1.2, 1.5, low=4.0)] == [(1.2, 1.5)]
    assert outside(one, 2.0, 3.0, low=4.0) == []
    assert [(s.start_s, s.end_s) for s in outside(one, 0.0, 3.0, high=4.0)] == [(0.0, 1.0), (2.0, 3.0)]
    assert outside(one, 3.0, 1.0, low=4.0) == []


def test_short_returns_do_not_end_a_stretch() -> None:
    one = line([0.0, 0.1, 0.2, 0.201, 0.3], [5.0, 3.0, 5.0, 3.0, 5.0])
    assert len(outside(one, 0.0, 1.0, low=4.0)) == 1
    assert len(outside(one, 0.0, 1.0, low=4.0, bridge_s=0.0)) == 2


def test_stretches_against_a_slow_walk() -> None:
    """Against a loop that walks over the line in small steps."""
    rng = random.Random(5)
    for _ in range(40):
        times = sorted(round(rng.uniform(0.0, 1.0), 2) for _ in range(12))
        times = sorted({0.0, *times})
        one = line(times, [rng.choice((1.0, 5.0, 9.0)) for _ in times])
        found = outside(one, 0.0, 1.0, low=4.0, high=6.0, bridge_s=0.0)
        inside = 0.0
        for n in range(1000):
            at = n / 1000 + 0.0005
            place = max(k for k, t in enumerate(one.times_s) if t <= at)
            inside += (one.values[place] < 4.0 or one.values[place] > 6.0) / 1000
        assert sum(s.length_s for s in found) == pytest.approx(inside, abs=2e-3)


@pytest.mark.parametrize("held_s", [0.0, 0.02, 0.1, 0.25, 1.0])
def test_the_pace_of_a_meter_is_never_taken_for_finer_than_it_is(held_s: float) -> None:
    rng = np.random.default_rng(7)
    times = np.arange(0.0, 12.0, 1e-3)
    true = np.interp(times, [0, 0.5, 0.51, 3, 3.05, 6, 6.02, 9, 9.1], [0, 0, 5, 5, 9, 9, 5, 5, 0])
    if held_s:
        true = np.interp(np.floor(times / held_s) * held_s, times, true)
    found = resolution_s(line(times, true + (0 if held_s else rng.normal(0, 0.03, len(times)))), 0.045, (0.8, 4.2))
    assert found is not None
    assert found >= held_s * 0.99
    if not held_s:
        assert found < 0.05


@pytest.mark.parametrize("mean_s", [0.05, 0.2, 1.0])
def test_a_smear_is_found(mean_s: float) -> None:
    times = np.arange(0.0, 12.0, 1e-3)
    true = np.where(times > 2, 5.0, 0.0) + np.where(times > 8, 9.0, 0.0)
    wide = int(mean_s / 1e-3)
    total = np.cumsum(np.concatenate((np.zeros(wide), true)))
    found = resolution_s(line(times, (total[wide:] - total[:-wide]) / wide), 0.045, (0.8, 4.2))
    assert found is not None and 0.6 * mean_s <= found <= 3 * mean_s


def test_a_line_that_hardly_moves_does_not_show_its_pace() -> None:
    assert resolution_s(line([0.0, 1.0], [0.0, 5.0]), 0.045) is None


def test_noise_turns_and_a_ramp_does_not() -> None:
    times = np.arange(0.0, 1.0, 1e-3)
    noise = np.random.default_rng(3).normal(0.0, 0.05, len(times))
    assert reversals(line(times, 5.0 + noise), 0.0, 1.0, 0.021) > 300
    assert reversals(line(times, 5.0 + noise * 0.05), 0.0, 1.0, 0.021) == 0
    assert reversals(line(times, times * 20), 0.0, 1.0, 0.021) == 0
