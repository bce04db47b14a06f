"""Killed at any moment, the casebook holds every case that was said to be kept, and none half.

``kill -9`` at random points of ``add`` and ``import``; and two windows that write at once.
"""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from pdcheck.casebook import Casebook, KeptCase, Note
from pdcheck.casebook.sharing import export_line
from tests.casebook.books import DEVICE, GOOD, NEVER_ASKS, ROOT, book_at, case, environment, everything, fingerprint

#: Adds one case after the other and says so, as one window that is busy; what it says is on the disk.
ADDING = """
import sys
from pdcheck.casebook import Casebook
from tests.casebook.books import case, fingerprint
seen = fingerprint("tablet_never_asks.csv")
with Casebook.open(sys.argv[1], write=True) as book:
    while True:
        print(book.add(case(symptom="x" * 9000, fingerprint=seen)), flush=True)
"""
#: Takes in the same 40 cases as new ones again and again.
IMPORTING = """
import sys
from dataclasses import replace
from uuid import uuid4
from pdcheck.casebook import Casebook
from tests.casebook.books import fingerprint
from pdcheck.casebook.sharing import read_lines
with open(sys.argv[2], encoding="utf-8") as file:
    cases = read_lines(file, sys.argv[2])
with Casebook.open(sys.argv[1], write=True) as book:
    while True:
        print("begin", flush=True)
        book.take_in([replace(case, uuid=str(uuid4())) for case in cases])
        print("kept", flush=True)
"""
IN_ONE_IMPORT = 40
COUNTS = [10, pytest.param(100, marks=pytest.mark.long)]


def healthy(path: Path) -> list[KeptCase]:
    """The cases of a casebook that was killed; SQLite itself finds nothing wrong with it."""
    cases = everything(path)
    db = sqlite3.connect(path)
    assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    db.close()
    return cases


def killed(code: str, rng: random.Random, *arguments: Path) -> list[str]:
    """Run the code, kill it a random while after its first word, and return the lines that it said."""
    run = subprocess.Popen([sys.executable, "-c", code, *map(str, arguments)], stdout=subprocess.PIPE, text=True,
                           cwd=ROOT, env=environment())
    assert run.stdout is not None
    said = [run.stdout.readline()]
    time.sleep(rng.uniform(0, 0.08))
    run.send_signal(signal.SIGKILL)
    said += run.stdout.readlines()
    run.stdout.close()
    assert run.wait() == -signal.SIGKILL
    return [line.strip() for line in said if line.endswith("\n")]


@pytest.mark.parametrize("count", COUNTS)
def test_killed_while_adding(tmp_path: Path, count: int) -> None:
    rng = random.Random(7)
    path = tmp_path / "b.db"
    kept = 0
    for _ in range(count):
        said = killed(ADDING, rng, path)
        kept = max(kept, *map(int, said))
        cases = healthy(path)
        # The last one may have been kept without having been said.
        assert [c.number for c in cases] == list(range(1, len(cases) + 1))
        assert kept <= len(cases) <= kept + 1
        kept = len(cases)
    seen = fingerprint("tablet_never_asks.csv")
    assert all((c.device, c.symptom, c.fingerprint) == (DEVICE, "x" * 9000, seen) for c in everything(path))


@pytest.mark.parametrize("count", COUNTS)
def test_killed_while_importing(tmp_path: Path, count: int) -> None:
    rng = random.Random(8)
    lines = tmp_path / "cases.jsonl"
    with Casebook.open(tmp_path / "theirs.db", write=True) as book:
        for _ in range(IN_ONE_IMPORT):
            book.add(case(symptom="y" * 3000, notes=(Note("z"),), fingerprint=fingerprint("tablet_never_asks.csv")))
        lines.write_text("".join(export_line(c) + "\n" for c in book.cases()), encoding="utf-8")
    path = book_at(tmp_path / "b.db", case())
    before = 1
    for _ in range(count):
        said = killed(IMPORTING, rng, path, lines)
        cases = healthy(path)
        imports, rest = divmod(len(cases) - before, IN_ONE_IMPORT)
        assert rest == 0, "all of an import, or nothing"
        assert said.count("kept") <= imports <= said.count("kept") + 1
        before = len(cases)
    assert {c.symptom for c in everything(path)} == {"5 V only, 30 mA", "y" * 3000}


@pytest.mark.parametrize("count", [5, pytest.param(100, marks=pytest.mark.long)])
def test_the_commands_killed(tmp_path: Path, count: int) -> None:
    """From the start of the interpreter on: whatever it was doing, what it said is true."""
    rng = random.Random(9)
    path = book_at(tmp_path / "b.db", case())
    before = 1
    for turn in range(count):
        run = subprocess.Popen(
            [sys.executable, "-m", "pdcheck.cli", "casebook", "add", str(NEVER_ASKS if turn % 2 else GOOD), "--device",
             "killed", "--file", str(path)], stdout=subprocess.PIPE, text=True, cwd=ROOT, env=environment())
        time.sleep(rng.uniform(0.1, 0.9))
        run.kill()
        said, _ = run.communicate()
        cases = healthy(path)
        assert len(cases) - before in ((1,) if "kept\n" in said else (0, 1))
        assert all(c.fingerprint is not None for c in cases[1:])
        before = len(cases)


def test_windows_that_write_at_once(tmp_path: Path) -> None:
    """Four of them, from the moment when there is no file yet: none is turned away, no number is given twice."""
    path = tmp_path / "b.db"
    runs = [
        subprocess.Popen([sys.executable, "-c", WRITING, str(path), str(i)], stdout=subprocess.PIPE, text=True,
                         cwd=ROOT, env=environment()) for i in range(4)
    ]
    said = [run.communicate()[0].split() for run in runs]
    assert [run.returncode for run in runs] == [0] * 4
    numbers = sorted(int(n) for one in said for n in one)
    assert numbers == list(range(1, 41))
    cases = healthy(path)
    for i, one in enumerate(said):
        assert [c.number for c in cases if c.device == str(i)] == [int(n) for n in one]


WRITING = """
import sys
from pdcheck.casebook import Casebook, KeptCase
for _ in range(10):
    with Casebook.open(sys.argv[1], write=True) as book:
        print(book.add(KeptCase(device=sys.argv[2])), flush=True)
"""
