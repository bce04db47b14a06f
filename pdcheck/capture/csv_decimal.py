"""Plain decimals that are never at rest: ``5.012``, ``-0.003``.

Why it is: the eight characters from where one begins make a word that sorts as the number does, as long as all have
equally many digits in front of the point.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.arrays import Bytes, FloatArray, IntArray, Words
from pdcheck.capture.cell_numbers import Cells, Shape, decimals
from pdcheck.capture.char_words import begin_with_digits, cut_at, has, lengths, words_of
from pdcheck.capture.csv_rows import NO_ROWS
from pdcheck.capture.csv_template import Span
from pdcheck.capture.csv_trembling import MANY_ROWS, TOP, RowEnds, Trembling, signed, spelled, unsigned

_MINUS, _POINT = 0x2D, 0x2E
_EIGHT = 8
_WORDS = 4  # of a number, what ends it among them: a longer one is none that an exporter prints


@dataclass(frozen=True)
class DecimalKind:
    """What the numbers of a column have in common.

    :ivar whole: digits in front of the point, :ivar point: the point, :ivar stop: the character that ends it.
    """

    whole: int
    point: int
    stop: int

    @staticmethod
    def of(row: bytes, span: Span) -> DecimalKind | None:
        """The number in a row; None where it has an exponent or is too long in front of its point."""
        whole = span.point - (row[span.start] == _MINUS)
        if span.exponent >= 0 or not 1 <= whole < _EIGHT - 1:
            return None
        return DecimalKind(whole, row[span.start + span.point] if span.point < span.width else _POINT, row[span.end])

    def read(self, data: Bytes, starts: IntArray) -> Decimals | None:
        """The numbers that begin there; None where one is not of the kind."""
        return Decimals.of(data, starts, self)


class Decimals(Trembling):
    """Plain decimals with equally many digits in front of the point, as words that sort as they do.

    Of a number of more than eight characters only the first eight are in its word; it is read whole where it is picked.
    """

    def __init__(
        self, data: Bytes, starts: IntArray, keys: Words, kind: DecimalKind, points: int, signs: int, used: int,
        narrowest: int,
    ) -> None:
        super().__init__(starts, keys, kind)
        self.kind: DecimalKind = kind
        self._data = data
        self._wide = used > 1
        self.narrowest, self.widest = narrowest, _EIGHT * used
        self.points = points
        self.signs = signs
        self._row_ends: RowEnds | None = None
        self._right = 0

    @staticmethod
    def of(data: Bytes, starts: IntArray, kind: DecimalKind) -> Decimals | None:
        """The numbers that begin there; None where one is not of the kind."""
        text = words_of(data)
        words = text[starts]
        minus = (words & np.uint64(0xFF)) == _MINUS
        signs = int(np.count_nonzero(minus))
        if signs:
            words = text[starts + minus]
        border = (words >> np.uint64(8 * kind.whole)) & np.uint64(0xFF)
        pointed = border == kind.point
        points = int(np.count_nonzero(pointed))
        if points != len(words) and not bool((pointed | (border == kind.stop)).all()):
            return None
        # A shorter number's next cell, or next row, might have its point just there.
        if not begin_with_digits(words, kind.whole):
            return None
        # What stands behind a number decides nothing between two that differ, where its end sorts before all digits.
        ended = has(words, kind.stop) if kind.stop < _POINT else cut_at(words, kind.stop)
        longer = np.flatnonzero(~ended)
        used, narrowest = 1, 0
        if len(longer):
            more = (starts + minus if signs else starts)[longer]
            while len(more):
                if used == _WORDS:
                    return None
                narrowest += _EIGHT if len(more) == len(words) else 0
                more += _EIGHT
                more = more[~has(text[more], kind.stop)]
                used += 1
        keys = words.byteswap(inplace=True)
        if signs:
            keys = signed(keys, minus)
        else:
            keys |= TOP
        return Decimals(data, starts, keys, kind, points, signs, used, narrowest)

    def pick(self, rows: IntArray) -> FloatArray:
        """Some of them."""
        keys = self._keys[rows]
        if not self._wide:
            return self._read(keys)
        minus = keys < TOP
        widths = self.widths(rows)
        widths -= minus
        parts = decimals(
            Cells(self._data, self.starts[rows] + minus, widths), Shape(None, self.kind.whole, self.kind.point)
        )
        assert parts is not None and parts[2].all()
        values: FloatArray = parts[0] + parts[1]
        np.negative(values, out=values, where=minus)
        return values

    def end_before(self, row_ends: RowEnds, right: int) -> None:
        """They are known to end ``right`` characters before the rows do."""
        self._row_ends, self._right = row_ends, right

    def widths(self, rows: IntArray | None = None) -> IntArray:
        """How many characters some or all of them have, the sign included."""
        if self._row_ends is not None and rows is not None and MANY_ROWS * len(rows) > len(self):
            return self._row_ends.places[rows] - self.starts[rows] - self._right
        starts, keys = (self.starts, self._keys) if rows is None else (self.starts[rows], self._keys[rows])
        words, minus = self._words(keys)
        found = lengths(words)
        longer = np.flatnonzero(found == _EIGHT) if self._wide else NO_ROWS
        if len(longer):
            places = starts[longer] + minus[longer]
            while len(longer):
                places += _EIGHT
                more = words_of(self._data)[places]
                cut_at(more, self.kind.stop)
                there = lengths(more)
                found[longer] += there
                still = there == _EIGHT
                longer, places = longer[still], places[still]
        found += minus
        return found

    def _words(self, keys: Words) -> tuple[Words, IntArray]:
        """The words without signs, the first character lowest again, and which numbers are negative."""
        words, minus = unsigned(keys)
        words.byteswap(inplace=True)
        cut_at(words, self.kind.stop)
        return words, minus.astype(np.intp)

    def _read(self, keys: Words) -> FloatArray:
        words, minus = self._words(keys)
        values = spelled(words, self.kind.whole)
        np.negative(values, out=values, where=minus.astype(bool))
        return values
