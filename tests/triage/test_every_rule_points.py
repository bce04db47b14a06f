"""Every rule that can decide a verdict points at blocks that could explain it."""

from __future__ import annotations

import pytest

from pdcheck.rules import ALL_RULES, Severity
from pdcheck.triage.from_capture import points_at
from pdcheck.triage.model import Block

DECIDING = sorted(r.id for r in ALL_RULES if r.severity is Severity.FAIL)


@pytest.mark.parametrize("rule", DECIDING)
def test_a_fault_of_the_current_drawn_does_not_point_at_who_negotiates(rule: str) -> None:
    blocks = points_at(rule, None)
    if "draw" in rule:
        assert blocks is not None and Block.CHIP not in blocks
    if rule.startswith("vbus"):
        assert blocks is None or Block.CHIP not in blocks


def test_what_points_at_blocks_is_a_rule() -> None:
    from pdcheck.triage.from_capture import RULES_THAT_POINT

    assert set(RULES_THAT_POINT) <= {r.id for r in ALL_RULES}
