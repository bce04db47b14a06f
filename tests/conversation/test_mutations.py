"""Packets that the capture loses, packets that the wire loses, packets that nobody sent.

What the wire loses the standard's retries mend, and the verdict stays pass. What the capture loses may at worst make
it inconclusive.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

import pytest

from pdcheck.line.model import Burst, Crc, Packet, Problem
from pdcheck.rules import Severity
from tests.conversation.told import (
    GOOD,
    PASS,
    SLOW_STARTERS,
    STEADY,
    Told,
    acknowledged_places,
    good,
    judged,
    mended,
    mismatch,
    verdict_on,
    without,
)

SEEDS = range(3)
HOWS = ("gone", "broken", "no start", "burst")
#: Conversations that are not about something else than negotiation, so that a lost packet hits it.
SHORT = ("plain", "cable_first", "captive_cable", "mismatch", "odd_objects", "lost_once", "sink_boots")


#: Stories in which a lost packet was once read wrongly are looked at longer.
MORE_SEEDS = {"power_roles_swapped", "fast_role_swap"}


@pytest.mark.parametrize("name", STEADY)
@pytest.mark.parametrize("how", HOWS)
def test_one_packet_missing_in_the_capture(name: str, how: str) -> None:
    for seed in range(10) if name in MORE_SEEDS else SEEDS:
        _, one, rng = good(name, seed)
        for place in range(len(one.packets)):
            part = without(one, place, how, rng)
            assert judged(part)[0] != "fail", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("how", HOWS)
def test_a_goodcrc_missing_before_the_last_is_made_up_for(how: str) -> None:
    """What follows proves that it was sent."""
    for name in SHORT[:5]:
        for seed in SEEDS:
            _, one, rng = good(name, seed)
            for place in acknowledged_places(one):
                if one.names[place] in ("Source_Capabilities", "Request", "Accept"):
                    part = without(one, place + 1, how, rng)
                    assert judged(part)[0] == "pass", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("name", GOOD)
def test_one_message_mended_on_the_wire(name: str) -> None:
    for seed in SEEDS:
        _, one, rng = good(name, seed)
        for place in acknowledged_places(one):
            for how in ("message", "ack", "no ack"):
                part = mended(one, place, how, rng.randint(1, 2), rng)
                assert mismatch(PASS, part) == "", f"{seed}\n{part.lines()}"
                assert all(f.severity is not Severity.FAIL for f in verdict_on(part).findings)


@pytest.mark.parametrize("name", GOOD)
def test_three_messages_mended_on_the_wire(name: str) -> None:
    for seed in range(10):
        _, one, rng = good(name, seed)
        places = acknowledged_places(one)
        for place in sorted(rng.sample(places, min(3, len(places))), reverse=True):
            one = mended(one, place, rng.choice(("message", "ack", "no ack")), rng.randint(1, 2), rng)
        assert mismatch(PASS, one) == "", f"{seed}\n{one.lines()}"


@pytest.mark.parametrize("name", GOOD)
def test_noise_between_packets(name: str) -> None:
    for seed in range(8):
        _, one, rng = good(name, seed)
        starts = sorted(rng.uniform(0.0, one.duration_s) for _ in range(5))
        noisy = replace(one, bursts=tuple(Burst(t, t + 0.6e-3, 200, True) for t in starts))
        assert mismatch(PASS, noisy) == "", f"{seed}\n{noisy.lines()}"


def by(one: Told, chosen: Callable[[int, Packet], bool], how: str) -> Told:
    """What a probe sees that loses or garbles the chosen packets (place and packet)."""
    packets, names = [], []
    for place, packet in enumerate(one.packets):
        hit = chosen(place, packet) and not (packet.sop is not None and packet.sop.is_reset)
        if hit and how == "gone":
            continue
        if hit and how == "broken":
            packet = packet._replace(crc=Crc.BAD, problem=Problem.BAD_CRC)
        elif hit:
            packet = packet._replace(sop=None, data=b"", crc=Crc.BAD, problem=Problem.NO_START)
        packets.append(packet)
        names.append(one.names[place])
    return replace(one, packets=tuple(packets), names=tuple(names))


def sent_by(one: Told, place: int, party: str) -> bool:
    """True for a packet of that port (of a story in which the power roles stay)."""
    data = one.packets[place].data
    return len(data) > 1 and (data[1] & 1 == 1) == (party == "source")


@pytest.mark.parametrize("party", ["source", "sink"])
@pytest.mark.parametrize("how", ["gone", "broken", "no start"])
def test_a_probe_that_hears_one_port_only(party: str, how: str) -> None:
    """A threshold above one transmitter's swing. The other port's answers show that it was heard."""
    for name in SHORT[:6]:
        for seed in range(12):
            _, one, _ = good(name, seed)
            part = by(one, lambda place, _, one=one: sent_by(one, place, party), how)  # type: ignore[misc]
            outcome, _, suspect = judged(part)
            assert outcome != "fail" or suspect == "link", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("how", ["gone", "broken", "no start"])
def test_a_probe_that_does_not_hear_the_sink_which_boots_or_waits(how: str) -> None:
    for name in ("sink_boots", "wait_without_contract", "many_waits"):
        for seed in range(12):
            _, one, _ = good(name, seed)
            part = by(one, lambda place, _, one=one: sent_by(one, place, "sink"), how)  # type: ignore[misc]
            assert judged(part)[2] not in ("source", "sink"), f"{verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("name", STEADY)
def test_a_capture_without_goodcrcs(name: str) -> None:
    """As some logs have it."""
    for seed in SEEDS:
        _, one, _ = good(name, seed)
        if one.packets and "unanswered" not in name:
            part = by(one, lambda place, _, one=one: one.names[place] == "GoodCRC", "gone")  # type: ignore[misc]
            assert judged(part)[0] != "fail", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


def poor_captures(rng: random.Random, names: tuple[str, ...], seeds: int) -> list[tuple[str, int, Told]]:
    """Healthy conversations of which the capture has lost two to five packets."""
    made = []
    for name in names:
        for seed in range(seeds):
            _, one, _ = good(name, seed)
            for _ in range(6):
                part = one
                for _ in range(rng.randint(2, 5)):
                    if len(part.packets) > 2:
                        part = without(part, rng.randrange(len(part.packets)), rng.choice(HOWS), rng)
                made.append((name, seed, part))
    return made


@pytest.mark.parametrize("rule", [
    "valid-request-rejected", "vbus-not-at-contract", "offer-not-acknowledged", "no-request",
])
def test_several_packets_missing_in_the_capture(rule: str) -> None:
    names = (*STEADY, "sink_boots")
    for name, seed, part in poor_captures(random.Random(rule), names, 6):
        verdict = verdict_on(part)
        broken = [f.rule for f in verdict.findings if f.severity is Severity.FAIL and f.rule == rule]
        assert not broken or verdict.outcome != "fail", f"{name} {seed} {verdict.summary}\n{part.lines()}"


@pytest.mark.parametrize("rule", ["accept-not-acknowledged", "goodcrc-wrong-message-id", "late-request",
                                  "given-up-early", "pps-not-renewed", "endless-wait", "offers-corrupt"])
def test_several_packets_missing_never_fire(rule: str) -> None:
    for name, seed, part in poor_captures(random.Random(rule), STEADY, 4):
        verdict = verdict_on(part)
        assert verdict.leading is None or verdict.outcome != "fail" or verdict.leading.rule != rule, (
            f"{name} {seed} {verdict.summary}\n{part.lines()}")


def test_who_is_a_slow_starter_is_a_story() -> None:
    assert set(SLOW_STARTERS) < set(GOOD)
