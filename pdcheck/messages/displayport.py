"""DisplayPort alternate mode: capabilities, status, configuration.

Why it is: the alternate mode met most often, and its field layout is published. (VESA DisplayPort Alt Mode
on USB Type-C as laid out in Linux 6.1 typec_dp.h; what later versions added is shown as set bits.)
"""

from __future__ import annotations

from pdcheck.messages.layout import Choice, Letters, Reserved, Yes, table, word

_PINS = Letters("ABCDEF")
_SIGNALING = (
    Reserved(2),
    "usb_gen2_signaling" / Yes() * "USB Gen 2 signalling (reserved after version 1.0b)",
    "dp_signaling" / Yes() * "DisplayPort signalling rates",
)

LAYOUTS = table(
    word(
        "displayport.capabilities", "displayport_capabilities",
        Reserved(8),
        Reserved(2),
        "ufp_d_pin_assignments" / _PINS * "pin assignments as a DisplayPort sink",
        Reserved(2),
        "dfp_d_pin_assignments" / _PINS * "pin assignments as a DisplayPort source",
        "usb_2_0_not_used" / Yes() * "USB 2.0 is not used in this mode",
        "receptacle" / Yes() * "a receptacle (clear: a plug)",
        *_SIGNALING,
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
        Reserved(16),
        Reserved(2),
        "pin_assignment" / Letters("ABCDEF") * "the pin assignment to use (none: USB)",
        Reserved(4),
        *_SIGNALING[1:],
        "configure_as" / Choice(2, {0: "USB", 1: "UFP_U as DFP_D", 2: "UFP_U as UFP_D"}) * "what to become",
        title="DisplayPort configuration VDO",
    ),
)
