"""Arrays that grow in place.

Why it is: edges come in blocks, and a list of arrays joined at the end would for a moment need twice the memory.
Growing through ``realloc`` moves pages instead of copying them.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import FloatArray, IntArray


class GrowingArray:
    """A float64 array with ``push``."""

    def __init__(self) -> None:
        self._room: FloatArray = np.empty(64)
        self._used = 0

    def __len__(self) -> int:
        return self._used

    def push(self, more: FloatArray) -> None:
        """Add ``more`` at the end."""
        need = self._used + len(more)
        if need > len(self._room):
            self._room.resize(max(need, len(self._room) + (len(self._room) >> 1)), refcheck=False)
        self._room[self._used : need] = more
        self._used = need

    def view(self) -> FloatArray:
        """What is in it; valid until the next ``push``."""
        return self._room[: self._used]

    def replace(self, array: FloatArray) -> None:
        """Hold ``array`` instead."""
        self._room, self._used = array, len(array)

    def take(self) -> FloatArray:
        """What is in it, for good; the array is empty afterwards."""
        out, used = self._room, self._used
        self._room, self._used = np.empty(0), 0
        out.resize(used, refcheck=False)
        return out


class Moments:
    """Times of what is kept of a line and, where it is asked for, the rows of the file they came from.

    Why both: where times are printed too coarsely the row number is the better clock, but only if the step stays the
    same to the end of the file; until then neither can be let go.
    """

    def __init__(self) -> None:
        self._times = GrowingArray()
        self._rows: GrowingArray | None = None

    def __len__(self) -> int:
        return len(self._times)

    @property
    def size(self) -> int:
        """How many numbers are held."""
        return len(self._times) * (1 if self._rows is None else 2)

    def push(self, times: FloatArray, rows: IntArray | None = None) -> None:
        """Add ``times``, and ``rows`` if they are being kept."""
        self._times.push(times)
        if self._rows is not None:
            assert rows is not None
            self._rows.push(rows.astype(np.float64))

    def times(self) -> FloatArray:
        """The times so far; valid until the next ``push``."""
        return self._times.view()

    def rows(self) -> IntArray | None:
        """The row numbers so far, where they are kept."""
        return None if self._rows is None else self._rows.view().astype(np.intp)

    def keep_rows(self, step: float) -> None:
        """Keep row numbers from now on; those of the times so far follow from the step, as they are still fine."""
        if self._rows is None:
            self._rows = GrowingArray()
            self._rows.push(np.rint(self._times.view() / step))

    def forget_rows(self) -> None:
        """Row numbers are of no use any more."""
        self._rows = None

    def keep_only(self, which: IntArray) -> None:
        """Keep some of them."""
        for array in (self._times, self._rows):
            if array is not None:
                kept = array.take()[which]
                array.replace(kept)

    def take(self, factor: float, period: float | None) -> FloatArray:
        """Seconds, for good: ``period`` times the row numbers where both are there, else ``factor`` times the times."""
        if self._rows is not None and period is not None:
            self._times.take()
            out, factor = self._rows.take(), period
        else:
            out = self._times.take()
        out *= factor
        return out
