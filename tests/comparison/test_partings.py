"""Where a fault was put into a conversation, there the two part; and the move is that of whoever broke off."""

from __future__ import annotations

import pytest

from pdcheck.comparison import Alike, compare
from pdcheck.comparison.model import Doubt, Kind
from pdcheck.conversation.model import Party
from pdcheck.verdict import Outcome
from tests.comparison.sides import STRAIGHT, broken_talk, faulty_talk, healthy_talk, judged
from tests.conversation.told import cut, late, without
from tests.reference.faulty_talks import FAULTY

#: A message that was lost at first is there from its first whole try on: three retries later at most.
_RETRIES_S = 8e-3
_OTHER = {"source": "sink", "sink": "source"}
#: In these each message is told apart although some tries are made again.
_WITH_REPEATS = ("another_contract", "cable_first", "wait_in_contract", "pps_kept_alive", "soft_reset_first",
                 "sink_boots", "hard_reset_then_good", "chatter", "extended_power")


@pytest.mark.parametrize("how", ["silent", "deaf"])
@pytest.mark.parametrize("name", [*STRAIGHT, *_WITH_REPEATS])
def test_they_part_at_the_fault(name: str, how: str) -> None:
    for content in range(4):
        good, told_good = broken_talk(name, content, 1, -1, "")
        side = judged(told_good)
        for place, (start_s, sender, kind) in enumerate(good.starts):
            _, told_bad = broken_talk(name, content, 2, place, how)
            bad = judged(told_bad)
            found = compare(side, bad)
            words = f"{content} {place} {kind}: {found.first}"
            assert found.first is not None, words
            assert found.first.good_s is not None, words
            assert -1e-6 < found.first.good_s - start_s < _RETRIES_S, words
            assert found.first.whose == (sender if how == "silent" else _OTHER[sender]), words
            # Where the faulty capture carries no verdict (three offers, say) it is no proof.
            conclusive = bad.verdict.outcome is not Outcome.INCONCLUSIVE
            assert found.outcome is (Alike.PART if conclusive else Alike.CANNOT_TELL), words


@pytest.mark.parametrize("name", sorted(FAULTY))
def test_every_fault_parts_from_a_good_one(name: str) -> None:
    for seed in range(6):
        good, bad = judged(healthy_talk("plain", seed, 1)), judged(faulty_talk(name, seed, 2))
        found = compare(good, bad)
        if bad.verdict.outcome is Outcome.INCONCLUSIVE:
            assert found.outcome is Alike.CANNOT_TELL
            assert any("The bad capture carries no verdict" in line for line in found.not_compared)
        else:
            assert found.outcome is Alike.PART
            assert compare(bad, good).swapped
            assert any("swapped" in note for note in compare(bad, good).notes)


def test_one_try_against_many_is_the_same_try() -> None:
    one, many = judged(faulty_talk("offers_unacknowledged", 0, 1)), judged(faulty_talk("offers_unacknowledged", 3, 1))
    assert len(one.conversation.exchanges) != len(many.conversation.exchanges)
    found = compare(one, many)
    assert found.rows[0].kind is Kind.SAME
    assert found.rows[0].good is not None
    assert found.rows[0].bad is not None
    assert found.rows[0].good.times != found.rows[0].bad.times


def test_a_capture_that_ends_early_is_no_parting_but_no_proof() -> None:
    whole = healthy_talk("plain", 3, 1)
    side = judged(whole)
    for packet in whole.packets:
        short = judged(cut(whole, packet.end_s + 0.2e-3))
        found = compare(side, short)
        assert found.outcome is not Alike.PART, found.first
        assert all(p.doubt is not Doubt.NONE for p in found.partings)
    assert compare(side, judged(cut(whole, whole.packets[-1].end_s + 1e-3))).outcome is Alike.ALIKE


def test_a_capture_that_begins_midway_is_compared_from_there_on() -> None:
    whole = healthy_talk("another_contract", 1, 1)
    side = judged(whole)
    # In the middle of the first contract's Accept: what comes before cannot be in the capture.
    starts = [p.start_s for p, name in zip(whole.packets, whole.names, strict=True) if name == "Accept"]
    short = judged(late(whole, starts[0] - 1e-4))
    found = compare(side, short)
    assert found.first is not None
    assert found.first.doubt is Doubt.MIDWAY
    assert found.first.whose is None
    assert {row.kind for row in found.rows} == {Kind.NOT_COMPARED, Kind.SAME}


def test_an_unreadable_packet_is_no_missing_move() -> None:
    import random

    whole = healthy_talk("plain", 4, 1)
    place = whole.names.index("Request")
    for how in ("broken", "burst", "no start"):
        gone = judged(without(whole, place, how, random.Random(1)))
        found = compare(judged(whole), gone)
        assert found.outcome is not Alike.PART
        assert found.first is None or found.first.doubt is Doubt.UNREADABLE


def test_both_ends_silent() -> None:
    from dataclasses import replace

    quiet = replace(healthy_talk("plain", 1, 1), packets=(), names=(), bursts=())
    found = compare(judged(quiet), judged(quiet))
    assert found.outcome is Alike.CANNOT_TELL
    assert found.rows == ()
    assert found.first is None
    assert len(found.not_compared) >= 2
    half = compare(judged(healthy_talk("plain", 1, 1)), judged(quiet))
    assert half.outcome is Alike.CANNOT_TELL
    assert half.first is not None
    assert half.first.doubt is Doubt.NOTHING


def test_the_cable_is_told_from_the_ports() -> None:
    found = compare(judged(healthy_talk("plain", 5, 1)), judged(healthy_talk("cable_first", 5, 1)))
    assert found.first is not None
    assert found.first.bad_s is not None
    row = found.rows[found.first.row]
    assert row.bad is not None
    assert row.bad.by is Party.SOURCE
    assert "cable" in found.first.headline or "Cable" in found.first.headline
