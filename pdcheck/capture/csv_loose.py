"""Numbers that are never at rest and have now more, now fewer digits before their point: millivolts about zero.

Why it is: such numbers do not sort as their characters do. With the count of these digits in front they do, and then,
as with others that tremble, only the least and the largest of a piece are read. They are to fit into one word.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, FloatArray, IntArray, Words
from pdcheck.capture.char_words import cut_at, lengths, up_to_no_digit, words_of
from pdcheck.capture.csv_trembling import Trembling, signed, spelled, unsigned

_MINUS, _ZERO = 0x2D, 0x30
_BYTE = np.uint64(0xFF)
_EIGHT, _SEVEN = np.uint64(8), 7


@dataclass(frozen=True)
class LooseKind:
    """What the numbers of a column have in common: the point, and the character that ends them."""

    point: int
    stop: int

    def read(self, data: Bytes, starts: IntArray) -> Loose | None:
        """The numbers that begin there; None where one is none, or longer than seven characters without its sign."""
        minus = data.take(starts) == _MINUS
        words = words_of(data)[starts + minus]
        whole = up_to_no_digit(words)
        if int(whole.min()) < 1 or int(whole.max()) > _SEVEN:
            return None
        border = (words >> (whole * _EIGHT)) & _BYTE
        pointed = border == self.point
        points = int(np.count_nonzero(pointed))
        if points != len(words) and not bool((pointed | (border == self.stop)).all()):
            return None
        if bool(((words & _BYTE == _ZERO) & (whole > 1)).any()):
            return None  # 012 would sort behind 12
        if not bool(cut_at(words, self.stop).all()):
            return None
        keys = words.byteswap(inplace=True)
        keys >>= _EIGHT
        keys |= whole << np.uint64(56)
        return Loose(starts, signed(keys, minus), self, points, int(np.count_nonzero(minus)))


class Loose(Trembling):
    """Numbers of one kind, as words that sort as they do."""

    narrowest, widest = 1, _SEVEN + 1

    def __init__(self, starts: IntArray, keys: Words, kind: LooseKind, points: int, signs: int) -> None:
        super().__init__(starts, keys, kind)
        self.points = points
        self.signs = signs

    def widths(self, rows: IntArray | None = None) -> IntArray:
        """How many characters some or all of them have, the sign included."""
        words, _, minus = self._words(self._keys if rows is None else self._keys[rows])
        found = lengths(words)
        found += minus
        return found

    def _words(self, keys: Words) -> tuple[Words, Words, Flags]:
        """The words without signs, the first character lowest again, the digits before the points, who is negative."""
        words, minus = unsigned(keys)
        whole = words >> np.uint64(56)
        words <<= _EIGHT
        words.byteswap(inplace=True)
        return words, whole, minus

    def _read(self, keys: Words) -> FloatArray:
        words, whole, minus = self._words(keys)
        values = spelled(words, whole.view(np.int64))
        np.negative(values, out=values, where=minus)
        return values
