"""The times between a line's edges, a piece at a time.

Why it is: millions of edges are kept at eight bytes each, and every array as long as they are is as much memory again.
What is asked of the gaps is little; here it is asked piece by piece.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_PIECE = 1 << 18


def longer(edges: Floats, seconds: float) -> Ints:
    """Which gaps are longer: the index of the edge in front of each.

    :param edges: times in seconds, rising.
    """
    found = [
        np.flatnonzero(np.diff(edges[start : start + _PIECE + 1]) > seconds) + start
        for start in range(0, len(edges), _PIECE)
    ]
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def count_between(edges: Floats, least: float, most: float, scale: float = 1.0) -> int:
    """How many gaps are longer than ``least`` and shorter than ``most`` seconds.

    :param scale: what the edges' times are to be multiplied by to be seconds.
    """
    total = 0
    for start in range(0, len(edges), _PIECE):
        gaps = np.diff(edges[start : start + _PIECE + 1]) * scale
        total += int(np.count_nonzero((gaps > least) & (gaps < most)))
    return total
