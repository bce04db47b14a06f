"""The casebook as a user meets it, and as somebody who has only its help."""

from __future__ import annotations

import json
import re
import shlex
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from pdcheck.casebook import Held, KeptCase, Note, Part, Query, Reading, Status, count_outcomes, rank
from pdcheck.casebook.as_text import case_text, list_text, matches_text, outcomes_text
from pdcheck.commands.casebook_options import PARTS
from tests.casebook.books import DEVICE, GOOD, NEVER_ASKS, book_at, case, everything, fingerprint, report, run

SUBCOMMANDS = ("add", "edit", "close", "list", "show", "remove", "find", "stats", "export", "import")


def commands_in(text: str) -> list[list[str]]:
    """The commands that a help shows, as the shell would split them; what stands in parentheses behind is no part."""
    joined = text.replace("\\\n", " ")
    found = re.findall(r"^ +(?:[a-z]+ +)?pdcheck (casebook [a-z]+ ?.*?)(?: +\(.*)?$", joined, re.MULTILINE)
    return [shlex.split(line)[1:] for line in found]


def test_the_help_names_every_part() -> None:
    assert tuple(PARTS) == tuple(part.value for part in Part)
    for name in ("add", "edit", "close"):
        assert all(part.value in run(name, "--help").stdout.split() for part in Part)


def test_a_case_from_intake_to_closed_by_the_help_alone(tmp_path: Path) -> None:
    """The five lines of the help are typed as they stand, with the file that is there and the number that was said."""
    book = tmp_path / "b.db"
    course = [c for c in commands_in(run("--help").stdout) if c[0] != "COMMAND"]
    assert [c[0] for c in course] == ["add", "find", "stats", "close", "edit"]
    number = ""
    for command in course:
        typed = [{"CAPTURE.csv": str(NEVER_ASKS), "MODEL": DEVICE, "WORDS": "5 V only", "7": number}.get(w, w)
                 for w in command]
        result = run(*typed, book=book)
        assert result.exit_code == 0, (typed, result.stderr)
        said = re.match(r"case (\d+) kept", result.stdout)
        number = said[1] if said else number
    (one,) = everything(book)
    assert (one.status, one.held, one.part, one.done) == (Status.CLOSED, Held.YES, Part.CC_PATH, "WHAT")
    assert one.fingerprint == fingerprint(NEVER_ASKS.name)


@pytest.mark.parametrize("name", SUBCOMMANDS)
def test_every_example_of_every_help_works(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copy(NEVER_ASKS, "tablet.csv")
    help_text = run(name, "--help").stdout
    assert max(map(len, help_text.splitlines())) <= 80
    examples = [c for c in commands_in(help_text) if c[0] == name]
    assert examples
    book = book_at(tmp_path / "b.db", *(case(fingerprint=fingerprint(NEVER_ASKS.name)) for _ in range(7)))
    if name == "import":
        run("export", "-o", "cases.jsonl", book=book)
    for command in examples:
        result = run(*command, book=book)
        assert result.exit_code == 0, (command, result.stderr)
        assert result.stderr == ""


def test_what_the_program_says_to_type_next_works(tmp_path: Path) -> None:
    book = tmp_path / "b.db"
    result = run("add", GOOD, "--symptom", "x", book=book)
    (following,) = commands_in(result.stdout.replace("Cases like it: ", "  "))
    assert run(*following, book=book).exit_code == 0
    for done in ("open", "closed, no part", "closed, not known"):
        shown = run("show", "1", book=book).stdout
        (following,) = commands_in(" ".join(shown.split("Next: ")[1].split()).split(",")[0].join(["  ", ""]))
        typed = ["battery" if w == "PART" else w for w in following if w not in ("or",)]
        if done == "open":
            typed = ["close", "1"]
        assert run(*typed, book=book).exit_code == 0, typed
    assert "Next" not in run("show", "1", book=book).stdout


@pytest.mark.parametrize(("arguments", "words"), [
    (["add"], "casebook add CAPTURE.csv"), (["edit", "1"], "edit 1 --note TEXT"),
    (["edit", "9", "--note", "x"], "casebook list"), (["show", "x"], "casebook list"), (["find"], "find --like 7"),
    (["find", "tablte.csv"], "no such file"), (["stats", "gone.json", "x"], "no such file"),
    (["close", "1", "--part", "chip"], "'negotiating-chip'"), (["find", "--current-ma", "30", "dead"], "a capture"),
    (["add", "--current-ma", "99999999999999999999"], "--current-ma"), (["close"], "see pdcheck casebook close --help"),
    (["add", "--symptoms"], "see pdcheck casebook add --help"), (["nonsense"], "see pdcheck casebook --help"),
    (["edit", "1", "--held-on", "2031-05-04"], "--held yes"), (["close", "1", "--held", "yes", "--held-on", "today"],
                                                              "2031-05-04"),
    (["edit", "1", "--held", "unknown", "--held-on", "2031-05-04"], "leave --held-on out"),
    (["add", "no such capture.csv"], "no such file"), (["add", "--reading", str(GOOD)], "measure --json"),
    (["import", "gone.jsonl"], "no such file"), (["export", "9"], "casebook list"),
    (["export", "out.jsonl"], "export -o out.jsonl"),
])
def test_an_error_is_one_line_that_says_what_to_type(tmp_path: Path, arguments: list[str], words: str) -> None:
    book = book_at(tmp_path / "b.db", case())
    before = book.read_bytes()
    result = run(*arguments, book=book)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert words in result.stderr, result.stderr
    assert book.read_bytes() == before


ODD = "a\x1b[31mb\x07\r\n\u202e\u2028\t\x00c\u009b2J"


def test_whatever_a_field_holds_is_shown_harmlessly_in_80_columns(tmp_path: Path) -> None:
    long = "wordy " * 60 + "x" * 200
    book = book_at(tmp_path / "b.db", *(
        KeptCase(device=text, symptom=text, done=text, customer=text, ticket=text, capture_path=text, part=Part.CABLE,
                 notes=(Note(text), Note(text, private=True)), readings=(Reading(text, {text: [text]}),), held=Held.YES,
                 fingerprint=fingerprint(NEVER_ASKS.name)) for text in (ODD, long)))
    for command in (["list"], ["show", "1"], ["show", "2"], ["find", str(NEVER_ASKS), "wordy"], ["find", "--like", "1"],
                    ["stats"], ["stats", "--like", "1"], ["edit", "1", "--note", ODD]):
        text = run(*command, book=book).stdout
        assert all(c.isprintable() for line in text.split("\n") for c in line), command
        if command == ["list"]:
            assert len(text.split("\n")) == 4, "a row a case, whole: the output is no terminal"
            text = list_text(everything(book), 80)
        assert max(map(len, text.split("\n"))) <= 80, command
    for command in (["show", ODD], ["find", ODD + ".csv"], ["import", ODD], ["add", "--held-on", ODD]):
        text = run(*command, book=book).stderr
        assert len(text.splitlines()) == 1
        assert all(c.isprintable() for c in text.rstrip("\n"))


@pytest.mark.parametrize("columns", [40, 67, 68, 100])
def test_other_widths(columns: int) -> None:
    seen = fingerprint(NEVER_ASKS.name)
    cases = [case(number=n, fingerprint=seen, done="new chip", part=part, held=Held.YES) for n, part in enumerate(Part)]
    texts = [
        list_text(cases, columns), matches_text(rank(Query(seen, words="deck"), cases), columns, 3),
        outcomes_text(count_outcomes(cases), columns, like=True), *(case_text(one, columns) for one in cases),
    ]
    assert max(len(line) for text in texts for line in text.split("\n")) <= columns
    assert all(one.part is not None and one.part.value in texts[0] for one in cases)


def test_what_is_said_fits_80_columns(tmp_path: Path) -> None:
    book = tmp_path / "b.db"
    said = ""
    for command in (["--help"], ["add", GOOD], ["add", GOOD], ["edit", "1", "--note", "x"], ["close", "1"],
                    ["close", "2", "--part", "cable"], ["export", "-o", "x.jsonl"], ["import", "x.jsonl"]):
        with pytest.MonkeyPatch.context() as patch:
            patch.chdir(tmp_path)
            said += run(*command, book=book).stdout
    assert "The same capture is in case 1 already" in said
    assert "No part is named" in said and "When it is known" in said
    assert max(map(len, said.splitlines())) <= 80, max(said.splitlines(), key=len)


def test_a_case_without_a_capture_and_one_with_everything(tmp_path: Path) -> None:
    book, saved, readings = tmp_path / "b.db", tmp_path / "r.json", tmp_path / "m.json"
    saved.write_text(report(NEVER_ASKS.name), encoding="utf-8")
    readings.write_text('{"format": "pdcheck-measure", "cc1_v": 0.41}', encoding="utf-8")
    assert run("add", "--symptom", "dead", "--current-ma", "30", book=book).exit_code == 0
    assert run("add", saved, "--current-ma", "30", "--reading", readings, "--reading", readings, "--customer", "pier 2",
               "--private-note", "hm", book=book).exit_code == 0
    assert run("add", readings, book=book).exit_code == 0
    assert run("edit", "1", "--capture", GOOD, book=book).exit_code == 0
    first, second, third = everything(book)
    assert [r.kind for r in first.readings] == ["input-current"]
    assert first.fingerprint == fingerprint(GOOD.name)
    assert second.fingerprint is not None and second.fingerprint.current_ma == 30
    assert [r.kind for r in second.readings] == ["measure", "measure"]
    assert second.notes[0].private
    assert (third.fingerprint, [r.kind for r in third.readings]) == (None, ["measure"])
    assert run("edit", "2", "--current-ma", "900", "--customer", "", "--reopen", book=book).exit_code == 0
    again = everything(book)[1]
    assert again.fingerprint is not None and again.fingerprint.current_ma == 900
    assert (again.customer, again.status) == ("", Status.OPEN)


def test_json(tmp_path: Path) -> None:
    book = book_at(tmp_path / "b.db", case(fingerprint=fingerprint(NEVER_ASKS.name), customer="pier 2"),
                   case(part=Part.CABLE, held=Held.YES, status=Status.CLOSED))
    listed = json.loads(run("list", "--json", book=book).stdout)
    assert [c["number"] for c in listed] == [2, 1]
    assert [c["number"] for c in json.loads(run("list", "--open", "--json", book=book).stdout)] == [1]
    shown = json.loads(run("show", "1", "--json", book=book).stdout)
    assert (shown["format"], shown["version"], shown["customer"]) == ("pdcheck-own-case", 1, "pier 2")
    assert shown["fingerprint"]["stopped_at"] == "request"
    found = json.loads(run("find", NEVER_ASKS, "deck", "--json", book=book).stdout)["matches"]
    assert found[0]["case"]["number"] == 1
    assert found[0]["likeness"] == 1.0
    assert {"respect", "weight", "degree", "words"} == set(found[0]["respects"][0])
    counted = json.loads(run("stats", "--json", book=book).stdout)
    assert counted["parts"] == [{"part": "cable", "count": 1, "low": 0.2065, "high": 1.0}]
    assert (counted["held"], counted["no_part_named"], counted["looked_at"]) == (1, 1, 2)


def test_the_current_on_the_meter_tells_good_negotiations_apart(tmp_path: Path) -> None:
    """Both negotiate 9 V; the one draws 30 mA, the other charges."""
    seen = fingerprint(GOOD.name)
    book = book_at(tmp_path / "b.db", *(case(symptom=str(ma), fingerprint=replace(seen, current_ma=ma))
                                        for ma in (25, 1500)))
    for ma, number in ((35, 1), (1800, 2)):
        first, second = json.loads(run("find", GOOD, "--current-ma", str(ma), "--json", book=book).stdout)["matches"]
        assert (first["case"]["number"], first["likeness"]) == (number, 1.0)
        assert second["likeness"] < 0.8


def test_options_before_and_behind_and_the_variable(tmp_path: Path) -> None:
    for i, arguments in enumerate((["--file", tmp_path / "0.db", "add"], ["add", "--file", tmp_path / "1.db"])):
        assert run(*arguments, "--device", "x", book=tmp_path / "other.db").exit_code == 0
        assert len(everything(tmp_path / f"{i}.db")) == 1
    assert not (tmp_path / "other.db").exists()


def test_a_report_on_standard_input(tmp_path: Path) -> None:
    book = tmp_path / "b.db"
    assert run("add", "-", book=book, input=report(NEVER_ASKS.name)).exit_code == 0
    assert everything(book)[0].fingerprint == fingerprint(NEVER_ASKS.name)
    assert run("find", "-", book=book, input=report(NEVER_ASKS.name)).stdout.startswith(" 100 %  case 1")


def test_listing_starts_fast_because_it_reads_no_captures() -> None:
    import subprocess
    import sys

    from tests.casebook.books import ROOT, environment

    code = ("import sys; from pdcheck.casebook import Casebook, rank; import pdcheck.casebook.as_text; "
            "print([m for m in ('numpy', 'construct', 'pdcheck.capture') if m in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, env=environment(),
                          check=True)
    assert done.stdout.strip() == "[]"
