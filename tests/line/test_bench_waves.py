"""A third encoder's packets come through poor captures, as raw samples and as rows of changes, and none is made up.

The rows are those of ``poor_captures``; the waves those of ``tests.reference.bench_waves``, whose ports drive low
before they begin, let go of the line 1 to 23 us after the last bit, and each have a bit rate of their own within 8 %.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.line import read_capture
from pdcheck.line.model import Packet
from tests.line.poor_captures import ROWS, Row
from tests.reference import bench_waves
from tests.reference.bench_waves import Bus

NEGOTIATIONS = 14


def compared(bus: Bus, packets: tuple[Packet, ...]) -> tuple[float, int]:
    """The share of packets that came through, and how many were read that nobody sent."""
    left = list(bus.sent)
    made_up = 0
    for packet in packets:
        if packet.intact:
            sent = [one for one in left if packet.start_s < one.end_s and packet.end_s > one.start_s]
            same = [one for one in sent if one.message == bytes(packet.data)]
            made_up += not same
            if same:
                left.remove(same[0])
    return 1 - len(left) / len(bus.sent), made_up


@pytest.mark.parametrize("as_changes", [False, True])
@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.name)
def test_packets_come_through(tmp_path: Path, row: Row, idle: int, as_changes: bool) -> None:
    bus, end_s = bench_waves.talk(40 + idle, NEGOTIATIONS, idle=idle, hurry=0.1, retries=True, objects=0)
    changes = bench_waves.edges(
        bus, skew_s=-row.skew_s, jitter_s=row.jitter_s, spikes=3 if row.spike_s else 0, spike_s=row.spike_s, seed=7
    )
    levels = bench_waves.sample(changes, idle, row.rate_hz, end_s, random.Random(idle).random())
    path = tmp_path / ("capture.csv" if as_changes else "capture.bin")
    if as_changes:
        rows = [0, *bench_waves.changed(levels).tolist(), len(levels) - 1]
        text = "".join(f"{number / row.rate_hz:.9f},{levels[number]}\n" for number in rows)
        path.write_text("Time [s],CC1\n" + text)
    else:
        levels.tofile(path)
    capture = open_capture(path, rate_hz=None if as_changes else row.rate_hz)
    share, made_up = compared(bus, read_capture(capture).packets)
    assert made_up == 0
    assert share >= row.goal - 2 * (row.goal * (1 - row.goal) / len(bus.sent)) ** 0.5


@pytest.mark.parametrize("rest_v", [0.4, 0.9, 1.7])
@pytest.mark.parametrize(
    "poor",
    [
        {"rate_hz": 2e6, "offset_v": 0.3}, {"rate_hz": 2e6, "offset_v": -0.3}, {"rate_hz": 10e6, "hum_v": 0.1},
        {"rate_hz": 4e6, "edge_s": 700e-9, "drift_v": 0.1}, {"rate_hz": 4e6, "clip": (0.0, 0.8)},
        {"rate_hz": 4e6, "bits": 8, "full_v": 20.0},
    ],
    ids=str,
)  # fmt: skip
def test_volts(tmp_path: Path, rest_v: float, poor: dict[str, float]) -> None:
    """Driven 0 to 1.1 V, with 50 mV of noise, slow edges, a ground that is off, hum, drift, clipping, few steps."""
    bus, end_s = bench_waves.talk(60, 4, idle=int(rest_v > 0.55), hurry=0.1)
    poor = dict(poor)
    rate_hz = poor.pop("rate_hz")
    noise_v = 0.02 if "bits" in poor else 0.05
    volts = bench_waves.volts(bus, end_s, rate_hz, rest_v=rest_v, noise_v=noise_v, seed=2, **poor)  # type: ignore[arg-type]
    path = tmp_path / "capture.csv"
    path.write_text(
        "Time [s],CC1 [V]\n" + "".join(f"{row / rate_hz:.9f},{v:.3f}\n" for row, v in enumerate(volts.tolist()))
    )
    assert compared(bus, read_capture(open_capture(path)).packets) == (1.0, 0)
