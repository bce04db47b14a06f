"""Objects that enter a mode: USB4 and its like, and the extended power range.

Why it is: an EPR charger that stays at 20 V says in these why. (USB PD R3.2, Enter_USB and EPR_Mode;
Enter_USB compared with Linux 6.1 pd.h, EPR_Mode from memory of the specification.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Choice, Number, Reserved, Yes, table, word
from pdcheck.messages.model import DataObject
from pdcheck.standard.message_types import EprModeAction

FAILURE_CAUSES = {
    0: "unknown cause",
    1: "cable not EPR capable",
    2: "source failed to become VCONN source",
    3: "EPR capable bit not set in the request",
    4: "source unable to enter EPR mode at this time",
    5: "EPR capable bit not set in the power data object",
}

_ACTION = "action" / Choice(8, {int(action): action.name for action in EprModeAction}) * "what is done"

LAYOUTS = table(
    word(
        "modes.enter_usb", "enter_usb",
        Reserved(1),
        "usb_mode" / Choice(3, {0: "USB 2.0", 1: "USB 3.2", 2: "USB4"}) * "the mode to enter",
        Reserved(1),
        "usb4_drd" / Yes() * "can be host and device in USB4",
        "usb3_drd" / Yes() * "can be host and device in USB 3.2",
        Reserved(1),
        "cable_speed" / Choice(3, {
            0: "USB 2.0 only", 1: "USB 3.2 Gen1", 2: "USB 3.2 Gen2 and USB4 Gen2", 3: "USB4 Gen3", 4: "USB4 Gen4",
        }) * "what the cable can carry",
        "cable_type" / Choice(2, {
            0: "passive", 1: "active re-timer", 2: "active re-driver", 3: "optically isolated",
        }) * "how the cable is made",
        "cable_current" / Choice(2, {0: "VBUS not supported", 2: "3 A", 3: "5 A"}) * "what the cable can carry",
        "pcie_support" / Yes() * "PCI Express tunnelling",
        "dp_support" / Yes() * "DisplayPort tunnelling",
        "tbt_support" / Yes() * "TBT3 compatible operation",
        "host_present" / Yes() * "a host is connected",
        Reserved(13),
        title="Enter_USB data object",
    ),
    word("modes.epr_mode", "epr_mode", _ACTION, Reserved(24), title="EPR Mode data object"),
    word(
        "modes.epr_mode_enter", "epr_mode",
        _ACTION,
        "epr_sink_operational_pdp_mw" / Number(8, 1000, "mW") * "power the sink needs",
        Reserved(16),
        title="EPR Mode data object, Enter",
    ),
    word(
        "modes.epr_mode_failed", "epr_mode",
        _ACTION,
        "failure_cause" / Choice(8, FAILURE_CAUSES) * "why EPR mode was not entered",
        Reserved(16),
        title="EPR Mode data object, Enter Failed",
    ),
    word(
        "modes.epr_mode_reserved", "epr_mode",
        _ACTION,
        "data" / Number(8) * "the action is reserved, and so is its data",
        Reserved(16),
        title="EPR Mode data object, reserved action",
    ),
)


def parse_epr_mode(raw: int) -> DataObject:
    """The EPR Mode data object in a 32-bit word: the action says what its data is."""
    action = raw >> 24
    if action == EprModeAction.Enter:
        name = "modes.epr_mode_enter"
    elif action == EprModeAction.Enter_Failed:
        name = "modes.epr_mode_failed"
    elif action in EprModeAction.__members__.values():
        name = "modes.epr_mode"
    else:
        name = "modes.epr_mode_reserved"
    return LAYOUTS[name].parse_word(raw)
