"""Times of rows, read when they are asked for.

Why it is: where the times of a sample file rise by one step, hardly any of them is wanted as a number.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import Flags, FloatArray, IntArray
from pdcheck.capture.cell_numbers import Shape, SomeCells
from pdcheck.capture.csv_cells import whole_and_part
from pdcheck.capture.csv_powers import PowerKind
from pdcheck.capture.csv_rows import LAST_ROWS, Place

_FEW = 4


class VaryingTimes:
    """Times of rows, read when asked for."""

    def __init__(self, cells: SomeCells, shape: Shape | PowerKind, place: Place) -> None:
        self._cells = cells
        self._shape = shape
        assert place.origin is not None
        self._origin = place.origin
        self._asked: IntArray | None = None
        self._answer: FloatArray = np.empty(0)
        self._all: FloatArray | None = None
        self.last_time = 0.0

    def read_all(self) -> Flags | None:
        """Read the times of all rows; which of them are numbers and not before the one above, down to the first
        that is not. None where they cannot be read this way."""
        parts = self._shape.parts(self._cells.pick(slice(None)))
        if parts is None:
            return None
        whole, rest, good = parts
        whole -= self._origin[0]
        rest -= self._origin[1]
        rest += whole
        self._all = rest
        good[1:] &= rest[1:] >= rest[:-1]
        return good

    def in_order(self, changed: IntArray, place: Place) -> bool:
        """Whether the times of the first row, of some rows and of the last rise, and are not before the time above."""
        rows = np.append(changed, len(self._cells) - 1)
        times = self(rows)
        self.last_time = float(times[-1])
        self._asked, self._answer = changed, times[:-1]
        return float(times[0]) >= (place.last_time if place.rows else times[0]) and not (times[1:] < times[:-1]).any()

    def finest(self) -> float:
        """The weight of the finest last digit among the last few times."""
        count = len(self._cells)
        return float(self.quanta(np.arange(max(0, count - LAST_ROWS), count)).min())

    def cut(self, count: int) -> None:
        """Forget all rows from ``count`` on."""
        self._cells = self._cells.pick(slice(count))

    def quanta(self, rows: IntArray) -> FloatArray:
        """The weights of the last digits of the times."""
        return self._shape.quanta(self._cells.pick(rows))

    def __call__(self, rows: IntArray) -> FloatArray:
        if self._all is not None:
            return self._all[rows]
        if rows is not self._asked:
            self._answer = self._read(rows)
            self._asked = rows
        return self._answer

    def _read(self, rows: IntArray) -> FloatArray:
        whole0, part0 = self._origin
        chosen = self._cells.pick(rows)
        if len(rows) > _FEW:
            parts = self._shape.parts(chosen)
            if parts is not None:
                return (parts[0] - whole0) + (parts[1] - part0)
        out = np.empty(len(rows))
        for row, (start, width) in enumerate(zip(chosen.starts.tolist(), chosen.widths.tolist(), strict=True)):
            whole, part = whole_and_part(chosen.data[start : start + width].tobytes().decode("latin-1"))
            out[row] = (whole - whole0) + (part - part0)
        return out
