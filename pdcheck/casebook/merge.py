"""Two states of one case, made one.

Why it is: a case goes to another shop, is edited there and comes back, while it was edited here as well. Each state
knows the states it came from, so a newer one is told from another one. Only where both were edited is there a
conflict: the later edit wins, notes and readings of both stay, and the state that lost is handed back to be kept.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeVar

from pdcheck.casebook.model import KeptCase, Note, Reading

_Dated = TypeVar("_Dated", Note, Reading)


class Arrival(StrEnum):
    """What became of a case that arrived."""

    NEW = "new"
    SAME = "already here"
    UPDATED = "updated"
    OLDER = "older than what is here"
    CONFLICT = "edited here and there"


@dataclass(frozen=True)
class Merged:
    """``case`` is what is kept from now on; ``lost`` the state whose edit lost, where there was a conflict;
    ``ours_won`` says whose edit was later."""

    arrival: Arrival
    case: KeptCase
    lost: KeptCase | None = None
    ours_won: bool = False


def merge(ours: KeptCase, theirs: KeptCase) -> Merged:
    """Our state and one that arrived. Both shops come to the same result, whichever is "ours"."""
    if theirs.revision == ours.revision:
        return Merged(Arrival.SAME, ours)
    if theirs.revision in ours.ancestors:
        return Merged(Arrival.OLDER, ours)
    if ours.revision in theirs.ancestors:
        return Merged(Arrival.UPDATED, _at_home(theirs, ours, theirs.notes, theirs.readings))
    ours_won = (ours.edited_at, ours.revision) > (theirs.edited_at, theirs.revision)
    winner, loser = (ours, theirs) if ours_won else (theirs, ours)
    case = _at_home(winner, ours, _union(winner.notes, loser.notes), _union(winner.readings, loser.readings))
    both = sorted((ours.revision, theirs.revision))
    before = dict.fromkeys((*winner.ancestors, *loser.ancestors, *both))
    case = replace(
        case, revision=hashlib.sha256(" ".join(both).encode()).hexdigest()[:16], ancestors=tuple(before),
        created_at=min(ours.created_at, theirs.created_at),
    )
    return Merged(Arrival.CONFLICT, case, lost=loser, ours_won=ours_won)


def _at_home(
    state: KeptCase, ours: KeptCase, notes: tuple[Note, ...], readings: tuple[Reading, ...]
) -> KeptCase:
    """A state with what only this casebook knows of the case."""
    private = tuple(note for note in ours.notes if note.private)
    shared = tuple(note for note in notes if not note.private)
    return replace(
        state, number=ours.number, customer=ours.customer, ticket=ours.ticket, capture_path=ours.capture_path,
        notes=tuple(sorted((*shared, *private), key=lambda note: (note.at, note.id))), readings=readings,
    )


def _union(first: tuple[_Dated, ...], second: tuple[_Dated, ...]) -> tuple[_Dated, ...]:
    known = {one.id for one in first}
    out = list(first)
    out += [one for one in second if one.id not in known]
    out.sort(key=lambda one: (one.at, one.id))
    return tuple(out)
