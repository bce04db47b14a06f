"""Taking a value out of foreign JSON, with its type made sure.

Why it is: a report or a case may come from anywhere; a list where a text should be is a broken line, not a crash.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

_MISSING = object()


def mapping(value: Any, what: str) -> Mapping[str, Any]:
    """The value as an object. :raises ValueError: it is none."""
    if not isinstance(value, dict):
        raise ValueError(f"{what} is not an object")
    return value


def items(of: Mapping[str, Any], name: str) -> list[Any]:
    """The list of that name; empty where it is missing. :raises ValueError: it is no list."""
    value = of.get(name, [])
    if not isinstance(value, list):
        raise ValueError(f"{name!r} is not a list")
    return value


def text(of: Mapping[str, Any], name: str, default: Any = _MISSING) -> str:
    """The text of that name. :raises ValueError: it is missing (without a default), or no text."""
    value = of.get(name, default)
    if value is _MISSING:
        raise ValueError(f"{name!r} is missing")
    if not isinstance(value, str):
        raise ValueError(f"{name!r} is not a text")
    return value


def text_or_none(of: Mapping[str, Any], name: str) -> str | None:
    """The text of that name, None where it is null or missing."""
    return None if of.get(name) is None else text(of, name)


def number(of: Mapping[str, Any], name: str) -> float | None:
    """The number of that name, None where it is null or missing. :raises ValueError: it is none."""
    value = of.get(name)
    if value is None:
        return None
    if isinstance(value, int):
        whole(of, name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{name!r} is not a number")
    return float(value)


def whole(of: Mapping[str, Any], name: str) -> int | None:
    """The integer of that name, None where it is null or missing. :raises ValueError: it is none."""
    value = of.get(name)
    if value is None:
        return None
    # SQLite's and most other programs' integers end here.
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) >= 1 << 63:
        raise ValueError(f"{name!r} is not a whole number")
    return value
