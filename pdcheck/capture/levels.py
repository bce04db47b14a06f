"""Questions to an analog line: where it leaves a band, how fine its time is, whether it moves at all.

Why it is: whoever argues from a voltage or a current must know for how long it was off, and whether the meter behind
the column could have shown it in time. A meter that updates once a second is right and late.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import AnalogLine

Floats = NDArray[np.float64]

#: So many of a line's points are looked at to find its resolution; enough for every plug-in and transition.
_LOOK = 20_000
#: A move by this share of the line's range shows how fast it can move; it is looked for in windows of these lengths.
_SHARE = 0.3
_WINDOWS_S = (1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 0.1, 0.2, 0.5, 1.0)


@dataclass(frozen=True)
class Stretch:
    """A time (seconds) during which a line stayed outside a band."""

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def outside(
    line: AnalogLine, start_s: float, end_s: float, *, low: float = -inf, high: float = inf, bridge_s: float = 2e-3
) -> list[Stretch]:
    """The stretches from ``start_s`` to ``end_s`` (seconds) in which the line is below ``low`` or above ``high``.

    :param bridge_s: returns into the band that are shorter than this do not end a stretch (noise, one odd sample).
    """
    first = max(int(line.times_s.searchsorted(start_s, side="right")) - 1, 0)
    last = int(line.times_s.searchsorted(end_s, side="left"))
    if last <= first or end_s <= start_s or (last == first + 1 and low <= line.values[first] <= high):
        return []
    values = line.values[first:last]
    off = (values < low) | (values > high)
    if not off.any():
        return []
    bounds = np.clip(np.append(line.times_s[first:last], end_s), start_s, end_s)
    turns = np.flatnonzero(np.diff(np.concatenate(([False], off, [False])).astype(np.int8)))
    found: list[Stretch] = []
    for begin, end in zip(turns[::2].tolist(), turns[1::2].tolist(), strict=True):
        piece = Stretch(float(bounds[begin]), float(bounds[end]))
        if found and piece.start_s - found[-1].end_s <= bridge_s:
            piece = Stretch(found.pop().start_s, piece.end_s)
        found.append(piece)
    return found


def resolution_s(line: AnalogLine, least: float, rise: tuple[float, float] | None = None) -> float | None:
    """How fine in time the line is, in seconds; None where it moves too seldom to tell.

    A column that holds a slow meter's readings changes only when the meter updates: no finer than the least time
    between two of its changes. One behind a filter, or of means, smears every step: no finer than its quickest large
    move, drawn out to a whole step.

    :param least: a change by less than this is none (in the line's unit).
    :param rise: two levels near the ends of a step that the line is known to make when it rises.
    """
    times, values = line.times_s[:_LOOK], line.values[:_LOOK]
    changed: list[float] = []
    held = float(values[0]) if len(values) else 0.0
    for time_s, value in zip(times.tolist(), values.tolist(), strict=True):
        if abs(value - held) > least:
            changed.append(time_s)
            held = value
    if len(changed) < 3:
        return None
    gaps = sorted(b - a for a, b in pairwise(changed))
    # Of many changes one near pair may be chance.
    finest = gaps[0] if len(gaps) < 4 else gaps[1]
    smears = [_quickest_share(times, values)]
    if rise is not None:
        smears.append(_quickest_rise(times.tolist(), values.tolist(), *rise))
    known = [smear for smear in smears if smear is not None]
    return max(finest, min(known)) if known else finest


def _quickest_share(times: Floats, values: Floats) -> float | None:
    """The least time in which the line moves by a share of its range, times what makes a whole of that share."""
    move = _SHARE * float(values.max() - values.min())
    for window in _WINDOWS_S:
        before = values[np.maximum(np.searchsorted(times, times - window, side="right") - 1, 0)]
        if bool(np.any(np.abs(values - before) >= move)):
            return window / _SHARE
    return None


def _quickest_rise(times: list[float], values: list[float], low: float, high: float) -> float | None:
    """The least time in which the line goes from ``low`` or less to ``high`` or more; None where it never does."""
    best: float | None = None
    low_s: float | None = None
    for place, value in enumerate(values):
        # A value holds until the next one: the way begins where the line leaves the level.
        if value > low and place and values[place - 1] <= low:
            low_s = times[place]
        if value >= high and low_s is not None:
            best = times[place] - low_s if best is None else min(best, times[place] - low_s)
            low_s = None
    return best


def changes(line: AnalogLine, start_s: float, end_s: float) -> int:
    """How often the line takes another value from ``start_s`` to ``end_s`` (seconds)."""
    first = int(np.searchsorted(line.times_s, start_s, side="right"))
    last = int(np.searchsorted(line.times_s, end_s, side="left"))
    if last <= first:
        return 0
    values = line.values[max(first - 1, 0) : last]
    return int(np.count_nonzero(np.diff(values)))


def reversals(line: AnalogLine, start_s: float, end_s: float, least: float) -> int:
    """How often the line turns from rising to falling or back from ``start_s`` to ``end_s``: noise, and no ramp.

    :param least: steps smaller than this do not count (in the line's unit).
    """
    first = int(np.searchsorted(line.times_s, start_s, side="right"))
    last = int(np.searchsorted(line.times_s, end_s, side="left"))
    steps = np.diff(line.values[max(first - 1, 0) : max(last, 0)])
    return int(np.count_nonzero(np.diff(np.sign(steps[np.abs(steps) >= least]))))


def highest(line: AnalogLine) -> float | None:
    """The highest value of the line; None where it has none."""
    return float(line.values.max()) if len(line.values) else None
