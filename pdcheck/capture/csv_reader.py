"""CSV files, both kinds: a row a change, and a row a sample.

Why it is: this is what every analyzer and scope can export. The text is read in blocks of whole lines; a block
becomes a :class:`~pdcheck.capture.csv_rows.RowBlock`, and that edges and points. Nothing else is kept, so memory
grows with the changes only.

There are several ways through a block. In sample files, where a row's number says when it was, only what changes is
read: ``csv_even`` (rows of one width), ``csv_quiet`` (nothing changes), ``csv_noisy`` (a number trembles: its notation
is ``csv_decimal``, ``csv_loose`` or ``csv_powers``), ``csv_uneven`` (levels change). Of other files each row is looked
at: ``csv_fixed`` (one width), ``csv_varying`` (one pattern), ``csv_plain`` (numbers in any notation). What none of them
takes is read cell by cell, in ``csv_rows``, which alone says what is wrong with a row.

What none of these knows, cells that say more than a value or are left empty where nothing has changed, is made plain
in the text before they see it: ``csv_dressed``, ``csv_same_dress``, ``csv_sparse``; ``csv_tall`` makes a list a table,
``csv_halves`` one time of two columns.

What characters say many at a time is asked in ``char_words`` (eight of them), ``cell_numbers`` and ``cell_levels`` (a
column of cells); so do the dumps of ``vcd_words``.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pdcheck.capture.arrays import FloatArray, IntArray
from pdcheck.capture.csv_buffer import MARGIN, LineBuffer
from pdcheck.capture.csv_clock import RowClock
from pdcheck.capture.csv_even import EvenReader
from pdcheck.capture.csv_fixed import FixedReader
from pdcheck.capture.csv_layout import Kind, Layout, find_layout
from pdcheck.capture.csv_noisy import NoisyReader
from pdcheck.capture.csv_plain import PlainReader
from pdcheck.capture.csv_quiet import QuietReader
from pdcheck.capture.csv_rows import CarefulReader, Lane, NotALevel, OutOfRange, Place, RowBlock, lanes_of
from pdcheck.capture.csv_uneven import UnevenReader
from pdcheck.capture.csv_varying import VaryingReader
from pdcheck.capture.lines import MOST_EDGES, MOST_UNSCALED, EdgeBuilder, check_apart
from pdcheck.capture.model import AnalogLine, Capture, Line, Role
from pdcheck.capture.names import is_in_codes
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.capture.waves import WaveBuilder, check_room
from pdcheck.errors import CaptureError, shortened

FIRST_BLOCK = 1 << 16
_EARLY_BLOCK = 1 << 18
CAREFUL = 1 << 12
FIRST_LINE = 120_000
_LARGE = 1 << 24
_FIRST_LINE_OF_LARGE = 12_000
_SHOWN = 60
_MANY_POINTS = 200
_FINER = "export the times with more decimals; or, where a row is a sample, without times, and give --rate HZ"
_SHORT = 1 << 13
_NEXT_ROWS = 64
_STRETCH = 1 << 21
_LINE_FEED = 10
_NO_TIMES: FloatArray = np.empty(0)


def read_csv(source: ByteSource, options: ReadOptions) -> Capture:
    """Read a CSV capture.

    :raises CaptureError: the file, or a row of it, cannot be used.
    """
    return _CsvFile(source, options).read()


class _CsvFile:
    """One file being read."""

    def __init__(self, source: ByteSource, options: ReadOptions) -> None:
        self._path = source.path
        self._options = options
        self._buffer = LineBuffer(source)
        # Near the beginning of a file, where a hand may have edited it, every row is looked at; less of one that no
        # editor likes to open, where it takes a tenth of the time.
        self._large = source.total is not None and source.total > _LARGE
        self._first_line = min(FIRST_LINE, _FIRST_LINE_OF_LARGE) if self._large else FIRST_LINE
        self._clock = RowClock()
        self._notes: list[str] = []
        self._left_out: set[Role] = set()

    def read(self) -> Capture:
        """Read it all."""
        buffer = self._buffer
        buffer.more(FIRST_BLOCK)
        layout, start = self._find_layout()
        layout = self._without_codes(layout)
        place = Place(layout.first_row)
        self._begin(layout)
        buffer.drop(start)
        while True:
            end = buffer.lines_end()
            if end > MARGIN:
                buffer.drop(self._block(end, place))
            elif buffer.full:
                raise buffer.too_long(place.line)
            if buffer.ended:
                break
            if self._large and end > MARGIN and place.line < self._first_line:
                buffer.more(_EARLY_BLOCK)
            else:
                buffer.more()
        return self._finish(place)

    def _find_layout(self) -> tuple[Layout, int]:
        """The layout, and where its first row begins."""
        buffer = self._buffer
        while True:
            lines = buffer.first_lines()
            layout = find_layout(lines, path=self._path, roles=self._options.roles, rate_hz=self._options.rate_hz)
            if layout is not None:
                start = MARGIN
                for _ in range(layout.first_row - 1):
                    start = buffer.line_end(start, buffer.stop)
                return layout, start
            if buffer.ended or buffer.full:
                raise _no_rows(lines, self._path)
            buffer.more()

    def _without_codes(self, layout: Layout) -> Layout:
        """The layout without a voltage or a current that is in another unit, which would be read as volts or amps."""
        for place, column in enumerate(layout.columns):
            asked = column.role in self._options.roles
            if column.role in (Role.VBUS, Role.CURRENT) and not asked and is_in_codes(column.name) and layout.read > 1:
                said = "amps" if column.role is Role.CURRENT else "volts"
                why = f'The column "{column.name}" does not hold {said}, by its name, and was left out.'
                layout = self._without(layout, place, why)
        return layout

    def _begin(self, layout: Layout) -> None:
        self._layout = layout
        self._careful = CarefulReader(layout, self._path)
        self._fixed = FixedReader(layout)
        self._varying = VaryingReader(layout)
        self._plain = PlainReader(layout)
        self._evenly, self._unevenly, self._quiet = EvenReader(layout), UnevenReader(layout), QuietReader(layout)
        self._noisy = NoisyReader(layout)
        self._edges: list[EdgeBuilder] = []
        for lane in lanes_of(layout):
            column = layout.columns[lane.place]
            name = column.name if column.kind is Kind.LEVEL else f"{column.name}[{lane.bit}]"
            self._edges.append(EdgeBuilder(name, column.role))
        waves = [column for column in layout.columns if column.kind is Kind.NUMBER]
        self._waves = [
            WaveBuilder(column.name, column.role, column.unit, column.factor, len(waves)) for column in waves
        ]

    def _block(self, end: int, place: Place) -> int:
        """Read the lines before ``end``, each stretch the fastest way that fits it; where it stopped.

        A few lines may be left for the next block, in which they are read with others.
        """
        at = MARGIN
        while at < end:
            if at > MARGIN and end - at < _SHORT and not self._buffer.ended:
                break
            found = self._at_speed(at, end, place) or self._row_by_row(at, end, place) if place.rows else None
            if found is None:
                at = self._carefully(at, end, place)
                continue
            block, at = found
            self._take(block, place)
            place.line += block.lines
        return at

    def _at_speed(self, at: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Rows of a sample file, of which no more is read than what changes."""
        if not (self._clock.steady or self._layout.interval_s) or place.line < self._first_line:
            return None
        if self._looks_even(at, end):
            return self._evenly.read(self._buffer.room, self._buffer.data, at, end, place)
        where = (self._buffer.room, self._buffer.data, at, self._near(at, end), place)
        return self._quiet.read(*where) or self._noisy.read(*where) or self._unevenly.read(*where)

    def _near(self, at: int, end: int) -> int:
        """Where to stop at the latest: what is found out of so many bytes stays near while more is asked of it."""
        if end - at <= _STRETCH:
            return end
        return (self._buffer.room.rfind(b"\n", at, at + _STRETCH) + 1) or end

    def _looks_even(self, at: int, end: int) -> bool:
        """Whether the next rows are of one width."""
        width = self._buffer.room.find(b"\n", at, min(end, at + _SHORT)) + 1 - at
        count = min(_NEXT_ROWS, (end - at) // width) if width > 0 else 0
        line_ends = self._buffer.data[at + width - 1 : at + count * width : width] if count else np.empty(0, np.uint8)
        return count > 0 and bool((line_ends == _LINE_FEED).all())

    def _row_by_row(self, at: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Rows of one shape, each of which is looked at."""
        where = (self._buffer.room, self._buffer.data, at, self._near(at, end), place)
        return self._fixed.read(*where) or self._varying.read(*where) or self._plain.read(*where)

    def _carefully(self, start: int, limit: int, place: Place) -> int:
        """Read some lines from ``start`` on cell by cell; where they end is returned."""
        first = place.rows == 0
        end = self._buffer.line_end(start + CAREFUL, limit)
        block = self._read_carefully(start, end, place)
        if first and block.rows > 1 and block.finest * (block.rows - 1) > 0.25 * block.last_time:
            # Times too coarse to tell these rows apart: whether the step is steady shows only in more of them.
            place.origin = None
            end = self._buffer.line_end(start + 4 * CAREFUL, limit)
            block = self._read_carefully(start, end, place)
        if block.rows:
            self._take(block, place)
        place.line += block.lines
        return end

    def _read_carefully(self, start: int, end: int, place: Place) -> RowBlock:
        text = self._buffer.text(start, end)
        before = self._buffer.line_before(start)
        last = self._buffer.ended and end == self._buffer.stop
        while True:
            try:
                return self._careful.read(
                    text, place, terminated=text.endswith(b"\n"), before=before, last_of_file=last
                )
            except NotALevel as found:
                self._promote(found.place)
            except OutOfRange as beyond:
                self._leave_out(beyond)

    def _take(self, block: RowBlock, place: Place) -> None:
        points = [wave.select(values) for wave, values in zip(self._waves, block.numbers, strict=True)]
        changed_times = self._times(block, block.changed, place)
        point_times = [self._times(block, rows, place) if len(rows) else _NO_TIMES for rows, _ in points]
        if self._layout.time_column is not None:
            telling = [(rows, times) for (rows, _), times in zip(points, point_times, strict=True) if len(rows)]
            if len(block.changed) > 1:
                telling.append((block.changed, changed_times))
            self._keep_time(block, telling, place)
        by_row = self._clock.by_row
        for edges, levels in zip(self._edges, block.levels, strict=True):
            edges.add(changed_times, levels, block.changed + place.rows if by_row else None)
        for wave, (rows, values), times in zip(self._waves, points, point_times, strict=True):
            if len(rows):
                wave.push(times, values, rows + place.rows if by_row else None)
        place.rows += block.rows
        if self._layout.time_column is not None:
            place.last_time = block.last_time
        most = MOST_EDGES if self._layout.time_stated else MOST_UNSCALED
        check_room(self._edges, self._waves, self._path, place.line, most)

    def _keep_time(self, block: RowBlock, telling: list[tuple[IntArray, FloatArray]], place: Place) -> None:
        kept = [*(edges.edges for edges in self._edges), *(wave.times for wave in self._waves)]
        if place.rows:
            self._clock.follow(block, telling, place, kept)
            return
        self._clock.begin(block, place, waves=bool(self._waves))
        if self._clock.by_row:
            for moments in kept:
                moments.keep_rows(1.0)

    def _times(self, block: RowBlock, rows: IntArray, place: Place) -> FloatArray:
        """Times of rows in the file's unit; row numbers where rows are only counted."""
        if self._layout.time_column is None:
            return (rows + place.rows).astype(np.float64)
        return block.times(rows)

    def _promote(self, column: int) -> None:
        """A column of levels holds numbers after all: what was read of it becomes points."""
        old_lanes = dict(zip(lanes_of(self._layout), self._edges, strict=True))
        self._go_on_with(self._layout.with_kind(column, Kind.NUMBER))
        edges, wave = old_lanes[Lane(column, 0)], self._waves[_number_places(self._layout).index(column)]
        if edges.initial is not None:
            times = np.concatenate([[0.0], edges.edges.times()])
            levels = (np.arange(len(times)) + edges.initial) & 1
            rows = edges.edges.rows()
            if rows is not None:
                wave.times.keep_rows(1.0)
                rows = np.concatenate([[0], rows])
            wave.push(times, levels.astype(np.float64), rows)

    def _leave_out(self, found: OutOfRange) -> None:
        """Go on without a column that cannot be read, where that is none that the others are of no use without."""
        column, error = self._layout.columns[found.place], found.error
        if column.role in (Role.CC1, Role.CC2, *self._options.roles) or self._layout.read == 1:
            raise error
        why = f"From line {error.line:,} on {error.what}; the whole column was left out."
        self._go_on_with(self._without(self._layout, found.place, why))

    def _without(self, layout: Layout, place: int, why: str) -> Layout:
        """The layout without a column, and a note that says so."""
        self._left_out.add(layout.columns[place].role)
        self._notes.append(why)
        return layout.with_kind(place, Kind.IGNORED)

    def _go_on_with(self, layout: Layout) -> None:
        """Read the rows that follow by another layout of the same columns; what was read of the others stays."""
        lanes = dict(zip(lanes_of(self._layout), self._edges, strict=True))
        waves = dict(zip(_number_places(self._layout), self._waves, strict=True))
        self._begin(layout)
        self._edges = [lanes[lane] for lane in lanes_of(layout)]
        self._waves = [
            waves.get(place, fresh) for place, fresh in zip(_number_places(layout), self._waves, strict=True)
        ]

    def _finish(self, place: Place) -> Capture:
        layout = self._layout
        if place.rows == 0:
            raise CaptureError("holds no complete row", "export the capture again", path=self._path)
        start, length = 0.0, place.last_time * layout.time_factor
        factor, period = layout.time_factor, layout.interval_s
        if period is not None:
            factor = period
            length = (place.rows - 1) * factor
        else:
            assert place.origin is not None
            if place.last_time == 0 and any(len(wave.times) >= _MANY_POINTS for wave in self._waves):
                raise CaptureError(f"all its {place.rows:,} rows have one and the same time", _FINER, path=self._path)
            start = (place.origin[0] + place.origin[1]) * layout.time_factor
            if self._clock.steady:
                period = place.last_time / (place.rows - 1) * layout.time_factor
        kind = "csv-edges" if period is None else "csv-samples"
        digital = {(lane.place, lane.bit): edges for lane, edges in zip(lanes_of(layout), self._edges, strict=True)}
        analog = dict(zip(_number_places(layout), self._waves, strict=True))
        notes = (*self._notes, *(said for edges in self._edges for said in edges.notes()),
                 *(said for wave in self._waves if self._worth_keeping(wave) for said in wave.notes()))  # fmt: skip
        lines: list[Line] = []
        for column, said in enumerate(layout.columns):
            if said.kind in (Kind.LEVEL, Kind.BUS):
                lanes = (digital[column, bit] for bit in range(said.bits))
                lines.extend(lane.line(factor, period) for lane in lanes if not lane.given_up)
            elif said.kind is Kind.NUMBER and self._worth_keeping(analog[column]) and not analog[column].given_up:
                lines.append(analog[column].line(factor, period))
        check_apart(self._edges, (line.role for line in lines if isinstance(line, AnalogLine)), _FINER, self._path)
        return Capture(self._path, kind, start, length, period, tuple(lines), layout.time_stated, notes,
                       left_out=frozenset(self._left_out))  # fmt: skip

    def _worth_keeping(self, wave: WaveBuilder) -> bool:
        """Numbers of an unnamed column that can be no voltage here are not handed on."""
        return wave.role is not Role.OTHER or bool(wave.unit) or wave.looks_like_volts()

#: So many letters a digit are a list of files or of tickets; no way to write a time or a level takes as many.
_WORDY = 3


def _no_rows(lines: Sequence[str], path: str) -> CaptureError:
    """What to say of a text without rows of values: shows the line that most likely was to be one."""
    told = [(place, line.strip()) for place, line in enumerate(lines, 1) if sum(map(str.isdigit, line)) >= 2]
    if not told:
        return CaptureError(
            "holds no rows of numbers", "name the CSV or VCD file that the analyzer exported", path=path
        )
    text = "".join(line for _, line in told)
    if sum(map(str.isalpha, text)) > _WORDY * sum(map(str.isdigit, text)):
        return CaptureError(
            "is a table of words, no capture", "name the CSV or VCD file that the analyzer exported", path=path
        )
    place, line = told[len(told) // 2]
    shown = shortened(line, _SHOWN)
    return CaptureError(
        f"holds no rows of numbers that can be told from words; this line is {shown!r}",
        "export times as plain numbers, with their unit in the header, and levels as 0 and 1 or in volts",
        path=path, line=place,
    )  # fmt: skip


def _number_places(layout: Layout) -> list[int]:
    return [place for place, column in enumerate(layout.columns) if column.kind is Kind.NUMBER]
