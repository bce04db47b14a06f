"""The limits around attach and the contacts: each says where it is from, and what the connector's turn requires."""

from __future__ import annotations

import re

import pytest

from pdcheck.standard import attach_limits
from pdcheck.standard.contacts import ALL, BY_NAME, Net, neighbours
from pdcheck.standard.limit import Limit


@pytest.mark.parametrize("limit", attach_limits.ALL, ids=lambda limit: limit.name)
def test_every_limit_says_where_it_is_from(limit: Limit) -> None:
    assert re.search(r"\bsection \d+\.\d+", limit.reference)
    assert re.search("memory|UM2191", limit.checked)
    values = [v for v in (limit.min, limit.nom, limit.max) if v is not None]
    assert values and values == sorted(values)
    assert "None" not in limit.words()


def test_none_is_left_out() -> None:
    defined = [value for value in vars(attach_limits).values() if isinstance(value, Limit)]
    assert defined == list(attach_limits.ALL)


def test_the_clamp_is_its_nominal_level_and_20_percent() -> None:
    """1.1 V, 20 % (from memory); below it no sink reads a charger (vRd-USB from 0.25 V on)."""
    clamp = attach_limits.RD_CLAMP
    assert clamp.nom is not None and clamp.max == pytest.approx(clamp.nom * 1.2)
    assert clamp.min == 0.25


def test_the_highest_level_on_a_loose_pull_down() -> None:
    """2.18 V is 330 uA and 8 % through 5.1 kohm and 20 %: worked here."""
    assert attach_limits.RD_LOOSE.max == pytest.approx(330e-6 * 1.08 * 5100 * 1.2, abs=0.005)


def test_24_contacts_in_two_rows() -> None:
    assert len(ALL) == len(BY_NAME) == 24
    assert [c.name for c in ALL] == [f"{row}{place}" for row in "AB" for place in range(1, 13)]
    assert [(c.row, c.place) for c in ALL] == [(row, place) for row in "AB" for place in range(1, 13)]


def test_the_plug_may_be_turned() -> None:
    """Turned over, An meets Bn: the same net but for the number of a pair, a CC or an SBU."""
    for contact in ALL:
        like = BY_NAME[contact.like]
        assert like.like == contact.name
        assert (like.place, like.net) == (contact.place, contact.net)
        assert like.row != contact.row
        assert re.sub(r"\d", "", like.signal) == re.sub(r"\d", "", contact.signal)


def test_power_and_ground_frame_each_row() -> None:
    for row in "AB":
        nets = [BY_NAME[f"{row}{place}"].net for place in range(1, 13)]
        assert nets[0] is nets[11] is Net.GND
        assert nets[3] is nets[8] is Net.VBUS
    assert sum(c.net is Net.GND for c in ALL) == sum(c.net is Net.VBUS for c in ALL) == 4
    # The four high-speed pairs, each on two contacts side by side (USB Type-C, section 3.2; from memory).
    pairs = {c.signal.rstrip("+-"): [d.name for d in ALL if d.signal.rstrip("+-") == c.signal.rstrip("+-")]
             for c in ALL if c.net.high_speed}
    assert {name: set(places) for name, places in pairs.items()} == {
        "TX1": {"A2", "A3"}, "RX1": {"B11", "B10"}, "TX2": {"B2", "B3"}, "RX2": {"A11", "A10"},
    }


def test_neighbours() -> None:
    assert [c.name for c in neighbours(BY_NAME["A5"])] == ["A4", "A6"]
    assert [c.name for c in neighbours(BY_NAME["B12"])] == ["B11"]
    assert [c.name for c in neighbours(BY_NAME["A1"])] == ["A2"]
