"""``pdcheck explain``: what a piece of hex can mean, field by field.

Why it is: a word copied from a log or a datasheet is worth a page of specification, and the page is hard to
find. Pure: text in, plain objects out; the report room shows them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pdcheck.errors import InputError
from pdcheck.messages.as_json import object_json
from pdcheck.messages.doubts import doubts
from pdcheck.messages.explain_input import read_hex, split_crc
from pdcheck.messages.explain_kinds import (
    HEADER_GUESSES,
    REQUESTS,
    WORD_GUESSES,
    WORDS_GUESSES,
    Offer,
    offer_problems,
    read_kind,
)
from pdcheck.messages.extended import extended_name, part_size
from pdcheck.messages.header import layout_of, parse_extended_header, parse_header
from pdcheck.messages.layout import Reserved, TypeCode
from pdcheck.messages.model import DataObject, Message, Value
from pdcheck.messages.power import parse_power_object
from pdcheck.messages.registry import find_layout
from pdcheck.messages.request import request_in_context
from pdcheck.messages.summary import summarize, title
from pdcheck.messages.wire import control_name, data_name, parse

MESSAGE_KINDS = ("message", "cable-message")
_NO_OFFER = "read as a request for a fixed or variable supply; --offer settles what is asked for"
_TOLD_OF = {"rest": "bytes that belong to no field", "unterminated": "no zero byte ends the text"}


@dataclass(frozen=True)
class FieldReading:
    """One field. ``bits``: ``"19:10"``, empty where it has no fixed place. ``raw``: None there too."""

    bits: str
    name: str
    raw: int | None
    value: Value
    unit: str
    meaning: str


@dataclass(frozen=True)
class Part:
    """One object of a reading: its declaration's title, itself, itself in a few words, its fields."""

    title: str
    object: DataObject
    summary: str
    fields: tuple[FieldReading, ...]


@dataclass(frozen=True)
class Reading:
    """One thing the hex can mean. ``kind``: the word for ``--as``. ``notes``: what does not fit, in words."""

    kind: str
    title: str
    parts: tuple[Part, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Explanation:
    """All that the hex can mean, likeliest first; a request of an offer not known as one for a fixed supply first.

    :ivar data: the bytes in wire order. :ivar notes: about the whole input. :ivar others: kinds that were
        tried and contradict the bits; ``--as`` shows them.
    """

    data: bytes
    readings: tuple[Reading, ...]
    notes: tuple[str, ...]
    others: tuple[str, ...]


def explain(
    texts: Sequence[str],
    *,
    as_kind: str | None = None,
    byte_order: str | None = None,
    crc: bool | None = None,
    offer: Sequence[str] = (),
) -> Explanation:
    """What the hex in ``texts`` can mean.

    :param as_kind: takes it for this; see :func:`kind_names` (``_`` for ``-`` will do). None tries what it can be.
    :param byte_order: see :func:`~pdcheck.messages.explain_input.read_hex`.
    :param crc: whether a message ends in its CRC; None finds out.
    :param offer: the source's power data objects in hex (or its whole Source_Capabilities message), against
        which a request is read.
    :raises InputError: the text cannot be used. Nothing else is raised, whatever the text is.
    """
    typed = read_hex(texts, byte_order)
    offered = _offer(offer, byte_order)
    if as_kind is not None:
        as_kind = as_kind.strip().lower().replace("_", "-")
    if as_kind in MESSAGE_KINDS or (as_kind is None and _looks_like_message(typed.data, typed.sizes, crc)):
        on_cable = as_kind == "cable-message"
        return _explain_message(typed.data, crc, offered, (on_cable,) if as_kind else (False, True))
    if crc:
        raise InputError("only a message ends in a CRC", "leave --crc out, or give the whole message")
    if as_kind is not None:
        reading = _reading(as_kind, read_kind(as_kind, typed.data, offered), offered)
        others = _other_requests(reading, typed.data) if as_kind == "request" and not offered else ()
        return Explanation(typed.data, (reading, *others), (), ())
    return _guess(typed.data, offered)


def _other_requests(reading: Reading, data: bytes) -> tuple[Reading, ...]:
    """The layouts of a request that fit better than the fixed one; none where that fits."""
    if len(reading.notes) <= 1:
        return ()
    tried = (_reading(name, read_kind(name, data, ()), ()) for name in REQUESTS if name != "request-fixed")
    return tuple(one for one in tried if not one.notes)


def kind_names() -> tuple[str, ...]:
    """Every word that ``--as`` takes."""
    from pdcheck.messages.explain_kinds import kinds

    return (*MESSAGE_KINDS, *kinds())


def _offer(texts: Sequence[str], byte_order: str | None) -> Offer:
    if not texts:
        return ()
    typed = read_hex(texts, byte_order)
    data = typed.data
    if len(data) % 4 or _looks_like_message(data, typed.sizes, None):
        message = _message(data, None, False)[0]
        if message.name not in ("Source_Capabilities", "EPR_Source_Capabilities"):
            raise InputError(f"the offer is no Source_Capabilities but {message.name}", "give that, or its objects")
        return message.objects
    return tuple(parse_power_object(word, side="source") for word in typed.words)


def _message_bytes(data: bytes) -> int | None:
    """How long a message is by its own headers; None where they do not tell."""
    header = parse_header(int.from_bytes(data[:2], "little"))
    if header.extended and len(data) >= 4:
        extended_header = parse_extended_header(int.from_bytes(data[2:4], "little"))
        if not extended_header.chunked:
            return 4 + part_size(extended_header)
    return 2 + 4 * header.object_count


def _looks_like_message(data: bytes, sizes: tuple[int, ...], crc: bool | None) -> bool:
    """Whether to take bytes for a message: the length says so, or no single object can be that long."""
    if len(data) <= 4:
        return False
    if len(data) % 4:
        return True
    if crc or all(size == 4 for size in sizes):
        return bool(crc)
    return _message_bytes(data) in (len(data), len(data) - 4)


def _message(data: bytes, crc: bool | None, on_cable: bool) -> tuple[Message, str | None]:
    if len(data) < 2:
        raise InputError("one byte is no message", "give at least the two bytes of the header")
    body, note = split_crc(data, crc, _message_bytes(data))
    return parse(body, on_cable=on_cable), note


def _explain_message(data: bytes, crc: bool | None, offer: Offer, sides: tuple[bool, ...]) -> Explanation:
    readings: list[Reading] = []
    notes: tuple[str, ...] = ()
    for on_cable in sides:
        message, note = _message(data, crc, on_cable)
        message = request_in_context(message, offer)
        notes = (note,) if note is not None else ()
        reading = _message_reading(message, on_cable, offer)
        same = bool(readings) and [part.object for part in readings[0].parts[1:]] == [
            part.object for part in reading.parts[1:]
        ]
        if not same:
            readings.append(reading)
    return Explanation(data, tuple(readings), notes, ())


def _message_reading(message: Message, on_cable: bool, offer: Offer) -> Reading:
    header = layout_of(on_cable).parse_word(message.header.raw)
    heads = [part_of(header)]
    if message.extended_header is not None:
        heads.append(part_of(find_layout("header.extended_header").parse_word(message.extended_header.raw)))
    notes = [*message.problems]
    for one in message.objects:
        notes.extend(said for said in doubts(one) if said.startswith("reserved bit"))
        notes.extend(offer_problems(one, offer))
    if message.name == "Request" and message.objects and not offer:
        notes.append(_NO_OFFER)
    where = "on SOP' or SOP''" if on_cable else "on SOP"
    return Reading(
        MESSAGE_KINDS[on_cable], f"{title(message)} ({message.message_class} message, {where})",
        (*heads, *(part_of(one) for one in message.objects)), tuple(notes),
    )


def _header_summary(one: DataObject) -> str:
    """Which message a header begins, in a clause."""
    count, kind = one.number("object_count"), one.number("message_type")
    by_number = extended_name if one["extended"] else data_name if count else control_name
    return f"{by_number(kind)}, {count} object{'' if count == 1 else 's'}, message ID {one.number('message_id')}"


def _guess(data: bytes, offer: Offer) -> Explanation:
    """Every likely reading of bytes that are no message; the least doubtful where all are doubtful."""
    if len(data) == 2:
        names: tuple[str, ...] = HEADER_GUESSES
    elif len(data) == 4:
        names = ("request", *WORD_GUESSES) if offer else WORD_GUESSES
    elif len(data) % 4 == 0 and data:
        names = WORDS_GUESSES
    else:
        size = "one byte" if len(data) == 1 else f"{len(data)} bytes"
        raise InputError(f"{size} could be anything", "say what with --as, or give a whole word or message")
    readings = [_reading(name, read_kind(name, data, offer), offer) for name in names]
    fewest = min(len(reading.notes) for reading in readings)
    chosen: list[Reading] = []
    for reading in readings:
        known = any(_objects(other) == _objects(reading) for other in chosen)
        if len(reading.notes) == fewest and not known:
            chosen.append(reading)
    taken = {reading.kind for reading in chosen}
    others = tuple(
        reading.kind for reading in readings
        if reading.kind not in taken and not any(_objects(other) == _objects(reading) for other in chosen)
    )
    notes = ("nothing fits these bits without a contradiction",) if fewest else ()
    return Explanation(data, tuple(chosen), notes, others)


def _objects(reading: Reading) -> list[DataObject]:
    return [part.object for part in reading.parts]


def _reading(kind: str, objects: tuple[DataObject, ...], offer: Offer) -> Reading:
    parts = tuple(part_of(one) for one in objects)
    notes = [said for one in objects for said in (*doubts(one), *offer_problems(one, offer))]
    if kind == "request" and not offer and objects:
        notes.append(_NO_OFFER)
    name = parts[0].title if len(parts) == 1 else f"{len(parts)} objects"
    return Reading(kind, name, parts, tuple(notes))


def part_of(one: DataObject) -> Part:
    """An object with every field of its declaration laid out, and each value in words."""
    if not one.layout:
        said = {"vendor_object": "Object left to the vendor", "unknown": "Object of a reserved message",
                "chunk": "Part of the data", "padding": "Padding", "unused": "Empty position"}
        return Part(said.get(one.kind, "Bytes"), one, summarize(one), ())
    layout = find_layout(one.layout)
    summary = _header_summary(one) if one.kind == "header" else summarize(one)
    number = one.raw if isinstance(one.raw, int) else int.from_bytes(bytes.fromhex(one.raw), "little")
    size = layout.size if isinstance(one.raw, int) else len(one.raw) // 2
    rows: list[FieldReading] = []
    for span in layout.spans():
        if span.high >= 8 * size:
            continue
        raw = number >> span.low & ((1 << span.field.bits) - 1)
        bits = f"{span.high}:{span.low}" if span.field.bits > 1 else f"{span.low}"
        plain = isinstance(span.field, Reserved | TypeCode)
        value = None if plain else span.field.value_of(raw)
        meaning = "; ".join(said for said in (span.docs, span.field.words(raw)) if said)
        name = span.name or ("reserved" if isinstance(span.field, Reserved) else "type")
        rows.append(FieldReading(bits, name, raw, value, span.field.unit, meaning))
    placed = {row.name for row in rows} | {"reserved_bits_set", "structured"}
    tail = layout.tail
    for name, value in one.fields.items():
        if name not in placed:
            said_of = tail.docs if tail is not None and tail.name == name else _TOLD_OF.get(name, "")
            rows.append(FieldReading("", name, None, value, "", said_of))
    return Part(layout.title, one, summary, tuple(rows))


def explanation_json(explanation: Explanation) -> dict[str, object]:
    """The explanation as ``--json`` prints it; every object in the shape of the JSON report.

    ``objects`` are those of the likeliest reading, its headers included; ``readings`` says it all.
    """
    return {
        "format": "pdcheck-explanation",
        "version": 1,
        "data": explanation.data.hex(),
        "notes": list(explanation.notes),
        "objects": [_shaped(part) for part in explanation.readings[0].parts],
        "readings": [
            {
                "as": reading.kind,
                "title": reading.title,
                "notes": list(reading.notes),
                "parts": [_part_json(part) for part in reading.parts],
            }
            for reading in explanation.readings
        ],
        "others": list(explanation.others),
    }


def _part_json(part: Part) -> dict[str, object]:
    rows = [
        {"bits": row.bits, "name": row.name, "raw": row.raw, "value": row.value, "unit": row.unit,
         "meaning": row.meaning}
        for row in part.fields
    ]
    return {"title": part.title, "summary": part.summary, "object": _shaped(part), "fields": rows}


def _shaped(part: Part) -> dict[str, Value]:
    """The object as in the report; a header has 16 bits, and its raw is shown so."""
    shaped = object_json(part.object)
    if isinstance(part.object.raw, int) and part.object.layout.startswith("header."):
        shaped["raw"] = f"0x{part.object.raw:04X}"
    return shaped
