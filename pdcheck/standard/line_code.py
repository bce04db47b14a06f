"""How bits become levels on CC: the 4b5b code, the K-codes, the ordered sets, the CRC.

Why it is: the decoder and the synthesizer read the same table, and the table is compared with others'.
Symbols are written as the specification writes them, most significant bit first; on the wire the rightmost
bit goes first.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

REFERENCE = "USB PD, section 5.3 to 5.8 (symbol encoding, ordered sets, CRC, BMC)"

#: Data symbols, index 0 to 15. Compared with IEEE 802.3 clause 24 (100BASE-X) data code groups: the same.
DATA_SYMBOLS: tuple[int, ...] = (
    0b11110, 0b01001, 0b10100, 0b10101, 0b01010, 0b01011, 0b01110, 0b01111,
    0b10010, 0b10011, 0b10110, 0b10111, 0b11010, 0b11011, 0b11100, 0b11101,
)
DATA_SYMBOLS_CHECKED = "IEEE 802.3 clause 24 (100BASE-X) data code groups; the same table"

#: K-codes. From memory of the specification.
SYNC_1 = 0b11000
SYNC_2 = 0b10001
SYNC_3 = 0b00110
RST_1 = 0b00111
RST_2 = 0b11001
EOP = 0b01101
K_CODES: dict[str, int] = {
    "Sync-1": SYNC_1, "Sync-2": SYNC_2, "Sync-3": SYNC_3, "RST-1": RST_1, "RST-2": RST_2, "EOP": EOP,
}
K_CODES_CHECKED = "memory"


class Sop(StrEnum):
    """The ordered sets that start a packet or are one (values as in the JSON report)."""

    SOP = "SOP"
    SOP1 = "SOP'"
    SOP2 = "SOP''"
    SOP1_DEBUG = "SOP'_Debug"
    SOP2_DEBUG = "SOP''_Debug"
    HARD_RESET = "Hard Reset"
    CABLE_RESET = "Cable Reset"

    @cached_property
    def is_reset(self) -> bool:
        """True for the two signals that carry no bytes."""
        return self in (Sop.HARD_RESET, Sop.CABLE_RESET)

    @cached_property
    def to_cable(self) -> bool:
        """True for the sets that a cable plug answers to."""
        return self in (Sop.SOP1, Sop.SOP2, Sop.SOP1_DEBUG, Sop.SOP2_DEBUG)


#: From memory of the specification's ordered-set tables.
ORDERED_SETS: dict[Sop, tuple[int, int, int, int]] = {
    Sop.SOP: (SYNC_1, SYNC_1, SYNC_1, SYNC_2),
    Sop.SOP1: (SYNC_1, SYNC_1, SYNC_3, SYNC_3),
    Sop.SOP2: (SYNC_1, SYNC_3, SYNC_1, SYNC_3),
    Sop.SOP1_DEBUG: (SYNC_1, RST_2, RST_2, SYNC_3),
    Sop.SOP2_DEBUG: (SYNC_1, RST_2, SYNC_3, SYNC_2),
    Sop.HARD_RESET: (RST_1, RST_1, RST_1, RST_2),
    Sop.CABLE_RESET: (RST_1, SYNC_1, RST_1, SYNC_3),
}
ORDERED_SETS_CHECKED = "memory"

#: A receiver accepts an ordered set with this many of its four K-codes right (from memory).
K_CODES_NEEDED = 3

PREAMBLE_BITS = 64
SYMBOL_BITS = 5


@dataclass(frozen=True)
class CodeRule:
    """A rule of the line code in words, for the notes."""

    name: str
    value: str
    checked: str


RULES: tuple[CodeRule, ...] = (
    CodeRule("symbol bit order",
             "the five bits are sent least significant bit first (the rightmost bit of the value first)", "memory"),
    CodeRule("byte order",
             "low nibble symbol first, then high nibble; multi-byte fields least significant byte first", "memory"),
    CodeRule("preamble", "64 alternating bits starting with 0 and ending with 1; not 4b5b coded", "memory"),
    CodeRule("BMC", "a transition at the start of every bit; a 1 has one more in the middle of the bit", "memory"),
    CodeRule("ordered set acceptance",
             "a receiver accepts an ordered set with three of its four K-codes right", "memory"),
    CodeRule("CRC",
             "CRC-32 with polynomial 04C11DB7 over header and data; sent least significant byte first", "zlib"),
    CodeRule("CRC residual", "the register after header, data and CRC is C704DD7B", "memory"),
)
