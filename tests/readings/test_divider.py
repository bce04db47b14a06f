"""Every pair of terminations over every pull-up at every corner: the state is right, or it is said to lie between."""

from __future__ import annotations

import itertools
from collections import Counter
from decimal import Decimal as D

import pytest

from pdcheck.bench.attach import Attach, State, attach_of
from pdcheck.bench.readings import Advertisement, Meter, Side, Volts
from tests.readings.second_table import RA, RD, SINK, PullUp, pull_ups

EXACT = Meter()
OPEN: tuple[D | None, ...] = (None,)
#: USB Type-C R2.x, the table of connection states as a source sees them: CC1, CC2, state (from memory).
PAIRS = {
    "open/open": (OPEN, OPEN, State.NOTHING, None),
    "Rd/open": (RD, OPEN, State.SINK, "cc1"),
    "open/Rd": (OPEN, RD, State.SINK, "cc2"),
    "Ra/open": (RA, OPEN, State.CABLE, None),
    "open/Ra": (OPEN, RA, State.CABLE, None),
    "Rd/Ra": (RD, RA, State.CABLE_SINK, "cc1"),
    "Ra/Rd": (RA, RD, State.CABLE_SINK, "cc2"),
    "Rd/Rd": (RD, RD, State.DEBUG, None),
    "Ra/Ra": (RA, RA, State.AUDIO, None),
}


def read(pull_up: PullUp, ohms: D | None) -> float:
    """As a meter of four digits shows it."""
    return float(round(pull_up.level(ohms), 3))


def check(found: Attach | None, wanted: State, orientation: str | None, advertisement: str, told: bool) -> str:
    """``"named"`` or ``"between"``; an AssertionError where something else was named."""
    assert found is not None
    if found.state is State.BETWEEN:
        assert wanted in found.between, found
        assert len(found.between) > 1
        return "between"
    assert found.state is wanted, found
    assert found.orientation == orientation
    if told:
        assert advertisement in {a.value for a in found.advertisements}, found
    return "named"


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("side", [None, Side.CHARGER])
@pytest.mark.parametrize("known", [False, True], ids=["advertisement not known", "advertisement known"])
def test_seen_from_the_charger(pair: str, side: Side | None, known: bool) -> None:
    first, second, wanted, orientation = PAIRS[pair]
    told = Counter[str]()
    for one in pull_ups():
        for a, b in itertools.product(first, second):
            found = attach_of(
                Volts(read(one, a), read(one, b)), EXACT, side=side,
                advertises=Advertisement(one.advertisement) if known else None,
            )
            told[check(found, wanted, orientation, one.advertisement, "Rd" in pair)] += 1
    assert told["named"] > 0
    if known and side is Side.CHARGER:
        assert told["between"] == 0, "with the advertisement known the source's table tells all of them"


@pytest.mark.parametrize("turned", [False, True])
def test_seen_from_the_device(turned: bool) -> None:
    """Rp over Rd on the one contact, nothing on the other; the sink's table tells the advertisement or its edge."""
    for one in pull_ups():
        for ohm in RD:
            level = read(one, ohm)
            volts = Volts(0.0, level) if turned else Volts(level, 0.0)
            for side in (Side.DEVICE, None):
                found = attach_of(volts, EXACT, side=side)
                told = check(found, State.SOURCE, "cc2" if turned else "cc1", one.advertisement, True)
                assert found is not None
                if told == "between":
                    assert level > float(SINK[-1][2]), "only above all bands the pull-down is not certain"
                    continue
                bands = [name for name, low, high in SINK if float(low) <= level <= float(high)]
                if bands:
                    assert [a.value for a in found.advertisements] == bands


def test_a_pull_up_without_pull_down_at_the_device() -> None:
    for one in pull_ups():
        found = attach_of(Volts(read(one, None), 0.0), EXACT, side=Side.DEVICE)
        assert found is not None and (found.state, found.orientation) == (State.NO_PULL_DOWN, "cc1")
        found = attach_of(Volts(read(one, None), read(one, None)), EXACT, side=Side.DEVICE)
        assert found is not None and found.state is State.PULLS_UP


def test_ra_where_a_device_should_have_rd() -> None:
    """1 kohm at 3.0 A reads like Default USB power or like less; with the advertisement known that is no match."""
    for one in (p for p in pull_ups() if p.advertisement == "3.0 A"):
        for ohm in RA:
            found = attach_of(Volts(read(one, ohm), 0.0), EXACT, side=Side.DEVICE)
            assert found is not None
            assert Advertisement.A3_0 not in found.advertisements


def test_a_current_source_from_a_low_supply_is_named_as_possible() -> None:
    """1.7 V is the lowest supply of a current source (ST UM2191 rev 2 Table 2) and lies in the band of Rd at 3.0 A."""
    found = attach_of(Volts(1.7, 1.7), EXACT, side=Side.CHARGER)
    assert found is not None
    assert found.state is State.DEBUG
    assert State.NOTHING in [state for state, _ in found.also]
