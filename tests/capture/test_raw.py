"""Raw samples: one or two bytes a sample, laid out by hand and by numpy."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdcheck.capture import Capture, DigitalLine, Role, open_capture
from pdcheck.errors import CaptureError


def digital(capture: Capture, channel: int) -> DigitalLine:
    line = capture.lines[channel]
    assert isinstance(line, DigitalLine)
    return line


def test_by_hand(tmp_path: Path) -> None:
    path = tmp_path / "samples.bin"
    path.write_bytes(bytes([0b01, 0b01, 0b01, 0b11, 0b11, 0b10, 0b10, 0b10, 0b00, 0b00, 0b00]))
    capture = open_capture(path, rate_hz=1e6, roles={Role.CC1: "2", Role.CC2: "channel 0"})
    assert (capture.kind, capture.sample_period_s) == ("raw", 1e-6)
    assert capture.duration_s == pytest.approx(10e-6)
    assert [line.name for line in capture.lines] == [f"channel {n}" for n in range(8)]
    assert [line.role for line in capture.lines[:3]] == [Role.CC2, Role.CC1, Role.OTHER]
    assert digital(capture, 0).initial and digital(capture, 0).edges_s.tolist() == pytest.approx([5e-6])
    assert not digital(capture, 1).initial
    assert digital(capture, 1).edges_s.tolist() == pytest.approx([3e-6, 8e-6])


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    size=st.sampled_from([1, 2]), channel=st.integers(0, 15), idle=st.integers(0, 0xFFFF),
    silence=st.sampled_from([0, 1, 5000, 300_000]), steps=st.lists(st.integers(3, 400), min_size=6, max_size=60),
)  # fmt: skip
def test_every_edge_of_one_channel(
    tmp_path: Path, size: int, channel: int, idle: int, silence: int, steps: list[int]
) -> None:
    channel %= 8 * size
    idle &= (1 << 8 * size) - 1
    times = silence + np.cumsum(steps)
    levels = np.searchsorted(times, np.arange(int(times[-1]) + 50), side="right") & 1
    samples = (idle ^ (levels << channel)).astype(f"<u{size}")
    path = tmp_path / "samples"
    path.write_bytes(samples.tobytes())
    capture = open_capture(path, rate_hz=24e6)
    if size == 2 and idle & 0xFF == idle >> 8 and len(capture.lines) == 8:
        return  # both halves alike: nothing tells two bytes from one until the channel moves
    assert len(capture.lines) == 8 * size
    line = digital(capture, channel)
    assert line.initial == bool(idle >> channel & 1)
    assert (line.edges_s * 24e6).tolist() == pytest.approx(times.tolist())
    assert not any(len(digital(capture, other).edges_s) for other in range(8 * size) if other != channel)
    assert capture.duration_s == pytest.approx((len(samples) - 1) / 24e6)


def test_all_channels_in_traffic(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    samples = np.repeat(rng.integers(0, 256, 40_000).astype(np.uint8), rng.integers(5, 30, 40_000))
    path = tmp_path / "samples.raw.gz"
    path.write_bytes(gzip.compress(samples.tobytes()))
    capture = open_capture(path, rate_hz=1.0)
    for channel in range(8):
        bits = samples >> channel & 1
        assert digital(capture, channel).edges_s.tolist() == (np.flatnonzero(bits[1:] != bits[:-1]) + 1).tolist()


def test_without_a_rate(tmp_path: Path) -> None:
    path = tmp_path / "samples.bin"
    path.write_bytes(bytes(5000))
    with pytest.raises(CaptureError, match="--rate"):
        open_capture(path)


@pytest.mark.parametrize("rate", [0.0, -1.0, float("nan"), float("inf")])
def test_a_rate_that_is_none(tmp_path: Path, rate: float) -> None:
    path = tmp_path / "samples.bin"
    path.write_bytes(bytes(5000))
    with pytest.raises(CaptureError, match="rate"):
        open_capture(path, rate_hz=rate)


def test_a_channel_that_is_not_there(tmp_path: Path) -> None:
    path = tmp_path / "samples.bin"
    path.write_bytes(bytes(5000))
    with pytest.raises(CaptureError, match="channel 7"):
        open_capture(path, rate_hz=1e6, roles={Role.CC1: "channel 8"})


def test_noise_beyond_measure_ends(tmp_path: Path) -> None:
    path = tmp_path / "noise.bin"
    path.write_bytes(np.random.default_rng(2).integers(0, 256, 6_000_000).astype(np.uint8).tobytes())
    with pytest.raises(CaptureError, match="noise"):
        open_capture(path, rate_hz=1e6)


def test_text_is_not_taken_for_samples_though_a_rate_is_given(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n0,1\n1,0\n")
    assert open_capture(path, rate_hz=1e6).kind == "csv-edges"


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("size", [1, 2])
def test_every_change_is_found_wherever_it_stands(seed: int, size: int, tmp_path: Path) -> None:
    """Against the plain difference of neighbours: slow channels, bursts, glitches, at the borders of pieces as well."""
    rng = np.random.default_rng(seed)
    dtype = np.uint8 if size == 1 else np.uint16
    samples = np.full(int(rng.integers(2 << 20, 5 << 20)), rng.integers(0, 4), dtype)
    for _ in range(int(rng.integers(1, 40))):
        at, length = int(rng.integers(len(samples))), int(rng.choice([1, 2, 8, 100, 5_000, 90_000, 600_000]))
        samples[at : at + length : int(rng.choice([1, 1, 2]))] ^= dtype(1 << rng.integers(8 * size))
    borders = np.arange(4096 // size, len(samples), 4096 // size)
    samples[rng.choice(borders, 20) - rng.integers(0, 2, 20)] ^= dtype(1)
    path = tmp_path / "a.bin"
    samples.tofile(path)
    capture = open_capture(path, rate_hz=1e6)
    if capture.sample_period_s is None or len(capture.lines) != 8 * size:
        return  # a file of few changes may pass for samples of the other size
    for channel, line in enumerate(capture.lines):
        assert isinstance(line, DigitalLine)
        bits = samples >> dtype(channel) & dtype(1)
        assert np.array_equal(np.rint(line.edges_s * 1e6), np.flatnonzero(bits[1:] != bits[:-1]) + 1)
