"""The declarations at the top of a value change dump (IEEE 1364-2005, clause 18).

Why it is: what the short codes in the body stand for, and how long a tick is, is all said before
``$enddefinitions``; the body reader needs only the result.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pdcheck.capture.model import Role
from pdcheck.capture.names import TIME_UNITS, give_roles, read_name
from pdcheck.errors import CaptureError

MOST_LANES = 1024
_TIMESCALE = re.compile(r"([0-9]{1,4})\s*([a-zµμ]+)")
_RANGE = re.compile(r"^(.*?)\s*\[\s*(-?[0-9]{1,9})\s*(?::\s*(-?[0-9]{1,9})\s*)?\]$")


@dataclass(frozen=True)
class Variable:
    """A declared variable.

    :ivar code: its identifier code.
    :ivar name: unique among the variables.
    :ivar bits: names of its bits from the most significant down; empty for a real one.
    :ivar unit: of a real variable, with ``factor`` to it.
    """

    code: bytes
    name: str
    role: Role
    bits: tuple[str, ...]
    real: bool
    unit: str
    factor: float


@dataclass(frozen=True)
class Header:
    """All declarations. ``tick_s`` is 1.0 where ``stated`` is False."""

    tick_s: float
    stated: bool
    variables: tuple[Variable, ...]


@dataclass(frozen=True)
class _Declared:
    code: bytes
    scope: tuple[str, ...]
    reference: str
    indices: tuple[int, ...]
    real: bool

    def names(self) -> Iterator[str]:
        """Ways to name it, the shortest first."""
        for depth in range(len(self.scope) + 1):
            yield ".".join((*self.scope[len(self.scope) - depth :], self.reference))


def read_header(text: str, path: str, roles: Mapping[Role, str]) -> Header:
    """Read the declarations.

    :param text: everything up to and with ``$enddefinitions``.
    :raises CaptureError: they cannot be made sense of; the user names a variable that is not there.
    """
    tick, stated = 1.0, False
    scope: list[str] = []
    declared: list[_Declared] = []
    for keyword, words, line in _sections(text):
        if keyword == "$timescale":
            tick, stated = _tick(words, path, line), True
        elif keyword == "$scope":
            scope.append(words[-1] if words else "")
        elif keyword == "$upscope":
            if scope:
                scope.pop()
        elif keyword == "$var":
            declared.append(_variable(words, tuple(scope), path, line))
    return Header(tick, stated, _named(declared, path, roles))


def _sections(text: str) -> Iterator[tuple[str, list[str], int]]:
    """Keyword, words and line number of each ``$keyword ... $end``."""
    keyword, start = "", 1
    words: list[str] = []
    for number, line in enumerate(text.split("\n"), 1):
        for word in line.split():
            if not keyword:
                if word.startswith("$"):
                    keyword, words, start = word, [], number
            elif word == "$end":
                yield keyword, words, start
                keyword = ""
            else:
                words.append(word)
    if keyword:
        yield keyword, words, start


def _tick(words: list[str], path: str, line: int) -> float:
    found = _TIMESCALE.fullmatch("".join(words).lower())
    if found is None or found[2] not in TIME_UNITS or not 0 < int(found[1]) <= 1000:
        raise CaptureError(
            f"the timescale {' '.join(words)[:40]!r} is not one", "it is a number and a unit, as in '1 ns'",
            path=path, line=line,
        )  # fmt: skip
    return int(found[1]) * TIME_UNITS[found[2]]


def _variable(words: list[str], scope: tuple[str, ...], path: str, line: int) -> _Declared:
    if len(words) < 4 or not (words[1].isascii() and words[1].isdigit() and len(words[1]) < 10):
        raise CaptureError(
            f"the declaration '$var {' '.join(words)[:60]}' is incomplete", "export the capture again",
            path=path, line=line,
        )  # fmt: skip
    kind, size, code = words[0], int(words[1]), words[2]
    reference = " ".join(words[3:])
    real = kind in ("real", "realtime", "real_parameter", "shortreal")
    if kind in ("event", "string") or size == 0:
        return _Declared(code.encode(), scope, reference, (), False)
    found = _RANGE.match(reference)
    first, last = size - 1, 0
    if found is not None and found[3] is not None:
        reference, first, last = found[1], int(found[2]), int(found[3])
    if real:
        return _Declared(code.encode(), scope, reference, (0,), True)
    if size > MOST_LANES:
        raise CaptureError(
            f"{reference!r} is {size:,} bits wide; at most {MOST_LANES:,} can be read",
            "export only the channels that matter", path=path, line=line,
        )  # fmt: skip
    step = -1 if first >= last else 1
    return _Declared(code.encode(), scope, reference, tuple(first + step * bit for bit in range(size)), False)


def _named(declared: list[_Declared], path: str, roles: Mapping[Role, str]) -> tuple[Variable, ...]:
    if len(declared) > MOST_LANES:
        raise CaptureError(
            f"declares {len(declared):,} variables; at most {MOST_LANES:,} can be read",
            "export only the channels that matter", path=path,
        )  # fmt: skip
    # Several names may share one code: one line then, under the name that says most.
    by_code: dict[bytes, _Declared] = {}
    for one in declared:
        before = by_code.get(one.code)
        if before is None or (
            read_name(before.reference).role is Role.OTHER and read_name(one.reference).role is not Role.OTHER
        ):
            by_code[one.code] = one
    used: dict[str, int] = {}
    for one in by_code.values():
        for name in one.names():
            used[name] = used.get(name, 0) + 1
    unique = list(by_code.values())
    names = [next((name for name in one.names() if used[name] == 1), list(one.names())[-1]) for one in unique]
    said = [read_name(one.reference) for one in unique]
    given = give_roles(names, [named.role for named in said], roles, path)
    out: list[Variable] = []
    for one, name, named, role in zip(unique, names, said, given, strict=True):
        bits = () if one.real else (name,) if len(one.indices) == 1 else tuple(f"{name}[{i}]" for i in one.indices)
        out.append(Variable(one.code, name, role, bits, one.real, named.unit if one.real else "", named.factor))
    return tuple(out)
