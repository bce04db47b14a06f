"""CSV files, both kinds: a row a change, and a row a sample.

Why it is: this is what every analyzer and scope can export. The text is read in blocks of whole lines; a block
becomes a :class:`~pdcheck.capture.csv_rows.RowBlock`, and that edges and points. Nothing else is kept, so memory
grows with the changes only.

A sample file whose times are printed too coarsely to tell neighbouring rows apart (four million rows a second with
six decimals) still says exactly when a sample was taken, by its row number; then times come from the rows.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.csv_fixed import FixedReader
from pdcheck.capture.csv_layout import Kind, Layout, find_layout
from pdcheck.capture.csv_rows import CarefulReader, IntArray, NotALevel, Place, RowBlock, lanes_of
from pdcheck.capture.csv_varying import VaryingReader
from pdcheck.capture.growing import FloatArray
from pdcheck.capture.lines import EdgeBuilder, WaveBuilder
from pdcheck.capture.model import Capture, Line, Role
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.capture.steady import Steady
from pdcheck.capture.text import text_reader
from pdcheck.errors import CaptureError

FIRST_BLOCK = 1 << 16
BLOCK = 1 << 20
CAREFUL = 1 << 14
MARGIN = 64
_MOST_EDGES = 12 << 20
_COARSE = 0.25
_SPOT_CHECK = 512
_LAST_ROWS = 16


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
        self._fill = text_reader(source)
        self._buffer = bytearray(BLOCK + 2 * MARGIN)
        self._data = np.frombuffer(self._buffer, np.uint8)
        self._view = memoryview(self._buffer)[MARGIN : MARGIN + BLOCK]
        self._held = 0
        self._ended = False
        self._last_line = b""

    def read(self) -> Capture:
        """Read it all."""
        self._more(FIRST_BLOCK)
        layout, start, line = self._find_layout()
        place = Place(line)
        self._begin(layout)
        self._drop(start)
        while True:
            end = self._held
            if not self._ended:
                end = max(self._buffer.rfind(b"\n", MARGIN, MARGIN + end) + 1 - MARGIN, 0)
            if end:
                self._block(end, place)
                self._last_line = self._line_before(end)
                self._drop(end)
            elif self._held == BLOCK:
                raise self._too_long(place.line)
            if self._ended:
                break
            self._more(BLOCK)
        return self._finish(place)

    def _more(self, limit: int) -> None:
        """Read on, up to ``limit`` bytes in the buffer."""
        room = self._view[self._held : limit]
        got = self._fill(room)
        self._ended = got < len(room)
        self._held += got

    def _drop(self, count: int) -> None:
        rest = self._held - count
        self._view[:rest] = bytes(self._view[count : self._held])
        self._held = rest

    def _too_long(self, line: int) -> CaptureError:
        return CaptureError(
            f"the line is longer than {BLOCK:,} bytes", "this is no export of rows; export as CSV or VCD",
            path=self._path, line=line,
        )  # fmt: skip

    def _find_layout(self) -> tuple[Layout, int, int]:
        """The layout, and where its first row begins: the byte and the line number."""
        while True:
            text = bytes(self._view[: self._held])
            lines = _text_lines(text, complete=self._ended)
            if not lines and not self._ended and self._held == BLOCK:
                raise self._too_long(1)
            layout = find_layout(
                lines, complete=self._ended, path=self._path, roles=self._options.roles, rate_hz=self._options.rate_hz
            )
            if layout is not None:
                start = 0
                for _ in range(layout.first_row - 1):
                    start = text.index(b"\n", start) + 1
                return layout, start, layout.first_row
            if self._ended or self._held == BLOCK:
                raise CaptureError(
                    "holds no rows of numbers", "name the CSV or VCD file that the analyzer exported", path=self._path
                )
            self._more(BLOCK)

    def _begin(self, layout: Layout) -> None:
        self._layout = layout
        self._careful = CarefulReader(layout, self._path)
        self._fixed = FixedReader(layout)
        self._varying = VaryingReader(layout)
        self._edges: list[EdgeBuilder] = []
        for lane in lanes_of(layout):
            column = layout.columns[lane.place]
            name = column.name if column.kind is Kind.LEVEL else f"{column.name}[{lane.bit}]"
            self._edges.append(EdgeBuilder(name, column.role))
        waves = [column for column in layout.columns if column.kind is Kind.NUMBER]
        self._waves = [
            WaveBuilder(column.name, column.role, column.unit, column.factor, len(waves)) for column in waves
        ]
        self._steady: Steady | None = None
        self._by_row = layout.interval_s is not None

    def _block(self, end: int, place: Place) -> None:
        """Read all lines before ``end``, each stretch the fastest way that fits it."""
        at = 0
        while at < end:
            if place.origin is not None or (place.rows and self._layout.time_column is None):
                where = (self._buffer, self._data, MARGIN + at, MARGIN + end, place)
                found = self._fixed.read(*where) or self._varying.read(*where)
                if found is not None:
                    block, after = found
                    self._take(block, place)
                    place.line += block.lines
                    at = after - MARGIN
                    continue
            stop = self._buffer.find(b"\n", MARGIN + at + CAREFUL, MARGIN + end) + 1 - MARGIN
            stop = stop if stop > 0 else end
            self._carefully(at, stop, place)
            at = stop

    def _line_before(self, start: int) -> bytes:
        """The line that ends at ``start``, without its line end; it may stand in the block before."""
        if start == 0:
            return self._last_line
        begin = self._buffer.rfind(b"\n", MARGIN, MARGIN + start - 1) + 1
        return bytes(self._buffer[max(begin, MARGIN) : MARGIN + start - 1])

    def _carefully(self, start: int, end: int, place: Place) -> None:
        terminated = self._view[end - 1] == 10
        while True:
            try:
                block = self._careful.read(
                    bytes(self._view[start:end]), place, terminated=terminated, before=self._line_before(start)
                )
                break
            except NotALevel as found:
                self._promote(found.place)
        if block.rows:
            self._take(block, place)
        place.line += block.lines

    def _take(self, block: RowBlock, place: Place) -> None:
        points = [wave.select(values) for wave, values in zip(self._waves, block.numbers, strict=True)]
        if place.rows == 0 and self._layout.time_column is not None:
            self._judge_steps(block, place)
        elif self._steady is not None:
            self._follow_steps(block, [rows for rows, _ in points], place)
        changed_times = self._times(block, block.changed, place)
        for edges, levels in zip(self._edges, block.levels, strict=True):
            edges.add(changed_times, levels)
        for wave, (rows, kept) in zip(self._waves, points, strict=True):
            if len(rows):
                wave.push(self._times(block, rows, place), kept)
        last = np.array([block.rows - 1])
        place.rows += block.rows
        if self._layout.time_column is not None:
            place.last_time = float(block.times(last)[0])
        if sum(len(edges.edges) for edges in self._edges) > _MOST_EDGES:
            raise CaptureError(
                f"more than {_MOST_EDGES:,} level changes up to here: noise rather than traffic",
                "export only the channels that matter, or a shorter time", path=self._path, line=place.line,
            )  # fmt: skip

    def _times(self, block: RowBlock, rows: IntArray, place: Place) -> FloatArray:
        """Times of rows in the file's unit; row numbers where those are the better clock."""
        if self._by_row:
            return (rows + place.rows).astype(np.float64)
        return block.times(rows)

    def _judge_steps(self, block: RowBlock, place: Place) -> None:
        """A row a sample or a row a change? And do the times tell the rows apart?"""
        rows = block.rows
        if rows < 3:
            return
        times = block.times(np.arange(rows))
        period = float(times[-1]) / (rows - 1)
        if period <= 0:
            return
        lanes = block.levels
        if len(lanes):
            differs = (lanes[:, 1:] != lanes[:, :-1]).any(axis=0) if lanes.shape[1] == rows else None
            same = rows - 1 - (int(differs.sum()) if differs is not None else len(block.changed))
            if same < max(2, rows // 10):
                return
        elif not self._waves:
            return
        assert place.origin is not None
        steady = Steady(growing=sum(place.origin) >= 0)
        if not steady.follow(np.arange(rows), times, block.quanta(np.arange(rows))):
            return
        self._steady = steady
        # Times on the dot are as good a clock as any; rounded ones are none where rounding moves them far.
        rounded = float(np.abs(times - np.arange(rows) * period).max()) > 0.01 * period
        self._by_row = rounded and _finest(block) > _COARSE * period

    def _follow_steps(self, block: RowBlock, telling: list[IntArray], place: Place) -> None:
        """Does this block go on with the same step? Looks where something happens, and at every 512th row.

        An extra row anywhere moves all behind it, so none is missed.
        """
        steady = self._steady
        assert steady is not None
        step = place.last_time / (place.rows - 1)
        spots = np.arange(block.rows)
        if block.rows > 4 * _SPOT_CHECK:
            spots = np.append(spots[: -1 : _SPOT_CHECK], block.rows - 1)
        asked = (block.changed, *telling, spots)
        times = np.concatenate([block.times(rows) for rows in asked])
        rows = np.concatenate(asked)
        if not steady.follow(rows + place.rows, times, block.quanta(rows)):
            self._steady = None
            if self._by_row:
                self._rescale(step)
                self._by_row = False
        elif not self._by_row and _finest(block) > _COARSE * step and self._off_the_dot(block, step, place):
            # Some exporters print six digits whatever the size, so times grow coarser as they go.
            self._rescale(1 / step)
            self._by_row = True

    def _off_the_dot(self, block: RowBlock, step: float, place: Place) -> bool:
        """Whether rounding moves the last times far from where the row numbers put them."""
        last = np.arange(max(0, block.rows - _LAST_ROWS), block.rows)
        return float(np.abs(block.times(last) - (last + place.rows) * step).max()) > 0.01 * step

    def _rescale(self, factor: float) -> None:
        """Turn row numbers into times of the file, or the reverse."""
        for edges in self._edges:
            edges.rescale(factor)
        for wave in self._waves:
            wave.rescale(factor)

    def _promote(self, column: int) -> None:
        """A column of levels holds numbers after all: what was read of it becomes points."""
        old, old_edges = self._layout, self._edges
        old_waves = dict(zip(_number_places(old), self._waves, strict=True))
        layout = old.with_number(column)
        keep = (self._steady, self._by_row)
        self._begin(layout)
        self._steady, self._by_row = keep
        old_lanes = {(lane.place, lane.bit): edges for lane, edges in zip(lanes_of(old), old_edges, strict=True)}
        self._edges = [old_lanes[lane.place, lane.bit] for lane in lanes_of(layout)]
        fresh = dict(zip(_number_places(layout), self._waves, strict=True))
        self._waves = [old_waves.get(place, fresh[place]) for place in _number_places(layout)]
        edges, wave = old_lanes[column, 0], fresh[column]
        if edges.initial is not None:
            times = np.concatenate([[0.0], edges.edges.view()])
            levels = (np.arange(len(times)) + edges.initial) & 1
            wave.push(times, levels.astype(np.float64))

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
            start = (place.origin[0] + place.origin[1]) * layout.time_factor
            if self._steady is not None:
                period = place.last_time / (place.rows - 1) * layout.time_factor
                factor = period if self._by_row else factor
        kind = "csv-edges" if period is None else "csv-samples"
        digital = {(lane.place, lane.bit): edges for lane, edges in zip(lanes_of(layout), self._edges, strict=True)}
        analog = dict(zip(_number_places(layout), self._waves, strict=True))
        lines: list[Line] = []
        for column, said in enumerate(layout.columns):
            if said.kind in (Kind.LEVEL, Kind.BUS):
                lines.extend(digital[column, bit].line(factor) for bit in range(said.bits))
            elif said.kind is Kind.NUMBER and self._worth_keeping(analog[column]):
                lines.append(analog[column].line(factor))
        return Capture(self._path, kind, start, length, period, tuple(lines), layout.time_stated)

    def _worth_keeping(self, wave: WaveBuilder) -> bool:
        """Numbers of an unnamed column that can be no voltage here are not handed on."""
        return wave.role is not Role.OTHER or bool(wave.unit) or wave.looks_like_volts()


def _finest(block: RowBlock) -> float:
    """The finest last digit among the last times: others may have lost their trailing zeros."""
    return float(block.quanta(np.arange(max(0, block.rows - _LAST_ROWS), block.rows)).min())


def _number_places(layout: Layout) -> list[int]:
    return [place for place, column in enumerate(layout.columns) if column.kind is Kind.NUMBER]


def _text_lines(text: bytes, *, complete: bool) -> list[str]:
    """The lines; without the last one where it may go on."""
    try:
        shown = text.decode()
    except UnicodeDecodeError as error:
        cut_at_end = not complete and error.start >= len(text) - 4
        shown = text[: error.start].decode() if cut_at_end else text.decode("latin-1")
    lines = [line.rstrip("\r") for line in shown.split("\n")]
    if not complete or not lines[-1]:
        lines.pop()
    return lines
