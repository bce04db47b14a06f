"""A file is called samples only where one step holds from its first row to its last."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import Capture, DigitalLine, open_capture


def read(folder: Path, rows: list[str], header: str = "Time [s],CC1,VBUS [V]") -> Capture:
    path = folder / "capture.csv"
    path.write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return open_capture(path)


def volts_each_millisecond(seed: int, count: int, shown: str) -> tuple[list[str], list[float]]:
    """A row each millisecond and one more at each change of CC, late in the file, as some analyzers export."""
    rng = random.Random(seed)
    edges = sorted(round(0.3 + 0.02 * rng.random(), 9) for _ in range(count))
    rows = sorted({*((tick * 1e-3, 0) for tick in range(400)), *((edge, 1) for edge in edges)})
    level, out = 0, []
    for time, toggles in rows:
        level ^= toggles
        out.append(f"{shown % time},{level},{5 + 0.006 * rng.uniform(-1, 1):.4f}")
    return out, edges


@pytest.mark.parametrize("shown", ["%.9f", "%.9g"])
@pytest.mark.parametrize("count", [1, 2, 300])
def test_a_steady_start_does_not_make_samples(tmp_path: Path, shown: str, count: int) -> None:
    rows, edges = volts_each_millisecond(count, count, shown)
    capture = read(tmp_path, rows)
    assert capture.kind == "csv-edges"
    assert capture.sample_period_s is None
    line = capture.lines[0]
    assert isinstance(line, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx(edges, abs=1e-12)


@pytest.mark.parametrize("negative", [False, True])  # a sign now and then: rows of varying width
@pytest.mark.parametrize("broken", [None, 0, 50_000, 99_000])
def test_one_row_too_many_anywhere(tmp_path: Path, negative: bool, broken: int | None) -> None:
    rows = [
        f"{i * 2.5e-7:.9f},{i // 1000 % 2},{'-' if negative and i % 3 == 0 else ''}0.0012" for i in range(100_000)
    ]
    if broken is not None:
        rows.insert(broken + 1, f"{broken * 2.5e-7 + 1e-7:.9f},{broken // 1000 % 2},0.0012")
    capture = read(tmp_path, rows)
    assert capture.kind == ("csv-samples" if broken is None else "csv-edges")
    assert capture.sample_period_s == (None if broken is not None else pytest.approx(2.5e-7, rel=1e-9))


def test_missing_samples(tmp_path: Path) -> None:
    ticks = [i for i in range(60_000) if not 40_000 <= i < 40_100]
    capture = read(tmp_path, [f"{i * 2.5e-7:.12g},{i // 1000 % 2},0" for i in ticks])
    assert capture.sample_period_s is None
    assert capture.duration_s == pytest.approx(59_999 * 2.5e-7)


@pytest.mark.parametrize("shown", ["%.6f", "%.6g", "%.5e"])
def test_rounding_is_no_change_of_step(tmp_path: Path, shown: str) -> None:
    # 4 MS/s up to 0.25 s: six digits after the point, or six in all, no longer tell the rows apart.
    level = np.zeros(1_000_000, int)
    level[900_000:900_007] = 1
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n" + "".join(f"{shown % (i * 2.5e-7)},{bit}\n" for i, bit in enumerate(level)))
    capture = open_capture(path)
    assert capture.kind == "csv-samples"
    assert capture.sample_period_s == pytest.approx(2.5e-7, rel=1e-5)
    line = capture.lines[0]
    assert isinstance(line, DigitalLine)
    assert np.diff(line.edges_s).tolist() == pytest.approx([7 * 2.5e-7], rel=1e-4)
