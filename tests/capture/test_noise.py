"""VBUS with much noise: what is kept of it says where the level is, when it moves, and that there is noise.

Nothing but arithmetic on waveforms made by numpy; no outside source.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from pdcheck.capture import open_capture
from pdcheck.capture import waves as waves_module
from pdcheck.capture.levels import outside, reversals
from pdcheck.capture.model import AnalogLine, Role
from pdcheck.capture.waves import ReadValues, WaveBuilder
from pdcheck.errors import CaptureError
from pdcheck.pipeline import check, decode

Floats = NDArray[np.float64]
DEMO = Path(__file__).parents[2] / "captures" / "demo"
BAND_V = 0.020
STEP_S = 1e-6


def kept(volts: Floats, block: int = 20_000, role: Role = Role.VBUS) -> AnalogLine:
    """The line that is kept of samples a microsecond apart that come in blocks."""
    wave = WaveBuilder("VBUS", role, "V", 1.0)
    for start in range(0, len(volts), block):
        rows, values = wave.select(ReadValues(volts[start : start + block]))
        if len(rows):
            wave.push((rows + start) * STEP_S, values)
    return wave.line(1.0)


def held(line: AnalogLine, count: int) -> Floats:
    """The value that the line holds at each sample."""
    places = np.searchsorted(line.times_s, (np.arange(count) + 0.5) * STEP_S) - 1
    found: Floats = line.values[places]
    return found


def noisy(level: Floats, noise_v: float, seed: int) -> Floats:
    out: Floats = level + np.random.default_rng(seed).normal(0, noise_v, len(level))
    return out


@pytest.mark.parametrize("noise_v", [0.012, 0.03, 0.1])
def test_the_level_is_kept_and_most_of_the_noise_is_not(noise_v: float) -> None:
    volts = noisy(np.full(600_000, 5.0), noise_v, 1)
    line = kept(volts)
    late = line.times_s > 0.3
    assert np.count_nonzero(late) < 300_000 * 0.01
    spans = [line.during(start, start + 0.01) for start in np.arange(0.3, 0.58, 0.01)]
    assert all(span is not None and abs(span.typical - 5.0) < BAND_V + noise_v for span in spans)


def test_noise_is_still_seen() -> None:
    line = kept(noisy(np.full(600_000, 5.0), 0.03, 2))
    assert all(reversals(line, start, start + 0.03, 0.021) > 10 for start in np.arange(0.0, 0.57, 0.03))


@pytest.mark.parametrize("block", [3_000, 20_000, 131_072])
def test_a_step_is_kept_where_it_is(block: int) -> None:
    level = np.full(600_000, 5.0)
    level[400_123:] = 9.0
    line = kept(noisy(level, 0.03, 3), block)
    below = outside(line, 0.39, 0.41, high=7.0)
    assert len(below) == 1
    assert below[0].start_s == pytest.approx(400_123 * STEP_S, abs=1.5 * STEP_S)


@pytest.mark.parametrize(("depth_v", "length"), [(0.8, 40), (0.8, 300), (0.5, 5_000), (2.0, 90_000)])
def test_a_dip_is_kept_as_long_as_it_is(depth_v: float, length: int) -> None:
    level = np.full(600_000, 5.0)
    level[400_077 : 400_077 + length] -= depth_v
    line = kept(noisy(level, 0.03, 4))
    found = outside(line, 0.3, 0.6, low=5.0 - depth_v / 2, bridge_s=20e-6)
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(400_077 * STEP_S, abs=3 * STEP_S)
    assert found[0].length_s == pytest.approx(length * STEP_S, abs=6 * STEP_S)


@pytest.mark.parametrize("slope_v", [1e-3, -1e-3, 4e-4])
def test_a_ramp_is_no_noise(slope_v: float) -> None:
    level = np.full(500_000, 12.0)
    level[300_000:] += np.clip(np.arange(200_000) * slope_v, -7, 7)
    line = kept(np.concatenate([noisy(level[:200_000], 0.02, 5), level[200_000:]]))
    off = np.abs(held(line, 500_000)[200_000:] - level[200_000:])
    assert float(off.max()) <= BAND_V + 1e-9


def test_a_ramp_under_noise_is_followed() -> None:
    level = 5.0 + np.concatenate([np.zeros(300_000), np.linspace(0, 4, 100_000), np.full(100_000, 4.0)])
    line = kept(noisy(level, 0.02, 6))
    typical = [line.during(at, at + 1e-3) for at in np.arange(0.3, 0.49, 1e-3)]
    there = [float(level[round(at / STEP_S) + 500]) for at in np.arange(0.3, 0.49, 1e-3)]
    assert all(span is not None and abs(span.typical - want) < 0.08 for span, want in zip(typical, there, strict=True))


def test_cc_in_volts_keeps_every_pulse_whatever_its_noise() -> None:
    level = np.where(np.arange(400_000) // 20 % 2, 1.1, 0.0)
    line = kept(noisy(level, 0.05, 7), role=Role.CC1)
    assert np.count_nonzero(np.diff(held(line, 400_000) > 0.55)) == np.count_nonzero(np.diff(level))


def test_a_short_capture_is_kept_as_finely_as_before() -> None:
    volts = noisy(np.full(20_000, 5.0), 0.03, 8)
    assert float(np.abs(held(kept(volts), 20_000) - volts).max()) <= BAND_V + 1e-9


@pytest.mark.parametrize(("swing_v", "noise_v"), [(1.1, 0.03), (1.1, 0.06), (0.11, 0.004), (0.4, 0.02)])
@pytest.mark.parametrize("busy", [0.01, 0.3, 0.9])
def test_silence_on_cc_is_thinned_and_packets_are_not(swing_v: float, noise_v: float, busy: float) -> None:
    count = 800_000
    packet = (np.arange(count) % 10_000 < 10_000 * busy) & (np.arange(count) > 100_000)
    level = np.where(packet & (np.arange(count) // 20 % 2 == 1), swing_v, 0.0)
    line = kept(noisy(level, noise_v, 9), role=Role.CC1)
    high = held(line, count) > swing_v / 2
    assert np.count_nonzero(np.diff(high)) == np.count_nonzero(np.diff(level))
    late = (line.times_s > 0.4) & ~packet[np.minimum((line.times_s / STEP_S).astype(int), count - 1)]
    if swing_v > 1 and noise_v < 0.05 and busy < 0.5:
        assert np.count_nonzero(late) < 0.1 * (count - np.count_nonzero(packet)) / 2


@pytest.mark.parametrize("noise_v", [0.012, 0.1])
@pytest.mark.parametrize(
    "name",
    ["charger_falls_back.csv", "charger_stays_at_5v.csv", "handheld_before_repair.csv", "tablet_plug_label_up.csv"],
)
def test_noise_changes_no_verdict(name: str, noise_v: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waves_module, "_MUCH_NOISE", 500)
    capture = open_capture(DEMO / name)
    vbus = next(line for line in capture.lines if isinstance(line, AnalogLine) and line.role is Role.VBUS)
    count = int(capture.duration_s / STEP_S)
    line = kept(noisy(held(vbus, count), noise_v, 10))
    assert len(line.times_s) < count / 20
    noisier = replace(capture, lines=tuple(line if one is vbus else one for one in capture.lines))
    clean, found = check(decode(capture)).verdict, check(decode(noisier)).verdict
    assert (found.outcome, found.stopped_at, found.suspect) == (clean.outcome, clean.stopped_at, clean.suspect)
    assert [one.rule for one in found.findings] == [one.rule for one in clean.findings]


@pytest.mark.parametrize(
    ("cell", "volts"), [("\0005", None), ("5\0", None), ("*5", None), ("+5", 5e-3), ("+5000", 5.0), (" 5", 5e-3),
                        ("-5", -5e-3), ("05", 5e-3), ("5", 5e-3), ("5.5", 5.5e-3)],
)  # fmt: skip
def test_a_short_number_ends_where_it_ends(tmp_path: Path, cell: str, volts: float | None) -> None:
    rows = [f"{i / 2e6!r},1,{5000 if i < 140_000 else 9000}" for i in range(220_000)]
    rows[180_000] = f"0.09,1,{cell}"
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [mV]", *rows, ""]))
    if volts is None:
        with pytest.raises(CaptureError) as caught:
            open_capture(path)
        assert caught.value.line == 180_002
        return
    line = open_capture(path).lines[1]
    assert isinstance(line, AnalogLine)
    read = line.during(0.09 + 1e-8, 0.09 + 2e-7)
    assert read is not None and read.typical == pytest.approx(volts)
    assert line.during(0.09 + 6e-7, 0.1) == line.during(0.08, 0.0899)
