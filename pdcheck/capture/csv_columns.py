"""Columns of rows of one width: numbers and times, read when asked for and no more of them than needed.

Why it is: of a voltage one mostly wants to know that it stays where it is, and of times only those of the rows in
which something happens. Both can be told from the characters.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, FloatArray, IntArray
from pdcheck.capture.csv_cells import is_number, number, quantum, whole_and_part
from pdcheck.capture.csv_digits import FixedRows, exponent_decimals, fixed_decimals
from pdcheck.capture.csv_padded import padded_decimals
from pdcheck.capture.csv_rows import MOST, MOST_WHOLE, NO_ROWS, Place
from pdcheck.capture.csv_template import Span
from pdcheck.capture.waves import ranges_of

_FEW = 4
_EIGHT = 8
_MOST_IN_FRONT = 4  # of the point, so that eight characters tell thousandths
_USABLE_EXPONENT = 28  # whatever digits stand before it, the number is less than MOST
_ROUNDED = 1e-15  # of many digits the last are rounded, one way or another
_BLANK, _MINUS, _PLUS = 0x20, 0x2D, 0x2B


class FixedNumbers:
    """The numbers of a column, known to have the first row's shape: the :class:`~pdcheck.capture.waves.Values` of it.

    :param bounds: the least and the largest byte at each place of these rows (of some rows more, if not known better).
    :param separator: what no number may hold, for it ends a cell: a comma where that is no decimal point.
    """

    def __init__(self, rows: FixedRows, span: Span, bounds: tuple[Bytes, Bytes], separator: str = "") -> None:
        self._separator = separator
        self._rows = rows
        self._table = rows.table
        self._span = span
        self._bounds = bounds

    def __len__(self) -> int:
        return len(self._table)

    def outer(self) -> tuple[float, float]:
        """Numbers of the least digits at all places, and of the largest."""
        span = self._span
        texts = [bound[span.start : span.end].tobytes().decode() for bound in self._bounds]
        if span.exponent >= 0 or not all(map(is_number, texts)):
            return -np.inf, np.inf
        low, high = sorted(map(number, texts))
        return low, high

    def ranges(self) -> tuple[FloatArray, FloatArray]:
        """The least and the largest of each piece; of long numbers to eight characters."""
        sorted_by = self._sorted_by()
        if sorted_by is None:
            return ranges_of(self._looked_at(self.checked()))
        # As big-endian words decimals of one shape sort like their values.
        start, end = sorted_by
        own = self._rows.words(end).byteswap(inplace=True)
        own &= np.uint64((1 << 8 * (end - start)) - 1)
        lows, highs = ranges_of(own)
        least, largest = self._spelled(lows, start, end), self._spelled(highs, start, end)
        return (largest, least) if self._table[0, self._span.start] == _MINUS else (least, largest)

    def _sorted_by(self) -> tuple[int, int] | None:
        """The characters by which these numbers sort, at most eight; None where there are no such.

        A sign and an exponent must be the same in all rows.
        """
        table, span = self._table, self._span
        low, high = (bound[span.start : span.end] for bound in self._bounds)
        signed = int(table[0, span.start] in (_MINUS, _PLUS))
        if signed and low[0] != high[0]:
            return None
        if self._exponent() is None:
            return None
        end = span.exponent if span.exponent >= 0 else span.width
        if end - signed > _EIGHT:
            if span.point - signed > _MOST_IN_FRONT:
                return None
            end = signed + _EIGHT
        return span.start + signed, span.start + end

    def _exponent(self) -> int | None:
        """The exponent of all these numbers; None where it is not known to be the same."""
        span = self._span
        if span.exponent < 0:
            return 0
        least, largest = (bound[span.start + span.exponent + 1 : span.end].tobytes() for bound in self._bounds)
        return int(least) if least == largest else None

    def _spelled(self, words: NDArray[np.uint64], start: int, end: int) -> FloatArray:
        """The numbers whose characters from ``start`` to ``end`` these are."""
        span = self._span
        cells = words.astype(">u8").view(np.uint8).reshape(-1, _EIGHT)[:, _EIGHT - (end - start) :]
        parts = fixed_decimals(cells, min(span.start + span.point, end) - start)
        assert parts is not None, "the reader has looked at every digit"
        values = parts[0] + parts[1]
        row = self._table[0]
        if span.exponent >= 0:
            values *= 10.0 ** (self._exponent() or 0)
        if row[span.start] == _MINUS:
            np.negative(values, out=values)
        return values

    def pick(self, rows: IntArray) -> FloatArray:
        """The values of some rows."""
        return self._looked_at(self._read(rows))

    def _looked_at(self, values: FloatArray | None) -> FloatArray:
        assert values is not None, "the reader has looked at every digit"
        return values

    def usable(self) -> bool:
        """Whether all of them could be readings: what is printed for one out of range is much larger."""
        span = self._span
        if span.exponent < 0:
            return True
        exponent = self._bounds[1][span.start + span.exponent + 1 : span.end].tobytes()  # of one sign in all rows
        return exponent[:1] == b"-" or int(exponent) < _USABLE_EXPONENT

    def checked(self) -> FloatArray | None:
        """The values of all rows; None where one is of another shape."""
        span = self._span
        padding = self._table[:, span.start - span.blanks : span.start]
        # Where the sign stands somewhere else in other rows, blanks are no longer blank, or what was no blank is one.
        moves = span.blanks > 0 and bool((padding != _BLANK).any() or (self._table[:, span.start] == _BLANK).any())
        if moves:
            return padded_decimals(self._table[:, span.start - span.blanks : span.end], span.blanks + span.point)
        if len(self._table) and not _is_cell(self._table[0, span.start : span.end], self._separator):
            return None
        return self._read(None)

    def _read(self, rows: IntArray | None) -> FloatArray | None:
        """The values of some rows, or of all; None where one is no number."""
        span, start = self._span, self._span.start
        if span.exponent >= 0:
            values = self._rows.scientific(start, start + span.point, start + span.exponent, span.end, rows)
            if values is not None and bool((np.abs(values) < MOST).all()):
                return values
        else:
            parts = self._rows.decimals(start, start + span.point, span.end, rows)
            if parts is not None:
                return parts[0] + parts[1]
        return self._values(self._table[slice(None) if rows is None else rows, start : span.end])

    def _values(self, cells: Bytes) -> FloatArray | None:
        span = self._span
        if span.exponent >= 0:
            found = exponent_decimals(cells, span.point, span.exponent)
            return self._one_by_one(cells) if found is None else found
        parts = fixed_decimals(cells, span.point)
        return self._one_by_one(cells) if parts is None else parts[0] + parts[1]

    def _one_by_one(self, cells: Bytes) -> FloatArray | None:
        texts = [cell.tobytes().decode("latin-1") for cell in cells]
        if not all(map(is_number, texts)) or not all(_is_cell(cell, self._separator) for cell in cells):
            return None
        values = np.array([number(text) for text in texts])
        return values if bool((np.abs(values) < MOST).all()) else None


def _is_cell(cell: Bytes, separator: str) -> bool:
    """Whether these bytes are one cell: none of them ends it."""
    return not separator or separator.encode() not in cell.tobytes()


class FixedTimes:
    """Times of rows, read when asked for.

    :param separator: what no time may hold, for it ends a cell.
    :ivar quantum: the weight of their last digits; of exponents the largest, for they are much alike.
    """

    def __init__(self, rows: FixedRows, span: Span | None, place: Place, separator: str = "") -> None:
        self._separator = separator
        self._rows = rows
        self._table = rows.table
        self._span = span
        self._origin = place.origin or (0, 0.0)
        self._known = NO_ROWS
        self._answers: FloatArray = np.empty(0)
        self.last_time = self.quantum = 0.0

    def ends_in_order(self, place: Place) -> bool:
        """Whether the first and the last time are numbers, and neither is before the time above."""
        span = self._span
        assert span is not None
        first, last = (self._table[row, span.start : span.end].tobytes().decode("latin-1") for row in (0, -1))
        if not (self._is_time(first) and self._is_time(last)):
            return False
        self.quantum = max(quantum(first), quantum(last))
        first_time, self.last_time = self.since_start(first), self.since_start(last)
        self._known, self._answers = np.zeros(1, np.intp), np.array([first_time])
        return first_time >= (place.last_time if place.rows else first_time) and self.last_time >= first_time

    def in_order(self, changed: IntArray, suspects: IntArray, place: Place) -> bool:
        """Whether the times never go back; all but ``suspects`` are known not to sort before the row above."""
        if not self.ends_in_order(place):
            return False
        if len(changed) == 1 and not len(suspects):
            return True
        rows = changed
        if len(suspects):
            asked = np.zeros(len(self._table), bool)
            asked[changed] = asked[suspects] = asked[suspects - 1] = True
            rows = np.flatnonzero(asked)
        found = self._read(rows)
        if found is None or bool((found[1:] < found[:-1]).any()):
            return False
        if found[-1] > self.last_time + _ROUNDED * abs(self.last_time):
            return False
        self._known, self._answers = rows, found
        return True

    def quanta(self, rows: IntArray) -> FloatArray:
        """The weights of the last digits of the times."""
        return np.full(len(rows), self.quantum)

    def __call__(self, rows: IntArray) -> FloatArray:
        if rows is self._known:
            return self._answers
        if len(rows) == 1 and rows[0] == len(self._table) - 1:
            return np.array([self.last_time])
        if len(self._known) == len(self._table):
            return self._answers[rows]  # all are known
        if len(rows) <= len(self._known):
            where = np.searchsorted(self._known, rows)
            if bool((self._known.take(where, mode="clip") == rows).all()):
                return self._answers[where]
        found = self._read(rows)
        assert found is not None, "times that are in order are numbers"
        return found

    def _read(self, rows: IntArray) -> FloatArray | None:
        """The times of these rows, each asked for once; None where one is no number."""
        span = self._span
        assert span is not None
        every = len(rows) == len(self._table)  # as many can only be all: nobody asks for a row twice
        if span.exponent < 0 and len(rows) > _FEW:
            parts = self._rows.decimals(span.start, span.start + span.point, span.end, None if every else rows)
            if parts is not None:
                return (parts[0] - self._origin[0]) + (parts[1] - self._origin[1])
        cells = self._table[:, span.start : span.end] if every else self._table[rows, span.start : span.end]
        if span.exponent >= 0 and len(rows) > _FEW:
            values = self._rows.scientific(
                span.start, span.start + span.point, span.start + span.exponent, span.end, None if every else rows
            )
            if values is None:
                values = exponent_decimals(cells, span.point, span.exponent)
            if values is not None:
                return (values - self._origin[0]) - self._origin[1]
        out = np.empty(len(cells))
        for row, cell in enumerate(cells):
            text = cell.tobytes().decode("latin-1")
            if not self._is_time(text):
                return None
            out[row] = self.since_start(text)
        return out

    def _is_time(self, text: str) -> bool:
        """Whether it is one number, and one that the careful reader takes as well."""
        if not is_number(text) or (self._separator and self._separator in text):
            return False
        return abs(number(text)) < MOST_WHOLE

    def since_start(self, text: str) -> float:
        """The time in a cell."""
        whole, part = whole_and_part(text)
        return (whole - self._origin[0]) + (part - self._origin[1])
