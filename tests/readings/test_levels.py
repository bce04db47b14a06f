"""Every edge of the tables of CC levels: on it, and a millivolt to either side."""

from __future__ import annotations

import json
import math
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdcheck.bench.levels import (
    Level,
    Seen,
    Term,
    bounds_ohm,
    implied_ohm,
    range_v,
    sink_band,
    sink_sees,
    sink_threshold,
    source_terms,
)
from pdcheck.bench.ohm_rules import Pull, cable_pull_up, pull_of
from pdcheck.bench.readings import Advertisement, Meter
from tests.readings.second_table import A1_5, A3_0, DEFAULT, RA, RD, SINK, SOURCE, pull_ups
from tests.readings.tool import measure

EXACT = Meter()
MV = D("0.001")


def seen(volts: D) -> list[str]:
    return [s.value for s in sink_sees(Level.of(float(volts), EXACT))]


def taken(volts: D, advertisement: str) -> list[str]:
    return [t.value for t in source_terms(Level.of(float(volts), EXACT), Advertisement(advertisement))]


@pytest.mark.parametrize(("name", "low", "high"), SINK[1:], ids=[row[0] for row in SINK[1:]])
def test_a_sink_reads_its_band_to_the_edge(name: str, low: D, high: D) -> None:
    names = [row[0] for row in SINK] + [Seen.OVER.value]
    at = names.index(name)
    assert seen(low) == seen(high) == seen((low + high) / 2) == [name]
    assert seen(low - MV) == [names[at - 1], name]
    assert seen(high + MV) == [name, names[at + 1]]


def test_below_vra_a_sink_sees_no_pull_up() -> None:
    assert seen(D("0")) == seen(D("0.15")) == ["no pull-up"]
    assert seen(D("0.151")) == ["no pull-up", DEFAULT]


@pytest.mark.parametrize("advertisement", SOURCE)
def test_a_source_takes_each_band_to_the_edge(advertisement: str) -> None:
    ra, rd_from, rd_to, opened = SOURCE[advertisement]
    assert taken(ra, advertisement) == ["Ra"]
    assert taken(ra + MV, advertisement) == taken(rd_from - MV, advertisement) == ["Ra", "Rd"]
    assert taken(rd_from, advertisement) == taken(rd_to, advertisement) == ["Rd"]
    assert taken(rd_to + MV, advertisement) == taken(opened - MV, advertisement) == ["Rd", "open"]
    assert taken(opened, advertisement) == taken(D("5.5"), advertisement) == ["open"]


def test_lower_than_any_ra_is_said_to_be_that() -> None:
    for advertisement in SOURCE:
        lowest = min(p.level(ohm) for p in pull_ups() if p.advertisement == advertisement for ohm in RA)
        assert taken(lowest, advertisement) == ["Ra"]
        assert taken(lowest * D("0.89"), advertisement) == [Term.LOW.value]


@pytest.mark.parametrize("advertisement", SOURCE)
def test_the_range_over_a_pull_down_is_ohms_law(advertisement: str) -> None:
    ours = [p for p in pull_ups() if p.advertisement == advertisement]
    for name, ohms in (("Ra", RA), ("Rd (default power only)", RD)):
        levels = [p.level(ohm) for p in ours for ohm in ohms]
        low, high = range_v(Advertisement(advertisement), bounds_ohm(name))
        assert low == pytest.approx(float(min(levels)), abs=1e-9)
        assert high == pytest.approx(float(max(levels)), abs=1e-9)


@pytest.mark.parametrize("advertisement", SOURCE)
def test_a_level_implies_the_pull_down_that_made_it(advertisement: str) -> None:
    for one in (p for p in pull_ups() if p.advertisement == advertisement):
        for ohm in (*RA, *RD):
            found = implied_ohm(float(one.level(ohm)), Advertisement(advertisement))
            assert found is not None
            assert found[0] <= float(ohm) * (1 + 1e-9) and float(ohm) * (1 - 1e-9) <= found[1]


def test_thresholds_lie_between_their_bands() -> None:
    """0.66 and 1.23 V: Type-C R2.0 Table 4-36 as quoted in a public design note."""
    assert sink_threshold(Advertisement.DEFAULT) == 0.66
    assert sink_threshold(Advertisement.A1_5) == 1.23
    assert sink_threshold(Advertisement.A3_0) is None
    assert sink_band(Advertisement.DEFAULT)[1] < 0.66 < sink_band(Advertisement.A1_5)[0]


def test_a_meters_accuracy_widens_the_reading() -> None:
    assert sink_sees(Level.of(0.61, EXACT)) == (Seen.DEFAULT,)
    assert sink_sees(Level.of(0.61, Meter(accuracy_pct=1))) == (Seen.DEFAULT, Seen.A1_5)
    assert sink_sees(Level.of(0.6, Meter(accuracy_pct=1))) == (Seen.DEFAULT,)


def test_a_meter_that_loads_cc_widens_it_upwards_only() -> None:
    """Over 200 kohm: Rd of 6.12 kohm loses 3 % at most, by the divider of the two."""
    level = Level.of(0.5, Meter(ohms=200e3))
    assert level.low == 0.5
    assert level.high == pytest.approx(0.5 * (1 + 6120 / 200e3))
    assert Level.of(0.5, EXACT) == Level(0.5, 0.5, 0.5)


@pytest.mark.parametrize(("ohms", "pull"), [
    # Rd 5.1 kohm 10 % and 20 %, Ra 800 to 1200 ohm, zOPEN 126 kohm: memory; the short is our own choice.
    (0, Pull.SHORT), (10, Pull.SHORT), (10.1, Pull.LOW), (799, Pull.LOW), (800, Pull.RA), (1200, Pull.RA),
    (1201, Pull.OFF), (4079, Pull.OFF), (4080, Pull.RD_LOOSE), (4589, Pull.RD_LOOSE), (4590, Pull.RD), (5100, Pull.RD),
    (5610, Pull.RD), (5611, Pull.RD_LOOSE), (6120, Pull.RD_LOOSE), (6121, Pull.OFF), (125999, Pull.OFF),
    (126000, Pull.OPEN), (math.inf, Pull.OPEN),
])
def test_a_resistance_to_ground(ohms: float, pull: Pull) -> None:
    assert pull_of(ohms) is pull


@pytest.mark.parametrize(("ohms", "claims"), [
    # ST UM2191 rev 2 Table 2, the pull-ups to VBUS.
    (44799, None), (44800, DEFAULT), (56000, DEFAULT), (67200, DEFAULT), (67201, None),
    (20899, None), (20900, A1_5), (23100, A1_5), (23101, None), (9499, None), (9500, A3_0), (10500, A3_0),
    (10501, None),
])
def test_what_a_cables_pull_up_claims(ohms: float, claims: str | None) -> None:
    found = cable_pull_up(ohms)
    assert (found.value if found is not None else None) == claims


@given(st.floats(min_value=-0.25, max_value=60, allow_nan=False))
def test_every_level_means_one_thing_or_two_beside_each_other(volts: float) -> None:
    level = Level.of(volts, EXACT)
    order = list(Seen)
    found = [order.index(s) for s in sink_sees(level)]
    assert found in ([found[0]], [found[0], found[0] + 1])
    for advertisement in Advertisement:
        assert 1 <= len(source_terms(level, advertisement)) <= 2


def test_edges_reach_the_command() -> None:
    """The same edges as typed, in volts and in millivolts."""
    for typed, wanted in (("0.61", [DEFAULT]), ("610 mV", [DEFAULT]), ("0.611", [DEFAULT, A1_5]), ("1,16", [A1_5]),
                          ("1161mV", [A1_5, A3_0]), ("2.04", [A3_0])):
        status, out = measure("--side", "device", "--cc1", typed, "--cc2", "0")
        assert out["state"] == "source_attached"
        assert [out["advertisement"]] == wanted if len(wanted) == 1 else out["advertisement_between"] == wanted
        assert status == (0 if len(wanted) == 1 else 3)
        assert json.dumps(out)
