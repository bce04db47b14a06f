"""The families against the checker: no healthy conversation draws a warning, and no fault is blamed on the innocent.

Faults that the checker does not find yet stand in `MISSED`; of those only that nobody innocent is named. The
windows that the conversations are made with are held to the specification in `test_family_windows.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reference.families import FAULT_FAMILIES, HEALTHY_FAMILIES, draw, family_case
from tests.reference.fast import judge, partial, retried
from tests.reference.hunt import one_of_family

#: Faults that are passed over, or come out as less than they are; a row leaves this list when a rule finds it.
MISSED = frozenset({
    # Worth knowing, and no more: a capture that catches the line late shows the same.
    "sink_preamble_short", "source_preamble_short",
    # The same, where both ports begin with one data role: nobody knows whose chip was told the wrong one.
    "sink_says_it_is_the_host",
    # The charger, the cable, a contact or the load: nobody is named.
    "level_sags_while_they_talk",
    # Replugging looks the same.
    "vbus_returns_late",
    # Found where the meter is fast enough and the limit is exceeded by more than it can be wrong.
    "first_offer_late", "overshoot", "source_goodcrc_late", "vbus_falls_late",
})  # fmt: skip
FOUND = sorted(set(FAULT_FAMILIES) - MISSED)
HEALTHY = sorted(HEALTHY_FAMILIES)
PARTS = sorted({*HEALTHY, *FAULT_FAMILIES})


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_pass_without_a_warning(name: str) -> None:
    for seed in range(8):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@settings(max_examples=500, deadline=None, derandomize=True)
@given(name=st.sampled_from(HEALTHY), seed=st.integers(1 << 8, 1 << 31))
def test_any_healthy_conversation(name: str, seed: int) -> None:
    judged = judge(name, seed)
    assert judged.kind == "right", (judged.text, judged.one.lines())


@pytest.mark.long
@settings(max_examples=10_000, deadline=None)
@given(name=st.sampled_from(HEALTHY), seed=st.integers(1 << 31, 1 << 40))
def test_ten_thousand_healthy_conversations(name: str, seed: int) -> None:
    judged = judge(name, seed)
    assert judged.kind == "right", (judged.text, judged.one.lines())


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_mended_by_retries_pass(name: str) -> None:
    for seed in range(2):
        for one, wrong in retried(name, seed, 5):
            assert wrong == "", (seed, one.lines())


@pytest.mark.parametrize("name", FOUND)
def test_faults_are_found(name: str) -> None:
    for seed in range(6):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@pytest.mark.parametrize("name", sorted(MISSED))
def test_faults_are_not_blamed_on_the_innocent(name: str) -> None:
    for seed in range(6):
        judged = judge(name, seed)
        assert judged.kind != "accuses", (seed, judged.text, judged.one.lines())


@pytest.mark.parametrize("name", PARTS)
def test_a_part_of_a_conversation_accuses_nobody_innocent(name: str) -> None:
    for seed in range(2):
        for one, wrong in partial(name, seed, 8):
            assert wrong == "", (seed, one.lines())


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_as_files(name: str, tmp_path: Path) -> None:
    _, wrong, _ = one_of_family(name, 1, tmp_path, fast=False)
    assert wrong == ""


def test_the_same_seed_gives_the_same_conversation_and_waveform() -> None:
    one, two = draw("medley", 5), draw("medley", 5)
    assert [p.payload for p in one.world.packets] == [p.payload for p in two.world.packets]
    assert family_case(one)[0].capture.cc.changes == family_case(two)[0].capture.cc.changes


@pytest.mark.long
@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_at_length(name: str) -> None:
    for seed in range(8, 208):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@pytest.mark.long
@pytest.mark.parametrize("name", FOUND + sorted(MISSED))
def test_faults_at_length(name: str) -> None:
    for seed in range(8, 108):
        judged = judge(name, seed)
        assert judged.kind == "right" or (judged.kind == "misses" and name not in FOUND), (seed, judged.text)


@pytest.mark.long
@pytest.mark.parametrize("name", PARTS)
def test_parts_at_length(name: str) -> None:
    for seed in range(2, 22):
        for one, wrong in partial(name, seed):
            assert wrong == "", (seed, one.lines())


@pytest.mark.long
@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_as_files_at_length(name: str, tmp_path: Path) -> None:
    for seed in range(2, 22):
        _, wrong, _ = one_of_family(name, seed, tmp_path, fast=False)
        assert wrong == "", seed
