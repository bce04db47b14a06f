"""Rows of a CSV file, a block at a time: what every row reader hands on, and the careful reader.

Why it is: there are fast ways through a block, each for rows of a certain look, and one careful way that reads
cell by cell. The careful one defines what a file means and alone says what is wrong with a row; a fast one that
meets anything unexpected steps aside for it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import FloatArray, IntArray
from pdcheck.capture.csv_cells import (
    bus_value,
    decoded,
    is_missing,
    is_number,
    is_out_of_range,
    level,
    number,
    plain_parts,
    quantum,
    split_row,
    strip_comment,
    whole_and_part,
)
from pdcheck.capture.csv_layout import Kind, Layout
from pdcheck.capture.csv_table import is_rule
from pdcheck.capture.model import Role
from pdcheck.capture.waves import ReadValues, Values
from pdcheck.errors import CaptureError, shortened

NO_ROWS: IntArray = np.empty(0, np.intp)
LAST_ROWS = 16
"""How many of a block's last times show how finely they are printed."""

_MOST_EMPTY_LINES = 100_000
#: What may stand in a line that has no cells: blanks, separators, marks of pages and of the file's end.
_NO_CELL = "\r\t \x1a,;\f"
_SPOT_CHECK = 512
#: "Total rows: 420000", "End of data". What is cut off of a row begins as the row does.
_FOOTER = re.compile(
    r'\s*"?(?=[^\W\d_]{3})(?:[^\W\d_]+[ _])*[^\W\d_]+(?:[.!]|\s*[:=][^"]{0,200})?"?[\s,;]*'
)
_ANOTHER_TABLE = (
    "if another table begins here, export it to a file of its own; else correct or delete this row, or export again"
)
_DURATION = re.compile(r"(?<![^\W_])(?:delta|duration|dt|diff|difference|interval|width|length|[Δ∆]t?)(?![^\W_])", re.I)
# Rows looked at where times go backwards; so many falls, one in so many rows, are no stray row. Our own choice.
_MOST_LOOKED_AT, _MANY_FALLS, _OFTEN = 400, 4, 6
MOST = 1e30  # what is larger is no reading
_MARKED = (9.89e37, 9.92e37)  # 9.9E+37 is what SCPI has instruments say for a reading out of range; from memory
MOST_WHOLE = 1 << 62  # what other readers hold in 64 bits


@dataclass(frozen=True, eq=False)
class RowBlock:
    """Some rows in a row.

    :ivar rows: how many.
    :ivar lines: how many lines of the file they came from.
    :ivar changed: the rows (counted in this block) where a level may differ from the row before; the first row
        of the file is among them.
    :ivar levels: uint8, a row a level lane, a column an entry of ``changed``.
    :ivar numbers: for each number column, the values of all rows.
    :ivar times: times of some rows, in the file's unit from its first row. Empty where rows are only counted.
    :ivar quanta: the weights of the last printed digits of some rows' times.
    :ivar spots: rows spread over the block whose times cost little to ask for; the last row is among them. Empty
        where rows are only counted, as ``finest`` and ``last_time`` are zero.
    :ivar finest: the weight of the finest last digit among the last few times: others may have lost trailing zeros.
    :ivar last_time: the last row's time.
    """

    rows: int
    lines: int
    changed: IntArray
    levels: NDArray[np.uint8]
    numbers: tuple[Values, ...]
    times: Callable[[IntArray], FloatArray]
    quanta: Callable[[IntArray], FloatArray]
    spots: IntArray
    finest: float
    last_time: float


@dataclass
class Place:
    """Where in the file the reading stands.

    :ivar line: number of the next line, counted from 1.
    :ivar rows: rows read.
    :ivar origin: the first row's time as a whole number and a rest; None before it.
    :ivar last_time: the last row's time, from the first row's, in the file's unit.
    :ivar empty_lines: lines without data so far; too many of them are no capture.
    """

    line: int
    rows: int = 0
    origin: tuple[int, float] | None = None
    last_time: float = 0.0
    empty_lines: int = 0


def spread(rows: int) -> IntArray:
    """All rows of a small block, every 512th of a larger one and its last."""
    if rows <= 4 * _SPOT_CHECK:
        return np.arange(rows)
    return np.append(np.arange(0, rows - 1, _SPOT_CHECK), rows - 1)


class NotALevel(Exception):
    """A column of levels turns out to hold numbers."""

    def __init__(self, place: int) -> None:
        self.place = place


class OutOfRange(Exception):
    """A column holds what an instrument prints for a reading out of its range."""

    def __init__(self, place: int, error: CaptureError) -> None:
        self.place = place
        self.error = error


@dataclass(frozen=True)
class Lane:
    """A digital line of the file: a column of levels, or one bit of a bus column."""

    place: int
    bit: int


def lanes_of(layout: Layout) -> list[Lane]:
    """The digital lines of a layout, in the order of the file; a bus from its lowest bit."""
    out: list[Lane] = []
    for place, column in enumerate(layout.columns):
        if column.kind is Kind.LEVEL:
            out.append(Lane(place, 0))
        elif column.kind is Kind.BUS:
            out.extend(Lane(place, bit) for bit in range(column.bits))
    return out


class CarefulReader:
    """Reads rows cell by cell, and says what is wrong with one."""

    def __init__(self, layout: Layout, path: str) -> None:
        self._layout = layout
        self._path = path
        # Some repeat it on every page.
        self._header = layout.header.strip(_NO_CELL)
        self._lanes = lanes_of(layout)
        self._levels = [place for place, column in enumerate(layout.columns) if column.kind is Kind.LEVEL]
        self._buses = [place for place, column in enumerate(layout.columns) if column.kind is Kind.BUS]
        self._numbers = [place for place, column in enumerate(layout.columns) if column.kind is Kind.NUMBER]
        self._known: dict[tuple[str, ...], tuple[int, ...]] = {}

    def read(
        self, text: bytes, place: Place, *, terminated: bool, before: bytes = b"", last_of_file: bool = False
    ) -> RowBlock:
        """Read whole lines.

        :param text: the lines; the last one may lack its line end.
        :param place: where they begin; not changed but for its counter of empty lines.
        :param terminated: False where the file ends in the last line without a line end, so that it may be cut.
        :param before: the line above them.
        :param last_of_file: nothing follows them. The last may then be a line in words about the rows.
        :raises CaptureError: a row is broken.
        :raises NotALevel: a column of levels that may be numbers is.
        :raises OutOfRange: a column of numbers holds none.
        """
        lines = decoded(text).split("\n")
        if terminated:
            lines.pop()
        origin = place.origin
        last = place.last_time
        wanted = self._layout.time_column
        times: list[float] = []
        levels: list[tuple[int, ...]] = []
        values: list[list[float]] = [[] for _ in self._numbers]
        time_cells: list[str] = []
        for offset, line in enumerate(lines):
            at = place.line + offset
            cells = self._cells(line, place, at)
            if cells is None:
                continue
            cut = not terminated and offset == len(lines) - 1
            if cut and self._is_cut(cells, lines[offset - 1] if offset else decoded(before)):
                break
            if last_of_file and self._is_footer(line, cells) and not any(map(str.strip, lines[offset + 1 :])):
                break
            if len(cells) != len(self._layout.columns):
                raise self._wrong_count(cells, at)
            if wanted is not None:
                time_cell = cells[wanted]
                parts = plain_parts(time_cell)
                if parts is None:
                    self._check_number(time_cell, wanted, at)
                    parts = whole_and_part(time_cell)
                whole, part = parts
                if abs(whole) >= MOST_WHOLE:
                    raise self._bad(time_cell, wanted, at, "not a usable number")
                if origin is None:
                    origin = (whole, part)
                now = (whole - origin[0]) + (part - origin[1])
                if now < last and (place.rows or times):
                    raise self._backwards(time_cell, wanted, at, lines)
                last = now
                times.append(now)
                time_cells.append(time_cell)
            levels.append(self._row_levels(cells, at))
            for column, into in zip(self._numbers, values, strict=True):
                into.append(self._value(cells[column], column, at, into))
        rows = len(levels)
        place.origin = origin
        kept = np.array(times)
        finest = min(map(quantum, time_cells[-LAST_ROWS:]), default=0.0)
        return RowBlock(
            rows=rows,
            lines=len(lines),
            changed=np.arange(rows),
            levels=np.array(levels, np.uint8).reshape(rows, len(self._lanes)).T,
            numbers=tuple(ReadValues(np.array(column)) for column in values),
            times=lambda which: kept[which],
            quanta=lambda which: np.array([quantum(time_cells[row]) for row in which.tolist()]),
            spots=np.arange(rows) if times else np.empty(0, np.intp),
            finest=finest,
            last_time=times[-1] if times else 0.0,
        )

    def _cells(self, line: str, place: Place, at: int) -> list[str] | None:
        """The cells of a row; None for a line that is none."""
        if not line[:1].isdigit() and self._is_no_row(line):
            place.empty_lines += 1
            if place.empty_lines > _MOST_EMPTY_LINES:
                raise CaptureError(
                    f"holds more than {_MOST_EMPTY_LINES:,} lines without data", "export the capture again",
                    path=self._path, line=at,
                )  # fmt: skip
            return None
        cells = split_row(line, self._layout.delimiter)
        width = len(self._layout.columns)
        while len(cells) > width and (not cells[-1] or len(cells) <= width + self._layout.unread):
            cells.pop()
        return cells

    def _is_no_row(self, line: str) -> bool:
        bare = line.strip(_NO_CELL)
        if not bare or strip_comment(line) is not None:
            return True
        return bare == self._header or is_rule(bare)

    def _is_footer(self, line: str, cells: list[str]) -> bool:
        wanted = self._layout.time_column
        is_row = len(cells) == len(self._layout.columns) and (wanted is None or is_number(cells[wanted]))
        return not is_row and _FOOTER.fullmatch(line) is not None

    def _is_cut(self, cells: list[str], before: str) -> bool:
        """Whether the file's last line, which has no line end, is the beginning of a row only."""
        columns = self._layout.columns
        if len(cells) < len(columns) or not all(cells):
            return True
        earlier = split_row(before, self._layout.delimiter)
        if len(earlier) < len(columns) or len(cells) > len(columns):
            return False
        kind = columns[-1].kind
        shorter = len(cells[-1]) < len(earlier[len(columns) - 1])
        if kind in (Kind.NUMBER, Kind.TIME, Kind.BUS):
            return shorter
        return kind is Kind.LEVEL and shorter and level(cells[-1]) is None

    def _row_levels(self, cells: list[str], at: int) -> tuple[int, ...]:
        key = tuple([cells[place] for place in self._levels] + [cells[place] for place in self._buses])
        known = self._known.get(key)
        if known is None:
            known = tuple(self._lane_level(cells, lane, at) for lane in self._lanes)
            if len(self._known) < 4096:
                self._known[key] = known
        return known

    def _lane_level(self, cells: list[str], lane: Lane, at: int) -> int:
        cell, column = cells[lane.place], self._layout.columns[lane.place]
        if column.kind is Kind.BUS:
            found = bus_value(cell)
            if found is None:
                raise self._bad(cell, lane.place, at, "not a bus value")
            if found[0] >> column.bits:
                raise self._bad(cell, lane.place, at, f"wider than the {column.bits} bits of the rows above")
            return found[0] >> lane.bit & 1
        said = level(cell)
        if said is None:
            if column.may_be_number and is_number(cell):
                raise NotALevel(lane.place)
            if (column.may_be_number or column.unit) and is_out_of_range(cell):
                raise self._out_of_range(cell, lane.place, at)
            raise self._bad(cell, lane.place, at, "not a level (0 or 1)")
        return said

    def _value(self, cell: str, place: int, at: int, before: list[float]) -> float:
        if not cell and self._layout.columns[place].role is Role.OTHER:
            return before[-1] if before else 0.0
        if is_out_of_range(cell) or (is_number(cell) and _MARKED[0] <= abs(number(cell)) <= _MARKED[1]):
            raise self._out_of_range(cell, place, at)
        self._check_number(cell, place, at)
        return number(cell)

    def _check_number(self, cell: str, place: int, at: int) -> None:
        if not is_number(cell):
            raise self._bad(cell, place, at, "not a number")
        if len(cell) > 40 or not abs(number(cell)) < MOST:
            raise self._bad(cell, place, at, "not a usable number")

    def _backwards(self, cell: str, place: int, at: int, lines: Sequence[str]) -> CaptureError:
        """Rows in disorder, or a column of something else that is measured in time?

        :param lines: rows around it.
        """
        name = self._layout.columns[place].name
        said = f"time goes backwards, to {cell!r}"
        rows = [split_row(line, self._layout.delimiter) for line in lines[:_MOST_LOOKED_AT]]
        values = [number(row[place]) for row in rows if len(row) > place and is_number(row[place])]
        falls = sum(later < earlier for earlier, later in pairwise(values))
        if _DURATION.search(name) or (falls >= _MANY_FALLS and _OFTEN * falls > len(values)):
            return CaptureError(
                f"{said}; column {place + 1} ({name}) may hold durations",
                "export when each row was, counted from the start of the capture, in order", path=self._path, line=at,
            )  # fmt: skip
        return CaptureError(
            said, "export the capture again; rows out of order or edited cannot be judged", path=self._path, line=at
        )

    def _out_of_range(self, cell: str, place: int, at: int) -> OutOfRange:
        return OutOfRange(place, self._bad(
            cell, place, at, "what an instrument prints for a reading out of its range",
            "set a larger range and capture again, or export without this column",
        ))  # fmt: skip

    def _bad(
        self, cell: str, place: int, at: int, why: str, remedy: str = "correct or delete this row, or export again"
    ) -> CaptureError:
        shown = shortened(cell, 30)
        what = f"{shown!r} in column {place + 1} ({self._layout.columns[place].name}) is {why}"
        if not cell:
            what = f"column {place + 1} ({self._layout.columns[place].name}) is empty"
        elif self._layout.columns[place].kind is Kind.LEVEL and is_number(cell) and place != self._layout.time_column:
            remedy = "export levels as 0 and 1, or volts with their unit in the header; or correct or delete this row"
        elif is_missing(cell):
            remedy = "export a value in each row, or without this column"
        elif place == self._layout.time_column and cell[0].isalpha():
            remedy = _ANOTHER_TABLE
        elif self._layout.columns[place].role is Role.OTHER and self._layout.read > 1:
            remedy += ", without this column if it is no channel"
        return CaptureError(what, remedy, path=self._path, line=at)

    def _wrong_count(self, cells: Sequence[str], at: int) -> CaptureError:
        count, expected = len(cells), len(self._layout.columns)
        return CaptureError(
            f"the row has {count} column{'s' * (count != 1)} where {expected} are expected",
            _ANOTHER_TABLE if cells[0][:1].isalpha() else "correct or delete this row, or export again",
            path=self._path, line=at,
        )  # fmt: skip
