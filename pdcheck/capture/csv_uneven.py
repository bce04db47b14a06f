"""Rows of varying width in sample files, from their ends.

Why it is: where times drop their trailing zeros a row's cells stand anywhere, but behind the time there is little: a
few levels, perhaps one number. Counted from the line feed these stand still, or as far off as the number is wide; so
one word of eight bytes, or two, shows the rest of a row, and the time need not be looked at. It is read where a level
changes and at the ends of a stretch. That nothing else stands in a row is told by counting: so many rows have so many
separators, points and line feeds, and all other characters are digits.

As with rows of one width, only files with a row a sample are read this way, and a single time garbled into other
digits is not noticed where nothing happens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import NO_ROWS, IntArray, Place, RowBlock
from pdcheck.capture.csv_template import Span, Template, template_ahead
from pdcheck.capture.csv_varying import VaryingTimes
from pdcheck.capture.csv_words import (
    MASKS,
    MOST_WIDE,
    Bytes,
    Cells,
    Flags,
    Shape,
    Words,
    last_place,
    numbers_in,
    words_of,
)
from pdcheck.capture.waves import ReadValues, Values

LEAST_ROWS = 64
STRETCH = 1 << 18
_MINUS = 0x2D
_ZERO, _NINE = 0x30, 0x39
_EIGHT = 8


@dataclass(frozen=True)
class _Part:
    """Some neighbouring bytes that are the same in every row but for the levels among them.

    :ivar mask, pattern: for the word that ends with them: which bits are alike, and what they are.
    :ivar levels: for each level cell in it, how far to shift that word to the right, and its place among the lanes.
    """

    size: int
    mask: np.uint64
    pattern: np.uint64
    levels: tuple[tuple[np.uint64, int], ...]

    @staticmethod
    def of(template: Template, start: int, end: int) -> _Part | None:
        """The bytes from ``start`` to before ``end``; None where they are too many."""
        size = end - start
        if size > _EIGHT:
            return None
        mask = pattern = 0
        cells = {span.start: lane for lane, span in enumerate(template.levels)}
        shifts = []
        for at in range(start, end):
            shift = 8 * (_EIGHT - end + at)
            bits = 0xFE if at in cells else 0xFF
            mask |= bits << shift
            pattern |= (template.row[at] & bits) << shift
            if at in cells:
                shifts.append((np.uint64(shift), cells[at]))
        return _Part(size, np.uint64(mask), np.uint64(pattern), tuple(shifts))


@dataclass(frozen=True)
class _Look:
    """What rows look like behind the time: ``left``, a number, ``right``; or ``right`` only.

    :ivar low, high: how many characters of a row sort before the digits and behind them, number and time apart.
    """

    template: Template
    shape: Shape
    number: Span | None
    left: _Part
    right: _Part
    low: int
    high: int

    @staticmethod
    def of(template: Template) -> _Look | None:
        """The look of rows like this one; None where they are not simple enough."""
        row, time = template.row, template.time
        if time is None or time.start or template.ignored or len(template.numbers) > 1:
            return None
        if any(row[span.start : span.end] not in (b"0", b"1") for span in template.levels):
            return None
        shape = Shape.of(row[: time.end])
        number = template.numbers[0] if template.numbers else None
        border = time.end if number is None else number.end
        left = _Part.of(template, time.end, time.end if number is None else number.start)
        right = _Part.of(template, border, len(row) - 1)
        if shape is None or left is None or right is None or time.width <= time.point:
            return None
        if number is not None and (number.exponent >= 0 or left.size == 0):
            return None
        fixed = row[time.end : time.end + left.size] + row[border:]
        low, high = sum(code < _ZERO for code in fixed), sum(code > _NINE for code in fixed)
        return _Look(template, shape, number, left, right, low, high)


class UnevenReader:
    """Reads rows of varying width in a file with a row a sample."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._look: _Look | None = None

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        end = room.rfind(b"\n", start, min(end, start + STRETCH)) + 1
        if self._layout.time_column != 0 or len(self._layout.delimiter.strip(" ")) != 1 or end <= start:
            return None
        if self._look is not None:
            found = self._read(self._look, data, start, end, place)
            if found is not None:
                return found
        template = template_ahead(room, start, end, self._layout)
        self._look = None if template is None else _Look.of(template)
        return None if self._look is None else self._read(self._look, data, start, end, place)

    def _read(self, look: _Look, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        ends = np.flatnonzero(data[start:end] == 10)
        ends += start
        if len(ends) < LEAST_ROWS:
            return None
        words = words_of(data)
        changes: list[Words] = []
        levels = np.empty((len(look.template.levels), len(ends)), np.uint8)
        if not _check(look.right, words, ends, changes, levels):
            return None
        border = ends - look.right.size
        numbers: tuple[Values, ...] = ()
        points = signs = 0
        if look.number is not None:
            word = words[border - _EIGHT]
            widths = last_place(word, ord(self._layout.delimiter))
            if int(widths.min()) < 1:
                return None
            border -= widths
            word >>= ((_EIGHT - widths) * _EIGHT).view(np.uint64)
            minus = (word & MASKS[1]) == _MINUS
            signs = int(np.count_nonzero(minus))
            if signs:
                word >>= minus.astype(np.uint64) << np.uint64(3)
                widths -= minus
            row, cell = look.template.row, look.number
            point = row[cell.start + cell.point] if cell.point < cell.width else ord(".")
            values, good, points = numbers_in(word, widths, point)
            if not good.all():
                return None
            np.negative(values, out=values, where=minus)
            numbers = (ReadValues(values),)
            if not _check(look.left, words, border, changes, levels):
                return None
            border -= look.left.size
        starts = np.empty_like(ends)
        starts[0] = start
        np.add(ends[:-1], 1, out=starts[1:])
        border -= starts
        if int(border.min()) <= look.shape.whole or int(border.max()) > MOST_WIDE:
            return None
        if not bool((data.take(starts + look.shape.whole) == look.shape.point).all()):
            return None
        if not self._is_plain(look, data[start:end], len(ends), points, signs):
            return None
        times = VaryingTimes(Cells(data, starts, border), look.shape, place)
        changed = _changed(changes)
        if not times.in_order(changed, place):
            return None
        block = RowBlock(
            rows=len(ends), lines=len(ends), changed=changed, levels=levels[:, changed], numbers=numbers, times=times,
            quanta=times.quanta, spots=np.array([len(ends) - 1]), finest=times.finest(), last_time=times.last_time,
        )  # fmt: skip
        return block, end

    def _is_plain(self, look: _Look, block: Bytes, rows: int, points: int, signs: int) -> bool:
        """Whether so many rows account for everything that is no digit, with a point in every time."""
        signed = look.shape.first is not None
        if np.count_nonzero(block < _ZERO) != rows * (look.low + 1 + signed) + points + signs:
            return False
        if np.count_nonzero(block == look.shape.point) != rows + points:
            return False
        if not look.high:
            return int(block.max()) <= _NINE
        return bool(np.count_nonzero(block > _NINE) == rows * look.high)


def _check(part: _Part, words: Words, ends: IntArray, changes: list[Words], levels: Bytes) -> bool:
    """Whether a part is as it should be in every row; its levels, and what changes with them."""
    if part.size == 0:
        return True
    found = words[ends - _EIGHT]
    if bool(((found & part.mask) != part.pattern).any()):
        return False
    for shift, lane in part.levels:
        levels[lane] = (found >> shift).astype(np.uint8) & 1
    if part.levels:
        found &= np.uint64(sum(1 << int(shift) for shift, _ in part.levels))
        changes.append(found)
    return True


def _changed(changes: list[Words]) -> IntArray:
    differs: Flags | None = None
    for found in changes:
        new = found[1:] != found[:-1]
        differs = new if differs is None else differs | new
    if differs is None:
        return np.zeros(1, np.intp)
    return np.append(NO_ROWS.dtype.type(0), np.flatnonzero(differs) + 1)
