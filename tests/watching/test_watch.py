"""``watch`` as a process of its own, beside programs that write files slowly, badly, or away."""

from __future__ import annotations

import json
import os
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main
from pdcheck.watching.judge import Judged, line_of

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "captures" / "demo"
GOOD, BAD = DEMO / "scanner_charges_at_9v.csv", DEMO / "tablet_never_asks.csv"
#: A generous end of patience (seconds) for a slow machine; nothing is asserted about time.
PATIENCE = 60.0
SETTLE = 0.4


class Watched:
    """A running ``watch`` and what it says."""

    def __init__(self, folder: Path, *options: str, settle: float = SETTLE) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "pdcheck.cli", "watch", str(folder), "--settle", str(settle), *options],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT, errors="replace",
            env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
        )
        self.out: queue.Queue[str] = queue.Queue()
        self.err: queue.Queue[str] = queue.Queue()
        for stream, into in ((self.process.stdout, self.out), (self.process.stderr, self.err)):
            threading.Thread(target=lambda s, q: [q.put(line) for line in s], args=(stream, into), daemon=True).start()
        self.started = self.complaint()

    def line(self) -> str:
        """Its next line on standard output."""
        return self.out.get(timeout=PATIENCE).rstrip("\n")

    def complaint(self) -> str:
        """Its next line on standard error."""
        return self.err.get(timeout=PATIENCE).rstrip("\n")

    def nothing_said(self) -> bool:
        """True where it has said nothing after several more looks at the folder."""
        time.sleep(3 * SETTLE)
        return self.out.empty()

    def stop(self) -> tuple[int, str]:
        """Ctrl-C; the exit status and the last words."""
        self.process.send_signal(signal.SIGINT)
        status = self.process.wait(PATIENCE)
        return status, self.complaint()


@pytest.fixture
def started() -> Iterator[list[Watched]]:
    """Whatever a test starts is ended."""
    all_of_them: list[Watched] = []
    yield all_of_them
    for one in all_of_them:
        if one.process.poll() is None:
            one.process.kill()
        one.process.wait()


def slowly(source: Path, target: Path, pieces: int = 6) -> None:
    """Write a copy in pieces, opening and closing the file for each, as some exporting programs do."""
    raw = source.read_bytes()
    step = len(raw) // pieces + 1
    for start in range(0, len(raw), step):
        with target.open("ab") as file:
            file.write(raw[start : start + step])
        time.sleep(SETTLE / 6)


def test_a_file_written_in_pieces_is_judged_once_when_it_is_whole(tmp_path: Path, started: list[Watched]) -> None:
    shutil.copy(GOOD, tmp_path / "old.csv")
    started.append(watch := Watched(tmp_path, settle=1.5))
    assert "1 already there, not judged" in watch.started
    slowly(BAD, tmp_path / "new.csv")
    line = watch.line()
    assert "new.csv" in line and "FAIL at request, sink: The device ack" in line
    assert line.rstrip().endswith("the round ended in a reset 4 times."), "what a pipe takes is not cut"
    assert watch.nothing_said()
    assert watch.stop() == (130, "pdcheck: stopped; 1 capture judged: 1 fail")


def test_names_of_half_written_files_and_renaming(tmp_path: Path, started: list[Watched]) -> None:
    started.append(watch := Watched(tmp_path))
    for name in ("new.csv.part", ".new.csv", "new.tmp"):
        shutil.copy(BAD, tmp_path / name)
    assert watch.nothing_said()
    (tmp_path / "new.csv.part").rename(tmp_path / "new.csv")
    assert "new.csv" in watch.line()
    (tmp_path / "new.csv").rename(tmp_path / "ticket.csv")
    assert watch.nothing_said(), "a new name is no new capture"
    shutil.copy(GOOD, tmp_path / "ticket.csv")
    line = watch.line()
    assert "ticket.csv" in line and "PASS" in line, "written again, judged again"
    assert watch.stop()[1] == "pdcheck: stopped; 2 captures judged: 1 fail, 1 pass"


@pytest.mark.skipif(not Path("/proc/self/fdinfo").is_dir(), reason="only Linux tells who has a file open")
def test_a_file_that_is_still_open_for_writing_waits(tmp_path: Path, started: list[Watched]) -> None:
    started.append(watch := Watched(tmp_path))
    with (tmp_path / "new.csv").open("wb") as file:
        file.write(BAD.read_bytes())
        file.flush()
        assert "new.csv: a program still has it open for writing" in watch.complaint()
        with GOOD.open("rb"):
            assert watch.nothing_said()
    assert "FAIL" in watch.line()
    with (tmp_path / "new.csv").open("rb"):
        shutil.copy(GOOD, tmp_path / "other.csv")
        assert "other.csv" in watch.line()


def test_broken_files_do_not_end_it(tmp_path: Path, started: list[Watched]) -> None:
    started.append(watch := Watched(tmp_path))
    (tmp_path / "noise.csv").write_bytes(bytes(range(256)) * 20)
    assert "noise.csv" in (line := watch.line()) and "UNUSABLE" in line
    (tmp_path / "cut.csv.gz").write_bytes((DEMO / "started_too_late.csv.gz").read_bytes()[:100])
    assert "UNUSABLE" in watch.line()
    (tmp_path / "a\x1b[31m\nb.csv").write_bytes(b"Time,CC\n")
    odd = watch.line()
    assert "UNUSABLE" in odd and "\x1b" not in odd
    (tmp_path / "dangling.csv").symlink_to(tmp_path / "nothing.csv")
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "empty.csv").touch()
    shutil.copy(GOOD, tmp_path / "good.csv")
    assert "good.csv" in watch.line()
    assert watch.stop() == (130, "pdcheck: stopped; 4 captures judged: 3 unusable, 1 pass")


def test_files_that_vanish(tmp_path: Path, started: list[Watched]) -> None:
    started.append(watch := Watched(tmp_path))
    for turn in range(12):
        path = tmp_path / f"gone{turn}.csv"
        shutil.copy(BAD, path)
        time.sleep(SETTLE / 4)
        path.unlink()
    assert watch.nothing_said()
    shutil.copy(GOOD, tmp_path / "stays.csv")
    assert "stays.csv" in watch.line()


def test_a_folder_that_vanishes(tmp_path: Path, started: list[Watched]) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    started.append(watch := Watched(folder))
    shutil.copy(GOOD, folder / "good.csv")
    watch.line()
    shutil.rmtree(folder)
    last = watch.complaint()
    assert "the folder cannot be read any more" in last and "1 capture judged: 1 pass" in last
    assert watch.process.wait(PATIENCE) == 2


def test_folders_in_it(tmp_path: Path, started: list[Watched]) -> None:
    started.append(watch := Watched(tmp_path, "--recursive", "--json"))
    (tmp_path / "pier 2" / "scanner").mkdir(parents=True)
    (tmp_path / ".hidden").mkdir()
    shutil.copy(BAD, tmp_path / ".hidden" / "x.csv")
    shutil.copy(BAD, tmp_path / "pier 2" / "scanner" / "x.csv")
    found = json.loads(watch.line())
    assert found["file"] == str(Path("pier 2", "scanner", "x.csv"))
    assert (found["verdict"], found["stopped_at"], found["suspect"]) == ("fail", "request", "sink")
    assert found["summary"].endswith(".") and found["time"]
    assert watch.nothing_said()


def test_a_closed_pipe_ends_it(tmp_path: Path) -> None:
    run = subprocess.Popen(
        [sys.executable, "-m", "pdcheck.cli", "watch", str(tmp_path), "--settle", "0.2"], stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert run.stdout is not None and run.stderr is not None
    run.stderr.readline()
    run.stdout.close()
    shutil.copy(GOOD, tmp_path / "good.csv")
    assert run.wait(PATIENCE) == 2
    assert "Traceback" not in run.stderr.read()
    run.stderr.close()


def once(*arguments: str | Path) -> Result:
    result = CliRunner().invoke(main, ["watch", "--once", *map(str, arguments)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def test_once_lists_the_worst_first(tmp_path: Path) -> None:
    for name in (GOOD.name, BAD.name, "nothing_on_the_line.csv"):
        shutil.copy(DEMO / name, tmp_path)
    assert once(tmp_path).exit_code == 1
    (tmp_path / "a_note.txt").write_text("buy solder", encoding="utf-8")
    (tmp_path / "below").mkdir()
    shutil.copy(BAD, tmp_path / "below" / "deep.csv")
    result = once(tmp_path)
    lines = result.stdout.splitlines()
    assert [line.split()[0] for line in lines] == ["a_note.txt", BAD.name, "nothing_on_the_line.csv", GOOD.name]
    assert [line[30:].split()[0].rstrip(":,") for line in lines] == ["UNUSABLE", "FAIL", "INCONCLUSIVE", "PASS"]
    assert lines[0].endswith("the analyzer exported"), "what a pipe takes is not cut"
    assert not any(line.endswith("...") for line in lines)
    assert result.exit_code == 2
    assert result.stderr == "pdcheck: 4 captures judged: 1 unusable, 1 fail, 1 inconclusive, 1 pass\n"
    assert len(once(tmp_path, "--recursive").stdout.splitlines()) == 5
    told = [json.loads(line) for line in once(tmp_path, "--json").stdout.splitlines()]
    assert [one["verdict"] for one in told] == ["unusable", "fail", "inconclusive", "pass"]


def test_once_of_nothing_and_of_good_ones(tmp_path: Path) -> None:
    assert (once(tmp_path).exit_code, once(tmp_path).stdout) == (0, "")
    shutil.copy(GOOD, tmp_path)
    assert once(tmp_path).exit_code == 0


@pytest.mark.parametrize("folder", ["no such folder", str(GOOD), "a\0b", "a\x1bb"])
def test_what_is_no_folder_is_one_line(folder: str) -> None:
    for result in (once(folder), CliRunner().invoke(main, ["watch", folder])):
        assert result.exit_code == 2
        assert result.stdout == ""
        assert len(result.stderr.splitlines()) == 1
        assert "\x1b" not in result.stderr


def test_each_report_can_be_handed_on(tmp_path: Path) -> None:
    """What keeps a page beside each capture hangs on here."""
    from pdcheck.watching.patrol import all_in

    for name in (GOOD.name, BAD.name):
        shutil.copy(DEMO / name, tmp_path)
    (tmp_path / "noise.csv").write_bytes(b"\xff")
    seen = {}
    all_in(tmp_path, recursive=False, on_report=lambda path, report: seen.update({path.name: report.verdict.outcome}))
    assert seen == {GOOD.name: "pass", BAD.name: "fail"}


def test_a_terminal_gets_lines_that_fit_and_a_pipe_whole_names(tmp_path: Path) -> None:
    one = Judged("2026-11-28 tablet of the pier, after the second repair.csv", "fail", "request", "sink", "Why. " * 30)
    assert len(line_of(one, "", 60)) <= 60
    assert line_of(one, "", None) == f"{one.name}  FAIL at request, sink: {one.summary}"
