"""Triage of the told conversations, healthy and faulty, whole and cut: never more than the verdict carries.

The conversations come from ``tests/reference``, which packs every word by its own arithmetic.
"""

from __future__ import annotations

import pytest

from pdcheck.conversation.follow import follow_packets
from pdcheck.rules import Case
from pdcheck.triage import Block, BlockState, Triage, capture_evidence, triage
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.told import FAULTY, HEALTHY, Told, cut, faulty, healthy, reading_of

DEVICE_TALK = {Block.CHIP, Block.CHIP_SUPPLY}
#: A reset before its time, and a contract that is lost, are laid at nobody's door; both sides stay pointed at.
BOTH_SIDES = {"given-up-early", "contract-lost"}


def triaged(one: Told) -> tuple[Verdict, Triage]:
    case = Case.of(reading_of(one), follow_packets(one.packets, one.bursts, one.duration_s))
    verdict = judge_case(case)
    return verdict, triage(capture_evidence(case, verdict))


def hold(one: Told) -> tuple[Verdict, Triage]:
    """What holds of every capture."""
    verdict, found = triaged(one)
    outcome = verdict.outcome.value
    suspects = set(found.of(BlockState.SUSPECT))
    assert found.of(BlockState.DISPUTED) == (), "one capture does not contradict itself"
    if outcome != "fail":
        assert suspects == set(), "only a verdict points at a block"
    else:
        assert verdict.leading is not None
        assert suspects, verdict.leading.rule
        if verdict.leading.rule not in BOTH_SIDES:
            if verdict.suspect == "sink":
                assert Block.CHARGER not in suspects and suspects & DEVICE_TALK
            elif verdict.suspect == "source":
                assert Block.CHARGER in suspects and not suspects & DEVICE_TALK
    # Nothing is convicted: a block is alone under suspicion only where the other side of the cable is at fault.
    if len(suspects) == 1:
        assert suspects == {Block.CHARGER}
    return verdict, found


@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_healthy(name: str) -> None:
    for seed in range(6):
        _, one, rng = healthy(name, seed)
        verdict, found = hold(one)
        if verdict.outcome.value == "pass":
            assert {Block.PORT, Block.CC_PATH, Block.CHIP, Block.CHIP_SUPPLY} <= set(found.of(BlockState.CLEARED))
        for _ in range(4):
            hold(cut(one, rng.uniform(0, one.duration_s)))


@pytest.mark.parametrize("name", sorted(FAULTY))
def test_faulty(name: str) -> None:
    for seed in range(6):
        _, one, rng, _ = faulty(name, seed)
        hold(one)
        for _ in range(4):
            hold(cut(one, rng.uniform(0, one.duration_s)))
