"""The first lines of a CSV file as a table: how they split, which look like rows, which is the header.

Why it is: before anything can be said of columns it must be known what separates them and where the rows begin; the
rows themselves tell, for there are many of them and they are alike.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import pairwise

from pdcheck.capture.csv_cells import (
    DELIMITERS,
    bus_value,
    is_missing,
    is_number,
    is_out_of_range,
    level,
    split_row,
    strip_comment,
)
from pdcheck.capture.model import Role
from pdcheck.capture.names import TIME_UNITS, VALUE_UNITS, read_name

_VOTING_LINES = 30
#: "TIMEBASE=0.25uS" says something of the file and names no column.
_KEY_AND_NUMBER = re.compile(r"[A-Za-z)]\s*[=:]\s*[+-]?[0-9.]")
#: Cells so short are asked about more than once, and cost little to keep in mind.
_SHORT = 40
#: What stands in the place of a unit where there is none.
_NO_UNIT = frozenset({"", "-", "--", "1", "bool", "bit", "logic", "level", "digital"})
_DRAWN = re.compile(r"[-=]{2}")
_SECTION = re.compile(r"\s*\[[^\[\],;]*\]\s*")
#: A header stands in so many lines above the rows, or among so many at the top. Our own choice.
_NEAR, _TOP = 12, 40


def delimiter_of(lines: Sequence[str]) -> str | None:
    """What separates the cells, ``""`` where there is one column only; None where no line holds a value."""
    voting = voters(lines)
    votes = {candidate: vote(voting, candidate, is_plain) for candidate in DELIMITERS}
    delimiter = max(votes, key=lambda candidate: votes[candidate])
    if votes[delimiter] > 0:
        return delimiter
    return "" if any(is_plain(split_row(line, "")[0]) for line in voting) else None


def voters(lines: Sequence[str]) -> list[str]:
    """The lines that are asked: some of the first and some of the last, without comments."""
    asked = (*lines[:_VOTING_LINES], *lines[_VOTING_LINES:][-_VOTING_LINES:])
    return [line for line in asked if line.strip() and strip_comment(line) is None]


def is_rule(line: str) -> bool:
    """A line that is drawn between header and rows, or around them."""
    # No pattern for the whole of it: one with two repeats takes squared time on a long line of dashes.
    return not line.strip(" \t\r|+:=_-") and _DRAWN.search(line) is not None


def is_plain(cell: str) -> bool:
    """A number, a level or the value of a bus, as the row readers know them; or a word for a reading out of range."""
    return _is_plain(cell) if len(cell) <= _SHORT else _is_plain.__wrapped__(cell)


@lru_cache(maxsize=1024)
def _is_plain(cell: str) -> bool:
    known = is_number(cell) or level(cell) is not None or bus_value(cell) is not None
    known = known or (bool(cell) and is_missing(cell))
    # A rule of dashes is none.
    return known or (is_out_of_range(cell) and cell[-1:] not in "-*")


def vote(lines: Sequence[str], delimiter: str, known: Callable[[str], bool]) -> float:
    """How well the lines split into cells that are known: full votes for lines of nothing else."""
    total = 0.0
    for line in lines:
        if delimiter not in line and delimiter != " ":
            continue
        cells = split_row(line, delimiter)
        while cells and not cells[-1]:
            cells.pop()
        good = sum(map(known, cells))
        if good >= 2:
            total += good / len(cells)
    return total


class Table:
    """The lines as cells, and the first one that looks like the rows do.

    :ivar width: columns of most rows, a trailing empty one not counted.
    :ivar first_match: place of the first line like most rows; -1 where none is.
    :ivar header: place of the header; -1 before it is found, or where there is none.
    :ivar unread: columns beyond these that the header names and most rows leave empty, or that are words beside it.
    """

    def __init__(self, lines: Sequence[str], delimiter: str, voters: Sequence[str]) -> None:
        self.lines = lines
        self.delimiter = delimiter
        self.header = -1
        self.unread = 0
        shapes = Counter(shape for shape in map(self.shape, voters) if sum(shape) >= min(2, len(shape)) and any(shape))
        self.pattern: tuple[bool, ...] = max(
            shapes, key=lambda shape: (shapes[shape] * sum(shape) / len(shape), len(shape)), default=()
        )
        self.width = len(self.pattern)
        self.first_match = -1
        for place, line in enumerate(lines):
            if line.strip() and strip_comment(line) is None and self.shape(line) == self.pattern:
                self.first_match = place
                break

    def cells(self, line: str) -> list[str]:
        """The cells, trailing empty ones dropped."""
        cells = split_row(line, self.delimiter)
        while cells and not cells[-1]:
            cells.pop()
        return cells

    def shape(self, line: str) -> tuple[bool, ...]:
        """Which cells hold values."""
        return tuple(map(is_plain, self.cells(line)))


def find_header(table: Table) -> tuple[list[str], list[str], int]:
    """Names and units of the columns (empty where there are none), and the place of the first row."""
    best: tuple[int, list[str], int] | None = None
    best_known = -1
    near = range(table.first_match - 1, max(-1, table.first_match - _NEAR), -1)
    # Behind many rows that are not like most, a header stands at the top.
    for place in (*near, *range(min(_TOP, table.first_match - _NEAR + 1))):
        line = table.lines[place]
        bare = strip_comment(line)
        # "#" may be the name of a column that counts, and then it is no comment mark.
        counting = line.lstrip(' "')[:1] == "#" and bare is not None and bare[:1].strip('"') in DELIMITERS[:4]
        found = _header_cells(table, line if bare is None or counting else bare) if line.strip() else None
        if found is None:
            continue
        cells, beside = found
        units_only = all(cell == "" or _bare_unit(cell) for cell in cells)
        if units_only and len(cells) > 1 and not any(cell in ("t", "x") for cell in cells):
            continue
        known = sum(
            named.is_time or named.is_count or named.role is not Role.OTHER for named in map(read_name, cells)
        )
        if known == 0 and (not cells[0] or place not in near):
            continue
        if known > best_known:  # of two that say as much, the nearer one
            best, best_known = (place, cells, beside), known
    if best is None:
        return [], [], table.first_match
    table.header, names, beside = best
    beyond = list(map(read_name, names[table.width :]))
    # A voltage that comes late is not to be passed over without a word.
    table.unread = 0 if any(named.role is not Role.OTHER or named.unit for named in beyond) else len(beyond)
    table.unread = max(table.unread, beside)
    names = names[: table.width]
    units: list[str] = []
    first = table.header + 1
    for place in range(table.header + 1, table.first_match):
        line = table.lines[place]
        cells = table.cells(line)
        own, beyond_these = cells[: table.width], cells[table.width :]
        if any(map(_bare_unit, cells)) and all(cell == "" or _no_name(cell) for cell in cells) and not units:
            units = [cell.strip("[]() ") for cell in cells]
            first = place + 1
        elif beyond_these and any(map(_bare_unit, own)) and not any(map(is_number, own)) and not units:
            # "Sequence,Volt,-1.0e-03,2.5e-07": units, and beyond them what the file has but one value of.
            units = [cell.strip("[]() ") for cell in own]
            first = place + 1
        elif not line.strip() or strip_comment(line) is not None or is_rule(line) or _SECTION.fullmatch(line):
            first = place + 1
        elif cells and cells[0][:1].isalpha() and best_known > 1 and not any(map(is_plain, cells)):
            first = place + 1  # more words about columns that have their names
        elif cells and cells[0][:1].isalpha() and not any(map(_counts_or_times, names)):
            # Words follow that are no row: this was a key and its value, and what names columns is not there.
            table.header = -1
            return [], [], table.first_match
        else:
            break  # a row that is not like the others: it is data, and the row reader says what is wrong with it
    return names, units, first


def _counts_or_times(name: str) -> bool:
    named = read_name(name)
    return named.is_time or named.is_count


def _no_name(cell: str) -> bool:
    return _bare_unit(cell) or cell.strip("[](){} ").lower() in _NO_UNIT


def _bare_unit(cell: str) -> bool:
    unit = cell.strip("[](){} ").lower()
    return unit in TIME_UNITS or unit in VALUE_UNITS


def _header_cells(table: Table, line: str) -> tuple[list[str], int] | None:
    """The line as a header of the table's width, or of that of its rows with their empty cells; None if it is none.

    And how many cells stand beside it that are no names.
    """
    if table.width == 1 and _KEY_AND_NUMBER.search(line):
        return None
    row = table.lines[table.first_match]
    bare = line.strip()
    if bare.count('"') == 2 and bare[0] == bare[-1] == '"':
        line = bare[1:-1]  # the whole line is one cell to whoever wrote it
    # A line that the rows' own mark splits is not split at another: "Sample Interval,2.5e-07" is no two names.
    own = table.delimiter.strip() and len(split_row(line, table.delimiter)) > 1
    for delimiter in (table.delimiter,) if own else dict.fromkeys((table.delimiter or ",", *DELIMITERS)):
        cells = split_row(line, delimiter)
        if delimiter == " ":
            cells = _joined_brackets(cells)
        while len(cells) > table.width and not cells[-1]:
            cells.pop()
        fits = len(cells) == table.width or (
            len(cells) > table.width and delimiter == table.delimiter and len(split_row(row, delimiter)) == len(cells)
        )
        if len(cells) > table.width and not cells[table.width] and all(cells[: table.width]) and not fits:
            # Words about the file stand beside its first rows.
            beside, cells, fits = len(cells) - table.width, cells[: table.width], True
        else:
            beside = 0
        if fits and any(cells) and not is_number(cells[0]) and not _mostly_values(cells):
            return cells, beside
        if len(cells) == table.width - 1 > 1 and not _mostly_values(cells) and _are_numbered(table):
            return ["#", *cells], 0
        if table.width == 1 and delimiter == (table.delimiter or ","):
            whole = line.strip().strip('"')
            return ([whole], 0) if whole and not is_plain(whole) else None
    return None


def _are_numbered(table: Table) -> bool:
    """Whether the rows begin with their numbers, as in "12: 0.000003 1", for which a header may have no name."""
    rows = [row for row in map(table.cells, table.lines[table.first_match :][:_VOTING_LINES]) if row]
    counts = [row[0].strip("#:.)([]") for row in rows if len(row) == table.width]
    whole = [int(count) for count in counts if count.isascii() and count.isdigit() and len(count) < _SHORT]
    return len(whole) == len(counts) > 2 and all(after - before == 1 for before, after in pairwise(whole))


def lost_header(table: Table) -> tuple[int, list[str]] | None:
    """Where no header was found: the place and the cells of a line that names columns, but not as many as there are.

    No cells where a quote is not closed in the line.
    """
    for place, line in enumerate(table.lines[: min(table.first_match, _TOP)]):
        bare = strip_comment(line)
        if bare is None and line.count('"') % 2 and (line[0] == '"' or table.delimiter + '"' in line):
            return place, []
        cells = list(filter(None, split_row(line if bare is None else bare, table.delimiter)))
        said = list(map(read_name, cells))
        named = sum(one.role is not Role.OTHER for one in said)
        if 1 < len(cells) != table.width and named and named + any(one.is_time or one.is_count for one in said) > 1:
            return place, cells
    return None


def _mostly_values(cells: Sequence[str]) -> bool:
    """More than channel numbers as names."""
    return any(is_number(cell) and not (cell.isdigit() and len(cell) < 4) for cell in cells)


def _joined_brackets(cells: list[str]) -> list[str]:
    """``["Time", "[s]"]`` as one cell."""
    out: list[str] = []
    for cell in cells:
        if out and cell[:1] in "[(":
            out[-1] += " " + cell
        else:
            out.append(cell)
    return out
