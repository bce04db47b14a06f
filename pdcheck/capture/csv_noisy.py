"""Rows of varying width with numbers that are never at rest, in a file with a row a sample.

Why it is: beside a level that seldom changes stands VBUS in volts, and trembles in its last digits from row to row.
Hardly any of these numbers tells anything new, so they are not turned into numbers: their characters make words that
sort as the numbers do (``csv_trembling``), and only the least and the largest of a piece are read.

The separators in front of the first number in a row are its anchor. They are found for a whole stretch at once, and
everything else is at a known distance from them or from where a number ends; what is no digit in the stretch is
counted, and all of it must be accounted for.

What is given up: a single row whose time is out of order, or has its digits garbled into others, is not noticed where
no level changes and the numbers tell nothing. It would change nothing of what is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, IntArray
from pdcheck.capture.cell_numbers import MOST_WIDE, Cells, Shape
from pdcheck.capture.csv_decimal import DecimalKind
from pdcheck.capture.csv_flagging import Flagging
from pdcheck.capture.csv_layout import Kind, Layout
from pdcheck.capture.csv_loose import LooseKind
from pdcheck.capture.csv_powers import PowerKind
from pdcheck.capture.csv_rows import NO_ROWS, Place, RowBlock
from pdcheck.capture.csv_template import Template, template_ahead
from pdcheck.capture.csv_times import VaryingTimes
from pdcheck.capture.csv_trembling import MANY_ROWS, RowEnds, Trembling

LEAST_ROWS = 64
STRETCH = 1 << 21
_LINE_FEED, _PLUS, _MINUS, _ZERO, _NINE = 10, 0x2B, 0x2D, 0x30, 0x39
_FEW = 4


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
class _Look:
    """What rows look like: the time, and then a part in front of each number and one behind the last."""

    time: Shape | PowerKind
    numbers: tuple[DecimalKind | PowerKind | LooseKind, ...]
    parts: tuple[_Part, ...]
    lanes: int

    def loosened(self) -> _Look:
        """The same with as many digits as may be before the points of its plain numbers."""
        kinds = [LooseKind(kind.point, kind.stop) if isinstance(kind, DecimalKind) else kind for kind in self.numbers]
        return replace(self, numbers=tuple(kinds))

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
        numbers = [DecimalKind.of(row, span) or PowerKind.of(row, span) for span in template.numbers]
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
        look = None if template is None else _Look.of(template, self._delimiter)
        for self._look in () if look is None else (look, look.loosened()):
            found = self._read(self._look, data, start, end, place)
            if found is not None:
                return found
        self._look = None
        return None

    def _read(self, look: _Look, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        anchors, alike, points = self._anchors(look, data, start, end)
        if anchors is None:
            return None
        rows = len(anchors)
        levels = np.empty((look.lanes, rows), np.uint8)
        numbers: list[Trembling] = []
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
        row_ends = RowEnds(self._line_ends, start, end)
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

    def _is_plain(self, look: _Look, block: Bytes, points: int, rows: int, numbers: list[Trembling]) -> bool:
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


@dataclass(frozen=True, eq=False)
class _TimeCells:
    """The cells of the times, which end at the anchors; where one begins is looked up when it is asked for.

    :ivar last: the numbers that stand last in the rows, :ivar right: how many characters follow them in a row.
    """

    data: Bytes
    start: int
    anchors: IntArray
    last: Trembling
    right: int
    row_ends: RowEnds

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
        if MANY_ROWS * len(rows) > len(self):
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
