"""Captures that end too early or begin too late: nobody may be accused of what the capture does not show.

Cut at every packet's end, inside it, and from microseconds to a second after it.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.rules import Who
from pdcheck.verdict import Outcome, StepState
from tests.conversation.told import (
    FAULTY,
    GOOD,
    SLOW_STARTERS,
    STEADY,
    Told,
    cut,
    faulty,
    good,
    judged,
    late,
    moments,
    verdict_on,
)

SEEDS = range(3)
#: Rows whose beginning is a good contract.
BEGIN_WELL = ("pps_not_renewed", "not_delivered")


@pytest.mark.parametrize("name", GOOD)
def test_a_healthy_conversation_cut_short(name: str) -> None:
    allowed = SLOW_STARTERS.get(name, ())
    for seed in SEEDS:
        _, one, rng = good(name, seed)
        if name == "unplugged_at_the_end":
            one = replace(one, vbus=None)
        for at in moments(one, rng):
            part = cut(one, min(at, one.duration_s))
            outcome, _, suspect = judged(part)
            assert outcome != "fail" or suspect in allowed, f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("name", GOOD)
def test_what_was_cut_off_is_not_called_missing(name: str) -> None:
    for seed in SEEDS:
        _, one, rng = good(name, seed)
        for at in moments(one, rng):
            verdict = verdict_on(cut(one, min(at, one.duration_s)))
            if verdict.outcome is Outcome.INCONCLUSIVE and verdict.suspect is Who.CAPTURE:
                assert StepState.NOT_REACHED not in {s.state for s in verdict.steps}, verdict.summary


@pytest.mark.parametrize("name", FAULTY)
def test_a_fault_cut_short_names_the_right_party_or_nobody(name: str) -> None:
    for seed in SEEDS:
        _, one, rng, expect = faulty(name, seed)
        for at in moments(one, rng):
            part = cut(one, min(at, one.duration_s))
            outcome, _, suspect = judged(part)
            if outcome == "fail":
                assert suspect in expect.suspects, f"{seed} {verdict_on(part).summary}\n{part.lines()}"
            assert outcome != "pass" or name in BEGIN_WELL, f"{seed} {part.lines()}"


@pytest.mark.parametrize("name", GOOD)
def test_a_healthy_conversation_captured_too_late(name: str) -> None:
    allowed = SLOW_STARTERS.get(name, ())
    for seed in SEEDS:
        _, one, rng = good(name, seed)
        if name == "unplugged_at_the_end":
            one = replace(one, vbus=None)
        for at in moments(one, rng):
            part = late(one, min(at, one.duration_s - 1e-3))
            outcome, _, suspect = judged(part)
            assert outcome != "fail" or suspect in allowed, f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.parametrize("name", FAULTY)
def test_a_fault_captured_too_late_names_the_right_party_or_nobody(name: str) -> None:
    for seed in SEEDS:
        _, one, rng, expect = faulty(name, seed)
        for at in moments(one, rng):
            part = late(one, min(at, one.duration_s - 1e-3))
            outcome, _, suspect = judged(part)
            if outcome == "fail":
                assert suspect in expect.suspects, f"{seed} {verdict_on(part).summary}\n{part.lines()}"


def test_broken_packets_after_the_offer_are_no_corrupt_offers() -> None:
    for seed in range(60):
        _, one, rng = good("lost_once", seed)
        for at in moments(one, rng):
            part = late(one, min(at, one.duration_s - 1e-3))
            part = cut(part, rng.uniform(0.0, part.duration_s))
            assert judged(part)[0] != "fail", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


def test_a_starting_device_has_four_offers_time() -> None:
    for seed in range(20):
        _, one, _ = good("sink_boots", seed)
        offers = [p for p, name in zip(one.packets, one.names, strict=True) if name == "Source_Capabilities"]
        tries = [p for n, p in enumerate(offers) if n == 0 or p.start_s - offers[n - 1].end_s > 50e-3]
        if len(tries) > 3:
            part = cut(one, tries[3].start_s - 1e-3)
            assert judged(part)[0] == "inconclusive", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


def test_a_second_round_under_way_is_waited_for() -> None:
    for seed in range(60):
        _, one, _ = good("hard_reset_then_good", seed)
        resets = [p for p, name in zip(one.packets, one.names, strict=True) if name == "Hard Reset"]
        places = [n for n, name in enumerate(one.names) if name == "Source_Capabilities"]
        again = [n for n in places if one.packets[n].start_s > resets[-1].end_s]
        # The acknowledgement of the new offer has just ended; the Request is not due yet.
        part = cut(one, one.packets[again[0] + 1].end_s + 1e-3)
        assert judged(part)[0] == "inconclusive", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


def test_waits_alone_are_no_refusal() -> None:
    for seed in range(20):
        _, one, _ = good("many_waits", seed)
        last = max(n for n, name in enumerate(one.names) if name == "Wait")
        assert judged(cut(one, one.packets[last + 1].end_s + 50e-3))[0] == "inconclusive", one.lines()


def pulled(one: Told, at_s: float, rng: random.Random) -> Told:
    """The plug is pulled at that moment: no packet comes any more, VBUS falls, the capture goes on."""
    part = cut(one, at_s)
    vbus = None
    if one.vbus is not None:
        times, volts = [t for t, _ in one.vbus], [v for _, v in one.vbus]
        level = float(np.interp(at_s, times, volts))
        kept = [(t, v) for t, v in one.vbus if t < at_s]
        vbus = (*kept, (at_s, level), (at_s + rng.uniform(5e-3, 0.1), 0.0))
    return replace(part, duration_s=at_s + rng.uniform(0.7, 3.0), vbus=vbus)


@pytest.mark.parametrize("with_vbus", [False, True], ids=["CC alone", "VBUS falls"])
def test_a_plug_pulled_in_the_middle_accuses_nobody(with_vbus: bool) -> None:
    for name in ("plain", "cable_first", "odd_objects"):
        for seed in range(8):
            _, one, rng = good(name, seed * 3 + with_vbus)
            for packet in one.packets:
                part = pulled(one, packet.end_s + rng.uniform(0.0, 50e-3), rng)
                assert judged(part)[0] != "fail", f"{seed} {verdict_on(part).summary}\n{part.lines()}"


@pytest.mark.long
@pytest.mark.parametrize("name", [*STEADY, *FAULTY])
def test_many_cuts(name: str) -> None:
    for seed in range(1000, 1020):
        if name in FAULTY:
            _, one, rng, expect = faulty(name, seed)
            allowed: tuple[str | None, ...] = expect.suspects
        else:
            _, one, rng = good(name, seed)
            one, allowed = replace(one, vbus=None), ()
        for at in moments(one, rng):
            for part in (cut(one, min(at, one.duration_s)), late(one, min(at, one.duration_s - 1e-3))):
                outcome, _, suspect = judged(part)
                assert outcome != "fail" or suspect in allowed, f"{seed} {verdict_on(part).summary}\n{part.lines()}"
