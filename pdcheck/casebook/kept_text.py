"""What was kept beside a case in JSON (saved readings, states that an import set aside), in a few lines.

Why it is: somebody reads a case at the bench. What came from another shop may hold anything, so what is not of the
shape that ``measure`` and ``pins`` write is shown as it is, cut; ``show --json`` holds all of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pdcheck.casebook.model import Reading
from pdcheck.casebook.plain import parse_json, to_json

#: What is not known is shown up to so many characters.
_MOST = 400
_NOTES = 20
_UNITS = {"v": "V", "ma": "mA"}
_FIELDS = ("device", "symptom", "done", "part", "held", "held_on", "status")


def reading_texts(reading: Reading) -> list[str]:
    """A paragraph a fact: the verdict with its sentence, then what was read."""
    data = reading.data
    if isinstance(data, dict):
        known = [text for text in (_verdict(data), *_measured(data), *_contacts(data)) if text]
        if known:
            return known
        if set(data) == {"current_ma"} and _number(data["current_ma"]):
            return [f"{data['current_ma']:g} mA"]
    return [_cut(to_json(data))]


def state_texts(body: str) -> list[str]:
    """An earlier state of a case, as JSON text: what was said in it."""
    try:
        state = parse_json(body)
    except ValueError:
        return [_cut(body)]
    if not isinstance(state, dict):
        return [_cut(body)]
    said = [f"{name.replace('_', ' ')}: {state[name]}" for name in _FIELDS if isinstance(state.get(name), str)]
    notes = state.get("notes")
    for note in notes[:_NOTES] if isinstance(notes, list) else ():
        if isinstance(note, dict) and isinstance(note.get("text"), str):
            said.append(f"note: {note['text']}")
    return ["; ".join(said)] if said else [_cut(body)]


def _verdict(data: dict[str, Any]) -> str:
    verdict, summary = data.get("verdict"), data.get("summary")
    return f"{verdict}: {summary}" if isinstance(verdict, str) and isinstance(summary, str) else ""


def _measured(data: dict[str, Any]) -> Iterator[str]:
    """What was typed into ``measure``, group by group."""
    readings = data.get("readings")
    if not isinstance(readings, dict):
        return
    alone = []
    for name, value in readings.items():
        if isinstance(value, dict):
            parts = [_value(key, one, name) for key, one in value.items() if _number(one) or isinstance(one, str)]
            if parts:
                yield f"{name.replace('_', ' ')}: {', '.join(parts)}"
        elif _number(value) or isinstance(value, str):
            alone.append(_value(name, value, ""))
    if alone:
        yield ", ".join(alone)


def _value(name: str, value: Any, group: str) -> str:
    stem, _, unit = name.rpartition("_")
    shown = f"{value:g}" if _number(value) else str(value)
    if group == "ohms":
        return f"{name.upper().replace('_', ' to ')} {shown}" + (" ohm" if _number(value) else "")
    if stem and unit in _UNITS:
        return f"{stem.upper() if unit == 'v' else stem} {shown} {_UNITS[unit]}"
    return f"{name} {shown}"


def _contacts(data: dict[str, Any]) -> Iterator[str]:
    """The contacts of ``pins`` that are not fine, and how many were read."""
    contacts = data.get("contacts")
    if not isinstance(contacts, list):
        return
    read = [c for c in contacts if isinstance(c, dict) and c.get("state") != "not_measured"]
    odd = [
        f"{c.get('contact')} ({c.get('signal')}) {str(c.get('state')).replace('_', ' ')}: {', '.join(_reads(c))}"
        for c in read if c.get("state") != "fine"
    ]
    yield f"{len(read)} contacts read" + (f"; {'; '.join(odd)}" if odd else ", all fine")


def _reads(contact: dict[str, Any]) -> Iterator[str]:
    for name, unit in (("diode_v", " V"), ("ohms", " ohm")):
        value = contact.get(name)
        if value is not None:
            yield f"{value:g}{unit}" if _number(value) else str(value)


def _number(value: Any) -> bool:
    # Of no size that a meter shows: words, not a number to be formatted.
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) < 1e15


def _cut(text: str) -> str:
    return text if len(text) <= _MOST else f"{text[:_MOST]}... (show --json holds all of it)"
