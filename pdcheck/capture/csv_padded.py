"""Numbers padded with blanks to one width: ``   5.012``, ``  -0.003``.

Why it is: tables that are laid out for the eye put the sign where there is room, so rows are of one width and the place
of the sign changes. Such cells are read a column of characters at a time.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.arrays import Bytes, FloatArray

_BLANK, _MINUS, _ZERO = 0x20, 0x2D, 0x30
#: A float holds so many digits exactly, and one division by a power of ten rounds once.
_MOST_DIGITS = 15


def padded_decimals(cells: Bytes, point: int) -> FloatArray | None:
    """The values of cells of one width, right-aligned; None where one is no plain decimal.

    :param cells: a cell a row. :param point: the place of the point in each, their width where they have none.
    """
    width = cells.shape[1]
    if width > _MOST_DIGITS + 1 or not 0 < point <= width:
        return None
    columns = np.ascontiguousarray(cells.T)
    if point < width and not bool((columns[point] == cells[0, point]).all()):
        return None
    whole = np.zeros(len(cells), np.int64)
    minus = np.zeros(len(cells), bool)
    begun = np.zeros(len(cells), bool)  # a sign or a digit has come
    for place in range(width):
        if place == point:
            if not bool(begun.all()):
                return None
            continue
        column = columns[place]
        digits = column - np.uint8(_ZERO)
        are_digits = digits <= 9
        if place < point - 1:
            signs, blanks = column == _MINUS, column == _BLANK
            if not bool((are_digits | ((signs | blanks) & ~begun)).all()):
                return None
            minus |= signs
            begun |= ~blanks
            digits[~are_digits] = 0
        elif not bool(are_digits.all()):
            return None
        else:
            begun[:] = True
        whole *= 10
        whole += digits
    values: FloatArray = whole / 10.0 ** max(0, width - point - 1)
    np.negative(values, out=values, where=minus)
    return values
