"""Which files are finished: a small memory of what the folder looked like.

Why it is: "finished" cannot be asked of a file. It is taken to be when nothing about it has changed for a while. This
has no clock and no file system of its own: what was seen and when is given to it, so that it can be tested.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pdcheck.watching.folder import Stamp


@dataclass
class _Seen:
    stamp: Stamp
    since: float


class Settling:
    """Tells which files are ready to be judged.

    :param settle_s: for how long (seconds) a file must not have changed.
    :param known: files that were there before and are not to be judged as they are.
    """

    def __init__(self, settle_s: float, known: Mapping[Path, Stamp] | None = None) -> None:
        self._settle_s = settle_s
        self._seen: dict[Path, _Seen] = {}
        self._done: dict[Path, Stamp] = dict(known or {})

    def ready(self, files: Mapping[Path, Stamp], at: float) -> list[Path]:
        """The files that have settled and were not judged as they are now, in the order given. ``at``: seconds on any
        clock that does not go back."""
        self._forget(files)
        out = []
        for path, stamp in files.items():
            if self._done.get(path) == stamp:
                continue
            seen = self._seen.get(path)
            if seen is None or seen.stamp != stamp:
                self._seen[path] = _Seen(stamp, at)
            elif stamp.size > 0 and at - seen.since >= self._settle_s:
                out.append(path)
        return out

    def done(self, path: Path, stamp: Stamp) -> None:
        """The file was judged as it was at that stamp."""
        self._done[path] = stamp
        self._seen.pop(path, None)

    def _forget(self, files: Mapping[Path, Stamp]) -> None:
        """What is gone is forgotten; what only has a new name keeps its verdict."""
        gone = {stamp: path for path, stamp in self._done.items() if path not in files}
        for path, stamp in files.items():
            if path not in self._done and stamp in gone:
                self._done[path] = stamp
        for path in gone.values():
            del self._done[path]
        for path in [path for path in self._seen if path not in files]:
            del self._seen[path]
