"""Every rule has its whole documented entry, and the notes are printed from it."""

from __future__ import annotations

from pathlib import Path

import pytest

from pdcheck.report.notes import pages
from pdcheck.report.rule_text import rule_page, rules_list
from pdcheck.rules import ALL_RULES, Rule, Severity

NOTES = Path(__file__).parents[2] / "spec_notes"


def test_ids_are_unique_and_listed() -> None:
    ids = [r.id for r in ALL_RULES]
    assert len(ids) == len(set(ids))
    listed = [line.split()[1] for line in rules_list().splitlines() if not line.startswith(" ")]
    assert max(len(line) for line in rules_list().splitlines()) <= 80
    assert listed == ids


@pytest.mark.parametrize("rule", ALL_RULES, ids=lambda r: r.id)
def test_an_entry_is_whole(rule: Rule) -> None:
    for text in (rule.title, rule.checks, rule.why, rule.reference):
        assert len(text) > 8
    if rule.severity is Severity.FAIL:
        assert rule.next, "whoever reads of a fault wants to know what to measure"
    page = rule_page(rule)
    assert max(len(line) for line in page.splitlines()) <= 80
    for head in ("What it checks", "Why it stops charging", "Where the specification says so"):
        assert head in page


@pytest.mark.parametrize("name", sorted(pages()))
def test_the_notes_are_printed_from_the_program(name: str) -> None:
    assert (NOTES / name).read_text(encoding="utf-8") == pages()[name], "python -m pdcheck.report.notes spec_notes"
