"""Cells that say more than their value: ``1.5 us``, ``1,234.567``, ``14:59:59.000250``, ``5'b00101``, ``'0'``. And
cells that say nothing where nothing has changed.

Why it is: such cells are rare, and each of the readers of rows is fast because it knows plain numbers only. So they
are made plain here, line by line, before anybody else sees them; a file without them passes untouched. What a cell
means is settled by its column, for ``999,999`` is a thousand times more beside ``1,000,000`` than beside ``1,5``.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from pdcheck.capture.csv_cells import (
    DELIMITERS,
    bus_value,
    decoded,
    is_number,
    joined,
    level,
    split_row,
    strip_comment,
)
from pdcheck.capture.csv_habits import Habit, habit_of
from pdcheck.capture.csv_same_dress import Dress, SameDress, number_body
from pdcheck.capture.csv_table import is_plain, vote
from pdcheck.capture.names import TIME_UNITS, VALUE_UNITS, read_name
from pdcheck.capture.pieces import Dealt

Fill = Callable[[memoryview], int]

HEAD = 1 << 20
"""How much of a file is looked at to see what its cells wear."""

_PIECE = 1 << 18
_ASKED = 40
_QUICKLY = 1 << 12
_CLEARLY_MORE = 1.02
_HALF_A_DAY_S = 43_200
_SPACES = " \u00a0\u2009\u202f"
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"
_WITH_UNIT = re.compile(rf"({_NUMBER})(?:[eEdD]([+-]?\d{{1,4}}))?[{_SPACES}]?([A-Za-zµμ]{{1,12}})")
_PREFIXES = {"k": 1e3, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9, "p": 1e-12}
_LOOSE_EXPONENT = re.compile(rf"({_NUMBER}) ?[eEdD]([+-]?\d{{1,4}})")
_CLOCK = re.compile(
    r"(?:[\w./-]{6,12}[T\s]\s*)?(?:(\d{1,3}):)?(\d{1,2}):(\d{1,2})((?:[.,:]\d+)*)\s*([AaPp][Mm])?(?:Z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_HEXADECIMAL = re.compile(r"(?:(\d{1,2})?'[hH]|\$|#|&[hH])([0-9a-fA-F]{1,16})")
_BINARY = re.compile(r"(?:(\d{1,2})?'[bB]|[bB]|%)([01]{1,64})|([01]{2,64})[bB]|([01]{1,32}(?: [01]{1,32})+)")
_BUS_NAME = re.compile(
    r"(?<![^\W_])(?:bus|port|pod|digital|parallel|gpio|pins)(?![^\W_])|\[\d+\s*(?::|-|\.\.)\s*\d+\]", re.IGNORECASE
)
#: Of a decimal number that is a bus of no more than 32 bits.
_MOST_DIGITS = 9
_BARE_HEXADECIMAL = re.compile(r"[0-9a-fA-F]{2,16}")
_GROUPED = tuple(
    (mark, re.compile(rf"[+-]?\d{{1,3}}(?:{mark}\d{{3}})+(?:[{points}]\d*)?"))
    for mark, points in ((",", "."), ("[.]", ","), ("['’]", ".,"), ("_", ".,"), (f"[{_SPACES}]", ".,"))
)
# Digits grouped once, without a point as well, may be a decimal fraction; these are grouped for sure.
_SURELY_GROUPED = tuple(
    (mark, re.compile(
        rf"[+-]?\d{{1,3}}(?:(?:{mark}\d{{3}}){{2,}}(?:[{points}]\d*)?|(?:{mark}\d{{3}})+[{points}]\d+"
        + ("|" + rf"{mark}\d{{3}}" if points == ".," else "") + ")"
    ))
    for mark, points in ((",", "."), ("[.]", ","), ("['’]", ".,"), ("_", ".,"), (f"[{_SPACES}]", ".,"))
)  # fmt: skip


def undressed(head: memoryview, fill: Fill, *, ended: bool) -> Fill | None:
    """The same text with plain cells; None where its cells are plain.

    Lines stay the lines they were.

    :param head: up to ``HEAD`` bytes of the text.
    :param fill: fills its target with what follows, and gives less only at the end.
    :param ended: nothing follows.
    """
    columns = _find(head, ended=ended)
    if columns is not None:
        return Dealt(_Undressing(bytes(head), fill, *columns).pieces()).readinto
    first, whole = bytes(head[: 1 << 16]), ended and len(head) <= 1 << 16
    few = _lines(first[:_QUICKLY], whole=whole and len(first) <= _QUICKLY)
    habit = habit_of(few, first, lambda: _lines(first, whole=whole))
    if habit is None:
        return None
    return Dealt(_Undressing(bytes(head), fill, habit.delimiter, {}, habit.width, habit).pieces()).readinto


class _Again:
    """The head, then the rest."""

    def __init__(self, head: bytes, fill: Fill) -> None:
        self._head = memoryview(head)
        self._fill = fill

    def readinto(self, target: memoryview) -> int:
        got = min(len(self._head), len(target))
        if got:
            target[:got] = self._head[:got]
            self._head = self._head[got:]
        return got + self._fill(target[got:]) if got < len(target) else got


class _Undressing:
    """The text with plain cells."""

    def __init__(
        self, head: bytes, fill: Fill, delimiter: str, columns: dict[int, _Column], width: int,
        habit: Habit | None = None,
    ) -> None:
        self._habit = habit
        self._fill = _Again(head, fill).readinto
        self._delimiter = delimiter
        self._columns = columns
        self._width = width
        self._same: SameDress | None = None

    def pieces(self) -> Iterator[bytes]:
        """The text, some whole lines at a time."""
        room = memoryview(bytearray(_PIECE))
        rest, ended = b"", False
        while not ended:
            size = self._fill(room)
            ended = size < len(room)
            text = rest + bytes(room[:size])
            end = len(text) if ended or len(text) > HEAD else text.rfind(b"\n") + 1
            rest = text[end:]
            yield self._plain(decoded(text[:end]), ended=ended).encode()

    def _plain(self, text: str, *, ended: bool) -> str:
        """The same with plain cells. ``ended``: nothing follows it."""
        plain = self._same.plain(text) if self._same else None
        if plain is None:
            self._same = self._as_first(text)
            plain = self._same.plain(text) if self._same else None
        if plain is None:
            lines = text.split("\n")
            plain = "\n".join([*map(self._line, lines[:-1]), self._line(lines[-1], terminated=not ended)])
            self._same = None  # a day may have passed
        return plain

    def _as_first(self, text: str) -> SameDress | None:
        """The dress of the first line; None where it has none that others can be told by."""
        line = text[: text.find("\n") + 1]
        cells = split_row(line, self._delimiter)
        if not self._columns or len(cells) < self._width or strip_comment(line) is not None:
            return None
        dresses = {place: column.dress(cells[place], self._delimiter) for place, column in self._columns.items()}
        worn = {place: dress for place, dress in dresses.items() if dress is not None}
        return SameDress.of(line, self._delimiter, worn) if len(worn) == len(dresses) else None

    def _line(self, line: str, *, terminated: bool = True) -> str:
        """The line with plain cells; as it is where one of them cannot be read, so that it can be shown."""
        cells = split_row(line, self._delimiter)
        if not line[:1].isdigit() and strip_comment(line) is not None:
            return line
        if self._habit is not None:
            return self._habit.row(line, cells, terminated=terminated)
        if len(cells) < self._width:
            return line
        for place, column in self._columns.items():
            plain = column.plain(cells[place])
            if plain is None:
                return line
            cells[place] = plain
        return joined(cells, self._delimiter)


class _Column:
    """What the cells of one column wear.

    ``exponent``: of the unit that the header names; ``mark``: between groups of three digits; ``hexadecimal``: without
    a mark; ``bus_digits``: a bus as decimal numbers, of so many hexadecimal digits.
    """

    def __init__(self, exponent: int = 0, mark: str = "", grouped: re.Pattern[str] | None = None) -> None:
        self._exponent = exponent
        self._mark = re.compile(mark) if mark else None
        self._grouped = grouped
        self.hexadecimal = False
        self.bus_digits = 0
        self._day_s = 0
        self._last_s = 0

    def plain(self, cell: str) -> str | None:
        """The plain cell, None where it cannot be read."""
        cell = _bare(cell)
        if self._mark is not None and self._grouped is not None and self._grouped.fullmatch(cell):
            return self._mark.sub("", cell)
        if self.bus_digits:
            plain = cell.isascii() and cell.isdigit() and len(cell) <= _MOST_DIGITS
            return f"0x{int(cell):0{self.bus_digits}X}" if plain else None
        if self.hexadecimal and _BARE_HEXADECIMAL.fullmatch(cell):
            return "0x" + cell
        if is_number(cell) or level(cell) is not None or bus_value(cell) is not None:
            return cell
        if ":" in cell:
            return self._clock(cell)
        return _bus(cell) or self._with_unit(cell)

    def dress(self, cell: str, delimiter: str) -> Dress | None:
        """What a cell wears that :meth:`plain` takes off; None where its own characters change as well."""
        plain = self.plain(cell)
        clock, bus, unit = (pattern.fullmatch(cell) for pattern in (_CLOCK, _HEXADECIMAL, _WITH_UNIT))
        if plain is None or plain == cell:
            return None
        if self.hexadecimal:
            alike = f"[0-9a-fA-F]{{{len(cell)}}}"
            return Dress("", alike, "", "0x", "") if plain == "0x" + cell else None
        if clock is not None:
            part = re.fullmatch(r"[.,:]([0-9]+)", clock[4])
            body, own = "[0-9]+", (clock.start(4) + 1, clock.end(4)) if part else (0, 0)
            at = plain.find(".") + 1
        elif bus is not None:
            body, own = f"[0-9a-fA-F]{{{len(bus[2])}}}", bus.span(2)
            at = len(plain) - len(bus[2])  # zeros may stand in front
        elif unit is not None and unit[2] is None:
            body, own = number_body(delimiter), unit.span(1)
            at = 0
        else:
            return None
        start, end = own
        if end == start or plain[at : at + end - start] != cell[start:end]:
            return None
        return Dress(cell[:start], body, cell[end:], plain[:at], plain[at + end - start :])

    def _with_unit(self, cell: str) -> str | None:
        found = _WITH_UNIT.fullmatch(cell)
        if found is None:
            loose = _LOOSE_EXPONENT.fullmatch(cell)
            return f"{loose[1]}E{loose[2]}" if loose else None
        unit = found[3].lower()
        factor = TIME_UNITS.get(unit) or VALUE_UNITS.get(unit, ("", 0.0))[1]
        if found[3] in _PREFIXES:
            # "33.8m"; below "[ms]" it would be anybody's guess.
            factor = 0.0 if self._exponent else _PREFIXES[found[3]]
        if not factor:
            return None
        exponent = int(found[2] or 0) + _power(factor) - self._exponent
        return f"{found[1]}E{exponent}" if exponent else found[1]

    def _clock(self, cell: str) -> str | None:
        """Seconds since midnight, of the first day."""
        found = _CLOCK.fullmatch(cell)
        if found is None:
            return None
        hours = int(found[1] or 0)
        if found[5]:
            hours = hours % 12 + 12 * (found[5][0] in "pP")
        seconds = 3600 * hours + 60 * int(found[2]) + int(found[3])
        if seconds < self._last_s - _HALF_A_DAY_S:
            self._day_s += 2 * _HALF_A_DAY_S
        self._last_s = seconds
        part = re.sub(r"\D", "", found[4])
        whole = f"{seconds + self._day_s}.{part}"
        return f"{whole}E{-self._exponent}" if self._exponent else whole


def _bare(cell: str) -> str:
    """The cell without the quotes that :func:`split_row` does not know."""
    cell = cell.removeprefix("=").strip('"')
    return cell[1:-1] if len(cell) > 2 and cell[0] == cell[-1] == "'" else cell


def _power(factor: float) -> int:
    return int(f"{factor:e}".partition("e")[2])


def _bus(cell: str) -> str | None:
    """A bus value as the other readers know it, with leading zeros where its width is told."""
    found = _HEXADECIMAL.fullmatch(cell)
    if found:
        return "0x" + found[2].zfill((int(found[1] or 0) + 3) // 4)
    found = _BINARY.fullmatch(cell)
    if found:
        return "0b" + (found[2] or found[3] or found[4].replace(" ", "")).zfill(int(found[1] or 0))
    return None


def _find(head: memoryview, *, ended: bool) -> tuple[str, dict[int, _Column], int] | None:
    """The delimiter, the columns that are dressed, and how many columns there are; None where all is plain."""
    named = _BUS_NAME.search(decoded(bytes(head[:_QUICKLY]))) is not None
    plain = _plainly_plain(head)
    if plain and not named:
        return None
    first = _lines(bytes(head[: 1 << 16]), whole=ended and len(head) <= 1 << 16)
    buses = _decimal_buses(first) if named else None
    if buses is not None or plain:
        return buses
    last = _lines(bytes(head[-(1 << 13) :]), whole=ended)[1:] if len(head) > 1 << 16 else first
    asked = [*first[:_ASKED], *(last[-_ASKED:] if last is not first else first[_ASKED:][-_ASKED:])]
    asked = [line for line in asked if line.strip() and strip_comment(line) is None]
    plainly = max(vote(asked, mark, is_plain) for mark in DELIMITERS)
    votes = {mark: vote(asked, mark, _is_value) for mark in DELIMITERS}
    delimiter = max(votes, key=lambda mark: votes[mark])
    if votes[delimiter] == 0:
        delimiter = ""
        plainly, votes[""] = (sum(kind(split_row(line, "")[0]) for line in asked) for kind in (is_plain, _is_value))
    if votes[delimiter] <= plainly * _CLEARLY_MORE:
        return None
    rows = [split_row(line, delimiter) for line in asked]
    width = Counter(map(len, rows)).most_common(1)[0][0]
    good = [row for row in rows if len(row) == width and any(map(_is_value, row))]
    above = [split_row(line, delimiter) for line in first[:_ASKED]]
    columns = {}
    for place in range(width):
        cells = [row[place] for row in good]
        if not all(map(is_plain, cells)) and 2 * sum(map(_is_value, cells)) > len(cells):
            columns[place] = _column(cells, [row[place] for row in above if len(row) == width])
    return (delimiter, columns, width) if columns else None


def _decimal_buses(lines: Sequence[str]) -> tuple[str, dict[int, _Column], int] | None:
    """As :func:`_find`, for columns that are called a bus and hold whole numbers; these are no readings."""
    for place, line in enumerate(lines[:_ASKED]):
        mark = next((mark for mark in ",;\t" if mark in line), None)
        if mark is None or not _BUS_NAME.search(line):
            continue
        names = split_row(line, mark)
        rows = [row for row in (split_row(below, mark) for below in lines[place + 1 :]) if len(row) == len(names)]
        columns = {}
        for column, name in enumerate(names):
            cells = [row[column] for row in rows]
            whole = [int(cell) for cell in cells if cell.isascii() and cell.isdigit() and len(cell) <= _MOST_DIGITS]
            unit = read_name(name).unit
            # Zeros and ones alone are binary, and what begins with a zero is padded as no decimal number is.
            binary = not any(cell.strip("01") for cell in cells) or any(len(c) > 1 and c[0] == "0" for c in cells)
            if _BUS_NAME.search(name) and not unit and len(whole) == len(cells) > 1 and not binary:
                columns[column] = _Column()
                columns[column].bus_digits = next(digits for digits in (2, 4, 8) if max(whole) < 16**digits)
        return (mark, columns, len(names)) if columns else None
    return None


def _plainly_plain(text: memoryview) -> bool:
    """Whether rows from the middle and the end are all plain: as they mostly are, and then no more is looked at."""
    middle = len(text) // 2
    parts = (text[middle : middle + _QUICKLY], text[-_QUICKLY:])
    some = [line for part in parts for line in decoded(bytes(part)).split("\n")[1:-1][-_ASKED // 2 :]]
    if len(some) < _ASKED // 2:
        return False
    for mark in DELIMITERS:
        rows = (split_row(line, mark) for line in some)
        if all(len(row) > 1 and all(map(is_plain, filter(None, row))) for row in rows):
            return True
    return False


def _lines(text: bytes, *, whole: bool) -> list[str]:
    lines = [line.rstrip("\r") for line in decoded(text).split("\n")]
    return lines if whole else lines[:-1]


def _column(cells: Sequence[str], above: Sequence[str]) -> _Column:
    named = next((named for named in map(read_name, above) if named.unit), None)
    bare = list(map(_bare, cells))
    mark, grouped = "", None
    for place, (sure_mark, pattern) in enumerate(_SURELY_GROUPED):
        if any(map(pattern.fullmatch, bare)):
            mark, grouped = sure_mark, _GROUPED[place][1]
    column = _Column(_power(named.factor) if named else 0, mark, grouped)
    one_width = len(set(map(len, bare))) == 1
    column.hexadecimal = one_width and all(map(_looks_hexadecimal, bare)) and any(map(str.isalpha, "".join(bare)))
    return column


def _looks_hexadecimal(cell: str) -> bool:
    return _BARE_HEXADECIMAL.fullmatch(cell) is not None


def _is_value(cell: str) -> bool:
    """A plain value, or a dressed one."""
    if is_plain(cell):
        return True
    bare = _bare(cell)
    if not any(map(str.isdigit, bare)) and level(bare) is None:
        return False
    if _Column().plain(bare) is not None or any(pattern.fullmatch(bare) for _, pattern in _SURELY_GROUPED):
        return True
    return _looks_hexadecimal(bare) and len(bare) % 2 == 0
