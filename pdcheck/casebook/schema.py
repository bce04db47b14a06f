"""The casebook's file: what makes it ours, its tables, and how an older one is brought up to date.

Why it is: the file outlives many versions of this program. It is told from another program's database by SQLite's
application_id, and its age by user_version; each step below takes it one version on, and all of them together happen
in one transaction or not at all. A step that was released is never changed: there are files that went through it.
"""

from __future__ import annotations

import hashlib
import sqlite3
import stat
from collections.abc import Callable
from pathlib import Path

from pdcheck.casebook.trouble import CasebookError, damaged, told

#: "pdcb" in ASCII, at offset 68 of the file.
APPLICATION_ID = 0x70646362
_MAGIC = b"SQLite format 3\x00"


def _to_1(db: sqlite3.Connection) -> None:
    db.execute("""
        CREATE TABLE cases (
            number INTEGER PRIMARY KEY AUTOINCREMENT,
            uuid TEXT NOT NULL UNIQUE,
            created_at TEXT NOT NULL,
            edited_at TEXT NOT NULL,
            status TEXT NOT NULL,
            device TEXT NOT NULL,
            symptom TEXT NOT NULL,
            done TEXT NOT NULL,
            held TEXT NOT NULL,
            held_on TEXT,
            part TEXT,
            fingerprint TEXT,
            notes TEXT NOT NULL,
            readings TEXT NOT NULL,
            customer TEXT NOT NULL,
            ticket TEXT NOT NULL,
            capture_path TEXT NOT NULL
        )""")


def _to_2(db: sqlite3.Connection) -> None:
    """Edits get names, so that an import can tell a newer state from another one; what loses is kept aside."""
    db.execute("ALTER TABLE cases ADD COLUMN revision TEXT NOT NULL DEFAULT ''")
    db.execute("ALTER TABLE cases ADD COLUMN ancestors TEXT NOT NULL DEFAULT '[]'")
    db.execute("""
        CREATE TABLE set_aside (id INTEGER PRIMARY KEY, uuid TEXT NOT NULL, at TEXT NOT NULL, body TEXT NOT NULL)""")
    for number, uuid, edited_at in db.execute("SELECT number, uuid, edited_at FROM cases").fetchall():
        # The same state in two casebooks gets the same name.
        name = hashlib.sha256(f"{uuid} {edited_at}".encode()).hexdigest()[:16]
        db.execute("UPDATE cases SET revision = ? WHERE number = ?", (name, number))


#: Step ``i`` takes a file of version ``i`` to version ``i + 1``; a new file goes through all.
STEPS: tuple[Callable[[sqlite3.Connection], None], ...] = (_to_1, _to_2)
VERSION = len(STEPS)


def open_database(path: Path, *, write: bool, patience_s: float) -> sqlite3.Connection:
    """A connection to the casebook at ``path``, brought up to date; made new where there is none and ``write``.

    A file that may only be read and is of an older version is read through a copy in memory.

    :raises CasebookError: there is none, or it is no casebook, damaged, from a newer version, or not to be written.
    """
    path = _looked_at(path, write)
    with told(path):
        mode = "rwc" if write else "rw"
        # An existing file that may not be written is opened for reading by SQLite itself.
        db = sqlite3.connect(f"{path.as_uri()}?mode={mode}", uri=True, timeout=patience_s, isolation_level=None)
        try:
            return _up_to_date(db, path, write)
        except BaseException:
            db.close()
            raise


def _looked_at(path: Path, write: bool) -> Path:
    """The real path, after what can be told without opening it as a database."""
    try:
        real = path.resolve()
        found = real.stat() if real.exists() else None
    except (OSError, ValueError, RuntimeError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error)
        raise CasebookError(f"cannot be opened ({said})", "name a casebook with --file", path=str(path)) from error
    if found is None:
        if path.is_symlink():
            raise CasebookError(
                "is a link to a file that is not there", "mend the link or name the file with --file", path=str(path))
        if not write:
            raise CasebookError(
                "there is no casebook there yet", "pdcheck casebook add --device ... --symptom ... starts one",
                path=str(path))
        if not real.parent.is_dir():
            raise CasebookError("its folder is not there", "make the folder first, or name another with --file",
                                path=str(path))
        return real
    if stat.S_ISDIR(found.st_mode):
        raise CasebookError(
            "is a folder", "name a file in it with --file, e.g. casebook.db", path=str(path))
    if not stat.S_ISREG(found.st_mode):
        raise CasebookError("is not a file", "name a casebook with --file", path=str(path))
    _headed(real, path)
    return real


def _headed(real: Path, path: Path) -> None:
    """Refuse by the first 100 bytes what is not ours, so that not even SQLite touches it."""
    try:
        with real.open("rb") as file:
            head = file.read(100)
    except OSError as error:
        raise CasebookError(f"cannot be read ({error.strerror})", "check its permissions", path=str(path)) from error
    if not head or Path(f"{real}-journal").exists():
        # Empty, or left in the middle of a write, which SQLite undoes when it opens the file.
        return
    if not head.startswith(_MAGIC):
        raise CasebookError("is not a casebook", "name a casebook with --file, or a new file", path=str(path))
    if len(head) == 100:
        _ours(int.from_bytes(head[68:72], "big"), int.from_bytes(head[60:64], "big"), path)


def _ours(application: int, version: int, path: Path) -> None:
    if application != APPLICATION_ID:
        raise CasebookError(
            "is a database of another program, not a casebook", "name a casebook with --file, or a new file",
            path=str(path))
    if version > VERSION:
        raise CasebookError(
            f"was made by a newer pdcheck (form {version}; this one knows forms up to {VERSION}) and was not touched",
            "update pdcheck", path=str(path))


def _pragma(db: sqlite3.Connection, name: str) -> int:
    return int(db.execute(f"PRAGMA {name}").fetchone()[0])


def _up_to_date(db: sqlite3.Connection, path: Path, write: bool) -> sqlite3.Connection:
    # EXTRA also syncs the folder after the journal is gone: what was said to be kept survives a power cut.
    db.execute("PRAGMA synchronous = EXTRA")
    db.execute("PRAGMA trusted_schema = OFF")
    # What was removed or written over is in the file's bytes no more: it may be a customer's name.
    db.execute("PRAGMA secure_delete = ON")
    version = _pragma(db, "user_version")
    if _pragma(db, "page_count") > 0:
        _ours(_pragma(db, "application_id"), version, path)
        problem = str(db.execute("PRAGMA quick_check(1)").fetchone()[0])
        if problem != "ok":
            raise damaged(path, problem.splitlines()[-1])
    if version == VERSION:
        return db
    try:
        migrate(db)
    except sqlite3.OperationalError as error:
        name = getattr(error, "sqlite_errorname", "")
        if write or not name.startswith(("SQLITE_READONLY", "SQLITE_CANTOPEN")):
            raise
        copy = sqlite3.connect(":memory:", isolation_level=None)
        db.backup(copy)
        db.close()
        migrate(copy)
        return copy
    return db


def migrate(db: sqlite3.Connection) -> None:
    """Bring the file up to date, wholly or not at all; another window may be doing the same."""
    db.execute("BEGIN IMMEDIATE")
    try:
        version = _pragma(db, "user_version")
        for step in STEPS[version:]:
            step(db)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {max(version, VERSION)}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise
