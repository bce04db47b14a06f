"""What was not sent is not read: noise, bounce, hum, and edges as odd as a file can hold."""

from __future__ import annotations

import random
import warnings
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from pdcheck.capture.model import DigitalLine, Role
from pdcheck.line import Crc, read_capture
from pdcheck.line.bursts import read_line
from tests.line.waves import capture, talk, wave_of
from tests.reference.second_encoder import Edge, bmc_edges, mains_hum, stray_toggles

Floats = NDArray[np.float64]


def times(edges: list[Edge]) -> Floats:
    return np.array(sorted({time_s for time_s, _ in edges}))


@pytest.mark.parametrize("moves", [stray_toggles, mains_hum])
def test_a_port_without_a_partner_and_an_open_probe(
    moves: Callable[[float, float, random.Random], list[Edge]],
) -> None:
    for seed in range(30):
        edges = times(moves(0.0, 1.0, random.Random(seed)))
        packets, bursts, stray = read_line(edges, False, None)
        assert not packets and not bursts
        assert stray == len(edges)


@pytest.mark.parametrize("mean_s", [0.5e-6, 1e-6, 2e-6, 3e-6, 5e-6, 10e-6, 50e-6, 1e-3])
def test_random_edges_are_no_packets(mean_s: float) -> None:
    for seed in range(2):
        edges = np.cumsum(np.random.default_rng(seed).exponential(mean_s, 20_000))
        packets, bursts, stray = read_line(edges, False, None)
        assert not any(packet.intact for packet in packets)
        # Now and then a dozen edges happen to stand like a preamble's; measured: 10 in 1,800,000 edges.
        assert len(packets) <= 2
        assert stray + sum(burst.edges for burst in bursts) + sum(1 for _ in packets) <= len(edges)


def test_noise_as_fast_as_traffic_is_said_to_be_like_it() -> None:
    """Half and whole bits in no order for a millisecond could have been a packet: it must not pass for silence."""
    steps = np.random.default_rng(4).choice([1.67e-6, 3.33e-6, 5.0e-6], 400)
    packets, bursts, _ = read_line(np.cumsum(steps), False, None)
    assert not packets
    assert [burst.like_traffic for burst in bursts] == [True]
    assert bursts[0].edges == 400
    assert bursts[0].start_s == pytest.approx(steps[0])
    assert bursts[0].end_s == pytest.approx(steps.sum())


def test_a_short_burst_is_not_like_traffic() -> None:
    edges = np.cumsum(np.random.default_rng(4).choice([1.67e-6, 3.33e-6, 5.0e-6], 60))
    assert read_line(edges, False, None) == ([], [], 60)


PULSES = st.sampled_from([1.667e-6, 3.333e-6, 1.6e-6, 3.4e-6, 0.9e-6, 5.0e-6, 0.08e-6, 12e-6])


@settings(max_examples=200, deadline=None)
@given(st.lists(PULSES, max_size=600), st.booleans(), st.sampled_from([None, 1e-7, 1e-6]))
def test_pulses_of_bmc_in_no_order(pulses: list[float], initial: bool, step_s: float | None) -> None:
    packets, _, _ = read_line(np.cumsum(np.array([1e-3, *pulses])), initial, step_s)
    assert not any(packet.crc is Crc.OK for packet in packets)
    assert not any(packet.intact for packet in packets)


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 1), min_size=90, max_size=700), st.integers(6, 32), st.booleans())
def test_bits_in_no_order_behind_a_preamble_have_no_right_crc(bits: list[int], preamble: int, initial: bool) -> None:
    edges = times(bmc_edges([0, 1] * preamble + bits, 1e-3, 300e3, int(initial)))
    packets, _, _ = read_line(edges, initial, None)
    # A reset signal has no CRC: see the tests of broken packets.
    assert not any(packet.crc is Crc.OK for packet in packets)
    assert all(packet.intact == (packet.crc is not Crc.BAD) for packet in packets)


GAPS = st.sampled_from(
    [1e-12, 1e-9, 2e-8, 1e-7, 0.8e-6, 1.6667e-6, 3.3333e-6, 5e-6, 1e-5, 1.1e-5, 25e-6, 1e-3, 1.0, 1e3, 1e6]
)
RUNS = st.lists(st.tuples(st.one_of(GAPS, st.floats(1e-12, 1e6)), st.integers(1, 300)), max_size=12)
STARTS = st.sampled_from([0.0, 1e-12, 0.5, 1e6])


def odd_edges(runs: list[tuple[float, int]], start_s: float) -> Floats:
    """Strictly increasing times of runs of equal gaps."""
    gaps = np.repeat([gap for gap, _ in runs], [count for _, count in runs]) if runs else np.zeros(0)
    return np.unique(start_s + np.cumsum(gaps))


@settings(max_examples=250, deadline=None)
@given(RUNS, STARTS, st.booleans(), st.sampled_from([None, 1e-12, 4e-8, 1e-6, 1.0, 1e6]))
def test_any_increasing_times_are_borne(
    runs: list[tuple[float, int]], start_s: float, initial: bool, step_s: float | None
) -> None:
    edges = odd_edges(runs, start_s)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        packets, bursts, stray = read_line(edges, initial, step_s)
    assert not any(packet.intact for packet in packets)
    assert 0 <= stray <= len(edges)
    for packet in packets:
        assert edges[0] <= packet.start_s <= packet.end_s <= edges[-1] + 1e-3
    for burst in bursts:
        assert edges[0] <= burst.start_s <= burst.end_s <= edges[-1]


@settings(max_examples=100, deadline=None)
@given(RUNS, RUNS, STARTS, st.booleans(), st.booleans(), st.sampled_from(list(Role)))
def test_any_capture_of_them_is_borne(
    one: list[tuple[float, int]], two: list[tuple[float, int]], start_s: float, initial: bool, stated: bool, role: Role
) -> None:
    lines = [
        DigitalLine("CC", role, initial, odd_edges(one, start_s)),
        DigitalLine("other", Role.OTHER, not initial, odd_edges(two, start_s)),
    ]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        reading = read_capture(capture(*lines, stated=stated))
    assert not any(packet.intact for packet in reading.packets)
    assert reading.quality.packets == 0
    assert reading.quality.broken_packets == len(reading.packets)


@pytest.mark.parametrize("gap_s", [1.6667e-6, 3.3333e-6, 1e-12, 0.5e-6, 10.9e-6])
@pytest.mark.parametrize("count", [16, 95, 96, 150, 5000])
def test_equal_gaps(gap_s: float, count: int) -> None:
    packets, bursts, stray = read_line(1.0 + np.arange(count) * gap_s, False, None)
    assert not any(packet.intact for packet in packets)
    assert len(packets) + len(bursts) + (stray > 0) <= 1 or stray == count


@pytest.mark.parametrize("count", [0, 1, 2, 15, 16])
def test_hardly_any_edges(count: int) -> None:
    edges = 1.0 + np.arange(count) * 2e-6
    assert read_line(edges, True, None) == ([], [], count)


def test_packets_between_noise_come_through() -> None:
    """Hum and bounce before and after a packet, with the pause that makes bursts of their own."""
    rng = random.Random(9)
    packets = talk(20, rng, gap_s=(2e-3, 9e-3))
    wave = wave_of(packets)
    extra: list[float] = []
    for packet in packets:
        at = packet.end_s + rng.uniform(100e-6, 900e-6)
        for _ in range(2 * rng.randint(1, 20)):
            extra.append(at)
            at += rng.expovariate(1 / 6e-6) + 0.1e-6
    edges = np.array(sorted([time_s for time_s, _ in wave.changes] + extra))
    got, _, stray = read_line(edges, bool(wave.initial), None)
    assert [p.data for p in got if p.intact] == [p.payload for p in packets]
    assert stray > 0
