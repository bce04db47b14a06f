"""Cells left empty where nothing has changed: ``0.25,,5.02`` below ``0.00,1,5.01``.

Why it is: exports of channels that are sampled at different rates leave most cells empty, and mean the value above. In
other files an empty cell is damage, and the row reader says so; here is told which of the two a file is.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pdcheck.capture.csv_cells import split_row, strip_comment
from pdcheck.capture.csv_table import is_plain

_DELIMITERS = ("\t", ";", ",")
_LEAST_ROWS = 40
_MOST_LINES = 600
_HABIT = 0.1
_BEGIN_NUMBERS = frozenset("0123456789+-.")


class Sparse:
    """A file's habit of leaving cells empty.

    :ivar delimiter: what is between the cells, and ``width`` how many a row has.
    """

    def __init__(self, delimiter: str, width: int, first: dict[int, str]) -> None:
        self.delimiter = delimiter
        self.width = width
        self._held = first

    @staticmethod
    def of(lines: Sequence[str]) -> Sparse | None:
        """Of a file's first lines; None where all cells are filled, or hardly any is not."""
        lines = [line for line in lines[:_MOST_LINES] if strip_comment(line) is None]
        for delimiter in _DELIMITERS:
            rows = [split_row(line, delimiter) for line in lines if delimiter in line]
            rows = [row for row in rows if any(row) and all(map(is_plain, filter(None, row)))]
            width = Counter(map(len, rows)).most_common(1)[0][0] if rows else 0
            rows = [row for row in rows if len(row) == width]
            if width < 2 or len(rows) < max(_LEAST_ROWS, len(lines) // 2):
                continue
            filled = [list(filter(None, column)) for column in zip(*rows, strict=True)]
            some = {place: cells[0] for place, cells in enumerate(filled) if 0 < len(cells) < len(rows)}
            empty = max((len(rows) - len(filled[place]) for place in some), default=0)
            if empty > _HABIT * len(rows) and any(len(cells) == len(rows) for cells in filled):
                return Sparse(delimiter, width, some)
        return None

    def fill(self, cells: list[str]) -> None:
        """Put the value above into each empty cell, the column's first one where nothing is above.

        Lines must come in their order. Those of words are left alone.
        """
        filled = [(place, cells[place]) for place in self._held if cells[place]]
        if cells[0] and cells[0][0] not in _BEGIN_NUMBERS and not is_plain(cells[0]):
            return
        if not all(is_plain(cell) for _, cell in filled):
            return
        self._held.update(filled)
        for place, cell in self._held.items():
            cells[place] = cell
