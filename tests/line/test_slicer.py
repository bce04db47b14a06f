"""CC in volts: whatever level the line idles at, the traffic's own two levels are found and packets come through."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.line import read_capture
from pdcheck.line.bursts import read_line
from pdcheck.line.slicer import slice_line
from tests.line.analog import Scope, scope_line
from tests.line.waves import came_through, capture, made_up, talk
from tests.reference.second_encoder import Packet

# Levels over Rd: default power, 1.5 A and 3.0 A (USB Type-C, CC levels as a sink sees them)
IDLE_V = [0.4, 0.9, 1.7]


@pytest.mark.parametrize("rate_hz", [4e6, 6.25e6, 10e6, 25e6])
@pytest.mark.parametrize("rise_s", [300e-9, 600e-9])
@pytest.mark.parametrize("idle_v", IDLE_V)
def test_packets_come_through(idle_v: float, rise_s: float, rate_hz: float) -> None:
    packets = talk(12, random.Random(3))
    sliced = slice_line(scope_line(packets, Scope(idle_v, rate_hz, rise_s)))
    assert sliced is not None
    assert np.all(np.diff(sliced.edges_s) > 0)
    got, _, _ = read_line(sliced.edges_s, sliced.initial, 1 / rate_hz)
    assert came_through(packets, got) == [True] * 12
    assert not made_up(packets, got)
    for one, packet in zip(got, packets, strict=True):
        assert one.end_s == pytest.approx(packet.end_s, abs=1e-6)
        assert one.bit_rate_bps == pytest.approx(packet.rate_bps, rel=0.005)
        # The middle of the swing is crossed on time both ways.
        assert abs(one.skew_s) < 60e-9


@pytest.mark.parametrize("idle_v", IDLE_V)
def test_through_a_capture(idle_v: float) -> None:
    packets = talk(6, random.Random(5))
    vbus = AnalogLine("VBUS", Role.VBUS, "V", np.array([0.0, 1e-3]), np.array([5.0, 9.0]))
    line = scope_line(packets, Scope(idle_v, 10e6))
    reading = read_capture(capture(vbus, line, period_s=1e-7))
    assert reading.cc == "CC1" and reading.quality.packets == 6
    # Above the threshold in the middle of the 1.1 V swing, or below it.
    assert reading.idle_high is (idle_v > 0.55)
    # The line itself is handed on in volts: its idle level is the advertisement.
    kept = next(one for one in reading.capture.lines if one.name == "CC1")
    assert kept is line
    assert isinstance(kept, AnalogLine)
    span = kept.during(0.0, 0.9e-3)
    assert span is not None and span.typical == pytest.approx(idle_v, abs=0.01)


@pytest.mark.parametrize("drive_v", [0.12, 0.55, 1.05, 1.2])
@pytest.mark.parametrize("offset_v", [-0.3, 0.0, 0.4])
def test_dividers_and_ground_offsets(drive_v: float, offset_v: float) -> None:
    """A divided or badly grounded probe moves the levels; only where they are to each other counts."""
    packets = talk(6, random.Random(6))
    line = scope_line(packets, Scope(0.35 * drive_v, 12.5e6, drive_v=drive_v, noise_v=0.02 * drive_v))
    sliced = slice_line(replace(line, values=line.values + offset_v))
    assert sliced is not None
    assert all(came_through(packets, read_line(sliced.edges_s, sliced.initial, None)[0]))


@pytest.mark.parametrize("idle_v", IDLE_V)
@pytest.mark.parametrize(("noise_v", "share"), [(0.05, 1.0), (0.08, 0.9)])
def test_more_noise(idle_v: float, noise_v: float, share: float) -> None:
    packets = talk(20, random.Random(7))
    sliced = slice_line(scope_line(packets, Scope(idle_v, 10e6, noise_v=noise_v)))
    assert sliced is not None
    got, _, _ = read_line(sliced.edges_s, sliced.initial, 1e-7)
    assert sum(came_through(packets, got)) >= share * len(packets)
    assert not made_up(packets, got)


@pytest.mark.parametrize("idle_v", [0.0, 0.4, 1.7, 3.3])
def test_a_line_without_traffic_has_no_two_levels(idle_v: float) -> None:
    quiet = Scope(idle_v, 10e6).idle_v + np.random.default_rng(1).normal(0.0, 0.005, 20_000)
    assert slice_line(AnalogLine("CC1", Role.CC1, "V", np.arange(20_000) * 1e-7, quiet)) is None


@pytest.mark.parametrize("count", [0, 1, 23, 24])
def test_hardly_any_samples(count: int) -> None:
    values = np.arange(count) % 2 * 1.1
    assert slice_line(AnalogLine("CC1", Role.CC1, "V", np.arange(count) * 1e-7, values)) is None


@pytest.mark.parametrize("seed", range(5))
def test_values_of_any_size_are_borne(seed: int) -> None:
    rng = np.random.default_rng(seed)
    scale = (1e-9, 1e-3, 1.0, 1e6, 1e30)[seed]
    line = AnalogLine("CC1", Role.CC1, "V", np.arange(5000) * 1e-6, rng.normal(0.0, scale, 5000))
    sliced = slice_line(line)
    if sliced is not None:
        assert np.all(np.diff(sliced.edges_s) > 0)
        assert not any(packet.intact for packet in read_line(sliced.edges_s, sliced.initial, 1e-6)[0])


def test_attaching_in_the_capture() -> None:
    """The line stands at 3.3 V until the sink is plugged in, then at the advertised level."""
    packets = talk(6, random.Random(8), start_s=5e-3)
    line = scope_line(packets, Scope(0.9, 10e6))
    values = np.where(line.times_s < 3e-3, 3.3, line.values)
    sliced = slice_line(replace(line, values=values))
    assert sliced is not None
    assert all(came_through(packets, read_line(sliced.edges_s, sliced.initial, 1e-7)[0]))


def lone(quiet_s: float, count: int, after_s: float) -> tuple[list[Packet], float]:
    packets = talk(count, random.Random(3), start_s=quiet_s)
    return packets, packets[-1].end_s + after_s


@pytest.mark.parametrize("idle_v", IDLE_V)
@pytest.mark.parametrize("where", ["early", "late"])
def test_a_single_exchange_in_a_short_silence(idle_v: float, where: str) -> None:
    packets, end_s = lone(1e-3, 2, 30e-3) if where == "early" else lone(30e-3, 2, 1e-3)
    sliced = slice_line(scope_line(packets, Scope(idle_v, 4e6), end_s=end_s))
    assert sliced is not None
    assert all(came_through(packets, read_line(sliced.edges_s, sliced.initial, 0.25e-6)[0]))


@pytest.mark.parametrize(
    ("idle_v", "noise_v", "count", "quiet_s"), [(0.4, 0.03, 2, 0.2), (1.7, 0.01, 8, 0.6)]
)
def test_a_few_packets_in_a_long_silence(idle_v: float, noise_v: float, count: int, quiet_s: float) -> None:
    packets, end_s = lone(quiet_s, count, quiet_s)
    sliced = slice_line(scope_line(packets, Scope(idle_v, 4e6, noise_v=noise_v), end_s=end_s))
    assert sliced is not None
    got, _, stray = read_line(sliced.edges_s, sliced.initial, 0.25e-6)
    assert all(came_through(packets, got))
    assert stray < 100
