"""Packets come through poor captures: the table of ``poor_captures``, with fewer packets."""

from __future__ import annotations

import pytest

from tests.line.poor_captures import ROWS, Row, measure

COUNT = 100
@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_packets_come_through(row: Row, idle: int) -> None:
    share, made_up = measure(row, COUNT, seed=5, idle=idle)
    assert made_up == 0
    # A share measured on few packets may fall short of the true one by two standard deviations.
    slack = 2 * (row.goal * (1 - row.goal) / COUNT) ** 0.5
    assert share >= row.goal - slack
