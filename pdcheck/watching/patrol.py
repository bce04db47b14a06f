"""The loop: look, wait until files have settled, judge them, look again.

Why it is: apart from the command so that it can be driven from Python and from tests, with what it prints handed in.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from pdcheck.watching.folder import FolderGone, Stamp, look, open_for_writing
from pdcheck.watching.judge import Judged, OnReport, judge_file, worst_first
from pdcheck.watching.settled import Settling

#: How often (seconds) the folder is looked at, at most.
POLL_S = 0.5
#: A folder on a share may be away for a moment; it is gone when it was away for so many looks.
_LOOKS_AWAY = 3


def all_in(folder: Path, *, recursive: bool, on_report: OnReport | None = None) -> list[Judged]:
    """Judge what is there now; the worst first. :raises FolderGone: the folder cannot be read."""
    files = look(folder, recursive=recursive)
    return worst_first(
        judged for path in files if (judged := _judge(folder, path, on_report)) is not None
    )


def patrol(
    folder: Path, known: Mapping[Path, Stamp], *, recursive: bool, settle_s: float, on_report: OnReport | None = None,
    on_waiting: Callable[[str], None] | None = None,
) -> Iterator[Judged]:
    """Judge each capture that is finished from now on, again when it is written anew. Does not end by itself.

    :param known: what is there already and not to be judged as it is (from :func:`~pdcheck.watching.folder.look`).
    :param settle_s: for how long (seconds) a file must not have changed.
    :param on_waiting: called once with the name of a file that does not change any more and is still open for writing.
    :raises FolderGone: the folder cannot be read any more.
    """
    settling = Settling(settle_s, known)
    waiting: set[Path] = set()
    away = 0
    while True:
        try:
            files = look(folder, recursive=recursive)
            away = 0
        except FolderGone:
            away += 1
            if away >= _LOOKS_AWAY:
                raise
            time.sleep(POLL_S)
            continue
        for path in settling.ready(files, time.monotonic()):
            if open_for_writing(path):
                if path not in waiting and on_waiting is not None:
                    on_waiting(_name(folder, path))
                waiting.add(path)
                continue
            waiting.discard(path)
            judged = _judge(folder, path, on_report)
            if judged is None or _stamp(path) != files[path]:
                # Gone, or written to while it was read: it will settle again.
                continue
            settling.done(path, files[path])
            yield judged
        time.sleep(min(POLL_S, settle_s / 2))


def _judge(folder: Path, path: Path, on_report: OnReport | None) -> Judged | None:
    """None where the file is gone by now."""
    judged = judge_file(path, _name(folder, path), on_report)
    return None if judged.verdict == "unusable" and not path.exists() else judged


def _name(folder: Path, path: Path) -> str:
    return str(path.relative_to(folder))


def _stamp(path: Path) -> Stamp | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return Stamp(found.st_size, found.st_mtime_ns, found.st_dev, found.st_ino)
