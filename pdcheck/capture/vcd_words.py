"""The body of a value change dump, many words at a time.

Why it is: a dump is a word a change, and a word at a time costs Python a microsecond. Here all words of a block are
found at once, told apart by their first characters, and read column by column: times eight digits at a time,
identifier codes as 64-bit words, levels by their character. A block that holds anything else than times and plain
changes is left to the careful reader, which also says what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pdcheck.capture.arrays import Bytes, FloatArray, IntArray, Integers
from pdcheck.capture.cell_levels import NOT_A_LEVEL
from pdcheck.capture.cell_numbers import Cells, Shape, decimals, numbers
from pdcheck.capture.char_words import MASKS, TOPS, integers_in, two_words, words_of

MARGIN = 32
HELD = 2
#: What levels are written with. Weak ones are levels: a resistor alone holds the line there. What is unknown or not
#: driven leaves the line where it was.
LOW, HIGH, NO_LEVEL = b"0lL", b"1hH", b"xXzZ-uUwW"
_LONGEST_REAL = 40
_MANY_LONG = 32  # worth doing many at a time
_WHOLE_DIGITS = (1, 2, 3)  # in front of the point: volts and amps
_BEYOND_USE = 1e30

_TIME, _SCALAR, _VECTOR, _REAL, _KEYWORD, _OTHER = range(6)


def _table(*entries: tuple[bytes, int], default: int) -> Bytes:
    out = np.full(256, default, np.uint8)
    for characters, value in entries:
        for character in characters:
            out[character] = value
    return out


_KIND = _table(
    (b"#", _TIME), (LOW + HIGH + NO_LEVEL, _SCALAR), (b"bB", _VECTOR), (b"rR", _REAL), (b"$", _KEYWORD), default=_OTHER
)
_LEVEL = _table((LOW, 0), (HIGH, 1), (NO_LEVEL, HELD), default=NOT_A_LEVEL)
# Keywords that change nothing; a comment does not stand among them, for its words would be taken for changes.
_EMPTY_KEYWORDS = frozenset({b"$dumpvars", b"$dumpall", b"$dumpon", b"$dumpoff", b"$end"})


@dataclass(frozen=True, eq=False)
class Changes:
    """The changes of one variable in a block.

    :ivar code: its identifier code.
    :ivar times: in ticks, from the first time of the file.
    :ivar values: a row a lane from the most significant down: 0, 1 or :data:`HELD`; None for a real variable.
    :ivar reals: the values of a real variable.
    """

    code: bytes
    times: FloatArray
    values: Bytes | None
    reals: FloatArray | None


@dataclass(frozen=True, eq=False)
class Block:
    """What a block of words says.

    :ivar first: the first time in it, :ivar last: the last; None where it has none.
    """

    first: int | None
    last: int | None
    changes: list[Changes]


def real_number(text: bytes) -> float | None:
    """The value of a real variable; None where it is no number, or beyond any use."""
    try:
        value = float(text)
    except ValueError:
        return None
    # Python would take an underscore between digits.
    return value if abs(value) < _BEYOND_USE and b"_" not in text else None


class WordReader:
    """Reads blocks of whole words.

    :param widths: identifier code to number of bits; 0 for a real variable.
    """

    def __init__(self, widths: Mapping[bytes, int]) -> None:
        self._widths = dict(widths)
        usable = sorted((int.from_bytes(code, "little"), code) for code in widths if len(code) <= 7)
        self._keys = np.array([key for key, _ in usable], np.uint64)
        self._codes = [code for _, code in usable]

    def read(self, data: Bytes, start: int, end: int, first: int | None, now: int | None) -> Block | None:
        """Read the words between two places.

        :param data: at least :data:`MARGIN` bytes of it lie before ``start`` and behind ``end``.
        :param first: the first time of the file, :param now: the present one; None where there was none yet.
        :returns: None where the careful reader has to look at it.
        """
        if _has_control_characters(data[start:end]):
            return None
        begins, widths = _words(data, start, end)
        if not len(begins):
            return Block(None, None, [])
        kinds = _KIND.take(data.take(begins))
        second = np.zeros(len(begins), bool)  # the code after a vector or a number is a word of its own
        has_value = (kinds == _VECTOR) | (kinds == _REAL)
        if has_value.any():
            second[1:] = has_value[:-1]
            if bool((has_value & second).any()):
                return None  # a code that itself looks like a value: which is which takes one word after another
            if has_value[-1]:
                return None
            kinds[second] = _OTHER
        if bool(((kinds == _OTHER) & ~second).any()):
            return None
        keywords = np.flatnonzero(kinds == _KEYWORD)
        for word in keywords.tolist():
            if bytes(data[begins[word] : begins[word] + widths[word]]) not in _EMPTY_KEYWORDS:
                return None
        is_time = kinds == _TIME
        times = _integers(data, begins[is_time] + 1, widths[is_time] - 1)
        if times is None or bool((times[1:] < times[:-1]).any()):
            return None
        if len(times) and now is not None and times[0] < now:
            return None
        origin = first if first is not None else int(times[0]) if len(times) else 0
        before = np.int64(origin if now is None else now)
        clock = np.concatenate([[before], times])
        clock -= origin
        at = clock.astype(np.float64)[np.cumsum(is_time)]
        changes = self._scalars(data, begins, widths, np.flatnonzero(kinds == _SCALAR), at)
        if changes is None:
            return None
        if has_value.any():
            longer = self._longer(data, begins, widths, np.flatnonzero(has_value), at)
            if longer is None:
                return None
            changes += longer
        return Block(int(times[0]) if len(times) else None, int(times[-1]) if len(times) else None, changes)

    def _scalars(
        self, data: Bytes, begins: IntArray, widths: IntArray, which: IntArray, at: FloatArray
    ) -> list[Changes] | None:
        owners = self._owners(data, begins[which] + 1, widths[which] - 1)
        if owners is None:
            return None
        levels = _LEVEL.take(data.take(begins[which]))
        out: list[Changes] = []
        for code, rows in self._by_code(owners):
            if self._widths[code] != 1:
                return None
            mine = levels[rows]
            out.append(Changes(code, at[which[rows]], mine.reshape(1, -1), None))
        return out

    def _longer(
        self, data: Bytes, begins: IntArray, widths: IntArray, which: IntArray, at: FloatArray
    ) -> list[Changes] | None:
        """Vectors and real numbers: a value, then a code."""
        owners = self._owners(data, begins[which + 1], widths[which + 1])
        if owners is None:
            return None
        out: list[Changes] = []
        for code, rows in self._by_code(owners):
            mine = which[rows]
            starts, lengths = begins[mine] + 1, widths[mine] - 1
            real = (data.take(begins[mine]) | 0x20) == ord("r")
            width = self._widths[code]
            if bool((real != (width == 0)).any()) or bool((lengths < 1).any()):
                return None
            if width == 0:
                numbers = _reals(data, starts, lengths)
                if numbers is None:
                    return None
                out.append(Changes(code, at[mine], None, numbers))
            else:
                values = _bits(data, starts, lengths, width)
                if values is None:
                    return None
                out.append(Changes(code, at[mine], values, None))
        return out

    def _owners(self, data: Bytes, starts: IntArray, widths: IntArray) -> IntArray | None:
        """To which of the codes each belongs; None where one is not declared."""
        if not len(starts):
            return np.empty(0, np.intp)
        if not len(self._keys) or int(widths.min()) < 1 or int(widths.max()) > 7:
            return None
        if int(widths.max()) == 1:
            keys = data.take(starts).astype(np.uint64)
        else:
            keys = words_of(data)[starts]
            keys &= MASKS.take(widths)
        found = np.searchsorted(self._keys, keys) if len(self._keys) > 1 else np.zeros(len(keys), np.intp)
        np.minimum(found, len(self._keys) - 1, out=found)
        return found if bool((self._keys.take(found) == keys).all()) else None

    def _by_code(self, owners: IntArray) -> list[tuple[bytes, IntArray]]:
        """The codes that occur, and which entries are theirs."""
        counts = np.bincount(owners, minlength=len(self._codes))
        present = np.flatnonzero(counts).tolist()
        if len(present) <= 4:
            return [(self._codes[owner], np.flatnonzero(owners == owner)) for owner in present]
        order = np.argsort(owners, kind="stable")
        ends = np.cumsum(counts)
        return [(self._codes[owner], order[ends[owner] - counts[owner] : ends[owner]]) for owner in present]


def _has_control_characters(text: Bytes) -> bool:
    """Whether there are any but tab, line ends and form feeds, which would be taken for blanks."""
    return int(text.min(initial=255)) < 9 or bool(((text - np.uint8(14)) < 18).any())


def _words(data: Bytes, start: int, end: int) -> tuple[IntArray, IntArray]:
    """Where the words begin, and how long they are."""
    blanks = np.flatnonzero(data[start:end] <= 0x20)
    blanks += start
    begins = np.empty(len(blanks) + 1, np.intp)
    begins[0] = start
    np.add(blanks, 1, out=begins[1:])
    widths = np.append(blanks, end)
    widths -= begins
    full = widths > 0
    if full.all():
        return begins, widths
    return begins[full], widths[full]


def _integers(data: Bytes, starts: IntArray, widths: IntArray) -> Integers | None:
    """Whole numbers of up to sixteen digits; None where one is longer or none."""
    if not len(starts):
        return np.empty(0, np.int64)
    longest = int(widths.max())
    if longest > 16 or int(widths.min()) < 1:
        return None
    ends = starts + widths
    if longest <= 8:
        return integers_in(words_of(data)[ends - 8], TOPS.take(widths))
    high, low = two_words(data, ends - 16)
    value = integers_in(low, TOPS.take(np.minimum(widths, 8)))
    upper = integers_in(high, TOPS.take(np.maximum(widths - 8, 0)))
    if value is None or upper is None:
        return None
    upper *= 100_000_000
    value += upper
    return value


def _bits(data: Bytes, starts: IntArray, lengths: IntArray, width: int) -> Bytes | None:
    """Vectors as a row a bit from the most significant down, short ones filled up on the left as the standard says."""
    if int(lengths.max()) > width:
        return None
    fill = _LEVEL.take(data.take(starts))
    fill[fill == 1] = 0
    out = np.empty((width, len(starts)), np.uint8)
    ends = starts + lengths
    for place in range(width):
        row = _LEVEL.take(data.take(ends - 1 - place, mode="clip"))
        outside = lengths <= place
        if outside.any():
            row[outside] = fill[outside]
        if int(row.max()) == NOT_A_LEVEL:
            return None
        out[width - 1 - place] = row
    return out


def _long_decimals(
    data: Bytes, starts: IntArray, lengths: IntArray, left: IntArray, out: FloatArray
) -> IntArray:
    """Read those of some real numbers that are plain decimals with all digits of a float; which are still left."""
    minus = data.take(starts[left]) == ord("-")
    starts, lengths = starts[left] + minus, lengths[left] - minus
    done = np.zeros(len(left), bool)
    for whole in _WHOLE_DIGITS:
        rows = np.flatnonzero((lengths > whole + 1) & (data.take(starts + whole, mode="clip") == ord(".")))
        parts = decimals(Cells(data, starts[rows], lengths[rows]), Shape(None, whole, ord("."))) if len(rows) else None
        if parts is None:
            continue
        values, good = parts[0] + parts[1], parts[2]
        np.negative(values, out=values, where=minus[rows])
        out[left[rows[good]]] = values[good]
        done[rows[good]] = True
    return left[~done]


def _reals(data: Bytes, starts: IntArray, lengths: IntArray) -> FloatArray | None:
    """Real numbers; None where one is none or beyond any use."""
    if int(lengths.max()) > _LONGEST_REAL:
        return None
    out = np.empty(len(starts))
    left = np.flatnonzero(lengths > 8)
    short = np.flatnonzero(lengths <= 8)
    if len(short):
        found = numbers(Cells(data, starts[short], lengths[short]), ord("."))
        if found is None:
            left = np.arange(len(starts))
        else:
            out[short], plain = found
            left = np.concatenate([left, short[~plain]])
    if len(left) > _MANY_LONG:
        left = _long_decimals(data, starts, lengths, left, out)
    for place in left.tolist():  # exponents, and what is no number
        start = int(starts[place])
        value = real_number(bytes(data[start : start + int(lengths[place])]))
        if value is None:
            return None
        out[place] = value
    return out if bool((np.abs(out) < _BEYOND_USE).all()) else None
