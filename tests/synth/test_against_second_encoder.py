"""Edges against the second encoder, which was written apart from the standards' text and shares no code with synth."""

from __future__ import annotations

import csv
import io
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.standard.line_code import Sop
from pdcheck.synth import file_bytes, parse_scenario, play
from pdcheck.synth.encoder import Damage, Packet, driven_edges, packet_bits
from pdcheck.synth.wave import Chance, Wave, roughened, tidied
from tests.reference import second_encoder as second

TOLERANCE_S = 1e-9
RELEASE_S = 4e-6

payloads = st.binary(min_size=2, max_size=30)
rates = st.floats(min_value=270e3, max_value=330e3)
starts = st.floats(min_value=1e-3, max_value=20.0)
skews = st.floats(min_value=-0.4e-6, max_value=0.4e-6)
sops = st.sampled_from(list(Sop))


def _second_packet(packet: Packet) -> second.Packet:
    return second.Packet(packet.start_s, "source", packet.data, packet.sop.value, packet.rate_bps)


def _same(ours: list[second.Edge], theirs: list[second.Edge]) -> None:
    assert [level for _, level in ours] == [level for _, level in theirs]
    assert max(abs(a - b) for (a, _), (b, _) in zip(ours, theirs, strict=True)) < TOLERANCE_S


@settings(deadline=None)
@given(payloads, sops)
def test_bits(data: bytes, sop: Sop) -> None:
    assert packet_bits(data, sop) == second.packet_bits(data, sop.value)


@pytest.mark.parametrize("sop", list(Sop))
@pytest.mark.parametrize("place", [1, 2, 3, 4])
def test_bits_with_one_bad_k_code(sop: Sop, place: int) -> None:
    ours = packet_bits(b"\x61\x11", sop, Damage(bad_kcode=place))
    theirs = second.packet_bits(b"\x61\x11", sop.value, [place - 1])
    differing = [at for at, (a, b) in enumerate(zip(ours, theirs, strict=True)) if a != b]
    spoiled = range(64 + 5 * (place - 1), 64 + 5 * place)  # both are no symbol, not the same one
    assert all(at in spoiled for at in differing)
    good = second.packet_bits(b"\x61\x11", sop.value)
    assert [ours[at] for at in spoiled] != [good[at] for at in spoiled]


@settings(max_examples=60, deadline=None)
@given(payloads, sops, rates, starts, st.sampled_from([0, 1]), skews, st.sampled_from(["edge", "low"]))
def test_edges_of_one_packet(
    data: bytes, sop: Sop, rate: float, start_s: float, idle: int, skew_s: float, how: str
) -> None:
    packet = Packet(start_s, sop, b"" if sop.is_reset else data, rate)
    lead_s = 1e-6 if how == "low" else 0.0
    edges = driven_edges(packet, idle, lead_s, RELEASE_S)
    ours = tidied(roughened(edges, skew_s, 0.0, Chance("0", "edges")), idle)
    manners = second.LineManners(idle=idle, skew_s=skew_s, start=how)
    wave = second.render([_second_packet(packet)], manners, random.Random(1), end_s=start_s + 1.0)
    assert wave.initial == idle
    theirs = list(wave.changes)
    assert packet.end_s == pytest.approx(_second_packet(packet).end_s, abs=TOLERANCE_S)
    if idle:
        # When the driver lets go, and with "low" when it turns on, is free within the standard: the other draws it.
        low_s, release_s = ours[-2][0], ours[-1][0]
        assert 1e-6 <= release_s - low_s <= second.END_DRIVE_MAX_S
        ours, theirs = ours[:-1], theirs[:-1]
        if how == "low":
            assert ours[0][1] == theirs[0][1] == 0
            ours, theirs = ours[1:], theirs[1:]
    _same(ours, theirs)


TALK = """
format edges
idle {idle}
lead 0us
rate source 300k, sink 277k, cable 327k
5ms source Vendor_Defined: 0xFF00A001 [to cable]
+2ms cable Vendor_Defined: 0xFF00A041; 0x18000000 [tries 2]
+2ms source Source_Capabilities: 5V 3A; 9V 2A; pps 3.3V-11V 3A [lost acknowledgement 1]
+2ms sink Request: object 2 1A [acknowledged as +1]
+2ms source bytes: 61 11 2c 91 01 0a
+2ms source Cable_Reset
+2ms sink Hard_Reset
+2ms capture ends
"""


def test_whole_talk_as_a_file() -> None:
    scenario = parse_scenario(TALK.format(idle="low"))
    performance = play(scenario)
    assert {packet.sop for packet in performance.packets} == {Sop.SOP, Sop.SOP1, Sop.HARD_RESET, Sop.CABLE_RESET}
    packets = [
        second.Packet(
            packet.start_s, "source", packet.data, packet.sop.value, packet.rate_bps,
            flaws=second.Flaws(flip_bits=packet.damage.flipped),
        )
        for packet in performance.packets
    ]
    wave = second.render(packets, second.LineManners(start="edge"), random.Random(0), end_s=performance.duration_s)
    _same(list(performance.wave.edges), wave.changes)
    table = list(csv.reader(io.StringIO(file_bytes(scenario, performance).decode())))
    assert table[0] == ["Time [s]", "CC1"]
    rows = [(float(time), int(level)) for time, level in table[1:]]
    assert rows[0] == (0.0, 0)
    assert rows[-1][0] == pytest.approx(performance.duration_s, abs=1e-9)
    _same(rows[1:-1], wave.changes)


def test_high_idle_differs_only_in_turning_off() -> None:
    performance = play(parse_scenario(TALK.format(idle="high")))
    manners = second.LineManners(idle=1, start="edge")
    packets = [
        second.Packet(
            packet.start_s, "source", packet.data, packet.sop.value, packet.rate_bps,
            flaws=second.Flaws(flip_bits=packet.damage.flipped),
        )
        for packet in performance.packets
    ]
    wave = second.render(packets, manners, random.Random(0), end_s=performance.duration_s)
    ours, theirs = list(performance.wave.edges), wave.changes
    assert [level for _, level in ours] == [level for _, level in theirs]
    pairs = enumerate(zip(ours, theirs, strict=True))
    differing = [place for place, (a, b) in pairs if abs(a[0] - b[0]) >= TOLERANCE_S]
    assert len(differing) == len(packets)
    assert all(ours[place][1] == 1 for place in differing)


many_gaps = st.lists(st.floats(min_value=0.3e-6, max_value=40e-6), min_size=1, max_size=80)


@settings(max_examples=40, deadline=None)
@given(many_gaps, st.sampled_from([4e6, 24e6, 250e3]))
def test_sampling(gaps: list[float], rate_hz: float) -> None:
    edges: list[second.Edge] = []
    now, level = 0.0, 0
    for gap in gaps:
        now += gap
        level ^= 1
        edges.append((now, level))
    ours = Wave(0, edges).sampled(rate_hz)
    theirs = second.Wave(0, list(edges), 0.0, now + 1.0).sampled(rate_hz)
    on_the_tick = any(abs(time * rate_hz - round(time * rate_hz)) < 1e-6 for time, _ in edges)
    if not on_the_tick:  # whether a change at the very sample is seen by it is nobody's to say
        assert [level for _, level in ours.edges] == [level for _, level in theirs.changes]
        assert all(
            abs(a - b) < TOLERANCE_S for (a, _), (b, _) in zip(ours.edges, theirs.changes, strict=True)
        )
