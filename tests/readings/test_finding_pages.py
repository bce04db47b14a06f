"""Every finding that a report of readings names can be read up with ``pdcheck rules``."""

from __future__ import annotations

import pytest

from pdcheck.bench.finding_text import BY_COMMAND, finding_page, findings_list
from pdcheck.report.notes import pages
from pdcheck.report.rule_text import rule_page, rules_list
from pdcheck.rules import ALL_RULES
from tests.readings.tool import run

IDS = sorted({entry.id for found in BY_COMMAND.values() for entry in found})


def test_they_are_listed_once_for_each_command() -> None:
    text = run("rules").stdout
    assert max(len(line) for line in text.splitlines()) <= 80
    for command, found in BY_COMMAND.items():
        part = text.split(f"\nFrom readings (pdcheck {command})\n")[1].split("\n\n")[0]
        listed = [line.split()[1] for line in part.splitlines() if not line.startswith(" ")]
        assert listed == list(dict.fromkeys(entry.id for entry in found))


@pytest.mark.parametrize("name", IDS)
def test_one_is_explained(name: str) -> None:
    text = run("rules", name).stdout
    assert text.startswith(f"{name} (")
    assert "from readings: pdcheck " in text
    assert max(len(line) for line in text.splitlines()) <= 80


def test_an_id_of_a_capture_and_of_readings_shows_both() -> None:
    text = run("rules", "vbus-not-at-contract").stdout
    assert "What it checks" in text and "What it means" in text


def test_an_id_is_found_as_people_type_it() -> None:
    assert run("rules", "[Draws-Too-Little]").stdout == run("rules", "draws-too-little").stdout
    wrong = run("rules", "no-requst")
    assert wrong.exit_code == 2
    assert wrong.stderr == (
        "pdcheck: there is no rule 'no-requst'; did you mean no-request? pdcheck rules lists them all\n"
    )


def test_every_finding_stands_on_a_page_of_the_notes() -> None:
    text = pages()["findings.md"]
    for name in IDS:
        assert f"\n### {name}\n" in text
    assert "(findings.md)" in pages()["README.md"]


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_list_and_pages_fit_the_terminal(columns: int) -> None:
    texts = [rules_list(width=columns), findings_list(columns)]
    texts += [finding_page(name, columns) or "" for name in IDS]
    texts += [rule_page(rule, columns) for rule in ALL_RULES]
    assert max(len(line) for text in texts for line in text.splitlines()) <= columns
