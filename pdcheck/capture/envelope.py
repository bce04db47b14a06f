"""A line as the least and the greatest value in each of so many stretches of time.

Why it is: a picture has a thousand columns and a line may have ten million samples. Picking every n-th one would
lose the dip that matters; the least and the greatest of each column lose none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import DigitalLine, Line

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Envelope:
    """``low[i]`` to ``high[i]`` is what the line read in the i-th of equal stretches from ``start_s`` to ``end_s``.

    In volts or amps; 0 and 1 for a digital line. None where the line has no value yet.
    """

    start_s: float
    end_s: float
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]


def envelope(line: Line, start_s: float, end_s: float, columns: int) -> Envelope:
    """What the line read from ``start_s`` to ``end_s`` (seconds), in ``columns`` equal stretches.

    A value holds until the next one, so that a stretch without a sample reads what was there before.
    """
    bounds = np.linspace(start_s, end_s, columns + 1)
    if isinstance(line, DigitalLine):
        return _of_levels(line, bounds)
    times, values = line.times_s, line.values
    if len(times) == 0:
        return Envelope(start_s, end_s, (None,) * columns, (None,) * columns)
    until = np.searchsorted(times, bounds, side="right")
    first = np.maximum(until[:-1] - 1, 0)
    last = np.maximum(until[1:], first + 1)
    pairs = np.column_stack((first, last)).ravel()
    # reduceat wants every index inside the array, also the one past the last value.
    padded = np.append(values, values[-1])
    low = np.minimum.reduceat(padded, pairs)[::2].tolist()
    high = np.maximum.reduceat(padded, pairs)[::2].tolist()
    empty = (until[1:] == 0).tolist()
    return Envelope(
        start_s, end_s,
        tuple(None if nothing else value for value, nothing in zip(low, empty, strict=True)),
        tuple(None if nothing else value for value, nothing in zip(high, empty, strict=True)),
    )


def _of_levels(line: DigitalLine, bounds: Floats) -> Envelope:
    """Two levels: an edge inside a stretch shows both."""
    until = np.searchsorted(line.edges_s, bounds, side="right")
    level = (until[:-1] % 2 == 1) ^ line.initial
    moves = until[1:] > until[:-1]
    low, high = np.where(moves, 0.0, level), np.where(moves, 1.0, level)
    return Envelope(float(bounds[0]), float(bounds[-1]), tuple(low.tolist()), tuple(high.tolist()))
