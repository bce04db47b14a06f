"""A file of contact readings, CSV or TOML, and the template for one.

Why it is: the readings are taken once, with a probe in one hand, and typed once. Whatever a spreadsheet or an editor
makes of the file must be read for what it says or refused with its line.
"""

from __future__ import annotations

import csv
import io
import math
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pdcheck.bench.quantity import Kind, parse
from pdcheck.errors import InputError
from pdcheck.standard.contacts import ALL, Contact

#: No list of 24 readings is longer.
MOST_BYTES = 1 << 20
#: A diode test shows no more than this; above it the number is in mV, or not from a diode test.
_MOST_DIODE_V = 4.0


@dataclass(frozen=True)
class PinReading:
    """The readings of one contact against ground: diode-mode volts, ohms; ``math.inf`` for OL, None: not measured."""

    contact: Contact
    diode_v: float | None = None
    ohms: float | None = None


@dataclass(frozen=True)
class PinReadings:
    """A file of readings; ``path`` as the user gave it. Contacts without a reading are not in it."""

    path: str
    readings: tuple[PinReading, ...]

    def of(self, name: str) -> PinReading | None:
        """The readings of a contact by its name; None where it was not measured."""
        return next((r for r in self.readings if r.contact.name == name), None)


@dataclass(frozen=True)
class _Cell:
    """One reading as it stands in the file. ``kind``: by its column or table, None where only the text tells."""

    contact: str
    text: str
    kind: Kind | None
    line: int | None
    milli: bool = False


_FINISH = "finish the line and end it with a line break"
_SIGNALS = {c.signal: c.name for c in ALL if c.signal not in ("GND", "VBUS")}
_CONTACT_HEADS = ("contact", "pin", "name")
_KIND_HEADS: dict[str, tuple[Kind | None, bool]] = {
    "diodev": (Kind.VOLTS, False), "diode": (Kind.VOLTS, False), "volts": (Kind.VOLTS, False), "v": (Kind.VOLTS, False),
    "diodemv": (Kind.VOLTS, True), "mv": (Kind.VOLTS, True),
    "ohms": (Kind.OHMS, False), "ohm": (Kind.OHMS, False), "resistance": (Kind.OHMS, False),
    "reading": (None, False), "value": (None, False),
}


def read_pins(path: str, data: bytes) -> PinReadings:
    """The readings in a file's bytes.

    :raises InputError: with the line, for whatever is not a reading of a contact.
    """
    if len(data) > MOST_BYTES:
        raise InputError("is far too long for readings of 24 contacts", "see pdcheck pins --template", path=path)
    text = _decoded(path, data)
    _whole(path, text)
    cells = _toml(path, text) if _is_toml(path, text) else _csv(path, text)
    found: dict[tuple[str, Kind], tuple[float, int | None]] = {}
    for cell in cells:
        name = _contact(path, cell)
        if not cell.text.strip():
            continue
        kind, value = _value(path, cell)
        if (name, kind) in found:
            before = found[name, kind][1]
            where = f" (first in line {before})" if before is not None else ""
            raise InputError(f"{name} stands twice{where}", "keep one of them", path=path, line=cell.line)
        found[name, kind] = (value, cell.line)
    if not found:
        raise InputError("holds no reading", "fill in the template: pdcheck pins --template", path=path)
    readings = []
    for contact in ALL:
        diode, ohms = found.get((contact.name, Kind.VOLTS)), found.get((contact.name, Kind.OHMS))
        if diode is not None or ohms is not None:
            readings.append(PinReading(contact, diode[0] if diode else None, ohms[0] if ohms else None))
    return PinReadings(path, tuple(readings))


def _decoded(path: str, data: bytes) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            raise InputError("is broken UTF-16", "save it as UTF-8 text", path=path) from None
    if b"\0" in data:
        raise InputError("is no text", "give a CSV or TOML file; see pdcheck pins --template", path=path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        # What old spreadsheets write; every byte means something in it.
        return data.decode("latin-1")


def _whole(path: str, text: str) -> None:
    """Refuse a last line that may be cut off: half a number is another number, and 0 for 0.61 would be a short."""
    last = text.rsplit("\n", 1)[-1]
    if re.search(r"[,;\t=]\s*[0-9]{1,2}$", last):
        raise InputError("may be cut off", _FINISH, path=path, line=text.count("\n") + 1)


def _is_toml(path: str, text: str) -> bool:
    if Path(path).suffix.lower() == ".toml":
        return True
    lines = (line.strip() for line in text.splitlines())
    first = next((line for line in lines if line and not line.startswith("#")), "")
    return bool(re.match(r"\[[\w.]+\]$|\w+\s*=", first))


def _toml(path: str, text: str) -> Iterator[_Cell]:
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"line (\d+)", str(error))
        what = re.sub(r" \(at .*\)", "", str(error))
        raise InputError(
            f"is no TOML: {what[:80]}", "see pdcheck pins --template toml", path=path,
            line=int(found[1]) if found else None,
        ) from None
    except RecursionError:
        raise InputError("is no TOML for readings", "see pdcheck pins --template toml", path=path) from None
    for key, value in table.items():
        if isinstance(value, dict):
            kind = _KIND_HEADS.get(_head(key))
            if kind is None:
                raise InputError(f"table [{key[:24]}] is not known", "use [diode_v] or [ohms]", path=path)
            for name, one in value.items():
                yield _Cell(name, _toml_text(path, name, one), kind[0], None, kind[1])
        else:
            yield _Cell(key, _toml_text(path, key, value), None, None)


def _toml_text(path: str, name: str, value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise InputError(f"{name[:24]} has no reading but {type(value).__name__}", 'write a number or "OL"', path=path)
    if isinstance(value, float) and math.isnan(value):
        raise InputError(f"{name[:24]} is no number", 'write a number or "OL"', path=path)
    return str(value)


def _csv(path: str, text: str) -> Iterator[_Cell]:
    lines = text.splitlines(keepends=True)
    body = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
    head = body[0] if body else ""
    mark = next((m for m in (";", "\t", ",") if m in head), ",")
    columns: list[tuple[int, Kind | None, bool]] = []
    contact_at = 0
    wide = 0
    try:
        reader = csv.reader(io.StringIO("".join(lines), newline=""), delimiter=mark, skipinitialspace=True)
        for row in reader:
            number = reader.line_num
            if not any(cell.strip() for cell in row) or row[0].lstrip().startswith("#"):
                continue
            if not columns:
                # A cell with a digit in it is a contact or a reading already.
                heads = ["" if re.search(r"[0-9]", cell) else _head(cell) for cell in row]
                named = [(i, *_KIND_HEADS[h]) for i, h in enumerate(heads) if h in _KIND_HEADS]
                contact_at = next((i for i, h in enumerate(heads) if h in _CONTACT_HEADS), 0)
                columns = named or [(1, None, False)]
                wide = len(row)
                if named or heads[contact_at] in _CONTACT_HEADS:
                    if not named:
                        raise InputError(
                            "has no column of readings", "name one diode_v, ohms or reading", path=path, line=number,
                        )
                    continue
            if len(row) > wide:
                raise InputError(
                    f"has {len(row)} cells where {wide} are expected",
                    "with decimal commas separate the cells by semicolons, or quote them", path=path, line=number,
                )
            if len(row) < wide and number == len(lines) and not lines[-1].endswith(("\n", "\r")):
                raise InputError("may be cut off", _FINISH, path=path, line=number)
            if len(row) <= contact_at or not row[contact_at].strip():
                raise InputError("names no contact", "write A1 to B12 in it", path=path, line=number)
            if mark == "," and _may_be_decimal_comma([row[at] for at, _, _ in columns if at < len(row)]):
                raise InputError(
                    "can mean a decimal comma or two readings",
                    "write a decimal point, or separate the cells by semicolons", path=path, line=number,
                )
            for at, kind, milli in columns:
                yield _Cell(row[contact_at], row[at] if at < len(row) else "", kind, number, milli)
    except csv.Error as error:
        raise InputError(f"is no CSV: {error}", "see pdcheck pins --template", path=path) from None


def _may_be_decimal_comma(readings: list[str]) -> bool:
    """True for the cells of ``A5,0,61``: 0.61 V, or 0 V and 61 ohm."""
    return len(readings) > 1 and bool(
        re.fullmatch(r"\s*[0-9]\s*", readings[0]) and re.fullmatch(r"\s*[0-9]{1,4}\s*", readings[1])
    )


def _head(text: str) -> str:
    return re.sub(r"[^a-z]", "", text.lower())


def _contact(path: str, cell: _Cell) -> str:
    clean = cell.contact.strip().upper().replace(" ", "")
    found = re.fullmatch(r"([AB])0?([1-9]|1[0-2])", clean)
    if found is not None:
        return found[1] + found[2]
    if clean in _SIGNALS:
        return _SIGNALS[clean]
    shown = "".join(c for c in cell.contact.strip() if c.isprintable())[:24]
    if clean in ("GND", "VBUS"):
        raise InputError(f"{shown!r} is one of four contacts", "write which: A1 to B12", path=path, line=cell.line)
    raise InputError(f"{shown!r} is no contact", "write A1 to A12 or B1 to B12", path=path, line=cell.line)


def _value(path: str, cell: _Cell) -> tuple[Kind, float]:
    """Kind and value of a cell that is not blank."""
    text = cell.text.strip()
    try:
        if re.fullmatch(r"[0-9]*[.,]", text):
            raise InputError(f"{text!r} ends in a decimal mark", "the file may be cut off; write the whole number")
        kind = cell.kind or _kind_of(text)
        if kind is Kind.OHMS:
            return kind, parse(text, Kind.OHMS)
        try:
            value = parse(text, Kind.OHMS) if _is_open(text) else _diode(text, cell.milli)
        except InputError as error:
            if not cell.milli and re.fullmatch(r"[0-9]{2,4}", text):
                raise InputError(error.what, "write it as 0.512 or 512 mV") from None
            raise
        if not math.isinf(value) and value > _MOST_DIODE_V:
            raise InputError(f"{text!r} is more than a diode test shows", "write it as 0.512 or 512 mV")
        if value < 0:
            raise InputError(f"{text!r} is below zero", "measure again with the probes the usual way round")
        return kind, value
    except InputError as error:
        raise InputError(f"{cell.contact.strip()[:8]}: {error.what}", error.remedy, path=path, line=cell.line) from None


def _is_open(text: str) -> bool:
    try:
        return math.isinf(parse(text, Kind.OHMS))
    except InputError:
        return False


def _diode(text: str, milli: bool) -> float:
    bare = re.fullmatch(r"[0-9]+([.,][0-9]*)?", text) is not None
    return parse(f"{text} mV" if milli and bare else text, Kind.VOLTS)


def _kind_of(text: str) -> Kind:
    """What a reading is where the file does not say: by its unit; OL belongs to the diode test."""
    if _is_open(text) or re.search(r"v(olts?)?$", text, re.IGNORECASE):
        return Kind.VOLTS
    if re.search(r"(ohms?|Ω|Ω|[kKMR])$|[0-9][kKMR][0-9]", text):
        return Kind.OHMS
    raise InputError(f"{text[:24]!r} says no unit", "write 0.512 V or 4.7 kohm, or name the column diode_v or ohms")


_HOW = (
    "Readings of the contacts of a USB Type-C receptacle for pdcheck pins.",
    "Everything unplugged, battery disconnected, capacitors empty. Local codes and licensed practice come first.",
    "Measure through a breakout plug, so that the contact itself is in the path; on the pads you see only the board.",
    "diode_v: diode test, red probe on GND, black probe on the contact, volts. ohms: contact to GND. OL: open.",
    "Readings depend on meter and board (common practice, no source): compare only readings of one meter.",
    "Fill in one column or both. Leave blank what you did not measure or what the port does not have.",
)


def template(form: str) -> str:
    """A file to fill in, ``"csv"`` or ``"toml"``.

    :raises InputError: for any other form.
    """
    if form == "csv":
        rows = [f"{c.name},,,{c.signal},{c.meaning.replace(',', ';')}" for c in ALL]
        return "\n".join([*(f"# {line}" for line in _HOW), "contact,diode_v,ohms,signal,meaning", *rows]) + "\n"
    if form == "toml":
        names = [f'{c.name + " =":<5} ""  # {c.signal}: {c.meaning}' for c in ALL]
        return "\n".join([*(f"# {line}" for line in _HOW), "", "[diode_v]", *names, "", "[ohms]", *names]) + "\n"
    raise InputError(f"there is no template {form[:24]!r}", "say csv or toml")
