"""A few of the random conversations of ``tests/page/fuzz.py``; many of them with ``-m long``."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.page.fuzz import EVERY, drawn


@pytest.mark.parametrize("row", EVERY[::5])
def test_every_kind_of_conversation_is_drawn(row: str, tmp_path: Path) -> None:
    drawn(row, 11, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000, 1400))
def test_many_conversations_are_drawn(seed: int, tmp_path: Path) -> None:
    drawn(EVERY[seed % len(EVERY)], seed, tmp_path)
