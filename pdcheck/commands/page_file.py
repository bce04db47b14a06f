"""Where a page goes, and how it gets there.

Why it is: a page is handed over and a capture is evidence. A page never overwrites a capture, a failed write leaves no
half page behind, and every trouble ends as one line.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.report.model import Report
    from pdcheck.report.page.render import Audience

_STDIN = "-"
_OTHER_NAME = "give another name after --html"


def targets(out: str, captures: Sequence[str], *, together: bool = False) -> list[Path]:
    """The file for each capture's page, or for the one page of all (``together``).

    :param out: a file, or a folder (it exists, or ends in a slash and is made).
    :raises InputError: a folder is needed and this is none, or it cannot be used.
    """
    if out == _STDIN:
        raise InputError("a page needs a file of its own", "give a name after --html, such as report.html")
    path = Path(out)
    separators = tuple(s for s in (os.sep, os.altsep) if s)
    try:
        if out.endswith(separators):
            path.mkdir(parents=True, exist_ok=True)
        folder = path.is_dir()
        if not folder:
            if len(captures) > 1 and not together:
                raise InputError(
                    f"several captures make several pages, and {out} is no folder", "give a folder after --html"
                )
            return [_free_of_captures(path, captures)]
        return [_free_of_captures(path / name, captures) for name in _names(captures)]
    except (OSError, ValueError) as error:
        raise _unwritable(out, error) from None


def beside(capture: Path) -> Path:
    """Where the page beside a capture lies.

    :raises InputError: something that is no page lies there.
    """
    return _free_of_captures(capture.with_name(f"{capture.name}.html"), [str(capture)])


def _names(captures: Sequence[str]) -> list[str]:
    """A file name for each capture, numbered where two have the same."""
    names: list[str] = []
    for capture in captures:
        base = "capture" if capture == _STDIN else Path(capture).name or "capture"
        name, number = f"{base}.html", 2
        while name in names:
            name, number = f"{base}.{number}.html", number + 1
        names.append(name)
    return names


def _free_of_captures(path: Path, captures: Sequence[str]) -> Path:
    for capture in captures:
        with contextlib.suppress(OSError, ValueError):
            if capture != _STDIN and path.exists() and path.samefile(capture):
                raise InputError("the page would overwrite the capture", _OTHER_NAME, path=str(path))
    if path.is_file() and path.stat().st_size:
        with path.open("rb") as file:
            begins = file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n").lower()
        if not begins.startswith((b"<!doctype html", b"<html")):
            raise InputError("this file is there and is no page", _OTHER_NAME, path=str(path))
    return path


def checksum(capture: str) -> str | None:
    """SHA-256 of a capture file as it lies there, in hex; None for what cannot be read twice."""
    try:
        if capture == _STDIN or not Path(capture).is_file():
            return None
        with Path(capture).open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError):
        return None


def write_page(
    report: Report, target: Path, *, shop: str | None, audience: Audience, done: str | None, digest: str | None,
    about: str | None = None,
) -> None:
    """Write a report's page, whole or not at all.

    :raises InputError: it cannot be written.
    """
    from pdcheck.report.page import page_html

    name = "standard input" if report.path == _STDIN else Path(report.path).name
    text = page_html(report, checksum=digest, file_name=name, shop=shop, audience=audience, done=done, about=about)
    write_text(text, target)


def write_text(text: str, target: Path) -> None:
    """Write a page's text, whole or not at all.

    :raises InputError: it cannot be written.
    """
    # A file name may hold what is no Unicode (a lone surrogate); the page shows it as such.
    data = text.encode("utf-8", "replace")
    try:
        if target.exists() and not target.is_file():
            # A device or pipe is written to as it is.
            target.write_bytes(data)
        else:
            _replace(target.resolve(), data)
    except (OSError, ValueError) as error:
        raise _unwritable(str(target), error) from None


def _replace(target: Path, data: bytes) -> None:
    part = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _unwritable(path: str, error: OSError | ValueError) -> InputError:
    why = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return InputError(f"the page cannot be written: {why}", "free some space or write elsewhere", path=path)
