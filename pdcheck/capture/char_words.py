"""Characters, eight at a time.

Why it is: eight bytes of a file make one 64-bit word, and one pass over an array of words tells of all of them whether
they are digits, where a character stands in each, and what numbers they spell: a float a cell costs a tenth of a
microsecond each in Python, three multiplications a word turn a whole column into integers.

In a word the first character is the lowest byte. "Bared" words have had ``0`` taken off every character, so digits
are 0 to 9, and what is no digit is made to carry into the top bit of its byte. A mask by a cell's width blanks what is
not its own.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, IntArray, Integers, Words

ONES = 0x0101010101010101
EVERY_BYTE = np.uint64(ONES)
HIGH = np.uint64(0x80 * ONES)
ZEROS = np.uint64(0x30 * ONES)
LIMIT = np.uint64(0x76 * ONES)  # takes 10 and more over 127
#: By how many characters are a word's own: a mask of the first, and of the last.
MASKS = np.array([(1 << 8 * width) - 1 for width in range(9)], np.uint64)
TOPS = np.array([((1 << 8 * width) - 1) << (64 - 8 * width) for width in range(9)], np.uint64)
# The lowest byte with its top bit set, times this, has that byte's place plus one in its top four bits.
PLACES = np.uint64(sum((place + 1) << 56 >> (3 + 8 * place) for place in range(8)))
_LOW_NIBBLES = np.uint64(0x0F * ONES)
_PAIRS = np.uint64(0x00FF00FF00FF00FF)
_QUADS = np.uint64(0x0000FFFF0000FFFF)
_MUL = (np.uint64(2561), np.uint64(6553601), np.uint64(42949672960001))
_SHIFT = (np.uint64(8), np.uint64(16), np.uint64(32))


def words_of(data: Bytes) -> Words:
    """The eight bytes from every place of ``data`` on; a view, to be indexed."""
    return np.ndarray((len(data) - 7,), np.dtype("<u8"), data, 0, (1,))


def two_words(data: Bytes, places: IntArray) -> tuple[Words, Words]:
    """The eight bytes from each place on and the eight behind them, fetched together."""
    pairs = np.ndarray((len(data) - 15,), np.dtype("V16"), data, 0, (1,))[places].view("<u8").reshape(-1, 2)
    return np.ascontiguousarray(pairs[:, 0]), np.ascontiguousarray(pairs[:, 1])


def digits_to_integers(words: Words) -> Integers:
    """The numbers that words of eight digits spell, the first digit at the lowest address. Uses up ``words``."""
    words &= _LOW_NIBBLES
    words *= _MUL[0]
    words >>= _SHIFT[0]
    words &= _PAIRS
    words *= _MUL[1]
    words >>= _SHIFT[1]
    words &= _QUADS
    words *= _MUL[2]
    words >>= _SHIFT[2]
    return words.view(np.int64)


def integers_in(words: Words, own: Words | np.uint64 | None = None) -> Integers | None:
    """The numbers that the words' own bytes spell, the others being zeros; None where one is no digit.

    Uses up ``words``.

    :param own: masks of their own bytes; all eight where not said.
    """
    words ^= ZEROS
    if own is not None:
        words &= own
    over = words + LIMIT
    over |= words
    if int(np.bitwise_or.reduce(over, axis=None)) & int(HIGH):
        return None
    return digits_to_integers(words)


def integers_where(words: Words, own: Words | np.uint64, good: Flags) -> Integers:
    """The same, with those marked in ``good`` that are no digits."""
    words ^= ZEROS
    words &= own
    over = words + LIMIT
    over |= words
    over &= HIGH
    if over.any():
        good &= over == 0
    return digits_to_integers(words)


def begin_with_digits(words: Words, count: int) -> bool:
    """Whether the first ``count`` bytes of every word are digits."""
    own = MASKS[count]
    bared = words & own
    bared ^= ZEROS & own
    over = bared + (LIMIT & own)
    over |= bared
    return not int(np.bitwise_or.reduce(over)) & int(HIGH)


def _marked(words: Words, char: int) -> Words:
    """Words whose lowest bit that is set is the top one of the first byte that is ``char``; zero where none is."""
    bare = words ^ np.uint64(char * ONES)
    found: Words = bare - EVERY_BYTE
    np.invert(bare, out=bare)
    found &= bare
    found &= HIGH
    return found


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
    found *= PLACES
    found >>= np.uint64(60)
    out: IntArray = found.view(np.int64)
    out -= 1
    out[out < 0] = 8
    return out


def up_to_no_digit(words: Words) -> Words:
    """How many digits are in front of the first byte of each word that is none: eight where all are digits."""
    bared = words ^ ZEROS
    over = bared + LIMIT
    over |= bared
    over &= HIGH
    over &= np.negative(over)
    over *= PLACES
    over >>= np.uint64(60)
    over -= np.uint64(1)
    np.minimum(over, np.uint64(8), out=over)
    return over


def turned(which: Flags) -> Words:
    """All bits where a flag is set, none elsewhere: an exclusive or with it inverts those words, and no others."""
    words = which.astype(np.uint64)
    return np.negative(words, out=words)
