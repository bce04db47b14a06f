"""Every message of the standard, and how far it is decoded: the table in the notes is printed from here.

Why it is: a reader of a report must be able to look up what is read bit by bit, and what the specification
leaves to others and is shown as it came.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import IntEnum

from pdcheck.messages.extended import BLOCKS
from pdcheck.messages.layout import Layout
from pdcheck.messages.registry import family, find_layout
from pdcheck.messages.wire import ONE_WORD
from pdcheck.standard.message_types import ControlType, DataType, ExtendedType

_SOURCE = (
    "power.fixed_source", "power.battery", "power.variable", "power.spr_pps_source", "power.spr_avs_source",
)
_SINK = ("power.fixed_sink", "power.battery", "power.variable", "power.spr_pps_sink", "power.spr_avs_sink")
_REQUESTS = ("request.fixed", "request.battery", "request.pps", "request.avs")
_VENDOR_FAMILIES = ("vendor", "identity", "displayport")

_LEFT_TO_OTHERS = {
    "Vendor_Defined": "objects of other SVIDs are raw: the specification leaves them to vendors",
    "Vendor_Defined_Extended": "the data are raw: the specification leaves them to vendors",
    "Security_Request": "the data after it are those of USB Type-C Authentication",
    "Security_Response": "the data after it are those of USB Type-C Authentication",
    "Firmware_Update_Request": "the data after it are those of USB PD Firmware Update",
    "Firmware_Update_Response": "the data after it are those of USB PD Firmware Update",
    "Country_Info": "the specific data are that country's authority's",
}
"""By name: members of two enums with the same number are equal, and would be one key."""


def layouts_of(message_type: IntEnum) -> tuple[Layout, ...]:
    """Every layout an object of that message can have; none for a control message."""
    return tuple(find_layout(name) for name in _names(message_type))


def _names(message_type: IntEnum) -> tuple[str, ...]:
    if isinstance(message_type, ControlType):
        return ()
    if isinstance(message_type, ExtendedType):
        if message_type == ExtendedType.EPR_Source_Capabilities:
            return (*_SOURCE, "power.epr_avs_source")
        if message_type == ExtendedType.EPR_Sink_Capabilities:
            return (*_SINK, "power.epr_avs_sink")
        more = ("blocks.cable_status",) if message_type == ExtendedType.Status else ()
        return (BLOCKS[message_type], *more)
    if message_type in ONE_WORD:
        return (ONE_WORD[message_type],)
    named: dict[int, tuple[str, ...]] = {
        DataType.Source_Capabilities: _SOURCE,
        DataType.Sink_Capabilities: _SINK,
        DataType.Request: _REQUESTS,
        DataType.EPR_Request: (*_REQUESTS, *_SOURCE, "power.epr_avs_source"),
        DataType.BIST: tuple(family("bist")),
        DataType.EPR_Mode: tuple(name for name in family("modes") if "epr_mode" in name),
        DataType.Vendor_Defined: tuple(name for one in _VENDOR_FAMILIES for name in family(one)),
    }
    return named[message_type]


def every_message() -> Iterator[IntEnum]:
    """The messages of the standard: control, data, extended, each by number."""
    for group in (ControlType, DataType, ExtendedType):
        yield from group


def vocabulary_table() -> str:
    """The table as Markdown: class, number, message, its objects' kinds, how far it is decoded."""
    lines = [
        "| class | number | message | objects | decoded |",
        "| --- | --- | --- | --- | --- |",
    ]
    for message_type in every_message():
        layouts = layouts_of(message_type)
        kinds = list(dict.fromkeys(f"`{layout.kind}`" for layout in layouts))
        group = type(message_type).__name__.removesuffix("Type").lower()
        cells = (
            group, str(int(message_type)), message_type.name,
            ", ".join(kinds) if kinds else "none", _decoded(message_type, layouts),
        )
        lines.append("| " + " | ".join(cells) + " |")
    return "\n".join(lines) + "\n"


def _decoded(message_type: IntEnum, layouts: tuple[Layout, ...]) -> str:
    if not layouts:
        return "whole: it is only a header"
    fields = len({(layout.kind, name) for layout in layouts for name in layout.names})
    said = f"every field ({fields})"
    left = _LEFT_TO_OTHERS.get(message_type.name)
    return f"{said}; {left}" if left else said
