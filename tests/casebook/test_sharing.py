"""Cases between shops: no customer's data leaves, nothing is taken in by halves, and both come to the same case."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pdcheck.casebook import Casebook, Held, KeptCase, Note, Reading, Status
from pdcheck.casebook.merge import Arrival, merge
from pdcheck.casebook.sharing import export_json, export_line, read_lines, restored, withheld
from pdcheck.casebook.trouble import CasebookError
from tests.casebook.books import book_at, case, everything, fingerprint, lines, run

SECRET = KeptCase(
    device="deck tablet (invented)", symptom="Pier Harbour Ltd says it is dead; HARBOUR again", done="T-1183 done",
    customer="Pier Harbour Ltd", ticket="T-1183", capture_path="/home/bench/pier_harbour.csv",
    notes=(Note("for Harbour's skipper"), Note("owes us money", private=True)),
    readings=(Reading("measure", {
        "cc1_v": 0.41, "file": "/home/bench/m.json", "customer_name": "Harbour", "source": "C:\\bench\\m.json",
        "contacts": [{"name": "A5", "volts": 0.6, "from": "~/x"}], "log": "pier_harbour.csv", "cc_path": "suspect",
        "comment": "by the harbour wall",
    }),),
    fingerprint=fingerprint("tablet_never_asks.csv"),
)


def test_nothing_of_the_customer_leaves(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", SECRET)
    out = tmp_path / "out.jsonl"
    assert run("export", "-o", out, book=path).exit_code == 0
    text = out.read_text(encoding="utf-8")
    for word in ("harbour", "1183", "money", "bench", "/home", "m.json", "~/x", "C:"):
        assert word not in text.lower(), word
    (one,) = lines(out)
    assert set(one) == {
        "format", "version", "uuid", "created_at", "edited_at", "revision", "ancestors", "status", "device", "symptom",
        "done", "held", "held_on", "part", "fingerprint", "notes", "readings",
    }
    assert one["device"] == "deck tablet (invented)"
    assert one["symptom"] == "[withheld] says it is dead; [withheld] again"
    assert one["readings"][0]["data"] == {
        "cc1_v": 0.41, "source": "[withheld]", "contacts": [{"name": "A5", "volts": 0.6, "from": "[withheld]"}],
        "log": "[withheld]", "cc_path": "suspect", "comment": "by the [withheld] wall",
    }
    assert len(one["notes"]) == 1


def test_a_field_that_is_added_later_stays_at_home() -> None:
    shared = set(export_json(SECRET)) - {"format", "version"}
    local = {"number", "customer", "ticket", "capture_path"}
    assert shared | local == set(KeptCase.__dataclass_fields__), "decide where a new field belongs, and say so here"
    assert shared & local == set()


def test_an_export_comes_back_as_it_was(tmp_path: Path) -> None:
    path = book_at(tmp_path / "a.db", case(held=Held.YES, held_on="2031-05-04", notes=(Note("a\nb\x00\u2028"),)),
                   SECRET)
    out = tmp_path / "out.jsonl"
    run("export", "-o", out, book=path)
    assert run("import", out, book=tmp_path / "b.db").stdout.startswith("imported 2 cases: 2 new")
    for ours, theirs in zip(everything(path), everything(tmp_path / "b.db"), strict=True):
        assert theirs == replace(withheld(ours), number=theirs.number)
    assert run("export", book=tmp_path / "b.db").stdout_bytes == out.read_bytes()


def test_the_same_again_is_the_same(tmp_path: Path) -> None:
    path = book_at(tmp_path / "a.db", SECRET, case())
    out = tmp_path / "out.jsonl"
    run("export", "-o", out, book=path)
    before = everything(path)
    assert run("import", out, book=path).stdout == "imported 2 cases: 2 already here\n"
    assert everything(path) == before


def test_there_and_back(tmp_path: Path) -> None:
    """Edited there only: the edit comes home, and what was struck out for them is still here."""
    home, away = book_at(tmp_path / "home.db", SECRET), tmp_path / "away.db"
    run("export", "-o", tmp_path / "1.jsonl", book=home)
    run("import", tmp_path / "1.jsonl", book=away)
    run("close", "1", "--part", "battery", "--held", "yes", "--note", "seen here as well", book=away)
    run("export", "-o", tmp_path / "2.jsonl", book=away)
    before = everything(home)[0]
    assert run("import", tmp_path / "2.jsonl", book=home).stdout == "imported 1 case: 1 updated\n"
    after = everything(home)[0]
    assert (after.status, after.held) == (Status.CLOSED, Held.YES)
    assert (after.symptom, after.customer, after.capture_path) == (before.symptom, before.customer, before.capture_path)
    assert after.readings == before.readings
    assert {n.text for n in after.notes} == {"for Harbour's skipper", "owes us money", "seen here as well"}
    assert run("import", tmp_path / "1.jsonl", book=home).stdout == "imported 1 case: 1 older than what is here\n"
    assert everything(home)[0] == after


def test_edited_here_and_there(tmp_path: Path) -> None:
    """The later edit wins in both shops, notes of both stay, what lost is kept aside, and then they agree."""
    home, away = book_at(tmp_path / "home.db", case()), tmp_path / "away.db"
    run("export", "-o", tmp_path / "1.jsonl", book=home)
    run("import", tmp_path / "1.jsonl", book=away)
    run("edit", "1", "--done", "cleaned the port", "--note", "ours", book=home)
    run("edit", "1", "--done", "new chip", "--note", "theirs", book=away)
    run("export", "-o", tmp_path / "home.jsonl", book=home)
    run("export", "-o", tmp_path / "away.jsonl", book=away)
    said = run("import", tmp_path / "away.jsonl", book=home).stdout
    assert said.splitlines()[0] == "imported 1 case: 1 edited here and there"
    assert "case 1 was edited here and there: the edit there was later and is kept" in said
    assert "the edit here was later" in run("import", tmp_path / "home.jsonl", book=away).stdout
    mine, theirs = everything(home)[0], everything(away)[0]
    assert mine == theirs
    assert (mine.done, [n.text for n in mine.notes]) == ("new chip", ["ours", "theirs"])
    shown = run("show", "1", book=home).stdout
    assert "Set aside by an import" in shown and "cleaned the port" in shown
    run("export", "-o", tmp_path / "3.jsonl", book=away)
    assert run("import", tmp_path / "3.jsonl", book=home).stdout == "imported 1 case: 1 already here\n"


@pytest.mark.parametrize("seed", range(30))
def test_whatever_the_order_of_edits_and_exchanges_the_shops_agree_at_last(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    ticks = iter(range(1, 10_000))

    def clock() -> str:
        # The shops' clocks differ.
        n = next(ticks) + rng.choice((0, 500))
        return f"2031-05-04T{n // 60:02}:{n % 60:02}:00.000Z" if n < 1440 else "2031-05-05T00:00:00.000Z"

    first = replace(case(), revision="0", created_at=clock(), edited_at=clock())
    with Casebook.open(tmp_path / "a.db", write=True, clock=clock) as a, \
            Casebook.open(tmp_path / "b.db", write=True, clock=clock) as b:
        for book in (a, b):
            book.take_in([first])
        written = set()
        for turn in range(rng.randrange(1, 9)):
            book, other = rng.sample([a, b], 2)
            if rng.random() < 0.7:
                text = f"note {turn}"
                written.add(text)
                book.edit(1, lambda c, t=text: replace(c, done=t, notes=(*c.notes, Note(t))))  # type: ignore[misc]
            else:
                book.take_in(read_lines([export_line(c) for c in other.cases()], "x"))
        for book, other in ((a, b), (b, a), (a, b)):
            book.take_in(read_lines([export_line(c) for c in other.cases()], "x"))
        assert export_line(a.get(1)) == export_line(b.get(1))
        assert {n.text for n in a.get(1).notes} == written, "no note is lost"
        assert merge(a.get(1), b.get(1)).arrival is Arrival.SAME


def test_a_short_ticket_number_does_not_strike_out_readings() -> None:
    shown = withheld(replace(SECRET, customer="", ticket="12", symptom="12 V, ticket 12"))
    assert (shown.symptom, shown.ticket) == ("12 V, ticket 12", "")
    assert withheld(replace(SECRET, ticket="1234", symptom="1234")).symptom == "[withheld]"


def test_own_words_are_put_back() -> None:
    ours = replace(SECRET, revision="r")
    assert restored(withheld(ours), ours) == replace(
        ours, notes=ours.notes[:1], customer="", ticket="", capture_path="", number=None)


GOOD_LINE = export_line(replace(case(), created_at="2031-05-04T09:30:00Z", edited_at="2031-05-04T09:30:00Z",
                                revision="r1", fingerprint=fingerprint("scanner_charges_at_9v.csv")))


def changed(**values: Any) -> str:
    return json.dumps({**json.loads(GOOD_LINE), **values})


@pytest.mark.parametrize("line", [
    "x", "{}", "[]", "null", GOOD_LINE[:-5], GOOD_LINE + "}", '{"format": "pdcheck-case"}', changed(version=2),
    changed(uuid="x"), changed(uuid=None), changed(created_at="yesterday"), changed(edited_at="2031-05-04T09:30:00"),
    changed(revision=""), changed(ancestors=[1]), changed(ancestors="x"), changed(status="gone"), changed(held="maybe"),
    changed(held_on="4 May"), changed(part="soul"), changed(device=None), changed(device=["x"]), changed(notes={}),
    changed(notes=[{"text": 1}]), changed(readings=[[]]), changed(fingerprint=[]), changed(fingerprint={"verdict": 1}),
    changed(notes=[{"text": "x", "at": "once", "id": "y"}]), changed(readings=[{"kind": "x", "at": "", "id": "y"}]),
    changed(created_at="0001-01-01T00:00:00+23:00"), changed(format="pdcheck-own-case"), "\ufffd", '{"a": NaN}',
    "[" * 5000,
])
def test_a_broken_line_is_named_and_nothing_is_taken_in(tmp_path: Path, line: str) -> None:
    path = book_at(tmp_path / "b.db", case())
    source = tmp_path / "in.jsonl"
    source.write_text(f"{GOOD_LINE}\n\n{line}\n{GOOD_LINE}\n", encoding="utf-8")
    result = run("import", source, book=path)
    assert result.exit_code == 2
    assert "in.jsonl, line 3: " in result.stderr and "nothing was imported" in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert len(everything(path)) == 1


def test_all_broken_lines_are_named() -> None:
    with pytest.raises(CasebookError, match=r"line 2: .*; also broken: lines 4, 5; nothing"):
        read_lines([GOOD_LINE, "x", GOOD_LINE, "y", "z"], "in.jsonl")
    with pytest.raises(CasebookError, match="lines 2, 3, 4, 5, 6 and 14 more"):
        read_lines(["x"] * 20, "in.jsonl")


@pytest.mark.parametrize("seed", range(20))
def test_half_an_export(tmp_path: Path, seed: int) -> None:
    whole = (GOOD_LINE + "\n").encode()
    source = tmp_path / "in.jsonl"
    source.write_bytes(whole + whole[: random.Random(seed).randrange(1, len(whole) - 1)])
    result = run("import", source, book=tmp_path / "b.db")
    assert result.exit_code == 2
    assert "line 2" in result.stderr
    assert not (tmp_path / "b.db").exists()


def test_other_line_ends_a_mark_at_the_start_and_standard_input(tmp_path: Path) -> None:
    raw = ("\ufeff" + GOOD_LINE + "\r\n\r\n").encode()
    (tmp_path / "in.jsonl").write_bytes(raw)
    assert run("import", tmp_path / "in.jsonl", book=tmp_path / "a.db").exit_code == 0
    assert run("import", "-", book=tmp_path / "b.db", input=raw).exit_code == 0
    assert run("import", "-", book=tmp_path / "b.db", input=b"").stdout.startswith("nothing imported")


def test_a_case_from_a_clock_that_was_very_wrong(tmp_path: Path) -> None:
    end = "9999-12-31T23:59:59.999Z"
    (tmp_path / "in.jsonl").write_text(
        changed(edited_at=end, notes=[{"text": "x", "at": end, "id": "y"}]), encoding="utf-8")
    assert run("import", tmp_path / "in.jsonl", book=tmp_path / "b.db").exit_code == 0
    assert run("edit", "1", "--note", "z", book=tmp_path / "b.db").exit_code == 0
    assert len(everything(tmp_path / "b.db")[0].notes) == 2


def test_an_import_that_cannot_be_found(tmp_path: Path) -> None:
    for source in (tmp_path / "none.jsonl", tmp_path, "a\0b"):
        result = run("import", source, book=tmp_path / "b.db")
        assert result.exit_code == 2
        assert len(result.stderr.splitlines()) == 1


def test_an_export_does_not_write_over_anything(tmp_path: Path) -> None:
    path = book_at(tmp_path / "b.db", case())
    before = path.read_bytes()
    for out in (path, tmp_path, tmp_path / "no folder" / "x"):
        result = run("export", "-o", out, book=path)
        assert result.exit_code == 2
        assert len(result.stderr.splitlines()) == 1
    assert path.read_bytes() == before
    assert run("export", "9", book=path).exit_code == 2
