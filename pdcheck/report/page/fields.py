"""A message opened: its header and objects, every field in words.

Why it is: the same declarations that read the bits say what they mean; the page only lays them out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from pdcheck.messages.explain import Part, part_of
from pdcheck.messages.header import layout_of
from pdcheck.messages.model import DataObject, Message
from pdcheck.messages.registry import find_layout
from pdcheck.report.explanation import value_words
from pdcheck.rules.words import count

_UNIT_ENDS = (" mv", " ma", " mw")


@dataclass(frozen=True)
class FieldWords:
    """One field as it is shown."""

    bits: str
    name: str
    value: str
    meaning: str


@dataclass(frozen=True)
class PartWords:
    """One object as it is shown: its title, its word in hex, itself in a few words, its fields."""

    title: str
    raw: str
    gist: str
    fields: tuple[FieldWords, ...]


def message_parts(message: Message, on_cable: bool) -> tuple[PartWords, ...]:
    """The header and the objects of a message."""
    parts = [part_words(layout_of(on_cable).parse_word(message.header.raw))]
    if message.extended_header is not None:
        parts.append(part_words(find_layout("header.extended_header").parse_word(message.extended_header.raw)))
    return (*parts, *(part_words(one) for one in message.objects))


def part_key(one: DataObject) -> tuple[str, int | str]:
    """What tells objects apart that are shown differently."""
    return one.layout or one.kind, one.raw


def part_words(one: DataObject) -> PartWords:
    """One object as it is shown."""
    part = part_of(one)
    return PartWords(part.title, _raw(part), part.summary, tuple(_fields(part)))


def _raw(part: Part) -> str:
    raw = part.object.raw
    if isinstance(raw, int):
        return f"0x{raw:0{4 if part.object.layout.startswith('header.') else 8}X}"
    return " ".join(raw[at : at + 2] for at in range(0, len(raw), 2))


def _fields(part: Part) -> list[FieldWords]:
    rows = []
    for row in part.fields:
        if row.name == "reserved" and not row.raw:
            continue
        rows.append(FieldWords(row.bits, field_name(row.name), value_words(row.value, row.unit), row.meaning))
    return rows


@lru_cache(maxsize=512)
def field_name(name: str) -> str:
    """``"operating_current_ma"`` as ``"operating current"``: the value carries the unit."""
    words = name.replace("_", " ")
    for end in _UNIT_ENDS:
        words = words.removesuffix(end)
    return words


def spans_of(message: Message) -> tuple[tuple[str, int], ...]:
    """What the bytes of a message are, in the order of the wire: words and number of bytes."""
    header = message.header
    name = message.name if message.name.isascii() else "message"
    spans = [(f"header: {name}, ID {header.message_id}", 2)]
    left = len(message.data) - 2
    if message.extended_header is not None:
        spans.append(("extended header", 2))
        left -= 2
        spans.append((count(left, "byte") + " of data", left))
        return tuple(span for span in spans if span[1] > 0)
    for number, one in enumerate(message.objects, 1):
        size = min(4, left)
        words = part_of(one).summary or (f"0x{one.raw:08X}" if isinstance(one.raw, int) else "")
        spans.append((f"{number}: {words}" if words else f"object {number}", size))
        left -= size
    if left > 0:
        spans.append((count(left, "byte"), left))
    return tuple(span for span in spans if span[1] > 0)
