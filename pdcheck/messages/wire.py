"""Packet bytes to a message, and back.

Why it is: the one door of this room. Whatever the bytes are, a message comes out that says what they are
and what contradicts the specification in them, and from which the same bytes can be built again.
"""

from __future__ import annotations

from functools import lru_cache

from pdcheck.messages.header import build_extended_header, build_header, parse_extended_header, parse_header
from pdcheck.messages.model import DataObject, ExtendedHeader, Header, Message
from pdcheck.messages.power import parse_power_object, position_problem
from pdcheck.messages.registry import bytes_of, find_layout
from pdcheck.messages.request import parse_request
from pdcheck.standard.message_types import ControlType, DataType

_R2_0 = 1
ONE_WORD: dict[int, str] = {
    DataType.Battery_Status: "notices.battery_status",
    DataType.Alert: "notices.alert",
    DataType.Get_Country_Info: "notices.country",
    DataType.Enter_USB: "modes.enter_usb",
    DataType.Source_Info: "notices.source_info",
    DataType.Revision: "notices.revision",
}
"""Data messages of one object that has one layout."""

Objects = tuple[DataObject, ...]
Problems = tuple[str, ...]


def parse(data: bytes, *, on_cable: bool = False) -> Message:
    """The message in a packet: header and payload, without CRC.

    :param on_cable: the packet was on SOP' or SOP'', where bit 8 means the cable plug and some blocks differ.
    :raises ValueError: fewer than 2 bytes, which hold no header. No other bytes raise anything.
    """
    if len(data) < 2:
        raise ValueError("a message has a header of 2 bytes")
    return _parse(bytes(data), on_cable)


@lru_cache(maxsize=8192)
def _parse(data: bytes, on_cable: bool) -> Message:
    header = parse_header(data[0] | data[1] << 8)
    problems: list[str] = []
    if on_cable and header.data_role:
        problems.append("bit 5 of the header is reserved on SOP' and SOP'', and set")
    if header.revision == 3:
        problems.append("the revision field of the header has the reserved value 3")
    if header.revision == _R2_0 and header.extended:
        problems.append("bit 15 of the header is reserved in R2.0, and set")
    if header.revision == _R2_0 and header.message_type > 15:
        problems.append("bit 4 of the header is reserved in R2.0, and set")
    extended_header: ExtendedHeader | None = None
    objects: Objects
    found: Problems
    if header.extended:
        from pdcheck.messages.extended import extended_name, read_part

        kind, name = "extended", extended_name(header.message_type)
        if name.startswith("Reserved"):
            problems.append(f"extended message type {header.message_type} is reserved")
        if len(data) < 4:
            objects, found = _bytes(data[2:]), ("the message ends before its extended header",)
        else:
            extended_header = parse_extended_header(data[2] | data[3] << 8)
            objects, found = read_part(header, extended_header, data[4:], on_cable)
    elif header.object_count:
        kind, name = "data", data_name(header.message_type)
        if name.startswith("Reserved"):
            problems.append(f"data message type {header.message_type} is reserved")
        objects, found = _data_message(header, data[2:], on_cable)
    else:
        kind, name = "control", control_name(header.message_type)
        if name.startswith("Reserved"):
            problems.append(f"control message type {header.message_type} is reserved")
        objects = _bytes(data[2:])
        found = (f"the header announces no object, and {len(data) - 2} more bytes follow it",) if objects else ()
    return Message(header, name, kind, objects, data, extended_header, (*problems, *found))


def control_name(message_type: int) -> str:
    """The control message's name; for a reserved type, which number it is."""
    try:
        return ControlType(message_type).name
    except ValueError:
        return f"Reserved_control_{message_type}"


def data_name(message_type: int) -> str:
    """The data message's name; for a reserved type, which number it is."""
    try:
        return DataType(message_type).name
    except ValueError:
        return f"Reserved_data_{message_type}"


def _bytes(data: bytes) -> Objects:
    return (DataObject("bytes", data.hex()),) if data else ()


def _data_message(header: Header, payload: bytes, on_cable: bool) -> tuple[Objects, Problems]:
    problems: list[str] = []
    announced = 4 * header.object_count
    if len(payload) != announced:
        problems.append(
            f"the header's object count of {header.object_count} means {announced} bytes, and {len(payload)} follow it"
        )
    whole = min(announced, len(payload) // 4 * 4)
    words = tuple(int.from_bytes(payload[at : at + 4], "little") for at in range(0, whole, 4))
    objects, found = _data_objects(header.message_type, words, on_cable)
    return (*objects, *_bytes(payload[whole:])), (*problems, *found)


def _data_objects(message_type: int, words: tuple[int, ...], on_cable: bool) -> tuple[Objects, Problems]:
    """The objects of a data message, and the problems among them."""
    if message_type in (DataType.Source_Capabilities, DataType.Sink_Capabilities):
        if message_type == DataType.Source_Capabilities:
            powers = tuple(parse_power_object(word, side="source") for word in words)
        else:
            powers = tuple(parse_power_object(word, side="sink") for word in words)
        found = (position_problem(one, position) for position, one in enumerate(powers, 1))
        return powers, tuple(problem for problem in found if problem is not None)
    if message_type == DataType.Vendor_Defined:
        from pdcheck.messages import vendor

        return vendor.read(words, on_cable), ()
    wanted = 2 if message_type == DataType.EPR_Request else 1
    problems: Problems = ()
    if message_type == DataType.BIST:
        from pdcheck.messages import bist

        objects = bist.read(words)
        if len(objects) > 1 and objects[1].kind != "unknown":
            return objects, ()
    elif message_type == DataType.Request:
        objects = tuple(parse_request(word) for word in words[:1])
    elif message_type == DataType.EPR_Request:
        objects = _epr_request(words)
    elif message_type == DataType.EPR_Mode:
        from pdcheck.messages import modes

        objects = tuple(modes.parse_epr_mode(word) for word in words[:1])
    elif message_type in ONE_WORD:
        layout = find_layout(ONE_WORD[message_type])
        objects = tuple(layout.parse_word(word) for word in words[:1])
    else:
        return tuple(DataObject("unknown", word) for word in words), ()
    if len(words) != wanted:
        plural = "" if len(words) == 1 else "s"
        problems = (f"{data_name(message_type)} has {len(words)} object{plural}, the specification {wanted}",)
    more = tuple(DataObject("unknown", word) for word in words[len(objects) :])
    return (*objects, *more), problems


def _epr_request(words: tuple[int, ...]) -> Objects:
    """The request read by the copy of the offered object that follows it."""
    if len(words) < 2:
        return tuple(parse_request(word) for word in words)
    offered = parse_power_object(words[1], side="source")
    return (parse_request(words[0], offered), offered)


def build(message: Message) -> bytes:
    """Header and payload as on the wire, from the fields of the message: the inverse of ``parse``.

    ``message.data`` is not looked at. A chunk gets the zeros that fill its last object, unless a
    ``padding`` object says otherwise.

    :raises ValueError: a field does not fit its bits.
    """
    header = message.header
    pieces = [build_header(
        message_type=header.message_type, object_count=header.object_count, message_id=header.message_id,
        power_role=header.power_role, data_role=header.data_role, revision=header.revision,
        extended=header.extended,
    )]
    extended_header = message.extended_header
    if extended_header is not None:
        pieces.append(build_extended_header(
            data_size=extended_header.data_size, chunk_number=extended_header.chunk_number,
            request_chunk=extended_header.request_chunk, chunked=extended_header.chunked,
            reserved=extended_header.raw >> 9 & 1,
        ))
    pieces.extend(bytes_of(one) for one in message.objects)
    if extended_header is not None and not any(one.kind == "padding" for one in message.objects):
        from pdcheck.messages.extended import padding_for

        pieces.append(padding_for(header, extended_header))
    return b"".join(pieces)


def build_object(kind: str, *, side: str = "source", offered: str = "", **fields: object) -> int:
    """The 32-bit word of an object of that kind; a field that is not given is zero.

    :param side: ``"source"`` or ``"sink"``, where the kind has two layouts.
    :param offered: for a request, the kind of the object it asks for, where the fields do not tell
        (``spr_pps``, ``spr_avs``, ``epr_avs``).
    :param fields: as in the JSON report; ``reserved_bits_set`` may be given too.
    :raises ValueError: no such kind or field, or a value that does not fit.
    """
    from pdcheck.messages.build_objects import layout_to_build

    data = layout_to_build(kind, side, offered, fields).build(fields)  # type: ignore[arg-type]
    if len(data) != 4:
        raise ValueError(f"an object of kind {kind} is {len(data)} bytes, not a word")
    return int.from_bytes(data, "little")
