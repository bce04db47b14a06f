"""A poor capture of a good negotiation: nobody is accused, and the report says what to change at the capture first.

The waves are those of ``tests.reference.bench_waves``, which shares no code with the package.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.pipeline import check, decode
from pdcheck.report.model import Report
from pdcheck.verdict import StepState
from tests.reference import bench_waves


def judged(path: Path, seed: int, rate_hz: float, *, skew_s: float = 0.0, jitter_s: float = 5e-9) -> Report:
    """The report on a raw file of one good negotiation."""
    bus, end_s = bench_waves.talk(seed, idle=seed % 2, jump=False, before_s=1e-3, ready_s=3e-3)
    changes = bench_waves.edges(bus, skew_s=skew_s, jitter_s=jitter_s, seed=seed)
    bench_waves.sample(changes, bus.idle, rate_hz, end_s, 0.3).tofile(path)
    return check(decode(open_capture(path, rate_hz=rate_hz)))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("rate_hz", [0.7e6, 0.5e6, 0.1e6])
def test_too_slow(tmp_path: Path, rate_hz: float, seed: int) -> None:
    report = judged(tmp_path / "slow.bin", seed, rate_hz)
    said = report.verdict
    if said.outcome.value == "pass":  # every checksum fits: nothing was guessed, but it was luck
        assert [f.rule for f in said.findings] == ["capture-poor"]
        return
    assert said.outcome.value == "inconclusive"
    assert str(said.suspect) == "capture"
    assert "takes a sample every" in said.summary
    assert said.next[0].startswith("Capture at 4 MS/s or more")
    assert StepState.NOT_REACHED not in {s.state for s in said.steps}, "a step that it cannot show is no missing step"


@pytest.mark.parametrize("seed", [1, 3, 4, 6])
def test_threshold_far_off_the_middle(tmp_path: Path, seed: int) -> None:
    said = judged(tmp_path / "skewed.bin", seed, 2e6, skew_s=1.3e-6, jitter_s=50e-9).verdict
    assert said.outcome.value == "inconclusive"
    assert str(said.suspect) == "capture"
    assert said.next[0].startswith("Check the threshold")


def test_scraps_of_traffic_are_not_called_toggling(tmp_path: Path) -> None:
    said = judged(tmp_path / "scraps.bin", 0, 4e6, skew_s=-1.6e-6, jitter_s=50e-9).verdict
    assert said.outcome.value == "inconclusive"
    assert "no packet was sent" not in said.summary
    assert said.next[0].startswith("Check the threshold")


def test_noise(tmp_path: Path) -> None:
    said = judged(tmp_path / "noisy.bin", 0, 24e6, jitter_s=300e-9).verdict
    assert said.outcome.value == "inconclusive"
    assert "off the bit grid" in said.summary
    assert said.next[0].startswith("Give the probe a short ground lead")


@pytest.mark.parametrize("rate_hz", [24e6, 8e6, 4e6, 2e6])
def test_a_good_capture_is_not_called_poor(tmp_path: Path, rate_hz: float) -> None:
    said = judged(tmp_path / "good.bin", 2, rate_hz, skew_s=0.2e-6, jitter_s=20e-9).verdict
    assert said.outcome.value == "pass"
    assert not said.findings


@pytest.mark.parametrize("inside_s", [60e-6, 250e-6, 500e-6])
def test_a_capture_that_ends_inside_a_packet_says_so(tmp_path: Path, inside_s: float) -> None:
    bus, _ = bench_waves.talk(41, before_s=2e-3)
    end_s = bus.sent[2].start_s + inside_s  # the Request
    rows = [f"{at_s:.9f},{level}" for at_s, level in [(0.0, bus.idle), *bench_waves.edges(bus)] if at_s < end_s]
    path = tmp_path / "cut.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    said = check(decode(open_capture(path))).verdict
    assert said.outcome.value == "inconclusive"
    assert said.summary == "The capture ends inside a packet, just where the next step should be."
    assert said.next[0].startswith("Start the capture first")
    assert StepState.NOT_REACHED not in {s.state for s in said.steps}
