"""Captures made worse: slower, skewed, trembling, with spikes, noise and holes, by a wrong threshold, upside down.

Why it is: the worst that a poor capture may do is to accuse somebody. Whatever is done to the captures of the families,
no innocent party may be named by a failing verdict::

    python -m tests.reference.worsened --seed 1 --count 10      # each family so often, three ways each

What is printed names an innocent party though the good capture does not. A hole after which nothing more is said is the
one way that can: nobody can see it.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture import open_capture
from pdcheck.capture.model import Capture, DigitalLine
from pdcheck.pipeline import check, decode
from tests.reference.families import FAMILIES, Drawn, draw, outcome, write_family
from tests.reference.fast import said

Edges = NDArray[np.float64]


def in_order(edges: Edges) -> Edges:
    """Edges that overtook each other take each other's pulse away."""
    kept: list[float] = []
    for edge in edges.tolist():
        if kept and edge <= kept[-1]:
            kept.pop()
        else:
            kept.append(edge)
    return np.array(kept)


def sampled(rate_hz: float) -> Callable[[DigitalLine, random.Random], Edges]:
    """Levels looked at so often a second: a pulse between two looks is not seen."""

    def way(line: DigitalLine, rng: random.Random) -> Edges:
        phase_s = rng.uniform(0.0, 1 / rate_hz)
        seen, counts = np.unique(np.ceil((line.edges_s - phase_s) * rate_hz), return_counts=True)
        return seen[counts % 2 == 1] / rate_hz + phase_s

    return way


def skewed(by_s: float) -> Callable[[DigitalLine, random.Random], Edges]:
    """Rising edges come later (or sooner) than they are."""

    def way(line: DigitalLine, rng: random.Random) -> Edges:
        rising = (np.arange(len(line.edges_s)) % 2 == 0) ^ line.initial
        return in_order(line.edges_s + np.where(rising, by_s * rng.uniform(0.7, 1.0), 0.0))

    return way


def trembling(by_s: float) -> Callable[[DigitalLine, random.Random], Edges]:
    """Each edge is off by so much (rms)."""

    def way(line: DigitalLine, rng: random.Random) -> Edges:
        return in_order(line.edges_s + _numbers(rng).normal(0.0, by_s, len(line.edges_s)))

    return way


def with_spikes(line: DigitalLine, rng: random.Random) -> Edges:
    """Spikes of 80 ns, one for sixty edges."""
    at = _numbers(rng).uniform(line.edges_s[0], line.edges_s[-1], max(1, len(line.edges_s) // 60))
    return np.unique(np.concatenate([line.edges_s, at, at + 80e-9]))


def with_noise(line: DigitalLine, rng: random.Random) -> Edges:
    """A burst of edges at random anywhere."""
    start, length_s = rng.uniform(line.edges_s[0], line.edges_s[-1]), 10 ** rng.uniform(-4, -2)
    noise = _numbers(rng).uniform(start, start + length_s, 2 * rng.choice((3, 30, 300)))
    return np.unique(np.concatenate([line.edges_s, noise]))


def with_holes(line: DigitalLine, rng: random.Random) -> Edges:
    """Up to three stretches of which nothing was captured."""
    edges = line.edges_s
    for _ in range(rng.choice((1, 1, 2, 3))):
        length_s = 10 ** rng.uniform(-4, -1.5)
        start = rng.uniform(line.edges_s[0] - length_s, line.edges_s[-1])
        first, last = np.searchsorted(edges, [start, start + length_s])
        edges = np.delete(edges, slice(first, last - (last - first) % 2))
    return edges


def swallowing(line: DigitalLine, rng: random.Random) -> Edges:
    """Short pulses of one level that a threshold off the middle does not show."""
    shortest_s, first = rng.uniform(0.3e-6, 1.5e-6), rng.randrange(2)
    keep = np.ones(len(line.edges_s), bool)
    for start in range(first, len(keep) - 1, 2):
        if line.edges_s[start + 1] - line.edges_s[start] < shortest_s * rng.uniform(0.9, 1.1):
            keep[start : start + 2] = False
    return line.edges_s[keep]


def _numbers(rng: random.Random) -> np.random.Generator:
    return np.random.default_rng(rng.randrange(1 << 32))


WAYS: dict[str, Callable[[DigitalLine, random.Random], Edges]] = {
    "1 MS/s": sampled(1e6), "1.5 MS/s": sampled(1.5e6), "2 MS/s": sampled(2e6), "4 MS/s": sampled(4e6),
    "rising edges late": skewed(0.9e-6), "rising edges early": skewed(-0.9e-6),
    "trembling": trembling(120e-9), "trembling much": trembling(250e-9),
    "spikes": with_spikes, "noise": with_noise, "threshold": swallowing, "holes": with_holes,
    "upside down": lambda line, _: line.edges_s,
}  # fmt: skip
FEW = 4


def worsened(capture: Capture, way: str, rng: random.Random) -> Capture:
    """The same capture with its digital lines so."""
    lines = tuple(
        replace(line, edges_s=WAYS[way](line, rng), initial=line.initial ^ (way == "upside down"))
        if isinstance(line, DigitalLine) and len(line.edges_s) >= FEW else line
        for line in capture.lines
    )
    return replace(capture, lines=lines)


def captured(name: str, seed: int, folder: Path) -> tuple[Drawn, Capture]:
    """A conversation of a family, as a capture."""
    drawn = draw(name, seed)
    path = write_family(drawn, folder)[1]
    capture = open_capture(path)
    path.unlink()
    return drawn, capture


def accusation(drawn: Drawn, capture: Capture) -> str:
    """Whom the verdict wrongly names, or whom a finding does; empty where nobody is named."""
    kind, text = outcome(drawn, said(check(decode(capture)).verdict))
    return text if kind == "accuses" else ""


def main() -> None:
    """Worsen, judge, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=1)
    options = parser.parse_args()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(options.seed, options.seed + options.count):
            for name in sorted(FAMILIES):
                drawn, capture = captured(name, seed, Path(folder))
                rng = random.Random(f"worsened/{name}/{seed}")
                known = accusation(drawn, capture)
                for way in rng.sample(sorted(WAYS), 3):
                    text = accusation(drawn, worsened(capture, way, rng))
                    counts[way] += 1
                    if text and text != known:
                        counts[f"{way}: named"] += 1
                        print(f"seed={seed} family={name} variant={drawn.variant!r} {way}: {text}", flush=True)
    for way, count in sorted(counts.items()):
        print(f"{way}: {count}")


if __name__ == "__main__":
    main()
