"""What was said on the command line, as a change of a case or as a question.

Why it is: a change is a function of the case as it is at the moment of writing, so that two windows that edit the same
case do not undo each other's words; and the same reasoning can be had from Python.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any, TypeVar

from pdcheck.capture.packed import SUFFIXES
from pdcheck.capture.registry import suffixes
from pdcheck.casebook.fingerprint import Fingerprint
from pdcheck.casebook.intake import take
from pdcheck.casebook.likeness import Query
from pdcheck.casebook.model import Held, KeptCase, Note, Part, Reading, Status
from pdcheck.casebook.plain import as_text
from pdcheck.casebook.sharing import day
from pdcheck.casebook.trouble import CasebookError
from pdcheck.errors import InputError

_Numbered = TypeVar("_Numbered", Note, Reading)


@dataclass(frozen=True)
class Said:
    """The options of ``add``, ``edit`` and ``close``; None where an option was not given."""

    device: str | None = None
    symptom: str | None = None
    done: str | None = None
    part: str | None = None
    held: str | None = None
    held_on: str | None = None
    customer: str | None = None
    ticket: str | None = None
    notes: tuple[str, ...] = ()
    private_notes: tuple[str, ...] = ()
    readings: tuple[Reading, ...] = ()
    current_ma: int | None = None
    capture: str | None = None
    fingerprint: Fingerprint | None = None
    status: str | None = None
    no_part: bool = False
    drop_notes: tuple[int, ...] = ()
    drop_readings: tuple[int, ...] = ()

    @property
    def empty(self) -> bool:
        """True where nothing was said."""
        return self == Said()

    def change(self, case: KeptCase) -> KeptCase:
        """The case with what was said. :raises PdcheckError: it contradicts itself."""
        texts: dict[str, Any] = {
            name: as_text(value) for name in ("device", "symptom", "done", "customer", "ticket")
            if (value := getattr(self, name)) is not None
        }
        if self.no_part and self.part is not None:
            raise InputError("--no-part and --part contradict each other", "say one of them")
        part = None if self.no_part else case.part
        case = replace(
            case, notes=_without(case.notes, self.drop_notes, "note", case),
            readings=_without(case.readings, self.drop_readings, "reading", case),
        )
        case = replace(
            case, **texts,
            notes=(
                *case.notes, *(Note(as_text(text)) for text in self.notes),
                *(Note(as_text(text), private=True) for text in self.private_notes),
            ),
            readings=(*case.readings, *self.readings),
            part=Part(self.part) if self.part is not None else part,
            status=Status(self.status) if self.status is not None else case.status,
        )
        if self.fingerprint is not None:
            case = replace(case, fingerprint=self.fingerprint, capture_path=as_text(self.capture or ""))
        elif self.current_ma is not None:
            if case.fingerprint is None:
                case = replace(case, readings=(
                    *case.readings, Reading("input-current", {"current_ma": self.current_ma})))
            else:
                case = replace(case, fingerprint=replace(case.fingerprint, current_ma=self.current_ma))
        return self._held(case)

    def _held(self, case: KeptCase) -> KeptCase:
        seen_on = None
        if self.held_on is not None:
            try:
                seen_on = day(self.held_on)
            except ValueError as error:
                raise InputError(f"--held-on: {error}", "write year, month and day: 2031-05-04") from None
        if self.held is None:
            if seen_on is None:
                return case
            if case.held is Held.UNKNOWN:
                raise InputError("--held-on needs --held", "say --held yes or --held no as well")
            return replace(case, held_on=seen_on)
        held = Held(self.held)
        if held is Held.UNKNOWN:
            if seen_on is not None:
                raise InputError("--held unknown has no day", "leave --held-on out")
            return replace(case, held=held, held_on=None)
        return replace(case, held=held, held_on=seen_on if seen_on is not None else date.today().isoformat())


def _without(
    kept: tuple[_Numbered, ...], numbers: tuple[int, ...], what: str, case: KeptCase,
) -> tuple[_Numbered, ...]:
    """What is left without those numbers, counted from 1 as ``show`` prints them."""
    for number in numbers:
        if not 1 <= number <= len(kept):
            raise InputError(
                f"case {case.number} has no {what} {number}", f"pdcheck casebook show {case.number} numbers them",
            )
    return tuple(one for number, one in enumerate(kept, 1) if number not in numbers)


def query(words: Sequence[str], like: KeptCase | None = None, current_ma: int | None = None) -> Query:
    """What to look for: the first word may be a file; ``like``: another case; ``current_ma``: what the meter showed.

    :raises PdcheckError: the file cannot be used, or there is no capture to which the current belongs.
    """
    fingerprint = like.fingerprint if like is not None else None
    if words and _is_file(words[0]):
        taken = take(words[0])
        if taken.fingerprint is None:
            raise CasebookError("holds readings, and likeness is judged by captures and words",
                                "name a capture, a saved report, or words", path=words[0])
        fingerprint, words = taken.fingerprint, words[1:]
    if current_ma is not None:
        if fingerprint is None:
            raise InputError("--current-ma is compared together with a capture", "name a capture or a saved report too")
        fingerprint = replace(fingerprint, current_ma=current_ma)
    return Query(
        fingerprint=fingerprint, words=" ".join(words), device=like.device if like is not None else "",
        symptom=like.symptom if like is not None else "", leave_out=like.uuid if like is not None else None,
    )


def _is_file(word: str) -> bool:
    """What exists is a file; what only looks like one is one too, and will be said to be missing."""
    try:
        if word == "-" or Path(word).is_file():
            return True
    except (OSError, ValueError):
        return False
    return word.lower().endswith((*suffixes(), *SUFFIXES, ".json")) and " " not in word
