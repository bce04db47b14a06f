"""CC in volts as exports hold it: two values only, rows at changes only, no unit of time, samples left out.

The waves are those of ``tests.reference.bench_waves``, made from the open specification's rules.
"""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import AnalogLine, Capture, Role, open_capture
from pdcheck.line import read_capture
from tests.line.waves import capture
from tests.reference import bench_waves
from tests.reference.bench_waves import Bus, talk


def all_come_through(got: Capture, bus: Bus) -> None:
    packets = read_capture(got).packets
    assert [bytes(packet.data) for packet in packets if packet.intact] == [one.message for one in bus.sent]
    assert not [packet for packet in packets if not packet.intact]


@pytest.mark.parametrize("idle", [0, 1])
def test_samples_left_out_before_steps(idle: int) -> None:
    """A reader need not keep the sample in front of a step, as where the step is the first row of a piece it reads."""
    bus, end_s = talk(3, 2, idle=idle)
    levels = bench_waves.sample(bus.changes, idle, 4e6, end_s, 0.3)
    rows = np.concatenate([[0], bench_waves.changed(levels)])
    kept = np.union1d(rows, rows[::3] - 1)[1:]
    line = AnalogLine("CC1", Role.CC1, "V", kept / 4e6, levels[kept] * 1.1)
    all_come_through(capture(line, period_s=2.5e-7), bus)


@pytest.mark.parametrize("rest_v", [0.0, 0.4, 1.7])
def test_rows_at_changes_only(tmp_path: Path, rest_v: float) -> None:
    """With rows of a slow VBUS between them: a level holds until the next row, and is no ramp that leads to it."""
    bus, end_s = talk(4, 2, idle=0)
    driven = np.array(bus.drives)
    rows = []
    moments = sorted({0.0, end_s, *(at for at, _ in bus.changes), *(at for _, at in bus.drives),
                      *np.arange(0.0, end_s, 1e-4).tolist()})  # fmt: skip
    times = np.array([at for at, _ in bus.changes])
    for at in moments:
        place = int(np.searchsorted(times, at, side="right"))
        level = bus.changes[place - 1][1] if place else 0
        busy = bool(((driven[:, 0] <= at) & (at < driven[:, 1])).any())
        rows.append(f"{at * 1e6:.3f},{level * 1.1 if busy else rest_v:.2f},5.05\n")
    path = tmp_path / "capture.csv"
    path.write_text("Time,CC1,VBUS\n(us),(V),(V)\n" + "".join(rows))
    all_come_through(open_capture(path), bus)


@pytest.mark.parametrize("head", ["Time,CH1,CH2\n", ""])
@pytest.mark.parametrize(("scale", "digits"), [(1.0, 9), (1e3, 6), (1e6, 3), (1e9, 0)])
def test_no_unit_of_time(tmp_path: Path, scale: float, digits: int, head: str) -> None:
    bus, end_s = talk(5, 2, idle=0)
    volts = bench_waves.volts(bus, end_s, 4e6, noise_v=0.02, bits=8)
    path = tmp_path / "capture.csv"
    path.write_text(head + "".join(f"{n / 4e6 * scale:.{digits}f},{v:.3f},5.05\n" for n, v in enumerate(volts)))
    all_come_through(open_capture(path), bus)


def test_no_unit_of_time_and_uneven_rows(tmp_path: Path) -> None:
    bus, end_s = talk(6, 2, idle=0)
    rng = random.Random(1)
    volts = bench_waves.volts(bus, end_s, 5e6, noise_v=0.02)
    path = tmp_path / "capture.csv"
    rows = (f"{(n + rng.uniform(-0.2, 0.2)) / 5 + 10:.4f},{v:.3f}\n" for n, v in enumerate(volts))
    path.write_text("Time,CH1\n" + "".join(rows))
    all_come_through(open_capture(path), bus)


@pytest.mark.parametrize("rate_hz", [4e6, 12e6])
@pytest.mark.parametrize("rest_v", [0.0, 0.9])
def test_packets_that_hum_carries_past_the_threshold_are_no_silence(
    tmp_path: Path, rate_hz: float, rest_v: float
) -> None:
    """What cannot be read is said to be there; nobody is accused of a silence that the probe made."""
    bus, end_s = talk(7, 3, idle=0)
    volts = bench_waves.volts(bus, end_s, rate_hz, high_v=0.6, rest_v=rest_v, hum_v=0.3, bits=8, full_v=5, seed=3)
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1 [V]\n" + "".join(f"{n / rate_hz:.9f},{v:.3f}\n" for n, v in enumerate(volts)))
    got = read_capture(open_capture(path))
    shown = [(p.start_s, p.end_s) for p in got.packets] + [(b.start_s, b.end_s) for b in got.bursts if b.like_traffic]
    assert 0 < got.quality.packets < len(bus.sent)
    for one in bus.sent:
        middle_s = (one.start_s + one.end_s) / 2
        assert any(start <= middle_s <= end for start, end in shown), one
