"""Cells of a CSV file: splitting a row, and what a cell says.

Why it is: both the look at a file's layout and the careful reading of its rows need the same answers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_PARTS = re.compile(r"([+-]?)(\d*)(?:[.,](\d*))?(?:[eE]([+-]?\d{1,4}))?", re.ASCII)
_PLAIN = re.compile(r"(\d{1,18})(?:[.,](\d{0,20}))?", re.ASCII)
_OUT_OF_RANGE = re.compile(
    r"[+-]?(?:o\.?l\.?|ovld?|over(?:load|range|flow)?|inf(?:inity)?|∞)|[+-]?(?:-{2,}|\*{2,})", re.IGNORECASE
)
#: What programs print for a value that is not there.
MISSING = frozenset({"nan", "n/a", "null", "none"})
LEVEL_WORDS: dict[str, int] = {
    "0": 0, "1": 1, "l": 0, "h": 1, "low": 0, "high": 1, "false": 0, "true": 1, "lo": 0, "hi": 1,
    "off": 0, "on": 1, "no": 0, "yes": 1, "inactive": 0, "active": 1, "falling": 0, "rising": 1, "fall": 0, "rise": 1,
    "falling edge": 0, "rising edge": 1, "negedge": 0, "posedge": 1, "logic 0": 0, "logic 1": 1,
    "falsch": 0, "wahr": 1, "faux": 0, "vrai": 1, "falso": 0, "verdadero": 1, "vero": 1, "ложь": 0, "истина": 1,
    **{f"{a}{to}{b}": int(b in "1h") for to in ("->", "\u2192") for a, b in ("01", "10", "lh", "hl")},
    "\u2193": 0, "\u2191": 1,
}  # fmt: skip
COMMENT_MARKS = ("#", ";", "//", "%", "!")
DELIMITERS = ("\t", ";", ",", "|", " ")
USUAL_DELIMITERS = DELIMITERS[:3]


def decoded(text: bytes) -> str:
    """The text, as UTF-8 where it is that, else a character a byte."""
    try:
        return text.decode()
    except UnicodeDecodeError:
        return text.decode("latin-1")


def split_row(line: str, delimiter: str) -> list[str]:
    """The cells of a row, unquoted and stripped. ``" "`` splits at runs of blanks, ``""`` not at all."""
    if delimiter == "":
        return [line.strip().strip('"')]
    if '"' not in line:
        if delimiter == " ":
            return line.split()
        return [cell.strip() for cell in line.split(delimiter)]
    cells: list[str] = []
    now: list[str] = []
    inside = False
    for char in line:
        if char == '"':
            inside = not inside
        elif inside or not (char == delimiter or (delimiter == " " and char.isspace())):
            now.append(char)
        elif delimiter != " " or now:
            cells.append("".join(now).strip())
            now = []
    if delimiter != " " or now:
        cells.append("".join(now).strip())
    return cells


def joined(cells: Sequence[str], delimiter: str) -> str:
    """The row of these cells; what :func:`split_row` takes apart."""
    return delimiter.join(f'"{cell}"' if delimiter and delimiter in cell else cell for cell in cells)


def is_number(cell: str) -> bool:
    """A plain decimal number, with point or comma, perhaps with an exponent."""
    return _NUMBER.fullmatch(cell) is not None


def is_out_of_range(cell: str) -> bool:
    """What an instrument prints for a reading out of its range (``OL``, ``∞``, ``----``), 9.9E+37 apart."""
    return _OUT_OF_RANGE.fullmatch(cell) is not None


def is_missing(cell: str) -> bool:
    """An empty cell, or what programs print for a value that is not there (``NaN``, ``N/A``, ``null``)."""
    return not cell or cell.lower() in MISSING


def number(cell: str) -> float:
    """The number in a cell for which :func:`is_number` holds."""
    return float(cell.replace(",", "."))


def whole_and_part(cell: str) -> tuple[int, float]:
    """A number as an integer and a rest below one, so that a large start can be taken off without loss."""
    found = _PARTS.fullmatch(cell)
    if found is None or found[4]:
        value = number(cell)
        whole = int(value)
        return whole, value - whole
    sign, digits, decimals, _ = found.groups()
    whole = int(digits or 0)
    part = float("0." + decimals) if decimals else 0.0
    return (-whole, -part) if sign == "-" else (whole, part)


def plain_parts(cell: str) -> tuple[int, float] | None:
    """As :func:`whole_and_part`, for what most cells hold: digits, a point, digits. None for anything else."""
    found = _PLAIN.fullmatch(cell)
    if found is None:
        return None
    whole, decimals = found.groups()
    return int(whole), float("0." + decimals) if decimals else 0.0


def quantum(cell: str) -> float:
    """The weight of the last digit of a number: how finely it is printed."""
    found = _PARTS.fullmatch(cell)
    if found is None:
        return 0.0
    exponent = int(found[4] or 0) - len(found[3] or "")
    return 10.0 ** min(max(exponent, -300), 300)


def level(cell: str) -> int | None:
    """0 or 1 where the cell says so: a digit, a number equal to it, or a word."""
    known = LEVEL_WORDS.get(cell)
    if known is None:
        known = LEVEL_WORDS.get(cell.lower())
    if known is None and is_number(cell):
        value = number(cell)
        if value in (0.0, 1.0):
            return int(value)
    return known


def bus_value(cell: str) -> tuple[int, int] | None:
    """The value and the number of bits of a hexadecimal or binary cell (``0x1F``, ``1Fh``, ``0b0101``, ``0101``)."""
    text = cell.lower().replace("_", "")
    try:
        if text.startswith("0x") and len(text) > 2:
            return int(text[2:], 16), 4 * (len(text) - 2)
        if text.endswith("h") and len(text) > 1:  # before "0b", for "0Bh" is eleven
            return int(text[:-1], 16), 4 * (len(text) - 1)
        if text.startswith("0b") and len(text) > 2:
            return int(text[2:], 2), len(text) - 2
        if len(text) > 1 and not text.strip("01"):
            return int(text, 2), len(text)
    except ValueError:
        return None
    return None


def strip_comment(line: str) -> str | None:
    """The line without its comment mark; None where it has none."""
    bare = line.strip().strip('"').lstrip()
    for mark in COMMENT_MARKS:
        if bare.startswith(mark):
            return line.strip().lstrip('"').lstrip().removeprefix(mark).lstrip(mark[0]).strip()
    return None
