"""An explanation of hex as text for a terminal.

Why it is: what ``pdcheck explain`` prints; every value beside its bits, so that it can be compared with the
specification's table line by line.
"""

from __future__ import annotations

from collections.abc import Mapping

from pdcheck.messages.explain import Explanation, FieldReading, Part, Reading
from pdcheck.messages.model import Value

_HEADINGS = ("bits", "field", "raw", "value", "meaning")


def explanation_text(explanation: Explanation) -> str:
    """The explanation in lines, without a final line end and without a character that cannot be printed."""
    lines = [_printable(f"note: {note}") for note in explanation.notes]
    several = len(explanation.readings) > 1
    if several:
        lines.append(f"{len(explanation.readings)} readings are possible; --as chooses one:")
    for reading in explanation.readings:
        if lines:
            lines.append("")
        lines.extend(_printable(line) for line in _reading(reading, several))
    if explanation.others:
        lines += ["", f"contradicted by the bits, shown by --as: {', '.join(explanation.others)}"]
    return "\n".join(lines)


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _reading(reading: Reading, several: bool) -> list[str]:
    lines = [f"--as {reading.kind}"] if several else []
    if len(reading.parts) != 1:
        lines.append(reading.title)
    for part in reading.parts:
        lines.extend(_part(part))
    lines.extend(f"  note: {note}" for note in reading.notes)
    return lines


def _part(part: Part) -> list[str]:
    raw = part.object.raw
    if isinstance(raw, int):
        digits = 4 if part.object.layout.startswith("header.") else 8
        shown = f"0x{raw:0{digits}X}"
    else:
        shown = " ".join(raw[at : at + 2] for at in range(0, len(raw), 2))
    lines = [f"{part.title}  {shown}" + (f"  {part.summary}" if part.summary else "")]
    if part.fields:
        rows = [_HEADINGS, *(_cells(row) for row in part.fields)]
        widths = [max(len(row[column]) for row in rows) for column in range(len(_HEADINGS))]
        lines.extend("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
                     for row in rows)
    return lines


def _cells(row: FieldReading) -> tuple[str, str, str, str, str]:
    raw = "" if row.raw is None else _number(row.raw)
    bare = row.value == row.raw and not row.unit and not isinstance(row.value, bool)
    return row.bits, row.name, raw, raw if bare else _value(row.value, row.unit), row.meaning


def _number(raw: int) -> str:
    """Small codes as people count, anything larger as it stands in a dump."""
    return str(raw) if raw < 256 else f"0x{raw:X}"


def _value(value: Value, unit: str) -> str:
    if value is None:
        return "-"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(str(item) for item in value) or "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {item}" for name, item in value.items())
    return f"{value} {unit}" if unit and isinstance(value, int) else str(value)
