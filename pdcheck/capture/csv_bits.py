"""Flags of a stretch as bits, sixty-four characters to a word.

Why it is: whether of two kinds of characters one always stands between two of the other, or so far from it, can be
told without looking up where any of them stand: by shifts, and by one subtraction with its borrows. On bits this costs
next to nothing.

The first character is the lowest bit of the first word.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, Flags, Words

WORD = 64
AT_ONCE = 1 << 19
_TOP = np.uint64(WORD - 1)
_ONE = np.uint64(1)


class Bits:
    """Makes bits of pieces of at most :data:`AT_ONCE` characters; one room for flags serves piece after piece."""

    def __init__(self) -> None:
        self._room = np.empty(AT_ONCE, bool)

    def where(self, compare: np.ufunc, piece: Bytes | NDArray[np.int8], than: int) -> Words:
        """Where characters compare so with another; zeros behind the last of them."""
        size, padded = len(piece), -(-len(piece) // WORD) * WORD
        compare(piece, than, out=self._room[:size])
        self._room[size:padded] = False
        return np.packbits(self._room[:padded], bitorder="little").view("<u8")

    def of(self, flags: Flags) -> Words:
        """These flags; zeros behind the last of them."""
        out = np.zeros(-(-len(flags) // WORD), "<u8")
        out.view(np.uint8)[: -(-len(flags) // 8)] = np.packbits(flags, bitorder="little")
        return out


def later(bits: Words) -> Words:
    """All one place further on."""
    out = bits << _ONE
    out[1:] |= bits[:-1] >> _TOP
    return out


def behind(ends: Words, size: int) -> Words:
    """Where rows begin: at the first bit, and behind each end but the last of so many characters."""
    out = later(ends)
    out[0] |= _ONE
    if size % WORD:
        out[-1] &= np.uint64((1 << size % WORD) - 1)
    return out


def earlier(bits: Words, distances: tuple[int, ...]) -> Words:
    """All so many places nearer to the beginning, from 1 to 63: for each distance."""
    out = bits >> np.uint64(distances[0]) if distances else np.zeros_like(bits)
    for distance in distances[1:]:
        out |= bits >> np.uint64(distance)
    for distance in distances:
        out[:-1] |= bits[1:] << np.uint64(WORD - distance)
    return out


def are_parted(points: Words, marks: Words) -> bool:
    """Whether between any two of ``points`` there is one of ``marks``, which are other places.

    False also where there are words without marks, for then it is not known.
    """
    if not marks.all():
        return False
    # A point takes one from the next mark. Where another point is met first, that one has been borrowed from.
    owing = marks - points
    borrowed = owing[:-1] & ~marks[:-1]
    borrowed >>= _TOP
    owing[1:] -= borrowed
    owing &= points
    return np.array_equal(owing, points)
