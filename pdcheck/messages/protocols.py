"""The first bytes that head a security or firmware update message; what follows stays bytes.

Why it is: those protocols are specifications of their own, but a technician wants to know that a charger
was asked for its certificate, or is being updated. (USB Type-C Authentication and USB PD Firmware Update,
message header tables; the message numbers are from memory of those specifications.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Choice, Group, Number, Tail, block, table

SECURITY = {
    0x01: "DIGESTS", 0x02: "CERTIFICATE", 0x03: "CHALLENGE_AUTH", 0x7F: "ERROR",
    0x81: "GET_DIGESTS", 0x82: "GET_CERTIFICATE", 0x83: "CHALLENGE",
}
_FIRMWARE_STEPS = {
    1: "GET_FW_ID", 2: "PDFU_INITIATE", 3: "PDFU_DATA", 4: "PDFU_DATA_NR", 5: "PDFU_VALIDATE", 6: "PDFU_ABORT",
    7: "PDFU_DATA_PAUSE",
}
FIRMWARE = (
    {number: f"{name} response" for number, name in _FIRMWARE_STEPS.items()}
    | {0x80 | number: name for number, name in _FIRMWARE_STEPS.items()}
    | {0x7F: "VENDOR_SPECIFIC response", 0xFF: "VENDOR_SPECIFIC"}
)

LAYOUTS = table(
    block(
        "protocols.security", "security",
        Group("protocol_version" / Number(8) * "of USB Type-C Authentication"),
        Group("message_type" / Choice(8, SECURITY) * "which message of that protocol"),
        Group("param_1" / Number(8) * "its first parameter"),
        Group("param_2" / Number(8) * "its second parameter"),
        tail=Tail("data", "defined by USB Type-C Authentication"),
        title="Security message",
    ),
    block(
        "protocols.firmware_update", "firmware_update",
        Group("protocol_version" / Number(8) * "of USB PD Firmware Update"),
        Group("message_type" / Choice(8, FIRMWARE) * "which message of that protocol"),
        tail=Tail("data", "defined by USB PD Firmware Update"),
        title="Firmware Update message",
    ),
)
