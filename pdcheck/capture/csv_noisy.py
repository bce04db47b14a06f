"""Rows of varying width with one number that is never at rest, in a file with a row a sample.

Why it is: beside a level that seldom changes stands VBUS in volts, and trembles in its last digits from row to row.
Hardly any of these numbers tells anything new, so they are not turned into numbers: the eight characters from where
one begins make a word that sorts as the number does, and only the least and the largest of a piece are read.

The separators that stand in front of the number in a row are its anchor. They are found for a whole stretch at once,
and everything else is at a known distance from them; what is no digit in the stretch is counted, and all of it must be
accounted for.

What is given up: a single row whose time is out of order, or has its digits garbled into others, is not noticed where
no level changes and the number tells nothing. It would change nothing of what is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import NO_ROWS, FloatArray, IntArray, Place, RowBlock
from pdcheck.capture.csv_template import Template, template_ahead
from pdcheck.capture.csv_varying import VaryingTimes
from pdcheck.capture.csv_words import (
    MOST_WIDE,
    Bytes,
    Cells,
    Flagging,
    Shape,
    Words,
    first_place,
    has,
    numbers_in,
    words_of,
)
from pdcheck.capture.waves import PIECE

LEAST_ROWS = 64
STRETCH = 1 << 20
_LINE_FEED, _MINUS, _ZERO, _NINE = 10, 0x2D, 0x30, 0x39
_EIGHT = 8
_TOP = np.uint64(1 << 63)
_ALL = (1 << 64) - 1
_FEW = 4


@dataclass(frozen=True)
class _Look:
    """What rows look like.

    :ivar time: the times' shape.
    :ivar lanes: for each level lane whether it stands left of the number, and its distance from there: from the left
        part's first byte, or from the first byte behind the number.
    :ivar left, right: bytes between the time and the number, and between the number and the line feed.
    :ivar left_marks, right_marks: where in these the separators stand.
    :ivar left_rest, right_rest: where other bytes stand that never change, and which these are.
    :ivar whole: digits of the number in front of its point, :ivar point: the point.
    """

    template: Template
    time: Shape
    lanes: tuple[tuple[bool, int], ...]
    left: bytes
    right: bytes
    left_marks: tuple[int, ...]
    right_marks: tuple[int, ...]
    left_rest: tuple[tuple[int, int], ...]
    right_rest: tuple[tuple[int, int], ...]
    whole: int
    point: int

    @staticmethod
    def of(template: Template, delimiter: bytes) -> _Look | None:
        """The look of rows like this one; None where they are not simple enough."""
        row, time = template.row, template.time
        if time is None or time.start or template.ignored or len(template.numbers) != 1:
            return None
        number = template.numbers[0]
        shape = Shape.of(row[: time.end])
        if shape is None or number.start < time.end or number.exponent >= 0 or time.width <= time.point:
            return None
        if any(row[span.start : span.end] not in (b"0", b"1") for span in template.levels):
            return None
        left, right = row[time.end : number.start], row[number.end : -1]
        signed = row[number.start] == _MINUS
        whole = number.point - signed
        if not left.startswith(delimiter) or not 1 <= whole < _EIGHT - 1:
            return None
        levels = {span.start for span in template.levels}

        def rest(part: bytes, start: int) -> tuple[tuple[int, int], ...]:
            return tuple(
                (at, byte) for at, byte in enumerate(part) if byte != delimiter[0] and start + at not in levels
            )

        if any(_ZERO <= byte <= _NINE for _, byte in (*rest(left, time.end), *rest(right, number.end))):
            return None
        return _Look(
            template, shape,
            tuple(
                (True, span.start - time.end) if span.start < number.start else (False, span.start - number.end)
                for span in template.levels
            ),
            left, right,
            tuple(at for at, byte in enumerate(left) if byte == delimiter[0]),
            tuple(at for at, byte in enumerate(right) if byte == delimiter[0]),
            rest(left, time.end), rest(right, number.end), whole,
            row[number.start + number.point] if number.point < number.width else ord("."),
        )  # fmt: skip


class NoisyReader:
    """Reads rows with one number."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._delimiter = layout.delimiter.encode()
        self._able = (
            layout.time_column == 0 and len(self._delimiter) == 1 and self._delimiter not in (b" ", b".", b"-")
        )
        self._look: _Look | None = None
        self._ends, self._marks = np.empty(0, bool), np.empty(0, bool)
        self._flagging = Flagging()

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
        anchors = self._anchors(look, data, start, end)
        if anchors is None:
            return None
        rows = len(anchors)
        size, stop = len(look.left), look.right[0] if look.right else _LINE_FEED
        behind = anchors + size
        numbers = _Numbers.of(words_of(data)[behind], look, stop)
        if numbers is None or not _are_apart(look, anchors, numbers):
            return None
        if not self._is_plain(look, data[start:end], rows, numbers):
            return None
        if look.right:
            behind += numbers.widths(np.arange(rows))
            if bool((data.take(behind + len(look.right)) != _LINE_FEED).any()):
                return None
        for part, places in ((look.left_rest, anchors), (look.right_rest, behind)):
            if any(bool((data.take(places + at) != byte).any()) for at, byte in part):
                return None
        # The first of them is where every number ends.
        if any(bool((data.take(behind + at) != self._delimiter[0]).any()) for at in look.right_marks[1:]):
            return None
        levels = np.empty((len(look.lanes), rows), np.uint8)
        for lane, (on_left, distance) in enumerate(look.lanes):
            levels[lane] = data.take((anchors if on_left else behind) + distance)
        levels -= np.uint8(_ZERO)
        if levels.size and int(levels.max()) > 1:
            return None
        changed = np.append(NO_ROWS.dtype.type(0), np.flatnonzero((levels[:, 1:] != levels[:, :-1]).any(axis=0)) + 1)
        times = VaryingTimes(_TimeCells(data, start, anchors, size, stop, len(look.right)), look.time, place)
        if not times.in_order(changed, place):
            return None
        block = RowBlock(
            rows=rows, lines=rows, changed=changed, levels=levels[:, changed], numbers=(numbers,), times=times,
            quanta=times.quanta, spots=np.array([rows - 1]), finest=times.finest(), last_time=times.last_time,
        )  # fmt: skip
        return block, end

    def _anchors(self, look: _Look, data: Bytes, start: int, end: int) -> IntArray | None:
        """Where the left part begins in every row; None where it is not found once in each."""
        block = data[start:end]
        size = len(block)
        if len(self._ends) < size:
            self._ends, self._marks = np.empty(STRETCH, bool), np.empty(STRETCH, bool)
        ends, marks = np.equal(block, _LINE_FEED, out=self._ends[:size]), self._marks[:size]
        rows = int(np.count_nonzero(ends))
        np.equal(block, self._delimiter[0], out=marks)
        if rows < LEAST_ROWS or np.count_nonzero(marks) != rows * (len(look.left_marks) + len(look.right_marks)):
            return None
        reach = size - look.left_marks[-1]
        anchors = self._flagging.room(reach)
        np.copyto(anchors, marks[:reach])
        for at in look.left_marks[1:]:
            np.logical_and(anchors, marks[at : at + reach], out=anchors)
        if len(look.left_marks) == 1:
            for at in look.right_marks:
                distance = len(look.right) - at
                np.greater(anchors[:-distance], ends[distance:], out=anchors[:-distance])
                anchors[-distance:] = False
        found = self._flagging.places(reach)
        if len(found) != rows:
            return None
        if not look.time.whole < int(found[0]) <= MOST_WIDE:
            return None
        # The point of each time stands where that of the first does, and so does its sign.
        for at, byte in ((look.time.whole, look.time.point), (0, look.time.first)):
            if byte is None:
                continue
            if block[at] != byte:
                return None
            there = np.equal(block[at + 1 :], byte, out=self._flagging.room(size - at - 1))
            np.logical_and(there, ends[: size - at - 1], out=there)
            if np.count_nonzero(there) != rows - 1:
                return None
        found += start
        return found

    def _is_plain(self, look: _Look, block: Bytes, rows: int, numbers: _Numbers) -> bool:
        """Whether so many rows account for everything that is no digit."""
        flags = self._flagging.room(len(block))
        low = [byte for byte in (*look.left, *look.right) if byte < _ZERO]
        high = sum(byte > _NINE for byte in (*look.left, *look.right))
        signed = look.time.first is not None
        others = rows * (len(low) + 2 + signed)
        if np.count_nonzero(np.less(block, _ZERO, out=flags)) != others + numbers.points + numbers.signs:
            return False
        for point, count in {look.time.point: rows, look.point: rows}.items():
            count = rows * (look.time.point == point) + numbers.points * (look.point == point)
            if np.count_nonzero(np.equal(block, point, out=flags)) != count:
                return False
        if not high:
            return int(block.max()) <= _NINE
        return bool(np.count_nonzero(np.greater(block, _NINE, out=flags)) == rows * high)


def _are_apart(look: _Look, anchors: IntArray, numbers: _Numbers) -> bool:
    """Whether each has a line feed of its own behind it, and a time of a possible length in front."""
    apart = np.diff(anchors)
    size = len(look.left) + len(look.right) + 1
    if int(apart.max()) > size + _EIGHT + MOST_WIDE:
        return False
    near = np.flatnonzero(apart <= size + _EIGHT + look.time.whole)
    return len(near) == 0 or int((apart[near] - numbers.widths(near)).min()) > size + look.time.whole


class _Numbers:
    """Plain decimals with equally many digits in front of the point, as words that sort as they do.

    :ivar points: how many have a point, :ivar signs: how many a minus.
    """

    def __init__(self, keys: Words, look: _Look, stop: int, points: int, signs: int) -> None:
        self._keys = keys
        self._look = look
        self._stop = stop
        self.points = points
        self.signs = signs

    @staticmethod
    def of(words: Words, look: _Look, stop: int) -> _Numbers | None:
        """Of words that begin with the numbers, each of which must end with ``stop`` in its word. Uses up ``words``."""
        minus = (words & np.uint64(0xFF)) == _MINUS
        signs = int(np.count_nonzero(minus))
        if signs:
            words >>= minus.astype(np.uint64) << np.uint64(3)
        if not has(words, stop).all():
            return None
        border = (words >> np.uint64(8 * look.whole)) & np.uint64(0xFF)
        pointed = border == look.point
        points = int(np.count_nonzero(pointed))
        if points != len(words) and not bool((pointed | (border == stop)).all()):
            return None
        keys = words.byteswap(inplace=True)
        # Characters are below 128: the top bit is free to put negative numbers, which sort the other way, in front.
        if signs:
            np.invert(keys, out=keys, where=minus)
            keys ^= _TOP
        else:
            keys |= _TOP
        return _Numbers(keys, look, stop, points, signs)

    def __len__(self) -> int:
        return len(self._keys)

    def outer(self) -> tuple[float, float]:
        """The least and the largest."""
        return self._value(int(self._keys.min())), self._value(int(self._keys.max()))

    def ranges(self) -> tuple[FloatArray, FloatArray]:
        """The least and the largest value of each piece."""
        whole = len(self._keys) // PIECE * PIECE
        pieces = self._keys[:whole].reshape(-1, PIECE)
        lows, highs = pieces.min(axis=1), pieces.max(axis=1)
        if whole < len(self._keys):
            rest = self._keys[whole:]
            lows, highs = np.append(lows, rest.min()), np.append(highs, rest.max())
        values = self._read(np.concatenate([lows, highs]))
        return values[: len(lows)], values[len(lows) :]

    def pick(self, rows: IntArray) -> FloatArray:
        """Some of them."""
        return self._read(self._keys[rows])

    def widths(self, rows: IntArray) -> IntArray:
        """How many characters each has, the sign included."""
        words, minus = self._words(self._keys[rows])
        return first_place(words, self._stop) + minus

    def _words(self, keys: Words) -> tuple[Words, IntArray]:
        """The words without signs, the first character lowest again, and which numbers are negative."""
        minus = keys < _TOP
        words = keys.copy()
        np.invert(words, out=words, where=minus)
        words &= ~_TOP
        return words.byteswap(inplace=True), minus.astype(np.intp)

    def _value(self, key: int) -> float:
        """One of them, sooner than many."""
        top = 1 << 63
        text = (key ^ top if key & top else (key ^ top) ^ _ALL).to_bytes(_EIGHT, "big")
        value = float(text[: text.index(self._stop)].replace(b",", b"."))
        return value if key & top else -value

    def _read(self, keys: Words) -> FloatArray:
        words, minus = self._words(keys)
        widths = first_place(words, self._stop)
        values, good = numbers_in(words, widths, self._look.point)
        assert good.all()
        np.negative(values, out=values, where=minus.astype(bool))
        return values


@dataclass(frozen=True, eq=False)
class _TimeCells:
    """The cells of the times, which end at the anchors; where one begins is looked up when it is asked for."""

    data: Bytes
    start: int
    anchors: IntArray
    left: int
    stop: int
    right: int

    def __len__(self) -> int:
        return len(self.anchors)

    def pick(self, rows: IntArray | slice) -> Cells:
        """Some of them."""
        rows = np.arange(len(self))[rows] if isinstance(rows, slice) else rows
        if len(rows) <= _FEW:
            found = [self._start(row) for row in rows.tolist()]
            return Cells(self.data, np.array(found, np.intp), self.anchors[rows] - found)
        above = self.anchors[np.maximum(rows - 1, 0)] + self.left
        words = words_of(self.data)[above]
        minus = (words & np.uint64(0xFF)) == _MINUS
        words >>= minus.astype(np.uint64) << np.uint64(3)
        starts = above + first_place(words, self.stop) + (minus + (self.right + 1))
        starts[rows == 0] = self.start
        return Cells(self.data, starts, self.anchors[rows] - starts)

    def _start(self, row: int) -> int:
        if row == 0:
            return self.start
        above = int(self.anchors[row - 1]) + self.left
        return above + self.data[above : above + _EIGHT + 1].tobytes().index(self.stop) + self.right + 1
