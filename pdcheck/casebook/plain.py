"""Text and JSON from outside, made safe to keep and to show.

Why it is: a field may hold anything that can be typed or read from a file. It is kept as it is, as far as it is text
at all; shown, it may not steer the terminal.
"""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn


def as_text(given: str) -> str:
    """The same text; what is no character (half a surrogate pair, a byte that the terminal could not decode) is
    replaced, for it could be neither kept nor printed."""
    return given.encode("utf-16", "surrogatepass").decode("utf-16", "replace")


def one_line(text: str) -> str:
    """Text as one harmless line: line ends and tabs as blanks, other control characters visibly replaced."""
    flat = " ".join(as_text(text).split())
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in flat)


def short(text: str, width: int) -> str:
    """One harmless line of at most ``width`` characters, its cut shown by dots."""
    return cut(one_line(text), width)


def cut(line: str, width: int) -> str:
    """A line that is harmless already, cut to ``width`` characters."""
    return line if len(line) <= width else line[: max(0, width - 3)].rstrip() + "..."


def parse_json(text: str) -> Any:
    """JSON as RFC 8259 has it: no NaN, no number that does not fit a double, texts without half characters.

    :raises ValueError: it is something else; the message says what.
    """
    try:
        return _whole(json.loads(text, parse_constant=_refuse, parse_float=_finite))
    except RecursionError:
        raise ValueError("is nested too deeply") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"is not JSON ({error.msg} at character {error.pos + 1})") from None


def to_json(value: Any) -> str:
    """JSON on one line, always in the same form for the same value."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def _refuse(name: str) -> NoReturn:
    raise ValueError(f"holds {name}, which is no JSON number")


def _finite(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"holds {digits[:20]}, which is too large a number")
    return value


def _whole(value: Any) -> Any:
    if isinstance(value, str):
        return as_text(value)
    if isinstance(value, list):
        return [_whole(item) for item in value]
    if isinstance(value, dict):
        return {as_text(key): _whole(item) for key, item in value.items()}
    return value
