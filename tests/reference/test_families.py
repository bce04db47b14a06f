"""The families against the checker: no healthy conversation draws a warning, and no fault is blamed on the innocent.

Faults that the checker does not find yet stand in `MISSED`; of those only that nobody innocent is named. The
windows that the conversations are made with are held to the specification in `test_family_windows.py`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.reference.families import FAULT_FAMILIES, HEALTHY_FAMILIES, draw, family_case
from tests.reference.fast import judge, partial, retried
from tests.reference.hunt import one_of_family

#: Faults that are passed over, or come out as less than they are; a row leaves this list when a rule finds it.
MISSED = frozenset({
    "accept_after_the_reset", "accept_out_of_the_blue", "chunk_is_the_wrong_one", "chunk_never_asked_for",
    "chunk_never_comes", "data_reset_never_complete",
    "epr_copy_differs", "epr_entry_not_answered", "epr_never_succeeds", "epr_on_an_spr_cable",
    "epr_without_the_flag", "first_offer_late", "leaves_epr_at_28v",
    "level_sags_while_they_talk", "new_offer_not_answered", "new_source_never_on", "no_offer_after_reset",
    "not_offered_accepted", "offers_too_slow", "old_source_never_off", "old_source_never_off_then_well",
    "operating_above_maximum", "overshoot", "pps_forgotten_by_both", "ready_never_at_the_second_level",
    "ready_out_of_the_blue", "second_request_not_answered", "sink_counts_on_through_a_soft_reset",
    "sink_goodcrc_says_source", "sink_preamble_short", "sink_says_it_is_the_host",
    "source_counts_on_through_a_soft_reset", "source_does_not_wait_for_the_gap", "source_goes_back_to_r3x",
    "source_goodcrc_late", "source_goodcrc_says_sink", "source_goodcrc_too_late", "source_preamble_short",
    "spr_offer_in_epr", "spr_request_in_epr", "vbus_falls_late",
    "vbus_returns_late",
})  # fmt: skip
#: Faults that are blamed on the other side: an Accept that the device had to ignore looks like a device that gives up
#: early, and messages with the wrong power role are counted with those of the other port.
ACCUSED = frozenset({"accept_with_an_old_id", "sink_says_it_is_the_source", "source_says_it_is_the_sink"})
#: Healthy rows in which somebody is warned: Not_Supported after tChunkingNotSupported, the MessageIDs after a PR_Swap,
#: answers within tVDMEnterMode and tVDMExitMode, and data roles that start anew when the plug is put in again.
ALARMED = frozenset({"chunks_not_understood", "medley", "modes_of_the_partner"})
#: The plug pulled right after the offer was acknowledged, and the capture ended while VBUS still stood; a capture that
#: begins in EPR mode.
ACCUSED_IN_PART = frozenset({"epr_soft_reset", "pulled_at_any_moment"})
FOUND = sorted(set(FAULT_FAMILIES) - MISSED - ACCUSED)
HEALTHY = sorted(set(HEALTHY_FAMILIES) - ALARMED)
PARTS = sorted({*HEALTHY, *FAULT_FAMILIES} - ACCUSED)


@pytest.mark.parametrize("name", HEALTHY)
def test_healthy_families_pass_without_a_warning(name: str) -> None:
    for seed in range(8):
        judged = judge(name, seed)
        assert judged.kind == "right", (seed, judged.text, judged.one.lines())


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
@pytest.mark.parametrize("name", sorted(set(PARTS) - ACCUSED_IN_PART))
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
