"""Objects laid out as C bit fields, so that their bits are placed by the C ABI and not by us.

The lists are typed from the specification's tables, lowest bit first (the tables go the other way), and carry
raw values, so that neither our positions nor our steps are used. `ctypes` packs them as a little-endian C
compiler does. Positions: Linux 6.1 `pd.h` and `pd_vdo.h` where those have them, else memory of USB PD R3.2.
"""

from __future__ import annotations

import ctypes
import random

Bits = tuple[tuple[str, int], ...]

FLAGS: Bits = (("epr", 1), ("unchunked", 1), ("no_suspend", 1), ("usb", 1), ("mismatch", 1))

LAYOUTS: dict[str, Bits] = {
    "fixed_source": (
        ("current", 10), ("voltage", 10), ("peak", 2), ("reserved22", 1), ("epr", 1), ("unchunked", 1),
        ("drd", 1), ("usb", 1), ("unconstrained", 1), ("suspend", 1), ("drp", 1), ("type", 2),
    ),
    "fixed_sink": (
        ("current", 10), ("voltage", 10), ("reserved20", 3), ("frs", 2), ("drd", 1), ("usb", 1),
        ("unconstrained", 1), ("higher", 1), ("drp", 1), ("type", 2),
    ),
    "battery": (("power", 10), ("low", 10), ("high", 10), ("type", 2)),
    "variable": (("current", 10), ("low", 10), ("high", 10), ("type", 2)),
    "spr_pps": (
        ("current", 7), ("reserved7", 1), ("low", 8), ("reserved16", 1), ("high", 8), ("reserved25", 2),
        ("limited", 1), ("apdo", 2), ("type", 2),
    ),
    "spr_avs": (("high", 10), ("low", 10), ("reserved20", 6), ("peak", 2), ("apdo", 2), ("type", 2)),
    "epr_avs": (
        ("pdp", 8), ("low", 8), ("reserved16", 1), ("high", 9), ("peak", 2), ("apdo", 2), ("type", 2),
    ),
    "request": (
        ("most", 10), ("now", 10), ("reserved20", 2), *FLAGS, ("giveback", 1), ("position", 4),
    ),
    "adjustable_request": (
        ("current", 7), ("reserved7", 2), ("voltage", 12), ("reserved21", 1), *FLAGS, ("reserved27", 1),
        ("position", 4),
    ),
    "vdm_header": (
        ("command", 5), ("reserved5", 1), ("type", 2), ("position", 3), ("minor", 2), ("major", 2),
        ("structured", 1), ("svid", 16),
    ),
    "battery_status": (
        ("reserved0", 8), ("invalid", 1), ("present", 1), ("charging", 2), ("reserved12", 4), ("capacity", 16),
    ),
    "alert": (
        ("event", 4), ("reserved4", 12), ("hot_swap", 4), ("fixed", 4), ("reserved24", 1), ("battery", 1),
        ("ocp", 1), ("otp", 1), ("condition", 1), ("input", 1), ("ovp", 1), ("extended", 1),
    ),
    "source_info": (("reported", 8), ("present", 8), ("maximum", 8), ("reserved24", 7), ("port_type", 1)),
    "revision": (
        ("reserved0", 16), ("version_minor", 4), ("version_major", 4), ("revision_minor", 4),
        ("revision_major", 4),
    ),
    "enter_usb": (
        ("reserved0", 13), ("host", 1), ("tbt", 1), ("dp", 1), ("pcie", 1), ("current", 2), ("cable", 2),
        ("speed", 3), ("reserved24", 1), ("usb3_drd", 1), ("usb4_drd", 1), ("reserved27", 1), ("mode", 3),
        ("reserved31", 1),
    ),
    "epr_mode": (("reserved0", 16), ("data", 8), ("action", 8)),
    "passive_cable": (
        ("speed", 3), ("reserved3", 2), ("current", 2), ("reserved7", 2), ("voltage", 2), ("termination", 2),
        ("latency", 4), ("epr", 1), ("plug", 2), ("reserved20", 1), ("version", 3), ("firmware", 4),
        ("hardware", 4),
    ),
}


def draw(layout: str, chance: random.Random, **chosen: int) -> tuple[int, dict[str, int]]:
    """A random word of that layout, reserved bits clear unless chosen; and its raw values by name."""
    fields = LAYOUTS[layout]
    assert sum(width for _, width in fields) == 32
    structure = type(layout, (ctypes.LittleEndianStructure,), {
        "_pack_": 1, "_fields_": [(name, ctypes.c_uint32, width) for name, width in fields],
    })
    values = {
        name: chosen.get(name, 0 if name.startswith("reserved") else chance.getrandbits(width))
        for name, width in fields
    }
    packed = structure()
    for name, value in values.items():
        setattr(packed, name, value)
    return int.from_bytes(bytes(packed), "little"), values
