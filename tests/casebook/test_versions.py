"""A casebook outlives the program: older files are brought up to date, newer ones are left alone."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from pdcheck.casebook import Casebook, Part, schema
from pdcheck.casebook.trouble import CasebookError
from tests.casebook.books import book_at, case, everything, run

OLD = {1: Path(__file__).with_name("v1.sql")}


def old_book(path: Path, version: int) -> Path:
    db = sqlite3.connect(path)
    db.executescript(OLD[version].read_text(encoding="utf-8"))
    db.close()
    return path


def tables(path: Path) -> set[str]:
    db = sqlite3.connect(path)
    found = {row[0] for row in db.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")}
    db.close()
    return found


def test_there_is_a_file_of_every_older_version() -> None:
    assert set(OLD) == set(range(1, schema.VERSION))


@pytest.mark.parametrize("version", OLD)
def test_an_older_file_is_brought_up_to_date(tmp_path: Path, version: int) -> None:
    path = old_book(tmp_path / "old.db", version)
    first, second = everything(path)
    assert (first.number, second.number) == (3, 7)
    assert first.device == "handheld scanner (invented)"
    assert first.part is Part.PORT_CONTACTS
    assert first.fingerprint is not None
    assert (first.fingerprint.leading, first.fingerprint.current_ma) == ("no-request", 30)
    assert (first.notes[0].text, first.notes[0].private) == ("keeps calling", True)
    assert first.readings[0].data == {"cc1_v": 0.41}
    assert (first.customer, first.ticket, first.capture_path) == ("pier 2", "1183", "/bench/scanner.csv")
    assert first.revision and first.revision != second.revision
    with Casebook.open(path, write=True) as book:
        assert book.add(case()) == 8, "numbers go on where they were"
        assert book.edit(3, lambda c: replace(c, done="x")).ancestors == (first.revision,)


@pytest.mark.parametrize("version", OLD)
def test_an_older_file_has_then_the_tables_of_a_new_one(tmp_path: Path, version: int) -> None:
    def squeezed(path: Path) -> set[str]:
        return {" ".join(sql.replace("(", " ( ").replace(")", " ) ").split()) for sql in tables(path)}

    path = old_book(tmp_path / "old.db", version)
    assert len(everything(path)) == 2
    assert squeezed(path) == squeezed(book_at(tmp_path / "new.db", case()))


def test_the_same_old_case_in_two_books_is_the_same_state(tmp_path: Path) -> None:
    one, other = (everything(old_book(tmp_path / name, 1))[0] for name in ("a.db", "b.db"))
    assert one.revision == other.revision


def test_a_step_that_fails_leaves_the_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = old_book(tmp_path / "old.db", 1)

    def broken(db: sqlite3.Connection) -> None:
        db.execute("DROP TABLE cases")
        raise sqlite3.OperationalError("the power went")

    before = path.read_bytes()
    monkeypatch.setattr(schema, "STEPS", (*schema.STEPS[:1], broken))
    with pytest.raises(CasebookError):
        Casebook.open(path)
    assert path.read_bytes() == before
    monkeypatch.undo()
    assert len(everything(path)) == 2


def test_a_newer_file_is_refused_and_not_touched(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    db = sqlite3.connect(path)
    db.execute(f"PRAGMA user_version = {schema.VERSION + 1}")
    db.close()
    before = path.read_bytes()
    for command in (["list"], ["add", "--device", "x"], ["close", "1"], ["stats"]):
        result = run(*command, book=path)
        assert result.exit_code == 2
        assert "newer pdcheck" in result.stderr and "update pdcheck" in result.stderr
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["b.db"]
