"""A move that was made and not heard is not said to be missing; the customer's page says which device it is about."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main
from pdcheck.conversation.model import Step
from pdcheck.report.as_text import headline, step_words
from pdcheck.rules import ALL_RULES
from tests.page.reports import demo
from tests.page.test_page import Markup

DEMO = Path(__file__).parents[2] / "captures" / "demo"
UNHEARD = DEMO / "charger_never_hears_request.csv"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(a) for a in args])


def test_a_device_that_asked_is_not_said_never_to_have_asked(tmp_path: Path) -> None:
    page = tmp_path / "a.html"
    text = run("decode", UNHEARD, "--html", page).stdout
    assert text.splitlines()[0] == "FAIL - stopped before: charger hears it (GoodCRC of Request)"
    assert "[NO ] charger hears it" in text
    assert "device asks" not in text
    assert "charger hears it" in Markup(page.read_text(encoding="utf-8")).text
    cover = tmp_path / "b.html"
    run("decode", UNHEARD, "--html", cover, "--for", "customer")
    words = Markup(cover.read_text(encoding="utf-8")).text
    assert "The charger hears what the device wants" in words


def test_one_that_did_not_ask_still_is() -> None:
    assert headline(demo("tablet_never_asks.csv").verdict) == "FAIL - stopped before: device asks (Request)"


@pytest.mark.parametrize(("rule", "step", "words"), [
    ("request-not-acknowledged", Step.REQUEST, ("charger hears it", "GoodCRC of Request")),
    ("accept-not-acknowledged", Step.ACCEPT, ("device hears it", "GoodCRC of Accept")),
    ("ps-rdy-not-acknowledged", Step.READY, ("device hears it", "GoodCRC of PS_RDY")),
])
def test_the_rules_of_unheard_moves(rule: str, step: Step, words: tuple[str, str]) -> None:
    assert rule in {one.id for one in ALL_RULES}
    assert step_words(step, rule) == words
    assert step_words(step, "no-request") != words
    assert step_words(Step.OFFER, rule)[0] == "charger offers"


def test_the_case_says_which_device_the_page_is_about(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PDCHECK_CASEBOOK", str(tmp_path / "book.db"))
    run("casebook", "add", "--device", "scanner Ø 14", "--symptom", "x", "--ticket", "T-1183", "--customer", "Łucja")
    page = tmp_path / "cover.html"
    good = DEMO / "scanner_charges_at_9v.csv"
    result = run("decode", good, "--quiet", "--html", page, "--for", "customer", "--case", "1", "--done", "Cleaned")
    words = Markup(page.read_text(encoding="utf-8")).text
    assert "scanner Ø 14" in words and "T-1183" in words
    assert "Łucja" not in words, "the page may be handed on; the name is the shop's"
    assert (result.exit_code, result.stderr) == (0, "")


def test_a_page_that_says_repaired_and_does_not_charge_is_pointed_out(tmp_path: Path) -> None:
    """The capture of before the repair was named: the customer would read that nothing is cured."""
    page = tmp_path / "cover.html"
    result = run("decode", UNHEARD, "--quiet", "--html", page, "--for", "customer", "--done", "New charger")
    assert result.exit_code == 1
    assert len(result.stderr.splitlines()) == 1
    assert "after the repair" in result.stderr
    assert page.exists()
    assert run("decode", UNHEARD, "--quiet", "--html", page, "--for", "customer").stderr == ""
