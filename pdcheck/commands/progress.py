"""A bar for long work: how far, how fast, how much longer.

Why it is: gigabytes take seconds, a pipe as long as it likes, and whoever waits wants to know. The bar's line is made
by click; when to draw it, and that nothing of it is left when the work is done, is decided here.
"""

from __future__ import annotations

import shutil
import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from click._termui_impl import ProgressBar

_AFTER_S = 0.5
_EVERY_S = 0.1
_BAR_WIDTH = 20
_ERASE = "\r\x1b[K"


class Bar:
    """Draws on standard error if that is a terminal, and only when the work has taken half a second.

    Call it with the bytes done and their total (None where nobody knows, as in a pipe); use it as a context manager.
    """

    def __init__(self, label: str) -> None:
        self._label = "".join(char if char.isprintable() else "?" for char in label)
        self._start = time.monotonic()
        self._next = self._start + _AFTER_S
        self._wanted = sys.stderr.isatty()
        self._bar: ProgressBar[int] | None = None
        self._drawn = False

    def __enter__(self) -> Bar:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._drawn:
            self._write(_ERASE)

    def __call__(self, done: int, total: int | None) -> None:
        """Draw, if it is time to."""
        now = time.monotonic()
        if not self._wanted or now < self._next:
            return
        self._next = now + _EVERY_S
        width = shutil.get_terminal_size().columns - 1
        rate = done / (now - self._start)
        self._write(_ERASE + self._line(done, total, rate)[:width])
        self._drawn = True

    def _line(self, done: int, total: int | None, rate: float) -> str:
        speed = f"{rate / 1e6:,.0f} MB/s"
        if not total:
            return f"{self._label}  {done / 1e6:,.0f} MB  {speed}"
        if self._bar is None:
            self._bar = click.progressbar(length=total, label=self._label, width=_BAR_WIDTH, file=sys.stderr)
            self._bar.start = self._bar.last_eta = self._bar.start - (time.monotonic() - self._start)
        self._bar.make_step(max(0, min(done, total) - self._bar.pos))
        return f"{self._bar.format_progress_line()}  {speed}"

    def _write(self, text: str) -> None:
        try:
            sys.stderr.write(text)
            sys.stderr.flush()
        except OSError:  # the terminal has gone: the work goes on without
            self._wanted = False
