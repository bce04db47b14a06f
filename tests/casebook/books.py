"""What the tests of the casebook share: demo fingerprints, cases, and the command as a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

from pdcheck.casebook import Casebook, Fingerprint, KeptCase
from pdcheck.casebook.intake import of_capture
from pdcheck.cli import main

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "captures" / "demo"
#: Invented, as everything here: the workshop of a small ferry line.
DEVICE = "deck tablet, 2nd series (invented)"
NEVER_ASKS = DEMO / "tablet_never_asks.csv"
GOOD = DEMO / "scanner_charges_at_9v.csv"


@cache
def fingerprint(name: str) -> Fingerprint:
    """The fingerprint of a demo capture."""
    return of_capture(str(DEMO / name))


@cache
def report(name: str) -> str:
    """What ``decode --json`` prints of a demo capture."""
    return CliRunner().invoke(main, ["decode", "--json", str(DEMO / name)]).stdout


def case(**fields: Any) -> KeptCase:
    """A case of the invented workshop."""
    return KeptCase(**{"device": DEVICE, "symptom": "5 V only, 30 mA", **fields})


def book_at(path: Path, *cases: KeptCase) -> Path:
    """A casebook with these cases."""
    with Casebook.open(path, write=True) as book:
        for one in cases:
            book.add(one)
    return path


def everything(path: Path) -> list[KeptCase]:
    """All cases of a casebook."""
    with Casebook.open(path) as book:
        return book.cases()


def run(*arguments: str | Path, book: Path | None = None, **options: Any) -> Result:
    """The command in this process."""
    environment = {"PDCHECK_CASEBOOK": str(book)} if book is not None else {}
    result = CliRunner().invoke(main, ["casebook", *map(str, arguments)], env=environment, **options)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def environment(**more: str) -> dict[str, str]:
    """For a process of its own that uses this tree."""
    return {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", **more}


def process(*arguments: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """The command as a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "pdcheck.cli", "casebook", *map(str, arguments)], capture_output=True, text=True,
        check=False, env=environment(), **options,
    )


def lines(path: Path) -> list[dict[str, Any]]:
    """An export, read."""
    return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
