"""Rows of one width, at the speed of memory.

Why it is: where rows are equally wide, the bytes of a column stand a row's width apart, and equal bytes in the level
columns mean equal levels. So the cells of a row between changes are never parsed: one strided copy brings the level
bytes of all rows together, one comparison finds the rows that differ, and only those are read.

What is still checked of every row: its separators and line end stand where they should, its levels are those of the
row before (or are read), its time does not sort before the one above in its last eight characters (or is read), and
holds no letters there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, IntArray
from pdcheck.capture.cell_levels import LEVEL_OF_BYTE, NOT_A_LEVEL, spelled_levels
from pdcheck.capture.csv_cells import COMMENT_MARKS
from pdcheck.capture.csv_columns import FixedNumbers, FixedTimes
from pdcheck.capture.csv_digits import FixedRows
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import NO_ROWS, Place, RowBlock, spread
from pdcheck.capture.csv_template import Span, Template, template_of
from pdcheck.capture.waves import ReadValues

LEAST_ROWS = 128
_MINUS, _PLUS = 0x2D, 0x2B
_MOST_KNOWN = 4096
_SIX = np.uint64(0x0606060606060606)
_OVER = 0x1010101010101010


@dataclass(frozen=True)
class _Window:
    """Some neighbouring bytes of a row that are compared as one word."""

    start: int
    dtype: np.dtype[np.unsignedinteger]
    mask: int

    @property
    def whole(self) -> bool:
        """Whether all bytes count."""
        return self.mask == (1 << (8 * self.dtype.itemsize)) - 1


class FixedReader:
    """Reads rows of one width, as far as they go."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._separator = layout.delimiter.strip()
        self._template: Template | None = None
        self._windows: list[_Window] = []
        self._fixed: IntArray = np.empty(0, np.intp)
        self._pattern: Bytes = np.empty(0, np.uint8)
        self._room = np.empty(0, np.uint64)
        self._flags = np.empty(0, bool)
        self._known: dict[bytes, Bytes] = {}

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on.

        :param room: the buffer, and ``data`` the same as an array.
        :returns: the rows, and where they end; None where the next rows are not of one width.
        """
        width = room.find(b"\n", start, min(end, start + 4096)) + 1 - start
        if width < 2 or (end - start) // width < LEAST_ROWS:
            return None
        count = (end - start) // width
        line_ends = data[start + width - 1 : start + count * width : width]
        if not (line_ends[:LEAST_ROWS] == 10).all() or not self._fits(bytes(room[start : start + width])):
            return None
        if line_ends[-1] != 10:
            count = int(np.argmin(line_ends == 10))
        template = self._template
        assert template is not None
        table = data[start : start + count * width].reshape(count, width)
        changed = self._changed(data, start, count, width)
        if len(changed) * 2 > count:
            changed = np.arange(count)
        levels = self._levels_at(table, changed)
        if levels.shape[1] < len(changed):
            count = int(changed[levels.shape[1]])
            changed, table = changed[: levels.shape[1]], table[:count]
            if count < LEAST_ROWS:
                return None
        rows = FixedRows(data, start, count, width)
        numbers: list[ReadValues] = []
        for span in template.numbers:
            values = FixedNumbers(rows, span, (table[0], table[0]), self._separator).checked()
            if values is None:
                return None
            numbers.append(ReadValues(values))
        times = FixedTimes(rows, template.time, place, self._separator)
        spots, last_time, finest = NO_ROWS, 0.0, 0.0
        if template.time is not None:
            suspects: IntArray | None = NO_ROWS
            if template.time.exponent >= 0:
                suspects = np.arange(1, count)  # their characters do not sort as their values do
            elif len(changed) < count:
                suspects = self._suspects(table, template.time)
            if suspects is None or not times.in_order(changed, suspects, place):
                return None
            spots, last_time, finest = spread(count), times.last_time, times.quantum
        if template.ignored and not self._nothing_hides(data[start : start + count * width], count):
            return None
        block = RowBlock(
            count, count, changed, levels, tuple(numbers), times, times.quanta, spots, finest, last_time
        )
        return block, start + count * width

    def _fits(self, row: bytes) -> bool:
        """Whether there is a template for this row, made anew where need be."""
        old = self._template
        if old is not None and len(row) == old.width:
            sign = slice(0, 0) if old.time is None else slice(old.time.start, old.time.start + 1)
            # Blanks in front of a number that grows are no longer where they were.
            alike = bool((np.frombuffer(row, np.uint8)[self._fixed] == self._pattern).all())
            if alike and (row[sign] == b"-") == (old.row[sign] == b"-"):
                return True
        new = template_of(row, self._layout)
        if new is None or new.buses:
            return False
        self._template = new
        padding = {at for span in new.numbers for at in range(span.start - span.blanks, span.start)}
        fixed = [at for at in new.fixed_places() if at not in padding]
        self._fixed = np.array(fixed, np.intp)
        self._pattern = np.frombuffer(row, np.uint8)[self._fixed]
        self._windows = _windows(new, fixed)
        self._known.clear()
        return True

    def _nothing_hides(self, stretch: Bytes, count: int) -> bool:
        """Whether in cells that nobody reads there is nothing that makes other rows of these: a line end, a separator,
        a quote, the mark of a comment."""
        template = self._template
        assert template is not None
        for mark in {"\n", self._layout.delimiter}:
            if int(np.count_nonzero(stretch == ord(mark))) != count * template.row.count(mark.encode()):
                return False
        first = stretch[:: template.width]
        if template.ignored[0].start == 0 and not (int(first.min()) >= ord("0") and int(first.max()) <= ord("9")):
            cells = stretch.reshape(count, template.width)[:, : template.ignored[0].end]
            if any((cells == ord(mark[0])).any() for mark in COMMENT_MARKS):
                return False
        return int(stretch.min()) > 0 and not (stretch == ord('"')).any()

    def _levels_at(self, table: Bytes, changed: IntArray) -> Bytes:
        """The levels of these rows, a row a level cell; fewer columns than asked where a row is not of the shape."""
        template = self._template
        assert template is not None
        key = b""
        if len(changed) == 1:
            row = table[0].tobytes()
            key = row if template.time is None else row[: template.time.start] + row[template.time.end :]
            known = self._known.get(key)
            if known is not None:
                return known
        rows = table if len(changed) == len(table) else table[changed]
        good = np.ones(len(rows), bool)
        for place, byte in zip(self._fixed.tolist(), self._pattern.tolist(), strict=True):
            good &= rows[:, place] == byte
        levels = np.empty((len(template.levels), len(changed)), np.uint8)
        for lane, span in enumerate(template.levels):
            levels[lane] = _levels(rows, span)
            if self._separator and span.width > 1:
                good &= (rows[:, span.start : span.end] != ord(self._separator)).all(axis=1)
        if len(levels):
            good &= levels.max(axis=0) != NOT_A_LEVEL
        if not good.all():
            return levels[:, : int(np.argmin(good))]
        if key and len(self._known) < _MOST_KNOWN:
            self._known[key] = levels
        return levels

    def _changed(self, data: Bytes, start: int, count: int, width: int) -> IntArray:
        """The rows whose separators or levels differ from the row before; the first always."""
        differs: NDArray[np.bool_] | None = None
        if len(self._room) < count:
            self._room, self._flags = np.empty(count, np.uint64), np.empty(count, bool)
        for window in self._windows:
            words = self._room.view(window.dtype)[:count]
            strided = np.ndarray((count,), window.dtype, data, start + window.start, (width,))
            np.copyto(words, strided)
            if not window.whole:
                words &= window.dtype.type(window.mask)
            if bool(np.equal(words, words[0], out=self._flags[:count]).all()):
                continue
            new = words[1:] != words[:-1]
            differs = new if differs is None else np.logical_or(differs, new, out=differs)
        if differs is None:
            return np.zeros(1, np.intp)
        return np.concatenate([np.zeros(1, np.intp), np.flatnonzero(differs) + 1])

    def _suspects(self, table: Bytes, span: Span) -> IntArray | None:
        """The rows whose times must be read to be trusted; None where some are no plain numbers.

        All others have the characters of the row above but for the last eight, and sort after it by these.
        """
        count, width = table.shape
        start = max(span.start, span.end - 8)
        if start + 8 > width:
            return np.arange(1, count)
        words, flags = self._room[:count], self._flags[:count]
        np.copyto(words, np.ndarray((count,), ">u8", table, start, (width,)))
        assert self._template is not None
        mask, expected, digits = _digit_pattern(self._template.row, start, span)
        order = (words[1:], words[:-1]) if self._template.row[span.start] != _MINUS else (words[:-1], words[1:])
        found = []
        if np.less(*order, out=flags[1:]).any():
            found.append(np.flatnonzero(flags[1:]) + 1)
        over = words & digits
        over += digits & _SIX  # takes 10 and more over 15
        words &= mask
        if np.not_equal(words, expected, out=flags).any() or int(np.bitwise_or.reduce(over)) & _OVER:
            return None
        while start > span.start:
            start = max(span.start, start - 8)
            np.copyto(words, np.ndarray((count,), ">u8", table, start, (width,)))
            keep = min(8, span.end - 8 - start)
            if keep < 8:
                words >>= np.uint64(8 * (8 - keep))
            if np.not_equal(words, words[0], out=flags).any():
                found.append(np.flatnonzero(words[1:] != words[:-1]) + 1)
        return np.concatenate(found) if found else NO_ROWS


@lru_cache(maxsize=64)
def _digit_pattern(row: bytes, start: int, span: Span) -> tuple[np.uint64, np.uint64, np.uint64]:
    """For the eight bytes at ``start`` as one big-endian word: which bits are alike in all times, what they are, and
    which bits say what digits there are."""
    mask = expected = digits = 0
    for at in range(start, start + 8):
        byte = row[at]
        bits = 0xFF if at == span.start + span.point or (at == span.start and byte in (_MINUS, _PLUS)) else 0xF0
        if at >= span.end:
            bits = 0
        mask = mask << 8 | bits
        expected = expected << 8 | byte & bits
        digits = digits << 8 | (0x0F if bits == 0xF0 else 0)
    return np.uint64(mask), np.uint64(expected), np.uint64(digits)


def _windows(template: Template, fixed: Sequence[int]) -> list[_Window]:
    """Words that cover the separators, which stand in ``fixed`` places, and the level cells."""
    watched = sorted({*fixed, *(at for span in template.levels for at in range(span.start, span.end))})
    size = next(size for size in (8, 4, 2, 1) if size <= template.width)
    dtype = np.dtype(f"<u{size}")
    out: list[_Window] = []
    while watched:
        start = min(watched[0], template.width - size)
        if len(watched) > 1 and watched[-1] - size + 1 <= watched[0]:
            start = max(0, watched[-1] - size + 1)
        inside = [at for at in watched if start <= at < start + size]
        out.append(_Window(start, dtype, sum(0xFF << (8 * (at - start)) for at in inside)))
        watched = [at for at in watched if at >= start + size]
    return out


def _levels(rows: Bytes, span: Span) -> Bytes:
    if span.width == 1:
        return LEVEL_OF_BYTE[rows[:, span.start]]
    cells = np.ascontiguousarray(rows[:, span.start : span.end]).view(f"S{span.width}").ravel()
    return spelled_levels(cells, lambda row: rows[row, span.start : span.end].tobytes())
