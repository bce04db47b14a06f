"""Is it one step from every row to the next, through the whole file?

Why it is: a file with a row a sample says how finely time was looked at, and the rooms above lean on that. Many
exports look so for a while and are not: a row each millisecond for the voltages, and one more at each change of a
level. So the step is not judged by the first rows, but followed to the last.

Times are printed with so many digits, and some programs count them in 32-bit floats; row *n* at time *t* therefore
only says that the step lies between ``(t - e) / n`` and ``(t + e) / n``, with *e* for the rounding. The step is
constant as long as all rows leave some value possible; no other slack is given, however long the file.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# The first row's time is rounded too, and a time may be cut off rather than rounded: one and a half last digits.
_LAST_DIGITS = 1.5
_FLOAT32 = 2.0**-24


class Steady:
    """The steps that the rows seen so far allow.

    :ivar holds: whether any is left.
    """

    def __init__(self) -> None:
        self._least = 0.0
        self._most = np.inf
        self.holds = True

    def follow(self, rows: NDArray[np.intp], times: FloatArray, quantum: float) -> bool:
        """Take some rows into account.

        :param rows: their numbers in the file, from 0.
        :param times: their times from the first row's.
        :param quantum: the weight of the last printed digit of the times.
        :returns: whether a constant step is still possible.
        """
        later = rows > 0
        if not later.all():
            rows, times = rows[later], times[later]
        if len(rows) and self.holds:
            slack = _LAST_DIGITS * quantum + _FLOAT32 * np.abs(times)
            self._least = max(self._least, float(((times - slack) / rows).max()))
            self._most = min(self._most, float(((times + slack) / rows).min()))
            self.holds = self._least <= self._most and self._most > 0
        return self.holds
