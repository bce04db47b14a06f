"""The message header and the extended message header.

Why it is: sixteen bits decide how everything after them is read. (USB PD, Message Header table and
Extended Message Header table; bit positions compared with Linux 6.1 pd.h.)
"""

from __future__ import annotations

from functools import lru_cache

from pdcheck.messages.layout import Code, Layout, Number, Reserved, Yes, table, word
from pdcheck.messages.model import ExtendedHeader, Header, Value

REVISIONS = {0: "R1.0", 1: "R2.0", 2: "R3.x"}

_COUNT_TO_REVISION = (
    "extended" / Yes() * "an extended header follows (R3.x; reserved in R2.0)",
    "object_count" / Number(3) * "number of 32-bit objects that follow",
    "message_id" / Number(3) * "counts messages so that a repeat is known as one",
)
_REVISION = "revision" / Code(2, REVISIONS) * "specification revision of the sender"
_TYPE = "message_type" / Number(5) * "which message (bit 4 is reserved in R2.0)"

LAYOUTS = table(
    word(
        "header.header", "header",
        *_COUNT_TO_REVISION,
        "power_role" / Code(1, {0: "sink", 1: "source"}) * "power role of the sender",
        _REVISION,
        "data_role" / Code(1, {0: "UFP (device)", 1: "DFP (host)"}) * "data role of the sender",
        _TYPE,
        title="Message header (SOP)",
    ),
    word(
        "header.cable_header", "header",
        *_COUNT_TO_REVISION,
        "cable_plug" / Code(1, {0: "from a port", 1: "from the cable plug"}) * "who sent it",
        _REVISION,
        Reserved(1),
        _TYPE,
        title="Message header (SOP' and SOP'')",
    ),
    word(
        "header.extended_header", "extended_header",
        "chunked" / Yes() * "sent in parts of at most 26 bytes",
        "chunk_number" / Number(4) * "which part, from 0",
        "request_chunk" / Yes() * "asks for that part instead of carrying it",
        Reserved(1),
        "data_size" / Number(9, 1, "bytes") * "size of the whole data, all parts together",
        title="Extended message header",
    ),
)
HEADER = LAYOUTS["header.header"]
EXTENDED_HEADER = LAYOUTS["header.extended_header"]


def layout_of(on_cable: bool) -> Layout:
    """The header layout on SOP, or on SOP' and SOP''."""
    return LAYOUTS["header.cable_header" if on_cable else "header.header"]


@lru_cache(maxsize=4096)
def parse_header(raw: int) -> Header:
    """The header in a 16-bit word (first byte on the wire lowest). ValueError for a wider number."""
    if not 0 <= raw <= 0xFFFF:
        raise ValueError("a message header has 16 bits")
    fields = HEADER.parse_word(raw)
    return Header(
        raw=raw,
        message_type=fields.number("message_type"),
        data_role=fields.number("data_role"),
        revision=fields.number("revision"),
        power_role=fields.number("power_role"),
        message_id=fields.number("message_id"),
        object_count=fields.number("object_count"),
        extended=bool(fields["extended"]),
    )


def build_header(
    *,
    message_type: int,
    object_count: int = 0,
    message_id: int = 0,
    power_role: int = 0,
    data_role: int = 0,
    revision: int = 2,
    extended: bool = False,
) -> bytes:
    """The two header bytes as on the wire; the arguments are the fields of :class:`Header`.

    :raises ValueError: a value does not fit its bits.
    """
    return HEADER.build({
        "message_type": message_type, "object_count": object_count, "message_id": message_id,
        "power_role": power_role, "data_role": data_role, "revision": revision, "extended": extended,
    })


@lru_cache(maxsize=4096)
def parse_extended_header(raw: int) -> ExtendedHeader:
    """The extended header in a 16-bit word (first byte on the wire lowest). ValueError for a wider number."""
    if not 0 <= raw <= 0xFFFF:
        raise ValueError("an extended message header has 16 bits")
    fields = EXTENDED_HEADER.parse_word(raw)
    return ExtendedHeader(
        raw=raw,
        data_size=fields.number("data_size"),
        request_chunk=bool(fields["request_chunk"]),
        chunk_number=fields.number("chunk_number"),
        chunked=bool(fields["chunked"]),
    )


def build_extended_header(
    *, data_size: int, chunk_number: int = 0, request_chunk: bool = False, chunked: bool = True, reserved: int = 0
) -> bytes:
    """The two extended header bytes as on the wire. ValueError where a value does not fit its bits.

    ``reserved`` is bit 9 as it was seen.
    """
    fields: dict[str, Value] = {
        "data_size": data_size, "chunk_number": chunk_number, "request_chunk": request_chunk, "chunked": chunked,
        "reserved_bits_set": [9] if reserved else [],
    }
    return EXTENDED_HEADER.build(fields)
