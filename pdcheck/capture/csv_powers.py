"""Numbers in scientific notation that are never at rest, with a sign that comes and goes: ``-1.25000e-03``.

Why it is: scopes write volts like this, and about zero the sign changes the width of every other row. Exponent and
digits are laid into a word that sorts as the number does, so that of a piece, as with plain decimals, only the least
and the largest are read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, FloatArray, IntArray, Words
from pdcheck.capture.cell_numbers import Cells
from pdcheck.capture.char_words import MASKS, turned, words_of
from pdcheck.capture.csv_template import Span
from pdcheck.capture.csv_trembling import TOP, Trembling, signed, unsigned

_NUMBER = re.compile(rb"-?[0-9]([.,])([0-9]+)([eE])[+-]([0-9]{2,3})")
_MINUS, _PLUS, _ZERO = 0x2D, 0x2B, 0x30
_BYTE = np.uint64(0xFF)
#: Characters of a number that its word holds, the point among them, below the exponent.
_KEPT = 7
#: A float holds so many digits exactly, and such powers of ten: one division or multiplication rounds once.
_MOST_DECIMALS, _MOST_POWER = 14, 22
_MIDDLE = 64  # the exponent of ones


@dataclass(frozen=True)
class PowerKind:
    """What the numbers of a column have in common.

    :ivar decimals: digits behind the point, :ivar digits: of the exponent.
    :ivar point: the point, :ivar letter: what stands before the exponent, :ivar stop: the character that ends it all.
    :ivar first: a minus where all of them have one, else None.
    """

    decimals: int
    digits: int
    point: int
    letter: int
    stop: int
    first: int | None = None

    @staticmethod
    def of(row: bytes, span: Span) -> PowerKind | None:
        """The number in a row; None where it is no such one, or has too many digits to be read exactly."""
        found = _NUMBER.fullmatch(row, span.start, span.end)
        if found is None or len(found[2]) > _MOST_DECIMALS:
            return None
        return PowerKind(len(found[2]), len(found[4]), found[1][0], found[3][0], row[span.end])

    @staticmethod
    def of_times(row: bytes, span: Span) -> PowerKind | None:
        """The same of times, of which all have a minus or none."""
        found = PowerKind.of(row, span)
        return replace(found, first=_MINUS) if found is not None and row[span.start] == _MINUS else found

    @property
    def whole(self) -> int:
        """How many characters stand before the point of a time."""
        return 1 + (self.first is not None)

    @property
    def width(self) -> int:
        """How many characters a number has, its sign not counted."""
        return 4 + self.decimals + self.digits

    def read(self, data: Bytes, starts: IntArray) -> Powers | None:
        """The numbers that begin there; None where one is not of the kind. That digits are some is not looked at."""
        minus = data.take(starts) == _MINUS
        text = words_of(data)
        begins = starts + minus
        front, back = text[begins], text[begins + (2 + self.decimals)]
        if not bool(((front >> np.uint64(8)) & _BYTE == self.point).all()):
            return None
        ends = np.uint64(8 * (2 + self.digits))
        if not bool((back & (_BYTE | _BYTE << ends) == np.uint64(self.letter) | np.uint64(self.stop) << ends).all()):
            return None
        exponents = self._exponents(back)
        if exponents is None:
            return None
        zeros = np.flatnonzero(front & _BYTE == _ZERO)
        if len(zeros):
            if any(bool((data.take(begins[zeros] + at) != _ZERO).any()) for at in range(2, 2 + self.decimals)):
                return None  # 0.5e+00 would sort before 1e-03
            exponents[zeros] = 0
        keys = front
        keys &= MASKS[min(2 + self.decimals, _KEPT)]
        keys.byteswap(inplace=True)
        keys >>= np.uint64(8)
        exponents <<= np.uint64(56)
        keys |= exponents
        return Powers(data, starts, signed(keys, minus), self, int(np.count_nonzero(minus)))

    def parts(self, cells: Cells) -> tuple[FloatArray, FloatArray, Flags] | None:
        """Whole numbers and rests of times, and which cells are as long as they must be.

        None where one is not of the kind.
        """
        found = self.read(cells.data, cells.starts)
        if found is None or not found.all_digits() or bool((found.minus != (self.first is not None)).any()):
            return None
        values = found.pick(np.arange(len(found)))
        whole = np.trunc(values)
        return whole, values - whole, found.widths() == cells.widths

    def quanta(self, cells: Cells) -> FloatArray:
        """The weights of their last digits."""
        found = self.read(cells.data, cells.starts)
        if found is None:
            return np.zeros(len(cells))
        weights: FloatArray = np.power(10.0, found.exponents() - self.decimals)
        return weights

    def _exponents(self, back: Words) -> Words | None:
        """The exponents, raised so that none is below one; None where a sign is none, or one is out of the way."""
        signs = (back >> np.uint64(8)) & _BYTE
        small = signs == _MINUS
        if np.count_nonzero(small) + np.count_nonzero(signs == _PLUS) != len(back):
            return None
        shift = 16
        if self.digits > 2:
            if not bool(((back >> np.uint64(16)) & _BYTE == _ZERO).all()):
                return None
            shift = 24
        tens = (back >> np.uint64(shift)) & np.uint64(0x0F0F)
        ones = tens >> np.uint64(8)
        tens &= np.uint64(0x0F)
        tens *= np.uint64(10)
        tens += ones
        if int(tens.max()) > _MOST_POWER - self.decimals:
            return None
        turn = turned(small)
        tens ^= turn
        tens -= turn
        tens += np.uint64(_MIDDLE)
        return tens


class Powers(Trembling):
    """Numbers of one kind, as words that sort as they do."""

    def __init__(self, data: Bytes, starts: IntArray, keys: Words, kind: PowerKind, minus: int) -> None:
        super().__init__(starts, keys, kind)
        self.kind: PowerKind = kind
        self._data = data
        self.points = self.letters = len(keys)
        self.signs = minus + len(keys)
        self.narrowest, self.widest = kind.width, kind.width + 1

    def pick(self, rows: IntArray) -> FloatArray:
        """Some of them."""
        minus = self._keys[rows] < TOP
        begins = self.starts[rows] + minus
        whole = np.zeros(len(rows), np.int64)
        for at in (0, *range(2, 2 + self.kind.decimals)):
            whole *= 10
            whole += self._data.take(begins + at) - np.uint8(_ZERO)
        return _values(whole, self._exponent(self._keys[rows]) - self.kind.decimals, minus)

    @property
    def minus(self) -> Flags:
        """Which of them are negative."""
        return self._keys < TOP

    def exponents(self) -> IntArray:
        """The powers of ten."""
        return self._exponent(self._keys)

    def all_digits(self) -> bool:
        """Whether digits stand wherever one must."""
        begins = self.starts + self.minus
        places = (0, *range(2, 2 + self.kind.decimals), *range(self.kind.width - self.kind.digits, self.kind.width))
        return not any(bool((self._data.take(begins + at) - np.uint8(_ZERO) > 9).any()) for at in places)

    def widths(self, rows: IntArray | None = None) -> IntArray:
        """How many characters some or all of them have, the sign included."""
        keys = self._keys if rows is None else self._keys[rows]
        return (keys < TOP).astype(np.intp) + self.kind.width

    def _exponent(self, keys: Words) -> IntArray:
        found, _ = unsigned(keys)
        found >>= np.uint64(56)
        raised: IntArray = found.astype(np.intp)
        raised[raised == 0] = _MIDDLE
        return raised - _MIDDLE

    def _read(self, keys: Words) -> FloatArray:
        """The values of words, as far as these hold their digits."""
        words, minus = unsigned(keys)
        shown = min(self.kind.decimals, _KEPT - 2)
        whole = np.zeros(len(keys), np.int64)
        for at in (0, *range(2, 2 + shown)):
            whole *= 10
            whole += ((words >> np.uint64(8 * (_KEPT - 1 - at))) & np.uint64(0x0F)).astype(np.int64)
        return _values(whole, self._exponent(keys) - shown, minus)


def _values(whole: IntArray, exponents: IntArray, minus: Flags) -> FloatArray:
    """``whole`` times ten to the power of ``exponents``, rounded once."""
    powers = 10.0 ** np.abs(exponents)
    values: FloatArray = np.where(exponents < 0, whole / powers, whole * powers)
    np.negative(values, out=values, where=minus)
    return values
