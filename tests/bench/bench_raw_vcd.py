"""How fast raw samples and value change dumps are read, beside plain reading and pyvcd's tokenizer. One core, one run.

    python tests/bench/bench_raw_vcd.py [--megabytes 200]

Needs the ``bench`` extra. Files are made anew in a temporary folder; each time is the best of three (pyvcd: of one).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from vcd.reader import tokenize

from pdcheck.capture import open_capture
from pdcheck.pipeline import check, decode
from tests.bench.files import busy_signal, quiet_signal

RATE_HZ = 24e6
BUFFERS = (1 << 18, 1 << 20)


def make_raw(path: Path, count: int, size: int, busy: bool) -> None:
    """Samples of ``size`` bytes; the lowest channel carries a packet each 30 ms, or a negotiation each 5 s."""
    samples = count // size
    length_s = samples / RATE_HZ
    signal = busy_signal(length_s, np.random.default_rng(1), 0.03) if busy else quiet_signal(length_s)
    flips = np.zeros(samples, np.uint8 if size == 1 else np.uint16)
    flips[0] = signal.initial
    np.bitwise_xor.at(flips, np.ceil(signal.edges_s * RATE_HZ).astype(np.int64), 1)
    np.bitwise_xor.accumulate(flips).tofile(path)


def make_dump(path: Path, changes: int, mixed: bool) -> None:
    """A dump with a line of its own for each time and each change, as pyvcd writes it."""
    signal = busy_signal(changes / 250 * 0.0025, np.random.default_rng(2), 0.0025)
    times = np.rint(signal.edges_s * 1e9).astype(np.int64).tolist()
    with path.open("w") as out:
        out.write("$timescale 1 ns $end\n$scope module bench $end\n$var wire 1 ! CC1 $end\n")
        out.write("$var wire 8 # port $end\n$var real 64 % VBUS $end\n$upscope $end\n$enddefinitions $end\n")
        out.write(f"#0\n$dumpvars\n{signal.initial}!\nb0 #\nr5 %\n$end\n")
        for place, now in enumerate(times):
            out.write(f"#{now}\n{(place + 1 + signal.initial) & 1}!\n")
            if mixed:
                out.write(f"b{place * 7 & 255:b} #\nr{5 + place % 10 / 1000:.6g} %\n")


def read_plainly(path: Path, size: int) -> None:
    """Nothing but read into a buffer."""
    view = memoryview(bytearray(size))
    with path.open("rb", buffering=0) as stream:
        while stream.readinto(view):
            pass


def tokens(path: Path) -> int:
    """Nothing but pyvcd's tokens."""
    with path.open("rb") as stream:
        return sum(1 for _ in tokenize(stream))


def best(work: Callable[[], object], times: int = 3) -> float:
    """Seconds of processor time of the fastest of some runs; other work on the machine does not count."""
    found = []
    for _ in range(times):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def main() -> None:
    """Make the files, time, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megabytes", type=int, default=200)
    wanted = parser.parse_args().megabytes
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    with tempfile.TemporaryDirectory() as folder:
        print(
            "| raw samples | MB | plain reading s (256 KiB, 1 MiB) | open_capture s | to the report s | open ratio "
            "| whole ratio | goal |"
        )
        print("| --- | --- | --- | --- | --- | --- | --- | --- |")
        for size, busy in ((1, False), (2, False), (1, True), (2, True)):
            path = Path(folder) / f"raw{size}.bin"
            make_raw(path, wanted * 1_000_000, size, busy)
            plain = [best(lambda path=path, room=room: read_plainly(path, room)) for room in BUFFERS]  # type: ignore[misc]
            opened = best(lambda path=path: open_capture(path, rate_hz=RATE_HZ))  # type: ignore[misc]
            whole = best(lambda path=path: check(decode(open_capture(path, rate_hz=RATE_HZ))))  # type: ignore[misc]
            shown = ", ".join(f"{seconds:.3f}" for seconds in plain)
            print(
                f"| {size} byte a sample, {'a packet each 30 ms' if busy else 'mostly silence'} | {wanted} | {shown} "
                f"| {opened:.3f} | {whole:.3f} | {min(plain) / opened:.2f} "
                f"| {min(plain) / whole:.2f} | 0.33 |"
            )
            sys.stdout.flush()
        print(
            "\n| dump | MB | pyvcd's tokenizer s | open_capture s | to the report s | open ratio | whole ratio | goal |"
        )
        print("| --- | --- | --- | --- | --- | --- | --- | --- |")
        for name, mixed in (("one line", False), ("one line, eight-bit port, real variable", True)):
            path = Path(folder) / f"{mixed}.vcd"
            make_dump(path, 400_000, mixed)
            theirs = best(lambda path=path: tokens(path), 1)  # type: ignore[misc]
            ours = best(lambda path=path: open_capture(path))  # type: ignore[misc]
            whole = best(lambda path=path: check(decode(open_capture(path))))  # type: ignore[misc]
            size_mb = path.stat().st_size / 1e6
            print(
                f"| {name} | {size_mb:.1f} | {theirs:.3f} | {ours:.3f} | {whole:.3f} | {theirs / ours:.0f} "
                f"| {theirs / whole:.0f} | 30 |"
            )
            sys.stdout.flush()


if __name__ == "__main__":
    main()
