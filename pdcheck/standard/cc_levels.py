"""What CC reads in volts, seen from either end, and what it means.

Why it is: a captured level or a meter reading becomes an advertisement or a termination only by these bands.
"""

from __future__ import annotations

from dataclasses import dataclass

_REF = "USB Type-C, section 4.11.3 (voltage parameters) and its CC level tables"


@dataclass(frozen=True)
class CcBand:
    """A band of CC levels in volts; ``seen_from`` is ``"sink"`` or ``"source"``.

    ``max_v`` is None for a band without an upper end; ``threshold_v`` is the level at which a port decides
    between this band and the next, None where the table gives none.
    """

    seen_from: str
    advertisement: str
    state: str
    min_v: float
    max_v: float | None
    threshold_v: float | None
    reference: str
    checked: str


ALL: tuple[CcBand, ...] = (
    CcBand(
        "sink", "any", "vRa", -0.25, 0.15, 0.20,
        _REF, "memory of the Type-C sink CC pin voltage table",
    ),
    CcBand(
        "sink", "Default USB power", "vRd-USB", 0.25, 0.61, 0.66,
        _REF, "Type-C R2.0 Table 4-36 as quoted in a public design note",
    ),
    CcBand(
        "sink", "1.5 A", "vRd-1.5", 0.70, 1.16, 1.23,
        _REF, "Type-C R2.0 Table 4-36 as quoted in a public design note",
    ),
    CcBand(
        "sink", "3.0 A", "vRd-3.0", 1.31, 2.04, None,
        _REF, "Type-C R2.0 Table 4-36 as quoted in a public design note",
    ),
    CcBand(
        "source", "Default USB power", "vRa", 0.00, 0.15, 0.20,
        _REF, "memory of the Type-C source CC pin voltage tables",
    ),
    CcBand(
        "source", "Default USB power", "vRd", 0.25, 1.50, 1.60,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "Default USB power", "vOPEN", 1.65, None, None,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "1.5 A", "vRa", 0.00, 0.35, 0.40,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "1.5 A", "vRd", 0.45, 1.50, 1.60,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "1.5 A", "vOPEN", 1.65, None, None,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "3.0 A", "vRa", 0.00, 0.75, 0.80,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "3.0 A", "vRd", 0.85, 2.45, 2.60,
        _REF, "memory of the same tables",
    ),
    CcBand(
        "source", "3.0 A", "vOPEN", 2.75, None, None,
        _REF, "memory of the same tables",
    ),
)
