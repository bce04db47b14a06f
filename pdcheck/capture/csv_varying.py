"""Rows of one pattern but not of one width.

Why it is: many exporters drop trailing zeros, so that every row has a width of its own. Here all separators, decimal
points and line ends of a block are found at once; where they follow the pattern of the first row, the places of all
cells are known, levels are looked up byte by byte, and numbers are read eight digits at a time. Times are read only
where they are asked for: at changes, at kept points, and at every 64th row to see that they rise.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.csv_cells import is_number, whole_and_part
from pdcheck.capture.csv_digits import are_digits, digits_to_integers
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import FloatArray, IntArray, Place, RowBlock
from pdcheck.capture.csv_template import Span, Template, template_of

LEAST_ROWS = 16
_SPOT_CHECK = 64
_MINUS, _PLUS = 0x2D, 0x2B
_MOST_ODD = 0.02
Bytes = NDArray[np.uint8]
Words = NDArray[np.uint64]


class VaryingReader:
    """Reads rows of one pattern, as far as they go."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        raise NotImplementedError
