"""What a source offers and what a sink asks of it, drawn at random but by the rules.

Order of objects (vSafe5V first, fixed ones rising, then battery, variable, programmable, adjustable) is from
memory of the specification.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

from tests.reference import words


@dataclass(frozen=True)
class Offer:
    """One object of the offer: its word and what may be asked of it (mA, or mW for a battery)."""

    kind: str
    word: int
    min_mv: int
    max_mv: int
    limit: int


@dataclass(frozen=True)
class Demand:
    """A Request word and what it settles, if accepted."""

    word: int
    position: int
    kind: str
    mv: int
    ma: int


def fixed_offer(mv: int, ma: int, flags: int = 0, peak: int = 0) -> Offer:
    """A fixed supply."""
    return Offer("fixed", words.fixed(mv, ma, flags=flags, peak=peak), mv, mv, ma)


def make_offer(
    rng: random.Random,
    revision: int,
    *,
    kinds: Sequence[str] = (),
    ceiling_ma: int = 3000,
    at_least: int = 1,
) -> list[Offer]:
    """An offer of 1 to 7 objects; `kinds` are the ones beside fixed that must be in it."""
    flags = 0
    for bit in (words.DUAL_ROLE, words.SUSPEND, words.UNCONSTRAINED, words.SRC_USB_COMM, words.DUAL_DATA):
        flags |= bit * rng.randint(0, 1)
    if revision >= words.R3X:
        flags |= words.SRC_UNCHUNKED * rng.randint(0, 1)
    amps = [ma for ma in (500, 900, 1500, 2000, 2330, 2250, 2500, 3000) if ma <= ceiling_ma]
    offer = [fixed_offer(5000, rng.choice([ma for ma in amps if ma >= 900]), flags, rng.choice((0, 0, 0, 1)))]
    room = 7 - 1 - len(kinds)
    higher = sorted(rng.sample((9000, 12000, 15000, 20000), rng.randint(min(at_least - 1, 4), min(4, room))))
    for mv in higher:
        ma = rng.choice(amps)
        if mv == 20000 and ceiling_ma >= 5000 and rng.random() < 0.7:
            ma = rng.choice((3250, 4350, 4700, 5000))
        offer.append(fixed_offer(mv, ma))
    if "battery" in kinds:
        offer.append(Offer("battery", words.battery(9000, 12000, 27000), 9000, 12000, 27000))
    if "variable" in kinds:
        offer.append(Offer("variable", words.variable(7000, 11000, 2000), 7000, 11000, 2000))
    if "pps" in kinds:
        top, ma = rng.choice((5900, 11000, 16000, 21000)), rng.choice((1500, 2000, 3000))
        low = rng.choice((3300, 5000))
        offer.append(Offer("pps", words.pps(low, top, ma, limited=rng.randint(0, 1)), low, top, ma))
    if "avs" in kinds:
        offer.append(Offer("avs", words.spr_avs(3000, 2250), 9000, 15000, 3000))
    return offer


def request_flags(rng: random.Random, revision: int) -> int:
    """Flags that a sink may set without meaning trouble."""
    flags = words.USB_COMM * rng.randint(0, 1) | words.NO_SUSPEND * rng.randint(0, 1)
    return flags | (words.UNCHUNKED * rng.randint(0, 1) if revision >= words.R3X else 0)


def make_demand(
    rng: random.Random, revision: int, offer: Sequence[Offer], kind: str = "", position: int = 0, flags: int = 0
) -> Demand:
    """A Request the source must be able to meet: an offered object, no more than offered."""
    if position == 0:
        fitting = [n for n, one in enumerate(offer, 1) if not kind or one.kind == kind]
        position = rng.choice(fitting)
    one = offer[position - 1]
    flags |= request_flags(rng, revision)
    if one.kind == "pps":
        mv = 20 * rng.randint(-(-one.min_mv // 20), one.max_mv // 20)
        ma = 50 * rng.randint(10, one.limit // 50)
        return Demand(words.request_pps(position, mv, ma, flags=flags), position, "pps", mv, ma)
    if one.kind == "avs":
        mv, ma = 100 * rng.randint(90, 150), 50 * rng.randint(10, one.limit // 50)
        return Demand(words.request_avs(position, mv, ma, flags=flags), position, "avs", mv, ma)
    if one.kind == "battery":
        mw = 250 * rng.randint(20, one.limit // 250)
        word = words.request_battery(position, mw, max(mw, one.limit), flags=flags)
        mv = rng.randint(one.min_mv + 300, one.max_mv - 300)
        return Demand(word, position, "battery", mv, mw * 1000 // mv)
    most = 10 * rng.randint(10, one.limit // 10) if rng.random() < 0.5 else one.limit
    ma = 10 * rng.randint(5, most // 10)
    mv = one.min_mv if one.kind == "fixed" else rng.randint(one.min_mv + 300, one.max_mv - 300)
    return Demand(words.request_fixed(position, ma, most, flags=flags), position, one.kind, mv, ma)


def offer_words(offer: Sequence[Offer]) -> list[int]:
    """The data objects of the Source_Capabilities."""
    return [one.word for one in offer]
