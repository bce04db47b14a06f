"""The casebook: cases in one SQLite file.

Why it is: a case that was said to be kept is kept, whatever happens next: every change is one transaction, synced to
the disk before the call returns; two windows wait for each other; and a file that is not a healthy casebook is refused
and left as it is. SQLite's rollback journal is used rather than its write-ahead log, so that the casebook is one file
that can be copied.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Self
from uuid import uuid4

from pdcheck.casebook.merge import Arrival, Merged, merge
from pdcheck.casebook.model import KeptCase, Note, Reading, now, same_for_others, stamp
from pdcheck.casebook.plain import to_json
from pdcheck.casebook.rows import COLUMNS, from_row, to_row
from pdcheck.casebook.schema import open_database
from pdcheck.casebook.sharing import export_json, restored
from pdcheck.casebook.trouble import CasebookError, damaged, told

#: The environment variable that names the casebook, for those who keep it elsewhere.
VARIABLE = "PDCHECK_CASEBOOK"
#: How long (seconds) to wait for another window that writes.
PATIENCE_S = 30.0
_UUID_LETTERS = 4

Clock = Callable[[], str]


def casebook_path(given: str | os.PathLike[str] | None = None) -> Path:
    """Where the casebook is: as given, else as the environment says, else in the user's data folder."""
    named = os.fspath(given) if given is not None else os.environ.get(VARIABLE, "")
    if named or given is not None:
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("pdcheck", appauthor=False) / "casebook.db"


class Casebook:
    """An open casebook. Use :meth:`open`, best in a ``with``."""

    def __init__(self, db: sqlite3.Connection, path: Path, clock: Clock = now) -> None:
        self._db = db
        self._clock = clock
        self.path = path

    @classmethod
    def open(
        cls, path: str | os.PathLike[str] | None = None, *, write: bool = False, patience_s: float = PATIENCE_S,
        clock: Clock = now,
    ) -> Casebook:
        """Open the casebook at ``path`` (see :func:`casebook_path`).

        :param write: make it where there is none yet; without it only an existing one is opened.
        :param patience_s: how long to wait while another window writes.
        :param clock: gives the time as :func:`~pdcheck.casebook.model.now` does.
        :raises CasebookError: there is none, it is none, it is damaged, or it was made by a newer version.
        """
        where = casebook_path(path)
        if write and path is None and not os.environ.get(VARIABLE):
            with told(where):
                # Customers' names are in it.
                where.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        return cls(open_database(where, write=write, patience_s=patience_s), where, clock)

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(self, case: KeptCase) -> int:
        """Keep a new case; it is on the disk when this returns. Returns its number.

        :raises CasebookError: it could not be kept, and then none of it is.
        """
        at = self._clock()
        with self._writing():
            return self._insert(replace(
                _dated(case, at), created_at=at, edited_at=at, revision=uuid4().hex[:16], ancestors=(),
            ))

    def cases(self) -> list[KeptCase]:
        """All cases, the oldest first."""
        with told(self.path):
            rows = self._db.execute(f"SELECT number, {', '.join(COLUMNS)} FROM cases ORDER BY number").fetchall()
        return [self._case(row) for row in rows]

    def get(self, wanted: int | str) -> KeptCase:
        """A case by its number, or by its uuid or the beginning of it (four letters at least).

        :raises CasebookError: there is no such case, or more than one.
        """
        text = str(wanted).strip().lower()
        columns = f"SELECT number, {', '.join(COLUMNS)} FROM cases "
        with told(self.path):
            if text.isascii() and text.isdecimal() and len(text) < 10:
                rows = self._db.execute(columns + "WHERE number = ?", (int(text),)).fetchall()
                if rows:
                    return self._case(rows[0])
            rows = []
            if len(text) >= _UUID_LETTERS and all(c in "0123456789abcdef-" for c in text):
                rows = self._db.execute(columns + "WHERE substr(uuid, 1, ?) = ?", (len(text), text)).fetchall()
        if len(rows) > 1:
            raise CasebookError(f"{len(rows)} cases begin with {text!r}", "give more letters of it")
        if not rows:
            raise CasebookError(f"there is no case {str(wanted)[:40]!r}", "pdcheck casebook list shows them all")
        return self._case(rows[0])

    def edit(self, wanted: int | str, change: Callable[[KeptCase], KeptCase]) -> KeptCase:
        """Change a case: ``change`` gets it as it is at this moment and returns it as it shall be.

        Nobody else's change comes between. Returns the case as kept.
        """
        with self._writing():
            before = self.get(wanted)
            at = self._clock()
            after = _dated(replace(
                change(before), number=before.number, uuid=before.uuid, created_at=before.created_at,
            ), at)
            if after == before:
                return before
            if not same_for_others(before, after):
                after = replace(
                    after, edited_at=_later(before.edited_at, at), revision=uuid4().hex[:16],
                    ancestors=(*before.ancestors, before.revision),
                )
            self._update(after)
            return after

    def remove(self, wanted: int | str) -> KeptCase:
        """Remove a case, and what imports set aside of it, for good. Returns what it was.

        Its number is not given again. An import of somebody who has the case brings it back: nothing of it stays here
        that would know it.

        :raises CasebookError: there is no such case, or it could not be removed, and then all of it is still there.
        """
        with self._writing():
            case = self.get(wanted)
            self._db.execute("DELETE FROM cases WHERE number = ?", (case.number,))
            self._db.execute("DELETE FROM set_aside WHERE uuid = ?", (case.uuid,))
            return case

    def take_in(self, arriving: Iterable[KeptCase]) -> list[Merged]:
        """Import cases: all of them or, where anything goes wrong, none. Returns what became of each, in order.

        A case that is here already is known by its uuid, see :func:`~pdcheck.casebook.merge.merge`. What an
        arriving state replaces is kept aside, see :meth:`set_aside`.
        """
        out = []
        with self._writing():
            for theirs in arriving:
                rows = self._db.execute(
                    f"SELECT number, {', '.join(COLUMNS)} FROM cases WHERE uuid = ?", (theirs.uuid,)
                ).fetchall()
                if not rows:
                    number = self._insert(theirs)
                    out.append(Merged(Arrival.NEW, replace(theirs, number=number)))
                    continue
                ours = self._case(rows[0])
                merged = merge(ours, restored(theirs, ours))
                if merged.case != ours:
                    self._update(merged.case)
                    lost = merged.lost if merged.lost is not None else ours
                    self._db.execute(
                        "INSERT INTO set_aside (uuid, at, body) VALUES (?, ?, ?)",
                        (lost.uuid, self._clock(), to_json(export_json(lost, whole=True))),
                    )
                out.append(merged)
        return out

    def set_aside(self, uuid: str) -> list[str]:
        """States of a case that an import replaced, the oldest first, each as JSON text."""
        with told(self.path):
            rows = self._db.execute("SELECT body FROM set_aside WHERE uuid = ? ORDER BY id", (uuid,)).fetchall()
        return [str(row[0]) for row in rows]

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: all of it is kept, or nothing."""
        with told(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    def _case(self, row: tuple[object, ...]) -> KeptCase:
        try:
            return from_row(row)
        except ValueError as error:
            raise damaged(self.path, str(error)) from error

    def _insert(self, case: KeptCase) -> int:
        marks = ", ".join("?" * len(COLUMNS))
        cursor = self._db.execute(f"INSERT INTO cases ({', '.join(COLUMNS)}) VALUES ({marks})", to_row(case))
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def _update(self, case: KeptCase) -> None:
        assignments = ", ".join(f"{name} = ?" for name in COLUMNS)
        self._db.execute(f"UPDATE cases SET {assignments} WHERE number = ?", (*to_row(case), case.number))


def _dated(case: KeptCase, at: str) -> KeptCase:
    """Notes and readings that are new get their time, each a later one than those before it: their times keep them in
    order, here and in every other casebook."""
    notes: list[Note] = []
    for note in case.notes:
        notes.append(note if note.at else replace(note, at=_after(notes, at)))
    readings: list[Reading] = []
    for reading in case.readings:
        readings.append(reading if reading.at else replace(reading, at=_after(readings, at)))
    return replace(case, notes=tuple(notes), readings=tuple(readings))


def _after(before: Sequence[Note | Reading], at: str) -> str:
    return _later(max(one.at for one in before), at) if before else at


def _later(before: str, at: str) -> str:
    """``at``, or a moment after ``before`` where the clock was set back (or another shop's runs ahead)."""
    if at > before:
        return at
    try:
        return stamp(datetime.fromisoformat(before) + timedelta(milliseconds=1))
    except (ValueError, OverflowError):
        # The end of the year 9999, from a clock that was very wrong.
        return at
