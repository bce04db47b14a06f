"""Packets that a capture lacks without a trace: the numbers of the messages around them tell, and nobody is accused.

A MessageID counts each message of a port to one receiver, from 0 to 7 and again (USB PD, section 6.7.1, from memory;
`tests/reference/second_encoder.py` counts by it on its own).
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from pdcheck.conversation.follow import follow_packets
from pdcheck.conversation.message_ids import left_out, neighbours
from pdcheck.verdict import Outcome
from tests.conversation.told import Told, acknowledged_places, healthy, judged, told, verdict_on
from tests.reference.families import HEALTHY_FAMILIES, draw
from tests.reference.fast import accusations, as_told
from tests.reference.healthy_talks import HEALTHY
from tests.rules.scenes import chatter, talk_at_9v

#: Rows whose ports count oddly, swap roles or talk to cables, so that a missing number need not show.
_COUNTS_ANEW = ("swap", "turned", "reset", "plugged", "role", "medley", "cable")


def lacking(whole: Told, place: int) -> Told:
    """The conversation without a message and its GoodCRC."""
    gone = {place, place + 1}
    return replace(
        whole, packets=tuple(p for n, p in enumerate(whole.packets) if n not in gone),
        names=tuple(name for n, name in enumerate(whole.names) if n not in gone),
    )


def chatting(times: int = 3) -> Told:
    """A contract for 9 V, and small talk under it."""
    talk = talk_at_9v()
    for _ in range(times):
        talk.now += 0.2
        chatter(talk)
    return told(talk, talk.rng)


def lost_in(one: Told) -> tuple[tuple[float, float], ...]:
    """What the numbers say is missing."""
    return left_out(neighbours(follow_packets(one.packets, one.bursts, one.duration_s), ()))


def test_nothing_is_missing_in_what_was_captured_whole() -> None:
    for name in HEALTHY:
        for seed in range(4):
            assert lost_in(healthy(name, seed)[1]) == (), name


def test_a_missing_number_says_between_what() -> None:
    whole = chatting()
    place = whole.names.index("Get_Sink_Cap")
    (lost,) = lost_in(lacking(whole, place))
    assert lost[0] < whole.packets[place].start_s < lost[1]
    sender_before = max(n for n in range(place) if whole.names[n] == "PS_RDY")
    assert lost == (pytest.approx(whole.packets[sender_before + 1].end_s, abs=1e-4),
                    whole.packets[place + 4].start_s)  # fmt: skip


def test_a_port_that_leaves_out_every_second_number_counts_in_its_own_way() -> None:
    whole = chatting(12)
    odd = []
    for packet in whole.packets:
        head = int.from_bytes(packet.data[:2], "little")
        doubled = head & ~0xE00 | ((head >> 9) * 2 & 7) << 9
        odd.append(packet._replace(data=doubled.to_bytes(2, "little") + packet.data[2:]))
    assert lost_in(replace(whole, packets=tuple(odd))) == ()


@pytest.mark.parametrize("name", [n for n in sorted(HEALTHY_FAMILIES) if not any(w in n for w in _COUNTS_ANEW)])
def test_nobody_is_convicted_for_what_the_numbers_say_is_missing(name: str) -> None:
    for seed in range(2):
        drawn = draw(name, seed)
        whole = as_told(drawn)
        rng = random.Random(f"{name}/{seed}")
        known = set(accusations(drawn, whole))
        places = [n for n in acknowledged_places(whole) if _speaks_again(whole, n)]
        for place in rng.sample(places, min(6, len(places))):
            one = lacking(whole, place)
            fails = [text for text in accusations(drawn, one) if text.startswith("fail at") and text not in known]
            assert not fails, f"{seed} {whole.names[place]} at {place}: {fails}\n{whole.lines()}"


def _speaks_again(whole: Told, place: int) -> bool:
    """Whether the sender of a message speaks again before anything resets the count."""
    one = whole.packets[place]
    for later, name in zip(whole.packets[place + 2 :], whole.names[place + 2 :], strict=True):
        if len(later.data) < 2 or later.sop is None or name in ("Soft_Reset", "Data_Reset"):
            return False
        if later.sop is one.sop and name != "GoodCRC" and later.data[1] & 1 == one.data[1] & 1:
            return True
    return False


@pytest.mark.parametrize("name", sorted(HEALTHY))
def test_a_good_conversation_that_lacks_a_message_convicts_nobody(name: str) -> None:
    for seed in range(6):
        _, whole, _ = healthy(name, seed)
        for place in acknowledged_places(whole):
            outcome, _, suspect = judged(lacking(whole, place))
            assert outcome != "fail", f"{seed} {whole.names[place]}: {suspect}\n{whole.lines()}"


def test_a_contract_made_after_a_reset_whose_offer_is_missing_is_said() -> None:
    """What went through is no stop, though nobody knows what was agreed."""
    _, whole, _ = healthy("hard_reset_then_good", 1)
    place = [n for n, name in enumerate(whole.names) if name == "Source_Capabilities"][-1]
    verdict = verdict_on(lacking(whole, place))
    assert verdict.outcome is Outcome.INCONCLUSIVE
    assert "went through" in verdict.summary and "its offer is not in the capture" in verdict.summary
    assert "message-id-not-reset" not in {f.rule for f in verdict.findings}


@pytest.mark.parametrize("name", ["full_table", "one_after_another", "wait_and_again"])
def test_a_hole_of_which_an_acknowledgement_is_left_convicts_nobody(name: str) -> None:
    """VBUS has moved before the PS_RDY of which only the GoodCRC is there."""
    for seed in range(6):
        drawn = draw(name, seed)
        whole = as_told(drawn)
        known = set(accusations(drawn, whole))
        for place in acknowledged_places(whole):
            if whole.names[place] != "PS_RDY" or place < 5:
                continue
            gone = set(range(place - 4, place + 1))
            left = replace(
                whole, packets=tuple(p for n, p in enumerate(whole.packets) if n not in gone),
                names=tuple(name for n, name in enumerate(whole.names) if n not in gone),
            )
            fails = [t for t in accusations(drawn, left) if t.startswith("fail at delivery") and t not in known]
            assert not fails, f"{seed} at {place}: {fails}\n{whole.lines()}"
