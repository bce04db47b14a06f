"""Verdicts on thousands of conversations as packets: odd healthy ones, cut, lost and mended ones, and odd faults.

The conversations come from ``tests/reference``, which packs every word by its own arithmetic and shares no code with
the checker.
"""

from __future__ import annotations

import random

import pytest

from tests.conversation.odd_faults import ODD_FAULTS
from tests.conversation.odd_talks import ODD, ODD_R3X
from tests.conversation.told import (
    FAULTY,
    HEALTHY,
    PASS,
    acknowledged_places,
    cut,
    faulty,
    healthy,
    judged,
    late,
    mended,
    mismatch,
    moments,
    talk_of,
    told,
    verdict_on,
    without,
)

#: In these one side really fails for a while before all goes well; cut before that, the accusation is true.
FAILS_AT_FIRST = {"hard_reset_then_good", "sink_boots", "starts_in_an_offer"}


@pytest.mark.parametrize("name", sorted(ODD))
def test_odd_but_healthy_passes_without_a_warning(name: str) -> None:
    for seed in range(12):
        rng = random.Random(f"{name}/{seed}")
        one = told(talk_of(ODD[name], rng, r3x=name in ODD_R3X), rng, with_vbus=seed % 3 != 0)
        assert mismatch(PASS, one) == "", one.lines()
        assert [f.rule for f in verdict_on(one).findings if f.severity != "info"] == []


@pytest.mark.parametrize("name", sorted(set(ODD_FAULTS) - {"not_ready_source_resets"}))
def test_odd_faults_are_named(name: str) -> None:
    story, expect = ODD_FAULTS[name]
    for seed in range(12):
        rng = random.Random(f"{name}/{seed}")
        one = told(talk_of(story, rng), rng, with_vbus=seed % 3 != 0)
        assert mismatch(expect, one) == "", one.lines()


def test_a_reset_before_its_time_accuses_the_source_or_nobody() -> None:
    story, _ = ODD_FAULTS["not_ready_source_resets"]
    for seed in range(30):
        rng = random.Random(f"early/{seed}")
        outcome, stopped, suspect = judged(told(talk_of(story, rng), rng))
        assert (outcome, stopped) == ("fail", "ready")
        assert suspect in ("source", None)


@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_a_healthy_conversation_cut_short_accuses_nobody(name: str) -> None:
    for seed in range(4):
        _, whole, rng = healthy(name, seed)
        for at in moments(whole, rng):
            one = cut(whole, min(at, whole.duration_s))
            outcome, _, suspect = judged(one)
            if name not in FAILS_AT_FIRST:
                assert outcome != "fail", one.lines()
            elif outcome == "fail":
                assert suspect != "cable"


@pytest.mark.parametrize("name", sorted(FAULTY))
def test_a_fault_cut_short_accuses_the_right_one_or_nobody(name: str) -> None:
    for seed in range(4):
        _, whole, rng, expect = faulty(name, seed)
        for at in moments(whole, rng):
            one = cut(whole, min(at, whole.duration_s))
            outcome, _, suspect = judged(one)
            if outcome == "fail":
                assert suspect in expect.suspects, one.lines()


@pytest.mark.parametrize("name", sorted(set(HEALTHY) - FAILS_AT_FIRST))
def test_a_healthy_conversation_captured_late_accuses_nobody(name: str) -> None:
    for seed in range(4):
        _, whole, rng = healthy(name, seed)
        for _ in range(12):
            one = late(whole, rng.uniform(0.0, whole.duration_s * 0.98))
            assert judged(one)[0] != "fail", one.lines()


@pytest.mark.parametrize("how", ["broken", "no start", "burst", "gone"])
@pytest.mark.parametrize("name", sorted(set(HEALTHY) - FAILS_AT_FIRST - {"lost_once"}))
def test_a_packet_that_the_capture_loses_accuses_nobody(name: str, how: str) -> None:
    _, whole, rng = healthy(name, 7)
    for place in range(len(whole.packets)):
        one = without(whole, place, how, rng)
        assert judged(one)[0] != "fail", one.lines()


@pytest.mark.parametrize("how", ["message", "ack", "no ack"])
@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_what_retries_mend_passes(name: str, how: str) -> None:
    for seed in (1, 2):
        _, whole, rng = healthy(name, seed)
        for place in acknowledged_places(whole):
            one = mended(whole, place, how, rng.randint(1, 2), rng)
            assert judged(one)[0] == "pass", one.lines()
