"""What SQLite and the file system say, as one line that a technician can act on.

Why it is: a casebook holds years of memory. Whatever is wrong with its file, nothing is written over, and the line
says what to do.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pdcheck.errors import PdcheckError


class CasebookError(PdcheckError):
    """A casebook, or what is to go into one, cannot be used."""


#: SQLite's own name of a trouble (its beginning) to what it means here and what to do.
_MEANING = (
    ("SQLITE_FULL", "the disk is full, so nothing of this was kept", "free some space and say it again"),
    ("SQLITE_READONLY", "may not be written, nor its folder",
     "change the permissions, or copy it elsewhere and name it with --file"),
    ("SQLITE_PERM", "may not be written, nor its folder",
     "change the permissions, or copy it elsewhere and name it with --file"),
    ("SQLITE_CANTOPEN", "cannot be opened or made there", "check the folder and its permissions, or use --file"),
    ("SQLITE_BUSY", "another window is writing to it and does not end", "close that window, then say it again"),
    ("SQLITE_LOCKED", "another window is writing to it and does not end", "close that window, then say it again"),
    ("SQLITE_PROTOCOL", "another window is writing to it and does not end", "close that window, then say it again"),
    ("SQLITE_NOTADB", "is not a casebook", "name a casebook with --file, or a new file"),
    ("SQLITE_CORRUPT", "is damaged, and was left as it is",
     "put a copy in its place, or start a new file and import an export into it"),
    ("SQLITE_IOERR", "the disk does not take or give it (full, or broken), so nothing of this was kept",
     "free some space and check the disk"),
    ("SQLITE_TOOBIG", "is more than fits into one field", "keep it shorter"),
)


def damaged(path: Path, how: str) -> CasebookError:
    """The error for a file that was a casebook and is broken."""
    return CasebookError(
        f"is damaged ({how}), and was left as it is",
        "put a copy in its place, or start a new file and import an export into it", path=str(path),
    )


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite raises into a :class:`CasebookError`."""
    try:
        yield
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "") or ""
        for beginning, what, remedy in _MEANING:
            if name.startswith(beginning):
                raise CasebookError(what, remedy, path=str(path)) from error
        raise damaged(path, str(error)) from error
    except UnicodeDecodeError as error:
        # What SQLite quotes of a damaged file need not be text.
        raise damaged(path, "it holds bytes that are no text") from error
    except OSError as error:
        raise CasebookError(f"cannot be used ({error.strerror})", "check the file and its folder", path=str(path)) \
            from error
