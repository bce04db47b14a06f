"""Message words packed by plain shifts, straight from the specification's tables.

The layouts were compared with the Linux 6.1 header `include/linux/usb/pd.h` where it has them (fixed bits 31:25
and 19:0, battery, variable, PPS but its bit 27, requests but their bits 23 and 22); peak current, the EPR AVS
positions and the AVS request are from memory; SPR AVS positions are those of a 2025 kernel patch. The message
header is from memory and agrees with the two real logs beside this file.
"""

from __future__ import annotations

from collections.abc import Sequence

CONTROL = {
    "GoodCRC": 1, "GotoMin": 2, "Accept": 3, "Reject": 4, "Ping": 5, "PS_RDY": 6, "Get_Source_Cap": 7,
    "Get_Sink_Cap": 8, "DR_Swap": 9, "PR_Swap": 10, "VCONN_Swap": 11, "Wait": 12, "Soft_Reset": 13,
    "Data_Reset": 14, "Data_Reset_Complete": 15, "FR_Swap": 19,
    "Not_Supported": 16, "Get_Source_Cap_Extended": 17, "Get_Status": 18, "Get_PPS_Status": 20,
    "Get_Country_Codes": 21, "Get_Sink_Cap_Extended": 22, "Get_Source_Info": 23, "Get_Revision": 24,
}  # fmt: skip
DATA = {
    "Source_Capabilities": 1, "Request": 2, "BIST": 3, "Sink_Capabilities": 4, "Battery_Status": 5, "Alert": 6,
    "Get_Country_Info": 7, "Enter_USB": 8, "EPR_Request": 9, "EPR_Mode": 10, "Source_Info": 11,
    "Revision": 12, "Vendor_Defined": 15,
}  # fmt: skip
EXTENDED = {
    "Source_Capabilities_Extended": 1, "Status": 2, "Get_Battery_Cap": 3, "Get_Battery_Status": 4,
    "Battery_Capabilities": 5, "Get_Manufacturer_Info": 6, "Manufacturer_Info": 7, "PPS_Status": 12,
    "Country_Info": 13, "Country_Codes": 14, "Sink_Capabilities_Extended": 15, "Extended_Control": 16,
    "EPR_Source_Capabilities": 17, "EPR_Sink_Capabilities": 18,
}  # fmt: skip

R20, R3X = 1, 2  # the header's revision field


def header(kind: str, count: int, message_id: int, revision: int, bit8: int, bit5: int) -> int:
    """The 16-bit message header. bit8: power role (or cable plug), bit5: data role (or reserved)."""
    if kind in EXTENDED:
        code, extended = EXTENDED[kind], 1
    else:
        code, extended = (DATA[kind] if kind in DATA else CONTROL[kind]), 0
    return code | bit5 << 5 | revision << 6 | bit8 << 8 | message_id << 9 | count << 12 | extended << 15


def payload(head: int, objects: Sequence[int] = ()) -> bytes:
    """Header and 32-bit objects, least significant byte first."""
    return head.to_bytes(2, "little") + b"".join(word.to_bytes(4, "little") for word in objects)


def fixed(mv: int, ma: int, *, flags: int = 0, peak: int = 0) -> int:
    """A fixed supply; `flags` are the bits 29 to 23, already in place."""
    return flags | peak << 20 | mv // 50 << 10 | ma // 10


def battery(min_mv: int, max_mv: int, mw: int) -> int:
    """A battery supply."""
    return 1 << 30 | max_mv // 50 << 20 | min_mv // 50 << 10 | mw // 250


def variable(min_mv: int, max_mv: int, ma: int) -> int:
    """A variable supply."""
    return 2 << 30 | max_mv // 50 << 20 | min_mv // 50 << 10 | ma // 10


def pps(min_mv: int, max_mv: int, ma: int, *, limited: int = 0) -> int:
    """An SPR programmable supply."""
    return 3 << 30 | limited << 27 | max_mv // 100 << 17 | min_mv // 100 << 8 | ma // 50


def spr_avs(ma_to_15v: int, ma_to_20v: int, *, peak: int = 0) -> int:
    """An SPR adjustable supply, 9 V to 15 V or 20 V."""
    return 3 << 30 | 2 << 28 | peak << 26 | ma_to_15v // 10 << 10 | ma_to_20v // 10


def request_fixed(position: int, operating_ma: int, max_ma: int, *, flags: int = 0) -> int:
    """A Request for a fixed or variable object; `flags` are the bits 27 to 22, already in place."""
    return position << 28 | flags | operating_ma // 10 << 10 | max_ma // 10


def request_battery(position: int, operating_mw: int, max_mw: int, *, flags: int = 0) -> int:
    """A Request for a battery object."""
    return position << 28 | flags | operating_mw // 250 << 10 | max_mw // 250


def request_pps(position: int, mv: int, ma: int, *, flags: int = 0) -> int:
    """A Request for a programmable object: 20 mV and 50 mA steps."""
    return position << 28 | flags | mv // 20 << 9 | ma // 50


def request_avs(position: int, mv: int, ma: int, *, flags: int = 0) -> int:
    """A Request for an adjustable object: 25 mV steps of which only every fourth is allowed, 50 mA steps."""
    return position << 28 | flags | (mv // 100 * 4) << 9 | ma // 50


MISMATCH, USB_COMM, NO_SUSPEND, UNCHUNKED, EPR_CAPABLE = 1 << 26, 1 << 25, 1 << 24, 1 << 23, 1 << 22
DUAL_ROLE, SUSPEND, UNCONSTRAINED, SRC_USB_COMM, DUAL_DATA, SRC_UNCHUNKED = (
    1 << 29, 1 << 28, 1 << 27, 1 << 26, 1 << 25, 1 << 24,
)  # fmt: skip
HIGHER_CAPABILITY = 1 << 28
GIVEBACK = 1 << 27  # of a request
SRC_EPR_CAPABLE = 1 << 23  # of the first object of an offer


def vdm_header(svid: int, command: int, command_type: int, *, version: int = 0, position: int = 0) -> int:
    """A structured VDM header. command_type: 0 REQ, 1 ACK, 2 NAK, 3 BUSY; version: bits 14:13 (from memory)."""
    return svid << 16 | 1 << 15 | version << 13 | position << 8 | command_type << 6 | command


def cable_identity(version: int, five_amp: bool) -> list[int]:
    """A passive cable's answer to Discover Identity: VDM header, ID header, cert stat, product, cable VDO.

    Invented vendor number 0xFFF1. Product type 3 is a passive cable; bits 6:5 of the cable VDO are 1 for
    3 A and 2 for 5 A (from memory of the specification).
    """
    current = 2 if five_amp else 1
    cable = 0x00080000 | 2 << 18 | 1 << 13 | current << 5 | 2
    return [vdm_header(0xFF00, 1, 1, version=version), 3 << 27 | 0xFFF1, 0, 0x00010000, cable]


def marked_cable(version: int, *, amps: int, epr: bool = False) -> list[int]:
    """A passive cable's answer to Discover Identity; amps: 3 or 5 (or 0, which is reserved).

    EPR: bit 17, with 50 V in bits 10:9 (from memory of the specification's passive cable VDO).
    """
    current = {0: 0, 3: 1, 5: 2}[amps]
    cable = 0x00080000 | 2 << 18 | (1 << 17 | 3 << 9 if epr else 0) | 1 << 13 | current << 5 | 2
    return [vdm_header(0xFF00, 1, 1, version=version), 3 << 27 | 0xFFF1, 0, 0x00010000, cable]


def epr_avs(min_mv: int, max_mv: int, pdp_w: int) -> int:
    """An EPR adjustable supply."""
    return 3 << 30 | 1 << 28 | max_mv // 100 << 17 | min_mv // 100 << 8 | pdp_w


def epr_mode(action: int, data: int = 0) -> int:
    """An EPR_Mode object: 1 Enter, 2 Enter Acknowledged, 3 Enter Succeeded (positions from memory)."""
    return action << 24 | data << 16


def extended_words(data: bytes, *, size: int | None = None, chunk: int = 0, asking: bool = False) -> list[int]:
    """One chunk of an extended message in whole words: its 16-bit header, then data (layout from memory).

    size: of the whole message, where this is a part of it. asking: a request for the chunk, without data.
    """
    head = 1 << 15 | chunk << 11 | asking << 10 | (len(data) if size is None else size)
    raw = head.to_bytes(2, "little") + data
    raw += bytes(-len(raw) % 4)
    return [int.from_bytes(raw[i : i + 4], "little") for i in range(0, len(raw), 4)]
