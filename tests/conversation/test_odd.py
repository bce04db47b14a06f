"""Odd but healthy conversations: pass, and nobody is accused of anything."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck.rules import Severity
from tests.conversation.odd_talks import ODD, ODD_R3X
from tests.conversation.told import (
    GOOD,
    HEALTHY,
    PASS,
    cut,
    good,
    judged,
    late,
    mismatch,
    moments,
    talk_of,
    told,
    verdict_on,
)
from tests.reference.healthy_talks import NEEDS_R3X
from tests.reference.judge import judge
from tests.reference.second_encoder import LineManners
from tests.reference.talk import Talk
from tests.reference.wave_files import PLAIN_DIALECTS, VBUS_DIALECTS, Capture, Trace, write_edges, write_vcd


class Extremes(random.Random):
    """Draws the ends of a window more often than its middle."""

    def uniform(self, a: float, b: float) -> float:
        where = self.random()
        return a if where < 0.45 else b if where < 0.9 else a + (b - a) * self.random()


@pytest.mark.parametrize("name", ODD)
def test_odd_and_healthy(name: str) -> None:
    for seed in range(30):
        _, one, _ = good(name, seed)
        assert mismatch(PASS, one) == "", f"{seed}\n{one.lines()}"
        accused = [f.rule for f in verdict_on(one).findings if f.severity is not Severity.INFO]
        # A contract that was lost in a reset and made again is worth a warning.
        assert accused in ([], ["contract-regained"]), f"{seed}\n{one.lines()}"


@pytest.mark.parametrize("name", GOOD)
def test_every_delay_at_the_end_of_its_window(name: str) -> None:
    story = HEALTHY.get(name) or ODD[name]
    for seed in range(15):
        rng = Extremes(f"{name}/{seed}")
        one = told(talk_of(story, rng, r3x=name in NEEDS_R3X | ODD_R3X), random.Random(seed), with_vbus=seed % 2 == 0)
        assert mismatch(PASS, one) == "", f"{seed}\n{one.lines()}"
        assert all(f.severity is not Severity.WARN or f.rule == "contract-regained" for f in verdict_on(one).findings)


def _wave(talk: Talk, rng: random.Random) -> Capture:
    manners = LineManners(idle=rng.randint(0, 1), skew_s=rng.uniform(-0.4e-6, 0.4e-6), jitter_s=rng.uniform(0, 50e-9))
    return talk.capture(manners, before=rng.choice(("", "toggles", "hum")), tail_s=0.2)


@pytest.mark.parametrize("name", GOOD)
def test_waveforms_cut_anywhere_say_what_the_packets_say(name: str, tmp_path: Path) -> None:
    """The finished command on a file, against the same cut made among packets: the short way is a fair one."""
    story = HEALTHY.get(name) or ODD[name]
    rng = random.Random(f"wave {name}")
    talk = talk_of(story, rng, r3x=name in NEEDS_R3X | ODD_R3X)
    one = told(talk, rng, tail_s=0.2)
    capture = _wave(talk, rng)
    for at in rng.sample(list(moments(one, rng)), 2):
        at = min(at, one.duration_s - 1e-3)
        begin, end = rng.choice(((0.0, at), (at, capture.cc.end_s)))
        vbus = Trace([(t - begin, v) for t, v in capture.vbus.points], 0.01) if capture.vbus is not None else None
        part = Capture(capture.cc.window(begin, end).shifted(-begin), vbus)
        if rng.random() < 0.3:
            path = write_vcd(tmp_path / "part.vcd", part, rng)
        else:
            path = write_edges(tmp_path / "part.csv", part, rng.choice(PLAIN_DIALECTS + VBUS_DIALECTS), rng)
        status, report = judge(path)
        assert status in (0, 1, 3), report["summary"]
        short = cut(late(one, begin) if begin else one, end - begin)
        assert report["verdict"] == judged(short)[0], f"{at} {begin} {path} {report['summary']}\n{short.lines()}"
