"""An explanation of hex as text for a terminal.

Why it is: what ``pdcheck explain`` prints; every value beside its bits, so that it can be compared with the
specification's table line by line, and every meaning in the width of the terminal.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from textwrap import wrap

from pdcheck.messages.explain import Explanation, FieldReading, Part, Reading
from pdcheck.messages.model import Value

_HEADINGS = ("bits", "raw", "value", "field: meaning")
_WIDEST_VALUE = 24
_NARROWEST = 24
"""Characters for the meaning, however narrow the terminal."""


def explanation_text(explanation: Explanation, width: int = 80) -> str:
    """The explanation in lines, without a final line end and without a character that cannot be printed.

    :param width: characters in a line; a line is longer only where a single word is.
    """
    return "\n".join(_printable(line) for line in _lines(explanation, width))


def _lines(explanation: Explanation, width: int) -> Iterator[str]:
    for note in explanation.notes:
        yield from _wrapped(f"note: {note}", width)
    several = len(explanation.readings) > 1
    if several:
        yield f"{len(explanation.readings)} readings are possible; --as chooses one:"
        longest = max(len(reading.kind) for reading in explanation.readings)
        for reading in explanation.readings:
            yield from _wrapped(f"  {reading.kind.ljust(longest)}  {_gist(reading)}", width, longest + 4)
    between = several or bool(explanation.notes)
    for reading in explanation.readings:
        if between:
            yield ""
        yield from _reading(reading, several, width)
        between = True
    if explanation.others:
        yield ""
        yield from _wrapped(f"contradicted by the bits, shown by --as: {', '.join(explanation.others)}", width)


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _wrapped(text: str, width: int, indent: int = 4) -> list[str]:
    """The text in lines of that width, the second and later ones indented."""
    return wrap(
        _printable(text), max(width, indent + _NARROWEST), subsequent_indent=" " * indent, break_on_hyphens=False
    )


def _gist(reading: Reading) -> str:
    """A reading in one clause."""
    said = [part.summary for part in reading.parts if part.summary]
    return f"{reading.title}: {said[0]}" if len(reading.parts) == 1 and said else reading.title


def _reading(reading: Reading, several: bool, width: int) -> Iterator[str]:
    if several:
        yield f"--as {reading.kind}"
    if len(reading.parts) != 1:
        yield from _wrapped(reading.title, width)
    for note in reading.notes:
        yield from _wrapped(f"note: {note}", width)
    for number, part in enumerate(reading.parts):
        if number or len(reading.parts) != 1:
            yield ""
        yield from _part(part, width)


def _part(part: Part, width: int) -> Iterator[str]:
    raw = part.object.raw
    if isinstance(raw, int):
        digits = 4 if part.object.layout.startswith("header.") else 8
        shown = f"0x{raw:0{digits}X}"
    else:
        shown = " ".join(raw[at : at + 2] for at in range(0, len(raw), 2))
    yield from _wrapped(f"{part.title}  {shown}" + (f"  {part.summary}" if part.summary else ""), width)
    if part.fields:
        yield from _table([_HEADINGS, *(_cells(row) for row in part.fields)], width)


def _table(rows: Sequence[tuple[str, str, str, str]], width: int) -> Iterator[str]:
    """The rows under one another; value and meaning go on in the next line where they are too long for one."""
    bits, raw = (max(len(row[column]) for row in rows) for column in (0, 1))
    value = min(_WIDEST_VALUE, max(len(row[2]) for row in rows))
    room = max(_NARROWEST, width - (bits + raw + value + 8))
    for row in rows:
        values = wrap(_printable(row[2]), value, break_on_hyphens=False) or [""]
        said = wrap(_printable(row[3]), room, subsequent_indent="  ", break_on_hyphens=False) or [""]
        for at in range(max(len(values), len(said))):
            cells = (
                (row[0] if at == 0 else "").ljust(bits), (row[1] if at == 0 else "").ljust(raw),
                (values[at] if at < len(values) else "").ljust(value), said[at] if at < len(said) else "",
            )
            yield ("  " + "  ".join(cells)).rstrip()


def _cells(row: FieldReading) -> tuple[str, str, str, str]:
    raw = "" if row.raw is None else _number(row.raw)
    bare = row.value == row.raw and not row.unit and not isinstance(row.value, bool)
    value = raw if bare else value_words(row.value, row.unit)
    if row.name == "reserved":
        return row.bits, raw, value, row.meaning
    if len(value) > 2 * _WIDEST_VALUE:
        return row.bits, raw, "", f"{row.name}: {row.meaning}: {value}" if row.meaning else f"{row.name}: {value}"
    return row.bits, raw, value, f"{row.name}: {row.meaning}" if row.meaning else row.name


def _number(raw: int) -> str:
    """Small codes as people count, anything larger as it stands in a dump."""
    return str(raw) if raw < 256 else f"0x{raw:X}"


def value_words(value: Value, unit: str) -> str:
    """A field's value as a reader wants it: ``"9000 mV"``, ``"yes"``."""
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value) or "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {item}" for name, item in value.items())
    return f"{value} {unit}" if unit and isinstance(value, int) else str(value)
