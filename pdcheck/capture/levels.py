"""Questions to an analog line: where it leaves a band, how fine its time is, whether it moves at all.

Why it is: whoever argues from a voltage or a current must know for how long it was off, and whether the meter behind
the column could have shown it in time. A meter that updates once a second is right and late.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf

import numpy as np

from pdcheck.capture.model import AnalogLine

#: So many of a line's points are looked at to find its resolution; enough for every plug-in and transition.
_LOOK = 20_000


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
    first = max(int(np.searchsorted(line.times_s, start_s, side="right")) - 1, 0)
    last = int(np.searchsorted(line.times_s, end_s, side="left"))
    if last <= first or end_s <= start_s:
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


def resolution_s(line: AnalogLine, least: float, swing: float) -> float | None:
    """How fine in time the line is, in seconds; None where it moves too seldom to tell.

    A column that holds a slow meter's readings changes only when the meter updates: no finer than the least time
    between two of its changes. One that draws straight lines between readings never moves fast: no finer than its
    quickest move by ``swing``.

    :param least: a change by less than this is none (in the line's unit).
    """
    times, values = line.times_s[:_LOOK].tolist(), line.values[:_LOOK].tolist()
    changed: list[float] = []
    held = values[0] if values else 0.0
    for time_s, value in zip(times, values, strict=True):
        if abs(value - held) > least:
            changed.append(time_s)
            held = value
    if len(changed) < 3:
        return None
    gaps = sorted(b - a for a, b in pairwise(changed))
    # Of many changes one near pair may be chance.
    finest = gaps[0] if len(gaps) < 4 else gaps[1]
    quickest = _quickest(times, values, swing)
    return max(finest, quickest) if quickest is not None else finest


def _quickest(times: list[float], values: list[float], swing: float) -> float | None:
    """The least time in which the line moves by ``swing``; None where it never does."""
    best: float | None = None
    low_at, high_at = 0, 0
    for place, value in enumerate(values):
        if value <= values[low_at]:
            low_at = place
        if value >= values[high_at]:
            high_at = place
        for other in (low_at, high_at):
            if abs(value - values[other]) >= swing:
                # The move begins at the last point that is far enough away.
                begin = place - 1
                while abs(value - values[begin]) < swing:
                    begin -= 1
                took = times[place] - times[begin]
                best = took if best is None else min(best, took)
                low_at = high_at = place
    return best


def changes(line: AnalogLine, start_s: float, end_s: float) -> int:
    """How often the line takes another value from ``start_s`` to ``end_s`` (seconds)."""
    first = int(np.searchsorted(line.times_s, start_s, side="right"))
    last = int(np.searchsorted(line.times_s, end_s, side="left"))
    if last <= first:
        return 0
    values = line.values[max(first - 1, 0) : last]
    return int(np.count_nonzero(np.diff(values)))


def reversals(line: AnalogLine, start_s: float, end_s: float) -> int:
    """How often the line turns from rising to falling or back from ``start_s`` to ``end_s``: noise, and no ramp."""
    first = int(np.searchsorted(line.times_s, start_s, side="right"))
    last = int(np.searchsorted(line.times_s, end_s, side="left"))
    steps = np.diff(line.values[max(first - 1, 0) : max(last, 0)])
    signs = np.sign(steps[steps != 0.0])
    return int(np.count_nonzero(np.diff(signs)))


def highest(line: AnalogLine) -> float | None:
    """The highest value of the line; None where it has none."""
    return float(line.values.max()) if len(line.values) else None
