"""Cells left empty where nothing has changed: ``0.25,,5.02`` below ``0.00,1,5.01``; or left away: ``0.25,1``.

Why it is: exports of channels that are sampled at different rates leave most cells empty, and mean the value above. In
other files an empty cell is damage, and the row reader says so; here is told which of the two a file is.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Container, Sequence

import numpy as np

from pdcheck.capture.csv_cells import MISSING, USUAL_DELIMITERS, is_missing, joined, split_row, strip_comment
from pdcheck.capture.csv_table import is_plain
from pdcheck.capture.model import Role
from pdcheck.capture.names import read_name

_LEAST_ROWS = 40
_MOST_LINES = 600
_HABIT = 0.1
_GAPS = bytes(byte in b",;\t\n" for byte in range(256))
_EMPTY_CELL = re.compile(rb'[,;\t][ ]?(?:"")?[,;\t\r\n]|\n(?:"")?[,;\t]')
_MISSING_CELL = re.compile(rf"[,;\t](?:{'|'.join(sorted(MISSING))})(?:[,;\t]|$)", re.IGNORECASE)
_BEGIN_NUMBERS = frozenset("0123456789+-.")


class Sparse:
    """A file's habit of leaving cells empty.

    :ivar delimiter: what is between the cells, and ``width`` how many a row has.
    """

    def __init__(self, delimiter: str, width: int, first: dict[int, str], least: int) -> None:
        self.delimiter = delimiter
        self.width = width
        self._held = first
        self._least = least

    @staticmethod
    def may_be_ragged(lines: Sequence[str]) -> bool:
        """Whether the rows among the first lines end before the line above them, or before one of them, does."""
        first = next((place for place, line in enumerate(lines) if line[:1] in _BEGIN_NUMBERS), 0)
        some = lines[max(0, first - 1) :]
        return any(len({line.count(mark) for line in some if mark in line}) > 1 for mark in USUAL_DELIMITERS)

    @staticmethod
    def of(lines: Sequence[str]) -> Sparse | None:
        """Of a file's first lines; None where all cells are filled, or hardly any is not."""
        lines = [line for line in lines[:_MOST_LINES] if strip_comment(line) is None]
        for delimiter in USUAL_DELIMITERS:
            split = [_present(split_row(line, delimiter)) for line in lines if delimiter in line]
            rows = [row for row in split if _is_row(row)]
            if not rows:
                continue
            width = least = Counter(map(len, rows)).most_common(1)[0][0]
            above = split[: split.index(rows[0])]
            head = next((row for row in reversed(above) if len(row) > width), [])
            if any(_is_channel(name) for name in head[width:]):
                # The header names channels of which most rows say nothing: they end before them.
                width, least = len(head), 1
                rows = [row + [""] * (width - len(row)) for row in rows]
            rows = [row for row in rows if len(row) == width]
            if width < 2 or len(rows) < max(_LEAST_ROWS, len(lines) // 2):
                continue
            filled = [list(filter(None, column)) for column in zip(*rows, strict=True)]
            some = {place: cells[0] for place, cells in enumerate(filled) if 0 < len(cells) < len(rows)}
            empty = max((len(rows) - len(filled[place]) for place in some), default=0)
            if _times_are_left_out(next((row for row in reversed(above) if len(row) >= width), []), some):
                return None
            if empty > _HABIT * len(rows) and any(len(cells) == len(rows) for cells in filled):
                if least < width:
                    # A row of nothing but its time may stand at the end.
                    some = {place: cells[0] for place, cells in enumerate(filled) if place and cells}
                return Sparse(delimiter, width, some, least)
        return None

    def row(self, line: str, cells: list[str], *, terminated: bool) -> str:
        """The line with the value above in each empty cell, the column's first one where nothing is above.

        Lines must come in their order. Those of words are left alone, and so is one that may be cut.

        :param terminated: False for the file's last line where it has no line end.
        """
        cells = _present(cells)
        missing = self.width - len(cells)
        if len(cells) < self._least or (missing > 0 and not (terminated and cells[0])):
            return line
        cells += [""] * missing
        filled = [(place, cells[place]) for place in self._held if cells[place]]
        words = cells[0] and cells[0][0] not in _BEGIN_NUMBERS and not is_plain(cells[0])
        if words or not all(is_plain(cell) for _, cell in filled):
            return line if missing > 0 else joined(cells, self.delimiter)
        self._held.update(filled)
        for place, cell in self._held.items():
            cells[place] = cell
        return joined(cells, self.delimiter)


def _times_are_left_out(names: Sequence[str], some: Container[int]) -> bool:
    """Whether some rows have no time; when a row was is not when the one above it was."""
    times = [place for place, name in enumerate(names) if read_name(name).is_time]
    return bool(times) and all(place in some for place in times)


def _present(cells: list[str]) -> list[str]:
    return ["" if is_missing(cell) else cell for cell in cells]


def has_empty_cell(text: bytes) -> bool:
    """Whether a cell is empty; most files are told by a look that costs much less."""
    gaps = np.frombuffer(text.translate(_GAPS, b' "\r'), bool)
    return bool((gaps[1:] & gaps[:-1]).any()) and _EMPTY_CELL.search(text) is not None


def names_missing_cell(lines: Sequence[str]) -> bool:
    """Whether a cell says that its value is missing."""
    return any(map(_MISSING_CELL.search, lines))


def _is_row(cells: Sequence[str]) -> bool:
    return any(cells) and all(map(is_plain, filter(None, cells)))


def _is_channel(name: str) -> bool:
    named = read_name(name)
    return named.role is not Role.OTHER or bool(named.unit)
