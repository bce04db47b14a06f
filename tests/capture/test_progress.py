"""The bar for long work: on a terminal only, late, and nothing of it left at the end."""

from __future__ import annotations

import io
import sys
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.commands import progress
from pdcheck.commands.progress import Bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def drawn(monkeypatch: pytest.MonkeyPatch, stream: io.StringIO, steps: list[tuple[float, int, int | None]]) -> str:
    """What is on the stream after calls at these seconds with these bytes and totals."""
    now = 0.0
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(progress.time, "monotonic", lambda: now)
    with Bar("capture\x1b[31m.csv") as bar:
        for now, done, total in steps:  # noqa: B007 (the clock reads it)
            bar(done, total)
    return stream.getvalue()


LONG = [(0.1, 10_000_000, 100_000_000), (0.7, 70_000_000, 100_000_000), (0.75, 75_000_000, 100_000_000)]


def test_a_bar_with_rate_on_a_terminal_and_nothing_of_it_in_the_end(monkeypatch: pytest.MonkeyPatch) -> None:
    text = drawn(monkeypatch, Terminal(), LONG)
    assert text.count("70%") == 1
    assert "75%" not in text  # not drawn so soon again
    assert "100 MB/s" in text
    assert text.endswith("\r\x1b[K")
    assert "[31m" in text and "\x1b[31m" not in text


def test_nothing_where_standard_error_is_no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    assert drawn(monkeypatch, io.StringIO(), LONG) == ""


def test_nothing_for_short_work(monkeypatch: pytest.MonkeyPatch) -> None:
    assert drawn(monkeypatch, Terminal(), [(0.1, 1, 4), (0.4, 4, 4)]) == ""


def test_a_pipe_has_a_rate_and_no_end(monkeypatch: pytest.MonkeyPatch) -> None:
    text = drawn(monkeypatch, Terminal(), [(1.0, 250_000_000, None)])
    assert "250 MB" in text
    assert "%" not in text


def test_a_line_is_never_wider_than_the_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    text = drawn(monkeypatch, Terminal(), LONG)
    assert max(len(part.removeprefix("\x1b[K")) for part in text.split("\r")) < 30


def test_a_reading_says_how_far_it_is(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n" + "".join(f"{i * 1e-6:.6f},{i // 50 % 2}\n" for i in range(200_000)))
    seen: list[tuple[int, int | None]] = []
    open_capture(path, progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (path.stat().st_size, path.stat().st_size)
    assert seen == sorted(seen)
