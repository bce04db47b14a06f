"""Many rows whose cells all wear the same: ``1.5 us`` under ``1.2 us``, ``14:59:59.25`` under ``14:59:59.00``.

Why it is: cell by cell a row costs microseconds. But from row to row only the characters in the middle of a dressed
cell change. Where one pattern fits every row of a piece of text, what is around them is replaced everywhere at once.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

_MOST_CELLS = 256


@dataclass(frozen=True)
class Dress:
    """What a cell wears around its own characters, and what a plain cell has in its place.

    :ivar body: a pattern of the characters between ``front`` and ``back``; they stay.
    """

    front: str
    body: str
    back: str
    plain_front: str
    plain_back: str


def number_body(delimiter: str) -> str:
    """A plain decimal without exponent, in a file with this delimiter."""
    points = "[.]" if delimiter == "," else "[.,]"
    return rf"[+-]?(?:[0-9]+(?:{points}[0-9]*)?|{points}[0-9]+)"


class SameDress:
    """Rows that wear what one row does."""

    def __init__(self, row: re.Pattern[str], replaced: Sequence[tuple[str, str, int]]) -> None:
        self._row = row
        self._replaced = replaced

    @staticmethod
    def of(line: str, delimiter: str, dresses: Mapping[int, Dress]) -> SameDress | None:
        """Of a line with its end; None where quotes or blanks decide where a cell ends, or where there are too many.

        :param dresses: what the dressed cells wear, by their places.
        """
        end = "\r\n" if line.endswith("\r\n") else "\n"
        if '"' in line or not delimiter.strip(" ") or not line.endswith("\n"):
            return None
        cells = line.removesuffix(end).split(delimiter)
        count = len(cells)
        if count > _MOST_CELLS:
            return None
        cell = rf"[^{re.escape(delimiter)}\"\r\n]*"
        parts = [cell] * count
        replaced: Counter[tuple[str, str]] = Counter()
        for place, dress in dresses.items():
            left = delimiter if place else "\n"
            right = delimiter if place < count - 1 else end
            # Blanks on either side may be as many as they like, but not where something is replaced.
            bare = cells[place].strip(" ")
            before, _, after = cells[place].partition(bare)
            front, back = " *", " *"
            if dress.front != dress.plain_front:
                front = re.escape(before + dress.front)
                replaced[left + before + dress.front, left + before + dress.plain_front] += 1
            if dress.back != dress.plain_back:
                back = re.escape(dress.back + after)
                replaced[dress.back + after + right, dress.plain_back + after + right] += 1
            parts[place] = front + dress.body + back
        row = re.compile(f"^{re.escape(delimiter).join(parts)}{re.escape(end)}", re.MULTILINE)
        return SameDress(row, [(old, new, times) for (old, new), times in replaced.items()])

    def plain(self, text: str) -> str | None:
        """Whole lines with plain cells; None where one of them wears something else."""
        rows = text.count("\n")
        if not text.endswith("\n") or len(self._row.findall(text)) != rows:
            return None
        text = "\n" + text
        for old, new, times in self._replaced:
            # Every row has it in its place; once more, and it stands somewhere else as well.
            if text.count(old) != rows * times:
                return None
            text = text.replace(old, new)
        return text[1:]
