"""Long stretches in which no level changes, though every row has a width of its own.

Why it is: most of a long capture is silence, and there even the places of the rows do not matter, only that each line
ends as the one before. A few passes over the bytes of a block say so: in front of every line feed stands the tail of
the row before, and nothing else is no digit but a point in each time. That is told by counting where all times have
one. Where some are whole numbers and have none it is told by the order of the characters (``csv_bits``). Times are read
at the ends of the stretch and now and then between.

What is given up: a single row whose time is out of order, or has its digits garbled into others, is not noticed in the
middle of such a stretch. It would change nothing of what is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, FloatArray, IntArray
from pdcheck.capture.csv_bits import AT_ONCE, WORD, Bits, are_parted, behind, earlier, later
from pdcheck.capture.csv_cells import level, plain_parts
from pdcheck.capture.csv_layout import Kind, Layout
from pdcheck.capture.csv_rows import LAST_ROWS, Place, RowBlock
from pdcheck.capture.csv_template import template_of

LEAST_BYTES = 1 << 15
_SPOT_BYTES = 1 << 16
_MOST_TAILS = 4096
_LOOKED_AT = 1 << 17
_LONGEST_PAUSE = 16
_WHOLE_AGAIN = 16
_SHORT_TAIL = 5
_QUOTE = 0x22


@dataclass(frozen=True, eq=False)
class _Tail:
    """What follows the time in a row.

    :ivar quoted: whether the time is in quotes, the first of which is a row's first character.
    :ivar levels: a row a level cell, one column.
    :ivar watched: distance from the line feed, and character, of all that the levels are written with, and of the first
        separator; of everything where the tail is short.
    :ivar known: whether all separators are among that.
    :ivar delimiters: the distances of the separators.
    :ivar quotes: the distances of quotes, where the time is in some.
    :ivar low: the distances of other characters that sort before the digits, :ivar high: of those behind them.
    """

    quoted: bool
    levels: Bytes
    watched: tuple[tuple[int, int], ...]
    known: bool
    delimiters: tuple[int, ...]
    quotes: tuple[int, ...]
    low: tuple[int, ...]
    high: tuple[int, ...]


class QuietReader:
    """Reads rows between two changes."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._delimiter = layout.delimiter.encode()
        self._able = layout.time_column == 0 and all(
            column.kind in (Kind.TIME, Kind.LEVEL) for column in layout.columns
        )
        self._points = tuple(point for point in (b".", b",") if point != self._delimiter)
        self._tails: dict[bytes, _Tail | None] = {}
        self._ends = np.empty(0, bool)
        self._differs = np.empty(0, bool)
        self._scratch = np.empty(0, bool)
        self._bits = Bits()
        self._whole = 0  # for so many stretches times are taken to be whole numbers now and then
        self._misses = 0  # one after another: in traffic there is no use in looking for silence at every step
        self._pause = 0

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        if self._pause:
            self._pause -= 1
            return None
        if end - start < LEAST_BYTES or not self._able:
            return None
        row = bytes(room[start : room.find(b"\n", start, min(end, start + 4096)) + 1])
        quoted = row[:1] == b'"'
        border = row.find(self._delimiter) - quoted  # where the time ends
        tail = self._tail_of(row, quoted, border) if border > 0 else None
        if tail is None:
            return None
        end = self._first_change(data, start, room.rfind(b"\n", start, end) + 1, tail)
        end = room.rfind(b"\n", start, end) + 1
        if end - start < LEAST_BYTES:
            self._misses += 1
            self._pause = min(self._misses // 2, _LONGEST_PAUSE)
            return None
        self._misses = 0
        block = data[start:end]
        rows = int(np.count_nonzero(self._ends[: len(block)]))
        point = self._point(room, start, end)
        times = _Times(room, start, end, quoted, b'"' if quoted else self._delimiter, point, place)
        if not self._is_plain(room, data, start, end, rows, tail, point[0]) or not times.in_order(place):
            return None
        found = RowBlock(
            rows=rows, lines=rows, changed=np.zeros(1, np.intp), levels=tail.levels, numbers=(), times=times,
            quanta=times.quanta, spots=np.array([rows - 1]), finest=times.finest, last_time=times.last,
        )  # fmt: skip
        return found, end

    def _point(self, room: bytearray, start: int, end: int) -> bytes:
        """The decimal point of the next times; they need not have one where they are whole numbers."""
        for point in self._points:
            if room.find(point, start, min(end, start + 4096)) >= 0:
                return point
        return self._points[0]

    def _tail_of(self, row: bytes, quoted: bool, border: int) -> _Tail | None:
        """What is known of a row's tail; None where it holds anything but levels of one character or of letters."""
        text = row[border:]
        if text in self._tails:
            return self._tails[text]
        template = template_of(row, self._layout)
        if template is None or template.time is None or template.time.exponent >= 0 or template.time.point == 0:
            return None  # the time may be at fault: another row may show what the tail is
        tail: _Tail | None = None
        if (
            template.time.start == quoted and template.time.end == border and len(text) <= WORD
            and quoted == (text[:1] == b'"') and not template.numbers and not template.ignored and not template.buses
            and template.levels
        ):  # fmt: skip
            words = [row[span.start : span.end] for span in template.levels]
            said = [level(word.decode()) for word in words if len(word) == 1 or word.isalpha()]
            levels = np.array([value for value in said if value is not None], np.uint8).reshape(-1, 1)
            if len(levels) == len(words):
                spots = {len(row) - 1 - at for span in template.levels for at in range(span.start, span.end)}
                places = [(distance, text[-1 - distance]) for distance in range(1, len(text))]
                delimiter = self._delimiter[0]
                short = len(text) <= _SHORT_TAIL
                spots.add(len(text) - 1 - quoted)
                delimiters = tuple(distance for distance, code in places if code == delimiter)
                tail = _Tail(
                    quoted, levels, tuple(place for place in places if short or place[0] in spots),
                    short or len(delimiters) == 1, delimiters,
                    tuple(distance for distance, code in places if code == _QUOTE and quoted),
                    tuple(distance for distance, code in places if code < 0x30 and code != delimiter),
                    tuple(distance for distance, code in places if code > 0x39 and code != delimiter),
                )  # fmt: skip
            if len(self._tails) < _MOST_TAILS:
                self._tails[text] = tail
        return tail

    def _first_change(self, data: Bytes, start: int, end: int, tail: _Tail) -> int:
        """The line feed of the first row that does not end as this tail does; ``end`` where all do."""
        count = end - start
        if len(self._ends) < count:
            self._ends, self._differs, self._scratch = (np.empty(count, bool) for _ in range(3))
        for at in range(start, end, _LOOKED_AT):
            stop = min(end, at + _LOOKED_AT)
            ends = np.equal(data[at:stop], 10, out=self._ends[at - start : stop - start])
            differs, scratch = self._differs[: stop - at], self._scratch[: stop - at]
            for number, (distance, code) in enumerate(tail.watched):
                np.not_equal(data[at - distance : stop - distance], code, out=scratch if number else differs)
                if number:
                    np.logical_or(differs, scratch, out=differs)
            np.logical_and(differs, ends, out=differs)
            first = int(np.argmax(differs))
            if differs[first]:
                return at + first
        return end

    def _is_plain(
        self, room: bytearray, data: Bytes, start: int, end: int, rows: int, tail: _Tail, point: int
    ) -> bool:
        """Whether all is digits but for line feeds, what the tail has in front of each, and a point in some times."""
        if self._whole:
            self._whole -= 1
        elif not tail.quoted and self._have_points(data[start:end], rows, tail, point):
            return True
        at = start
        while at < end:
            stop = room.rfind(b"\n", at, min(end, at + AT_ONCE)) + 1
            if stop <= at or not self._are_plain(data[at:stop], self._ends[at - start : stop - start], tail, point):
                return False
            at = stop
        return True

    def _have_points(self, block: Bytes, rows: int, tail: _Tail, point: int) -> bool:
        """Whether so many rows of this tail account for everything that is no digit, with a point in every time."""
        flags = self._scratch[: len(block)]
        if np.count_nonzero(np.equal(block, point, out=flags)) != rows:
            self._whole = _WHOLE_AGAIN
            return False
        if not tail.known:
            separators = np.equal(block, self._delimiter[0], out=flags)
            if np.count_nonzero(separators) != rows * len(tail.delimiters):
                return False
        low, high = len(tail.low) + 2, len(tail.high)
        if self._delimiter < b"0":
            low += len(tail.delimiters)
        else:
            high += len(tail.delimiters)
        signed = block.view(np.int8)  # sooner compared; what is not ASCII is then no digit either
        if np.count_nonzero(np.less(signed, 0x30, out=flags)) != rows * low:
            return False
        if not high:
            return int(block.max()) <= 0x39
        return bool(np.count_nonzero(np.greater(signed, 0x39, out=flags)) == rows * high)

    def _are_plain(self, block: Bytes, line_ends: Flags, tail: _Tail, point: int) -> bool:
        """The same of some whole rows, whose times may be whole numbers without a point."""
        bits = self._bits
        ends, points = bits.of(line_ends), bits.where(np.equal, block, point)
        delimiters = earlier(ends, tail.delimiters)
        if not tail.known and not np.array_equal(bits.where(np.equal, block, self._delimiter[0]), delimiters):
            return False
        others, begins = earlier(ends, tail.low), behind(ends, len(block))
        if tail.quoted:
            if not np.array_equal(bits.where(np.equal, block, _QUOTE), begins | earlier(ends, tail.quotes)):
                return False
            others |= begins
            begins = later(begins)
        # A time begins with a digit, and of points there is one at most, which is in the time.
        misplaced = begins & (delimiters | others)
        misplaced |= points & (begins | others)
        if misplaced.any() or not are_parted(points, delimiters):
            return False
        signed = block.view(np.int8)
        low, high = ends | points | others, earlier(ends, tail.high)
        if self._delimiter < b"0":
            low |= delimiters
        else:
            high |= delimiters
        if not np.array_equal(bits.where(np.less, signed, 0x30), low):
            return False
        if not high.any():
            return int(block.max()) <= 0x39
        return np.array_equal(bits.where(np.greater, signed, 0x39), high)


class _Times:
    """Times of rows, read when asked for; of other rows than the first and the last seldom.

    :ivar first: the first row's time, :ivar last: the last row's.
    :ivar finest: the weight of the finest last digit among the last rows' times.
    """

    def __init__(
        self, room: bytearray, start: int, end: int, quoted: bool, closing: bytes, point: bytes, place: Place
    ) -> None:
        self._room = room
        self._point = point.decode()
        self._start = start
        self._end = end
        self._quoted = quoted
        self._closing = closing
        self._origin = place.origin or (0, 0.0)
        self.first = self.last = self.finest = 0.0

    def in_order(self, place: Place) -> bool:
        """Whether the times are numbers and rise, at the ends and at some places between."""
        starts = [self._start]
        for spot in range(self._start + _SPOT_BYTES, self._end - _SPOT_BYTES, _SPOT_BYTES):
            starts.append(self._room.find(b"\n", spot) + 1)
        starts.append(self._room.rfind(b"\n", self._start, self._end - 1) + 1)
        times: list[float] = []
        for start in starts:
            time = self._time(start)
            if time is None or time < (times[-1] if times else place.last_time):
                return False
            times.append(time)
        self.first, self.last = times[0], times[-1]
        cells = [self._cell(start) for start in self._last_rows(starts[-1])]
        self.finest = 10.0 ** -max(len(cell.partition(self._point)[2]) for cell in cells)
        return True

    def __call__(self, rows: IntArray) -> FloatArray:
        if len(rows) == 1 and rows[0] == 0:
            return np.array([self.first])
        line_ends = np.flatnonzero(np.frombuffer(self._room, np.uint8)[self._start : self._end] == 10)
        starts = np.concatenate([[self._start], line_ends[:-1] + (self._start + 1)])
        found = [self._time(int(starts[row])) for row in rows.tolist()]
        return np.array([self.last if time is None else time for time in found])

    def quanta(self, rows: IntArray) -> FloatArray:
        """The weight of the last digit of the finest of the last times, for all."""
        return np.full(len(rows), self.finest)

    def _cell(self, start: int) -> str:
        start += self._quoted
        return self._room[start : self._room.find(self._closing, start)].decode("latin-1")

    def _time(self, start: int) -> float | None:
        parts = plain_parts(self._cell(start))
        return None if parts is None else (parts[0] - self._origin[0]) + (parts[1] - self._origin[1])

    def _last_rows(self, start: int) -> list[int]:
        out = [start]
        while len(out) < LAST_ROWS and start > self._start:
            start = max(self._room.rfind(b"\n", self._start, start - 1) + 1, self._start)
            out.append(start)
        return out
