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
    """Since which revision a type exists, and where its number was compared."""

    since: str
    checked: str


NOTES: dict[IntEnum, TypeNote] = {
    ControlType.GoodCRC: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.GotoMin: TypeNote("R2.0 (deprecated)", "Linux 6.1 pd.h"),
    ControlType.Accept: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Reject: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Ping: TypeNote("R2.0 (deprecated)", "Linux 6.1 pd.h"),
    ControlType.PS_RDY: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Get_Source_Cap: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Get_Sink_Cap: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.DR_Swap: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.PR_Swap: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.VCONN_Swap: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Wait: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Soft_Reset: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ControlType.Data_Reset: TypeNote("R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    ControlType.Data_Reset_Complete: TypeNote("R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    ControlType.Not_Supported: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.Get_Source_Cap_Extended: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.Get_Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.FR_Swap: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.Get_PPS_Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.Get_Country_Codes: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ControlType.Get_Sink_Cap_Extended: TypeNote("R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    ControlType.Get_Source_Info: TypeNote("R3.1", "memory; public protocol stacks agree"),
    ControlType.Get_Revision: TypeNote("R3.1", "memory; public protocol stacks agree"),
    DataType.Source_Capabilities: TypeNote("R2.0", "Linux 6.1 pd.h"),
    DataType.Request: TypeNote("R2.0", "Linux 6.1 pd.h"),
    DataType.BIST: TypeNote("R2.0", "Linux 6.1 pd.h"),
    DataType.Sink_Capabilities: TypeNote("R2.0", "Linux 6.1 pd.h"),
    DataType.Battery_Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    DataType.Alert: TypeNote("R3.0", "Linux 6.1 pd.h"),
    DataType.Get_Country_Info: TypeNote("R3.0", "Linux 6.1 pd.h"),
    DataType.Enter_USB: TypeNote("R3.0", "Zephyr 4.0 usbc_pd.h (name)"),
    DataType.EPR_Request: TypeNote("R3.1", "memory; public protocol stacks agree"),
    DataType.EPR_Mode: TypeNote("R3.1", "memory; public protocol stacks agree"),
    DataType.Source_Info: TypeNote("R3.1", "memory; public protocol stacks agree"),
    DataType.Revision: TypeNote("R3.1", "memory; public protocol stacks agree"),
    DataType.Vendor_Defined: TypeNote("R2.0", "Linux 6.1 pd.h"),
    ExtendedType.Source_Capabilities_Extended: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Get_Battery_Cap: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Get_Battery_Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Battery_Capabilities: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Get_Manufacturer_Info: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Manufacturer_Info: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Security_Request: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Security_Response: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Firmware_Update_Request: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Firmware_Update_Response: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.PPS_Status: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Country_Info: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Country_Codes: TypeNote("R3.0", "Linux 6.1 pd.h"),
    ExtendedType.Sink_Capabilities_Extended: TypeNote("R3.0", "memory; several public protocol stacks agree"),
    ExtendedType.Extended_Control: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedType.EPR_Source_Capabilities: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedType.EPR_Sink_Capabilities: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedType.Vendor_Defined_Extended: TypeNote("R3.0", "memory; several public protocol stacks agree"),
    ExtendedControlType.EPR_Get_Source_Cap: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedControlType.EPR_Get_Sink_Cap: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedControlType.EPR_KeepAlive: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    ExtendedControlType.EPR_KeepAlive_Ack: TypeNote("R3.1", "memory; several public protocol stacks agree"),
    EprModeAction.Enter: TypeNote("R3.1", "memory"),
    EprModeAction.Enter_Acknowledged: TypeNote("R3.1", "memory"),
    EprModeAction.Enter_Succeeded: TypeNote("R3.1", "memory"),
    EprModeAction.Enter_Failed: TypeNote("R3.1", "memory"),
    EprModeAction.Exit: TypeNote("R3.1", "memory"),
}
