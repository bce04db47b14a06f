"""What a column is, by its name: role, unit, time or count.

Why it is: exports name the same thing in twenty ways (``CC1 [V]``, ``ch1_cc1_mv``, ``Time(us)``). All reading of
names is here, for every format.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from pdcheck.capture.model import Role
from pdcheck.errors import CaptureError, shortened

TIME_UNITS: dict[str, float] = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "sekunden": 1.0,
    "ms": 1e-3, "msec": 1e-3, "msecs": 1e-3, "millis": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3,
    "us": 1e-6, "usec": 1e-6, "usecs": 1e-6, "micros": 1e-6, "microsecond": 1e-6, "microseconds": 1e-6,
    "µs": 1e-6, "μs": 1e-6,
    "ns": 1e-9, "nsec": 1e-9, "nsecs": 1e-9, "nanos": 1e-9, "nanosecond": 1e-9, "nanoseconds": 1e-9,
    "ps": 1e-12, "picosecond": 1e-12, "picoseconds": 1e-12,
    "fs": 1e-15,
    "sekunde": 1.0, "millisekunden": 1e-3, "mikrosekunden": 1e-6, "nanosekunden": 1e-9,
    "seconde": 1.0, "secondes": 1.0, "millisecondes": 1e-3, "microsecondes": 1e-6, "nanosecondes": 1e-9,
    "segundos": 1.0, "milisegundos": 1e-3, "microsegundos": 1e-6, "nanosegundos": 1e-9,
    "secondi": 1.0, "millisecondi": 1e-3, "microsecondi": 1e-6, "nanosecondi": 1e-9,
    "с": 1.0, "сек": 1.0, "мс": 1e-3, "мкс": 1e-6, "нс": 1e-9,
    "秒": 1.0, "毫秒": 1e-3, "微秒": 1e-6, "纳秒": 1e-9, "ミリ秒": 1e-3, "マイクロ秒": 1e-6, "ナノ秒": 1e-9,
}  # fmt: skip
"""Seconds in each unit of time that a header may name."""

VALUE_UNITS: dict[str, tuple[str, float]] = {
    "v": ("V", 1.0), "volt": ("V", 1.0), "volts": ("V", 1.0),
    "mv": ("V", 1e-3), "millivolt": ("V", 1e-3), "millivolts": ("V", 1e-3),
    "uv": ("V", 1e-6), "µv": ("V", 1e-6), "μv": ("V", 1e-6), "kv": ("V", 1e3),
    "a": ("A", 1.0), "amp": ("A", 1.0), "amps": ("A", 1.0), "ampere": ("A", 1.0), "amperes": ("A", 1.0),
    "ma": ("A", 1e-3), "milliamp": ("A", 1e-3), "milliamps": ("A", 1e-3), "milliampere": ("A", 1e-3),
    "ua": ("A", 1e-6), "µa": ("A", 1e-6), "μa": ("A", 1e-6),
    "в": ("V", 1.0), "мв": ("V", 1e-3), "伏": ("V", 1.0), "伏特": ("V", 1.0), "毫伏": ("V", 1e-3),
    "а": ("A", 1.0), "ма": ("A", 1e-3), "安": ("A", 1.0), "安培": ("A", 1.0), "毫安": ("A", 1e-3),
}  # fmt: skip
"""The base unit, and the factor to it, of each unit that a header may name."""

#: Letters that are units of their own, and as often the name of a channel.
_LETTERS = ("s", "с")
_AMPS = ("a", "а")
_TIME_WORDS = frozenset({
    "time", "times", "timestamp", "timestamps", "t", "x", "elapsed", "zeit", "temps", "tiempo", "tempo", "timebase",
    "время", "时间", "时刻", "時間", "時刻", "采样时间", "相对时间", "経過時間",
})  # fmt: skip
_COUNT_WORDS = frozenset(
    {"index", "idx", "sample", "samples", "n", "no", "nr", "row", "point", "points", "number", "count", "sequence",
     "tick", "ticks", "cycle", "cycles", "messpunkt", "échantillon", "échantillons", "muestra", "muestras", "campione",
     "campioni", "номер", "отсчет", "отсчёт", "序号", "编号", "采样点", "番号", "№"}
)
_CURRENT_WORDS = frozenset({
    "current", "curr", "i", "amps", "amperage", "ibus", "ivbus", "iin", "iout", "strom", "courant", "corriente",
    "corrente", "ток", "电流", "電流",
})  # fmt: skip
_WORD = re.compile(r"[^\W_]+")
#: Characters that are looked at. No name is that long, and brackets that none closes take squared time.
_LONGEST = 1000
_OPTIONS = {Role.CC1: "cc", Role.CC2: "cc2", Role.VBUS: "vbus", Role.CURRENT: "current", Role.OTHER: "other"}
_CODES = re.compile(
    r"[\[({<（【［]\s*(?:raw|adc|counts?|codes?|lsb|digits?|div(?:ision)?s?|dbu?v|dbm?|dbm?v|%|percent)\s*[\])}>）】］]"
    r"|[\s_](?:raw|adc|counts?|codes?|lsb)$", re.IGNORECASE
)
_IN_BRACKETS = re.compile(r"[\[({<（【［]\s*([^\])}>）】］]*?)\s*[\])}>）】］]")
#: "Time (10 ns)", "t [x1e-6 s]", "Ticks (48 MHz)", "Sample at 4 MS/s".
_TICK = re.compile(
    r"(?:@|\bat\b)?\s*[\[({]?\s*(?:[x×*]\s*)?"
    r"(?:10\s*\^\s*([+-]?\d{1,2})|(\d{1,9}(?:[.,]\d{1,9})?(?:e[+-]?\d{1,2})?))\s*"
    r"(?:([kmg]?)(?:hz|s/s|sa/s|sps|samples?/s)|([munpµμ]?s))\b(?!/)\s*[\])}]?", re.IGNORECASE
)
#: Of rates, so that ``m`` is a million.
RATE_PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}


@dataclass(frozen=True)
class Named:
    """What a name says.

    :ivar role: OTHER where it says nothing.
    :ivar unit: ``"V"``, ``"A"``, ``"s"`` or ``""``.
    :ivar factor: to that unit.
    :ivar is_time: a time column.
    :ivar is_count: a column that counts rows.
    :ivar tick_s: of a column of times or counts, how many seconds it says that one of them is.
    """

    role: Role
    unit: str
    factor: float
    is_time: bool
    is_count: bool
    tick_s: float | None = None


def read_name(name: str) -> Named:
    """Read a column's name."""
    tick = _TICK.search(name[:_LONGEST])
    if tick is None:
        return _read_name(name)
    without = _read_name(name[: tick.start()] + name[tick.end() :])
    if not without.is_time and not without.is_count:
        return _read_name(name)
    count = 10.0 ** int(tick[1]) if tick[1] else float(tick[2].replace(",", "."))
    unit = TIME_UNITS.get((tick[4] or "").lower())
    size = count * unit if unit else 1 / (count * RATE_PREFIX[tick[3].lower()]) if count > 0 else 0.0
    return replace(without, tick_s=size) if 0 < size < 1 else without


def is_in_codes(name: str) -> bool:
    """Whether a column's name says that its numbers are codes, divisions or decibels, and neither volts nor amps."""
    return _CODES.search(name.strip()[:_LONGEST]) is not None


def _read_name(name: str) -> Named:
    bare, unit_text = _split_unit(name[:_LONGEST])
    words = [word.lower() for word in _WORD.findall(bare)]
    time_unit = TIME_UNITS.get(unit_text)
    value_unit = VALUE_UNITS.get(unit_text)
    is_count = name.strip() == "#" or (bool(words) and all(word in _COUNT_WORDS for word in words) and not unit_text)
    is_time = not is_count and (
        (bool(words) and bool(_TIME_WORDS.intersection(words)) and value_unit is None and len(words) <= 4)
        or (time_unit is not None and not words)
        or (time_unit is not None and unit_text not in _LETTERS)
    )
    if is_time:
        return Named(Role.OTHER, "s" if time_unit else "", time_unit or 1.0, True, False)
    unit, factor = value_unit or ("", 1.0)
    return Named(_role(words, unit), unit, factor, False, is_count)


def _split_unit(name: str) -> tuple[str, str]:
    """The name without its unit, and the unit in lower case (empty where there is none)."""
    name = name.strip().strip("\"'").removesuffix("()").rstrip(".")
    for match in _IN_BRACKETS.finditer(name):
        unit = match.group(1).lower()
        if unit in TIME_UNITS or unit in VALUE_UNITS:
            return name[: match.start()] + " " + name[match.end() :], unit
    parts = re.split(r"[\s/_,:;.-]+(?:in\s+)?", name)
    last = parts[-1].lower() if parts else ""
    if last in _AMPS and not (len(parts) > 1 and _CURRENT_WORDS.intersection(map(str.lower, parts[:-1]))):
        last = ""  # "CC_A" is a contact, "IBUS_A" is in amps
    if len(parts) > 1 and (last in TIME_UNITS or last in VALUE_UNITS):
        return name[: len(name) - len(parts[-1])], last
    if name.lower() in TIME_UNITS and name.lower() not in _LETTERS:
        return "", name.lower()
    return name, ""


def _role(words: Sequence[str], unit: str) -> Role:
    joined = "".join(words)
    pairs = {a + b for a, b in pairwise(words)}
    every = pairs.union(words)
    if unit == "A" or (_CURRENT_WORDS.intersection(words) and unit != "V") or "ibus" in every:
        return Role.CURRENT
    if "vbus" in joined and "en" not in words:
        return Role.VBUS
    if every & {"cc2", "ccb"}:
        return Role.CC2
    if every & {"cc1", "cca", "cc"}:
        return Role.CC1
    return Role.OTHER


def give_roles(
    names: Sequence[str], said: Sequence[Role], roles: Mapping[Role, str], path: str,
    *, skip: frozenset[int] = frozenset(),
) -> list[Role]:  # fmt: skip
    """The role of each column: the user's word first, then the header's, each role once.

    :param names: the columns' names, in order.
    :param said: what each name says.
    :param roles: the user's choice, role to name or 1-based column number.
    :param skip: columns that cannot bear a role (the time column).
    :raises CaptureError: the user names a column that is not there, or one column twice.
    """
    given: dict[int, Role] = {}
    for role, wanted in roles.items():
        place = _find(names, wanted, skip)
        if place is None:
            there = ", ".join(f"{n + 1} {name!r}" for n, name in enumerate(names) if n not in skip)
            raise CaptureError(f"there is no column {wanted!r}", f"the columns are: {shortened(there, 400)}", path=path)
        if place in given:
            raise CaptureError(
                f"--{_OPTIONS[given[place]]} and --{_OPTIONS[role]} both name the column {names[place]!r}",
                "name another column for one of them", path=path,
            )  # fmt: skip
        given[place] = role
    taken = set(given.values())
    out: list[Role] = []
    for place, role in enumerate(said):
        if place in given:
            out.append(given[place])
        elif role is Role.OTHER or role in taken or place in skip:
            out.append(Role.OTHER)
        else:
            taken.add(role)
            out.append(role)
    return out


def _find(names: Sequence[str], wanted: str, skip: frozenset[int]) -> int | None:
    wanted = wanted.strip()
    usable = [place for place in range(len(names)) if place not in skip]
    for same in (
        lambda name: name == wanted,
        lambda name: name.casefold() == wanted.casefold(),
        lambda name: _split_unit(name)[0].strip().casefold() == wanted.casefold(),
    ):
        found = [place for place in usable if same(names[place])]
        if found:
            return found[0]
    if wanted.isascii() and wanted.isdigit() and len(wanted) < 10 and int(wanted) - 1 in usable:
        return int(wanted) - 1
    return None
