"""Every limit can be argued from: named once, with reference and source, readable, and what others publish."""

from __future__ import annotations

import csv
import itertools
import re
from pathlib import Path

import pytest

from pdcheck.standard import cc_levels, counters, electrical, power_objects, terminations, timers, vbus_levels
from pdcheck.standard.limit import Limit

GROUPS: dict[str, tuple[Limit, ...]] = {
    "timers": timers.ALL, "counters": counters.ALL, "electrical": electrical.ALL, "vbus": vbus_levels.ALL,
}
EVERY = [limit for group in GROUPS.values() for limit in group]
IDS = [limit.name for limit in EVERY]
ZEPHYR = Path(__file__).with_name("zephyr_timers.csv")
SCALE = {"s": 1000.0, "ms": 1.0, "V": 1000.0, "mV": 1.0, "count": 1.0}


@pytest.mark.parametrize("limit", EVERY, ids=IDS)
def test_every_limit_says_where_it_is_from(limit: Limit) -> None:
    assert re.search(r"\bsection \d+\.\d+", limit.reference)
    assert limit.reference.startswith(("USB PD,", "USB Type-C,"))
    assert re.search("memory|Linux|Zephyr|follows from", limit.checked)
    assert any(value is not None for value in (limit.min, limit.nom, limit.max))


@pytest.mark.parametrize("group", GROUPS)
def test_no_name_stands_twice_and_none_is_left_out(group: str) -> None:
    names = [limit.name for limit in GROUPS[group]]
    assert len(names) == len(set(names))
    module = {"timers": timers, "counters": counters, "electrical": electrical, "vbus": vbus_levels}[group]
    defined = [value for value in vars(module).values() if isinstance(value, Limit)]
    assert defined == list(GROUPS[group])


@pytest.mark.parametrize("limit", EVERY, ids=IDS)
def test_values_are_in_order(limit: Limit) -> None:
    values = [value for value in (limit.min, limit.nom, limit.max) if value is not None]
    assert values == sorted(values)


WORDED = [pytest.param(x, id=x.name) for x in EVERY]


@pytest.mark.parametrize("limit", WORDED)
def test_words_hold_the_numbers_and_the_unit(limit: Limit) -> None:
    words = limit.words()
    assert "None" not in words
    assert words == words.strip() and "  " not in words
    ends = [value for value in (limit.min, limit.max) if value is not None]
    wanted = sorted(set(ends)) if ends else [limit.nom]
    assert sorted(float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", words)) == wanted
    if limit.unit in ("", "count"):
        assert re.fullmatch(r"(at (most|least) )?[\d.]+( to [\d.]+)?", words)
    else:
        assert words.endswith(" " + limit.unit)
    one_sided = (limit.min is None) != (limit.max is None)
    if one_sided and limit.nom is None:
        assert words.startswith("at most " if limit.min is None else "at least ")


def limit_of(low: float | None, nom: float | None, high: float | None, unit: str = "ms") -> Limit:
    return Limit("tTest", low, nom, high, unit, "", "USB PD, section 1.1", "memory")


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        (limit_of(24, 27, 30), "24 to 30 ms"),
        (limit_of(None, None, 15), "at most 15 ms"),
        (limit_of(25, None, None, "us"), "at least 25 us"),
        (limit_of(4.5, 5.0, 5.5, "s"), "4.5 to 5.5 s"),
        (limit_of(None, 2, None, "count"), "2"),
        (limit_of(3, 3, 3, ""), "3"),
        (limit_of(-5, None, 5, "%"), "-5 to 5 %"),
    ],
)
def test_words(limit: Limit, words: str) -> None:
    assert limit.words() == words


@pytest.mark.parametrize("limit", EVERY, ids=IDS)
@pytest.mark.parametrize("end", ["min", "max"])
def test_seconds_or_an_error(limit: Limit, end: str) -> None:
    value = getattr(limit, end)
    factor = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}.get(limit.unit)
    if value is None or factor is None:
        with pytest.raises(ValueError, match=re.escape(limit.name)):
            getattr(limit, end + "_s")
    else:
        assert getattr(limit, end + "_s") == pytest.approx(value * factor, rel=1e-12)


def test_every_timer_is_a_time() -> None:
    assert {limit.unit for limit in timers.ALL} <= {"s", "ms", "us"}
    for limit in timers.ALL:
        assert limit.max is not None or limit.min is not None


def test_unit_interval_follows_from_the_bit_rate() -> None:
    rate, bit = electrical.BIT_RATE, electrical.UNIT_INTERVAL
    assert rate.unit == "kbit/s"
    for ours, of in ((bit.min, rate.max), (bit.nom, rate.nom), (bit.max, rate.min)):
        assert ours is not None and of is not None
        # the specification gives three digits
        assert ours == pytest.approx(1e3 / of, abs=0.005)


def zephyr() -> list[dict[str, str]]:
    with ZEPHYR.open(newline="", encoding="utf-8") as file:
        assert "Zephyr 4.0" in file.readline()
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", zephyr(), ids=[row["name"] for row in zephyr()])
def test_zephyr_has_the_same(row: dict[str, str]) -> None:
    limit = next(limit for limit in EVERY if limit.name == row["name"])
    compared = 0
    for end in ("min", "nom", "max"):
        if row[end]:
            value = getattr(limit, end)
            assert value is not None, end
            assert value * SCALE[limit.unit] == pytest.approx(float(row[end]) * SCALE[row["unit"]])
            compared += 1
    assert compared
    # The limit's own words quote the same numbers.
    quoted = limit.checked.split("Zephyr 4.0")[1].split(";")[0]
    for end in ("min", "nom", "max"):
        assert row[end] in quoted


def test_every_limit_said_to_be_compared_with_zephyr_is() -> None:
    claimed = {limit.name for limit in EVERY if "Zephyr" in limit.checked}
    assert claimed == {row["name"] for row in zephyr()}


def test_bands_of_cc_are_in_order_and_apart() -> None:
    seen = {(band.seen_from, band.advertisement) for band in cc_levels.ALL if band.seen_from == "source"}
    groups = [[b for b in cc_levels.ALL if b.seen_from == "sink"]]
    groups += [[b for b in cc_levels.ALL if (b.seen_from, b.advertisement) == one] for one in sorted(seen)]
    assert len(groups) == 4
    for bands in groups:
        for low, high in itertools.pairwise(bands):
            # a port decides between two bands, above the one and below the other
            assert low.max_v is not None and low.threshold_v is not None
            assert low.max_v < low.threshold_v < high.min_v
        assert bands[-1].threshold_v is None
    for band in cc_levels.ALL:
        assert band.reference and band.checked and band.state.startswith("v")


def test_advertised_levels_follow_from_the_resistors() -> None:
    """Ohm's law, worked here: each advertisement over Rd lands in its band as a sink sees it."""
    rd = next(t for t in terminations.ALL if t.name == "Rd (reads the advertisement)")
    assert rd.tolerance_pct is not None
    sink = {band.advertisement: band for band in cc_levels.ALL if band.seen_from == "sink"}
    checked = 0
    for source in terminations.ALL:
        kind, _, advertisement = source.name.partition(" ")
        if kind not in ("Rp", "Ip") or source.tolerance_pct is None:
            continue
        band = sink[advertisement]
        for rd_off in (-rd.tolerance_pct, 0.0, rd.tolerance_pct):
            for off in (-source.tolerance_pct, 0.0, source.tolerance_pct):
                ohm = rd.nominal * (1 + rd_off / 100)
                value = source.nominal * (1 + off / 100)
                if kind == "Ip":
                    levels = [ohm * value * 1e-6]
                else:
                    supply = (4.75, 5.5) if "5.5 V" in source.pulled_to else (3.3 * 0.95, 3.3 * 1.05)
                    levels = [volts * ohm / (ohm + value) for volts in supply]
                # the bands are given to 10 mV
                for level in levels:
                    assert band.max_v is not None
                    assert band.min_v - 0.005 <= level <= band.max_v + 0.005, (source.name, source.pulled_to, level)
                    checked += 1
    assert checked == 6 * 9 * 2 + 3 * 9


def test_terminations_and_layouts_say_where_they_are_from() -> None:
    for termination in terminations.ALL:
        assert termination.reference and termination.checked and termination.unit in ("ohm", "uA")
    for layout in power_objects.ALL:
        assert layout.reference and layout.checked
    ra = next(t for t in terminations.ALL if t.name == "Ra")
    assert ra.tolerance_pct is not None
    assert [ra.nominal * (1 - ra.tolerance_pct / 100), ra.nominal * (1 + ra.tolerance_pct / 100)] == [800, 1200]
    assert "800 to 1200 ohm" in ra.meaning


@pytest.mark.parametrize("limit", EVERY, ids=IDS)
def test_values_in_their_unit_or_an_error(limit: Limit) -> None:
    """A value that the standard does not give is never taken for zero."""
    for value, name in ((limit.min, "least"), (limit.nom, "nominal"), (limit.max, "most")):
        if value is None:
            with pytest.raises(ValueError, match=re.escape(limit.name)):
                getattr(limit, name)
        else:
            assert getattr(limit, name) == value
