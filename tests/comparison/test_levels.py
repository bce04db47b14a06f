"""Levels and delays that really differ are found, and told from those that do not matter."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pdcheck import check, decode, open_capture
from pdcheck.capture.model import AnalogLine, Role
from pdcheck.comparison import Alike, Comparison, compare
from pdcheck.comparison.levels import advertised
from pdcheck.comparison.model import Measure, Placed
from pdcheck.report.model import Report
from tests.comparison.sides import healthy_talk, judged, two_streams
from tests.conversation.told import Told, acknowledged_places, mended
from tests.reference.cases import Way, draw_ports
from tests.reference.healthy_talks import HEALTHY
from tests.reference.second_encoder import LineManners
from tests.reference.talk import Talk
from tests.reference.wave_files import write_volts


def measure(found: Comparison, id: str) -> Measure:
    return next(m for m in found.measures if m.id == id)


def delayed(one: Told, name: str, by_s: float) -> Told:
    """The conversation with everything from that message on so much later."""
    place = one.names.index(name)
    from_s = one.packets[place].start_s - 1e-9
    packets = tuple(
        p._replace(start_s=p.start_s + by_s, end_s=p.end_s + by_s) if p.start_s >= from_s else p for p in one.packets
    )
    vbus = None if one.vbus is None else tuple((t + by_s if t >= from_s else t, v) for t, v in one.vbus)
    return replace(one, packets=packets, vbus=vbus, duration_s=one.duration_s + by_s)


@pytest.mark.parametrize(("name", "id", "by_s"), [
    ("Request", "ack_to_request", 16e-3), ("Accept", "request_to_answer", 16e-3), ("PS_RDY", "accept_to_ready", 0.5),
])
def test_a_delay_that_the_standard_does_not_allow_counts(name: str, id: str, by_s: float) -> None:
    whole = healthy_talk("plain", 2, 1)
    found = compare(judged(whole), judged(delayed(whole, name, by_s)))
    one = measure(found, id)
    assert one.differs
    assert one.counts
    assert one.placed is Placed.BAD_OUTSIDE
    assert one.good is not None
    assert one.bad is not None
    assert one.bad.typical - one.good.typical == pytest.approx(by_s, abs=1e-9)
    assert found.outcome is Alike.PART
    assert [m.id for m in found.measures if m.counts] == [id]


def test_vbus_before_and_under_a_contract() -> None:
    whole = healthy_talk("plain", 2, 1)
    assert whole.vbus is not None
    low = replace(whole, vbus=tuple((t, v - 0.9 if v > 4 else v) for t, v in whole.vbus))
    one = measure(compare(judged(whole), judged(low)), "vbus_before")
    assert one.counts
    assert one.good is not None
    assert one.bad is not None
    # numpy's own reading of the breakpoints, where the offer is made.
    at = whole.packets[0].start_s
    expected = float(np.interp(at, [t for t, _ in whole.vbus], [v for _, v in whole.vbus]))
    assert one.good.typical == pytest.approx(expected, abs=1e-6)
    assert one.bad.typical == pytest.approx(expected - 0.9, abs=1e-6)
    near = replace(whole, vbus=tuple((t, v * 1.01) for t, v in whole.vbus))
    assert not measure(compare(judged(whole), judged(near)), "vbus_before").differs


def with_current(report: Report, amps: float) -> Report:
    times = np.arange(0.0, report.conversation.duration_s, 1e-3)
    line = AnalogLine("Current [A]", Role.CURRENT, "A", times, np.full(len(times), amps))
    capture = replace(report.reading.capture, lines=(*report.reading.capture.lines, line))
    return replace(report, reading=replace(report.reading, capture=capture))


@pytest.mark.parametrize(("good", "bad", "differs", "counts"), [
    (1.4, 0.03, True, True), (0.03, 1.4, True, True), (1.4, 0.9, True, False), (0.02, 0.04, True, False),
    (1.4, 1.41, False, False), (0.030, 0.035, False, False),
])
def test_current(good: float, bad: float, differs: bool, counts: bool) -> None:
    """It counts where one charges and the other does not (common practice, no source)."""
    side = judged(healthy_talk("plain", 2, 1))
    one = measure(compare(with_current(side, good), with_current(side, bad)), "current")
    assert (one.differs, one.counts) == (differs, counts)


def test_tries_that_are_not_acknowledged() -> None:
    whole = healthy_talk("chatter", 1, 1)
    rng = random.Random(3)
    poor = whole
    for place in sorted(acknowledged_places(whole), reverse=True):
        if whole.names[place] != "Request":
            poor = mended(poor, place, "no ack", 2, rng)
    found = compare(judged(whole), judged(poor))
    one = measure(found, "repeats_sink")
    assert one.differs
    assert one.counts
    assert found.partings == (), "what retries mend is no parting"


def volts(folder: Path, idle_v: float, delays: int) -> Report:
    rng = two_streams("volts", delays)
    talk = Talk(rng, draw_ports(rng, Way(idle=1 if idle_v > 0.5 else 0), fast=True), 0.3e-3)
    HEALTHY["plain"](talk)
    capture = talk.capture(LineManners(idle=1 if idle_v > 0.5 else 0), tail_s=2e-3)
    path = write_volts(folder / f"{idle_v}{delays}.csv", capture, 5e6, random.Random(delays), idle_v=idle_v)
    return check(decode(open_capture(str(path))))


@pytest.mark.parametrize(("level", "state"), [
    (0.0, "vRa"), (0.19, "vRa"), (0.21, "vRd-USB"), (0.41, "vRd-USB"), (0.65, "vRd-USB"), (0.67, "vRd-1.5"),
    (1.22, "vRd-1.5"), (1.24, "vRd-3.0"), (2.03, "vRd-3.0"), (2.05, "open"), (3.3, "open"),
])
def test_what_a_cc_level_says(level: float, state: str) -> None:
    """Either side of the thresholds 0.2, 0.66 and 1.23 V and of the end at 2.04 V (USB Type-C, voltage on a sink's CC
    pins; 0.2 V from memory, the others as quoted in a public design note)."""
    assert advertised(level) == state


def test_the_cc_level_counts_where_it_says_something_else(tmp_path: Path) -> None:
    """0.41 V is default USB power, 0.92 V is 1.5 A (USB Type-C, sink CC levels, as quoted in a public note)."""
    default, again, more = volts(tmp_path, 0.41, 1), volts(tmp_path, 0.41, 2), volts(tmp_path, 0.92, 3)
    same = measure(compare(default, again), "cc_level")
    assert not same.differs
    assert same.good is not None
    assert same.good.typical == pytest.approx(0.41, abs=0.03)
    other = measure(compare(default, more), "cc_level")
    assert other.differs
    assert other.counts
    assert "vRd-USB / vRd-1.5" in other.label
