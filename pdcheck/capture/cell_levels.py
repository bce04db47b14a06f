"""What cells of levels and of buses say, a column at a time.

Why it is: a column of levels holds few different words and mostly the one above, and so does a bus; each different one
is read once, and where it stands again it is told by comparing.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.arrays import Bytes, IntArray, Integers
from pdcheck.capture.cell_numbers import MOST_WIDE, Cells
from pdcheck.capture.char_words import MASKS, words_of
from pdcheck.capture.csv_cells import bus_value, level

NOT_A_LEVEL = 255
NOT_A_BUS_VALUE = -1
_MOST_WORDS = 64
LEVEL_OF_BYTE = np.array(
    [NOT_A_LEVEL if (said := level(chr(code))) is None else said for code in range(256)], np.uint8
)
"""The level that a single character stands for; :data:`NOT_A_LEVEL` where it stands for none."""


def levels(cells: Cells) -> tuple[IntArray, Bytes] | None:
    """The cells that differ from the one above (the first always), and all their levels (255 for what is none).

    None where cells are wider than eight characters.
    """
    if int(cells.widths.min()) == 1 == int(cells.widths.max()):
        letters = cells.data.take(cells.starts)
        return _changes(letters), LEVEL_OF_BYTE.take(letters)
    if int(cells.widths.max()) > 8 or int(cells.widths.min()) < 1:
        return None
    words = words_of(cells.data)[cells.starts]
    words &= MASKS.take(cells.widths)
    changed = _changes(words)
    some = words[changed]
    said = spelled_levels(some, lambda row: int(some[row]).to_bytes(8, "little").rstrip(b"\0"))
    return changed, np.repeat(said, np.diff(changed, append=len(words)))


def spelled_levels(cells: NDArray[Any], text: Callable[[int], bytes]) -> Bytes:
    """The levels that cells of any kind spell, :data:`NOT_A_LEVEL` for what is none.

    Few different ones are there, mostly two, and each is looked for everywhere at once; from where there are too many
    on, all others are taken for none.

    :param text: what stands in the cell of a row.
    """
    said = np.full(len(cells), NOT_A_LEVEL, np.uint8)
    left = np.ones(len(cells), bool)
    for _ in range(_MOST_WORDS):
        row = int(left.argmax()) if len(left) else 0
        if not left[row : row + 1].any():
            break
        same = cells == cells[row]
        found = level(text(row).decode("latin-1"))
        if found is not None:
            np.copyto(said, np.uint8(found), where=same)
        left &= ~same
    return said


def buses(cells: Cells, bits: int) -> tuple[IntArray, Integers] | None:
    """The bus cells that differ from the one above (the first always), and all their values.

    :data:`NOT_A_BUS_VALUE` stands for what is no value, or one wider than ``bits``. None where a cell is wider than 32
    characters.
    """
    widest = int(cells.widths.max())
    if widest > MOST_WIDE or int(cells.widths.min()) < 1:
        return None
    words = words_of(cells.data)
    differs = np.ones(len(cells), bool)
    differs[1:] = cells.widths[1:] != cells.widths[:-1]
    for offset in range(0, widest, 8):
        part = words[cells.starts + offset]
        part &= MASKS.take(np.clip(cells.widths - offset, 0, 8))
        differs[1:] |= part[1:] != part[:-1]
    changed = np.flatnonzero(differs)
    picked = cells.pick(changed)
    inside = np.arange(widest) < picked.widths[:, None]
    text = np.where(inside, cells.data[picked.starts[:, None] + np.arange(widest)], 0).astype(np.uint8)
    values = bus_values(text, bits)
    return changed, np.repeat(values, np.diff(changed, append=len(cells)))


def bus_values(text: Bytes, bits: int) -> Integers:
    """The values of bus cells, a row a cell, filled up with zeros; :data:`NOT_A_BUS_VALUE` for what is none."""
    cells = np.ascontiguousarray(text).view(f"S{text.shape[1]}").ravel()
    distinct, which = np.unique(cells, return_inverse=True)
    said = np.empty(len(distinct), np.int64)
    for place, cell in enumerate(distinct.tolist()):
        found = bus_value(cell.decode("latin-1"))
        said[place] = NOT_A_BUS_VALUE if found is None or found[0] >> bits else found[0]
    return said[which]


def bit_rows(values: Bytes | Integers, bits: int) -> list[Bytes]:
    """The lanes of a bus from its lowest bit up; where ``bits`` is 0 the levels as they are."""
    if not bits:
        return [values.astype(np.uint8)]
    return [(values >> bit & 1).astype(np.uint8) for bit in range(bits)]


def _changes(values: NDArray[np.unsignedinteger]) -> IntArray:
    differs = np.empty(len(values), bool)
    differs[0] = True
    np.not_equal(values[1:], values[:-1], out=differs[1:])
    return np.flatnonzero(differs)
