"""From a file to what a case keeps of it: a capture or a saved report to its fingerprint, readings as they are.

Why it is: a technician names the file that is there; whether it is the capture itself or the report that was saved of
it is told by its content.
"""

from __future__ import annotations

import os
import stat
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pdcheck.casebook.fingerprint import Fingerprint, fingerprint_of
from pdcheck.casebook.model import Reading
from pdcheck.casebook.plain import parse_json
from pdcheck.casebook.trouble import CasebookError

if TYPE_CHECKING:
    from pdcheck.report.model import Report

#: A saved report or reading is text; one that is larger than this (bytes) is something else.
_LARGEST = 256_000_000
#: The input current is taken from the last second that says something.
_LAST_S = 1.0


@dataclass(frozen=True)
class Taken:
    """What a file gave: a fingerprint, or readings."""

    fingerprint: Fingerprint | None = None
    reading: Reading | None = None


def take(path: str, current_ma: int | None = None) -> Taken:
    """Read a capture, a saved ``decode --json`` report, or saved readings (of ``measure`` or ``pins --json``).

    :param path: the file; ``"-"`` for JSON on standard input.
    :param current_ma: an input current that was read from a meter; it goes before one that was captured.
    :raises PdcheckError: it is none of these.
    """
    value = _json(path)
    if value is None:
        return Taken(fingerprint=of_capture(path, current_ma))
    if isinstance(value, list) and len(value) == 1:
        value = value[0]
    if isinstance(value, list):
        raise CasebookError(f"holds {len(value)} things, and a case keeps one of them",
                            "save one report a file: pdcheck decode --json CAPTURE > REPORT.json", path=path)
    if isinstance(value, dict) and value.get("format") == "pdcheck-report":
        try:
            return Taken(fingerprint=fingerprint_of(value, current_ma))
        except ValueError as error:
            raise CasebookError(f"is not a whole report: {error}", "save it again with pdcheck decode --json",
                                path=path) from error
    kind = _kind(value)
    if kind is not None:
        return Taken(reading=Reading(kind, value))
    raise CasebookError("is JSON, but neither a report nor readings of pdcheck",
                        "name a capture, or what pdcheck decode --json printed", path=path)


def readings_file(path: str) -> Reading:
    """Readings as a file holds them: any JSON; whose they are is told by its ``format``.

    :raises CasebookError: it is not JSON.
    """
    value = _json(path)
    if value is None:
        raise CasebookError("is not JSON", "save the readings with pdcheck measure --json or pins --json", path=path)
    return Reading(_kind(value) or "readings", value)


def of_capture(path: str, current_ma: int | None = None) -> Fingerprint:
    """The fingerprint of a capture file. :raises PdcheckError: it cannot be read as one."""
    from pdcheck.capture import open_capture
    from pdcheck.pipeline import check, decode

    return of_report(check(decode(open_capture(path))), current_ma)


def of_report(report: Report, current_ma: int | None = None) -> Fingerprint:
    """The fingerprint of a report, with the input current where it was captured."""
    from pdcheck.report.as_json import report_json

    return fingerprint_of(report_json(report), current_ma if current_ma is not None else _current(report))


def _current(report: Report) -> int | None:
    """Milliamps in the last second under the last contract, or of the capture."""
    from pdcheck.capture.model import AnalogLine, Role

    line = next(
        (x for x in report.reading.capture.lines if isinstance(x, AnalogLine) and x.role is Role.CURRENT), None)
    if line is None or line.unit != "A":
        return None
    contract, end, start = report.verdict.contract, report.reading.capture.duration_s, 0.0
    if contract is not None:
        start, end = contract.since_s, contract.ended_s if contract.ended_s is not None else end
    seen = line.during(max(start, end - _LAST_S), end)
    return None if seen is None else round(seen.typical * 1000)


def _kind(value: Any) -> str | None:
    if not isinstance(value, dict) or not isinstance(value.get("format"), str):
        return None
    name = value["format"]
    return name.removeprefix("pdcheck-")[:40] if name.startswith("pdcheck-") and len(name) > len("pdcheck-") else None


def _json(path: str) -> Any:
    """What the JSON file holds; None where the file is something else (or JSON's null).

    :raises CasebookError: it begins as JSON does and is broken.
    """
    raw = _standard_input() if path == "-" else _bytes(path)
    if raw is None or raw.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] not in (b"{", b"["):
        return None
    try:
        return parse_json(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise CasebookError(f"is not UTF-8 text (byte {error.start + 1})", "save it again", path=path) from error
    except ValueError as error:
        raise CasebookError(str(error), "save it again", path=path) from error


def _standard_input() -> bytes:
    """What is piped in, which must be JSON: a capture that was begun to be read could not be read again."""
    if sys.stdin is None:
        raise CasebookError("standard input is closed", "pipe a report into it or name a file", path="-")
    raw = sys.stdin.buffer.read(64)
    if raw.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] not in (b"{", b"["):
        raise CasebookError("is not JSON", "pipe what pdcheck decode --json prints, or name the capture", path="-")
    raw += sys.stdin.buffer.read(_LARGEST)
    if len(raw) > _LARGEST:
        raise CasebookError("is too large for a report", "name the capture itself", path="-")
    return raw


def _bytes(path: str) -> bytes | None:
    """The bytes of a file that begins as JSON does; None for anything else, which the capture room then judges."""
    try:
        if not stat.S_ISREG(Path(path).stat().st_mode):
            return None
        with Path(path).open("rb") as file:
            head = file.read(64)
            if head.lstrip(b"\xef\xbb\xbf \t\r\n")[:1] not in (b"{", b"["):
                return None
            if os.fstat(file.fileno()).st_size > _LARGEST:
                raise CasebookError("is too large for a report", "name the capture itself", path=path)
            return head + file.read()
    except (OSError, ValueError):
        return None
