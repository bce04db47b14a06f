"""Rows of one width, at the speed of memory.

Why it is: where rows are equally wide, the bytes of a column stand a row's width apart, and equal bytes in the level
columns mean equal levels. So the cells of a row between changes are never parsed: one strided copy brings the level
bytes of all rows together, one comparison finds the rows that differ, and only those are read.

What is still checked of every row: its separators and line end stand where they should, its levels are those of the
row before (or are read), its time does not sort before the one above in its last eight characters (or is read), and
holds no letters there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from pdcheck.capture.csv_cells import is_number, level, quantum, whole_and_part
from pdcheck.capture.csv_digits import exponent_decimals, fixed_decimals
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import FloatArray, IntArray, Place, RowBlock
from pdcheck.capture.csv_template import Span, Template, template_of

LEAST_ROWS = 128
NOT_A_LEVEL = 255
_MINUS, _PLUS = 0x2D, 0x2B
Bytes = NDArray[np.uint8]


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
        self._template: Template | None = None
        self._windows: list[_Window] = []
        self._fixed: IntArray = np.empty(0, np.intp)
        self._room = np.empty(0, np.uint64)

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
        table = as_strided(data[start:], (count, width), (width, 1))
        changed = self._changed(data, start, count, width)
        everything = len(changed) * 2 > count
        if everything:
            changed = np.arange(count)
        rows = table if everything else table[changed]
        good = (rows[:, self._fixed] == self._pattern).all(axis=1)
        levels = np.empty((len(template.levels), len(changed)), np.uint8)
        for lane, span in enumerate(template.levels):
            levels[lane] = _levels(rows, span)
        if len(levels):
            good &= levels.max(axis=0) != NOT_A_LEVEL
        if not good.all():
            bad = int(np.argmin(good))
            count = int(changed[bad])
            changed, levels, rows = changed[:bad], levels[:, :bad], rows[:bad]
            if count < LEAST_ROWS:
                return None
        table = table[:count]
        numbers: list[FloatArray] = []
        for span in template.numbers:
            values = _numbers(table, span)
            if values is None:
                return None
            numbers.append(values)
        times = _Times(table, template.time, place)
        if template.time is not None and not self._in_order(times, table, changed, place):
            return None
        block = RowBlock(count, count, changed, levels, tuple(numbers), times, times.quanta)
        return block, start + count * width

    def _fits(self, row: bytes) -> bool:
        """Whether there is a template for this row, made anew where need be."""
        old = self._template
        if old is not None and len(row) == old.width:
            return True
        new = template_of(row, self._layout)
        if new is None:
            return False
        self._template = new
        self._fixed = np.array(new.fixed_places(), np.intp)
        self._pattern = np.frombuffer(row, np.uint8)[self._fixed]
        self._windows = _windows(new)
        return True

    def _changed(self, data: Bytes, start: int, count: int, width: int) -> IntArray:
        """The rows whose separators or levels differ from the row before; the first always."""
        differs: NDArray[np.bool_] | None = None
        if len(self._room) < count:
            self._room = np.empty(count, np.uint64)
        for window in self._windows:
            words = self._room.view(window.dtype)[:count]
            strided = np.ndarray((count,), window.dtype, data, start + window.start, (width,))
            np.copyto(words, strided)
            if not window.whole:
                words &= window.dtype.type(window.mask)
            if bool((words == words[0]).all()):
                continue
            new = words[1:] != words[:-1]
            differs = new if differs is None else np.logical_or(differs, new, out=differs)
        if differs is None:
            return np.zeros(1, np.intp)
        return np.concatenate([np.zeros(1, np.intp), np.flatnonzero(differs) + 1])

    def _in_order(self, times: _Times, table: Bytes, changed: IntArray, place: Place) -> bool:
        """Whether the times never go back."""
        count = len(table)
        rows = changed
        span = times.span
        assert span is not None
        if len(changed) < count:
            suspects = _suspects(table, span, self._room)
            if suspects is None:
                return False
            if len(suspects):
                asked = np.zeros(count, bool)
                asked[changed] = asked[suspects] = asked[suspects - 1] = asked[-1] = True
                rows = np.flatnonzero(asked)
            else:
                rows = np.append(changed, count - 1)
        found = times(rows)
        if times.broken or (place.rows and found[0] < place.last_time):
            return False
        return bool((found[1:] >= found[:-1]).all())


def _suspects(table: Bytes, span: Span, room: NDArray[np.uint64]) -> IntArray | None:
    """The rows whose times must be read to be trusted; None where some are no plain numbers.

    All others have the characters of the row above but for the last eight, and sort after it by these.
    """
    count, width = table.shape
    if span.exponent >= 0:
        return np.empty(0, np.intp)
    start = max(span.start, span.end - 8)
    if start + 8 > width:
        return np.arange(1, count)
    words = room[:count]
    np.copyto(words, np.ndarray((count,), ">u8", table, start, (width,)))
    mask, expected = _digit_pattern(table[0], start, span)
    if (words & np.uint64(mask) != np.uint64(expected)).any():
        return None
    order = words[1:] < words[:-1] if table[0, span.start] != _MINUS else words[1:] > words[:-1]
    found = [np.flatnonzero(order) + 1]
    while start > span.start:
        start = max(span.start, start - 8)
        np.copyto(words, np.ndarray((count,), ">u8", table, start, (width,)))
        keep = min(8, span.end - 8 - start)
        if keep < 8:
            words >>= np.uint64(8 * (8 - keep))
        if not (words == words[0]).all():
            found.append(np.flatnonzero(words[1:] != words[:-1]) + 1)
    return np.concatenate(found)


def _digit_pattern(row: Bytes, start: int, span: Span) -> tuple[int, int]:
    """For the eight bytes at ``start`` as one big-endian word: which bits are alike in all times, and what they are."""
    mask = expected = 0
    for at in range(start, start + 8):
        byte = int(row[at])
        bits = 0xFF if at == span.start + span.point or (at == span.start and byte in (_MINUS, _PLUS)) else 0xF0
        if at >= span.end:
            bits = 0
        mask = mask << 8 | bits
        expected = expected << 8 | byte & bits
    return mask, expected


def _windows(template: Template) -> list[_Window]:
    """Words that cover the separators and the level cells."""
    watched = sorted(
        {*template.fixed_places(), *(at for span in template.levels for at in range(span.start, span.end))}
    )
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


LEVEL_OF_BYTE = np.array(
    [NOT_A_LEVEL if (said := level(chr(code))) is None else said for code in range(256)], np.uint8
)
"""The level that a single character stands for; :data:`NOT_A_LEVEL` where it stands for none."""


def _levels(rows: Bytes, span: Span) -> Bytes:
    if span.width == 1:
        return LEVEL_OF_BYTE[rows[:, span.start]]
    cells = np.ascontiguousarray(rows[:, span.start : span.end])
    flat = cells.tobytes()
    width = span.width
    known: dict[bytes, int] = {}
    out = np.empty(len(cells), np.uint8)
    for row in range(len(cells)):
        cell = flat[row * width : (row + 1) * width]
        said = known.get(cell)
        if said is None:
            found = level(cell.decode("latin-1"))
            said = known[cell] = NOT_A_LEVEL if found is None else found
        out[row] = said
    return out


def _numbers(table: Bytes, span: Span) -> FloatArray | None:
    """The numbers of a column; None where one is of another shape."""
    cells = table[:, span.start : span.end]
    if span.exponent >= 0:
        return exponent_decimals(cells, span.point, span.exponent)
    parts = fixed_decimals(cells, span.point)
    if parts is None:
        return None
    return parts[0] + parts[1]


class _Times:
    """Times of rows, parsed when asked for."""

    def __init__(self, table: Bytes, span: Span | None, place: Place) -> None:
        self._table = table
        self.span = span
        assert place.origin is not None or span is None
        self._origin = place.origin or (0, 0.0)
        self.broken = False
        self._asked: IntArray | None = None
        self._answer: FloatArray = np.empty(0)

    def quanta(self, rows: IntArray) -> FloatArray:
        """The weights of the last digits of the times; of exponents the largest, for they are much alike."""
        span = self.span
        assert span is not None
        ends = (self._table[row, span.start : span.end].tobytes().decode("latin-1") for row in (0, -1))
        return np.full(len(rows), max(map(quantum, ends)))

    def __call__(self, rows: IntArray) -> FloatArray:
        if rows is not self._asked:  # whoever checked the order and whoever wants the times often ask for the same
            self._answer = self._read(rows)
            self._asked = rows
        return self._answer

    def _read(self, rows: IntArray) -> FloatArray:
        span = self.span
        assert span is not None
        cells = self._table[:, span.start : span.end]
        if len(rows) < len(cells):  # as many can only be all: nobody asks for a row twice
            cells = cells[rows]
        whole0, part0 = self._origin
        if span.exponent < 0 and len(rows) > 4:
            parts = fixed_decimals(cells, span.point)
            if parts is not None:
                return (parts[0] - whole0) + (parts[1] - part0)
        out = np.empty(len(cells))
        for row, cell in enumerate(cells):
            text = cell.tobytes().decode("latin-1")
            if not is_number(text):
                self.broken = True
                return np.zeros(len(cells))
            whole, part = whole_and_part(text)
            out[row] = (whole - whole0) + (part - part0)
        return out
