"""The program's own streams closed or full: the exit status is right, and there is never a traceback."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[1] / "captures" / "demo"
GOOD = str(DEMO / "scanner_charges_at_9v.csv")
FULL = Path("/dev/full")

needs_shell = pytest.mark.skipif(sys.platform == "win32", reason="closes streams by the shell")
needs_full = pytest.mark.skipif(not FULL.exists(), reason="no device that is always full here")


def shell(command: str) -> subprocess.CompletedProcess[str]:
    """What a shell says of ``pdcheck`` followed by this."""
    return subprocess.run(
        ["sh", "-c", f'"{sys.executable}" -m pdcheck {command}'], capture_output=True, text=True, timeout=60,
        cwd=DEMO.parents[1],
    )  # fmt: skip


@needs_shell
@pytest.mark.parametrize(("redirection", "status"), [(">&-", 0), ("2>&-", 0), (">&- 2>&-", 0), ("<&- >&- 2>&-", 0)])
def test_closed_streams_leave_the_exit_status(redirection: str, status: int) -> None:
    done = shell(f"decode --quiet {GOOD} {redirection}")
    assert (done.returncode, done.stderr) == (status, "")


@needs_shell
@pytest.mark.parametrize("redirection", [">&-", "2>&-", ">&- 2>&-"])
def test_a_file_that_is_not_there_is_two_whatever_is_closed(redirection: str) -> None:
    done = shell(f"decode nosuch.csv {redirection}")
    assert done.returncode == 2
    assert "Traceback" not in done.stdout + done.stderr


@needs_shell
@needs_full
@pytest.mark.parametrize("command", ["decode nosuch.csv", f"decode {GOOD} nosuch.csv", "decode --nosuch", "nosuch"])
def test_a_complaint_that_cannot_be_written_is_two_as_well(command: str) -> None:
    done = shell(f"{command} 2>/dev/full")
    assert done.returncode == 2
    assert "Traceback" not in done.stdout + done.stderr


@needs_shell
@needs_full
def test_a_report_and_a_complaint_that_cannot_be_written_are_two() -> None:
    assert shell(f"decode {GOOD} >/dev/full 2>/dev/full").returncode == 2


@needs_shell
@pytest.mark.parametrize("command", [
    "measure", "casebook --file {folder}/a.db find --like -", "casebook --file {folder}/a.db import -", "decode -",
])  # fmt: skip
def test_closed_standard_input_is_no_traceback(tmp_path: Path, command: str) -> None:
    done = shell(command.format(folder=tmp_path) + " <&-")
    assert "Traceback" not in done.stdout + done.stderr
    assert done.returncode in (2, 3)


@needs_shell
def test_a_capture_piped_into_the_casebook_is_not_called_empty(tmp_path: Path) -> None:
    done = shell(f"casebook --file {tmp_path}/a.db add - --device x --symptom y < {GOOD}")
    assert done.returncode == 2
    assert "is not JSON; pipe what pdcheck decode --json prints" in done.stderr
