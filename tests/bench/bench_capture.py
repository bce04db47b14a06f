"""How fast captures are read, beside two table readers that only read the file. One core, one run.

    python tests/bench/bench_capture.py [--megabytes 100]

Needs the ``bench`` extra. Files are made anew in a temporary folder; each time is the best of three.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ["POLARS_MAX_THREADS"] = "1"  # read when polars is imported

import numpy as np
import polars
import pyarrow
import pyarrow.csv

from pdcheck.capture import open_capture
from pdcheck.pipeline import check, decode

STEP = 2.5e-7
GOALS = {"equal width": 10.0, "varying width": 3.0, "volts": 1.5, "volts with minus": 1.5, "edges": 1.0}


def traffic(count: int, rng: np.random.Generator) -> np.ndarray:
    """Levels of ``count`` samples: a burst of bit-long and half-bit-long stretches each 60,000, silence between."""
    flips = np.zeros(count, np.uint8)
    for start in range(20_000, count - 5_000, 60_000):
        flips[start + np.cumsum(rng.choice([6, 7, 13], 300))] ^= 1
    return np.cumsum(flips) & 1


def make(folder: Path, megabytes: int) -> dict[str, Path]:
    """The files, about as large as asked for."""
    rng = np.random.default_rng(1)
    count = megabytes * 1_000_000 // 21
    levels = traffic(count, rng)
    volts = np.where(np.arange(count) < count // 4, 0.0, 5.0) + rng.normal(0, 0.006, count)
    moments = np.cumsum(rng.choice([1.65e-6, 3.3e-6], count) + rng.normal(0, 2e-8, count))
    two, three = "Time [s],CC1\n", "Time [s],CC1,VBUS [V]\n"
    kinds: dict[str, tuple[str, Callable[[int], str]]] = {
        "equal width": (two, lambda i: f"{i * STEP:.9f},{levels[i]}\n"),
        "varying width": (two, lambda i: f"{i * STEP:.12g},{levels[i]}\n"),
        "volts": (three, lambda i: f"{i * STEP:.9f},{levels[i]},{abs(volts[i]):.4f}\n"),
        "volts with minus": (three, lambda i: f"{i * STEP:.9f},{levels[i]},{volts[i]:.4f}\n"),
        "edges": (two, lambda i: f"{moments[i]:.9f},{i & 1}\n"),
    }
    out: dict[str, Path] = {}
    for name, (header, row) in kinds.items():
        out[name] = folder / f"{name.replace(' ', '_')}.csv"
        with out[name].open("w") as file:
            file.write(header)
            for start in range(0, count, 100_000):
                file.write("".join(map(row, range(start, min(count, start + 100_000)))))
    return out


def best(work: Callable[[], object], times: int = 3) -> float:
    """Seconds of the fastest of some runs."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def main() -> None:
    """Make the files, time all readers, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megabytes", type=int, default=100)
    wanted = parser.parse_args().megabytes
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    pyarrow.set_cpu_count(1)
    single = pyarrow.csv.ReadOptions(use_threads=False)
    print("| input | MB | pyarrow s | polars s | open_capture s | to the report s | open ratio | whole ratio | goal |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as folder:
        for name, path in make(Path(folder), wanted).items():
            arrow = best(lambda path=path: pyarrow.csv.read_csv(path, read_options=single))  # type: ignore[misc]
            pole = best(lambda path=path: polars.read_csv(path))  # type: ignore[misc]
            opened = best(lambda path=path: open_capture(path))  # type: ignore[misc]
            whole = best(lambda path=path: check(decode(open_capture(path))))  # type: ignore[misc]
            faster = min(arrow, pole)
            print(
                f"| {name} | {path.stat().st_size / 1e6:.0f} | {arrow:.3f} | {pole:.3f} | {opened:.3f} | {whole:.3f} "
                f"| {faster / opened:.2f} | {faster / whole:.2f} | {GOALS[name]:g} |"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
