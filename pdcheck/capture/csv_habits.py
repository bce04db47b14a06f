"""What a file leaves out of its rows, or writes in them otherwise than as a table: which of the known habits it has.

Why it is: most files have none, and that must show at a look; of those that have one the rows are made plain by it, one
by one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pdcheck.capture.csv_halves import Halves
from pdcheck.capture.csv_sparse import Sparse, has_empty_cell, names_missing_cell
from pdcheck.capture.csv_tall import Tall

Habit = Sparse | Tall | Halves


def habit_of(few: Sequence[str], text: bytes, lines: Callable[[], Sequence[str]]) -> Habit | None:
    """The habit that the beginning of a file shows; None where it has none, as mostly, and that shows in a few lines.

    :param few: the first lines. :param text: the beginning. :param lines: all lines of it, where they are asked for.
    """
    if Tall.may_be(few):
        return Tall.of(lines())
    halves = Halves.of(few)
    if halves is not None:
        return halves
    return Sparse.of(lines()) if has_empty_cell(text) or Sparse.may_be_ragged(few) or names_missing_cell(few) else None
