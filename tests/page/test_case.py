"""What was done stands on the customer's page, taken from the casebook."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main

GOOD = Path(__file__).parents[2] / "captures" / "demo" / "scanner_charges_at_9v.csv"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


def test_the_case_says_what_was_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PDCHECK_CASEBOOK", str(tmp_path / "book.db"))
    assert run("casebook", "add", "--device", "scanner (invented)", "--symptom", "no charge").exit_code == 0
    assert run("casebook", "close", "1", "--part", "other", "--done", "Socket cleaned", "--held", "yes").exit_code == 0
    page = tmp_path / "cover.html"
    assert run("decode", GOOD, "--quiet", "--html", page, "--for", "customer", "--case", "1").exit_code == 0
    assert "Socket cleaned" in page.read_text(encoding="utf-8")


def test_a_case_that_is_not_there_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PDCHECK_CASEBOOK", str(tmp_path / "none.db"))
    done = run("decode", GOOD, "--html", tmp_path / "cover.html", "--for", "customer", "--case", "3")
    assert done.exit_code == 2 and len(done.stderr.splitlines()) == 1
