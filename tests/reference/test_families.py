"""The families against the checker: no healthy conversation draws a warning, and no fault is blamed on the innocent.

Faults that the checker is known to find stand in `FOUND`; of all others only that nobody innocent is named. The
windows that the conversations are made with are held to the specification in `test_family_windows.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.reference.families import FAULT_FAMILIES, HEALTHY_FAMILIES, draw, family_case
from tests.reference.fast import judge, partial, retried
from tests.reference.hunt import one_of_family

#: Verdict, step, party and finding come out right for these, whatever the seed.
FOUND = (
    "accept_is_another_message", "accept_not_acknowledged", "asks_something_else_first", "device_never_wakes",
    "ends_after_one_offer", "ends_after_the_accept", "ends_after_the_request", "everything_is_broken",
    "goodcrc_for_a_broken_request", "goodcrc_on_another_sop", "hardly_draws", "level_too_high", "level_too_low",
    "new_offer_never_answered", "no_offer_at_all", "offers_heard_by_nobody_with_a_cable", "position_0_rejected",
    "position_of_epr_rejected", "pps_above_its_current_rejected", "pps_above_its_range_rejected", "pps_forgotten",
    "ready_not_acknowledged", "request_with_an_old_id", "second_request_never_answered", "sink_goodcrc_too_late",
    "sink_resets_every_contract", "sink_too_fast_or_slow", "source_resets_every_contract", "source_too_fast_or_slow",
    "vbus_does_not_return", "waits_for_ever",
)  # fmt: skip
#: An Accept that the device had to ignore looks like a device that gives up early.
ACCUSED = frozenset({"accept_with_an_old_id"})
#: The plug pulled right after the offer was acknowledged, and the capture ended while VBUS still stood.
ACCUSED_IN_PART = frozenset({"pulled_at_any_moment"})


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_healthy_families_pass_without_a_warning(name: str) -> None:
    for seed in range(10):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_healthy_families_mended_by_retries_pass(name: str) -> None:
    for seed in range(2):
        for one, wrong in retried(name, seed, 5):
            assert wrong == "", (seed, one.lines())


@pytest.mark.parametrize("name", FOUND)
def test_faults_are_found(name: str) -> None:
    for seed in range(8):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@pytest.mark.parametrize("name", sorted(set(FAULT_FAMILIES) - set(FOUND) - ACCUSED))
def test_faults_are_not_blamed_on_the_innocent(name: str) -> None:
    for seed in range(8):
        judged = judge(name, seed)
        assert judged.kind != "accuses", (seed, judged.text, judged.one.lines())


@pytest.mark.parametrize("name", sorted({*HEALTHY_FAMILIES, *FAULT_FAMILIES} - ACCUSED))
def test_a_part_of_a_conversation_accuses_nobody_innocent(name: str) -> None:
    for seed in range(2):
        for one, wrong in partial(name, seed, 8):
            assert wrong == "", (seed, one.lines())


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_healthy_families_as_files(name: str, tmp_path: Path) -> None:
    _, wrong, _ = one_of_family(name, 1, tmp_path, fast=False)
    assert wrong == ""


def test_the_same_seed_gives_the_same_conversation_and_waveform() -> None:
    one, two = draw("medley", 5), draw("medley", 5)
    assert [p.payload for p in one.world.packets] == [p.payload for p in two.world.packets]
    assert family_case(one)[0].capture.cc.changes == family_case(two)[0].capture.cc.changes


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_healthy_families_at_length(name: str) -> None:
    for seed in range(10, 210):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(set(FAULT_FAMILIES) - ACCUSED))
def test_faults_at_length(name: str) -> None:
    for seed in range(8, 108):
        judged = judge(name, seed)
        assert judged.kind == "right" or (judged.kind == "misses" and name not in FOUND), (seed, judged.text)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted({*HEALTHY_FAMILIES, *FAULT_FAMILIES} - ACCUSED - ACCUSED_IN_PART))
def test_parts_at_length(name: str) -> None:
    for seed in range(2, 22):
        for one, wrong in partial(name, seed):
            assert wrong == "", (seed, one.lines())


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_healthy_families_as_files_at_length(name: str, tmp_path: Path) -> None:
    for seed in range(2, 22):
        _, wrong, _ = one_of_family(name, seed, tmp_path, fast=False)
        assert wrong == "", seed
