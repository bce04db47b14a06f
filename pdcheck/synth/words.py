"""The small words of a scenario: quantities with their units, names, lines split into pieces.

Why it is: every part of the text form reads numbers the same way, and every mistake is said with its line and what
to write instead.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from difflib import get_close_matches

from pdcheck.errors import ScenarioError

_NUMBER = r"\d{1,9}(?:\.\d{1,9})?"
_QUANTITY = re.compile(rf"([+-]?{_NUMBER})([a-zA-Zµ%/]*)")
_RANGE = re.compile(rf"({_NUMBER})([a-zA-Z]*)-({_NUMBER})([a-zA-Z]+)")
_WHOLE = re.compile(r"(0[xX][0-9a-fA-F]{1,12}|\d{1,12})")

TIME: dict[str, Decimal] = {
    "s": Decimal(1), "ms": Decimal("1e-3"), "us": Decimal("1e-6"), "µs": Decimal("1e-6"), "ns": Decimal("1e-9"),
}
VOLTS: dict[str, Decimal] = {"V": Decimal(1), "mV": Decimal("1e-3")}
AMPS: dict[str, Decimal] = {"A": Decimal(1), "mA": Decimal("1e-3")}
WATTS: dict[str, Decimal] = {"W": Decimal(1), "mW": Decimal("1e-3")}
BIT_RATE: dict[str, Decimal] = {"k": Decimal(1000), "kbit/s": Decimal(1000), "bit/s": Decimal(1)}
SAMPLE_RATE: dict[str, Decimal] = {
    "MS/s": Decimal(1_000_000), "kS/s": Decimal(1000), "S/s": Decimal(1),
    "MHz": Decimal(1_000_000), "kHz": Decimal(1000), "Hz": Decimal(1),
}
PER_SECOND: dict[str, Decimal] = {"Hz": Decimal(1), "kHz": Decimal(1000), "/s": Decimal(1)}

LONGEST_S = 3600.0
"""No time in a scenario may lie beyond an hour."""


class Complaint(Exception):
    """A mistake whose place the caller knows."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what = what
        self.remedy = remedy

    def at(self, path: str, line: int) -> ScenarioError:
        """The error with its place."""
        return ScenarioError(self.what, self.remedy, path=path, line=line)


def shown(text: str) -> str:
    """A piece of the user's text, short enough for a message."""
    return repr(text if len(text) <= 40 else text[:37] + "...")


def quantity(text: str, units: dict[str, Decimal]) -> Decimal | None:
    """The number with one of the units, in the base unit; None where ``text`` is something else."""
    found = _QUANTITY.fullmatch(text)
    if found is None or found[2] not in units:
        return None
    return Decimal(found[1]) * units[found[2]]


def must(text: str, units: dict[str, Decimal], example: str) -> Decimal:
    """As :func:`quantity`, or a complaint that gives an example."""
    value = quantity(text, units)
    if value is None:
        raise Complaint(f"{shown(text)} is not what belongs here", f"write it like {example}")
    return value


def duration(text: str, example: str = "20ms") -> float:
    """A length of time in seconds, not negative and not beyond an hour."""
    value = float(must(text, TIME, example))
    if not 0 <= value <= LONGEST_S:
        raise Complaint(f"{shown(text)} is no usable time", f"write a time between 0s and {LONGEST_S:.0f}s")
    return value


def between(value: float, low: float, high: float, text: str, unit: str) -> float:
    """The value, if it lies between the two, both included."""
    if not low <= value <= high:
        raise Complaint(f"{shown(text)} is out of range", f"write a value from {low:g} to {high:g} {unit}")
    return value


def span(text: str, units: dict[str, Decimal]) -> tuple[Decimal, Decimal] | None:
    """A range like ``3.3V-11V`` or ``3.3-11V`` in the base unit; None where ``text`` is none."""
    found = _RANGE.fullmatch(text)
    if found is None or found[4] not in units or (found[2] and found[2] not in units):
        return None
    return Decimal(found[1]) * units[found[2] or found[4]], Decimal(found[3]) * units[found[4]]


def whole(text: str, low: int, high: int, what: str) -> int:
    """A whole number, plain or hexadecimal with ``0x``."""
    if _WHOLE.fullmatch(text) is None:
        raise Complaint(f"{shown(text)} is no {what}", f"write a whole number from {low} to {high}")
    value = int(text, 16) if text[:2].lower() == "0x" else int(text)
    if not low <= value <= high:
        raise Complaint(f"{text} is no {what}", f"write a whole number from {low} to {high}")
    return value


def milli(value: Decimal, text: str) -> int:
    """Thousandths as an integer."""
    thousandths = value * 1000
    if thousandths != int(thousandths):
        raise Complaint(f"{shown(text)} is finer than a thousandth", "write fewer decimals")
    return int(thousandths)


def one_of(text: str, names: Iterable[str], what: str) -> str:
    """The name that ``text`` is, in whatever case; a complaint that names the nearest otherwise."""
    known = list(names)
    for name in known:
        if name.lower() == text.lower():
            return name
    alike = [name.lower() for name in known] if text[:1].isalpha() else []
    near = get_close_matches(text.lower(), alike, 1, 0.6)
    nearest = next((name for name in known if near and name.lower() == near[0]), None)
    listed = ", ".join(known) if len(known) <= 12 else ", ".join(known[:12]) + ", ..."
    raise Complaint(
        f"{shown(text)} is no {what}", f"did you mean {nearest}?" if nearest else f"write one of: {listed}"
    )


def pieces(text: str, mark: str) -> list[str]:
    """``text`` split at every ``mark`` that stands outside of double quotes; the pieces without blanks around."""
    out: list[str] = []
    current: list[str] = []
    quoted = False
    for char in text:
        if char == '"':
            quoted = not quoted
        if char == mark and not quoted:
            out.append("".join(current).strip())
            current = []
        else:
            current.append(char)
    if quoted:
        raise Complaint("a quotation mark is opened and not closed", 'close it with "')
    out.append("".join(current).strip())
    return out


def blocks(text: str) -> list[str]:
    """``text`` split at blanks outside of double quotes; quotation marks are kept."""
    return [piece for piece in pieces(text.replace("\t", " "), " ") if piece]


def unquoted(text: str) -> str:
    """Without the quotation marks around it."""
    return text[1:-1] if len(text) >= 2 and text[0] == text[-1] == '"' else text


def without_comment(text: str) -> str:
    """The line up to a ``#`` outside of double quotes."""
    quoted = False
    for place, char in enumerate(text):
        if char == '"':
            quoted = not quoted
        elif char == "#" and not quoted:
            return text[:place]
    return text
