"""Numbers of a column that are never at rest, as words that sort as they do.

Why it is: each notation makes such words in a way of its own (``csv_decimal``, ``csv_loose``, ``csv_powers``); what is
done with them is the same. Only the least and the largest of a piece are turned into numbers, and what is picked.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from functools import cached_property
from typing import Protocol

import numpy as np

from pdcheck.capture.arrays import Flags, FloatArray, IntArray, Words
from pdcheck.capture.char_words import MASKS, digits_to_integers, turned
from pdcheck.capture.csv_flagging import Flagging
from pdcheck.capture.waves import ranges_of

#: Characters are below 128: the top bit is free to put negative numbers, which sort the other way, in front.
TOP = np.uint64(1 << 63)


class Ended(Protocol):
    """What all kinds of numbers say of themselves: the character that ends one."""

    @property
    def stop(self) -> int:
        """Its code."""


class Trembling(ABC):
    """Numbers of one kind.

    :ivar starts: where they begin, :ivar kind: what they have in common.
    :ivar points: how many points there are in all of them, :ivar signs: how many signs,
        :ivar letters: how many of them.
    :ivar narrowest, widest: how many characters none has less than, and more than, the sign included.
    """

    narrowest: int
    widest: int
    points: int
    signs: int
    letters = 0

    def __init__(self, starts: IntArray, keys: Words, kind: Ended) -> None:
        self._keys = keys
        self.starts = starts
        self.kind = kind

    def __len__(self) -> int:
        return len(self._keys)

    def outer(self) -> tuple[float, float]:
        """The least and the largest."""
        lows, highs = self._ranges
        least, largest = self._read(np.array([lows.min(), highs.max()])).tolist()
        return least, largest

    def ranges(self) -> tuple[FloatArray, FloatArray]:
        """The least and the largest value of each piece."""
        values = self._read(np.concatenate(self._ranges))
        return values[: len(values) // 2], values[len(values) // 2 :]

    @cached_property
    def _ranges(self) -> tuple[Words, Words]:
        return ranges_of(self._keys)

    def pick(self, rows: IntArray) -> FloatArray:
        """Some of them."""
        return self._read(self._keys[rows])

    @abstractmethod
    def widths(self, rows: IntArray | None = None) -> IntArray:
        """How many characters some or all of them have, the sign included."""

    def end_before(self, row_ends: RowEnds, right: int) -> None:
        """They are known to end ``right`` characters before the rows do."""
        del row_ends, right  # of use only where their words do not tell how long they are

    @abstractmethod
    def _read(self, keys: Words) -> FloatArray:
        """The values of words."""


def signed(words: Words, minus: Flags) -> Words:
    """Words of numbers without their signs, made to sort as the numbers do. Uses up ``words``."""
    words ^= turned(minus)
    words ^= TOP
    return words


def unsigned(keys: Words) -> tuple[Words, Flags]:
    """What :func:`signed` was given."""
    minus = keys < TOP
    words = keys ^ turned(minus)
    words &= ~TOP
    return words, minus


def spelled(words: Words, whole: int | IntArray) -> FloatArray:
    """The decimals in words of at most eight characters, of which ``whole`` digits stand before the point. Uses them
    up."""
    # The digits in front of the point one place up, where it stood: seven digits in a row.
    front = words & MASKS[whole]
    front <<= np.uint64(8)
    words &= ~MASKS[whole + 1]
    words |= front
    values: FloatArray = digits_to_integers(words) / np.power(10.0, 7 - whole)
    return values


#: Where one row in so many is asked for, it is better to look up where all of them end.
MANY_ROWS = 16


class RowEnds:
    """Where the rows of a stretch end; looked up once, when many are asked for and before the next stretch is read."""

    def __init__(self, flagging: Flagging, start: int, end: int) -> None:
        self._flagging = flagging
        self._start, self._size = start, end - start

    @cached_property
    def places(self) -> IntArray:
        """The places of their line feeds."""
        found = self._flagging.places(self._size)
        found += self._start
        return found
