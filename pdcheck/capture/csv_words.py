"""Cells of differing widths, eight characters at a time.

Why it is: where a column's cells begin and end anywhere, they can still be looked at many at once: the eight bytes
from where a cell begins make one 64-bit word, a mask by the cell's width blanks what is not its own, and one pass
over the words tells whether all are digits, in what order they sort, and what numbers they spell.

In a word the first character is the lowest byte. "Bared" words have had ``0`` taken off every character, so digits
are 0 to 9, the decimal point (which is compared with itself) is 0, and so is everything behind the cell's end.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.csv_cells import bus_value, level
from pdcheck.capture.csv_digits import digits_to_integers, words_of

Bytes = NDArray[np.uint8]
Words = NDArray[np.uint64]
Flags = NDArray[np.bool_]
FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

NOT_A_LEVEL = 255
NOT_A_BUS_VALUE = -1
_FEW_DIGITS = 3
_MOST_WORDS = 64
MOST_WIDE = 32
_ONES = 0x0101010101010101
_HIGH = np.uint64(0x80 * _ONES)
_ZEROS = np.uint64(0x30 * _ONES)
_LIMIT = np.uint64(0x76 * _ONES)  # takes 10 and more over 127
_EVERY_BYTE = np.uint64(_ONES)
_WEIGHTS: FloatArray = np.power(10.0, -np.arange(MOST_WIDE, dtype=np.float64))
MASKS = np.array([(1 << 8 * width) - 1 for width in range(9)], np.uint64)
_TOPS = np.array([((1 << 8 * width) - 1) << (64 - 8 * width) for width in range(9)], np.uint64)
_MINUS, _PLUS = 0x2D, 0x2B
# The lowest byte with its top bit set, times this, has that byte's place plus one in its top four bits.
_PLACES = np.uint64(sum((place + 1) << 56 >> (3 + 8 * place) for place in range(8)))
# The same for a word with a single 1 in one of its bytes, and the place alone, in the top byte.
_FLAG_PLACES = np.uint64(sum(place << 56 >> 8 * place for place in range(8)))


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
LEVEL_OF_BYTE = np.array(
    [NOT_A_LEVEL if (said := level(chr(code))) is None else said for code in range(256)], np.uint8
)
"""The level that a single character stands for; :data:`NOT_A_LEVEL` where it stands for none."""


def two_words(data: Bytes, places: IntArray) -> tuple[Words, Words]:
    """The eight bytes from each place on and the eight behind them, fetched together."""
    pairs = np.ndarray((len(data) - 15,), np.dtype("V16"), data, 0, (1,))[places].view("<u8").reshape(-1, 2)
    return np.ascontiguousarray(pairs[:, 0]), np.ascontiguousarray(pairs[:, 1])


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

    def parts(self, cells: Cells) -> tuple[NDArray[np.int64], FloatArray, Flags] | None:
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
        if int(np.bitwise_or.reduce(over)) & int(_HIGH):
            good &= (over & _HIGH) == 0
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


def decimals(cells: Cells, shape: Shape) -> tuple[NDArray[np.int64], FloatArray, Flags] | None:
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
        whole = _spelled(words[points - 8], _TOPS[min(before, 8)], good)
        if before > 8:
            whole += 100_000_000 * _spelled(words[points - 16], _TOPS[before - 8], good)
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
        part = _spelled(first, MASKS.take(after, mode="clip"), good)
        if second is not None:
            part *= 100_000_000
            part += _spelled(second, MASKS.take(np.maximum(after - 8, 0), mode="clip"), good)
        if longest > 16:
            _spelled(words[places + 16], MASKS.take(np.maximum(after - 16, 0), mode="clip"), good)
        rest = part.astype(np.float64)
        rest /= 1e16 if longest > 8 else 1e8  # divided, not multiplied: so it is the float nearest to what is written
    if shape.first == _MINUS:
        np.negative(whole, out=whole)
        np.negative(rest, out=rest)
    return whole, rest, good


def _spelled(words: Words, own: Words | np.uint64, good: Flags) -> NDArray[np.int64]:
    """The numbers that the words' own bytes spell, the others being zeros; marks those that are no digits."""
    words ^= _ZEROS
    words &= own
    over = words + _LIMIT
    over |= words
    over &= _HIGH
    if over.any():
        good &= over == 0
    return digits_to_integers(words)


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
    values, good = numbers_in(words_of(cells.data)[starts], widths, point)
    np.negative(values, out=values, where=minus)
    return values, good


def numbers_in(words: Words, widths: IntArray, point: int) -> tuple[FloatArray, Flags]:
    """As :func:`numbers`, of words that begin with cells without signs.

    Uses up ``words``.
    """
    own = MASKS.take(widths, mode="clip")
    bared = words
    bared ^= _ZEROS
    bared &= own
    # Where the point stands: the lowest byte that is zero once the point is taken off.
    places = bared ^ np.uint64((point ^ 0x30) * _ONES)
    found = places - _EVERY_BYTE
    np.invert(places, out=places)
    found &= places
    found &= _HIGH
    np.negative(found, out=places)
    found &= places
    before = (found >> np.uint64(7)) - np.uint64(1)
    after = bared >> np.uint64(8)
    bared &= before
    np.invert(before, out=before)
    after &= before
    bared |= after
    over = bared + _LIMIT
    over |= bared
    over &= _HIGH
    found *= _PLACES
    found >>= np.uint64(60)
    found <<= np.uint64(4)
    which = found.view(np.int64)
    which += widths
    values = digits_to_integers(bared) / _DIVISORS.take(which, mode="clip")
    good = over == 0
    good &= ~np.isnan(values)
    return values, good


def _marked(words: Words, char: int) -> Words:
    """Words whose lowest bit that is set is the top one of the first byte that is ``char``; zero where none is."""
    bare = words ^ np.uint64(char * _ONES)
    found: Words = bare - _EVERY_BYTE
    np.invert(bare, out=bare)
    found &= bare
    found &= _HIGH
    return found


def begin_with_digits(words: Words, count: int) -> bool:
    """Whether the first ``count`` bytes of every word are digits."""
    own = MASKS[count]
    bared = words & own
    bared ^= _ZEROS & own
    over = bared + (_LIMIT & own)
    over |= bared
    return not int(np.bitwise_or.reduce(over)) & int(_HIGH)


def has(words: Words, char: int) -> Flags:
    """Which words have this character anywhere."""
    there: Flags = _marked(words, char) != 0
    return there


def cut_at(words: Words, char: int) -> Flags:
    """Blank the first ``char`` in each word and what is behind it, with zeros; which words have it."""
    found = _marked(words, char)
    # All bits below the mark's byte; where there is no mark nothing is blanked.
    kept = np.negative(found)
    kept &= found
    kept >>= np.uint64(7)
    kept -= np.uint64(1)
    words &= kept
    there: Flags = found != 0
    return there


def lengths(words: Words) -> IntArray:
    """How many bytes are in front of the first zero in each word: eight where there is none."""
    found = _marked(words, 0)
    found &= np.negative(found)
    found *= _PLACES
    found >>= np.uint64(60)
    out: IntArray = found.view(np.int64)
    out -= 1
    out[out < 0] = 8
    return out


class Flagging:
    """Finds where in a stretch something stands, with a room for flags that serves stretch after stretch.

    Places of line ends and the like are seldom nearer to each other than eight bytes, so eight flags at a time are one
    word, in which the only one that is set is found by a multiplication.
    """

    def __init__(self) -> None:
        self._room = np.zeros(0, bool)

    def room(self, size: int) -> Flags:
        """A room for so many flags, whatever is in it."""
        if len(self._room) < size + 8:
            self._room = np.zeros(size + 8, bool)
        return self._room[:size]

    def places_of(self, block: Bytes, char: int) -> IntArray:
        """Where a character stands."""
        np.equal(block, char, out=self.room(len(block)))
        return self.places(len(block))

    def places(self, size: int) -> IntArray:
        """Where the first ``size`` flags of the room are set."""
        self._room[size : size + 7] = False
        words = self._room[: (size + 7) & ~7].view(np.uint64)
        places = np.flatnonzero(words != 0)
        found = words[places]
        if bool((found & (found - np.uint64(1))).any()):
            return np.flatnonzero(self._room[:size])
        found *= _FLAG_PLACES
        found >>= np.uint64(56)
        places <<= 3
        places += found.view(np.int64)
        return places


def levels(cells: Cells) -> tuple[IntArray, Bytes] | None:
    """The cells that differ from the one above (the first always), and all their levels (255 for what is none).

    None where cells are wider than eight characters.
    """
    if int(cells.widths.min()) == 1 == int(cells.widths.max()):
        letters = cells.data.take(cells.starts)
        return _changes(letters), LEVEL_OF_BYTE.take(letters)
    if int(cells.widths.max()) > 8 or int(cells.widths.min()) < 1:
        return None
    words = words_of(cells.data)[cells.starts]
    words &= MASKS.take(cells.widths)
    changed = _changes(words)
    some = words[changed]
    said = spelled_levels(some, lambda row: int(some[row]).to_bytes(8, "little").rstrip(b"\0"))
    return changed, np.repeat(said, np.diff(changed, append=len(words)))


def spelled_levels(cells: NDArray[Any], text: Callable[[int], bytes]) -> Bytes:
    """The levels that cells of any kind spell, :data:`NOT_A_LEVEL` for what is none.

    Few different ones are there, mostly two, and each is looked for everywhere at once; from where there are too many
    on, all others are taken for none.

    :param text: what stands in the cell of a row.
    """
    said = np.full(len(cells), NOT_A_LEVEL, np.uint8)
    left = np.ones(len(cells), bool)
    for _ in range(_MOST_WORDS):
        row = int(left.argmax()) if len(left) else 0
        if not left[row : row + 1].any():
            break
        same = cells == cells[row]
        found = level(text(row).decode("latin-1"))
        if found is not None:
            np.copyto(said, np.uint8(found), where=same)
        left &= ~same
    return said


def buses(cells: Cells, bits: int) -> tuple[IntArray, NDArray[np.int64]] | None:
    """The bus cells that differ from the one above (the first always), and all their values.

    :data:`NOT_A_BUS_VALUE` stands for what is no value, or one wider than ``bits``. None where a cell is wider than 32
    characters.
    """
    widest = int(cells.widths.max())
    if widest > MOST_WIDE or int(cells.widths.min()) < 1:
        return None
    words = words_of(cells.data)
    differs = np.ones(len(cells), bool)
    differs[1:] = cells.widths[1:] != cells.widths[:-1]
    for offset in range(0, widest, 8):
        part = words[cells.starts + offset]
        part &= MASKS.take(np.clip(cells.widths - offset, 0, 8))
        differs[1:] |= part[1:] != part[:-1]
    changed = np.flatnonzero(differs)
    picked = cells.pick(changed)
    inside = np.arange(widest) < picked.widths[:, None]
    text = np.where(inside, cells.data[picked.starts[:, None] + np.arange(widest)], 0).astype(np.uint8)
    values = bus_values(text, bits)
    return changed, np.repeat(values, np.diff(changed, append=len(cells)))


def bus_values(text: Bytes, bits: int) -> NDArray[np.int64]:
    """The values of bus cells, a row a cell, filled up with zeros; :data:`NOT_A_BUS_VALUE` for what is none."""
    cells = np.ascontiguousarray(text).view(f"S{text.shape[1]}").ravel()
    distinct, which = np.unique(cells, return_inverse=True)
    said = np.empty(len(distinct), np.int64)
    for place, cell in enumerate(distinct.tolist()):
        found = bus_value(cell.decode("latin-1"))
        said[place] = NOT_A_BUS_VALUE if found is None or found[0] >> bits else found[0]
    return said[which]


def bit_rows(values: NDArray[np.uint8] | NDArray[np.int64], bits: int) -> list[Bytes]:
    """The lanes of a bus from its lowest bit up; where ``bits`` is 0 the levels as they are."""
    if not bits:
        return [values.astype(np.uint8)]
    return [(values >> bit & 1).astype(np.uint8) for bit in range(bits)]


def _changes(values: NDArray[np.unsignedinteger]) -> IntArray:
    differs = np.empty(len(values), bool)
    differs[0] = True
    np.not_equal(values[1:], values[:-1], out=differs[1:])
    return np.flatnonzero(differs)


def up_to_no_digit(words: Words) -> Words:
    """How many digits are in front of the first byte of each word that is none: eight where all are digits."""
    bared = words ^ _ZEROS
    over = bared + _LIMIT
    over |= bared
    over &= _HIGH
    over &= np.negative(over)
    over *= _PLACES
    over >>= np.uint64(60)
    over -= np.uint64(1)
    np.minimum(over, np.uint64(8), out=over)
    return over


def turned(which: Flags) -> Words:
    """All bits where a flag is set, none elsewhere: an exclusive or with it inverts those words, and no others."""
    words = which.astype(np.uint64)
    return np.negative(words, out=words)
