"""Building lines from blocks of rows: edges of digital ones, telling points of analog ones.

Why it is: every reader meets the same two questions: where does a level change, and which values of a waveform
say something new? The answers, and the bounds on memory, are the same for all of them.

How a waveform is thinned
-------------------------
A value is kept when holding the last kept one would be wrong by more than the *band*: 20 mV for VBUS, 5 mA for
a current, and for any other voltage 1/64 of the range seen so far but at least 5 mV. In detail, per piece of
1,024 samples:

1. all within the band of the held value: nothing is kept;
2. the whole piece spans less than two bands: one point, the middle of the span, at the piece's start;
3. otherwise every sample that enters another cell of a grid with hysteresis (cells of 2/3 band, so that no held
   value is off by more than the band), and before a step larger than the band also the sample just before it,
   so that a crossing can be placed between two neighbouring samples.

Noise wider than the band would be kept sample by sample for hours; therefore a line that reaches its budget of
points has its band doubled and its points thinned by the same rule, as often as it takes.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.growing import FloatArray, GrowingArray
from pdcheck.capture.model import AnalogLine, DigitalLine, Role

_PIECE = 1024
_VBUS_BAND_V = 0.020
_CURRENT_BAND_A = 0.005
_LEAST_BAND_V = 0.005
_RANGE_PARTS = 64
_SLOW_BUDGET = 1 << 19
_WAVE_BUDGET = 4 << 20
# Without a stated unit: nothing on this connector stands at 100 V or carries 20 A, so more means milli.
_MILLIVOLTS_ABOVE = 100.0
_MILLIAMPS_ABOVE = 20.0
_MOST_MILLIVOLTS = 60_000.0


class EdgeBuilder:
    """Collects one digital line.

    Times are in the file's unit, from its first row. ``level`` is the level after the rows seen so far.
    """

    def __init__(self, name: str, role: Role) -> None:
        self.name = name
        self.role = role
        self.initial: int | None = None
        self.level = 0
        self.edges = GrowingArray()

    def add(self, times: FloatArray, levels: NDArray[np.uint8]) -> None:
        """Rows in order: their times and levels (0 or 1). Rows without a change may be left out."""
        if len(levels) == 0:
            return
        if self.initial is None:
            self.initial = self.level = int(levels[0])
        changed = np.empty(len(levels), bool)
        changed[0] = levels[0] != self.level
        np.not_equal(levels[1:], levels[:-1], out=changed[1:])
        self.level = int(levels[-1])
        self.edges.push(times[changed])

    def toggle(self, times: FloatArray) -> None:
        """Times at which the level is known to toggle."""
        self.edges.push(times)
        self.level ^= len(times) & 1

    def rescale(self, factor: float) -> None:
        """Multiply all times so far by ``factor``: they were row numbers, or become such."""
        self.edges.view()[:] *= factor

    def line(self, factor: float) -> DigitalLine:
        """The line, with its times multiplied by ``factor``."""
        edges = self.edges.take()
        initial = bool(self.initial)
        edges *= factor
        if len(edges) and (edges[0] <= 0.0 or not bool(np.all(edges[1:] > edges[:-1]))):
            # Several rows of one time: the last of them counts, so an even number of toggles is none.
            edges, counts = np.unique(edges, return_counts=True)
            odd = (counts & 1).astype(bool)
            if edges[0] <= 0.0:
                initial ^= bool(odd[0])
                odd[0] = False
            edges = edges[odd]
        return DigitalLine(self.name, self.role, initial, edges)


class WaveBuilder:
    """Collects one analog line, thinned as the module says.

    :param unit: ``"V"``, ``"A"`` or ``""`` where the file does not say.
    :param factor: from the file's values to that unit.
    :param share: how many lines share the budget of points.
    """

    def __init__(self, name: str, role: Role, unit: str, factor: float, share: int = 1) -> None:
        self.name = name
        self.role = role
        self.unit = unit
        self.factor = factor
        self.times = GrowingArray()
        self.values = GrowingArray()
        self._low = np.inf
        self._high = -np.inf
        self._held = np.nan
        self._loosened = 1.0
        slow = role in (Role.VBUS, Role.CURRENT)
        self._budget = _SLOW_BUDGET if slow else _WAVE_BUDGET // max(share, 1)

    def select(self, values: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
        """Which of the next rows' values to keep: their row numbers in ``values``, and what to keep."""
        low, high = float(values.min()), float(values.max())
        self._low, self._high = min(self._low, low), max(self._high, high)
        band = self._band()
        if high - self._held <= band and self._held - low <= band:
            return np.empty(0, np.intp), np.empty(0)
        rows, kept, self._held = _thin(values, self._held, band)
        return rows, kept

    def push(self, times: FloatArray, values: FloatArray) -> None:
        """Keep points chosen by :meth:`select`."""
        self.times.push(times)
        self.values.push(values)
        while len(self.times) > self._budget:
            self._loosened *= 2
            old_times, old_values = self.times.take(), self.values.take()
            rows, kept, self._held = _thin(old_values, np.nan, self._band())
            self.times.push(old_times[rows])
            self.values.push(kept)

    def rescale(self, factor: float) -> None:
        """Multiply all times so far by ``factor``: they were row numbers, or become such."""
        self.times.view()[:] *= factor

    def looks_like_volts(self) -> bool:
        """Whether the values could be volts (or millivolts) on a connector of this kind."""
        return max(abs(self._low), abs(self._high)) <= _MOST_MILLIVOLTS

    def line(self, factor: float) -> AnalogLine:
        """The line, with its times multiplied by ``factor``."""
        times, values = self.times.take(), self.values.take()
        times *= factor
        unit = self.unit or ("A" if self.role is Role.CURRENT else "V")
        scale = self.factor * self._guessed_scale()
        if scale != 1.0:
            values *= scale
        if len(times) > 1:
            last_of_time = np.append(times[1:] > times[:-1], True)
            if not last_of_time.all():
                times, values = times[last_of_time], values[last_of_time]
        return AnalogLine(self.name, self.role, unit, times, values)

    def _guessed_scale(self) -> float:
        """1e-3 where no unit is stated and the values can only be milli."""
        if self.unit:
            return 1.0
        largest = max(abs(self._low), abs(self._high)) if self._high >= self._low else 0.0
        if self.role is Role.CURRENT:
            return 1e-3 if largest > _MILLIAMPS_ABOVE else 1.0
        return 1e-3 if largest > _MILLIVOLTS_ABOVE else 1.0

    def _band(self) -> float:
        scale = self.factor * self._guessed_scale()
        if self.role is Role.VBUS:
            band = _VBUS_BAND_V / scale
        elif self.role is Role.CURRENT or self.unit == "A":
            band = _CURRENT_BAND_A / scale
        else:
            band = max(_LEAST_BAND_V / scale, (self._high - self._low) / _RANGE_PARTS)
        return band * self._loosened


def _thin(values: FloatArray, held: float, band: float) -> tuple[NDArray[np.intp], FloatArray, float]:
    """Rows and values to keep, and the value held at the end; the rule is in the module's text."""
    rows: list[NDArray[np.intp]] = []
    kept: list[FloatArray] = []
    whole = len(values) // _PIECE * _PIECE
    pieces = values[:whole].reshape(-1, _PIECE)
    lows, highs = pieces.min(axis=1).tolist(), pieces.max(axis=1).tolist()
    if whole < len(values):
        lows.append(float(values[whole:].min()))
        highs.append(float(values[whole:].max()))
    for number, (low, high) in enumerate(zip(lows, highs, strict=True)):
        if high - held <= band and held - low <= band:
            continue
        start = number * _PIECE
        if high - low <= 2 * band:
            held = (low + high) / 2
            rows.append(np.array([start], np.intp))
            kept.append(np.array([held]))
            continue
        piece = values[start : start + _PIECE]
        picked = _entering_cells(piece, band)
        held = float(piece[picked[-1]])
        rows.append(picked + start)
        kept.append(piece[picked])
    if not rows:
        return np.empty(0, np.intp), np.empty(0), held
    return np.concatenate(rows), np.concatenate(kept), held


def _entering_cells(piece: FloatArray, band: float) -> NDArray[np.intp]:
    """The first sample, each that enters another cell, and the one before each step larger than the band."""
    half_cell = band / 3
    code = np.floor((piece - piece[0]) / half_cell).astype(np.int64)
    # Odd codes are the middles of cells and decide; even ones are borders, where the last decision next to them holds.
    decides = (code & 1).astype(bool)
    last = np.maximum.accumulate(np.where(decides, np.arange(len(code)), 0))
    decided = code[last]
    code = np.where(np.abs(code - decided) <= 1, decided, code)
    keep = np.zeros(len(piece), bool)
    keep[0] = True
    enters = code[1:] != code[:-1]
    keep[1:] |= enters
    keep[:-1] |= enters & (np.abs(piece[1:] - piece[:-1]) > band)
    return np.flatnonzero(keep)
