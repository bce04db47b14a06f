"""Limits around attach that a meter reading is compared with: the pull-down without power, VCONN, default currents.

Why it is: at the bench a chip without power, a contact that carries VCONN and the current that nobody had to ask for
look like faults to whoever knows only the resistors.
"""

from __future__ import annotations

from pdcheck.standard.limit import Limit

_REF = "USB Type-C, section 4.11 (termination and voltage parameters)"
_CURRENT = "USB Type-C, section 4.6 (power sources and their precedence)"

RD_CLAMP = Limit(
    "vRdClamp", 0.25, 1.1, 1.32, "V",
    "the pull-down of a port without power may be a voltage clamp (1.1 V, 20 %) instead of a resistor: its level says "
    "that a sink is there and nothing of the advertisement",
    _REF, "memory",
)
RD_LOOSE = Limit(
    "vRdLoose", None, None, 2.18, "V",
    "the highest level on a pull-down of 5.1 kohm, 20 %",
    _REF, "memory",
)
VCONN = Limit(
    "vVconnValid", 3.0, None, 5.5, "V",
    "supply of a powered cable, on the contact that the plug does not use for CC",
    _REF, "memory",
)
CC_HIGHEST = Limit(
    "vCcHighest", None, None, 5.5, "V",
    "nothing in the standard puts more on a CC contact: the highest pull-up supply and the highest VCONN",
    _REF, "ST UM2191 rev 2 Table 2 for the pull-up; memory for VCONN",
)
DEFAULT_USB_2 = Limit(
    "iDefaultUsb2", None, None, 500, "mA",
    "default USB power from a USB 2.0 port, configured",
    _CURRENT, "memory",
)
DEFAULT_USB_3 = Limit(
    "iDefaultUsb3", None, None, 900, "mA",
    "default USB power from a USB 3.2 port of one lane",
    _CURRENT, "memory",
)
ADVERTISED_1_5A = Limit(
    "iAdvertised1.5A", None, None, 1500, "mA",
    "what a device may draw without a contract where the pull-up advertises 1.5 A",
    _CURRENT, "memory",
)
ADVERTISED_3A = Limit(
    "iAdvertised3A", None, None, 3000, "mA",
    "what a device may draw without a contract where the pull-up advertises 3.0 A",
    _CURRENT, "memory",
)
UNIT_LOAD = Limit(
    "iUnitLoad", None, None, 100, "mA",
    "what a USB 2.0 device may draw before it is configured",
    "USB 2.0, section 7.2.1 (classes of devices)", "memory",
)

ALL: tuple[Limit, ...] = (
    RD_CLAMP,
    RD_LOOSE,
    VCONN,
    CC_HIGHEST,
    DEFAULT_USB_2,
    DEFAULT_USB_3,
    ADVERTISED_1_5A,
    ADVERTISED_3A,
    UNIT_LOAD,
)
