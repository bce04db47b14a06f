"""Short pulses of one level that a wrong threshold swallows: packets fall to pieces in the capture alone, and neither a
contact nor a cable is convicted of it."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import open_capture
from pdcheck.capture.model import Capture, DigitalLine
from pdcheck.pipeline import check, decode
from pdcheck.verdict import Outcome
from tests.reference.families import draw, write_family


def swallowed(line: DigitalLine, first: int, shortest_s: float, rng: random.Random) -> DigitalLine:
    """The line without its pulses of one level (from every second edge on) that are shorter than about so long."""
    keep = np.ones(len(line.edges_s), bool)
    for start in range(first, len(keep) - 1, 2):
        if line.edges_s[start + 1] - line.edges_s[start] < shortest_s * rng.uniform(0.9, 1.1):
            keep[start : start + 2] = False
    return replace(line, edges_s=line.edges_s[keep])


def torn(capture: Capture, seed: int) -> Capture:
    """The capture by a threshold off the middle."""
    rng = random.Random(seed)
    first, shortest_s = rng.randrange(2), rng.uniform(1.2e-6, 1.6e-6)
    return replace(capture, lines=tuple(
        swallowed(line, first, shortest_s, rng) if isinstance(line, DigitalLine) else line for line in capture.lines
    ))  # fmt: skip


@pytest.mark.parametrize("name", ["epr_entry_fails", "offers_too_fast", "cable_between_offers", "wait_and_again"])
def test_a_capture_that_tears_packets_convicts_nobody(name: str, tmp_path: Path) -> None:
    for seed in range(1000, 1012):
        capture = open_capture(write_family(draw(name, seed), tmp_path)[1])
        for once in range(4):
            report = check(decode(torn(capture, 10 * seed + once)))
            assert report.verdict.outcome is not Outcome.FAIL, f"{seed} {once} {report.verdict.summary}"
