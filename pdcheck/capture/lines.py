"""Building digital lines from blocks of rows.

Why it is: every reader meets the same question, where does a level change, and the same danger, a line that never
comes to rest. The answer, and the bound on memory, are the same for all of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import FloatArray
from pdcheck.capture.growing import Moments
from pdcheck.capture.model import DigitalLine, Role
from pdcheck.errors import CaptureError

MOST_EDGES = 12 << 20
# Times whose unit nobody said are there twice for a moment, as they are and as they turn out to be.
MOST_UNSCALED = 9 << 20
MOST_BESIDE = 4 << 20
# So many changes, more than so many to a time, are no two rows of one time. Our own choice.
_MANY_CHANGES, _MOST_AT_ONCE = 200, 2
CC_ROLES = (Role.CC1, Role.CC2)


class EdgeBuilder:
    """Collects one digital line.

    Times are in the file's unit, from its first row. ``level`` is the level after the rows seen so far.
    ``given_up``: it changed so often that it is no longer kept. ``changes`` and ``moments``, once the line is made: how
    many there were, and on how many different times.
    """

    def __init__(self, name: str, role: Role) -> None:
        self.name = name
        self.role = role
        self.initial: int | None = None
        self.level = 0
        self.given_up = False
        self.edges = Moments()
        self.changes = self.moments = 0

    def add(self, times: FloatArray, levels: NDArray[np.uint8], rows: NDArray[np.intp] | None = None) -> None:
        """Rows in order: their times, levels (0 or 1) and, where these are kept, numbers.

        Rows without a change may be left out.
        """
        if len(levels) == 0:
            return
        if self.initial is None:
            self.initial = self.level = int(levels[0])
        if len(levels) == 1 and levels[0] == self.level:
            return
        changed = np.empty(len(levels), bool)
        changed[0] = levels[0] != self.level
        np.not_equal(levels[1:], levels[:-1], out=changed[1:])
        self.level = int(levels[-1])
        if not self.given_up:
            self.edges.push(times[changed], None if rows is None else rows[changed])

    def toggle(self, times: FloatArray) -> None:
        """Times at which the level is known to toggle."""
        self.level ^= len(times) & 1
        if not self.given_up:
            self.edges.push(times)

    def give_up(self) -> None:
        """Keep no more of it, nor what was kept."""
        self.given_up = True
        self.edges = Moments()

    def notes(self) -> list[str]:
        """What the reader of a report should know of it: that it is not there."""
        if not self.given_up:
            return []
        return [f'The column "{self.name}" changes so often beside CC that it was not kept.']

    def line(self, factor: float, period: float | None = None) -> DigitalLine:
        """The line; times are multiplied by ``factor``, or row numbers, where they were kept, by ``period``."""
        edges = self.edges.take(factor, period)
        initial = bool(self.initial)
        self.changes = self.moments = len(edges)
        if len(edges) and (edges[0] <= 0.0 or not bool(np.all(edges[1:] > edges[:-1]))):
            # Several rows of one time: the last of them counts, so an even number of toggles is none.
            edges, counts = np.unique(edges, return_counts=True)
            self.moments = len(edges)
            odd = (counts & 1).astype(bool)
            if edges[0] <= 0.0:
                initial ^= bool(odd[0])
                odd[0] = False
            edges = edges[odd]
        return DigitalLine(self.name, self.role, initial, edges)


def too_many(lines: Sequence[EdgeBuilder], most: int = MOST_EDGES) -> bool:
    """Whether the lines hold more edges than can be kept, row numbers counted as well.

    Where the file has a column called CC, the others are there for company: of these the busiest are given up when
    together they hold more than four million.
    """
    if any(line.role in CC_ROLES for line in lines):
        beside = [line for line in lines if line.role not in CC_ROLES]
        while sum(line.edges.size for line in beside) > min(most, MOST_BESIDE):
            max(beside, key=lambda line: line.edges.size).give_up()
    return sum(line.edges.size for line in lines) > most


def check_apart(lines: Sequence[EdgeBuilder], beside: Iterable[Role], remedy: str, path: str) -> None:
    """Refuse a file whose times are too coarse to tell the changes on CC apart: what they leave looks like rest.

    :param lines: the lines of two levels, made. Where none is called CC, all of them are looked at.
    :param beside: the roles of the other lines; one of them may be CC.
    :raises CaptureError: no line that may be CC shows its changes.
    """
    asked = [line for line in lines if line.role in CC_ROLES]
    if not asked and not any(role in (*CC_ROLES, Role.OTHER) for role in beside):
        asked = [line for line in lines if line.role is Role.OTHER]
    busy = [line for line in asked if line.changes >= _MANY_CHANGES]
    if not busy or any(line.changes <= _MOST_AT_ONCE * line.moments for line in busy):
        return
    worst = max(busy, key=lambda line: line.changes)
    on = "one time" if worst.moments == 1 else f"{worst.moments:,} different times"
    raise CaptureError(
        f'its times are too coarse: the {worst.changes:,} changes of "{worst.name}" fall on {on}', remedy, path=path
    )
