"""What a case is: what came in, what was seen, what was done, whether it held.

Why it is: the store, the search and the way to other shops all speak of this one object. What stays in this shop
(customer, ticket, the capture's path, private notes) is listed here once, as :data:`LOCAL_FIELDS`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any
from uuid import uuid4

from pdcheck.casebook.fingerprint import Fingerprint


class Part(StrEnum):
    """The block that a case was blamed on, from the plug inwards: one of the charging path
    (:class:`pdcheck.triage.model.Block`), or none of them.

    With hyphens, as it is typed and as casebooks hold it; a test keeps both in step.
    """

    PORT_CONTACTS = "port-contacts"
    CC_PATH = "cc-path"
    NEGOTIATING_CHIP = "negotiating-chip"
    CHIP_SUPPLY = "chip-supply"
    VBUS_SWITCH = "vbus-switch"
    CHARGER_STAGE = "charger-stage"
    BATTERY = "battery"
    CABLE = "cable"
    CHARGER = "charger"
    OTHER = "other"

    @property
    def words(self) -> str:
        """As it is said in a sentence: ``"the negotiating chip"``."""
        return _PART_WORDS[self]


_PART_WORDS = {
    Part.PORT_CONTACTS: "the port contacts",
    Part.CC_PATH: "the CC path and its protection",
    Part.NEGOTIATING_CHIP: "the negotiating chip",
    Part.CHIP_SUPPLY: "that chip's supply or bus",
    Part.VBUS_SWITCH: "the VBUS switch",
    Part.CHARGER_STAGE: "the charger stage",
    Part.BATTERY: "the battery",
    Part.CABLE: "the cable",
    Part.CHARGER: "the charger",
    Part.OTHER: "something else",
}


class Held(StrEnum):
    """Whether what was done cured the fault."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


class Status(StrEnum):
    """Whether the device is still on the bench."""

    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True)
class Note:
    """Something written down. A private one never leaves this shop. ``at``: UTC, as :func:`now` writes it."""

    text: str
    private: bool = False
    at: str = ""
    id: str = field(default_factory=lambda: uuid4().hex)


@dataclass(frozen=True)
class Reading:
    """Meter or contact readings: ``kind`` says whose JSON ``data`` is (``"measure"``, ``"pins"``)."""

    kind: str
    data: Any
    at: str = ""
    id: str = field(default_factory=lambda: uuid4().hex)


@dataclass(frozen=True)
class KeptCase:
    """One case.

    :ivar number: what this casebook calls it; None until it is kept. Another shop's casebook calls it otherwise.
    :ivar uuid: what every casebook calls it.
    :ivar created_at: UTC, as :func:`now` writes it; ``edited_at`` the last change of what may be shared.
    :ivar revision: names this state of it; ``ancestors`` the states it came from, oldest first.
    :ivar held_on: the day on which ``held`` was seen, as ISO 8601 writes a date.
    :ivar capture_path: where the capture lay; of use in this shop only.
    """

    device: str = ""
    symptom: str = ""
    done: str = ""
    held: Held = Held.UNKNOWN
    held_on: str | None = None
    part: Part | None = None
    status: Status = Status.OPEN
    fingerprint: Fingerprint | None = None
    notes: tuple[Note, ...] = ()
    readings: tuple[Reading, ...] = ()
    customer: str = ""
    ticket: str = ""
    capture_path: str = ""
    number: int | None = None
    uuid: str = field(default_factory=lambda: str(uuid4()))
    created_at: str = ""
    edited_at: str = ""
    revision: str = ""
    ancestors: tuple[str, ...] = ()


#: What is of this casebook alone. Private notes stay here as well.
LOCAL_FIELDS = ("number", "customer", "ticket", "capture_path")
#: What changes with every change and is not itself one.
_BOOKKEEPING = ("created_at", "edited_at", "revision", "ancestors")


def same_for_others(one: KeptCase, other: KeptCase) -> bool:
    """True where two states of a case differ in nothing that another shop would see."""
    names = [n for n in KeptCase.__dataclass_fields__ if n not in (*LOCAL_FIELDS, *_BOOKKEEPING, "notes")]
    if any(getattr(one, name) != getattr(other, name) for name in names):
        return False
    return shared_notes(one) == shared_notes(other)


def shared_notes(case: KeptCase) -> tuple[Note, ...]:
    """The notes that may leave this shop."""
    return tuple(note for note in case.notes if not note.private)


def now() -> str:
    """This moment in UTC, to the millisecond: ``"2031-05-04T09:30:00.000Z"``. Such texts sort as the times do."""
    return stamp(datetime.now(UTC))


def stamp(moment: datetime) -> str:
    """A moment as :func:`now` writes it."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
