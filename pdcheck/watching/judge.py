"""One file of the folder, judged, and the line that says so.

Why it is: whatever a file holds, it gives one line, and the next file is judged as well.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pdcheck.errors import PdcheckError
from pdcheck.report.as_text import printable

if TYPE_CHECKING:
    from pdcheck.report.model import Report

#: The worst first; a file that cannot be used is worst, as in ``decode``.
ORDER = ("unusable", "fail", "inconclusive", "pass")
_NAME_COLUMNS = 28
#: What is done with each report besides: a page kept beside the capture, for example.
OnReport = Callable[[Path, "Report"], None]


@dataclass(frozen=True)
class Judged:
    """What became of a file. ``verdict``: one of :data:`ORDER`; ``summary``: a sentence, or why it cannot be used."""

    name: str
    verdict: str
    stopped_at: str | None
    suspect: str | None
    summary: str


def judge_file(path: Path, name: str, on_report: OnReport | None = None) -> Judged:
    """Judge one capture. ``name``: what to call it.

    ``on_report``: called with its report, where there is one; it sees to its own troubles, for the verdict stands
    whatever becomes of a page.
    """
    from pdcheck.capture import open_capture
    from pdcheck.pipeline import check, decode

    try:
        report = check(decode(open_capture(path)))
    except PdcheckError as error:
        where = f"line {error.line}: " if error.line is not None else ""
        return Judged(name, "unusable", None, None, f"{where}{error.what}; {error.remedy}")
    except OSError as error:
        return Judged(name, "unusable", None, None, f"cannot be read ({error.strerror}); check the medium it is on")
    except MemoryError:
        return Judged(name, "unusable", None, None, "is too large for this machine's memory; export a part of it")
    if on_report is not None:
        on_report(path, report)
    verdict = report.verdict
    return Judged(
        name, verdict.outcome.value, verdict.stopped_at.value if verdict.stopped_at is not None else None,
        verdict.suspect.value if verdict.suspect is not None else None, verdict.summary,
    )


def line_of(judged: Judged, time: str, width: int | None) -> str:
    """One line of at most ``width`` columns (None: whole): time, file, verdict, where, whose, sentence."""
    name = printable(judged.name)
    room = _NAME_COLUMNS if width is None else max(12, min(_NAME_COLUMNS, width * _NAME_COLUMNS // 80))
    if width is not None and len(name) > room:
        # The end of a name tells more than its beginning: numbers and times stand there.
        name = "..." + name[3 - room :]
    head = f"{time}  " if time else ""
    head += f"{name:<{room}}  {_WORDS[judged.verdict]}"
    if judged.stopped_at is not None:
        head += f" at {judged.stopped_at}"
    if judged.suspect is not None:
        head += f", {judged.suspect}"
    line = f"{head}: {printable(judged.summary)}"
    return line if width is None or len(line) <= width else line[: max(0, width - 3)].rstrip() + "..."


_WORDS = {"unusable": "UNUSABLE", "fail": "FAIL", "inconclusive": "INCONCLUSIVE", "pass": "PASS"}


def judged_json(judged: Judged, time: str) -> dict[str, Any]:
    """The same for scripts; ``time`` as ISO 8601 writes it."""
    return {
        "format": "pdcheck-watch", "version": 1, "time": time, "file": judged.name, "verdict": judged.verdict,
        "stopped_at": judged.stopped_at, "suspect": judged.suspect, "summary": judged.summary,
    }


def worst_first(judged: Iterable[Judged]) -> list[Judged]:
    """The files that need a look first come first; of equals by name."""
    return sorted(judged, key=lambda j: (ORDER.index(j.verdict), j.name))


def counted(judged: Sequence[Judged]) -> str:
    """How many of which, in words: ``"5 captures judged: 1 unusable, 2 fail, 2 pass"``."""
    counts = [(sum(j.verdict == verdict for j in judged), verdict) for verdict in ORDER]
    words = ", ".join(f"{n} {verdict}" for n, verdict in counts if n)
    total = f"{len(judged)} {'capture' if len(judged) == 1 else 'captures'} judged"
    return f"{total}: {words}" if words else total

