"""Building analog lines from blocks of rows: the points of a waveform that tell something new.

Why it is: a voltage sampled for half a minute is gigabytes, and says the same thing nearly all the time. What every
reader keeps of it, and the bounds on memory, are the same for all of them.

How a waveform is thinned
-------------------------
A value is kept when holding the last kept one would be wrong by more than the *band*: 20 mV for VBUS, 5 mA for
a current, and for any other voltage 1/64 of the range seen so far but at least 5 mV. In detail, per piece of
128 samples:

1. all within the band of the held value: nothing is kept;
2. the whole piece spans less than two bands: one point, the middle of the span, at the piece's start;
3. otherwise every sample that enters another cell of a grid with hysteresis (cells of 2/3 band, so that no held
   value is off by more than the band), and before a step larger than the band also the sample just before it,
   so that a crossing can be placed between two neighbouring samples.

The first two need to know of a piece only its least and its largest value, so a reader that finds these without
reading every number (see :class:`Values`) saves most of the work.

A line that has shown much noise already is kept as what it trembles between: where most pieces of a block span more
than two bands, those that span no more than most, about the level of their neighbours, are taken for their middles. Of
one in eight the least and the largest value are kept as well, in front of the middle, so that the noise is still seen.
Every other piece is kept as the third point says. On a line that may carry packets only what spans a small part of its
range, and of a packet's swing, is taken for noise.

Noise wider than the band would be kept sample by sample for hours; therefore a line that reaches its budget of
points has its band doubled and its points thinned by the same rule, as often as it takes for VBUS and a current. Of
another voltage, which may carry packets, nothing would be left to read with a band of half its range: it is given up
instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import FloatArray, IntArray
from pdcheck.capture.growing import GrowingArray, Moments
from pdcheck.capture.lines import CC_ROLES, MOST_EDGES, EdgeBuilder, too_many
from pdcheck.capture.model import AnalogLine, Role
from pdcheck.errors import CaptureError

PIECE = 128
Sorting = TypeVar("Sorting", np.float64, np.uint64)
_VBUS_BAND_V = 0.020
_CURRENT_BAND_A = 0.005
_LEAST_BAND_V = 0.005
_RANGE_PARTS = 64
_SLOW_BUDGET = 1 << 19
_WAVE_BUDGET = 4 << 20
_AT_ONCE = 1 << 10  # pieces
_MOST_LOOSENED = 16.0
#: So many points kept are much noise; so many pieces tell what is usual among them; a piece that spans so many times
#: as much shows more than noise. Our own choices.
_MUCH_NOISE, _TELLING, _MORE_THAN_USUAL = 1 << 14, 16, 2.2
_SHOWN, _SHOWN_ROWS = 8, 3
#: Packets swing by more than a volt (vSwing), and by most of what their line ever shows. Our own choices, well below.
_MOST_NOISE_V, _NOISE_PARTS = 0.3, 6
_MOST_CELLS = 1e9
# Without a stated unit: nothing on this connector stands at 100 V or carries 20 A, so more means milli.
_MILLIVOLTS_ABOVE = 100.0
_MILLIAMPS_ABOVE = 20.0
_MOST_MILLIVOLTS = 60_000.0


class Values(Protocol):
    """The values of some rows, one after the other; read when asked for."""

    def __len__(self) -> int:
        """How many."""

    def outer(self) -> tuple[float, float]:
        """Bounds that no value is outside of; they may be wider than need be."""

    def ranges(self) -> tuple[FloatArray, FloatArray]:
        """The least and the largest value of each piece of 128; the last piece may be shorter."""

    def pick(self, rows: IntArray) -> FloatArray:
        """The values of some rows."""


class ReadValues:
    """Values that have all been read."""

    def __init__(self, values: FloatArray) -> None:
        self._values = values

    def __len__(self) -> int:
        return len(self._values)

    def outer(self) -> tuple[float, float]:
        """The least and the largest."""
        return float(self._values.min()), float(self._values.max())

    def ranges(self) -> tuple[FloatArray, FloatArray]:
        """The least and the largest value of each piece."""
        return ranges_of(self._values)

    def pick(self, rows: IntArray) -> FloatArray:
        """Some of them."""
        return self._values[rows]


def ranges_of(values: NDArray[Sorting]) -> tuple[NDArray[Sorting], NDArray[Sorting]]:
    """The least and the largest of each piece of 128 values, or of words that sort like them; the last piece may be
    shorter."""
    whole = len(values) // PIECE * PIECE
    pieces = values[:whole].reshape(-1, PIECE)
    lows, highs = pieces.min(axis=1), pieces.max(axis=1)
    if whole < len(values):
        lows, highs = np.append(lows, values[whole:].min()), np.append(highs, values[whole:].max())
    return lows, highs


_NO_ROWS = np.empty(0, np.intp)


class WaveBuilder:
    """Collects one analog line, thinned as the module says.

    :param unit: ``"V"``, ``"A"`` or ``""`` where the file does not say.
    :param factor: from the file's values to that unit.
    :param share: how many lines share the budget of points.
    :ivar given_up: it moved so much that it is no longer kept.
    """

    def __init__(self, name: str, role: Role, unit: str, factor: float, share: int = 1) -> None:
        self.name = name
        self.role = role
        self.unit = unit
        self.factor = factor
        self.times = Moments()
        self.values = GrowingArray()
        self._low = np.inf
        self._high = -np.inf
        self._held = np.nan
        self._loosened = 1.0
        self.given_up = False
        self._trembles = False
        self._slow = role in (Role.VBUS, Role.CURRENT)
        self._budget = _SLOW_BUDGET if self._slow else _WAVE_BUDGET // max(share, 1)

    def select(self, values: Values) -> tuple[IntArray, FloatArray]:
        """Which of the next rows' values to keep: their row numbers in ``values``, and what to keep."""
        if self.given_up:
            return _NO_ROWS, np.empty(0)
        low, high = values.outer() if not self._trembles else (-np.inf, np.inf)
        if self._low <= low and high <= self._high and self._is_held(low, high, self._band()):
            return _NO_ROWS, np.empty(0)
        lows, highs = values.ranges()
        low, high = float(lows.min()), float(highs.max())
        self._low, self._high = min(self._low, low), max(self._high, high)
        band = self._band()
        if self._is_held(low, high, band):
            return _NO_ROWS, np.empty(0)
        trembling: NDArray[np.bool_] | None = None
        if len(self.values) > _MUCH_NOISE:
            trembling = _trembling(lows, highs, band, self._most_noise(), len(values))
        self._trembles = trembling is not None
        rows, kept, self._held = _thin(values, lows, highs, self._held, band, trembling)
        return rows, kept

    def _most_noise(self) -> float:
        """What spans more is no noise, however much of it there is."""
        if self._slow:
            return np.inf
        return min((self._high - self._low) / _NOISE_PARTS, _MOST_NOISE_V / (self.factor * self._guessed_scale()))

    def _is_held(self, low: float, high: float, band: float) -> bool:
        return high - self._held <= band and self._held - low <= band

    def push(self, times: FloatArray, values: FloatArray, rows: IntArray | None = None) -> None:
        """Keep points chosen by :meth:`select`; ``rows`` are their numbers in the file, where these are kept."""
        self.times.push(times, rows)
        self.values.push(values)
        while len(self.times) > self._budget:
            if self._loosened >= _MOST_LOOSENED and not self._slow:
                self.given_up = True
                self.times, self.values = Moments(), GrowingArray()
                return
            self._loosened *= 2
            old = self.values.take()
            kept_rows, kept, self._held = _thin(ReadValues(old), *ranges_of(old), np.nan, self._band())
            self.times.keep_only(kept_rows)
            self.values.push(kept)

    def looks_like_volts(self) -> bool:
        """Whether the values could be volts (or millivolts) on a connector of this kind."""
        return max(abs(self._low), abs(self._high)) <= _MOST_MILLIVOLTS

    def notes(self) -> list[str]:
        """What the reader of a report should know of it: that it moved too much to be kept as finely as others."""
        if self.given_up:
            return [f'The column "{self.name}" moves more than can be kept, and was not read.']
        if self._loosened == 1.0:
            return []
        unit = self.unit or ("A" if self.role is Role.CURRENT else "V")
        band = self._band() * self.factor * self._guessed_scale()
        return [f'The column "{self.name}" moves so much that it was kept to within {band:.2g} {unit} only.']

    def line(self, factor: float, period: float | None = None) -> AnalogLine:
        """The line; times are multiplied by ``factor``, or row numbers, where they were kept, by ``period``."""
        times, values = self.times.take(factor, period), self.values.take()
        unit = self.unit or ("A" if self.role is Role.CURRENT else "V")
        scale = self.factor * self._guessed_scale()
        if scale != 1.0:
            values *= scale
        if len(times) > 1:
            # A time garbled in a place where not every row is looked at may be before the one above.
            in_order = times >= np.maximum.accumulate(times)
            if not in_order.all():
                times, values = times[in_order], values[in_order]
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


def check_room(
    edges: Sequence[EdgeBuilder], waves: Sequence[WaveBuilder], path: str, line: int, most: int = MOST_EDGES
) -> None:
    """Whether what was read up to this line can be kept.

    :param most: edges in all.
    :raises CaptureError: there are more, or all lines that are called CC, or may be CC, were given up.
    """
    if too_many(edges, most):
        raise CaptureError(
            f"more than {most:,} level changes up to here: more than can be judged at once",
            "export only the channels that matter, or a shorter time", path=path, line=line,
        )  # fmt: skip
    lines: list[EdgeBuilder | WaveBuilder] = [*edges, *waves] if waves else []
    wanted = [one for one in lines if one.role in CC_ROLES] or [one for one in lines if one.role is Role.OTHER]
    if wanted and all(one.given_up for one in wanted):
        raise CaptureError(
            "CC moves more than can be kept up to here: noise, or more traffic than can be judged at once",
            "export a shorter time, or fewer channels", path=path, line=line,
        )  # fmt: skip


def _trembling(
    lows: FloatArray, highs: FloatArray, band: float, most: float, rows: int
) -> NDArray[np.bool_] | None:
    """Which pieces of so many rows show the noise that most show, and nothing else; None where most show none.

    :param most: no more than this is noise.
    """
    spans = highs - lows
    middle = len(spans) // 2
    if len(spans) < _TELLING:
        return None
    usual = float(np.partition(spans, middle)[middle])
    if not 2 * band < usual <= most:
        return None
    alike = np.abs(np.diff(lows + highs)) <= usual  # the middles are no more than half of it apart
    calm: NDArray[np.bool_] = (spans > 2 * band) & (spans <= min(_MORE_THAN_USUAL * usual, most))
    calm[1:] &= alike
    calm[:-1] &= alike
    if rows % PIECE in range(1, _SHOWN_ROWS):
        calm[-1] = False
    return calm


def _thin(
    values: Values, lows: FloatArray, highs: FloatArray, held: float, band: float,
    trembling: NDArray[np.bool_] | None = None,
) -> tuple[IntArray, FloatArray, float]:
    """Rows and values to keep, and the value held at the end; the rule is in the module's text.

    :param trembling: which pieces are kept as what they tremble between.
    """
    wild = highs - lows > 2 * band
    if trembling is not None:
        wild &= ~trembling
    rows, kept, after = _wild(values, wild, band)
    if trembling is not None and trembling.any():
        after = np.full(len(lows), np.nan) if after is None else after
        levels = (lows + highs) / 2
        shown = np.flatnonzero(trembling)[::_SHOWN]
        after[shown] = levels[shown]
        rows = np.append(rows, (shown[:, None] * PIECE + np.arange(_SHOWN_ROWS)).ravel())
        kept = np.append(kept, np.column_stack([lows[shown], highs[shown], levels[shown]]).ravel())
        lows, highs = np.where(trembling, levels, lows), np.where(trembling, levels, highs)
    starts: list[int] = []
    middles: list[float] = []
    if after is None:
        # Most blocks have no such piece.
        after = np.full(len(lows), np.nan)
    for piece, (low, high, then) in enumerate(zip(lows.tolist(), highs.tolist(), after.tolist(), strict=True)):
        if then == then:
            held = then
        elif not (high - held <= band and held - low <= band):
            held = (low + high) / 2
            starts.append(piece * PIECE)
            middles.append(held)
    if not starts and trembling is None:
        return rows, kept, held
    rows, kept = np.concatenate([rows, np.array(starts, np.intp)]), np.concatenate([kept, np.array(middles)])
    order = np.argsort(rows, kind="stable")
    return rows[order], kept[order], held


def _wild(values: Values, wild: NDArray[np.bool_], band: float) -> tuple[IntArray, FloatArray, FloatArray | None]:
    """Of pieces that span more than two bands the rows and values to keep.

    :param wild: which pieces are such. Those that follow each other are one run.
    :returns: also, for each piece, the value held behind its run; nan for all others, None where there is no run.
    """
    pieces = np.flatnonzero(wild)
    if not len(pieces):
        return _NO_ROWS, np.empty(0), None
    after = np.full(len(wild), np.nan)
    rows: list[IntArray] = []
    kept: list[FloatArray] = []
    for first in range(0, len(pieces), _AT_ONCE):
        some = pieces[first : first + _AT_ONCE]
        places = (some[:, None] * PIECE + np.arange(PIECE)).ravel()
        if places[-1] >= len(values):
            places = places[: np.searchsorted(places, len(values))]
        run = values.pick(places)
        starts = np.flatnonzero(np.diff(some, prepend=-2) > 1)
        picked = _entering_cells(run, starts * PIECE, band)
        ends = np.append(starts[1:], len(some))
        last = picked[np.searchsorted(picked, ends * PIECE) - 1]
        after[some] = np.repeat(run[last], ends - starts)
        rows.append(places[picked])
        kept.append(run[picked])
    return np.concatenate(rows), np.concatenate(kept), after


def _entering_cells(values: FloatArray, starts: IntArray, band: float) -> IntArray:
    """Of each run the first sample, each that enters another cell, and the one before each step larger than the band.

    :param starts: where the runs begin.
    """
    cells = values / (band / 3)
    np.floor(cells, out=cells)
    np.clip(cells, -_MOST_CELLS, _MOST_CELLS, out=cells)
    code = cells.astype(np.int32)
    # Odd codes are the middles of cells and decide; even ones are borders, where the last decision next to them holds.
    last = np.arange(len(code), dtype=np.int32)
    last *= code & 1
    last[starts] = starts
    np.maximum.accumulate(last, out=last)
    decided = code.take(last)
    away = code - decided
    np.abs(away, out=away)
    np.copyto(decided, code, where=away > 1)
    enters = decided[1:] != decided[:-1]
    enters[starts[1:] - 1] = False
    keep = np.zeros(len(values), bool)
    keep[starts] = True
    keep[1:] |= enters
    keep[:-1] |= enters & (np.abs(values[1:] - values[:-1]) > band)
    return np.flatnonzero(keep)
