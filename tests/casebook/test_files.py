"""A file that is not a healthy casebook is refused with one line, and not one byte of it is changed."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import Result

from pdcheck.casebook import Casebook
from tests.casebook.books import GOOD, book_at, case, everything, fingerprint, run
from tests.casebook.test_versions import old_book

COMMANDS = (["list"], ["show", "1"], ["add", "--device", "x"], ["edit", "1", "--note", "x"], ["export"], ["stats"])


def refused(path: Path, *words: str) -> None:
    """Every command says one line and changes nothing."""
    before = path.read_bytes() if path.is_file() else None
    for command in COMMANDS:
        result = run(*command, "--file", path)
        assert result.exit_code == 2, (command, result.output)
        assert result.stdout == ""
        assert len(result.stderr.splitlines()) == 1
        for word in words:
            assert word in result.stderr, (command, result.stderr)
    assert (path.read_bytes() if path.is_file() else None) == before


def test_a_capture_is_no_casebook(tmp_path: Path) -> None:
    refused(Path(shutil.copy(GOOD, tmp_path)), "is not a casebook")


@pytest.mark.parametrize("content", [b"x", b"\0" * 4096, b"SQLite format 3\0", b"SQLite format 3\0" + bytes(84)])
def test_what_only_begins_like_one(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "b.db"
    path.write_bytes(content)
    refused(path)


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "photos.db"
    db = sqlite3.connect(path)
    db.execute("PRAGMA journal_mode = WAL")
    db.execute("CREATE TABLE cases (number INTEGER)")
    db.commit()
    db.close()
    refused(path, "another program")
    assert [p.name for p in tmp_path.iterdir()] == ["photos.db"]


def test_a_folder_a_fifo_a_device(tmp_path: Path) -> None:
    refused(tmp_path, "is a folder")
    os.mkfifo(tmp_path / "fifo")
    refused(tmp_path / "fifo", "is not a file")
    refused(Path("/dev/full"), "is not a file")


def test_links(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    path = book_at(tmp_path / "real" / "b.db", case())
    link = tmp_path / "link.db"
    link.symlink_to(path)
    assert run("add", "--device", "x", "--file", link).stdout.startswith("case 2 kept")
    assert link.is_symlink() and len(everything(path)) == 2
    dangling = tmp_path / "dangling.db"
    dangling.symlink_to(tmp_path / "nothing.db")
    refused(dangling, "link to a file that is not there")
    loop = tmp_path / "loop.db"
    loop.symlink_to(loop)
    refused(loop)


def test_none_yet(tmp_path: Path) -> None:
    for command in (["list"], ["show", "1"], ["edit", "1", "--note", "x"], ["export"], ["stats"]):
        result = run(*command, book=tmp_path / "b.db")
        assert result.exit_code == 2
        assert "there is no casebook there yet" in result.stderr and "casebook add" in result.stderr
    assert list(tmp_path.iterdir()) == [], "looking makes nothing"
    result = run("add", "--device", "x", book=tmp_path / "no folder" / "b.db")
    assert result.exit_code == 2
    assert "folder" in result.stderr


@pytest.mark.parametrize("name", ["a b?c#d%20.db", "f\u00e4hre.db", "\udcff.db"])
def test_odd_names(tmp_path: Path, name: str) -> None:
    path = book_at(tmp_path / name, case())
    assert len(everything(path)) == 1
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_a_name_with_nul() -> None:
    assert run("list", "--file", "a\0b").exit_code == 2


def test_an_empty_file_is_a_new_casebook(tmp_path: Path) -> None:
    path = tmp_path / "b.db"
    path.touch()
    assert run("list", book=path).exit_code == 0
    assert run("add", "--device", "x", book=path).exit_code == 0
    assert len(everything(path)) == 1


def broken_in_some_way(whole: bytes, rng: random.Random) -> bytes:
    """Cut, bits turned, a stretch of zeros or noise."""
    kind, at = rng.randrange(4), rng.randrange(len(whole))
    if kind == 0:
        return whole[:at]
    raw = bytearray(whole)
    if kind == 1:
        raw[at] ^= 1 << rng.randrange(8)
    else:
        end = min(len(raw), at + rng.choice((4, 100, 4096)))
        raw[at:end] = bytes(end - at) if kind == 2 else rng.randbytes(end - at)
    return bytes(raw)


@pytest.mark.parametrize("count", [60, pytest.param(800, marks=pytest.mark.long)])
def test_a_corrupt_file_is_read_or_refused_and_never_overwritten(tmp_path: Path, count: int) -> None:
    cases = [case(symptom=f"{i} " * 40, fingerprint=fingerprint("tablet_never_asks.csv")) for i in range(12)]
    whole = book_at(tmp_path / "whole.db", *cases).read_bytes()
    rng = random.Random(5)
    path = tmp_path / "b.db"
    refusals = 0
    for _ in range(count):
        broken = broken_in_some_way(whole, rng)
        path.write_bytes(broken)
        looked, added = run("list", book=path), run("add", "--device", "new", book=path)
        for result in (looked, added):
            assert result.exit_code in (0, 2)
            assert len(result.stderr.splitlines()) == (1 if result.exit_code == 2 else 0)
        if added.exit_code == 2 and "kept" not in added.stdout:
            refusals += 1
            assert path.read_bytes() == broken
    assert refusals > count / 3


@pytest.fixture
def public() -> Iterator[Path]:
    """A folder that any user may enter."""
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o777)
    yield folder
    folder.chmod(0o777)
    shutil.rmtree(folder)


def as_nobody(*arguments: str | Path) -> Result:
    """The command as a user to whom permissions matter."""
    if os.getuid() != 0:
        return run(*arguments)
    # What it imports late may lie where only root may read.
    run("list", "--file", "/dev/null")
    os.setegid(65534)
    os.seteuid(65534)
    try:
        return run(*arguments)
    finally:
        os.seteuid(0)
        os.setegid(0)


def test_a_folder_that_may_not_be_written(public: Path) -> None:
    path = book_at(public / "b.db", case(), case())
    old = old_book(public / "old.db", 1)
    for one in (path, old):
        one.chmod(0o666)
    public.chmod(0o555)
    before = path.read_bytes(), old.read_bytes()
    for one in (path, old):
        added = as_nobody("add", "--device", "x", "--file", one)
        assert (added.exit_code, added.stdout) == (2, "")
        assert len(added.stderr.splitlines()) == 1
        assert as_nobody("list", "--file", one).exit_code == 0, "reading still works"
    assert as_nobody("add", "--device", "x", "--file", public / "new.db").exit_code == 2
    assert (path.read_bytes(), old.read_bytes()) == before
    assert sorted(p.name for p in public.iterdir()) == ["b.db", "old.db"]


def test_a_file_that_may_not_be_written_or_read(public: Path) -> None:
    path = book_at(public / "b.db", case())
    old = old_book(public / "old.db", 1)
    for one in (path, old):
        one.chmod(0o444)
        added = as_nobody("add", "--device", "x", "--file", one)
        assert (added.exit_code, added.stdout) == (2, "")
        assert "may not be written" in added.stderr
        assert as_nobody("list", "--file", one).exit_code == 0
    path.chmod(0o000)
    hidden = as_nobody("list", "--file", path)
    assert hidden.exit_code == 2
    assert len(hidden.stderr.splitlines()) == 1


def test_a_row_that_is_no_case_is_damage(tmp_path: Path) -> None:
    for column, value in (("notes", "[1]"), ("held", "perhaps"), ("fingerprint", "{}"), ("device", b"\xff"),
                          ("readings", "nonsense"), ("ancestors", '{"a": 1}'), ("part", "soul")):
        path = book_at(tmp_path / f"{column}.db", case())
        db = sqlite3.connect(path)
        db.execute(f"UPDATE cases SET {column} = ?", (value,))
        db.commit()
        db.close()
        result = run("list", book=path)
        assert result.exit_code == 2
        assert "damaged" in result.stderr


def test_another_window_that_does_not_end(tmp_path: Path) -> None:
    from pdcheck.casebook.trouble import CasebookError

    path = book_at(tmp_path / "b.db", case())
    with Casebook.open(path, patience_s=0.05) as book:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(CasebookError, match="another window"):
            book.add(case())
        with pytest.raises(CasebookError, match="another window"):
            book.cases()
        other.execute("ROLLBACK")
        other.close()
        assert book.add(case()) == 2
