"""Numbers in rows of one width, a column at a time.

Why it is: where rows are equally wide, the digits of a column stand a row's width apart, and the words that end with
them are fetched by one strided copy (``char_words`` says what is done with words).
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import Bytes, FloatArray, IntArray, Integers, Words
from pdcheck.capture.char_words import TOPS, integers_in, words_of

_MINUS, _PLUS = 0x2D, 0x2B
_MOST_DIGITS = 16
_LARGEST_POWER = 30
_POWERS = np.array([float(f"1e{power}") for power in range(-_LARGEST_POWER, _LARGEST_POWER + 1)])
_EXACT_DIGITS, _EXACT_POWER = 15, 22  # a float holds integers of so many digits, and so large a power of ten
_TENS = np.array([float(f"1e{power}") for power in range(_EXACT_POWER + 1)])


class FixedRows:
    """Rows of one width in a buffer that has at least sixteen bytes in front of them.

    :ivar table: the rows, a row a line of bytes.
    """

    def __init__(self, data: Bytes, start: int, count: int, width: int) -> None:
        self._data = data
        self._start = start
        self.table = data[start : start + count * width].reshape(count, width)

    def words(self, end: int, rows: IntArray | None = None) -> Words:
        """Of each row, or of some, the eight bytes before place ``end``, the first at the lowest address."""
        count, width = self.table.shape
        if rows is not None:
            return words_of(self._data)[rows * width + (self._start + end - 8)]
        found: Words = np.ndarray((count,), "<u8", self._data, self._start + end - 8, (width,)).copy()
        return found

    def integers(self, first: int, end: int, rows: IntArray | None = None) -> Integers | None:
        """The numbers spelled by the digits from place ``first`` to before ``end``, at most sixteen.

        None where some are no digits.
        """
        width = end - first
        if width <= 2:
            return self._short(first, end, rows)
        low = integers_in(self.words(end, rows), None if width >= 8 else TOPS[width])
        if low is None or width <= 8:
            return low
        few = width <= 10
        high = self._short(first, end - 8, rows) if few else integers_in(self.words(end - 8, rows), TOPS[width - 8])
        if high is not None:
            low += high * 100_000_000
        return None if high is None else low

    def _column(self, place: int, rows: IntArray | None) -> Bytes:
        return self.table[:, place] if rows is None else self.table[rows, place]

    def _short(self, first: int, end: int, rows: IntArray | None) -> Integers | None:
        total = np.zeros(len(self.table) if rows is None else len(rows), np.int64)
        for place in range(first, end):
            digits = self._column(place, rows) - np.uint8(0x30)
            if int(digits.max(initial=0)) > 9:
                return None
            total = total * 10 + digits if place > first else digits.astype(np.int64)
        return total

    def decimals(
        self, first: int, point: int, end: int, rows: IntArray | None = None
    ) -> tuple[Integers, FloatArray] | None:
        """Whole numbers and rests of plain decimals of one shape, as :func:`fixed_decimals` does.

        :param first: place of the first character. :param point: of the decimal point; ``end`` where there is none.
        :param rows: of which rows; of all where not said.
        """
        lead = int(self.table[0, first])
        if lead in (_MINUS, _PLUS):
            if not bool((self._column(first, rows) == lead).all()):
                return None
            first += 1
        after = max(0, end - point - 1)
        if point - first > _MOST_DIGITS or after > _MOST_DIGITS + 8 or point - first + after == 0:
            return None
        if point < end and not bool((self._column(point, rows) == self.table[0, point]).all()):
            return None
        if after > _MOST_DIGITS:
            # Those behind the sixteenth are looked at and count for nothing.
            if self.integers(end - after + _MOST_DIGITS, end, rows) is None:
                return None
            end -= after - _MOST_DIGITS
            after = _MOST_DIGITS
        whole, part = self.integers(first, point, rows), self.integers(min(point + 1, end), end, rows)
        if whole is None or part is None:
            return None
        rest = part / 10.0**after  # divided, not multiplied: so it is the float nearest to what is written
        if lead == _MINUS:
            np.negative(whole, out=whole)
            np.negative(rest, out=rest)
        return whole, rest

    def scientific(
        self, first: int, point: int, exponent: int, end: int, rows: IntArray | None = None
    ) -> FloatArray | None:
        """Numbers in exponent notation of one shape and one sign, ``1.2345E-03``.

        :param exponent: place of the ``E``; the others as for :meth:`decimals`.
        :returns: None where some are of another shape, or signs differ.
        """
        mantissa = self.decimals(first, point, exponent, rows)
        letters, signs = self._column(exponent, rows), self._column(exponent + 1, rows)
        if mantissa is None or not 1 <= end - exponent - 2 <= 3 or not bool((letters & 0xDF == 0x45).all()):
            return None
        power = self._short(exponent + 2, end, rows)
        minus = signs == _MINUS
        if power is None or not bool((minus | (signs == _PLUS)).all()):
            return None
        np.negative(power, out=power, where=minus)
        least, largest = int(power.min(initial=0)), int(power.max(initial=0))
        if max(largest, -least) > _LARGEST_POWER:
            return None
        after = max(0, exponent - point - 1)
        value: FloatArray
        if exponent - first - 1 <= _EXACT_DIGITS and after - least <= _EXACT_POWER and largest <= after:
            # Both exact, so the quotient is the float nearest to what is written.
            value = mantissa[0].astype(np.float64)
            value *= 10.0**after
            value += np.rint(mantissa[1] * 10.0**after)
            np.subtract(after, power, out=power)
            value /= _TENS.take(power)
            return value
        power += _LARGEST_POWER
        value = mantissa[0] + mantissa[1]
        value *= _POWERS.take(power)
        return value


def fixed_decimals(cells: Bytes, point: int) -> tuple[Integers, FloatArray] | None:
    """Whole numbers and rests of plain decimals of one shape.

    :param cells: a row a number, no blanks; perhaps a sign first, the same in every row.
    :param point: place of the decimal point; the width where there is none.
    :returns: None where some are of another shape, or longer than sixteen digits in front of the point or 24 behind it.
        Those behind the sixteenth are looked at and count for nothing.
    """
    count, width = cells.shape
    sign = 1
    first = 0
    if count and cells[0, 0] in (_MINUS, _PLUS):
        if not bool((cells[:, 0] == cells[0, 0]).all()):
            return None
        sign = -1 if cells[0, 0] == _MINUS else 1
        first = 1
    before, after = point - first, max(0, width - point - 1)
    if before > _MOST_DIGITS or after > _MOST_DIGITS + 8 or before + after == 0:
        return None
    if point < width and not bool((cells[:, point] == cells[0, point]).all()):
        return None
    whole = _aligned(cells[:, first:point], right=True)
    part = _aligned(cells[:, point + 1 :][:, :_MOST_DIGITS], right=False)
    if whole is None or part is None or _aligned(cells[:, point + 1 + _MOST_DIGITS :], right=False) is None:
        return None
    rest = part.astype(np.float64)
    rest /= 1e16 if after > 8 else 1e8  # divided, not multiplied: so it is the float nearest to what is written
    if sign < 0:
        np.negative(whole, out=whole)
        np.negative(rest, out=rest)
    return whole, rest


def _aligned(cells: Bytes, *, right: bool) -> Integers | None:
    """Up to sixteen digits a row as an integer; on the left they are followed by zeros up to eight or sixteen."""
    count, width = cells.shape
    if width == 0:
        return np.zeros(count, np.int64)
    room = 8 if width <= 8 else 16
    padded = np.full((count, room), 0x30, np.uint8)
    if right:
        padded[:, room - width :] = cells
    else:
        padded[:, :width] = cells
    numbers = integers_in(padded.view(np.uint64))
    if numbers is None:
        return None
    return numbers[:, 0] if room == 8 else numbers[:, 0] * 100_000_000 + numbers[:, 1]


def exponent_decimals(cells: Bytes, point: int, exponent: int) -> FloatArray | None:
    """Numbers in exponent notation of one shape: ``-1.2345E-03``, with a sign of the exponent and of the number
    that may change from row to row (a blank is a plus).

    :param point: place of the decimal point.
    :param exponent: place of the ``E``.
    :returns: None where some are of another shape.
    """
    _, width = cells.shape
    sign_of_exponent = cells[:, exponent + 1]
    digits_of_exponent = width - exponent - 2
    if not 1 <= digits_of_exponent <= 3 or not np.isin(sign_of_exponent, (_MINUS, _PLUS)).all():
        return None
    if not bool((cells[:, exponent] & 0xDF == 0x45).all()):
        return None
    first = cells[:, 0]
    signed = bool(np.isin(first[:1], (_MINUS, _PLUS, 0x20))[0])
    if signed and not np.isin(first, (_MINUS, _PLUS, 0x20)).all():
        return None
    body = cells[:, 1:exponent] if signed else cells[:, :exponent]
    mantissa = fixed_decimals(body, point - signed)
    power = _aligned(cells[:, exponent + 2 :], right=True)
    if mantissa is None or power is None:
        return None
    np.negative(power, out=power, where=sign_of_exponent == _MINUS)
    if len(power) and int(np.abs(power).max()) > _LARGEST_POWER:
        return None
    value = mantissa[0] + mantissa[1]
    value *= _POWERS[power + _LARGEST_POWER]
    if signed:
        np.negative(value, out=value, where=first == _MINUS)
    return value
