"""What people type first, before they have read anything."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main

GOOD = Path(__file__).parents[1] / "captures" / "demo" / "scanner_charges_at_9v.csv"


def run(*args: str) -> Result:
    return CliRunner().invoke(main, list(args))


def test_a_capture_without_a_command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copy(GOOD, "tablet.csv")
    result = run("tablet.csv")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == "pdcheck: 'tablet.csv' is a file and no command; say pdcheck decode tablet.csv\n"
    assert "see pdcheck --help" in run("tabelt.csv").stderr
    shutil.copy(GOOD, "esc\x1b[31m.csv")
    assert "\x1b" not in run("esc\x1b[31m.csv").stderr
    shutil.copy(GOOD, "deck tablet.csv")
    assert run("deck tablet.csv").stderr.endswith("say pdcheck decode 'deck tablet.csv'\n")


def test_a_file_whose_name_begins_like_an_option(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A shell puts it there for *.csv."""
    monkeypatch.chdir(tmp_path)
    shutil.copy(GOOD, "-dash.csv")
    shutil.copy(GOOD, "tablet.csv")
    result = run("decode", "--quiet", "-dash.csv", "tablet.csv")
    assert (result.exit_code, len(result.stderr.splitlines())) == (2, 1)
    assert "./-dash.csv" in result.stderr
    assert run("decode", "--quiet", "./-dash.csv", "tablet.csv").exit_code == 0
    assert "./" not in run("decode", "-x", "tablet.csv").stderr
