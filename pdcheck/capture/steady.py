"""Is it one step from every row to the next, through the whole file?

Why it is: a file with a row a sample says how finely time was looked at, and the rooms above lean on that. Many
exports look so for a while and are not: a row each millisecond for the voltages, and one more at each change of a
level. So the step is not judged by the first rows, but followed to the last.

Times are printed with so many digits, and some programs count them in 32-bit floats; row *n* at time *t* therefore
only says that the step lies between ``(t - e) / n`` and ``(t + e) / n``, with *e* for the rounding. The step is
constant as long as all rows leave some value possible; no other slack is given, however long the file.

How fine a time is cannot be seen from it alone, for trailing zeros may be left out (``0.3``). But who prints a later
time with nine decimals printed an earlier one no coarser: digits get lost as times grow, never the reverse.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import FloatArray, IntArray

# The first row's time is rounded too, and a time may be cut off rather than rounded: one and a half last digits.
_LAST_DIGITS = 1.5
_FLOAT32 = 2.0**-24
_REMEMBERED = 512


class Steady:
    """The steps that the rows seen so far allow.

    :param growing: times do not begin below zero, so that they only get coarser.
    :ivar holds: whether any is left.
    """

    def __init__(self, *, growing: bool) -> None:
        self._growing = growing
        self._least = 0.0
        self._most = np.inf
        self._rows: IntArray = np.empty(0, np.intp)
        self._times: FloatArray = np.empty(0)
        self._quanta: FloatArray = np.empty(0)
        self.holds = True

    @property
    def step(self) -> float:
        """The middle of the steps that are left; zero before there was a row."""
        return (self._least + self._most) / 2 if self._most < np.inf else self._least

    def follow_one(self, row: int, time: float, quantum: float) -> bool:
        """Take one row into account, as :meth:`follow` does, and sooner."""
        if self.holds and row > 0:
            slack = _LAST_DIGITS * quantum + _FLOAT32 * abs(time)
            self._least = max(self._least, (time - slack) / row)
            self._most = min(self._most, (time + slack) / row)
            self.holds = self._least <= self._most and self._most > 0
        return self.holds

    def follow(self, rows: IntArray, times: FloatArray, quanta: FloatArray) -> bool:
        """Take some rows into account.

        :param rows: their numbers in the file, from 0, in any order.
        :param times: their times from the first row's.
        :param quanta: the weights of their last printed digits.
        :returns: whether a constant step is still possible.
        """
        if not self.holds:
            return False
        # Some earlier rows again: a finer time among the new ones says that those were no coarser.
        rows = np.concatenate([self._rows, rows])
        times = np.concatenate([self._times, times])
        quanta = np.concatenate([self._quanta, quanta])
        if self._growing and len(quanta) and float(quanta.min()) != float(quanta.max()):
            order = np.argsort(rows, kind="stable")
            rows, times = rows[order], times[order]
            quanta = np.minimum.accumulate(quanta[order][::-1])[::-1]
        later = rows > 0
        if not later.all():
            rows, times, quanta = rows[later], times[later], quanta[later]
        if len(rows):
            slack = _LAST_DIGITS * quanta + _FLOAT32 * np.abs(times)
            self._least = max(self._least, float(((times - slack) / rows).max()))
            self._most = min(self._most, float(((times + slack) / rows).min()))
            self.holds = self._least <= self._most and self._most > 0
            thin = slice(None, None, len(rows) // _REMEMBERED + 1)
            self._rows, self._times, self._quanta = rows[thin], times[thin], quanta[thin]
        return self.holds
