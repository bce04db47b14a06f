"""Captures that do not show everything, where the worst thing a checker can do is to name the wrong party.

Each starts from a healthy or a faulty conversation and takes something away: its beginning or end, the analyzer's
speed, single packets that the probe did not get (while the ports heard them), or all that one side drives. What may
be said is wide; that a port which did nothing wrong is accused is never right.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace

from tests.reference.cases import RATE_SETS, Case, Way, make_case
from tests.reference.faulty_talks import FAULTY, Expect
from tests.reference.healthy_talks import HEALTHY
from tests.reference.second_encoder import LineManners
from tests.reference.talk import Talk
from tests.reference.wave_files import Capture

PARTIES = ("source", "sink", "cable")
# Stories whose beginning alone already looks like a fault, or that are cut already.
_NO_BASE = frozenset({"sink_boots", "hard_reset_then_good", "starts_in_an_offer"})
_FAULTS = tuple(row for row, (_, expect) in FAULTY.items() if set(expect.suspects) & set(PARTIES))


def _window(case: Case, talk: Talk, rng: random.Random, *, start: bool, end: bool) -> Capture:
    first, last = talk.packets[0].start_s - 2e-3, talk.packets[-1].end_s + 2e-3
    begin = rng.uniform(first, last) if start else 0.0
    stop = rng.uniform(max(begin, first), last) if end else case.capture.cc.end_s
    case.variant += f" from {begin:.6f} to {stop:.6f}"
    return Capture(case.capture.cc.window(begin, max(stop, begin + 1e-3)).shifted(-begin))


def _starts(case: Case, talk: Talk, rng: random.Random) -> Capture:
    return _window(case, talk, rng, start=True, end=False)


def _ends(case: Case, talk: Talk, rng: random.Random) -> Capture:
    return _window(case, talk, rng, start=False, end=True)


def _both(case: Case, talk: Talk, rng: random.Random) -> Capture:
    return _window(case, talk, rng, start=True, end=True)


def _coarse(case: Case, talk: Talk, rng: random.Random) -> Capture:
    rate = rng.choice((0.6e6, 0.8e6, 1e6, 1.25e6, 1.5e6, 2e6, 2.5e6))
    case.variant += f" at {rate / 1e6:g} MS/s"
    return Capture(case.capture.cc.sampled(rate))


def _render(case: Case, talk: Talk) -> Capture:
    manners = LineManners(idle=case.way.idle, skew_s=case.way.skew_s, jitter_s=case.way.jitter_s)
    return Capture(talk.capture(manners, before=case.way.strays).cc)


def _misses(case: Case, talk: Talk, rng: random.Random) -> Capture:
    share = rng.choice((0.0, 0.0, 0.1, 0.3))
    places = set(rng.sample(range(len(talk.packets)), min(len(talk.packets), rng.randint(1, 3))))
    places |= {n for n in range(len(talk.packets)) if rng.random() < share}
    spoiled = []
    for place, packet in enumerate(talk.packets):
        if place not in places:
            spoiled.append(packet)
        elif rng.random() < 0.7:
            bits = rng.sample(range(64, packet.bit_count), rng.randint(1, 8))
            spoiled.append(replace(packet, flaws=replace(packet.flaws, flip_bits=tuple(bits))))
        elif rng.random() < 0.5:
            spoiled.append(replace(packet, flaws=replace(packet.flaws, cut_bits=rng.randint(30, 120))))
    case.variant += f" without {sorted(places)} of {len(talk.packets)}"
    talk.packets = spoiled
    return _render(case, talk)


def _one_side(case: Case, talk: Talk, rng: random.Random) -> Capture:
    side = rng.choice(("source", "sink"))
    case.variant += f" only {side} seen"
    talk.packets = [packet for packet in talk.packets if packet.sender in (side, "cable")]
    return _render(case, talk)


Loss = Callable[[Case, Talk, random.Random], Capture]
LOSSES: dict[str, Loss] = {
    "starts": _starts,
    "ends": _ends,
    "both": _both,
    "coarse": _coarse,
    "misses": _misses,
    "one_side": _one_side,
}
DOUBTFUL = tuple(f"{base}_{loss}" for base in ("healthy", "faulty") for loss in LOSSES)


def doubtful_case(row: str, seed: int) -> Case:
    """A case of a row of `DOUBTFUL`; write it as edges or vcd."""
    rng = random.Random(f"{row}/{seed}")
    base, loss = row.split("_", 1)
    way = Way(
        idle=rng.randint(0, 1),
        rates=rng.choice(RATE_SETS),
        skew_s=rng.uniform(-0.3e-6, 0.3e-6),
        jitter_s=rng.uniform(0.0, 40e-9),
        strays=rng.choice(("", "", "toggles")),
    )
    if base == "healthy":
        names = sorted(set(HEALTHY) - _NO_BASE) if loss != "coarse" else sorted(HEALTHY)
        case = make_case("healthy", seed, way, story=rng.choice(names))
        expect = Expect(("pass", "inconclusive"), not_suspects=PARTIES)
    else:
        fault = rng.choice(_FAULTS)
        case = make_case(fault, seed, way)
        innocent = tuple(party for party in PARTIES if party not in case.expect.suspects)
        expect = Expect(("pass", "inconclusive", "fail"), not_suspects=innocent)
        case.variant = f"{fault} {case.variant}"
    talk = case.talk
    assert talk is not None
    case.capture = LOSSES[loss](case, talk, rng)
    return replace(case, row=row, expect=expect, talk=None, needs_vbus=False)
