"""Extended messages: which block each carries, and how its bytes lie in a message or a chunk.

Why it is: up to 260 bytes come in parts of 26, padded to whole objects, and each part must be readable on
its own as well as all together. (USB PD R3.2, section 6.2.1.2 and 6.5.)
"""

from __future__ import annotations

from pdcheck.messages.model import DataObject, ExtendedHeader, Header
from pdcheck.messages.power import parse_epr_objects, position_problem
from pdcheck.messages.registry import find_layout
from pdcheck.standard.message_types import ExtendedType
from pdcheck.standard.sizes import CHUNK_BYTES, MOST_EXTENDED_BYTES, OBJECT_BYTES

BLOCKS: dict[int, str] = {
    ExtendedType.Source_Capabilities_Extended: "capability_blocks.source",
    ExtendedType.Status: "blocks.status",
    ExtendedType.Get_Battery_Cap: "blocks.get_battery_cap",
    ExtendedType.Get_Battery_Status: "blocks.get_battery_status",
    ExtendedType.Battery_Capabilities: "blocks.battery_capabilities",
    ExtendedType.Get_Manufacturer_Info: "blocks.get_manufacturer_info",
    ExtendedType.Manufacturer_Info: "blocks.manufacturer_info",
    ExtendedType.Security_Request: "protocols.security",
    ExtendedType.Security_Response: "protocols.security",
    ExtendedType.Firmware_Update_Request: "protocols.firmware_update",
    ExtendedType.Firmware_Update_Response: "protocols.firmware_update",
    ExtendedType.PPS_Status: "blocks.pps_status",
    ExtendedType.Country_Info: "blocks.country_info",
    ExtendedType.Country_Codes: "blocks.country_codes",
    ExtendedType.Sink_Capabilities_Extended: "capability_blocks.sink",
    ExtendedType.Extended_Control: "blocks.extended_control",
    ExtendedType.Vendor_Defined_Extended: "blocks.vendor_extended",
}
"""The layout of each block. The two EPR capabilities messages hold power objects instead."""

SHORTEST: dict[int, int] = {
    ExtendedType.Source_Capabilities_Extended: 24,
    ExtendedType.Status: 5,
    ExtendedType.Sink_Capabilities_Extended: 21,
}
"""Sizes of blocks that grew with the revisions, as they were in R3.0; any other block has the size it has."""


def extended_name(message_type: int) -> str:
    """The message's name; for a reserved type, which number it is."""
    try:
        return ExtendedType(message_type).name
    except ValueError:
        return f"Reserved_extended_{message_type}"


def extended_objects(
    message_type: int, data: bytes, on_cable: bool
) -> tuple[tuple[DataObject, ...], tuple[str, ...]]:
    """The objects in the whole data of an extended message, and what contradicts the specification.

    :param data: all parts together, without padding. :param on_cable: sent on SOP' or SOP''.
    """
    if message_type in (ExtendedType.EPR_Source_Capabilities, ExtendedType.EPR_Sink_Capabilities):
        return _epr_capabilities(message_type, data)
    name = BLOCKS.get(message_type)
    if name is None:
        return ((DataObject("bytes", data.hex()),) if data else ()), ()
    if on_cable and message_type == ExtendedType.Status:
        name = "blocks.cable_status"
    layout = find_layout(name)
    size = layout.size
    shortest = size if on_cable else SHORTEST.get(message_type, size)
    problems: list[str] = []
    if len(data) < shortest or (layout.tail is None and len(data) > size):
        wanted = f"{size}" if shortest == size else f"{shortest} to {size}"
        problems.append(f"the {extended_name(message_type)} block has {len(data)} bytes, the specification {wanted}")
    block = layout.parse_block(data)
    codes = block.get("country_codes")
    if isinstance(codes, list) and block.get("length") != len(codes):
        problems.append(f"the block says {block.get('length')} country codes and holds {len(codes)}")
    return (block,), tuple(problems)


def _epr_capabilities(message_type: int, data: bytes) -> tuple[tuple[DataObject, ...], tuple[str, ...]]:
    whole = len(data) // OBJECT_BYTES * OBJECT_BYTES
    words = tuple(int.from_bytes(data[at : at + OBJECT_BYTES], "little") for at in range(0, whole, OBJECT_BYTES))
    objects = parse_epr_objects(words, "source" if message_type == ExtendedType.EPR_Source_Capabilities else "sink")
    problems = [
        problem
        for position, one in enumerate(objects, 1)
        if one.kind != "unused" and (problem := position_problem(one, position)) is not None
    ]
    if len(data) > whole:
        objects += (DataObject("bytes", data[whole:].hex()),)
        problems.append(f"{len(data)} bytes are no whole number of power objects")
    return objects, tuple(problems)


def part_size(extended_header: ExtendedHeader) -> int:
    """How many data bytes this message itself carries, by its extended header."""
    if extended_header.request_chunk:
        return 0
    if not extended_header.chunked:
        return extended_header.data_size
    left = extended_header.data_size - CHUNK_BYTES * extended_header.chunk_number
    return min(CHUNK_BYTES, max(0, left))


def is_whole(extended_header: ExtendedHeader) -> bool:
    """Whether this message alone carries all the data."""
    if extended_header.request_chunk:
        return False
    one_chunk = extended_header.chunk_number == 0 and extended_header.data_size <= CHUNK_BYTES
    return not extended_header.chunked or one_chunk


def padding_for(header: Header, extended_header: ExtendedHeader) -> bytes:
    """The zero bytes that fill the last object of a chunk; none where the message is not chunked."""
    if not extended_header.chunked:
        return b""
    return bytes(max(0, 4 * header.object_count - 2 - part_size(extended_header)))


def _padding_words(after: bytes) -> str:
    if not after:
        return "not"
    return "1 byte that is not" if len(after) == 1 else f"a run of {len(after)} bytes that is not"


def read_part(
    header: Header, extended_header: ExtendedHeader, payload: bytes, on_cable: bool
) -> tuple[tuple[DataObject, ...], tuple[str, ...]]:
    """The objects of one extended message as it came.

    :param payload: what follows the extended header, padding included.
    :returns: the block where this message carries all of it, else one ``chunk``; and a ``padding`` object
        where what follows is not the zeros that should.
    """
    objects: tuple[DataObject, ...] = ()
    problems: list[str] = []
    size = part_size(extended_header)
    part, after = payload[:size], payload[size:]
    if len(part) < size:
        problems.append(f"{size} data bytes are announced, and {len(part)} are there")
    if extended_header.data_size > MOST_EXTENDED_BYTES:
        problems.append(
            f"a data size of {extended_header.data_size} bytes is more than the {MOST_EXTENDED_BYTES} there may be"
        )
    if is_whole(extended_header):
        objects, found = extended_objects(header.message_type, part, on_cable)
        problems.extend(found)
    elif part or not extended_header.request_chunk:
        objects = (DataObject("chunk", part.hex()),)
    if extended_header.chunked and 4 * header.object_count < 2 + size:
        problems.append(f"an object count of {header.object_count} is too small for {size} data bytes")
    if after != padding_for(header, extended_header):
        objects += (DataObject("padding", after.hex()),)
        if len(part) == size:
            problems.append(f"after the data comes {_padding_words(after)} the padding there should be")
    return objects, tuple(problems)
