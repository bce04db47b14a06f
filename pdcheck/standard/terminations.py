"""The resistors and current sources that tell a Type-C port what is at the other end.

Why it is: an ohmmeter or a divider calculation at the bench is compared with these.
"""

from __future__ import annotations

from dataclasses import dataclass

_REF = "USB Type-C, section 4.11.1 (termination parameters)"


@dataclass(frozen=True)
class Termination:
    """``nominal`` in ``unit`` (ohm or uA), ``tolerance_pct`` either way (None: no tolerance, a lower bound)."""

    name: str
    nominal: float
    tolerance_pct: float | None
    unit: str
    pulled_to: str
    meaning: str
    reference: str
    checked: str


ALL: tuple[Termination, ...] = (
    Termination(
        "Rp Default USB power", 56000, 20, "ohm", "4.75-5.5 V",
        "pull-up in the source or in a legacy cable",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rp 1.5 A", 22000, 5, "ohm", "4.75-5.5 V",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rp 3.0 A", 10000, 5, "ohm", "4.75-5.5 V",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rp Default USB power", 36000, 20, "ohm", "3.3 V +-5 %",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rp 1.5 A", 12000, 5, "ohm", "3.3 V +-5 %",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rp 3.0 A", 4700, 5, "ohm", "3.3 V +-5 %",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Ip Default USB power", 80, 20, "uA", "1.7-5.5 V",
        "current source instead of Rp",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Ip 1.5 A", 180, 8, "uA", "1.7-5.5 V",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Ip 3.0 A", 330, 8, "uA", "1.7-5.5 V",
        "",
        _REF, "ST UM2191 rev 2 Table 2",
    ),
    Termination(
        "Rd (reads the advertisement)", 5100, 10, "ohm", "ground",
        "pull-down of a sink",
        _REF, "memory",
    ),
    Termination(
        "Rd (default power only)", 5100, 20, "ohm", "ground",
        "pull-down of a sink that draws default current only",
        _REF, "memory",
    ),
    Termination(
        "Ra", 1000, 20, "ohm", "ground",
        "800 to 1200 ohm: powered cable or audio accessory",
        _REF, "memory",
    ),
    Termination(
        "zOPEN", 126000, None, "ohm", "ground",
        "at least this reads as open",
        _REF, "memory",
    ),
)
