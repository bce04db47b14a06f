"""Exports to a file and imports from one, and what is said of them.

Why it is: an export that ends half-way would be taken for a whole one, so it appears under its name only when it is
complete, and nothing that was there before is lost to it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from pdcheck.casebook.merge import Arrival, Merged
from pdcheck.casebook.model import KeptCase
from pdcheck.casebook.plain import one_line
from pdcheck.casebook.sharing import decoded_lines, read_lines
from pdcheck.casebook.trouble import CasebookError


def write_new(path: str, text: str) -> None:
    """Write a file that must not be there yet: whole, or not at all.

    :raises CasebookError: it is there, or cannot be written.
    """
    target = Path(path)
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        if target.exists():
            raise CasebookError("is there already", "name a new file with -o", path=path)
        try:
            with part.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            part.replace(target)
        except BaseException:
            with suppress(OSError):
                part.unlink()
            raise
    except OSError as error:
        raise CasebookError(
            f"cannot be written ({error.strerror})", "free some space, or name another place with -o", path=path,
        ) from error
    except ValueError as error:
        raise CasebookError(f"cannot be written ({error})", "name another place with -o", path=path) from error


def read_cases(path: str) -> list[KeptCase]:
    """The cases of an export; ``"-"`` for standard input.

    :raises CasebookError: it cannot be read, or a line is broken.
    """
    try:
        if path == "-":
            if sys.stdin is None:
                raise CasebookError("standard input is closed", "pipe an export into it or name a file", path=path)
            return read_lines(decoded_lines(sys.stdin.buffer), path)
        with Path(path).open("rb") as file:
            return read_lines(decoded_lines(file), path)
    except FileNotFoundError as error:
        raise CasebookError("no such file", "check the name", path=path) from error
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error)
        raise CasebookError(f"cannot be read ({said})", "check the file", path=path) from error


def arrivals_text(arrived: Sequence[Merged]) -> Iterator[str]:
    """What became of an import, in lines."""
    counts = {kind: sum(m.arrival is kind for m in arrived) for kind in Arrival}
    total = len(arrived)
    if not total:
        yield "nothing imported: the file holds no cases"
        return
    words = ", ".join(f"{count} {kind.value}" for kind, count in counts.items() if count)
    yield f"imported {total} {'case' if total == 1 else 'cases'}: {words}"
    for merged in arrived:
        if merged.arrival is Arrival.CONFLICT:
            case = merged.case
            whose = "the edit here was later and stays" if merged.ours_won else "the edit there was later and is kept"
            yield (f"case {case.number} was edited here and there: {whose}; the other: pdcheck casebook show "
                   f"{one_line(str(case.number))}")
