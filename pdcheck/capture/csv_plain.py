"""Rows of plain numbers in any notation, by numpy's own reader of text.

Why it is: scopes like ``-1.2000E-03``, with a sign that comes and goes, so that rows have neither one width nor one
pattern. Cell by cell in Python a row takes some microseconds; numpy reads the same numbers ten times as fast. What
it would let pass and the careful reader would not is asked for separately: the number of cells, ``nan`` and ``inf``,
levels other than 0 and 1, times that go back.
"""

from __future__ import annotations

import io
import re
import warnings

import numpy as np

from pdcheck.capture.arrays import Bytes, FloatArray, IntArray
from pdcheck.capture.csv_cells import COMMENT_MARKS, quantum, split_row
from pdcheck.capture.csv_layout import Kind, Layout
from pdcheck.capture.csv_rows import LAST_ROWS, MOST, NO_ROWS, Place, RowBlock, spread
from pdcheck.capture.waves import ReadValues

STRETCH = 1 << 17
LEAST_ROWS = 32
_LONGEST_PAUSE = 64
_LONG_EXPONENT = re.compile(rb"[eE][+-]?\d{5}")  # a number to Python, not to us
_COMMENT = re.compile(rb"^[ \t\r\f\v]*(?:" + "|".join(map(re.escape, COMMENT_MARKS)).encode() + rb")", re.MULTILINE)


class PlainReader:
    """Reads rows of numbers without quotes."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        kinds = [column.kind for column in layout.columns]
        self._wanted = [
            place for place, kind in enumerate(kinds) if kind in (Kind.TIME, Kind.LEVEL, Kind.NUMBER)
        ]
        self._levels = [place for place, kind in enumerate(kinds) if kind is Kind.LEVEL]
        self._numbers = [place for place, kind in enumerate(kinds) if kind is Kind.NUMBER]
        self._able = Kind.BUS not in kinds and len(layout.delimiter.strip()) == (layout.delimiter != "\t")
        self._misses = self._pause = 0

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        if not self._able:
            return None
        if self._pause:
            self._pause -= 1
            return None
        end = room.rfind(b"\n", start, min(end, start + STRETCH)) + 1
        block = self._block(bytes(room[start:end]), place) if end > start else None
        self._misses = 0 if block else self._misses + 1
        self._pause = min(self._misses // 2, _LONGEST_PAUSE)
        return None if block is None else (block, end)

    def _block(self, text: bytes, place: Place) -> RowBlock | None:
        rows = text.count(b"\n")
        delimiter = self._layout.delimiter.encode()
        separators, more = divmod(text.count(delimiter), max(rows, 1))
        fewest = len(self._layout.columns) - 1
        if rows < LEAST_ROWS or more or not fewest <= separators <= fewest + 1 or b'"' in text or not text.isascii():
            return None
        if not self._as_many_in_each(text, separators) or _LONG_EXPONENT.search(text):
            return None
        shown = text.decode()
        if delimiter != b",":
            shown = shown.replace(",", ".")
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")
                table: FloatArray = np.loadtxt(
                    io.StringIO(shown), delimiter=self._layout.delimiter, comments=None, usecols=self._wanted, ndmin=2,
                    unpack=True,
                )  # fmt: skip
        except (ValueError, IndexError, Warning):
            return None
        columns = dict(zip(self._wanted, table, strict=True))
        if table.shape[1] != rows or not bool((np.abs(table) < MOST).all()):
            return None
        levels = np.empty((len(self._levels), rows), np.uint8)
        for lane, column in enumerate(self._levels):
            if not bool(((columns[column] == 0) | (columns[column] == 1)).all()):
                return None
            levels[lane] = columns[column]
        numbers = tuple(ReadValues(columns[column]) for column in self._numbers)
        changed = np.flatnonzero(np.append(True, (levels[:, 1:] != levels[:, :-1]).any(axis=0)))
        if self._layout.time_column is None:
            return RowBlock(rows, rows, changed, levels[:, changed], numbers, _none, _none, NO_ROWS, 0.0, 0.0)
        assert place.origin is not None
        times = _Times(columns[self._layout.time_column], place.origin, text, self._layout)
        if not times.in_order(place):
            return None
        return RowBlock(
            rows=rows, lines=rows, changed=changed, levels=levels[:, changed], numbers=numbers, times=times,
            quanta=times.quanta, spots=spread(rows), finest=times.finest(), last_time=float(times.since[-1]),
        )  # fmt: skip

    def _as_many_in_each(self, text: bytes, separators: int) -> bool:
        """Whether each row has so many separators, nothing stands behind one too many, and none is a comment: numpy
        looks at no cell that nobody reads."""
        delimiter = self._layout.delimiter.encode()
        if separators == len(self._layout.columns):
            ends = sum(text.count(delimiter + end) for end in (b"\n", b"\r\n"))
            if ends != text.count(b"\n"):
                return False
        if len(self._wanted) == len(self._layout.columns):
            return True
        if self._layout.columns[0].kind is Kind.IGNORED and _COMMENT.search(text):
            return False
        return all(row.count(delimiter) == separators for row in text.splitlines())


def _none(rows: IntArray) -> FloatArray:
    raise AssertionError("rows are counted in a file without a time column")


class _Times:
    """Times of rows."""

    def __init__(self, times: FloatArray, origin: tuple[int, float], text: bytes, layout: Layout) -> None:
        # As the careful reader does it, to the last bit: rows of one time must stay of one time.
        whole = np.trunc(times)
        self.since: FloatArray = (whole - origin[0]) + (times - whole - origin[1])
        self._layout = layout
        self._alike = float(np.abs(times).max()) < 1 or self._all_have_exponents(text)
        lines = text.splitlines()
        self._first, self._last = lines[:LAST_ROWS], lines[-LAST_ROWS:]

    def in_order(self, place: Place) -> bool:
        """Whether the times rise, and are the same numbers to the careful reader."""
        rising = bool((self.since[1:] >= self.since[:-1]).all())
        return self._alike and rising and bool(self.since[0] >= place.last_time)

    def _all_have_exponents(self, text: bytes) -> bool:
        """Plain decimals of one and more are read in two parts by the other readers, which rounds otherwise."""
        row = text[: text.index(b"\n")].decode()
        column = self._layout.time_column
        assert column is not None
        marks = sum(text.count(mark) for mark in (b"e", b"E"))
        in_time = "e" in split_row(row, self._layout.delimiter)[column].lower()
        return in_time and marks == text.count(b"\n") * row.lower().count("e")

    def quanta(self, rows: IntArray) -> FloatArray:
        """The weight of the last digit of the first few times or of the last ones, whichever is more.

        Of a few the finest: others may have lost trailing zeros.
        """
        return np.full(len(rows), max(min(map(self._quantum, self._first)), self.finest()))

    def finest(self) -> float:
        """The weight of the finest last digit among the last few times."""
        return min(map(self._quantum, self._last))

    def _quantum(self, line: bytes) -> float:
        column = self._layout.time_column
        assert column is not None
        return quantum(split_row(line.decode(), self._layout.delimiter)[column])

    def __call__(self, rows: IntArray) -> FloatArray:
        return self.since[rows]
