"""When a row of a CSV file was: by the time printed in it, or by its number.

Why it is: a sample file whose times are printed too coarsely to tell neighbouring rows apart (four million rows a
second with six decimals) still says exactly when a sample was taken, by the row's number. Which of the two is the
better clock may show late in the file, and whether the step stayed the same shows only at its end; so what is kept
of the lines keeps both until then, and what comes out does not depend on how the file was cut into blocks.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from pdcheck.capture.arrays import FloatArray, IntArray
from pdcheck.capture.csv_rows import Place, RowBlock
from pdcheck.capture.growing import Moments
from pdcheck.capture.steady import Steady

_COARSE = 0.25


class RowClock:
    """The clock of a file with a column of times.

    :ivar by_row: the row numbers are the better clock, as far as is known yet.
    """

    def __init__(self) -> None:
        self._steady: Steady | None = None
        self.by_row = False

    @property
    def steady(self) -> bool:
        """Whether all rows so far are one step apart."""
        return self._steady is not None

    def begin(self, block: RowBlock, place: Place, *, waves: bool) -> None:
        """Judge the file's first rows: a row a sample or a row a change? And do the times tell the rows apart?

        :param waves: the file has columns of numbers.
        """
        rows = block.rows
        if rows < 3:
            return
        times = block.times(np.arange(rows))
        period = float(times[-1]) / (rows - 1)
        if period <= 0:
            return
        lanes = block.levels
        if len(lanes):
            differs = (lanes[:, 1:] != lanes[:, :-1]).any(axis=0) if lanes.shape[1] == rows else None
            same = rows - 1 - (int(differs.sum()) if differs is not None else len(block.changed))
            if same < max(2, rows // 10):
                return
        elif not waves:
            return
        assert place.origin is not None
        steady = Steady(growing=sum(place.origin) >= 0)
        if steady.follow(np.arange(rows), times, block.quanta(np.arange(rows))):
            self._steady = steady
            self.by_row = block.finest > _COARSE * period

    def follow(
        self, block: RowBlock, telling: Sequence[tuple[IntArray, FloatArray]], place: Place, kept: Sequence[Moments]
    ) -> None:
        """Does this block go on with the same step? Looks where something happens, and at some more rows.

        An extra row anywhere moves all behind it, so none is missed.

        :param telling: rows of which something is kept, and their times. :param kept: what is kept so far.
        """
        if self._steady is None:
            return
        if not len(telling) and len(block.spots) == 1:
            self._steady.follow_one(place.rows + block.rows - 1, block.last_time, block.finest)
        else:
            times = np.concatenate([*(times for _, times in telling), block.times(block.spots)])
            rows = np.concatenate([*(rows for rows, _ in telling), block.spots])
            self._steady.follow(rows + place.rows, times, block.quanta(rows))
        if not self._steady.holds:
            self._steady = None
            self.by_row = False
            for moments in kept:
                moments.forget_rows()
        elif not self.by_row and block.finest > _COARSE * self._steady.step:
            # Some exporters print six digits whatever the size, so times grow coarser as they go.
            self.by_row = True
            for moments in kept:
                moments.keep_rows(self._steady.step)
