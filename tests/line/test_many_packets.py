"""Packets among packets: close behind each other, far apart, from ports of different clocks, with spikes."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.line import SignalQuality, read_capture
from pdcheck.line.bursts import drop_spikes, read_line
from tests.line.waves import PLAIN, came_through, capture, digital, made_up, read, talk, wave_of
from tests.reference.second_encoder import LineManners, Packet, render

INTER_FRAME_GAP_S = 25e-6  # tInterFrameGap, at least


@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("seed", range(4))
def test_one_right_behind_another(idle: int, seed: int) -> None:
    """At the least gap, with a driver that takes all of tEndDriveBMC to let go of a line idling high."""
    packets = talk(40, random.Random(seed), gap_s=(INTER_FRAME_GAP_S, INTER_FRAME_GAP_S + 1e-9))
    manners = LineManners(idle=idle, start="mixed", jitter_s=10e-9, skew_s=0.1e-6)
    got, bursts, _ = read(packets, manners, seed)
    assert came_through(packets, got) == [True] * 40
    assert len(got) == 40 and not bursts


@pytest.mark.parametrize("gap_s", [25e-6, 31e-6])
def test_one_right_behind_another_with_a_spike_in_the_gap(gap_s: float) -> None:
    packets = talk(10, random.Random(1), gap_s=(gap_s, gap_s))
    gaps = [one.end_s for one in packets[:-1]]
    spikes = [(end_s + gap_s * part, 60e-9) for end_s in gaps for part in (0.33, 0.66)]
    line = digital(wave_of(packets).with_spikes(sorted(spikes)))
    got, bursts, _ = read_line(line.edges_s, line.initial, None)
    assert came_through(packets, got) == [True] * 10
    assert not bursts


def test_a_packet_lost_in_another_ones_burst_is_not_silence() -> None:
    """Whatever is not read of two joined packets must at least be seen as traffic."""
    packets = talk(2, random.Random(1), gap_s=(25e-6, 25e-6))
    middle = packets[0].end_s + 12e-6
    line = digital(wave_of(packets).with_spikes([(middle - 3e-6, 60e-9), (middle + 4e-6, 60e-9)]))
    got, bursts, stray = read_line(line.edges_s, line.initial, None)
    assert len(got) + len(bursts) == 2 or stray > 100


def test_two_ports_with_clocks_at_either_end_of_what_is_allowed() -> None:
    packets = [
        replace(packet, rate_bps=(270e3, 330e3)[number % 2]) for number, packet in enumerate(talk(40, random.Random(1)))
    ]
    packets = [replace(packet, start_s=1e-3 + number * 2e-3) for number, packet in enumerate(packets)]
    got, _, _ = read(packets)
    assert [p.data for p in got] == [p.payload for p in packets]
    for one, packet in zip(got, packets, strict=True):
        assert one.bit_rate_bps == pytest.approx(packet.rate_bps, rel=0.001)
    quality = read_capture(capture(digital(wave_of(packets)))).quality
    assert quality.bit_rate_min_bps == pytest.approx(270e3, rel=0.001)
    assert quality.bit_rate_max_bps == pytest.approx(330e3, rel=0.001)


@pytest.mark.parametrize("rate_bps", [251e3, 262e3, 338e3, 353e3])
def test_a_clock_out_of_bounds_is_read_so_that_it_can_be_called_so(rate_bps: float) -> None:
    got, _, _ = read([replace(packet, rate_bps=rate_bps) for packet in talk(4, random.Random(2), gap_s=(1e-3, 2e-3))])
    assert [p.intact for p in got] == [True] * 4
    assert all(p.bit_rate_bps == pytest.approx(rate_bps, rel=0.001) for p in got)


@pytest.mark.parametrize("silence_s", [1.0, 3600.0, 1e6])
def test_silence_between_packets_changes_nothing_but_the_times(silence_s: float) -> None:
    """Only edges cost anything: an hour of silence is one gap."""
    packets = talk(6, random.Random(3))
    late = [replace(packet, start_s=packet.start_s + (silence_s if n >= 3 else 0)) for n, packet in enumerate(packets)]
    close, apart = read(packets)[0], read(late)[0]
    assert [(p.sop, p.data, p.crc) for p in apart] == [(p.sop, p.data, p.crc) for p in close]
    for n, (one, two) in enumerate(zip(close, apart, strict=True)):
        assert two.start_s - one.start_s == pytest.approx(silence_s if n >= 3 else 0.0, abs=1e-8)
    line = digital(wave_of(late))
    assert len(line.edges_s) == len(digital(wave_of(packets)).edges_s)


def test_no_edges_at_all() -> None:
    assert read_line(np.zeros(0), True, None) == ([], [], 0)


@pytest.mark.parametrize("width_s", [10e-9, 60e-9, 95e-9])
@pytest.mark.parametrize("each", [1, 4, 12])
def test_spikes_shorter_than_the_receivers_filter(width_s: float, each: int) -> None:
    """tRxFilter: a receiver does not see what is shorter than 100 ns."""
    rng = random.Random(7)
    packets = talk(60, rng)
    wave = wave_of(packets)
    spikes = [(rng.uniform(p.start_s, p.end_s), width_s) for p in packets for _ in range(each)]
    line = digital(wave.with_spikes(sorted(spikes)))
    assert len(line.edges_s) > len(wave.changes)
    got, _, _ = read_line(line.edges_s, line.initial, None)
    assert sum(came_through(packets, got)) >= 59
    assert not made_up(packets, got)


def test_spikes_between_packets_and_in_front_of_them() -> None:
    rng = random.Random(8)
    packets = talk(40, rng)
    spikes = [(p.start_s - offset, 60e-9) for p in packets for offset in (2e-6, 5e-6, 9e-6, 20e-6)]
    line = digital(wave_of(packets).with_spikes(sorted(spikes)))
    got, _, _ = read_line(line.edges_s, line.initial, None)
    assert came_through(packets, got) == [True] * 40


def test_drop_spikes() -> None:
    edges = np.array([0.0, 1e-6, 1.05e-6, 3e-6, 5e-6])
    assert drop_spikes(edges, 0.1e-6).tolist() == [0.0, 3e-6, 5e-6]
    assert drop_spikes(edges, 0.01e-6).tolist() == edges.tolist()
    assert drop_spikes(edges, 0.0).tolist() == edges.tolist()
    assert drop_spikes(edges[:1], 1.0).tolist() == [0.0]
    # An odd number of edges crowded together is one edge, an even number none.
    crowd = 1e-6 + np.arange(5) * 20e-9
    assert len(drop_spikes(np.concatenate(([0.0], crowd, [9e-6])), 0.1e-6)) == 3
    assert len(drop_spikes(np.concatenate(([0.0], crowd[:4], [9e-6])), 0.1e-6)) == 2


def test_quality_sums_up() -> None:
    rng = random.Random(10)
    packets = talk(20, rng)
    manners = replace(PLAIN, skew_s=0.2e-6, jitter_s=30e-9)
    wave = render(packets, manners, rng, end_s=packets[-1].end_s + 1e-3).sampled(24e6)
    quality = read_capture(capture(digital(wave), period_s=1 / 24e6)).quality
    assert isinstance(quality, SignalQuality)
    assert (quality.packets, quality.broken_packets, quality.crc_errors, quality.unreadable_bursts) == (20, 0, 0, 0)
    assert quality.bit_rate_bps == pytest.approx(300e3, rel=0.03)
    assert quality.duty_skew_s == pytest.approx(-0.2e-6, abs=20e-9)
    # 30 ns of jitter, and what 41.7 ns samples add: a step over the root of twelve
    assert quality.jitter_s == pytest.approx((30e-9**2 + (1 / 24e6) ** 2 / 12) ** 0.5, rel=0.2)
    assert quality.time_step_s == pytest.approx(1 / 24e6)


def test_a_bad_packet_counts_as_such() -> None:
    packets = talk(3, random.Random(11))
    spoiled = replace(packets[0], flaws=replace(packets[0].flaws, flip_bits=(100, 101)))
    quality = read_capture(capture(digital(wave_of([spoiled, *packets[1:]])))).quality
    assert (quality.packets, quality.broken_packets, quality.crc_errors) == (2, 1, 1)


def test_resets_among_messages() -> None:
    packets = talk(4, random.Random(12), gap_s=(1e-3, 2e-3))
    packets[2] = Packet(packets[2].start_s, "", b"", sop="Hard Reset")
    got, _, _ = read(packets)
    assert [p.sop for p in got] == ["SOP", "SOP", "Hard Reset", "SOP"]
    assert all(p.intact for p in got)
