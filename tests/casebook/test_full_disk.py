"""A disk that is full: one line, exit status 2, and the casebook as it was."""

from __future__ import annotations

import errno
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from pdcheck.casebook import Casebook
from pdcheck.casebook.trouble import CasebookError
from tests.casebook.books import ROOT, book_at, case, environment, everything, run

#: The command under a limit on the size of any file that it writes, which the system refuses to exceed.
LIMITED = """
import resource, sys
from pdcheck.cli import main
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
main(sys.argv[2:])
"""


def limited(limit: int, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", LIMITED, str(limit), "casebook", *map(str, arguments)],
                          capture_output=True, text=True, cwd=ROOT, env=environment(), check=False)


def test_no_page_more(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    with Casebook.open(path, write=True) as book:
        pages = book._db.execute("PRAGMA page_count").fetchone()[0]
        book._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(CasebookError, match="the disk is full, so nothing of this was kept"):
            book.add(case(symptom="x" * 20_000))
        with pytest.raises(CasebookError, match="the disk is full"):
            book.take_in([case(symptom="y" * 2000, revision="r", created_at="t", edited_at="t") for _ in range(9)])
        assert len(book.cases()) == 1
        book._db.execute("PRAGMA max_page_count = 1000")
        assert book.add(case()) == 2, "and when there is space again it goes on"


@pytest.mark.parametrize("limit", [0, 100, 512, 4096, 8192])
def test_a_new_casebook_that_does_not_fit(tmp_path: Path, limit: int) -> None:
    path = tmp_path / "b.db"
    done = limited(limit, "add", "--device", "x", "--symptom", "y" * 9000, "--file", path)
    assert (done.returncode, done.stdout) == (2, "")
    assert len(done.stderr.splitlines()) == 1
    assert "nothing of this was kept" in done.stderr
    assert run("add", "--device", "x", book=path).stdout.startswith("case 1 kept"), "what it left is no hindrance"
    assert len(everything(path)) == 1


def test_a_case_that_does_not_fit(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    before = everything(path)
    for command in (["add", "--symptom", "z" * 50_000], ["edit", "1", "--note", "z" * 50_000]):
        done = limited(20_000, *command, "--file", path)
        assert (done.returncode, done.stdout) == (2, "")
        assert len(done.stderr.splitlines()) == 1
        assert everything(path) == before


def test_an_export_that_does_not_fit(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case(symptom="x" * 20_000))
    done = limited(8192, "export", "-o", tmp_path / "out.jsonl", "--file", path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["b.db"], "no half export is left"
    full = subprocess.run(["bash", "-c", f"{sys.executable} -m pdcheck.cli casebook export --file {path} > /dev/full"],
                          capture_output=True, text=True, cwd=ROOT, env=environment(), check=False)
    assert full.returncode == 2
    assert len(full.stderr.splitlines()) == 1


def test_a_small_file_system(tmp_path: Path) -> None:
    """A disk of 64 KiB filled with cases to the last page: every one that was said to be kept is there."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)], capture_output=True,
                             check=False)
    if mounted.returncode:
        pytest.skip("this user may not mount a small disk")
    try:
        path = disk / "b.db"
        kept = 0
        with pytest.raises(CasebookError) as error:
            while kept < 1000:
                with Casebook.open(path, write=True) as book:
                    kept = book.add(case(symptom="x" * 1500))
        assert "nothing of this was kept" in str(error.value)
        db = sqlite3.connect(path)
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        db.close()
        assert [c.number for c in everything(path)] == list(range(1, kept + 1))
        assert kept > 5
        with pytest.raises(OSError) as full:
            (disk / "more").write_bytes(bytes(100_000))
        assert full.value.errno == errno.ENOSPC
    finally:
        subprocess.run(["umount", str(disk)], check=True)
