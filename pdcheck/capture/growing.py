"""An array that grows in place.

Why it is: edges come in blocks, and a list of arrays joined at the end would for a moment need twice the memory.
Growing through ``realloc`` moves pages instead of copying them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


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
