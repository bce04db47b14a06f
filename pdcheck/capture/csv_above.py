"""What the lines above a CSV file's header say: the sample rate or interval, the unit of the times.

Why it is: scopes and analyzers put there what they do not repeat in every row, each in words of its own; a file
without times can be read by it, and one without units.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pdcheck.capture.csv_cells import number
from pdcheck.capture.names import TIME_UNITS

_QUANTITY = r"[^0-9+\-]{0,24}?([+-]?(?:[0-9]+(?:[.,][0-9]+)?|[.][0-9]+)(?:[eE][+-]?[0-9]+)?)[\s\"',;\t]*([a-zA-Zµμ/]*)"
_RATE = re.compile(r"(?:sampl\w*|acquisition)[\s_-]*(?:rate|freq\w*)" + _QUANTITY, re.IGNORECASE)
_STEP = re.compile(
    r"(?:interval|period|increment|time[\s_-]*step|\bdt\b|delta[\s_-]*t\b|sample[\s_-]*time|step)" + _QUANTITY,
    re.IGNORECASE,
)
_UNIT_ABOVE = re.compile(
    r"(?:time[\s_-]*(?:unit|base|scale)s?|units?[\s_-]*of[\s_-]*time)\W{0,6}(?:1\W{0,3})?([a-zµμ]+)", re.IGNORECASE
)
_PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}


def interval_above(above: Sequence[str]) -> float | None:
    """Seconds between samples, from the lines above the header."""
    for line in above:
        found = _RATE.search(line)
        if found:
            prefix = found[2][:1].lower() if found[2][:1] in tuple("kKMGmg") else ""
            rate = number(found[1]) * _PREFIX[prefix]
            if rate > 0:
                return 1 / rate
    for line in above:
        found = _STEP.search(line)
        if found:
            step = number(found[1]) * TIME_UNITS.get(found[2].lower(), 1.0)
            if step > 0:
                return step
    return None


def unit_above(above: Sequence[str]) -> float | None:
    """Seconds in the unit of time that a line above the header names."""
    for line in above:
        found = _UNIT_ABOVE.search(line)
        if found and found[1].lower() in TIME_UNITS:
            return TIME_UNITS[found[1].lower()]
    return None
