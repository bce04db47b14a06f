"""Rows of one pattern but not of one width.

Why it is: many exporters drop trailing zeros or print a minus now and then, so that rows have widths of their own.
Here all line ends of a stretch are found at once (and all separators, where more than the time varies in width),
which gives the places of all cells; then each column is checked as a whole, eight characters at a time. Times are
turned into numbers only where they are asked for.

What does not follow the pattern ends the stretch; the careful reader takes over there and says what it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, Flags, FloatArray, IntArray
from pdcheck.capture.cell_levels import NOT_A_BUS_VALUE, NOT_A_LEVEL, bit_rows, buses, levels
from pdcheck.capture.cell_numbers import Cells, Shape, decimals, numbers, rising
from pdcheck.capture.csv_cells import COMMENT_MARKS
from pdcheck.capture.csv_flagging import Flagging
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_powers import PowerKind
from pdcheck.capture.csv_rows import Place, RowBlock, spread
from pdcheck.capture.csv_template import Span, Template, template_ahead
from pdcheck.capture.csv_times import VaryingTimes
from pdcheck.capture.waves import ReadValues

LEAST_ROWS = 16
STRETCH = 1 << 19
_LINE_FEED, _RETURN, _QUOTE = 10, 13, 0x22


class VaryingReader:
    """Reads rows of one pattern, as far as they go."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._last: Template | None = None
        self._flagging = Flagging()

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        end = room.rfind(b"\n", start, min(end, start + STRETCH)) + 1
        if end <= start:
            return None
        if self._last is not None:
            found = self._with(self._last, data, start, end, place)
            if found is not None:
                return found
        self._last = template_ahead(room, start, end, self._layout)
        return None if self._last is None else self._with(self._last, data, start, end, place)

    def _with(self, template: Template, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows of this shape."""
        columns = _Columns.find(template, self._layout, data, start, end, self._flagging)
        if columns is None or len(columns.line_ends) < LEAST_ROWS:
            return None
        return _rows(columns, template, place)


def _rows(columns: _Columns, template: Template, place: Place) -> tuple[RowBlock, int] | None:
    """What the columns hold, down to the first row that is not as it should be."""
    good = columns.good
    values: list[FloatArray] = []
    for span in template.numbers:
        cell = template.row[span.start : span.end]
        point = cell[span.point] if span.point < len(cell) else ord(".")
        if span.exponent >= 0:
            found = _powers(columns.cells[span], template.row, span)
        else:
            found = numbers(columns.cells[span], point) or _long_numbers(columns.cells[span], cell)
        if found is None:
            return None
        values.append(found[0])
        good &= found[1]
    changes: list[IntArray] = []
    lanes: list[tuple[NDArray[np.uint8] | NDArray[np.int64], int]] = []
    for span, bits in template.lanes():
        said = buses(columns.cells[span], bits) if bits else levels(columns.cells[span])
        if said is None:
            return None
        changes.append(said[0])
        lanes.append((said[1], bits))
        wrong = NOT_A_BUS_VALUE if bits else NOT_A_LEVEL
        if (said[1] == wrong).any():
            good &= said[1] != wrong
    changed = _union(changes, len(good)) if changes else np.zeros(1, np.intp)
    times: VaryingTimes | None = None
    if template.time is not None:
        cells = columns.cells[template.time]
        shape = Shape.of(template.row[template.time.start : template.time.end])
        kind = shape or PowerKind.of_times(template.row, template.time)
        if kind is None:
            return None
        times = VaryingTimes(cells, kind, place)
        # Where most times will be wanted they are all read, and need no other look.
        in_order = times.read_all() if shape is None or 2 * len(changed) > len(good) else rising(cells, shape)
        if in_order is None:
            return None
        good &= in_order
    count = len(good) if good.all() else int(np.argmin(good))
    if count < LEAST_ROWS:
        return None
    if times is not None:
        times.cut(count)
        if place.rows and float(times(np.zeros(1, np.intp))[0]) < place.last_time:
            return None
    changed = changed[: int(np.searchsorted(changed, count))]
    rows = [row for values, bits in lanes for row in bit_rows(values[changed], bits)]
    at_changes = np.array(rows, np.uint8).reshape(len(rows), len(changed))
    spots, finest, last_time = np.empty(0, np.intp), 0.0, 0.0
    if times is not None:
        spots = spread(count)
        finest = times.finest()
        last_time = float(times(spots[-1:])[0])
    block = RowBlock(
        rows=count, lines=count, changed=changed, levels=at_changes,
        numbers=tuple(ReadValues(column[:count]) for column in values),
        times=times or _no_times, quanta=times.quanta if times is not None else _no_times,
        spots=spots, finest=finest, last_time=last_time,
    )  # fmt: skip
    return block, int(columns.line_ends[count - 1]) + 1


def _powers(cells: Cells, row: bytes, span: Span) -> tuple[FloatArray, Flags] | None:
    """The values of numbers in scientific notation of one kind, and which cells end where these do."""
    kind = PowerKind.of(row, span)
    found = None if kind is None else kind.read(cells.data, cells.starts)
    if found is None or not found.all_digits():
        return None
    return found.pick(np.arange(len(found))), found.widths() == cells.widths


def _long_numbers(cells: Cells, like: bytes) -> tuple[FloatArray, Flags] | None:
    """The values of plain decimals of one shape, and which cells are of it."""
    shape = Shape.of(like)
    found = None if shape is None else decimals(cells, shape)
    return None if found is None else (found[0] + found[1], found[2])


def _union(parts: list[IntArray], count: int) -> IntArray:
    if len(parts) == 1 or sum(map(len, parts)) == len(parts):
        return parts[0]  # of several: nothing but the first row
    marked = np.zeros(count, bool)
    for part in parts:
        marked[part] = True
    return np.flatnonzero(marked)


def _no_times(rows: IntArray) -> FloatArray:
    raise AssertionError("rows are counted in a file without a time column")


@dataclass(frozen=True, eq=False)
class _Columns:
    """Where the cells of a stretch are.

    :ivar line_ends: places of the line feeds.
    :ivar good: which rows have their separators where the template has them.
    """

    line_ends: IntArray
    cells: dict[Span, Cells]
    good: Flags

    @staticmethod
    def find(
        template: Template, layout: Layout, data: Bytes, start: int, end: int, flagging: Flagging
    ) -> _Columns | None:
        """The cells of all whole rows from ``start`` to ``end``; None where the template is not simple enough."""
        floating = [*template.numbers, *([template.time] if template.time else [])]
        anchored = all(span.width == 1 for span in template.levels)
        if len(floating) <= 1 and not template.ignored and not template.buses and anchored:
            return _by_line_ends(template, floating, data, start, flagging.places_of(data[start:end], _LINE_FEED))
        return _by_separators(template, layout, data, start, end, flagging)


def _by_line_ends(template: Template, floating: list[Span], data: Bytes, start: int, ends: IntArray) -> _Columns:
    """At most one cell varies in width: everything else is at a fixed distance from the row's start or end.

    :param ends: where the line feeds are, from ``start``; used up.
    """
    ends += start
    starts = np.empty_like(ends)
    starts[0] = start
    np.add(ends[:-1], 1, out=starts[1:])
    least = template.width - 1 - sum(span.width for span in floating)
    widths = ends - starts
    widths -= least
    fits = widths >= 1 if floating else widths == 0
    if not fits.all():
        # Of a row that is too short, where it is the last, the places may lie beyond the buffer.
        count = int(np.argmin(fits))
        ends, starts, widths = ends[:count], starts[:count], widths[:count]
    good = np.ones(len(ends), bool)
    cells: dict[Span, Cells] = {}
    border = template.width
    for span in floating:
        border = span.start
        cells[span] = Cells(data, starts + span.start if span.start else starts, widths)

    def places(at: int) -> IntArray:
        return starts + at if at < border else ends - (template.width - 1 - at)

    ones = np.ones(len(ends), np.intp)
    for span in template.levels:
        cells[span] = Cells(data, places(span.start), ones)
    for at in template.fixed_places():
        if at == template.width - 1:
            continue
        right = data.take(places(at), mode="clip") == template.row[at]
        if not right.all():
            good &= right
    return _Columns(ends, cells, good)


def _by_separators(
    template: Template, layout: Layout, data: Bytes, start: int, end: int, flagging: Flagging
) -> _Columns | None:
    """Several cells vary in width: nothing but separators, and quotes around a cell, may stand between them."""
    delimiter = layout.delimiter.encode()
    if len(delimiter) != 1:
        return None
    spans = template.cells()
    quoted = [template.row[max(span.start - 1, 0)] == _QUOTE == template.row[span.end] for span in spans]
    between = bytes(template.row[at] for at in template.fixed_places())
    if between.count(b'"') != 2 * sum(quoted):
        return None
    between = between.replace(b'"', b"")
    separators = between.rstrip(b"\r\n")
    line_end = between[len(separators) :]
    trailing = len(separators) - (len(spans) - 1)
    if line_end not in (b"\n", b"\r\n") or trailing not in (0, 1) or separators.strip(delimiter):
        return None
    stretch = data[start:end]
    if int(stretch.min()) == 0 or (template.ignored and not _plain(template, stretch)):
        return None
    marks = np.equal(stretch, _LINE_FEED, out=flagging.room(len(stretch)))
    marks |= stretch == delimiter[0]
    found = np.flatnonzero(marks)  # a level between two of them is but a byte wide
    found += start
    per_row = len(spans) + trailing
    count = len(found) // per_row
    if count == 0:
        return None
    table = found[: count * per_row].reshape(count, per_row)
    # Each row must end in a line feed and hold none before: then from the first row on all are in step.
    good = data.take(table[:, -1]) == _LINE_FEED
    for column in range(per_row - 1):
        good &= data.take(table[:, column]) != _LINE_FEED
    if not good.all():
        count = int(np.argmin(good))
        if count == 0:
            return None
        table, good = table[:count], good[:count]
    cells: dict[Span, Cells] = {}
    starts = np.empty(count, np.intp)
    starts[0] = start
    np.add(table[:-1, -1], 1, out=starts[1:])
    ends = np.ascontiguousarray(table[:, -1])
    extra = len(line_end) - 1
    if extra:
        good &= data.take(ends - 1) == _RETURN
    for place, span in enumerate(spans):
        stop = np.ascontiguousarray(table[:, place])
        widths = stop - starts
        if extra and place == per_row - 1:
            widths -= extra
        if quoted[place]:
            good &= data.take(starts) == _QUOTE
            good &= data.take(starts + widths - 1) == _QUOTE
            starts += 1
            widths -= 2
        if int(widths.min()) < 1:
            good &= widths >= 1
            np.maximum(widths, 1, out=widths)
        cells[span] = Cells(data, starts, widths)
        starts = stop + 1
    if trailing:
        good &= ends - starts == extra
    return _Columns(ends, cells, good)


def _plain(template: Template, stretch: Bytes) -> bool:
    """Whether cells that nobody reads hold no quotes, which may hide separators, and cannot start a comment."""
    first = min((span.start for span in template.ignored), default=1)
    if first == 0 and any((stretch == ord(mark[0])).any() for mark in COMMENT_MARKS):
        return False
    return not (stretch == ord('"')).any()
