"""A comparison ends in something to do, and says it with its first lines."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pdcheck.cli import main

DEMO = Path(__file__).parents[2] / "captures" / "demo"
GOOD, BAD = "handheld_after_repair.csv", "handheld_before_repair.csv"
ALL = sorted(p.name for p in DEMO.iterdir() if p.suffix != ".talk" and p.name != "index.csv")


def run(*arguments: str) -> str:
    named = [str(DEMO / a) if (DEMO / a).is_file() else a for a in arguments]
    result = CliRunner().invoke(main, named)
    assert result.exit_code in (0, 1, 3), result.output
    return result.stdout


def steps(*pair: str) -> list[str]:
    found: list[str] = json.loads(run("compare", "--json", *pair))["next"]
    return found


@pytest.mark.parametrize("bad", ALL)
def test_every_pair_says_first_what_to_do(bad: str) -> None:
    found = steps(GOOD, bad)
    assert 1 <= len(found) <= 5 and len(set(found)) == len(found)
    text = run("compare", GOOD, bad)
    head = " ".join(text.split("\n\n")[0].split())
    assert f"First: {found[0]}" in head
    words = " ".join(text.split())
    for number, step in enumerate(found, 1):
        assert f"{number}. {step}" in words


def test_what_the_failing_one_needs_is_what_its_own_report_says() -> None:
    assert steps(GOOD, BAD) == json.loads(run("decode", "--json", BAD))["next"][:5]


def test_a_swapped_order_is_to_be_turned_first() -> None:
    found = steps(BAD, GOOD)
    assert found[0].startswith("Name the good capture first")
    assert found[1:] == json.loads(run("decode", "--json", BAD))["next"][:4]


def test_the_one_without_a_verdict_is_to_be_captured_again() -> None:
    assert steps(GOOD, "nothing_on_the_line.csv")[0].startswith("The bad one: Start the capture first")
    assert steps("nothing_on_the_line.csv", GOOD)[0].startswith("The good one: Start the capture first")
    both = steps("nothing_on_the_line.csv", "sampled_too_slowly.csv")
    assert both[0].startswith("The good one: Start the capture first")
    assert both[1].startswith("The bad one: Capture at 4 MS/s or more")


def test_one_recording_twice_asks_for_another() -> None:
    assert steps(GOOD, GOOD) == ["Name two captures: one of the good unit, one of the bad one."]


def test_a_good_one_that_fails_is_to_be_replaced() -> None:
    assert steps("tablet_never_asks.csv", BAD)[0].startswith("Take as the good one a capture that passes")


def test_other_offers_ask_for_the_same_charger() -> None:
    found = steps("scanner_charges_at_9v.csv", "tablet_plug_label_up.csv")
    assert found[0] == "Capture both units with the same charger and cable, and compare again."


def test_the_page_says_it_as_well(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    run("compare", GOOD, BAD, "--quiet", "--html", str(page))
    assert f"<span>First:</span> {steps(GOOD, BAD)[0]}" in page.read_text(encoding="utf-8")


def test_a_flip_test_says_first_what_to_do() -> None:
    text = run("decode", "tablet_plug_label_up.csv", "tablet_plug_label_down.csv", "--pair", "flipped")
    assert "First: Capture each way once more" in text.split("\n\n")[0]
