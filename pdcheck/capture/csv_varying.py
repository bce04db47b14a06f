"""Rows of one pattern but not of one width.

Why it is: many exporters drop trailing zeros, so that every row has a width of its own. Two ways through:

- Where a time is followed by single characters only, these stand at fixed distances from the line end. All line
  ends of a block are found at once, levels are looked up byte by byte, and the times of rows between changes are
  never read.
- Otherwise all separators are found at once; where they follow the pattern of the first row, the places of all
  cells are known, and numbers are read eight digits at a time.

Times are read only where they are asked for: at changes, at kept points, and at every 64th row to see that they
rise. Rows whose numbers look otherwise (an exponent, say) are read one by one, as long as they are few.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.csv_cells import is_number, whole_and_part
from pdcheck.capture.csv_fixed import LEVEL_OF_BYTE, NOT_A_LEVEL
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import FloatArray, IntArray, Place, RowBlock
from pdcheck.capture.csv_runs import Decimals, read_decimals
from pdcheck.capture.csv_template import Span, Template, template_of

LEAST_ROWS = 16
_SPOT_CHECK = 64
_LETTERS_FROM = 0x3A
Bytes = NDArray[np.uint8]


class VaryingReader:
    """Reads rows of one pattern, as far as they go."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        first_end = room.find(b"\n", start, min(end, start + 4096)) + 1
        if first_end == 0:
            return None
        template = template_of(bytes(room[start:first_end]), self._layout)
        if template is None or any(span.width != 1 for span in template.levels):
            return None
        if _ends_in_levels(template):
            found = self._by_line_ends(data, start, end, template, place)
        else:
            found = self._by_separators(data, start, end, template, place)
        if found is None or found.rows < LEAST_ROWS:
            return None
        return found, found.end

    def _by_line_ends(self, data: Bytes, start: int, end: int, template: Template, place: Place) -> _Rows | None:
        time = template.time
        assert time is not None
        line_ends = np.flatnonzero(data[start:end] == 10)
        line_ends += start
        if len(line_ends) < LEAST_ROWS:
            return None
        tail = template.width - time.end
        levels = np.empty((len(template.levels), len(line_ends)), np.uint8)
        for lane, span in enumerate(template.levels):
            codes = data.take(line_ends - (template.width - 1 - span.start), mode="clip")
            LEVEL_OF_BYTE.take(codes, out=levels[lane], mode="clip")
        good = levels.max(axis=0) != NOT_A_LEVEL if not (levels <= 1).all() else np.ones(len(line_ends), bool)
        for at in template.fixed_places():
            if time.end <= at < template.width - 1:
                good &= data.take(line_ends - (template.width - 1 - at), mode="clip") == template.row[at]
        # One separator more or less would hide in the time cell; their number tells.
        delimiter = ord(self._layout.delimiter)
        whole = data[start : int(line_ends[-1]) + 1]
        if np.count_nonzero(whole == delimiter) != len(line_ends) * template.row.count(delimiter):
            return None
        if whole.max() >= _LETTERS_FROM and not _only_exponents(whole, template):
            return None
        return self._rows(data, start, line_ends, good, levels, (), time.start, tail, time, place)

    def _by_separators(self, data: Bytes, start: int, end: int, template: Template, place: Place) -> _Rows | None:
        delimiter = ord(self._layout.delimiter or "\n")
        if delimiter in (10, 32) or b'"' in template.row:
            return None
        block = data[start:end]
        marks = block == 10
        lines = int(np.count_nonzero(marks))
        marks |= block == delimiter
        places = np.flatnonzero(marks)
        places += start
        each = template.row.count(delimiter) + 1
        if lines < LEAST_ROWS or len(places) != lines * each:
            return None
        table = places.reshape(lines, each)
        if not bool((data.take(table[:, -1]) == 10).all()):
            return None
        begins = np.empty_like(table)
        begins[:, 1:] = table[:, :-1] + 1
        begins[0, 0] = start
        begins[1:, 0] = table[:-1, -1] + 1
        return self._cells(data, start, begins, table, template, place)

    def _cells(
        self, data: Bytes, start: int, begins: IntArray, ends: IntArray, template: Template, place: Place
    ) -> _Rows | None:
        raise NotImplementedError
