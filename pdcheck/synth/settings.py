"""The settings of a scenario: the lines above its first step.

Why it is: what the file looks like and how the line behaves hold for the whole capture and are said once. One
function a setting; the table at the end is the list of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import PurePosixPath, PureWindowsPath

from pdcheck.synth.model import Column, ColumnKind, Form, Manners, Output, Party, Table
from pdcheck.synth.words import (
    AMPS,
    BIT_RATE,
    SAMPLE_RATE,
    TIME,
    VOLTS,
    Complaint,
    between,
    blocks,
    duration,
    must,
    one_of,
    pieces,
    quantity,
    shown,
    unquoted,
)

_REVISIONS = {"1.0": 0, "2.0": 1, "3.x": 2, "3.0": 2, "3.1": 2, "3.2": 2}
#: The timescales that IEEE 1364 allows, from a nanosecond to a microsecond.
_TICKS = {"1ns": 1e-9, "10ns": 1e-8, "100ns": 1e-7, "1us": 1e-6}
_SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_KIND_NAMES = [kind.value for kind in ColumnKind]
_HEADERS = {
    ColumnKind.TIME: "Time", ColumnKind.CC: "CC1", ColumnKind.LOW: "Channel 0", ColumnKind.HIGH: "Channel 1",
    ColumnKind.VBUS: "VBUS [V]", ColumnKind.CURRENT: "Current [A]",
}


def file_form(name: str) -> tuple[Form, bool]:
    """What a file's suffix says: CSV (as ``EDGES``) or VCD, and whether it is zipped. Complaint for any other."""
    zipped = name.lower().endswith(".gz")
    suffix = PurePosixPath(name[:-3] if zipped else name).suffix.lower()
    if suffix not in (".csv", ".vcd"):
        raise Complaint(f"{shown(name)} is no file that can be written", "call it .csv or .vcd, or either with .gz")
    return (Form.VCD if suffix == ".vcd" else Form.EDGES), zipped


class Settings:
    """The settings read so far; :meth:`take` reads one more."""

    def __init__(self) -> None:
        self.title = ""
        self.seed = "0"
        self.manners = Manners()
        self.table = Table()
        self.columns: list[Column] = []
        self.file: str | None = None
        self.form: Form | None = None
        self.rate_hz: float | None = None
        self.tick_s = 1e-8
        self.every_s = 2e-3
        self.zero_s = 0.0

    def take(self, word: str, rest: str) -> None:
        """Read one setting. Complaint where there is no such setting, or its words are wrong."""
        name = one_of(word, _SETTINGS, "setting, and no step (a step begins with a time like 0.2s or +3ms)")
        if not rest:
            raise Complaint(f"{name} says nothing", f"write what it is after the word {name}")
        _SETTINGS[name](self, rest)

    def output(self, name: str) -> Output:
        """The file as it is to be written under a name, whose suffix decides between CSV and VCD."""
        by_suffix, zipped = file_form(name)
        form = self.form or Form.EDGES
        if by_suffix is Form.VCD:
            form = Form.VCD
        elif form is Form.VCD:
            form = Form.EDGES
        if form is Form.SAMPLES and self.rate_hz is None:
            raise Complaint("samples need a rate", "write: format samples at 4MS/s")
        columns = list(self.columns) or [Column(ColumnKind.TIME, "Time [s]"), Column(ColumnKind.CC, "CC1")]
        if not any(column.kind is ColumnKind.CC for column in columns):
            columns.append(Column(ColumnKind.CC, "CC1"))
        if form is Form.EDGES and not any(column.kind is ColumnKind.TIME for column in columns):
            columns.insert(0, Column(ColumnKind.TIME, "Time [s]"))
        return Output(
            name=name, form=form, rate_hz=self.rate_hz, tick_s=self.tick_s, columns=tuple(columns), table=self.table,
            every_s=self.every_s, zero_s=self.zero_s, zipped=zipped,
        )


def _title(settings: Settings, rest: str) -> None:
    settings.title = unquoted(rest)


def _file(settings: Settings, rest: str) -> None:
    name = unquoted(rest)
    if name in (".", "..") or PurePosixPath(name).name != name or PureWindowsPath(name).name != name or "\0" in name:
        raise Complaint(f"{shown(name)} is no bare file name", "leave the folder out; -o says where to write")
    file_form(name)
    settings.file = name


def _seed(settings: Settings, rest: str) -> None:
    settings.seed = rest


def _format(settings: Settings, rest: str) -> None:
    words = rest.split()
    form = Form(one_of(words[0], [form.value for form in Form], "format"))
    linking = "in" if form is Form.VCD else "at"
    if len(words) not in (1, 3) or (len(words) == 3 and words[1] != linking):
        raise Complaint(
            f"{shown(rest)} is no format", "write: edges, edges at 24MS/s, samples at 4MS/s, vcd or vcd in 10ns"
        )
    settings.form = form
    settings.rate_hz = None
    if len(words) == 3 and form is Form.VCD:
        if words[2] not in _TICKS:
            raise Complaint(f"{shown(words[2])} is no timescale", "write " + ", ".join(_TICKS))
        settings.tick_s = _TICKS[words[2]]
    elif len(words) == 3:
        rate = float(must(words[2], SAMPLE_RATE, "4MS/s"))
        settings.rate_hz = between(rate, 1e3, 1e9, words[2], "S/s")
    elif form is Form.SAMPLES:
        raise Complaint("samples need a rate", "write: format samples at 4MS/s")


def _column(settings: Settings, rest: str) -> None:
    words = blocks(rest)
    kind = ColumnKind(one_of(words[0], _KIND_NAMES, "kind of column"))
    name, unit, more = _HEADERS[kind], "s", words[1:]
    if more and more[0].startswith('"'):
        name, more = unquoted(more[0]), more[1:]
    elif kind is ColumnKind.TIME:
        name = "Time [s]"
    if more and more[0] == "in" and len(more) == 2 and kind is ColumnKind.TIME and more[1] in TIME:
        unit = more[1]
        if name == "Time [s]":
            name = f"Time [{unit}]"
    elif more:
        raise Complaint(f"{shown(' '.join(more))} is too much", 'write: column cc "Channel 3", or column time in us')
    if kind not in (ColumnKind.LOW, ColumnKind.HIGH) and any(column.kind is kind for column in settings.columns):
        raise Complaint(f"there is a {kind.value} column already", "name each such column once")
    if any(column.name == name for column in settings.columns):
        raise Complaint(f"a column is called {shown(name)} already", 'give it another name: column low "Channel 5"')
    if len(settings.columns) >= 64:
        raise Complaint("there are too many columns", "write at most 64")
    settings.columns.append(Column(kind, name, float(TIME[unit])))


def _table(settings: Settings, rest: str) -> None:
    for word in pieces(rest, ","):
        bare = " ".join(word.lower().split())
        if bare in _SEPARATORS:
            settings.table = replace(settings.table, separator=_SEPARATORS[bare])
        elif bare in ("decimal comma", "decimal point"):
            settings.table = replace(settings.table, decimal="," if bare.endswith("comma") else ".")
        elif bare == "crlf":
            settings.table = replace(settings.table, line_end="\r\n")
        elif bare == "byte order mark":
            settings.table = replace(settings.table, byte_order_mark=True)
        elif bare == "no header":
            settings.table = replace(settings.table, header=False)
        else:
            raise Complaint(
                f"{shown(word)} is nothing a table can have",
                "write: comma, semicolon, tab, decimal comma, crlf, byte order mark, no header",
            )


def _above(settings: Settings, rest: str) -> None:
    if len(settings.table.above) >= 100:
        raise Complaint("there are too many lines above the header", "write at most 100")
    settings.table = replace(settings.table, above=(*settings.table.above, unquoted(rest)))


def _idle(settings: Settings, rest: str) -> None:
    level = one_of(rest, ("low", "high"), "level")
    settings.manners = replace(settings.manners, idle=int(level == "high"))


def _skew(settings: Settings, rest: str) -> None:
    value = between(float(must(rest, TIME, "+0.2us")), -2e-6, 2e-6, rest, "s")
    settings.manners = replace(settings.manners, skew_s=value)


def _jitter(settings: Settings, rest: str) -> None:
    settings.manners = replace(settings.manners, jitter_s=between(duration(rest, "20ns"), 0, 1e-6, rest, "s"))


def _lead(settings: Settings, rest: str) -> None:
    settings.manners = replace(settings.manners, lead_s=between(duration(rest, "0.8us"), 0, 2e-5, rest, "s"))


def _release(settings: Settings, rest: str) -> None:
    settings.manners = replace(settings.manners, release_s=between(duration(rest, "4us"), 0, 1e-4, rest, "s"))


def _acknowledge(settings: Settings, rest: str) -> None:
    settings.manners = replace(settings.manners, acknowledge_s=between(duration(rest, "60us"), 0, 0.1, rest, "s"))


def _by_party(rest: str, what: str) -> list[tuple[list[Party], str]]:
    """``300k`` for all, or ``source 300k, sink 296k``."""
    out: list[tuple[list[Party], str]] = []
    for piece in pieces(rest, ","):
        words = piece.split()
        if len(words) == 1:
            out.append((list(Party), words[0]))
        elif len(words) == 2:
            out.append(([Party(one_of(words[0], [party.value for party in Party], "party"))], words[1]))
        else:
            raise Complaint(f"{shown(piece)} is no {what}", f"write it like: {what} source ..., sink ...")
    return out


def _rate(settings: Settings, rest: str) -> None:
    rates = dict(settings.manners.rate_bps)
    for parties, text in _by_party(rest, "rate"):
        rates.update(dict.fromkeys(parties, bit_rate(text)))
    settings.manners = replace(settings.manners, rate_bps=rates)


def bit_rate(text: str) -> float:
    """A bit rate like ``296k`` in bits per second; far outside of the standard is allowed."""
    return between(float(must(text, BIT_RATE, "300k")), 50e3, 2e6, text, "bit/s")


def revision(text: str) -> int:
    """The header's revision field for ``2.0`` or ``3.x``."""
    return _REVISIONS[one_of(text, _REVISIONS, "revision")]


def _revision(settings: Settings, rest: str) -> None:
    revisions = dict(settings.manners.revision)
    for parties, text in _by_party(rest, "revision"):
        revisions.update(dict.fromkeys(parties, revision(text)))
    settings.manners = replace(settings.manners, revision=revisions)


def _source_is(settings: Settings, rest: str) -> None:
    role = one_of(rest.removeprefix("is").strip(), ("DFP", "UFP"), "data role")
    settings.manners = replace(settings.manners, source_is_dfp=role == "DFP")


def _noise(settings: Settings, rest: str) -> None:
    for piece in pieces(rest, ","):
        words = piece.split()
        volts = quantity(words[1], VOLTS) if len(words) == 2 else None
        amps = quantity(words[1], AMPS) if len(words) == 2 else None
        if len(words) == 2 and words[0] == "vbus" and volts is not None:
            settings.manners = replace(settings.manners, vbus_noise_v=between(float(volts), 0, 5, words[1], "V"))
        elif len(words) == 2 and words[0] == "current" and amps is not None:
            settings.manners = replace(settings.manners, current_noise_a=between(float(amps), 0, 5, words[1], "A"))
        else:
            raise Complaint(f"{shown(piece)} is no noise", "write it like: noise vbus 10mV, current 4mA")


def _every(settings: Settings, rest: str) -> None:
    settings.every_s = between(duration(rest, "2ms"), 1e-6, 10.0, rest, "s")


def _zero(settings: Settings, rest: str) -> None:
    settings.zero_s = duration(rest.removeprefix("at").strip(), "0.1s")


_SETTINGS: dict[str, Callable[[Settings, str], None]] = {
    "title": _title, "file": _file, "seed": _seed, "format": _format, "column": _column, "table": _table,
    "above": _above, "idle": _idle, "skew": _skew, "jitter": _jitter, "lead": _lead, "release": _release,
    "acknowledge": _acknowledge, "rate": _rate, "revision": _revision, "source": _source_is, "noise": _noise,
    "every": _every, "zero": _zero,
}
SETTING_NAMES = tuple(_SETTINGS)
