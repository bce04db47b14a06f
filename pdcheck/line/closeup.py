"""One packet seen closely: its edges and the bits between them.

Why it is: who doubts a verdict wants to see the wave and the bits that were read off it. The report keeps no bits;
they are read here once more, by the same clock recovery, for the few packets that are looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.model import AnalogLine, DigitalLine
from pdcheck.line.bursts import preambles
from pdcheck.line.clock import read_bits
from pdcheck.line.model import LineReading, Packet
from pdcheck.line.slicer import slice_line

#: How much of the line around a packet belongs to its picture: the driver's letting go is within 23 us.
_BEFORE_S = 12e-6
_AFTER_S = 30e-6


@dataclass(frozen=True)
class Edges:
    """The line from ``start_s`` to ``end_s``: the level at the start, and the times (seconds) at which it toggles."""

    start_s: float
    end_s: float
    level: bool
    times_s: tuple[float, ...]


@dataclass(frozen=True)
class Bits:
    """Bits as they were read, each with its end in seconds."""

    bits: tuple[int, ...]
    ends_s: tuple[float, ...]


def cc_line(reading: LineReading) -> DigitalLine | None:
    """The line that was read, as two levels; None where there was none or it bears no traffic."""
    for line in reading.capture.lines:
        if line.name == reading.cc:
            return slice_line(line, reading.capture.sample_period_s) if isinstance(line, AnalogLine) else line
    return None


def edges_around(line: DigitalLine, start_s: float, end_s: float) -> Edges:
    """The line around a packet or burst, with a little of what was before and after."""
    start_s, end_s = max(0.0, start_s - _BEFORE_S), end_s + _AFTER_S
    first, last = (int(n) for n in np.searchsorted(line.edges_s, (start_s, end_s)))
    return Edges(start_s, end_s, line.initial ^ bool(first % 2), tuple(line.edges_s[first:last].tolist()))


def samples_around(line: AnalogLine, start_s: float, end_s: float, most: int) -> tuple[tuple[float, float], ...]:
    """The samples around a packet or burst as (seconds, value), every one, or none where there are more than
    ``most``."""
    first, last = (int(n) for n in np.searchsorted(line.times_s, (start_s - _BEFORE_S, end_s + _AFTER_S)))
    first = max(0, first - 1)
    if last - first > most:
        return ()
    return tuple(zip(line.times_s[first:last].tolist(), line.values[first:last].tolist(), strict=True))


def bits_of(line: DigitalLine, packet: Packet) -> Bits | None:
    """The bits that were read off a packet; None where its preamble is not found again."""
    first, last = (int(n) for n in np.searchsorted(line.edges_s, (packet.start_s - 1e-6, packet.end_s + 1e-6)))
    found = next(preambles(line.edges_s[first:last], (not line.initial) ^ bool(first % 2)), None)
    if found is None:
        return None
    run = read_bits(*found)
    return Bits(tuple(run.bits[: len(run.ends_s)]), tuple(run.ends_s[: len(run.bits)]))
