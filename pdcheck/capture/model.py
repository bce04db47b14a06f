"""What every file format becomes: named lines on one time base.

Why it is: the rooms below this one see only these objects, so a new format is one module here and
nothing anywhere else. Nothing in this room knows what the lines mean electrically; a role is only what
the file's own header (or the user) calls a column.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray


class Role(StrEnum):
    """What a column is said to be; OTHER where the file does not say."""

    CC1 = "cc1"
    CC2 = "cc2"
    VBUS = "vbus"
    CURRENT = "current"
    OTHER = "other"


@dataclass(frozen=True, eq=False)
class DigitalLine:
    """A line of two levels.

    ``edges_s``: float64 array, seconds from the start of the capture, strictly increasing; the level
    toggles at each. ``initial``: the level before the first edge.
    """

    name: str
    role: Role
    initial: bool
    edges_s: NDArray[np.float64]


@dataclass(frozen=True)
class Span:
    """What an analog line read during a stretch of time, in its unit; ``typical`` is the median over time."""

    low: float
    typical: float
    high: float


@dataclass(frozen=True, eq=False)
class AnalogLine:
    """A line of values in volts or amps.

    ``times_s`` and ``values``: float64 arrays of one length; a value holds until the next time. Readers may
    leave out samples that tell nothing new. ``unit``: ``"V"`` or ``"A"``.
    """

    name: str
    role: Role
    unit: str
    times_s: NDArray[np.float64]
    values: NDArray[np.float64]

    def during(self, start_s: float, end_s: float) -> Span | None:
        """What the line read from ``start_s`` to ``end_s`` (seconds); None where it has no value there."""
        first = int(self.times_s.searchsorted(start_s, side="right")) - 1
        last = int(self.times_s.searchsorted(end_s, side="right"))
        if first < 0:
            first = 0
        if last <= first or end_s <= start_s or float(self.times_s[first]) >= end_s:
            return None
        if last == first + 1:
            # At rest, as it mostly is; and this is asked for every packet of some captures.
            only = float(self.values[first])
            return Span(only, only, only)
        values = self.values[first:last]
        bounds = np.clip(np.append(self.times_s[first:last], end_s), start_s, end_s)
        held = np.diff(bounds)
        order = np.argsort(values, kind="stable")
        middle = np.searchsorted(np.cumsum(held[order]), held.sum() / 2.0)
        return Span(
            low=float(values.min()), typical=float(values[order[min(int(middle), len(values) - 1)]]),
            high=float(values.max()),
        )


Line = DigitalLine | AnalogLine


@dataclass(frozen=True, eq=False)
class Capture:
    """A capture file, read.

    :ivar path: as the user gave it (``"-"`` for standard input).
    :ivar kind: ``"csv-edges"``, ``"csv-samples"``, ``"vcd"``, ...
    :ivar start_s: the file's own time of our time zero (its first row).
    :ivar duration_s: seconds from time zero to the last row.
    :ivar sample_period_s: seconds between samples; None where the file holds changes only.
    :ivar lines: in the order of the file.
    :ivar time_unit_stated: False where neither file nor user said in what unit the times are; they were
        then taken as seconds, and whoever knows what the lines carry may rescale.
    :ivar notes: sentences on what of the file was not kept because it was too much.
    :ivar chosen: the roles for which the user named the column; only these columns may be read for them.
    :ivar left_out: the roles of columns that hold readings out of the instrument's range, or neither volts nor
        amps, and were left out for that.
    """

    path: str
    kind: str
    start_s: float
    duration_s: float
    sample_period_s: float | None
    lines: tuple[Line, ...]
    time_unit_stated: bool = True
    notes: tuple[str, ...] = ()
    chosen: frozenset[Role] = frozenset()
    left_out: frozenset[Role] = frozenset()

    def rescaled(self, factor: float) -> Capture:
        """The same capture with every time multiplied by ``factor``."""
        lines: list[Line] = []
        for line in self.lines:
            if isinstance(line, DigitalLine):
                lines.append(replace(line, edges_s=line.edges_s * factor))
            else:
                lines.append(replace(line, times_s=line.times_s * factor))
        period = None if self.sample_period_s is None else self.sample_period_s * factor
        return replace(
            self, start_s=self.start_s * factor, duration_s=self.duration_s * factor,
            sample_period_s=period, lines=tuple(lines),
        )
