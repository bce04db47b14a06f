"""Packets of the second encoder come back exactly: bytes, kind, CRC, clock, skew, times."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.line import Crc
from pdcheck.line import Packet as Read
from pdcheck.line.batch import read_clean
from pdcheck.line.bursts import read_burst, read_line, split_bursts
from pdcheck.standard.line_code import Sop
from tests.line.waves import PLAIN, digital, read, talk, wave_of
from tests.reference.second_encoder import ORDERED_SETS, SIGNALS, Flaws, LineManners, Packet, Wave

#: Header and one object of an offer (invented): 5 V at 3 A.
OFFER = bytes.fromhex("61112c910100")
ACCEPT = bytes.fromhex("6303")


def only(found: list[Read]) -> Read:
    assert len(found) == 1
    return found[0]


def edge_of_preamble(packet: Packet, wave: Wave) -> float:
    """The first edge on the line that belongs to the preamble, as it was cut."""
    if not packet.flaws.cut_bits:
        return packet.start_s
    begin = packet.start_s + (packet.flaws.cut_bits - 0.25) / packet.rate_bps - 0.3e-6
    return next(time_s for time_s, _ in wave.changes if time_s >= begin)


@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("sop", ORDERED_SETS)
def test_every_ordered_set(sop: str, idle: int) -> None:
    packet = Packet(1e-3, "", b"" if sop in SIGNALS else OFFER, sop=sop)
    packets, bursts, stray = read([packet], replace(PLAIN, idle=idle))
    got = only(packets)
    assert got.sop == Sop(sop)
    assert got.intact
    assert got.data == packet.payload
    assert got.crc is (Crc.NONE if sop in SIGNALS else Crc.OK)
    assert got.preamble_bits == 64
    assert not bursts and not stray


@st.composite
def sent(draw: st.DrawFn) -> tuple[Packet, LineManners]:
    """A packet as a port may send it, over a line as an analyzer may see it."""
    payload = draw(st.binary(min_size=2, max_size=30))
    sop = draw(st.sampled_from([*ORDERED_SETS] + ["SOP"] * 5))
    cut = draw(st.one_of(st.just(0), st.integers(1, 40)))
    packet = Packet(
        draw(st.floats(1e-3, 10.0)), "", b"" if sop in SIGNALS else payload, sop=sop,
        rate_bps=draw(st.floats(270e3, 330e3)), flaws=Flaws(cut_bits=cut),
    )
    idle = draw(st.integers(0, 1))
    manners = LineManners(
        idle=idle, skew_s=draw(st.floats(-0.4e-6, 0.4e-6)),
        # A driver that turns on low on a line idling high makes an edge of its own: see below.
        start=draw(st.sampled_from(("low", "edge"))) if idle == 0 else "edge",
    )
    return packet, manners


def check(packet: Packet, manners: LineManners, wave: Wave, got: Read) -> None:
    assert got.intact
    assert got.sop == packet.sop
    assert got.data == packet.payload
    assert got.crc is (Crc.NONE if packet.sop in SIGNALS else Crc.OK)
    assert got.bit_rate_bps == pytest.approx(packet.rate_bps, rel=0.005)
    # High pulses are longer than they were sent by what rising edges come early and falling ones late.
    assert got.skew_s == pytest.approx(-manners.skew_s, abs=60e-9)
    assert got.start_s == pytest.approx(edge_of_preamble(packet, wave), abs=1e-6)
    assert got.end_s == pytest.approx(packet.end_s, abs=1e-6)
    assert abs(got.preamble_bits - (64 - packet.flaws.cut_bits)) <= 1
    assert got.jitter_s < 20e-9


@settings(max_examples=200, deadline=None)
@given(sent(), st.integers(0, 99))
def test_what_was_sent_is_read(one: tuple[Packet, LineManners], seed: int) -> None:
    packet, manners = one
    wave = wave_of([packet], manners, seed)
    line = digital(wave)
    packets, bursts, stray = read_line(line.edges_s, line.initial, None)
    check(packet, manners, wave, only(packets))
    assert not bursts
    # Only a driver that lets go of the line late leaves edges that are no part of the packet.
    assert stray <= 2
    alone = read_burst(line.edges_s[: len(line.edges_s) - stray], not line.initial)
    assert alone is not None
    check(packet, manners, wave, alone)


HALF_BIT_EARLY = pytest.mark.xfail(
    strict=False, reason="an edge of the driver up to half a bit (1.67 us) before the preamble is taken for its first"
)


LEADS = [0.3e-6, 0.7e-6, 1.2e-6, 1.6e-6, 2.0e-6, 2.6e-6, 3.3e-6, 5e-6]


@pytest.mark.parametrize(
    ("sop", "lead_s"),
    [
        pytest.param(sop, lead_s, marks=[HALF_BIT_EARLY] if sop in SIGNALS and 1e-6 < lead_s < 1.8e-6 else [])
        for sop in ("Hard Reset", "SOP") for lead_s in LEADS
    ],
)
@pytest.mark.parametrize("jitter_s", [0.0, 120e-9])
def test_the_drivers_turning_on_is_not_the_preamble(sop: str, lead_s: float, jitter_s: float) -> None:
    packet = Packet(1e-3, "", b"" if sop in SIGNALS else ACCEPT, sop=sop)
    wave = wave_of([packet], LineManners(idle=1, start="low", jitter_s=jitter_s))
    assert wave.changes[0][1] == 0 and wave.changes[0][0] < packet.start_s - 0.1e-6
    wave.changes[0] = (packet.start_s - lead_s, 0)
    line = digital(wave)
    got = only(read_line(line.edges_s, line.initial, None)[0])
    assert got.intact and got.data == packet.payload
    assert got.start_s == pytest.approx(packet.start_s, abs=1e-6)
    assert got.preamble_bits == 64


def test_extended_message_of_full_length() -> None:
    """An unchunked extended message may hold 260 bytes behind its two headers (USB PD, MaxExtendedMsgLen)."""
    payload = bytes.fromhex("e2f10401") + random.Random(2).randbytes(260)
    got = only(read([Packet(1e-3, "", payload)])[0])
    assert got.intact and got.data == payload


@pytest.mark.parametrize("drift", [-0.0025, 0.0025])
def test_a_drifting_clock(drift: float) -> None:
    """pBitRate allows 0.25 % within a packet; the longest packet has the hardest end."""
    payload = bytes.fromhex("e2f10401") + random.Random(3).randbytes(260)
    packet = Packet(1e-3, "", payload, flaws=Flaws(drift=drift))
    got = only(read([packet])[0])
    assert got.intact and got.data == payload
    assert got.end_s == pytest.approx(packet.end_s, abs=1e-6)


def test_the_way_of_arrays_and_the_careful_way_agree() -> None:
    """What is read many at a time is what the careful path reads one at a time."""
    rng = random.Random(5)
    packets = talk(120, rng, spread=0.15)
    packets = [
        replace(packet, payload=b"" if sop in SIGNALS else packet.payload, sop=sop)
        for packet in packets
        for sop in [rng.choice(["SOP"] * 4 + ["SOP'", "SOP''", "Hard Reset", "Cable Reset"])]
    ]
    for skew_s, jitter_s, idle in ((0.0, 0.0, 0), (0.3e-6, 20e-9, 1), (-0.5e-6, 60e-9, 0)):
        manners = LineManners(skew_s=skew_s, jitter_s=jitter_s, idle=idle, start="edge")
        line = digital(wave_of(packets, manners))
        starts, ends = split_bursts(line.edges_s, None)
        clean = read_clean(line.edges_s, starts, ends, line.initial)
        assert len(clean) > 50
        for number, fast in clean.items():
            first = int(starts[number])
            slow = read_burst(line.edges_s[first : int(ends[number])], (not line.initial) ^ bool(first % 2))
            assert slow is not None and slow.intact
            assert (fast.sop, fast.data, fast.crc, fast.problem) == (slow.sop, slow.data, slow.crc, slow.problem)
            assert fast.start_s == pytest.approx(slow.start_s, abs=1e-6)
            assert fast.end_s == pytest.approx(slow.end_s, abs=0.3e-6)
            assert fast.bit_rate_bps == pytest.approx(slow.bit_rate_bps, rel=0.002)
            assert fast.skew_s == pytest.approx(slow.skew_s, abs=60e-9)
            assert abs(fast.preamble_bits - slow.preamble_bits) <= 1


def test_polarity_does_not_matter() -> None:
    """BMC has no polarity: a probe that inverts the line reads the same packets."""
    packets = talk(10, random.Random(4))
    line = digital(wave_of(packets))
    one = read_line(line.edges_s, line.initial, None)[0]
    two = read_line(line.edges_s, not line.initial, None)[0]
    assert [p.data for p in one] == [p.data for p in two] == [p.payload for p in packets]
    assert all(p.intact for p in one + two)


def test_times_are_those_of_the_capture_far_from_its_start() -> None:
    packet = Packet(86_400.0, "", OFFER)
    got = only(read([packet])[0])
    assert got.intact and got.data == OFFER
    assert got.start_s == pytest.approx(packet.start_s, abs=1e-6)
    assert got.end_s == pytest.approx(packet.end_s, abs=1e-6)


def test_jitter_is_measured() -> None:
    quiet, shaky = (
        np.median([p.jitter_s for p in read(talk(30, random.Random(1)), replace(PLAIN, jitter_s=rms))[0]])
        for rms in (0.0, 100e-9)
    )
    assert quiet < 1e-9
    assert shaky == pytest.approx(100e-9, rel=0.15)
