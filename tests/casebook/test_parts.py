"""The parts that a case may be blamed on and the blocks of the charging path are the same things."""

from __future__ import annotations

from pdcheck.casebook import Part
from pdcheck.triage import Block


def test_every_block_of_the_path_can_be_blamed() -> None:
    assert {part.value.replace("-", "_") for part in Part} == {block.value for block in Block} | {"other"}
