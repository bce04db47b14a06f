"""What is kept comes back, and an edit changes what it names and nothing else."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.casebook import Casebook, Held, KeptCase, Note, Part, Reading, Status
from pdcheck.casebook.plain import as_text
from pdcheck.casebook.trouble import CasebookError
from tests.casebook.books import book_at, case, everything, fingerprint

#: Anything that Python calls a text: control characters, NUL, half surrogate pairs.
ANYTHING = st.text(st.characters(), max_size=40)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**70), 2**70) | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3), max_leaves=8,
)


@settings(max_examples=60, deadline=None)
@given(texts=st.lists(ANYTHING, min_size=7, max_size=7), data=JSON)
def test_what_is_kept_comes_back(tmp_path_factory: pytest.TempPathFactory, texts: list[str], data: object) -> None:
    path = tmp_path_factory.mktemp("book") / "b.db"
    device, symptom, done, customer, ticket, note, kind = texts
    kept = KeptCase(
        device=device, symptom=symptom, done=done, customer=customer, ticket=ticket, part=Part.CC_PATH,
        held=Held.NO, held_on="2031-05-04", fingerprint=fingerprint("scanner_charges_at_9v.csv"),
        notes=(Note(note, private=True),), readings=(Reading(kind, data),),
    )
    with Casebook.open(path, write=True) as book:
        found = book.get(book.add(kept))
    assert (found.device, found.symptom, found.done) == tuple(map(as_text, (device, symptom, done)))
    assert (found.customer, found.ticket) == (as_text(customer), as_text(ticket))
    assert (found.part, found.held, found.held_on) == (kept.part, kept.held, kept.held_on)
    assert found.fingerprint == kept.fingerprint
    assert (found.notes[0].text, found.notes[0].private) == (as_text(note), True)
    assert (found.readings[0].kind, found.readings[0].data) == (as_text(kind), data)
    assert found.readings[0].at == found.created_at


def test_what_is_kept_is_synced_with_its_folder(tmp_path: Path) -> None:
    """SQLite's own documentation of ``PRAGMA synchronous``: 3 (EXTRA) is FULL and also syncs the folder after the
    journal is unlinked, "additional durability if the commit is followed closely by a power loss"."""
    with Casebook.open(tmp_path / "b.db", write=True) as book:
        assert book._db.execute("PRAGMA synchronous").fetchone() == (3,)
        assert book._db.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_numbers_are_never_given_twice(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case(), case(), case())
    assert [c.number for c in everything(path)] == [1, 2, 3]


def test_a_case_is_found_by_number_and_by_the_beginning_of_its_uuid(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case(uuid="0123aaaa-0000-4000-8000-000000000000"),
                   case(uuid="0123bbbb-0000-4000-8000-000000000000"))
    with Casebook.open(path) as book:
        assert book.get("2").uuid.startswith("0123bbbb")
        assert book.get("0123A").number == 1
        for wrong in ("0123", "3", "0", "-1", "", "012", "x" * 50, "2; DROP TABLE cases", "%", "١"):
            with pytest.raises(CasebookError):
                book.get(wrong)


def test_an_edit_has_an_ancestor_and_what_stays_here_is_no_edit(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    with Casebook.open(path, write=True) as book:
        first = book.get(1)
        private = book.edit(1, lambda c: replace(c, customer="pier 2", notes=(Note("grumpy", private=True),)))
        assert (private.revision, private.edited_at) == (first.revision, first.edited_at)
        assert private.customer == "pier 2"
        second = book.edit(1, lambda c: replace(c, done="cleaned the port"))
        assert second.ancestors == (first.revision,)
        assert second.edited_at > first.edited_at
        assert book.edit(1, lambda c: c) == second, "an edit that changes nothing is none"


def test_an_edit_is_later_even_when_the_clock_was_set_back(tmp_path: Path) -> None:
    path = tmp_path / "b.db"
    with Casebook.open(path, write=True, clock=lambda: "2031-05-04T09:30:00.000Z") as book:
        book.add(case())
    with Casebook.open(path, clock=lambda: "2029-01-01T00:00:00.000Z") as book:
        assert book.edit(1, lambda c: replace(c, status=Status.CLOSED)).edited_at == "2031-05-04T09:30:00.001Z"


def test_an_edit_that_fails_leaves_the_case(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())

    def fail(one: KeptCase) -> KeptCase:
        raise ZeroDivisionError

    with Casebook.open(path) as book:
        with pytest.raises(ZeroDivisionError):
            book.edit(1, fail)
        assert book.edit(1, lambda c: replace(c, done="x")).done == "x", "and the casebook can be used on"


def test_two_windows_that_edit_one_case_keep_both_words(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    with Casebook.open(path) as one, Casebook.open(path) as other:
        one.get(1), other.get(1)
        one.edit(1, lambda c: replace(c, notes=(*c.notes, Note("first"))))
        other.edit(1, lambda c: replace(c, notes=(*c.notes, Note("second"))))
        assert [n.text for n in one.get(1).notes] == ["first", "second"]


def test_the_place_is_the_users_data_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from platformdirs import user_data_path

    from pdcheck.casebook import casebook_path

    monkeypatch.delenv("PDCHECK_CASEBOOK", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert casebook_path() == user_data_path("pdcheck", appauthor=False) / "casebook.db"
    with Casebook.open(write=True) as book:
        book.add(case())
    assert casebook_path().is_file()
    monkeypatch.setenv("PDCHECK_CASEBOOK", "elsewhere.db")
    assert casebook_path() == Path("elsewhere.db")
    assert casebook_path("named.db") == Path("named.db")
