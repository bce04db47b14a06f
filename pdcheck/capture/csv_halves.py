"""A time in two columns: ``1764072000,995250`` under ``seconds,microseconds``.

Why it is: small loggers write a clock as it is kept, in whole seconds and the rest. The readers of rows know one column
of times, and the first of the two alone stands still; so the two are made one here.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from pdcheck.capture.csv_cells import USUAL_DELIMITERS, is_number, joined, split_row, strip_comment
from pdcheck.capture.names import read_name

_DIGITS = {1e3: 3, 1e6: 6, 1e9: 9}
_LEAST_ROWS = 3
_MOST_ROWS = 600
_MOST_ABOVE = 40


class Halves:
    """A file's habit of writing times as two numbers.

    :ivar delimiter: what is between the cells, and ``width`` how many a row has.
    """

    def __init__(self, delimiter: str, width: int, place: int, digits: int) -> None:
        self.delimiter = delimiter
        self.width = width
        self._place = place
        self._digits = digits

    @staticmethod
    def of(lines: Sequence[str]) -> Halves | None:
        """Of a file's first lines; None where no two columns side by side are such."""
        for number, line in enumerate(lines[:_MOST_ABOVE]):
            if line[:1].isdigit() or "s" not in line.lower():
                continue
            for delimiter in USUAL_DELIMITERS:
                names = split_row(line, delimiter) if delimiter in line else []
                said = [read_name(name) for name in names]
                for place, (one, other) in enumerate(pairwise(said)):
                    are_times = one.unit == other.unit == "s"
                    digits = _DIGITS.get(round(one.factor / other.factor)) if are_times else None
                    found = Halves(delimiter, len(names), place, digits) if digits else None
                    if found is not None and found._fits(lines[number + 1 :][:_MOST_ROWS]):
                        return found
        return None

    def _fits(self, lines: Sequence[str]) -> bool:
        """Whether the second of the two is never more than one of the first: else it is a time of its own."""
        rows = [split_row(line, self.delimiter) for line in lines if line.strip() and strip_comment(line) is None]
        rows = [row for row in rows if len(row) == self.width and is_number(row[self._place])]
        return len(rows) >= _LEAST_ROWS and all(self._whole(row) is not None for row in rows)

    def _whole(self, cells: Sequence[str]) -> str | None:
        """Both as one number; None where they are no two halves."""
        first, second = cells[self._place : self._place + 2]
        whole, _, part = second.replace(",", ".").partition(".")
        if not (first.isascii() and first.isdigit() and whole.isascii() and whole.isdigit()):
            return None
        if len(whole.lstrip("0")) > self._digits or (part and not (part.isascii() and part.isdigit())):
            return None
        return f"{first}.{whole.lstrip('0').zfill(self._digits)}{part}"

    def row(self, line: str, cells: list[str], *, terminated: bool) -> str:
        """The line with both halves in the first one's place; as it is where it is no row.

        :param terminated: False for the file's last line where it has no line end.
        """
        del terminated  # the row reader sees whether it is cut
        if len(cells) < self.width:
            return line
        whole = self._whole(cells)
        if whole is None:
            return line
        cells[self._place] = whole
        return joined(cells, self.delimiter)
