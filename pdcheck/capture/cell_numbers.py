"""Numbers in cells of differing widths, a column at a time.

Why it is: where a column's cells begin and end anywhere, they can still be looked at many at once: the eight
characters from where a cell begins make one word, and one pass over the words tells whether all cells are plain
decimals of one shape, in what order they sort, and what numbers they spell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, FloatArray, IntArray, Integers
from pdcheck.capture.char_words import (
    EVERY_BYTE,
    HIGH,
    LIMIT,
    MASKS,
    ONES,
    PLACES,
    TOPS,
    ZEROS,
    digits_to_integers,
    integers_where,
    two_words,
    words_of,
)

MOST_WIDE = 32
_FEW_DIGITS = 3
_WEIGHTS: FloatArray = np.power(10.0, -np.arange(MOST_WIDE, dtype=np.float64))
_MINUS, _PLUS = 0x2D, 0x2B


def _divisors() -> FloatArray:
    """By place of the point plus one (0: none) times 16 plus width: what a left-aligned integer is divided by."""
    table = np.full(160, np.nan)
    for width in range(1, 9):
        table[width] = 10.0 ** (8 - width)
        for place in range(8):
            if place < width and width > 1:
                table[16 * (place + 1) + width] = 10.0 ** (8 - place)
    return table


_DIVISORS = _divisors()


@dataclass(frozen=True, eq=False)
class Cells:
    """The cells of one column.

    :ivar starts: places of their first bytes in ``data``.
    :ivar widths: how many bytes each has.
    """

    data: Bytes
    starts: IntArray
    widths: IntArray

    def __len__(self) -> int:
        return len(self.starts)

    def pick(self, rows: IntArray | slice) -> Cells:
        """Some of them."""
        return Cells(self.data, self.starts[rows], self.widths[rows])


class SomeCells(Protocol):
    """Cells of one column, found when they are asked for."""

    def __len__(self) -> int:
        """How many."""

    def pick(self, rows: IntArray | slice) -> Cells:
        """Some of them."""


@dataclass(frozen=True)
class Shape:
    """What plain decimals of one column have in common.

    :ivar first: their first character where it is a sign, else None.
    :ivar whole: characters before the point, the sign included.
    :ivar point: the decimal point's character code.
    """

    first: int | None
    whole: int
    point: int

    @staticmethod
    def of(cell: bytes) -> Shape | None:
        """The shape of a cell that is a plain number; None where it has an exponent or begins with the point."""
        if b"e" in cell or b"E" in cell:
            return None
        first = cell[0] if cell[0] in (_MINUS, _PLUS) else None
        point = max(cell.find(b"."), cell.find(b","))
        whole = len(cell) if point < 0 else point
        if whole - (first is not None) < 1:
            return None
        return Shape(first, whole, cell[point] if point >= 0 else ord("."))

    def parts(self, cells: Cells) -> tuple[Integers, FloatArray, Flags] | None:
        """Cells as :func:`decimals` reads them."""
        return decimals(cells, self)

    def quanta(self, cells: Cells) -> FloatArray:
        """The weights of their last digits."""
        weights: FloatArray = _WEIGHTS.take(cells.widths - (self.whole + 1), mode="clip")
        return weights

    def expected(self, place: int) -> tuple[int, int]:
        """What is taken off the character at ``place``, and what then takes a wrong one over 127."""
        if place == 0 and self.first is not None:
            return self.first, 0x7F
        if place == self.whole:
            return self.point, 0x7F
        return 0x30, 0x76


def rising(cells: Cells, shape: Shape) -> Flags | None:
    """Which cells are of the shape and sort not before the one above.

    The verdict holds up to the first False. None where cells are too wide to be looked at this way.
    """
    count = len(cells.starts)
    widest = int(cells.widths.max())
    if widest > MOST_WIDE:
        return None
    good = np.ones(count, bool)
    if int(cells.widths.min()) < shape.whole:
        good &= cells.widths >= shape.whole
    head = _common_start(cells)
    expected = map(shape.expected, range(len(head)))
    if any((byte ^ taken_off) + limit > 0x7F for byte, (taken_off, limit) in zip(head, expected, strict=True)):
        return None  # all begin alike, and not as the shape does
    words = words_of(cells.data)
    if head:
        starts = words[cells.starts]
        starts ^= np.uint64(int.from_bytes(head, "little"))
        starts &= MASKS[len(head)]
        if starts.any():
            good &= starts == 0
    earlier: Flags | None = None
    equal: Flags | None = None
    for offset in range(len(head), widest, 8):
        pairs = [shape.expected(offset + place) for place in range(8)]
        taken_off = np.uint64(sum(pair[0] << 8 * place for place, pair in enumerate(pairs)))
        limit = np.uint64(sum(pair[1] << 8 * place for place, pair in enumerate(pairs)))
        masks = MASKS[np.clip(np.arange(widest + 1) - offset, 0, 8)]
        bared = words[cells.starts + offset if offset else cells.starts]
        bared ^= taken_off
        bared &= masks.take(cells.widths)
        over = bared + limit
        over |= bared
        if int(np.bitwise_or.reduce(over)) & int(HIGH):
            good &= (over & HIGH) == 0
        sorts = bared.byteswap()
        now, above = (sorts[1:], sorts[:-1]) if shape.first != _MINUS else (sorts[:-1], sorts[1:])
        less = now < above
        earlier = less if earlier is None or equal is None else earlier | (equal & less)
        if offset + 8 < widest:
            same = now == above
            equal = same if equal is None else equal & same
    if earlier is not None and earlier.any():
        good[1:] &= ~earlier
    return good


def _common_start(cells: Cells) -> bytes:
    """What the first and the last cell begin with, and so all between if they are in order: at most eight bytes."""
    ends = []
    for row in (0, -1):
        start = int(cells.starts[row])
        ends.append(cells.data[start : start + min(8, int(cells.widths[row]))].tobytes())
    alike = 0
    for one, other in zip(*ends, strict=False):
        if one != other:
            break
        alike += 1
    return ends[0][:alike]


def decimals(cells: Cells, shape: Shape) -> tuple[Integers, FloatArray, Flags] | None:
    """Whole numbers and rests of cells of one shape, and which cells are of it.

    None where there are more than sixteen digits before the point. Digits behind the sixteenth after it are looked at
    and count for nothing.
    """
    data, words = cells.data, words_of(cells.data)
    signed = shape.first is not None
    before = shape.whole - signed
    if before > 16 or int(cells.widths.max()) > shape.whole + 25:
        return None
    good = cells.widths >= shape.whole
    if signed:
        good &= data.take(cells.starts, mode="clip") == shape.first
    if before <= _FEW_DIGITS:
        whole = np.zeros(len(cells), np.int64)
        for place in range(signed, shape.whole):
            digits = data.take(cells.starts + place if place else cells.starts, mode="clip") - np.uint8(0x30)
            good &= digits <= 9
            whole *= 10
            whole += digits
    else:
        points = cells.starts + shape.whole
        whole = integers_where(words[points - 8], TOPS[min(before, 8)], good)
        if before > 8:
            whole += 100_000_000 * integers_where(words[points - 16], TOPS[before - 8], good)
    after = cells.widths - (shape.whole + 1)
    longest = int(after.max())
    if int(after.min()) < 0:
        pointed = after >= 0
        good &= ~pointed | (data.take(cells.starts + shape.whole, mode="clip") == shape.point)
        np.maximum(after, 0, out=after)
    else:
        good &= data.take(cells.starts + shape.whole, mode="clip") == shape.point
    rest = np.zeros(len(whole))
    if longest > 0:
        places = cells.starts + (shape.whole + 1)
        first, second = (words[places], None) if longest <= 8 else two_words(data, places)
        part = integers_where(first, MASKS.take(after, mode="clip"), good)
        if second is not None:
            part *= 100_000_000
            part += integers_where(second, MASKS.take(np.maximum(after - 8, 0), mode="clip"), good)
        if longest > 16:
            integers_where(words[places + 16], MASKS.take(np.maximum(after - 16, 0), mode="clip"), good)
        rest = part.astype(np.float64)
        rest /= 1e16 if longest > 8 else 1e8  # divided, not multiplied: so it is the float nearest to what is written
    if shape.first == _MINUS:
        np.negative(whole, out=whole)
        np.negative(rest, out=rest)
    return whole, rest, good


def numbers(cells: Cells, point: int) -> tuple[FloatArray, Flags] | None:
    """The values of plain decimals of any widths up to eight, sign apart, and which are such numbers.

    Each value is the float nearest to what is written. None where cells are wider.
    """
    leading = cells.data.take(cells.starts)
    minus = leading == _MINUS
    starts, widths = cells.starts, cells.widths
    signed = minus | (leading == _PLUS)
    if signed.any():
        starts, widths = starts + signed, widths - signed
    if int(widths.max()) > 8:
        return None
    bared = words_of(cells.data)[starts]
    bared ^= ZEROS
    bared &= MASKS.take(widths, mode="clip")
    # Where the point stands: the lowest byte that is zero once the point is taken off.
    places = bared ^ np.uint64((point ^ 0x30) * ONES)
    found = places - EVERY_BYTE
    np.invert(places, out=places)
    found &= places
    found &= HIGH
    np.negative(found, out=places)
    found &= places
    before = (found >> np.uint64(7)) - np.uint64(1)
    after = bared >> np.uint64(8)
    bared &= before
    np.invert(before, out=before)
    after &= before
    bared |= after
    over = bared + LIMIT
    over |= bared
    over &= HIGH
    found *= PLACES
    found >>= np.uint64(60)
    found <<= np.uint64(4)
    which = found.view(np.int64)
    which += widths
    values = digits_to_integers(bared) / _DIVISORS.take(which, mode="clip")
    good = over == 0
    good &= ~np.isnan(values)
    np.negative(values, out=values, where=minus)
    return values, good
