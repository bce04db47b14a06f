"""How a CSV file is laid out: delimiter, header, units, which column is what.

Why it is: CSV is no format but a habit, and every exporter has its own. All guessing happens here, once, on the
first lines; what comes out is a plain :class:`Layout` that the row readers follow to the letter.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from itertools import pairwise

from pdcheck.capture.csv_above import interval_above, interval_below_its_name, unit_above
from pdcheck.capture.csv_cells import bus_value, is_number, level, number, split_row
from pdcheck.capture.csv_table import Table, delimiter_of, find_header, lost_header, voters
from pdcheck.capture.model import Role
from pdcheck.capture.names import TIME_UNITS, VALUE_UNITS, Named, give_roles, read_name
from pdcheck.errors import CaptureError, shortened

MOST_COLUMNS = 1024
_KIND_LINES = 200
_SHOWN = 60
_REPEATS = re.compile(r"(?<![^\W_])(?:repeats?|repetitions?|run[\s_-]*length|times)(?![^\W_])", re.IGNORECASE)
#: Rows of so many columns do not count by their number by chance.
_MANY_A_ROW = 4
_ONCE = 2  # more may be an accident
_ROWS_TO_TELL = 12
#: Steps that differ, and how fine a unit must be against them, so that it is no chance that they are whole in it.
_STEPS_TO_TELL, _FINE = 5, 0.1
#: "Time (x1e-6 s)" may have decimals; "Time (10 ns)" with decimals may be in another unit, and say how fine it is.
_POWERS = (1e-3, 1e-6, 1e-9)


class Kind(Enum):
    """How the cells of a column are read."""

    TIME = "time"
    LEVEL = "level"
    NUMBER = "number"
    BUS = "bus"
    IGNORED = "ignored"


@dataclass(frozen=True)
class Column:
    """A column.

    :ivar unit: ``"V"``, ``"A"`` or ``""``; ``factor`` leads to it.
    :ivar bits: of a bus column.
    :ivar may_be_number: a column of levels so far that may turn out to hold numbers.
    """

    name: str
    role: Role
    kind: Kind
    unit: str = ""
    factor: float = 1.0
    bits: int = 1
    may_be_number: bool = False


@dataclass(frozen=True)
class Layout:
    """What the row readers need to know.

    :ivar delimiter: one character; ``" "`` for runs of blanks, ``""`` for a single column.
    :ivar time_column: its place, or None where rows are counted and ``interval_s`` says how far they are apart.
    :ivar time_factor: seconds in one unit of the time column.
    :ivar header: the line that names the columns, where it stands again among the rows as the file's habit.
    :ivar unread: how many more cells a row may have that nobody reads.
    :ivar first_row: line number of the first row of data, counted from 1.
    """

    delimiter: str
    columns: tuple[Column, ...]
    time_column: int | None
    time_factor: float
    time_stated: bool
    interval_s: float | None
    first_row: int
    unread: int = 0
    header: str = ""

    def with_kind(self, place: int, kind: Kind) -> Layout:
        """The same with column ``place`` read in another way."""
        columns = list(self.columns)
        columns[place] = replace(columns[place], kind=kind, may_be_number=False)
        return replace(self, columns=tuple(columns))

    @property
    def read(self) -> int:
        """How many columns hold levels or numbers."""
        return sum(column.kind in (Kind.LEVEL, Kind.NUMBER, Kind.BUS) for column in self.columns)


def find_layout(
    lines: Sequence[str], *, path: str, roles: Mapping[Role, str], rate_hz: float | None
) -> Layout | None:
    """The layout, from the first lines of a file.

    :param lines: the first lines, without line ends.
    :returns: None where no row of data is among them yet.
    :raises CaptureError: the columns cannot be used.
    """
    delimiter = delimiter_of(lines)
    if delimiter is None:
        return None
    table = Table(lines, delimiter, voters(lines))
    if table.width > MOST_COLUMNS:
        raise CaptureError(
            f"has {table.width:,} columns; at most {MOST_COLUMNS:,} can be read",
            "export only the channels that matter", path=path, line=table.first_match + 1,
        )  # fmt: skip
    if table.first_match < 0:
        return None
    names, units, first = find_header(table)
    lost = lost_header(table) if not names and not roles else None
    if lost is not None:
        raise _lost_header(*lost, table.width, path)
    rows = [split_row(line, delimiter) for line in lines[first : first + _KIND_LINES] if line.strip()]
    rows = [row[: table.width] for row in rows if len(row) >= table.width]
    above = [line for number, line in enumerate(lines[:first]) if number != table.header]
    found = _settle(_FirstLines(
        delimiter, tuple(names), tuple(units), tuple([row[place] for row in rows] for place in range(table.width)),
        tuple(above), 1 / rate_hz if rate_hz else interval_above(above) or interval_below_its_name(lines[:first]),
        rate_hz is not None, first + 1, path,
    ), roles)  # fmt: skip
    header = lines[table.header] if table.header >= 0 else ""
    again = header and "\n".join([*lines, ""]).count(f"{header}\n") > _ONCE
    return replace(found, unread=table.unread, header=header if again else "")


@dataclass(frozen=True)
class _FirstLines:
    """The first lines, taken apart; what each column is has still to be settled.

    :ivar names: what the header calls the columns; none without a header. :ivar units: a row of them below it, if any.
    :ivar columns: the cells of some rows, by column.
    :ivar above: the lines above the rows but for the header.
    :ivar interval_s: how far samples are apart, where the file or the user says so; ``rate_given``: the user does.
    :ivar first_row: line number of the first row.
    """

    delimiter: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    columns: tuple[list[str], ...]
    above: tuple[str, ...]
    interval_s: float | None
    rate_given: bool
    first_row: int
    path: str

    @property
    def called(self) -> list[str]:
        """What the columns are called in a report."""
        names = self.names or ("",) * len(self.columns)
        return [name or _by_place(place) for place, name in enumerate(names)]

    def error(self, what: str, remedy: str) -> CaptureError:
        """These rows cannot be used."""
        return CaptureError(what, remedy, path=self.path, line=self.first_row)


def _by_place(place: int) -> str:
    return f"column {place + 1}"


def _settle(first: _FirstLines, roles: Mapping[Role, str]) -> Layout:
    """Which column is what."""
    names, columns, interval = first.called, first.columns, first.interval_s
    said = _said(first)
    kinds = [_kind(cells, named) for cells, named in zip(columns, said, strict=True)]
    counts = {place for place, named in enumerate(said) if named.is_count or _counts_rows(columns[place])}
    times = _time_columns(columns, kinds, said)
    if interval is not None:
        for place in times:
            unit = _unit_by_step(columns[place], interval) if said[place].is_time and not said[place].unit else None
            if unit is not None:
                said[place] = replace(said[place], unit="s", factor=unit)
        # Where the step is told, whole numbers without a unit count steps, whatever the column is called.
        counts |= {place for place in times if said[place].unit != "s" and _are_whole(columns[place])}
    clocks = [
        place for place in times
        if place not in counts or (said[place].is_time and (interval is None or said[place].unit == "s"))
    ]
    time_column = clocks[0] if clocks else _counted(first, said, times, counts)
    skip = frozenset(times) if time_column is not None else frozenset(counts & set(times))
    all_left_out = len(skip) == len(columns)
    if all_left_out and time_column is not None and not all(said[place].unit == "s" for place in skip):
        skip = frozenset({time_column})
    given = give_roles(names, [named.role for named in said], roles, first.path, skip=skip)
    _check_one_sample_a_row(first, counts & set(times), time_column)
    factor, stated = 1.0, True
    if time_column is not None:
        factor, stated = _seconds(first, said[time_column], by_step=interval is not None and not clocks)
    done = tuple(
        _column(names[place], given[place], said[place], Kind.TIME if place == time_column
                else Kind.IGNORED if place in skip else kinds[place], columns[place])
        for place in range(len(columns))
    )  # fmt: skip
    layout = Layout(
        first.delimiter, done, time_column, factor, stated, interval if time_column is None else None, first.first_row
    )
    if not layout.read:
        raise first.error("has a time column and no other that holds levels or volts", "export the channels too")
    return layout


def _said(first: _FirstLines) -> list[Named]:
    """What each column's name says, with the unit that stands below it."""
    said = [read_name(name) for name in first.names or ("",) * len(first.columns)]
    said = [_with_unit(named, first.units[n] if n < len(first.units) else "") for n, named in enumerate(said)]
    if first.rate_given:
        return said
    return [_with_tick(named, cells) for named, cells in zip(said, first.columns, strict=True)]


def _counted(first: _FirstLines, said: Sequence[Named], times: Sequence[int], counts: set[int]) -> int | None:
    """Where no column is a clock: the one whose numbers tell when a row was; None where it is enough to count rows.

    :raises CaptureError: there is none, and it is not known how far rows are apart.
    """
    if first.interval_s is not None:
        # A row a change, numbered by samples.
        return next((place for place in times if place in counts and not _one_by_one(first.columns[place])), None)
    # With a header, what counts rows and is called no time is none.
    found = [
        place for place in times
        if not said[place].is_count and (said[place].is_time or place not in counts or not first.names)
    ]
    if not found:
        raise _no_time(first, times)
    return found[0]


def _seconds(first: _FirstLines, named: Named, *, by_step: bool) -> tuple[float, bool]:
    """Seconds in one unit of the time column, and whether anybody says so.

    :param by_step: it counts steps, and how long one is is known.
    """
    if by_step and first.interval_s is not None:
        return first.interval_s, True
    if named.unit == "s":
        return named.factor, True
    unit = unit_above(first.above)
    return (named.factor, False) if unit is None else (unit, True)


def _check_one_sample_a_row(first: _FirstLines, counts: Iterable[int], time_column: int | None) -> None:
    """Whether rows that are counted stand for one sample each.

    :raises CaptureError: they stand for more, by a column that says how many, or by the steps of their numbers.
    """
    names, columns = first.called, first.columns
    if first.interval_s is None or (time_column is not None and time_column not in counts):
        return
    for place, name in enumerate(names):
        if _REPEATS.search(name) and _are_whole(columns[place]) and place != time_column:
            raise first.error(
                f"{_by_place(place)} ({name}) says how often a row is repeated",
                "export one row a sample, or when each change was",
            )
    for place in counts:
        steps = {int(b) - int(a) for a, b in pairwise(columns[place])} if _are_whole(columns[place]) else set()
        # Channels have names, and of these one sample in so many may have been kept.
        unnamed = all(is_number(name) or name == _by_place(n) for n, name in enumerate(names) if n != place)
        if len(names) > _MANY_A_ROW and steps == {len(names) - 1} and unnamed:
            raise first.error(
                f"each row holds {len(names) - 1} samples: their numbers ({names[place]!r}) go up by that",
                "export one row a sample",
            )


def _lost_header(place: int, cells: Sequence[str], width: int, path: str) -> CaptureError:
    said = ascii(", ".join(cells))[1:-1] if any(map(str.isspace, "".join(cells).replace(" ", ""))) else ", ".join(cells)
    what = f"the header names {len(cells)} columns ({shortened(said, _SHOWN)}) and the rows have {width}"
    if not cells:
        what = "a name in the header goes over more than one line"
    return CaptureError(
        what, "give each column its name in one line, or say which is which by number: --cc 2, --vbus 3",
        path=path, line=place + 1,
    )  # fmt: skip


def _no_time(first: _FirstLines, times: Sequence[int]) -> CaptureError:
    if len(first.columns) == 1:
        what = "has one column and no times"
    elif times:
        what = f"counts samples ({first.called[times[0]]!r}) and does not say how far they are apart"
    else:
        what = "has no column of rising times"
    return first.error(what, "give the sample rate with --rate HZ, or export with times")


def _with_unit(named: Named, unit: str) -> Named:
    """A name and the unit that stands in a row of its own below it."""
    unit = unit.lower()
    if not unit or named.unit:
        return named
    if unit in TIME_UNITS and (named.is_time or named.role is Role.OTHER):
        return replace(named, unit="s", factor=TIME_UNITS[unit], is_time=True, is_count=False)
    if unit in VALUE_UNITS:
        base, factor = VALUE_UNITS[unit]
        role = Role.CURRENT if base == "A" else named.role
        return replace(named, unit=base, factor=factor, role=role, is_time=False)
    return named


def _with_tick(named: Named, cells: Sequence[str]) -> Named:
    """A name that says how long one of its counts is, as a time in that unit."""
    if named.tick_s is None or named.unit or not (_are_whole(cells) or named.tick_s in _POWERS):
        return named
    return replace(named, unit="s", factor=named.tick_s, is_time=True, is_count=False)


def _kind(cells: Sequence[str], named: Named) -> Kind:
    """What the cells are, by majority: one broken cell must not hide a column."""
    if named.is_time:
        return Kind.NUMBER
    counts = Counter(cell for cell in cells if cell)
    total = counts.total()
    if not total:
        return Kind.IGNORED
    need = (total + 1) // 2
    levels = sum(count for cell, count in counts.items() if level(cell) is not None)
    if levels == total and named.unit not in ("V", "A"):
        return Kind.LEVEL
    numbers = sum(count for cell, count in counts.items() if is_number(cell))
    if named.unit in ("V", "A") and numbers >= need:
        return Kind.NUMBER
    if levels == total:
        return Kind.LEVEL
    # Digits 0 and 1 alone make a bus where most are of one width; with a mark (0x, h, 0b) any width will do.
    widths: Counter[int] = Counter()
    for cell, count in counts.items():
        if bus_value(cell) is not None:
            widths[len(cell) if not cell.strip("01") else 0] += count
    buses = max(widths.values(), default=0)
    ones_and_zeros = sum(count for cell, count in counts.items() if len(cell) > 1 and not cell.strip("01"))
    if buses >= total - total // 20 and numbers - ones_and_zeros < total:
        return Kind.BUS
    if levels >= max(need, numbers - total // 20):
        return Kind.LEVEL
    if numbers >= need:
        return Kind.NUMBER
    return Kind.BUS if buses >= need else Kind.IGNORED


def _column(name: str, role: Role, named: Named, kind: Kind, cells: Sequence[str]) -> Column:
    unit, factor = (named.unit, named.factor) if named.unit in ("V", "A") else ("", 1.0)
    if kind is Kind.IGNORED and role is not Role.OTHER:
        kind = Kind.LEVEL  # so that the row reader says what is wrong with its cells
    decimals = 2 * sum("." in cell or "," in cell for cell in cells) > len(cells)
    may_be_number = kind is Kind.LEVEL and (decimals or role in (Role.VBUS, Role.CURRENT))
    bits = 1
    if kind is Kind.BUS:
        bits = max(found[1] for found in map(bus_value, cells) if found is not None)
    return Column(name, role, kind, unit, factor, bits, may_be_number)


def _numbers(cells: Sequence[str]) -> list[float]:
    return [number(cell) for cell in cells if is_number(cell)]


def _time_columns(columns: Sequence[Sequence[str]], kinds: Sequence[Kind], said: Sequence[Named]) -> list[int]:
    """The columns that can be times, the likeliest first."""
    scored: list[tuple[int, int]] = []
    named_time = any(named.is_time for named in said)
    for place, (cells, kind, named) in enumerate(zip(columns, kinds, said, strict=True)):
        if named.is_time or named.is_count:
            scored.append((-4 * named.is_time - 2 * (named.unit == "s"), place))
        elif not named_time and kind in (Kind.NUMBER, Kind.LEVEL, Kind.BUS) and named.role is Role.OTHER:
            values = _numbers(cells)
            if named.unit not in ("V", "A") and _rises(values) and (kind is Kind.NUMBER or len(values) <= 2):
                scored.append((1, place))
    return [place for _, place in sorted(scored)]


def _rises(values: Sequence[float]) -> bool:
    """Never falls but for a stray value, and rises more often than it stands."""
    steps = [b - a for a, b in pairwise(values)]
    ups, downs = sum(step > 0 for step in steps), sum(step < 0 for step in steps)
    return ups > 0 and downs <= len(steps) // 10 and (2 * ups > len(steps) or len(set(values)) > 2)


def _are_whole(cells: Sequence[str]) -> bool:
    return bool(cells) and all(cell.isascii() and cell.isdigit() for cell in cells)


def _unit_by_step(cells: Sequence[str], interval_s: float) -> float | None:
    """The unit in which whole numbers are times rather than counts of steps; None where they may count steps.

    Times of samples are whole steps apart, as nearly as the unit lets them be; counts would be so by chance only.
    """
    if len(cells) < _ROWS_TO_TELL or not _are_whole(cells):
        return None
    apart = {int(b) - int(a) for a, b in pairwise(cells)}
    for unit in (1e-9, 1e-6, 1e-3):
        share = unit / interval_s
        steps = {round(units * share) for units in apart}
        if share > _FINE or (steps != {1} and len(apart) < _STEPS_TO_TELL):
            continue
        if all(abs(units * share - round(units * share)) <= 1.01 * share for units in apart):
            return unit
    return None


def _one_by_one(cells: Sequence[str]) -> bool:
    return len(cells) < 2 or not _are_whole(cells) or all(int(b) - int(a) == 1 for a, b in pairwise(cells))


def _counts_rows(cells: Sequence[str]) -> bool:
    """Whole numbers, one more a row."""
    if len(cells) < 3 or not all(cell.isascii() and cell.isdigit() and len(cell) < 18 for cell in cells):
        return False
    values = [int(cell) for cell in cells]
    return values[0] in (0, 1) and all(b - a == 1 for a, b in pairwise(values))
