"""Rows of one width in sample files: no row parsed in which no level changes.

Why it is: most of a long sample file is silence, and there equal bytes mean equal levels. The bytes of many rows are
laid side by side, and the least and the largest at every place of a row are found at the speed of memory. Where these
are digits in the cells of times and numbers, 0 and 1 in those of levels and one character everywhere else, all rows
are as the first. Then the levels are compared from row to row, and only where one changes is a time read.

Only sample files are read this way, in which the number of rows says when a row was; the times at both ends of a
stretch must agree with it, and what these begin with all between begin with. What is given up: a single row whose time
has its last digits garbled into other digits is not noticed in the middle of silence. It would change nothing of what
is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, IntArray
from pdcheck.capture.cell_levels import NOT_A_BUS_VALUE, bit_rows, bus_values
from pdcheck.capture.csv_cells import COMMENT_MARKS, level
from pdcheck.capture.csv_columns import FixedNumbers, FixedTimes
from pdcheck.capture.csv_digits import FixedRows
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import NO_ROWS, Place, RowBlock
from pdcheck.capture.csv_template import Span, Template, template_of

LEAST_BYTES = 1 << 12
_SIDE_BY_SIDE = 1 << 12
_FASTER = 8
_FIRST_LOOK, _LONGER = 8, 64
_MOST_KNOWN = 256
_COMMENTS = tuple(mark[:1].encode() for mark in COMMENT_MARKS)
_ZERO, _ONE, _NINE = 0x30, 0x31, 0x39
_FIRST_PRINTED, _LAST_PRINTED = 0x21, 0x7E


@dataclass(frozen=True, eq=False)
class _Look:
    """What rows look like.

    :ivar levels: the level of each level cell in the row that it was made from.
    :ivar low, high: the least and the largest byte allowed at each place, for as many rows as lie side by side;
        ``low_row`` and ``high_row`` for one.
    :ivar moving: 1 for each byte of a row that belongs to a time, a number or a level that may change.
    """

    template: Template
    levels: Bytes
    low: Bytes
    high: Bytes
    low_row: bytes
    high_row: bytes
    moving: bytes

    @staticmethod
    def of(row: bytes, layout: Layout) -> _Look | None:
        """The look of a row; None where it is not simple enough."""
        template = template_of(row, layout)
        if template is None or (template.ignored and row[:1] in _COMMENTS):
            return None
        said = [level(row[span.start : span.end].decode()) for span in template.levels]
        if None in said:
            return None
        low = np.frombuffer(row, np.uint8).copy()
        high = low.copy()
        moving = bytearray(len(row))
        # Of cells that nobody reads (a count of the rows) digits may change as well, and nothing else.
        unread = template.ignored
        for span in (*template.numbers, *unread, *((template.time,) if template.time else ())):
            moving[span.start : span.end] = bytes([1]) * span.width
            cell = slice(span.start, span.end)
            digits = (low[cell] >= _ZERO) & (low[cell] <= _NINE)
            low[cell][digits], high[cell][digits] = _ZERO, _NINE
        for span, _ in template.buses:
            # Whether they are values shows where they change.
            moving[span.start : span.end] = bytes([1]) * span.width
            low[span.start : span.end], high[span.start : span.end] = _FIRST_PRINTED, _LAST_PRINTED
        for span in template.levels:
            if row[span.start : span.end] in (b"0", b"1"):
                moving[span.start] = 1
                low[span.start], high[span.start] = _ZERO, _ONE
        count = max(1, _SIDE_BY_SIDE // len(row))
        return _Look(
            template, np.array(said, np.uint8), np.tile(low, count), np.tile(high, count), low.tobytes(),
            high.tobytes(), bytes(moving),
        )  # fmt: skip

    def constant(self, row: bytes) -> bytes:
        """The parts of a row of this width that never change."""
        return bytes(byte for byte, moves in zip(row, self.moving, strict=True) if not moves)

    def has(self, row: bytes) -> bool:
        """Whether a row of this width looks like this."""
        bounds = zip(self.low_row, row, self.high_row, strict=True)
        return all(low <= byte <= high for low, byte, high in bounds)


class EvenReader:
    """Reads rows of one width in a file with a row a sample."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._last: _Look | None = None
        self._known: dict[bytes, _Look] = {}

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        width = room.find(b"\n", start, min(end, start + 4096)) + 1 - start
        if width < 2 or end - start < LEAST_BYTES:
            return None
        look = self._look(bytes(room[start : start + width]))
        if look is None:
            return None
        count, low, high = _alike(data, start, (end - start) // width, look)
        if count * width < LEAST_BYTES:
            return None
        end = start + count * width
        rows = FixedRows(data, start, count, width)
        changed, levels = _changes(rows.table, look, low != high)
        if levels is None:
            return None
        numbers = tuple(FixedNumbers(rows, span, (low, high)) for span in look.template.numbers)
        if not all(number.usable() for number in numbers):
            return None
        times = FixedTimes(rows, look.template.time, place)
        spots = NO_ROWS
        if look.template.time is not None:
            if not times.in_order(changed, NO_ROWS, place) or _strays(rows.table, look.template.time, low != high):
                return None
            spots = np.array([count - 1])
        block = RowBlock(
            rows=count, lines=count, changed=changed, levels=levels, numbers=numbers, times=times,
            quanta=times.quanta, spots=spots, finest=times.quantum, last_time=times.last_time,
        )  # fmt: skip
        return block, end

    def _look(self, row: bytes) -> _Look | None:
        """What rows like this look like."""
        if self._last is not None and len(row) == self._last.template.width:
            look = self._known.get(self._last.constant(row))
            if look is not None and look.has(row):
                return look
        look = _Look.of(row, self._layout)
        if look is not None:
            if self._last is None or len(row) != self._last.template.width or len(self._known) > _MOST_KNOWN:
                self._known.clear()
            self._last = look
            self._known[look.constant(row)] = look
        return look


def _strays(table: Bytes, span: Span, differ: NDArray[np.bool_]) -> bool:
    """Whether some row's time does not begin as the first and the last do, between which it must be.

    :param differ: the places of a row at which the rows are not all equal.
    """
    if span.exponent >= 0:
        return False
    ends = table[0, span.start : span.end] != table[-1, span.start : span.end]
    alike = int(np.argmax(ends)) if ends.any() else span.width
    return bool(differ[span.start : span.start + alike].any())


def _alike(data: Bytes, start: int, count: int, look: _Look) -> tuple[int, Bytes, Bytes]:
    """How many rows look alike, and the least and the largest byte at each place of a row in them."""
    width = look.template.width
    side = len(look.low)
    size = count * width
    low, high = look.high.copy(), look.low.copy()
    done = 0
    step, growing = _FIRST_LOOK * side, True  # a short one: where the rows change their look no more is needed
    while size - done >= side:
        piece = data[start + done : start + done + min(step, (size - done) // side * side)].reshape(-1, side)
        least, largest = np.minimum.reduce(piece, axis=0), np.maximum.reduce(piece, axis=0)
        if bool((least >= look.low).all() and (largest <= look.high).all()):
            np.minimum(low, least, out=low)
            np.maximum(high, largest, out=high)
            done += piece.size
            step *= _LONGER if growing else 1
        elif len(piece) == 1:
            break
        else:
            step, growing = max(1, len(piece) // _FASTER) * side, False
    # What is shorter than a look, or where a look saw something else, byte by byte.
    rest = data[start + done : start + min(size, done + side)]
    wrong = (rest < look.low[: len(rest)]) | (rest > look.high[: len(rest)])
    alike = int(np.argmax(wrong)) // width * width if wrong.any() else len(rest)
    if alike:
        rows = rest[:alike].reshape(-1, width)
        np.minimum(low[:width], rows.min(axis=0), out=low[:width])
        np.maximum(high[:width], rows.max(axis=0), out=high[:width])
    done += alike
    side_by_side = (side // width, width)
    return done // width, low.reshape(side_by_side).min(axis=0), high.reshape(side_by_side).max(axis=0)


def _changes(table: Bytes, look: _Look, differ: NDArray[np.bool_]) -> tuple[IntArray, Bytes | None]:
    """The rows in which a level differs from the row above, the first among them, and all levels there.

    None for these where a bus has no value.

    :param differ: the places of a row at which the rows are not all equal.
    """
    marked: NDArray[np.bool_] | None = None
    lanes = look.template.lanes()
    for place in (at for span, bits in lanes for at in range(span.start, span.end if bits else span.start + 1)):
        if differ[place]:
            cells = np.ascontiguousarray(table[:, place])
            new = cells[1:] != cells[:-1]
            marked = new if marked is None else np.logical_or(marked, new, out=marked)
    changed = np.zeros(1, np.intp) if marked is None else np.append(0, np.flatnonzero(marked) + 1)
    rows: list[Bytes] = []
    said = iter(look.levels.tolist())
    for span, bits in lanes:
        if bits:
            values = bus_values(table[changed, span.start : span.end], bits)
            if bool((values == NOT_A_BUS_VALUE).any()):
                return changed, None
            rows += bit_rows(values, bits)
        else:
            level_there = next(said)
            # Cells of words do not change; where one does, the rows end.
            same = np.full(len(changed), level_there, np.uint8)
            rows.append(table[changed, span.start] & 1 if look.moving[span.start] else same)
    return changed, np.array(rows, np.uint8).reshape(len(rows), len(changed))
