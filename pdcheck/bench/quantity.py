"""What a technician types for a reading: ``0.41``, ``410 mV``, ``4.7k``, ``5k1``, ``1,2``, ``OL``.

Why it is: a reading misread by a factor of a thousand accuses a good part. Whatever can be meant in two ways is
refused with one line that says how to write it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.errors import InputError


class Kind(StrEnum):
    """What is measured; the value's unit is the base unit but for currents, which are in mA."""

    VOLTS = "volts"
    OHMS = "ohms"
    MILLIAMPS = "mA"


@dataclass(frozen=True)
class _Unit:
    """How a kind is written. ``words``: spellings of its unit; ``most``: the highest value that makes sense."""

    words: str
    example: str
    most: float
    symbol: str


_UNITS = {
    Kind.VOLTS: _Unit(r"v(?: ?dc)?|volts?", "0.41 or 410 mV", 60.0, "V"),
    Kind.OHMS: _Unit(r"ohms?|Ω|Ω|r", "5.1k, 5k1 or OL", 1e9, "ohm"),
    Kind.MILLIAMPS: _Unit(r"a(?: ?dc)?|amps?", "30 mA or 1.2 A", 50e3, "A"),
}
_PREFIX = {"": 1.0, "u": 1e6, "m": 1e3, "k": 1e-3, "M": 1e-6, "G": 1e-9}
_OPEN = re.compile(r"[o0]\.?l\.?|open|over ?load|over ?range|inf(inity|inite)?|∞", re.IGNORECASE)
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)(?P<whole>[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]*))?(?P<power>[eE][+-]?[0-9]{1,2})?"
)
_LOOKALIKES = {ord("\N{MINUS SIGN}"): "-", ord("\N{MICRO SIGN}"): "u", ord("\N{GREEK SMALL LETTER MU}"): "u"}
#: 5k1, 4R7, 1M2, 3V3: the prefix or unit stands where the decimal mark would.
_INSIDE = re.compile(r"(?P<sign>[+-]?)(?P<whole>[0-9]+)(?P<letter>[kKmMrRvV])(?P<part>[0-9]+)")
_LONGEST = 40


def parse(text: str, kind: Kind) -> float:
    """The value in volts, ohms or mA; ``math.inf`` for an open circuit (ohms only).

    :raises InputError: where the text is no such reading, or could mean two.
    """
    unit = _UNITS[kind]
    typed = text.strip()
    shown = repr("".join(c for c in typed if c.isprintable())[:24])
    # No-break spaces are blanks to \\s as well.
    clean = re.sub(r"\s+", " ", typed.translate(_LOOKALIKES))
    if not clean or len(clean) > _LONGEST:
        raise InputError(f"{shown} is no reading", f"type for example {unit.example}")
    if _OPEN.fullmatch(clean):
        if kind is Kind.OHMS:
            return math.inf
        raise InputError(
            f"{shown} is no reading in {unit.symbol}", f"choose a higher range; type for example {unit.example}",
        )
    value = _inside(clean, kind)
    if value is None:
        value = _plain(clean, kind, shown)
    if value is None:
        raise InputError(f"{shown} is no reading in {unit.symbol}", f"type for example {unit.example}")
    if value < 0 and kind is Kind.OHMS:
        raise InputError(f"{shown} is below zero", "short the probes, zero the meter and measure again")
    if abs(value) > unit.most:
        limit = "1000 Mohm; type OL for open" if kind is Kind.OHMS else f"{'60 V' if kind is Kind.VOLTS else '50 A'}"
        raise InputError(f"{shown} is more than {limit}", "check the unit and the decimal mark")
    # Without the float's last bit: 5.1k is 5100 ohm, as the tables write it.
    return round(value, 9)


def _inside(clean: str, kind: Kind) -> float | None:
    """A value such as ``5k1``."""
    whole = re.sub(r" ?(?:ohms?|Ω|Ω)$", "", clean, flags=re.IGNORECASE) if kind is Kind.OHMS else clean
    found = _INSIDE.fullmatch(whole)
    if found is None:
        return None
    letter = found["letter"]
    allowed = {Kind.OHMS: {"k": 1e3, "K": 1e3, "M": 1e6, "r": 1.0, "R": 1.0}, Kind.VOLTS: {"v": 1.0, "V": 1.0}}
    factor = allowed.get(kind, {}).get(letter)
    if factor is None:
        return None
    return float(f"{found['sign']}{found['whole']}.{found['part']}") * factor


def _plain(clean: str, kind: Kind, shown: str) -> float | None:
    """A number with or without a unit."""
    found = _NUMBER.match(clean)
    if found is None or not (found["whole"] or found["part"]):
        return None
    if found["mark"] == "," and found["whole"].strip("0") and len(found["part"]) == 3 and kind is not Kind.VOLTS:
        raise InputError(f"{shown} can mean two numbers", "write a decimal point, or k for thousands")
    number = float(f"{found['sign']}{found['whole'] or '0'}.{found['part'] or '0'}{found['power'] or ''}")
    rest = clean[found.end():].strip()
    prefix = _prefix(rest, kind, shown)
    if prefix is None:
        return None
    if kind is Kind.MILLIAMPS:
        if not rest:
            if 0 < abs(number) < 10:
                raise InputError(f"{shown}: is that mA or A?", "type the unit as well, for example 30 mA or 1.2 A")
            return number
        return number / _PREFIX[prefix] * 1e3
    return number / _PREFIX[prefix]


def _prefix(rest: str, kind: Kind, shown: str) -> str | None:
    """The SI prefix of what stands behind the number; None where that is no unit of this kind."""
    if not rest:
        return ""
    found = re.fullmatch(rf"(?P<prefix>[a-zA-Z]??) ?(?:{_UNITS[kind].words})?", rest, re.IGNORECASE)
    if found is None:
        return None
    prefix = found["prefix"]
    if kind is Kind.OHMS:
        if prefix == "m":
            raise InputError(f"{shown}: milliohm or megohm?", "write M for megohm, or the number in ohms")
        prefix = {"K": "k", "g": "G"}.get(prefix, prefix)
        return prefix if prefix in ("", "k", "M", "G") else None
    # Nobody means megavolts or megaamps.
    prefix = {"M": "m", "U": "u", "K": "k"}.get(prefix, prefix)
    return prefix if prefix in ("", "m", "u") else None


def words(value: float, kind: Kind) -> str:
    """A value as a meter would show it: ``"0.41 V"``, ``"5.1 kohm"``, ``"OL"``, ``"30 mA"``."""
    if kind is Kind.VOLTS:
        return f"{value:.3g} V" if abs(value) >= 10 else f"{value:.2f} V"
    if kind is Kind.MILLIAMPS:
        return f"{value:.0f} mA" if abs(value) < 1000 else f"{value / 1000:.2f} A"
    if math.isinf(value):
        return "OL"
    if value >= 1e6:
        return f"{value / 1e6:.3g} Mohm"
    return f"{value / 1e3:.3g} kohm" if value >= 1e3 else f"{value:.{2 if value < 1 else 1}f} ohm"
