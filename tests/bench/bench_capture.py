"""How fast captures are read, beside two table readers that only read the file. One core, one run.

    python tests/bench/bench_capture.py [--megabytes 300] [--times 5]

Needs the ``bench`` extra. Files are made anew in a temporary folder (see ``files.py``); each time is processor time,
the best of some, all readers taking turns.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

os.environ["POLARS_MAX_THREADS"] = "1"  # read when polars is imported

import numpy as np
import polars
import pyarrow
import pyarrow.csv

from pdcheck.capture import open_capture
from pdcheck.pipeline import check, decode
from tests.bench.files import busy_signal, edge_blocks, quiet_signal, sample_blocks, write, written_blocks

SECONDS = 30.0
MOST_ROWS = 1 << 30


def kinds() -> dict[str, tuple[float, Callable[[], Iterator[bytes]]]]:
    """By name: the goal, and what makes the file's bytes."""
    quiet = quiet_signal(SECONDS)
    busy = busy_signal(SECONDS, np.random.default_rng(1))
    edges = busy_signal(SECONDS, np.random.default_rng(2), 0.0025)
    # About zero for a third of a file of 100 MB.
    plugged = replace(quiet_signal(0.4, 0.1), vbus=((0.0, 0.0), (0.12, 5.0)))
    return {
        "equal width, 24 MS/s, mostly silence": (10, lambda: sample_blocks(quiet, 24e6, MOST_ROWS, trim=False)),
        "equal width, 4 MS/s, a packet each 15 ms": (10, lambda: sample_blocks(busy, 4e6, MOST_ROWS, trim=False)),
        "varying width, 24 MS/s, mostly silence": (
            3, lambda: sample_blocks(quiet, 24e6, MOST_ROWS, trim=True, decimals=10)
        ),
        "varying width, 4 MS/s, a packet each 15 ms": (3, lambda: sample_blocks(busy, 4e6, MOST_ROWS, trim=True)),
        "volts, equal width, 12 MS/s": (1.5, lambda: sample_blocks(quiet, 12e6, MOST_ROWS, trim=False, volts=True)),
        "volts, times and volts varying, 12 MS/s": (
            1.5, lambda: sample_blocks(quiet, 12e6, MOST_ROWS, trim=True, volts=True, decimals=10)
        ),
        "volts about zero, scientific notation": (
            1.5, lambda: written_blocks(plugged, 12e6, MOST_ROWS, "Time [s],CC1,VBUS [V]", "{t:.9f},{level},{v:.5e}")
        ),
        "volts and times in scientific notation": (
            1.5, lambda: written_blocks(plugged, 12e6, MOST_ROWS, "Time [s],CC1,VBUS [V]", "{t:.9e},{level},{v:.5e}")
        ),
        "millivolts about zero": (
            1.5, lambda: written_blocks(
                replace(plugged, vbus=((0.0, 0.0), (0.12, 5000.0))), 12e6, MOST_ROWS, "Time [s],CC1,VBUS [mV]",
                "{t:.9f},{level},{v:.0f}", 12.0,
            )
        ),
        "edges, nanoseconds": (1, lambda: edge_blocks(edges)),
        "edges, 13 decimals": (1, lambda: edge_blocks(edges, decimals=13, trim=True)),
    }  # fmt: skip


def best(works: list[Callable[[], object]], times: int) -> list[float]:
    """Processor seconds of the fastest run of each, taking turns."""
    found = [float("inf")] * len(works)
    for _ in range(times):
        for place, work in enumerate(works):
            start = time.process_time()
            work()
            found[place] = min(found[place], time.process_time() - start)
    return found


def main() -> None:
    """Make the files, time all readers, print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megabytes", type=int, default=300)
    parser.add_argument("--times", type=int, default=5)
    options = parser.parse_args()
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    pyarrow.set_cpu_count(1)
    single = pyarrow.csv.ReadOptions(use_threads=False)
    print("| input | MB | pyarrow s | polars s | open_capture s | to the report s | open ratio | whole ratio | goal |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    with tempfile.TemporaryDirectory() as folder:
        for name, (goal, blocks) in kinds().items():
            path = write(Path(folder) / "capture.csv", blocks(), options.megabytes * 1_000_000)
            arrow, pole, opened, whole = best([
                lambda path=path: pyarrow.csv.read_csv(path, read_options=single),  # type: ignore[misc]
                lambda path=path: polars.read_csv(path),  # type: ignore[misc]
                lambda path=path: open_capture(path),  # type: ignore[misc]
                lambda path=path: check(decode(open_capture(path))),  # type: ignore[misc]
            ], options.times)  # fmt: skip
            faster = min(arrow, pole)
            print(
                f"| {name} | {path.stat().st_size / 1e6:.0f} | {arrow:.3f} | {pole:.3f} | {opened:.3f} | {whole:.3f} "
                f"| {faster / opened:.2f} | {faster / whole:.2f} | {goal:g} |"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
