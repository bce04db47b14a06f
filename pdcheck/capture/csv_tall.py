"""A row for each change of one channel: ``0.25,VBUS,5.02`` below ``0.00,CC1,1``.

Why it is: lists of events name the channel in every row instead of having a column for it. All readers of rows know
columns only, so such a list is made a table here, in which each channel holds its value until the next row about it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pdcheck.capture.csv_cells import USUAL_DELIMITERS, is_number, joined, number, split_row, strip_comment
from pdcheck.capture.csv_table import is_plain
from pdcheck.capture.names import VALUE_UNITS

_CHANNEL = frozenset({"channel", "ch", "line", "signal", "pin", "probe", "source", "name", "input", "net"})
_NUMBERED = frozenset({"channel", "ch"})
_VALUE = frozenset({"value", "level", "state", "edge", "event", "data", "voltage", "transition"})
_WIDTH = 3
_LEAST_ROWS = 40
_MOST_LINES = 600
_MOST_ABOVE = 40
_MOST_CHANNELS = 32
#: A list names each of its channels again and again.
_TIMES_EACH = 4


class Tall:
    """A file's habit of naming the channel in each row.

    :ivar delimiter: what is between the cells, and ``width`` how many a row has.
    """

    width = _WIDTH

    def __init__(self, delimiter: str, time: int, channel: int, header: str, first: dict[str, str]) -> None:
        self.delimiter = delimiter
        self._time, self._channel = time, channel
        self._value = _WIDTH - time - channel
        self._header = header
        self._held = first

    @staticmethod
    def of(lines: Sequence[str]) -> Tall | None:
        """Of a file's first lines; None where they are no such list, or one of a single channel."""
        found = _header(lines)
        return None if found is None else Tall._below(lines[found[0]], lines[found[0] + 1 : _MOST_LINES], *found[1:])

    @staticmethod
    def may_be(lines: Sequence[str]) -> bool:
        """Whether the header of such a list stands in the first lines."""
        return _header(lines) is not None

    @staticmethod
    def _below(
        header: str, lines: Sequence[str], delimiter: str, names: Sequence[str], channel: int
    ) -> Tall | None:
        """Of the rows below a header that may be one of such a list."""
        rows = [split_row(line, delimiter) for line in lines if line.strip() and strip_comment(line) is None]
        named = Counter(row[channel] for row in rows if len(row) == _WIDTH)
        if not _LEAST_ROWS <= named.total() == len(rows) or not 1 < len(named) <= _MOST_CHANNELS:
            return None
        # Zeros and ones may be the levels of a line that somebody called "signal".
        valued = any(name in _VALUE or name in VALUE_UNITS for name in names)
        numbered = names[channel] in _NUMBERED and valued
        if len(named) * _TIMES_EACH > len(rows) or (not numbered and any(map(is_plain, named))):
            return None
        time = next((place for place in range(_WIDTH) if place != channel and _rises(rows, place)), None)
        value = _WIDTH - channel - (time or 0)
        if time is None or not all(is_plain(row[value]) for row in rows):
            return None
        return Tall(delimiter, time, channel, header, {row[channel]: row[value] for row in reversed(rows)})

    def row(self, line: str, cells: list[str], *, terminated: bool) -> str:
        """The line as a row of a table; as it is where it is no row.

        Lines must come in their order. A channel holds its first value before it is named.

        :param terminated: False for the file's last line where it has no line end.
        """
        del terminated  # the row reader sees whether it is cut
        if line.rstrip("\r") == self._header:
            named = [f"channel {name}" if is_number(name) else name for name in self._held]
            return joined([cells[self._time], *named], self.delimiter)
        if len(cells) != _WIDTH or cells[self._channel] not in self._held:
            return line
        self._held[cells[self._channel]] = cells[self._value]
        return joined([cells[self._time], *self._held.values()], self.delimiter)


def _header(lines: Sequence[str]) -> tuple[int, str, list[str], int] | None:
    """The place of a header that may be one of such a list, what separates its names, these, which names channels."""
    for place, line in enumerate(lines[:_MOST_ABOVE]):
        for delimiter in USUAL_DELIMITERS:
            names = [name.casefold() for name in split_row(line, delimiter)] if line.count(delimiter) >= 2 else []
            if len(names) == _WIDTH and _CHANNEL.intersection(names):
                return place, delimiter, names, next(n for n, name in enumerate(names) if name in _CHANNEL)
    return None


def _rises(rows: Sequence[Sequence[str]], place: int) -> bool:
    """Whether a column holds times: numbers of which none is less than the one above, and of more than two kinds."""
    if not all(is_number(row[place]) for row in rows):
        return False
    values = [number(row[place]) for row in rows]
    return values == sorted(values) and len(set(values)) > 2
