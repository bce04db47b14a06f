"""Packets of which the quick path can take no bit at all: one alone in a capture, its preamble disturbed early.

The waves are those of ``tests.reference.bench_waves``, made from the open specification's rules.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.line import read_capture
from tests.reference import bench_waves


@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("place", [3, 4, 5])
def test_a_lone_packet_with_an_edge_of_its_preamble_off(tmp_path: Path, idle: int, place: int) -> None:
    bus = bench_waves.Bus(random.Random(5), idle, 1e-3)
    bus.send(bench_waves.header(bench_waves.GOOD_CRC, 2, source=False), 300e3)
    changes = list(bus.changes)
    at_s, level = changes[place]
    changes[place] = (at_s + 0.25 / 300e3, level)
    rows = "".join(f"{at_s:.9f},{level}\n" for at_s, level in [(0.0, idle), *changes, (bus.now_s + 1e-3, idle)])
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n" + rows)
    packets = read_capture(open_capture(path)).packets
    assert [bytes(packet.data) for packet in packets if packet.intact] == [bus.sent[0].message]
