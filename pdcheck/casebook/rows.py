"""A case to a row of the table, and back.

Why it is: the columns that another program may want to sort by are columns; what is nested is JSON text in one. A row
that cannot be read back is damage, and is said to be.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from pdcheck.casebook import shape
from pdcheck.casebook.fingerprint import fingerprint_from_json, fingerprint_json
from pdcheck.casebook.model import Held, KeptCase, Note, Part, Reading, Status
from pdcheck.casebook.plain import as_text, parse_json, to_json

#: The columns of the table, in the order of :func:`to_row`; the number is SQLite's.
COLUMNS = (
    "uuid", "created_at", "edited_at", "status", "device", "symptom", "done", "held", "held_on", "part",
    "fingerprint", "notes", "readings", "customer", "ticket", "capture_path", "revision", "ancestors",
)


def to_row(case: KeptCase) -> tuple[str | None, ...]:
    """The case's values for :data:`COLUMNS`."""
    return (
        case.uuid, case.created_at, case.edited_at, case.status.value, as_text(case.device), as_text(case.symptom),
        as_text(case.done), case.held.value, case.held_on, case.part.value if case.part is not None else None,
        to_json(fingerprint_json(case.fingerprint)) if case.fingerprint is not None else None,
        to_json([note_json(note) for note in case.notes]), to_json([reading_json(one) for one in case.readings]),
        as_text(case.customer), as_text(case.ticket), as_text(case.capture_path), case.revision,
        to_json(list(case.ancestors)),
    )


def from_row(row: tuple[Any, ...]) -> KeptCase:
    """The case of a row: its number, then :data:`COLUMNS`. :raises ValueError: it is not one."""
    number, *values = row
    of = dict(zip(COLUMNS, values, strict=True))
    for name in COLUMNS:
        if not isinstance(of[name], str) and not (of[name] is None and name in ("held_on", "part", "fingerprint")):
            raise ValueError(f"case {number}: {name} is not a text")
    part, fingerprint = of["part"], of["fingerprint"]
    return KeptCase(
        device=of["device"], symptom=of["symptom"], done=of["done"], held=Held(of["held"]), held_on=of["held_on"],
        part=Part(part) if part is not None else None, status=Status(of["status"]),
        fingerprint=(
            fingerprint_from_json(shape.mapping(parse_json(fingerprint), "the fingerprint"))
            if fingerprint is not None else None
        ),
        notes=notes_from(parse_json(of["notes"])), readings=readings_from(parse_json(of["readings"])),
        customer=of["customer"], ticket=of["ticket"], capture_path=of["capture_path"], number=int(number),
        uuid=of["uuid"], created_at=of["created_at"], edited_at=of["edited_at"], revision=of["revision"],
        ancestors=texts_from(parse_json(of["ancestors"]), "ancestors"),
    )


def note_json(note: Note) -> dict[str, Any]:
    """A note as JSON holds it."""
    return {name: as_text(v) if isinstance(v, str) else v for name, v in asdict(note).items()}


def reading_json(one: Reading) -> dict[str, Any]:
    """A reading as JSON holds it."""
    return {"kind": as_text(one.kind), "data": one.data, "at": one.at, "id": one.id}


def notes_from(value: Any) -> tuple[Note, ...]:
    """The inverse of a list of :func:`note_json`. :raises ValueError: it is none."""
    found = [shape.mapping(one, "a note") for one in shape.items({"notes": value}, "notes")]
    return tuple(
        Note(shape.text(one, "text"), one.get("private") is True, shape.text(one, "at"), shape.text(one, "id"))
        for one in found
    )


def readings_from(value: Any) -> tuple[Reading, ...]:
    """The inverse of a list of :func:`reading_json`. :raises ValueError: it is none."""
    found = [shape.mapping(one, "a reading") for one in shape.items({"readings": value}, "readings")]
    return tuple(
        Reading(shape.text(one, "kind"), one.get("data"), shape.text(one, "at"), shape.text(one, "id"))
        for one in found
    )


def texts_from(value: Any, what: str) -> tuple[str, ...]:
    """A list of texts. :raises ValueError: it is none."""
    found = shape.items({what: value}, what)
    if not all(isinstance(one, str) for one in found):
        raise ValueError(f"{what!r} holds something that is not a text")
    return tuple(found)
