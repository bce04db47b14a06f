"""The message types of USB PD R2.0 to R3.2: number, name, since when.

Why it is: a name appears in a report exactly as the specification writes it, and in this one place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum


class ControlType(IntEnum):
    """Messages without objects (USB PD, control message types table)."""

    GoodCRC = 1
    GotoMin = 2
    Accept = 3
    Reject = 4
    Ping = 5
    PS_RDY = 6
    Get_Source_Cap = 7
    Get_Sink_Cap = 8
    DR_Swap = 9
    PR_Swap = 10
    VCONN_Swap = 11
    Wait = 12
    Soft_Reset = 13
    Data_Reset = 14
    Data_Reset_Complete = 15
    Not_Supported = 16
    Get_Source_Cap_Extended = 17
    Get_Status = 18
    FR_Swap = 19
    Get_PPS_Status = 20
    Get_Country_Codes = 21
    Get_Sink_Cap_Extended = 22
    Get_Source_Info = 23
    Get_Revision = 24


class DataType(IntEnum):
    """Messages of 1 to 7 objects (USB PD, data message types table)."""

    Source_Capabilities = 1
    Request = 2
    BIST = 3
    Sink_Capabilities = 4
    Battery_Status = 5
    Alert = 6
    Get_Country_Info = 7
    Enter_USB = 8
    EPR_Request = 9
    EPR_Mode = 10
    Source_Info = 11
    Revision = 12
    Vendor_Defined = 15


class ExtendedType(IntEnum):
    """Messages with an extended header (USB PD, extended message types table)."""

    Source_Capabilities_Extended = 1
    Status = 2
    Get_Battery_Cap = 3
    Get_Battery_Status = 4
    Battery_Capabilities = 5
    Get_Manufacturer_Info = 6
    Manufacturer_Info = 7
    Security_Request = 8
    Security_Response = 9
    Firmware_Update_Request = 10
    Firmware_Update_Response = 11
    PPS_Status = 12
    Country_Info = 13
    Country_Codes = 14
    Sink_Capabilities_Extended = 15
    Extended_Control = 16
    EPR_Source_Capabilities = 17
    EPR_Sink_Capabilities = 18
    Vendor_Defined_Extended = 30


class ExtendedControlType(IntEnum):
    """What an Extended_Control message asks (USB PD, Extended Control message types table)."""

    EPR_Get_Source_Cap = 1
    EPR_Get_Sink_Cap = 2
    EPR_KeepAlive = 3
    EPR_KeepAlive_Ack = 4


class EprModeAction(IntEnum):
    """The action of an EPR_Mode message (USB PD, EPR Mode data object table)."""

    Enter = 1
    Enter_Acknowledged = 2
    Enter_Succeeded = 3
    Enter_Failed = 4
    Exit = 5


@dataclass(frozen=True)
class TypeNote:
    """A message type, since which revision it exists, and where its number was compared."""

    type: IntEnum
    since: str
    checked: str


#: A tuple and not a dict by type: members of different enums with one number are equal.
NOTES: tuple[TypeNote, ...] = (
    TypeNote(ControlType.GoodCRC, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.GotoMin, "R2.0 (deprecated)", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Accept, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Reject, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Ping, "R2.0 (deprecated)", "Linux 6.1 pd.h"),
    TypeNote(ControlType.PS_RDY, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Source_Cap, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Sink_Cap, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.DR_Swap, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.PR_Swap, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.VCONN_Swap, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Wait, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Soft_Reset, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Data_Reset, "R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    TypeNote(ControlType.Data_Reset_Complete, "R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    TypeNote(ControlType.Not_Supported, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Source_Cap_Extended, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.FR_Swap, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_PPS_Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Country_Codes, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ControlType.Get_Sink_Cap_Extended, "R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    TypeNote(ControlType.Get_Source_Info, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(ControlType.Get_Revision, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(DataType.Source_Capabilities, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Request, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.BIST, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Sink_Capabilities, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Battery_Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Alert, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Get_Country_Info, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(DataType.Enter_USB, "R3.0", "Linux 6.1 pd.h; Zephyr 4.0 usbc_pd.h (name)"),
    TypeNote(DataType.EPR_Request, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(DataType.EPR_Mode, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(DataType.Source_Info, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(DataType.Revision, "R3.1", "memory; public protocol stacks agree"),
    TypeNote(DataType.Vendor_Defined, "R2.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Source_Capabilities_Extended, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Get_Battery_Cap, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Get_Battery_Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Battery_Capabilities, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Get_Manufacturer_Info, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Manufacturer_Info, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Security_Request, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Security_Response, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Firmware_Update_Request, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Firmware_Update_Response, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.PPS_Status, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Country_Info, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Country_Codes, "R3.0", "Linux 6.1 pd.h"),
    TypeNote(ExtendedType.Sink_Capabilities_Extended, "R3.0", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedType.Extended_Control, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedType.EPR_Source_Capabilities, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedType.EPR_Sink_Capabilities, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedType.Vendor_Defined_Extended, "R3.0", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedControlType.EPR_Get_Source_Cap, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedControlType.EPR_Get_Sink_Cap, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedControlType.EPR_KeepAlive, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(ExtendedControlType.EPR_KeepAlive_Ack, "R3.1", "memory; several public protocol stacks agree"),
    TypeNote(EprModeAction.Enter, "R3.1", "memory"),
    TypeNote(EprModeAction.Enter_Acknowledged, "R3.1", "memory"),
    TypeNote(EprModeAction.Enter_Succeeded, "R3.1", "memory"),
    TypeNote(EprModeAction.Enter_Failed, "R3.1", "memory"),
    TypeNote(EprModeAction.Exit, "R3.1", "memory"),
)


def since_r3(name: str) -> bool:
    """True for the name of a message that R2.0 does not have."""
    return any(note.type.name == name and note.since.startswith("R3") for note in NOTES)
