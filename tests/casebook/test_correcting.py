"""What a technician has to put right: a case entered twice, a name in a note, the wrong part; and to be forgotten."""

from __future__ import annotations

from pathlib import Path

import pytest

from pdcheck.casebook import Casebook, Note
from pdcheck.casebook.transfer import read_cases
from tests.casebook.books import book_at, case, everything, run


def test_a_case_entered_twice_is_removed(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case(), case(), case(device="scanner"))
    result = run("remove", "2", "--yes", book=book)
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith("case 2 removed")
    assert [one.number for one in everything(book)] == [1, 3]
    assert run("show", "2", book=book).exit_code == 2


def test_a_number_that_stands_on_a_ticket_is_not_given_again(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case(), case())
    run("remove", "2", "--yes", book=book)
    assert run("add", "--symptom", "dead", book=book).stdout.startswith("case 3 kept")


def test_without_a_yes_nothing_is_removed(tmp_path: Path) -> None:
    """Input that is no terminal, or is at its end, is no yes."""
    book = book_at(tmp_path / "b.db", case())
    before = book.read_bytes()
    result = run("remove", "1", book=book)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1 and "--yes" in result.stderr
    assert book.read_bytes() == before
    assert run("remove", "9", "--yes", book=book).exit_code == 2
    assert book.read_bytes() == before


def test_a_customer_who_asks_for_it_is_forgotten(tmp_path: Path) -> None:
    """Not only out of the list: the name is in the file's bytes no more."""
    name = "Quillfeather-Nobody"
    book = book_at(tmp_path / "b.db", case(), case(customer=name, notes=(Note(f"{name} called", private=True),)))
    assert name.encode() in book.read_bytes()
    run("remove", "2", "--yes", book=book)
    assert name.encode() not in book.read_bytes()


def test_what_an_import_set_aside_of_it_goes_with_it(tmp_path: Path) -> None:
    ours, theirs = book_at(tmp_path / "ours.db", case()), tmp_path / "theirs.db"
    file = tmp_path / "cases.jsonl"
    run("export", "-o", file, book=ours)
    run("import", file, book=theirs)
    run("edit", "1", "--symptom", "theirs", book=theirs)
    run("edit", "1", "--symptom", "overwritten-words", book=ours)
    run("edit", "1", "--done", "later", book=theirs)
    file.unlink()
    run("export", "-o", file, book=theirs)
    run("import", file, book=ours)
    run("remove", "1", "--yes", book=ours)
    with Casebook.open(ours) as book:
        assert book.cases() == []
        assert book.set_aside(read_cases(str(file))[0].uuid) == []
    assert b"overwritten-words" not in ours.read_bytes()


@pytest.mark.parametrize("private", [False, True])
def test_a_note_is_taken_out_by_the_number_that_show_prints(tmp_path: Path, private: bool) -> None:
    book = book_at(tmp_path / "b.db", case(notes=(Note("keep me"), Note("frist note", private), Note("and me"))))
    shown = run("show", "1", book=book).stdout
    (line,) = [line for line in shown.splitlines() if "frist note" in line]
    number = line.split(".")[0].strip()
    result = run("edit", "1", "--drop-note", number, "--note", "first note", book=book)
    assert result.exit_code == 0, result.stderr
    assert sorted(note.text for note in everything(book)[0].notes) == ["and me", "first note", "keep me"]


def test_readings_are_taken_out_too_and_a_number_that_is_not_there_changes_nothing(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case())
    run("edit", "1", "--current-ma", "30", book=book)
    assert len(everything(book)[0].readings) == 1
    for option in ("--drop-note", "--drop-reading"):
        result = run("edit", "1", option, "2", book=book)
        assert result.exit_code == 2
        assert "casebook show 1" in result.stderr
    assert run("edit", "1", "--drop-reading", "1", book=book).exit_code == 0
    assert everything(book)[0].readings == ()


def test_a_note_that_was_taken_out_stays_out_when_an_older_export_comes_back(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case(notes=(Note("a name"),)))
    file = tmp_path / "cases.jsonl"
    run("export", "-o", file, book=book)
    run("edit", "1", "--drop-note", "1", book=book)
    run("import", file, book=book)
    assert everything(book)[0].notes == ()


def test_a_part_that_was_named_by_mistake_is_no_part_again(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case())
    run("close", "1", "--part", "cc-path", "--held", "yes", book=book)
    assert run("edit", "1", "--no-part", book=book).exit_code == 0
    assert everything(book)[0].part is None
    result = run("edit", "1", "--no-part", "--part", "battery", book=book)
    assert (result.exit_code, len(result.stderr.splitlines())) == (2, 1)


def test_a_list_that_goes_into_a_file_is_not_cut(tmp_path: Path) -> None:
    symptom = "charges at the crew room, not at the ticket office, and only with the plug label up " * 2
    book = book_at(tmp_path / "b.db", case(symptom=symptom.strip()))
    assert run("list", book=book).stdout.splitlines()[1].endswith(symptom.strip())


def test_a_repair_that_did_not_hold_says_how_to_go_on(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case())
    run("close", "1", "--part", "battery", "--held", "unknown", book=book)
    assert "pdcheck casebook edit 1 --reopen" in run("edit", "1", "--held", "no", book=book).stdout
    assert "reopen" not in run("edit", "1", "--reopen", book=book).stdout
