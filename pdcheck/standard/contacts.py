"""The 24 contacts of a Type-C receptacle: name, what it carries, its counterpart when the plug is turned.

Why it is: contact readings are judged by what the connector makes symmetric, and by which contacts lie side by side.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

_REF = "USB Type-C, section 3.2 (receptacle signal list)"


class Net(StrEnum):
    """What a contact is for. Contacts of one net other than the pairs are one conductor or one of a like kind."""

    GND = "GND"
    VBUS = "VBUS"
    CC = "CC"
    DP = "D+"
    DN = "D-"
    SBU = "SBU"
    TX = "TX"
    RX = "RX"

    @property
    def high_speed(self) -> bool:
        """True for the four pairs that a USB 2.0 port leaves out."""
        return self in (Net.TX, Net.RX)


@dataclass(frozen=True)
class Contact:
    """``name`` as printed on a pin-out, ``signal`` what the standard calls it, ``meaning`` in words.

    ``like``: the contact that carries the same kind of signal when the plug is turned over.
    """

    name: str
    signal: str
    net: Net
    like: str
    meaning: str
    reference: str = _REF
    checked: str = "memory"

    @property
    def row(self) -> str:
        """``"A"`` or ``"B"``."""
        return self.name[0]

    @property
    def place(self) -> int:
        """1 to 12, as the contacts lie in their row."""
        return int(self.name[1:])


ALL: tuple[Contact, ...] = (
    Contact("A1", "GND", Net.GND, "B1", "ground"),
    Contact("A2", "TX1+", Net.TX, "B2", "high-speed pair TX1, plus"),
    Contact("A3", "TX1-", Net.TX, "B3", "high-speed pair TX1, minus"),
    Contact("A4", "VBUS", Net.VBUS, "B4", "power"),
    Contact("A5", "CC1", Net.CC, "B5", "configuration channel 1"),
    Contact("A6", "D+1", Net.DP, "B6", "USB 2.0 pair, plus"),
    Contact("A7", "D-1", Net.DN, "B7", "USB 2.0 pair, minus"),
    Contact("A8", "SBU1", Net.SBU, "B8", "sideband use 1"),
    Contact("A9", "VBUS", Net.VBUS, "B9", "power"),
    Contact("A10", "RX2-", Net.RX, "B10", "high-speed pair RX2, minus"),
    Contact("A11", "RX2+", Net.RX, "B11", "high-speed pair RX2, plus"),
    Contact("A12", "GND", Net.GND, "B12", "ground"),
    Contact("B1", "GND", Net.GND, "A1", "ground"),
    Contact("B2", "TX2+", Net.TX, "A2", "high-speed pair TX2, plus"),
    Contact("B3", "TX2-", Net.TX, "A3", "high-speed pair TX2, minus"),
    Contact("B4", "VBUS", Net.VBUS, "A4", "power"),
    Contact("B5", "CC2", Net.CC, "A5", "configuration channel 2"),
    Contact("B6", "D+2", Net.DP, "A6", "USB 2.0 pair, plus"),
    Contact("B7", "D-2", Net.DN, "A7", "USB 2.0 pair, minus"),
    Contact("B8", "SBU2", Net.SBU, "A8", "sideband use 2"),
    Contact("B9", "VBUS", Net.VBUS, "A9", "power"),
    Contact("B10", "RX1-", Net.RX, "A10", "high-speed pair RX1, minus"),
    Contact("B11", "RX1+", Net.RX, "A11", "high-speed pair RX1, plus"),
    Contact("B12", "GND", Net.GND, "A12", "ground"),
)

BY_NAME: dict[str, Contact] = {contact.name: contact for contact in ALL}


def neighbours(contact: Contact) -> tuple[Contact, ...]:
    """The contacts beside it in its row: where solder, liquid or a bent tongue joins first."""
    names = (f"{contact.row}{contact.place - 1}", f"{contact.row}{contact.place + 1}")
    return tuple(BY_NAME[name] for name in names if name in BY_NAME)
