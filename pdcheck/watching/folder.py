"""What lies in a folder: the files that may be captures, each with a stamp that changes when it is written to.

Why it is: half-written files of browsers, editors and copying programs, and what is plainly no capture, must not be
judged; and a file that vanishes between two looks is no trouble.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pdcheck.capture.packed import SUFFIXES
from pdcheck.capture.registry import suffixes

#: What a file that is being written is called until it is done: endings, and beginnings.
_HALF_WRITTEN = (".part", ".partial", ".tmp", ".temp", ".crdownload", ".download", ".filepart", ".swp", ".bak", "~")
_HIDDEN = (".", "~", "#")


class FolderGone(Exception):
    """The folder that is watched is not there any more, or may not be read. ``args[0]`` says why."""


@dataclass(frozen=True)
class Stamp:
    """What changes when a file is written to, and what stays when it is renamed."""

    size: int
    modified_ns: int
    device: int
    inode: int


def may_be_capture(name: str) -> bool:
    """True where a file's name is one that a finished capture could have."""
    lower = name.lower()
    if lower.startswith(_HIDDEN) or lower.endswith(_HALF_WRITTEN):
        return False
    for ending in SUFFIXES:
        lower = lower.removesuffix(ending)
    return lower.endswith(suffixes()) or lower != name.lower()


def look(folder: Path, *, recursive: bool) -> dict[Path, Stamp]:
    """The files in the folder that may be captures.

    :raises FolderGone: the folder itself cannot be read. One below it that cannot is passed over.
    """
    try:
        return dict(_files(folder, recursive))
    except OSError as error:
        raise FolderGone(error.strerror or str(error)) from error


def _files(folder: Path, recursive: bool) -> Iterator[tuple[Path, Stamp]]:
    with os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda e: e.name):
            try:
                if entry.is_dir(follow_symlinks=False):
                    below = recursive and not entry.name.startswith(_HIDDEN)
                elif may_be_capture(entry.name) and entry.is_file():
                    found = entry.stat()
                    yield Path(entry.path), Stamp(found.st_size, found.st_mtime_ns, found.st_dev, found.st_ino)
                    continue
                else:
                    continue
            except OSError:
                # Gone since it was listed.
                continue
            if below:
                try:
                    yield from _files(Path(entry.path), recursive)
                except OSError:
                    continue


def open_for_writing(path: Path) -> bool:
    """True where a program of this user is known to have the file open for writing.

    Only Linux tells (in /proc); elsewhere, and of other users' programs, nothing is known and the answer is False.
    """
    processes = Path("/proc")
    if not (processes / "self" / "fdinfo").is_dir():
        return False
    try:
        wanted = path.stat()
    except OSError:
        return False
    for process in processes.iterdir():
        if process.name.isdecimal() and any(_writes(process, number, wanted) for number in _numbers(process)):
            return True
    return False


def _numbers(process: Path) -> list[str]:
    try:
        return [entry.name for entry in (process / "fd").iterdir()]
    except OSError:
        return []


def _writes(process: Path, number: str, wanted: os.stat_result) -> bool:
    try:
        found = (process / "fd" / number).stat()
        if (found.st_dev, found.st_ino) != (wanted.st_dev, wanted.st_ino):
            return False
        for line in (process / "fdinfo" / number).read_text().splitlines():
            if line.startswith("flags:"):
                return int(line.split()[1], 8) & os.O_ACCMODE != os.O_RDONLY
    except (OSError, ValueError):
        return False
    return False
