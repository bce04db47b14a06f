"""DisplayPort alternate mode: capabilities, status, configuration.

Why it is: the alternate mode met most often, and its field layout is published. (VESA DisplayPort Alt Mode
on USB Type-C, as laid out in Linux typec_dp.h: version 1.0b in Linux 6.1, the fields of version 2.1 in 6.12.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Choice, Code, Letters, Reserved, Yes, table, word

_PINS = Letters("ABCDEF")
_SIGNALING = "signaling" / Code(4, {
    0: "none", 1: "DisplayPort rates up to HBR3", 2: "UHBR10 (before version 2.1: USB Gen 2)",
    3: "UHBR20 (before version 2.1: DisplayPort and USB Gen 2)",
}) * "what the wires carry"
_LATER = (
    Reserved(1),
    "dpam_version_2_1" / Yes() * "version 2.1 of the mode or later",
    "cable_active_component" / Choice(2, {0: "passive", 1: "re-timer", 2: "re-driver", 3: "optical"})
    * "how the cable is made (version 2.1)",
    Reserved(1),
    "uhbr13_5_supported" / Yes() * "UHBR13.5 (version 2.1)",
)

LAYOUTS = table(
    word(
        "displayport.capabilities", "displayport_capabilities",
        *_LATER,
        Reserved(2),
        Reserved(2),
        "ufp_d_pin_assignments" / _PINS * "pin assignments as a DisplayPort sink",
        Reserved(2),
        "dfp_d_pin_assignments" / _PINS * "pin assignments as a DisplayPort source",
        "usb_2_0_not_used" / Yes() * "USB 2.0 is not used in this mode",
        "receptacle" / Yes() * "a receptacle (clear: a plug)",
        _SIGNALING,
        "port_capability" / Choice(2, {1: "UFP_D (sink)", 2: "DFP_D (source)", 3: "DFP_D and UFP_D"})
        * "which side of DisplayPort it can be",
        title="DisplayPort capabilities VDO",
    ),
    word(
        "displayport.status", "displayport_status",
        Reserved(23),
        "irq_hpd" / Yes() * "an interrupt pulse on hot plug detect since the last status",
        "hpd_state" / Yes() * "hot plug detect is high: a display is there",
        "exit_displayport_mode" / Yes() * "asks to leave the mode",
        "switch_to_usb" / Yes() * "asks for USB instead",
        "multi_function_preferred" / Yes() * "wants USB 3 beside DisplayPort",
        "enabled" / Yes() * "the adapter works",
        "power_low" / Yes() * "the adapter found too little power",
        "connection" / Choice(2, {0: "none", 1: "DFP_D connected", 2: "UFP_D connected", 3: "both connected"})
        * "what is connected to the port",
        title="DisplayPort status VDO",
    ),
    word(
        "displayport.configuration", "displayport_configuration",
        *_LATER,
        Reserved(10),
        Reserved(2),
        "pin_assignment" / Letters("ABCDEF") * "the pin assignment to use (none: USB)",
        Reserved(2),
        _SIGNALING,
        "configure_as" / Choice(2, {0: "USB", 1: "UFP_U as DFP_D", 2: "UFP_U as UFP_D"}) * "what to become",
        title="DisplayPort configuration VDO",
    ),
)
