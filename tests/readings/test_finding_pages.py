"""Every finding that a report of readings names can be read up with ``pdcheck rules``."""

from __future__ import annotations

import pytest

from pdcheck.bench.finding_text import BY_COMMAND
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
