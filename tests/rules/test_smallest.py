"""Every rule has a smallest conversation that breaks it and a near miss on the right side of its limit."""

from __future__ import annotations

import pytest

from pdcheck.rules import Severity
from tests.conversation.told import verdict_on
from tests.rules.smallest import NOBODY, Row, tell
from tests.rules.smallest import ROWS as TALK_ROWS
from tests.rules.step_rows import ROWS as STEP_ROWS

ROWS = (*STEP_ROWS, *TALK_ROWS)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_breaking_it_fires_it_and_names_the_party(row: Row) -> None:
    verdict = verdict_on(tell(row, row.bad))
    fired = [f for f in verdict.findings if f.rule == row.rule]
    assert fired, [f"{f.rule}: {f.summary}" for f in verdict.findings]
    named = {NOBODY if f.who is None else f.who.value for f in fired}
    assert named == {row.who}
    others = [f for f in verdict.findings if f.severity is Severity.FAIL and f.rule != row.rule and f.who is not None]
    assert [f.summary for f in others if f.who is not None and f.who.value != row.who] == []


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_the_near_miss_does_not(row: Row) -> None:
    verdict = verdict_on(tell(row, row.good))
    assert [f.summary for f in verdict.findings if f.rule == row.rule] == []
