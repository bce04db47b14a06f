"""Edges whose times are coarse, or jitter: read many at a time as well, and as the careful path reads them."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from pdcheck.line.batch import read_clean
from pdcheck.line.bursts import read_burst, read_line, split_bursts
from tests.line.waves import PLAIN, came_through, digital, made_up, talk
from tests.reference.second_encoder import Packet, render

Floats = NDArray[np.float64]


def edges_of(packets: list[Packet], idle: int, jitter_s: float) -> tuple[Floats, bool]:
    manners = replace(PLAIN, idle=idle, jitter_s=jitter_s)
    line = digital(render(packets, manners, random.Random(1), end_s=packets[-1].end_s + 1e-3))
    return line.edges_s, bool(line.initial)


def coarsened(edges: Floats, step_s: float, how: str) -> Floats:
    """Times as an exporter prints them that has so few decimals; an edge that falls on the one before is lost."""
    rounded = {"nearest": np.rint, "down": np.floor, "up": np.ceil}[how](edges / step_s) * step_s
    return np.asarray(np.unique(rounded), np.float64)


@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("how", ["nearest", "down", "up"])
@pytest.mark.parametrize("step_s", [1e-6, 0.5e-6, 0.8e-6])
def test_times_to_a_microsecond_need_no_careful_look(step_s: float, how: str, idle: int) -> None:
    packets = [replace(one, rate_bps=(276e3, 300e3, 324e3)[n % 3]) for n, one in enumerate(talk(60, random.Random(2)))]
    packets = [replace(one, start_s=1e-3 + n * 2e-3) for n, one in enumerate(packets)]
    exact, initial = edges_of(packets, idle, 0.0)
    edges = coarsened(exact, step_s, how)
    assert len(edges) == len(exact)
    starts, ends = split_bursts(edges, step_s)
    found = read_clean(edges, starts, ends, initial)
    assert len(found) >= 0.95 * len(packets)
    for number, packet in found.items():
        burst = edges[starts[number] : ends[number]]
        careful = read_burst(burst, first_rising=(not initial) ^ bool(starts[number] % 2))
        assert careful is not None and (packet.data, packet.sop, packet.crc) == (careful.data, careful.sop, careful.crc)
        # Coarse times may hide where the preamble begins by an edge or two.
        assert packet.start_s == pytest.approx(careful.start_s, abs=8e-6)
        assert packet.end_s == pytest.approx(careful.end_s, abs=step_s)
        assert packet.bit_rate_bps == pytest.approx(careful.bit_rate_bps, rel=0.005)
    got, bursts, _ = read_line(edges, initial, step_s)
    assert came_through(packets, got) == [True] * len(packets)
    assert not bursts


@pytest.mark.parametrize("jitter_s", [0.15e-6, 0.25e-6, 0.4e-6, 0.6e-6])
def test_jitter_makes_no_packet_up(jitter_s: float) -> None:
    packets = talk(120, random.Random(3))
    edges, initial = edges_of(packets, 1, jitter_s)
    got, _, _ = read_line(np.asarray(np.unique(edges), np.float64), initial, None)
    assert made_up(packets, got) == []
