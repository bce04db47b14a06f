"""Cases for other shops and from them: JSON lines, a case a line, without customers' data.

Why it is: one bench sees too few cases. What may leave is listed, not what may not: a field that is added later stays
at home until somebody decides otherwise. In foreign JSON (readings) what looks like a path or a person's field is
left out, and the customer's name and ticket are struck out wherever they were typed into a text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID

from pdcheck.casebook import shape
from pdcheck.casebook.fingerprint import fingerprint_from_json, fingerprint_json
from pdcheck.casebook.model import Held, KeptCase, Note, Part, Reading, Status, shared_notes, stamp
from pdcheck.casebook.plain import as_text, parse_json, to_json
from pdcheck.casebook.rows import note_json, notes_from, reading_json, readings_from, texts_from
from pdcheck.casebook.trouble import CasebookError

_Choice = TypeVar("_Choice", Status, Held, Part)

FORMAT, VERSION = "pdcheck-case", 1
#: With customers' data in it: another name, so that such a line is not taken in anywhere.
OWN_FORMAT = "pdcheck-own-case"
#: Longer lines than this (characters) are no case that anybody typed.
_LONGEST_LINE = 16_000_000
_STRUCK = "[withheld]"
#: Names in foreign JSON whose values stay here.
_PRIVATE_NAME = re.compile(
    # "cc_path" is a block of the device, not a place on a disk.
    r"(?<!cc.)path|file|folder|director|customer|client|owner|ticket|serial|imei|phone|mail|address|host|user|technician",
    re.IGNORECASE,
)
_PATH = re.compile(
    r"^(?:[/~\\]|[A-Za-z]:[\\/]|\.{1,2}[\\/]|file:)|\.(?:csv|tsv|txt|vcd|json|toml|dat|bin|gz|xz|zip)$", re.IGNORECASE,
)


def export_line(case: KeptCase) -> str:
    """A case as one line of JSON, without what stays in this shop and without the line's end."""
    return to_json(export_json(case))


def export_json(case: KeptCase, *, whole: bool = False) -> dict[str, Any]:
    """A case as JSON holds it; ``whole``: with everything that stays in this shop, for this shop's own eyes."""
    shown = case if whole else withheld(case)
    out: dict[str, Any] = {
        "format": FORMAT if not whole else OWN_FORMAT, "version": VERSION, "uuid": shown.uuid,
        "created_at": shown.created_at, "edited_at": shown.edited_at, "revision": shown.revision,
        "ancestors": list(shown.ancestors),
        "status": shown.status.value, "device": shown.device, "symptom": shown.symptom, "done": shown.done,
        "held": shown.held.value, "held_on": shown.held_on, "part": shown.part.value if shown.part else None,
        "fingerprint": fingerprint_json(shown.fingerprint) if shown.fingerprint is not None else None,
        "notes": [note_json(note) for note in shown.notes],
        "readings": [reading_json(one) for one in shown.readings],
    }
    if whole:
        out |= {"number": case.number, "customer": case.customer, "ticket": case.ticket,
                "capture_path": case.capture_path}
    return out


def withheld(case: KeptCase) -> KeptCase:
    """The case as another shop may see it."""
    # A ticket 12 would strike out the 12 of "12 V".
    whole = [t for t in (case.customer.strip(), case.ticket.strip()) if len(t) > (3 if t.isdecimal() else 1)]
    words = {w for w in re.split(r"[\W_]+", case.customer) if len(w) > 3}

    def struck(text: str, secrets: Iterable[str]) -> str:
        for secret in sorted(secrets, key=lambda s: (-len(s), s)):
            text = re.sub(rf"(?<!\w){re.escape(secret)}(?!\w)", _STRUCK, text, flags=re.IGNORECASE)
        return text

    def text(given: str) -> str:
        return struck(given, {*whole, *words})

    seen = case.fingerprint
    return replace(
        case,
        fingerprint=replace(seen, summary=text(seen.summary)) if seen is not None else None,
        # A word of a firm's name may be the device's; in its name only the whole of it is struck out.
        device=struck(case.device, whole), symptom=text(case.symptom), done=text(case.done),
        notes=tuple(replace(note, text=text(note.text)) for note in shared_notes(case)),
        readings=tuple(replace(one, data=_scrubbed(one.data, text)) for one in case.readings),
        customer="", ticket="", capture_path="", number=None,
    )


def restored(theirs: KeptCase, ours: KeptCase) -> KeptCase:
    """A state that comes back from another shop, with our own words where they were only struck out for them."""
    sent = withheld(ours)
    texts = {name: getattr(ours, name) for name in ("device", "symptom", "done")
             if getattr(theirs, name) == getattr(sent, name)}
    notes: dict[str, tuple[Note, Note]] = {a.id: (a, b) for a, b in zip(sent.notes, shared_notes(ours), strict=True)}
    readings: dict[str, tuple[Reading, Reading]] = {
        a.id: (a, b) for a, b in zip(sent.readings, ours.readings, strict=True)
    }
    return replace(
        theirs, **texts,
        fingerprint=ours.fingerprint if theirs.fingerprint == sent.fingerprint else theirs.fingerprint,
        notes=tuple(notes[n.id][1] if n.id in notes and notes[n.id][0] == n else n for n in theirs.notes),
        readings=tuple(
            readings[r.id][1] if r.id in readings and readings[r.id][0] == r else r for r in theirs.readings
        ),
    )


def read_lines(lines: Iterable[str], path: str) -> list[KeptCase]:
    """The cases of an export.

    :raises CasebookError: a line is broken; the error numbers all that are.
    """
    cases, broken = [], []
    for number, line in enumerate(lines, 1):
        if not line.strip().removeprefix("\ufeff").strip():
            continue
        try:
            if len(line) > _LONGEST_LINE:
                raise ValueError("is too long for a case")
            cases.append(_case(shape.mapping(parse_json(line.removeprefix("\ufeff")), "it")))
        except ValueError as error:
            broken.append((number, str(error)))
    if broken:
        also = ""
        if len(broken) > 1:
            some = ", ".join(str(n) for n, _ in broken[1:6])
            also = f"; also broken: line{'s' if len(broken) > 2 else ''} {some}" + (
                f" and {len(broken) - 6} more" if len(broken) > 6 else "")
        raise CasebookError(
            f"{broken[0][1]}{also}; nothing was imported", "mend the file or take those lines out",
            path=path, line=broken[0][0])
    return cases


def _case(one: Any) -> KeptCase:
    if one.get("format") != FORMAT:
        raise ValueError("is not a case of pdcheck casebook export")
    version = shape.whole(one, "version") or 0
    if version > VERSION:
        raise ValueError(f"was made by a newer pdcheck (version {version}; this one knows {VERSION})")
    part, fingerprint = one.get("part"), one.get("fingerprint")
    revision = shape.text(one, "revision")
    if not revision:
        raise ValueError("'revision' is empty")
    return KeptCase(
        uuid=_uuid(shape.text(one, "uuid")), created_at=_moment(one, "created_at"), edited_at=_moment(one, "edited_at"),
        revision=revision, ancestors=texts_from(one.get("ancestors", []), "ancestors"),
        status=_choice(Status, one, "status"), device=shape.text(one, "device"), symptom=shape.text(one, "symptom"),
        done=shape.text(one, "done"), held=_choice(Held, one, "held"), held_on=_day(shape.text_or_none(one, "held_on")),
        part=_choice(Part, one, "part") if part is not None else None,
        fingerprint=(
            fingerprint_from_json(shape.mapping(fingerprint, "the fingerprint")) if fingerprint is not None else None
        ),
        # A private note in an export would be somebody else's mistake; it does not become ours.
        notes=tuple(
            replace(note, at=_instant(note.at, "a note's 'at'"))
            for note in notes_from(one.get("notes", [])) if not note.private
        ),
        readings=tuple(
            replace(reading, at=_instant(reading.at, "a reading's 'at'"))
            for reading in readings_from(one.get("readings", []))
        ),
    )


def _choice(kind: type[_Choice], one: Any, name: str) -> _Choice:
    given = shape.text(one, name)
    try:
        return kind(given)
    except ValueError:
        raise ValueError(f"{name!r} is {given[:30]!r}, none of {', '.join(kind)}") from None


def _uuid(text: str) -> str:
    try:
        return str(UUID(text))
    except ValueError:
        raise ValueError(f"'uuid' is {text[:40]!r}, which is none") from None


def _moment(one: Any, name: str) -> str:
    return _instant(shape.text(one, name), repr(name))


def _instant(text: str, what: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
        if moment.tzinfo is None:
            raise ValueError
        return stamp(moment)
    except (ValueError, OverflowError):
        raise ValueError(f"{what} is {text[:40]!r}, which is no moment of ISO 8601 with its zone") from None


def _day(text: str | None) -> str | None:
    return None if text is None else day(text)


def day(text: str) -> str:
    """A date as ISO 8601 writes it. :raises ValueError: it is none."""
    try:
        return datetime.strptime(text, "%Y-%m-%d").date().isoformat()
    except ValueError:
        raise ValueError(f"{text[:30]!r} is no date like 2031-05-04") from None


def _scrubbed(value: Any, struck: Any) -> Any:
    if isinstance(value, str):
        return _STRUCK if _PATH.search(value.strip()) else struck(value)
    if isinstance(value, list):
        return [_scrubbed(item, struck) for item in value]
    if isinstance(value, dict):
        return {k: _scrubbed(v, struck) for k, v in value.items() if not _private(k, v)}
    return value


def _private(name: str, value: Any) -> bool:
    return isinstance(value, str | list | dict) and _PRIVATE_NAME.search(name) is not None


def decoded_lines(raw: Iterable[bytes]) -> Iterator[str]:
    """Lines of bytes as text; what is no UTF-8 is kept visible and then fails as broken JSON only where it matters."""
    for line in raw:
        yield as_text(line.decode("utf-8", "replace"))
