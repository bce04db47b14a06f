"""Rows of varying width with numbers that are never at rest, in a file with a row a sample.

Why it is: beside a level that seldom changes stands VBUS in volts, and trembles in its last digits from row to row.
Hardly any of these numbers tells anything new, so they are not turned into numbers: the eight characters from where
one begins make a word that sorts as the number does, and only the least and the largest of a piece are read.

The separators in front of the first number in a row are its anchor. They are found for a whole stretch at once, and
everything else is at a known distance from them or from where a number ends; what is no digit in the stretch is
counted, and all of it must be accounted for.

What is given up: a single row whose time is out of order, or has its digits garbled into others, is not noticed where
no level changes and the numbers tell nothing. It would change nothing of what is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pdcheck.capture.csv_digits import digits_to_integers, words_of
from pdcheck.capture.csv_layout import Kind, Layout
from pdcheck.capture.csv_powers import PowerKind, Powers
from pdcheck.capture.csv_rows import NO_ROWS, FloatArray, IntArray, Place, RowBlock
from pdcheck.capture.csv_template import Span, Template, template_ahead
from pdcheck.capture.csv_times import VaryingTimes
from pdcheck.capture.csv_words import (
    MASKS,
    MOST_WIDE,
    Bytes,
    Cells,
    Flagging,
    Flags,
    Shape,
    Words,
    begin_with_digits,
    cut_at,
    decimals,
    has,
    lengths,
    turned,
)
from pdcheck.capture.waves import ranges_of

LEAST_ROWS = 64
STRETCH = 1 << 21
_LINE_FEED, _PLUS, _MINUS, _POINT, _ZERO, _NINE = 10, 0x2B, 0x2D, 0x2E, 0x30, 0x39
_EIGHT = 8
_WORDS = 4  # of a number, what ends it among them: a longer one is none that an exporter prints
_TOP = np.uint64(1 << 63)
_FEW = 4
_SOME = 16  # one row in so many asked for: better to look up where all of them end


@dataclass(frozen=True)
class _Part:
    """What stands between the numbers, or on either side of them: the same in every row but for the levels.

    :ivar marks: where the separators stand in it.
    :ivar levels: for each level in it its place among the lanes, and where it stands.
    :ivar rest: where other bytes stand, and which these are.
    """

    text: bytes
    marks: tuple[int, ...]
    levels: tuple[tuple[int, int], ...]
    rest: tuple[tuple[int, int], ...]

    @staticmethod
    def of(template: Template, start: int, end: int, delimiter: int) -> _Part | None:
        """The bytes from ``start`` to before ``end``; None where they are not simple enough."""
        text = template.row[start:end]
        lanes = {span.start - start: lane for lane, span in enumerate(template.levels) if start <= span.start < end}
        marks = tuple(at for at, byte in enumerate(text) if byte == delimiter)
        rest = tuple((at, byte) for at, byte in enumerate(text) if byte != delimiter and at not in lanes)
        if any(_ZERO <= byte <= _NINE for _, byte in rest):
            return None
        return _Part(text, marks, tuple((lane, at) for at, lane in lanes.items()), rest)


@dataclass(frozen=True)
class _Number:
    """What the numbers of a column have in common.

    :ivar whole: digits in front of the point, :ivar point: the point, :ivar stop: the character that ends it.
    """

    whole: int
    point: int
    stop: int

    @staticmethod
    def of(row: bytes, span: Span) -> _Number | None:
        """The number in a row; None where it has an exponent or is too long in front of its point."""
        whole = span.point - (row[span.start] == _MINUS)
        if span.exponent >= 0 or not 1 <= whole < _EIGHT - 1:
            return None
        return _Number(whole, row[span.start + span.point] if span.point < span.width else _POINT, row[span.end])

    def read(self, data: Bytes, starts: IntArray) -> _Numbers | None:
        """The numbers that begin there; None where one is not of the kind."""
        return _Numbers.of(data, starts, self)


@dataclass(frozen=True)
class _Look:
    """What rows look like: the time, and then a part in front of each number and one behind the last."""

    time: Shape | PowerKind
    numbers: tuple[_Number | PowerKind, ...]
    parts: tuple[_Part, ...]
    lanes: int

    @staticmethod
    def of(template: Template, delimiter: int) -> _Look | None:
        """The look of rows like this one; None where they are not simple enough."""
        row, time = template.row, template.time
        if time is None or time.start or not template.numbers:
            return None
        if template.ignored or template.buses:
            return None
        shape = Shape.of(row[: time.end]) or PowerKind.of_times(row, time)
        if shape is None or any(row[span.start : span.end] not in (b"0", b"1") for span in template.levels):
            return None
        numbers = [_Number.of(row, span) or PowerKind.of(row, span) for span in template.numbers]
        starts = [time.end, *(span.end for span in template.numbers)]
        ends = [*(span.start for span in template.numbers), len(row) - 1]
        parts = [_Part.of(template, start, end, delimiter) for start, end in zip(starts, ends, strict=True)]
        found = tuple(part for part in parts if part is not None)
        kinds = tuple(number for number in numbers if number is not None)
        if len(found) < len(parts) or len(kinds) < len(numbers) or found[0].text[:1] != bytes([delimiter]):
            return None
        return _Look(shape, kinds, found, len(template.levels))

    @property
    def marks(self) -> int:
        """How many separators a row has."""
        return sum(len(part.marks) for part in self.parts)


class NoisyReader:
    """Reads rows with numbers."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        delimiter = layout.delimiter.encode()
        self._delimiter = delimiter[0] if len(delimiter) == 1 else 0
        self._able = (
            layout.time_column == 0 and len(delimiter) == 1 and delimiter not in (b" ", b".", b"-")
            and any(column.kind is Kind.NUMBER for column in layout.columns)
        )  # fmt: skip
        self._look: _Look | None = None
        self._marks = np.empty(0, bool)
        self._flagging, self._line_ends = Flagging(), Flagging()

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        end = room.rfind(b"\n", start, min(end, start + STRETCH)) + 1
        if not self._able or end <= start:
            return None
        if self._look is not None:
            found = self._read(self._look, data, start, end, place)
            if found is not None:
                return found
        template = template_ahead(room, start, end, self._layout)
        self._look = None if template is None else _Look.of(template, self._delimiter)
        return None if self._look is None else self._read(self._look, data, start, end, place)

    def _read(self, look: _Look, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        anchors, alike, points = self._anchors(look, data, start, end)
        if anchors is None:
            return None
        rows = len(anchors)
        levels = np.empty((look.lanes, rows), np.uint8)
        numbers: list[_Numbers | Powers] = []
        begins = anchors  # of the part
        ends: IntArray | None = None
        for kind, part in zip((*look.numbers, None), look.parts, strict=True):
            # The first separator is the anchor, or what ended the number.
            known = alike if begins is anchors else 1
            if any(bool((data.take(begins + at) != self._delimiter).any()) for at in part.marks[known:]):
                return None
            if any(bool((data.take(begins + at) != byte).any()) for at, byte in part.rest):
                return None
            for lane, at in part.levels:
                levels[lane] = data.take(begins + at)
            if kind is None:
                ends = begins + len(part.text)
                break
            found = kind.read(data, begins + len(part.text))
            if found is None:
                return None
            numbers.append(found)
            if len(numbers) == len(look.numbers) and not look.parts[-1].text:
                break  # what ended the number is the line feed
            begins = found.starts + found.widths()
        if ends is not None and bool((data.take(ends) != _LINE_FEED).any()):
            return None
        levels -= np.uint8(_ZERO)
        if levels.size and int(levels.max()) > 1:
            return None
        row_ends = _RowEnds(self._line_ends, start, end)
        cells = _TimeCells(data, start, anchors, numbers[-1], len(look.parts[-1].text), row_ends)
        if not cells.fit(look.time.whole) or not self._is_plain(look, data[start:end], points, rows, numbers):
            return None
        numbers[-1].end_before(row_ends, len(look.parts[-1].text))
        changed = np.append(NO_ROWS.dtype.type(0), np.flatnonzero((levels[:, 1:] != levels[:, :-1]).any(axis=0)) + 1)
        times = VaryingTimes(cells, look.time, place)
        if not times.in_order(changed, place):
            return None
        block = RowBlock(
            rows=rows, lines=rows, changed=changed, levels=levels[:, changed], numbers=tuple(numbers), times=times,
            quanta=times.quanta, spots=np.array([rows - 1]), finest=times.finest(), last_time=times.last_time,
        )  # fmt: skip
        return block, end

    def _anchors(self, look: _Look, data: Bytes, start: int, end: int) -> tuple[IntArray | None, int, int]:
        """Where the first part begins in every row, how many of its separators are known to stand there, and how many
        times have a point; a time that is a whole number may lack it.

        None where it is not found once in each.
        """
        block = data[start:end]
        size = len(block)
        if len(self._marks) < size:
            self._marks = np.empty(STRETCH, bool)
        ends, marks = np.equal(block, _LINE_FEED, out=self._line_ends.room(size)), self._marks[:size]
        rows = int(np.count_nonzero(ends))
        np.equal(block, self._delimiter, out=marks)
        if rows < LEAST_ROWS or np.count_nonzero(marks) != rows * look.marks:
            return None, 0, 0
        left = look.parts[0].marks
        found, alike = NO_ROWS, len(left)
        if len(left) > 1 or look.marks == 1:
            reach = size - left[-1]
            room = self._flagging.room(reach)
            anchors = marks[:reach] if left[1:] else np.logical_or(marks, False, out=room)
            for at in left[1:]:
                anchors = np.logical_and(anchors, marks[at : at + reach], out=room)
            found = self._flagging.places(reach)
        if len(found) != rows:
            # Nothing tells them from other separators, such as those around a number of one digit.
            found, alike = np.flatnonzero(marks)[:: look.marks], 1
        if len(found) != rows or not look.time.whole <= int(found[0]) <= MOST_WIDE:
            return None, 0, 0
        if look.time.first is not None and self._that_have(look.time.first, 0, block, ends) != rows:
            return None, 0, 0
        # The point of each time stands where that of the first does, or the time ends there.
        points = self._that_have(look.time.point, look.time.whole, block, ends)
        if isinstance(look.time, PowerKind):
            if points != rows or not self._are_powers(look.time, block, ends, rows):
                return None, 0, 0
        elif points != rows:
            reach = size - look.time.whole - 1
            there = np.logical_and(marks[look.time.whole + 1 :], ends[:reach], out=self._flagging.room(reach))
            if points + np.count_nonzero(there) + int(marks[look.time.whole]) != rows:
                return None, 0, 0
        found += start
        return found, alike, points

    def _are_powers(self, time: PowerKind, block: Bytes, ends: Flags, rows: int) -> bool:
        """Whether every time has its exponent where the first has, and ends there."""
        letter = time.whole + 1 + time.decimals
        signs = sum(self._that_have(sign, letter + 1, block, ends) for sign in (_PLUS, _MINUS))
        stops = self._that_have(self._delimiter, letter + 2 + time.digits, block, ends)
        return self._that_have(time.letter, letter, block, ends) == signs == stops == rows

    def _that_have(self, byte: int, at: int, block: Bytes, ends: Flags) -> int:
        """How many rows have this character at this place."""
        reach = len(block) - at - 1
        there = np.equal(block[at + 1 :], byte, out=self._flagging.room(reach))
        np.logical_and(there, ends[:reach], out=there)
        return int(np.count_nonzero(there)) + int(block[at] == byte)

    def _is_plain(self, look: _Look, block: Bytes, points: int, rows: int, numbers: list[_Numbers | Powers]) -> bool:
        """Whether so many rows account for everything that is no digit: each such byte was looked for in its place."""
        flags = self._flagging.room(len(block))
        text = b"".join(part.text for part in look.parts)
        others = rows * (sum(byte < _ZERO for byte in text) + 1 + (look.time.first is not None))
        others += points + sum(number.points + number.signs for number in numbers)
        letters = sum(number.letters for number in numbers)
        if isinstance(look.time, PowerKind):
            others, letters = others + rows, letters + rows
        if np.count_nonzero(np.less(block, _ZERO, out=flags)) != others:
            return False
        high = rows * sum(byte > _NINE for byte in text) + letters
        if not high:
            return int(block.max()) <= _NINE
        return bool(np.count_nonzero(np.greater(block, _NINE, out=flags)) == high)


class _RowEnds:
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


class _Numbers:
    """Plain decimals with equally many digits in front of the point, as words that sort as they do.

    Of a number of more than eight characters only the first eight are in its word; it is read whole where it is picked.

    :ivar starts: where they begin, :ivar points: how many have a point, :ivar signs: how many a minus.
    :ivar narrowest, widest: how many characters none has less than, and more than, the sign included.
    """

    def __init__(
        self, data: Bytes, starts: IntArray, keys: Words, kind: _Number, points: int, signs: int, used: int,
        narrowest: int,
    ) -> None:
        self._data = data
        self._keys = keys
        self._wide = used > 1
        self.narrowest, self.widest = narrowest, _EIGHT * used
        self.starts = starts
        self.kind = kind
        self.points = points
        self.signs = signs
        self.letters = 0
        self._row_ends: _RowEnds | None = None
        self._right = 0

    @staticmethod
    def of(data: Bytes, starts: IntArray, kind: _Number) -> _Numbers | None:
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
        # Characters are below 128: the top bit is free to put negative numbers, which sort the other way, in front.
        if signs:
            keys ^= turned(minus)
            keys ^= _TOP
        else:
            keys |= _TOP
        return _Numbers(data, starts, keys, kind, points, signs, used, narrowest)

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
        keys = self._keys[rows]
        if not self._wide:
            return self._read(keys)
        minus = keys < _TOP
        widths = self.widths(rows)
        widths -= minus
        parts = decimals(
            Cells(self._data, self.starts[rows] + minus, widths), Shape(None, self.kind.whole, self.kind.point)
        )
        assert parts is not None and parts[2].all()
        values: FloatArray = parts[0] + parts[1]
        np.negative(values, out=values, where=minus)
        return values

    def end_before(self, row_ends: _RowEnds, right: int) -> None:
        """They are known to end ``right`` characters before the rows do."""
        self._row_ends, self._right = row_ends, right

    def widths(self, rows: IntArray | None = None) -> IntArray:
        """How many characters some or all of them have, the sign included."""
        if self._row_ends is not None and rows is not None and _SOME * len(rows) > len(self):
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
        minus = keys < _TOP
        words = keys.copy()
        if self.signs:
            words ^= turned(minus)
        words &= ~_TOP
        words.byteswap(inplace=True)
        cut_at(words, self.kind.stop)
        return words, minus.astype(np.intp)

    def _read(self, keys: Words) -> FloatArray:
        words, minus = self._words(keys)
        # The digits in front of the point one place up, where it stood: seven digits in a row.
        whole = self.kind.whole
        front = words & MASKS[whole]
        front <<= np.uint64(8)
        words &= ~MASKS[whole + 1]
        words |= front
        values: FloatArray = digits_to_integers(words) / 10.0 ** (_EIGHT - 1 - whole)
        np.negative(values, out=values, where=minus.astype(bool))
        return values


@dataclass(frozen=True, eq=False)
class _TimeCells:
    """The cells of the times, which end at the anchors; where one begins is looked up when it is asked for.

    :ivar last: the numbers that stand last in the rows, :ivar right: how many characters follow them in a row.
    """

    data: Bytes
    start: int
    anchors: IntArray
    last: _Numbers | Powers
    right: int
    row_ends: _RowEnds

    def __len__(self) -> int:
        return len(self.anchors)

    def fit(self, whole: int) -> bool:
        """Whether every time has at least ``whole`` characters, and none too many."""
        room = self.anchors[1:] - self.last.starts[:-1]
        room -= self.right + 1
        # Of most rows it is plain from the least and the most that their numbers may have.
        near = np.flatnonzero(room < whole + self.last.widest)
        if len(near) and int((room[near] - self.last.widths(near)).min()) < whole:
            return False
        if int(room.max()) <= MOST_WIDE + self.last.narrowest:
            return True
        far = np.flatnonzero(room > MOST_WIDE + self.last.narrowest)
        return int((room[far] - self.last.widths(far)).max()) <= MOST_WIDE

    def pick(self, rows: IntArray | slice) -> Cells:
        """Some of them."""
        rows = np.arange(len(self))[rows] if isinstance(rows, slice) else rows
        if len(rows) <= _FEW:
            found = [self._start(row) for row in rows.tolist()]
            return Cells(self.data, np.array(found, np.intp), self.anchors[rows] - found)
        above = np.maximum(rows - 1, 0)
        if _SOME * len(rows) > len(self):
            starts = self.row_ends.places[above] + 1
        else:
            starts = self.last.starts[above] + self.last.widths(above) + (self.right + 1)
        starts[rows == 0] = self.start
        return Cells(self.data, starts, self.anchors[rows] - starts)

    def _start(self, row: int) -> int:
        if row == 0:
            return self.start
        above = int(self.last.starts[row - 1])
        return above + self.data[above : above + 2 * MOST_WIDE].tobytes().index(self.last.kind.stop) + self.right + 1
