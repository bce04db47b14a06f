"""Vendor Defined messages: the header, and which layout each object after it has.

Why it is: cables and alternate modes speak here, in objects whose meaning depends on everything before
them. What the specification leaves to vendors is shown as it is. (USB PD R3.2, section 6.4.4; header bits
compared with Linux 6.1 pd_vdo.h, the minor version from memory of the specification.)
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from pdcheck.messages.layout import Choice, Number, Reserved, TypeCode, Version, table, word
from pdcheck.messages.model import DataObject, Value

SVID_PD = 0xFF00
SVID_DISPLAYPORT = 0xFF01

COMMANDS = {
    1: "Discover_Identity", 2: "Discover_SVIDs", 3: "Discover_Modes",
    4: "Enter_Mode", 5: "Exit_Mode", 6: "Attention",
}
DISPLAYPORT_COMMANDS = {16: "DisplayPort_Status_Update", 17: "DisplayPort_Configure"}
FIRST_SVID_COMMAND = 16
"""Commands from here up have the meaning the SVID gives them."""


def command_name(svid: int, command: int) -> str:
    """The command in the specification's words; for a number it leaves to the SVID, that number."""
    if command in COMMANDS:
        return COMMANDS[command]
    if svid == SVID_DISPLAYPORT and command in DISPLAYPORT_COMMANDS:
        return DISPLAYPORT_COMMANDS[command]
    return f"SVID_specific_{command}" if command >= FIRST_SVID_COMMAND else f"reserved_{command}"


def _named(fields: Mapping[str, Value]) -> Mapping[str, Value]:
    svid, command = fields["svid"], fields["command"]
    assert isinstance(svid, int) and isinstance(command, int)
    return {"structured": True, "command_name": command_name(svid, command)}


def _unstructured(fields: Mapping[str, Value]) -> Mapping[str, Value]:
    return {"structured": False}


LAYOUTS = table(
    word(
        "vendor.structured_header", "vdm_header",
        "svid" / Number(16) * "standard or vendor ID whose terms these are",
        TypeCode(1, 1, "structured") * "kind of vendor message",
        "version" / Version() * "structured VDM version",
        "object_position" / Number(3) * "which mode (Enter, Exit, Attention); 7: all",
        "command_type" / Choice(2, {0: "REQ", 1: "ACK", 2: "NAK", 3: "BUSY"}) * "question or kind of answer",
        Reserved(1),
        "command" / Number(5) * "what is asked",
        title="Structured VDM header",
        derive=_named,
    ),
    word(
        "vendor.unstructured_header", "vdm_header",
        "svid" / Number(16) * "vendor ID whose terms these are",
        TypeCode(1, 0, "unstructured") * "kind of vendor message",
        "vendor_use" / Number(15) * "meaning left to the vendor",
        title="Unstructured VDM header",
        derive=_unstructured,
    ),
    word(
        "vendor.svids", "svids",
        "svid_0" / Number(16) * "a supported ID; 0 ends the list",
        "svid_1" / Number(16) * "a supported ID; 0 ends the list",
        title="Discover SVIDs VDO",
    ),
)
_STRUCTURED = 1 << 15


def parse_vdm_header(raw: int) -> DataObject:
    """The VDM header in a 32-bit word, structured or not."""
    return parse_vdo(raw, f"vendor.{'' if raw & _STRUCTURED else 'un'}structured_header")


@lru_cache(maxsize=8192)
def parse_vdo(raw: int, layout: str) -> DataObject:
    """An object after the header by the name of its layout; ``""`` where its meaning is the vendor's."""
    if not layout:
        return DataObject("vendor_object", raw)
    if layout.startswith("vendor."):
        return LAYOUTS[layout].parse_word(raw)
    if layout.startswith("displayport."):
        from pdcheck.messages import displayport

        return displayport.LAYOUTS[layout].parse_word(raw)
    from pdcheck.messages import identity

    return identity.LAYOUTS[layout].parse_word(raw)


def read(words: tuple[int, ...], on_cable: bool) -> tuple[DataObject, ...]:
    """The objects of a Vendor_Defined message. ``on_cable``: it was sent on SOP' or SOP''."""
    if not words:
        return ()
    header = parse_vdm_header(words[0])
    if not words[0] & _STRUCTURED:
        return (header, *(parse_vdo(raw, "") for raw in words[1:]))
    svid, command = header.number("svid"), header.number("command")
    layouts = _layouts(svid, command, str(header["command_type"]), str(header["version"]), words[1:], on_cable)
    return (header, *(parse_vdo(raw, layout) for raw, layout in zip(words[1:], layouts, strict=True)))


def _layouts(
    svid: int, command: int, command_type: str, version: str, words: tuple[int, ...], on_cable: bool
) -> tuple[str, ...]:
    """The layout of each object after a structured header."""
    count = len(words)
    name = command_name(svid, command)
    if name == "Discover_Identity" and command_type == "ACK":
        from pdcheck.messages import identity

        return identity.layouts(words, version, on_cable)
    if name == "Discover_SVIDs" and command_type == "ACK":
        return ("vendor.svids",) * count
    if svid == SVID_DISPLAYPORT:
        if name == "Discover_Modes" and command_type == "ACK":
            return ("displayport.capabilities",) * count
        if name in ("DisplayPort_Status_Update", "Attention"):
            return ("displayport.status",) * count
        if name == "DisplayPort_Configure" and command_type == "REQ":
            return ("displayport.configuration",) * count
    return ("",) * count
