"""A poor capture accuses nobody: each family once, by ways that a hole's end is not among (see `worsened.py`)."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.reference.families import FAMILIES
from tests.reference.worsened import WAYS, accusation, captured, worsened

SEED = 7


@pytest.mark.parametrize("name", sorted(FAMILIES))
def test_a_worse_capture_convicts_no_innocent_party(name: str, tmp_path: Path) -> None:
    drawn, capture = captured(name, SEED, tmp_path)
    rng = random.Random(name)
    known = accusation(drawn, capture)
    for way in rng.sample(sorted(WAYS.keys() - {"holes"}), 2):
        text = accusation(drawn, worsened(capture, way, rng))
        assert not text.startswith("fail at") or text == known, f"{drawn.variant} {way}: {text}"
