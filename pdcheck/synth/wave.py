"""Level changes and slow values over time: what the probes see of a performance.

Why it is: encoders give clean edges; a real line has skewed and jittering ones, contacts that chatter, hum on an
open probe. All chance comes from generators seeded by the scenario, so the same text gives the same wave.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from pdcheck.synth.encoder import Edge

#: Changes closer together than this cancel each other: a pulse that skew and jitter have closed.
_SHORTEST_S = 1e-9
_ROOT_THREE = math.sqrt(3.0)


class Chance:
    """Random numbers from a seed and a purpose. Only plain arithmetic, so that every machine draws the same."""

    def __init__(self, seed: str, purpose: str) -> None:
        self._draw = random.Random(f"{seed}/{purpose}").random

    def between(self, low: float, high: float) -> float:
        """Evenly from ``low`` to ``high``."""
        return low + (high - low) * self._draw()

    def whole(self, low: int, high: int) -> int:
        """A whole number from ``low`` to ``high``, both included."""
        return low + int(self._draw() * (high - low + 1))

    def spread(self, deviation: float) -> float:
        """About normally distributed around 0: four even draws, cut off at 3.5 standard deviations."""
        draw = self._draw
        return (draw() + draw() + draw() + draw() - 2.0) * _ROOT_THREE * deviation

    def places(self, count: int, below: int) -> tuple[int, ...]:
        """So many different whole numbers from 0 to below ``below``, in rising order."""
        found: set[int] = set()
        while len(found) < min(count, below):
            found.add(self.whole(0, below - 1))
        return tuple(sorted(found))


def roughened(edges: Iterable[Edge], skew_s: float, jitter_s: float, chance: Chance) -> Iterator[Edge]:
    """The edges with rising ones half of the skew late, falling ones half of it early, and jitter on each."""
    half = skew_s / 2
    for time_s, level in edges:
        moved = time_s + half if level else time_s - half
        yield (moved + chance.spread(jitter_s) if jitter_s else moved), level


def tidied(edges: Iterable[Edge], initial: int) -> list[Edge]:
    """In rising order, without changes to the level that is already there and without pulses closed by skew."""
    kept: list[Edge] = []
    for time_s, level in edges:
        if level == (kept[-1][1] if kept else initial):
            continue
        if kept and time_s <= kept[-1][0] + _SHORTEST_S:
            kept.pop()
        else:
            kept.append((time_s, level))
    return kept


@dataclass(frozen=True)
class Wave:
    """The CC line: its level at time 0, the changes after it in rising order."""

    initial: int
    edges: Sequence[Edge]

    def window(self, start_s: float, end_s: float) -> Wave:
        """The part between two times, on a time base that begins at the first."""
        before = bisect_right(self.edges, (start_s, 2))
        initial = self.edges[before - 1][1] if before else self.initial
        after = bisect_right(self.edges, (end_s, 2))
        return Wave(initial, [(time_s - start_s, level) for time_s, level in self.edges[before:after]])

    def with_spikes(self, spikes: Iterable[tuple[float, float]]) -> Wave:
        """Inverted during each (time, width)."""
        times = [time_s for time_s, _ in self.edges]
        for at, width in spikes:
            times += (at, at + width)
        level = self.initial
        edges: list[Edge] = []
        for time_s in sorted(times):
            level ^= 1
            edges.append((time_s, level))
        return Wave(self.initial, tidied(edges, self.initial))

    def sampled(self, rate_hz: float) -> Wave:
        """As an analyzer has it that looks ``rate_hz`` times a second: each change at the next sample after it."""
        kept: list[Edge] = []
        for time_s, level in self.edges:
            at = math.ceil(time_s * rate_hz - 1e-9) / rate_hz
            if kept and kept[-1][0] == at:
                kept.pop()  # both between two samples: neither is seen
            else:
                kept.append((at, level))
        return Wave(self.initial, tidied(kept, self.initial))


@dataclass(frozen=True)
class Trace:
    """A slow value: straight lines between points of (seconds, value), level before the first and after the last."""

    points: Sequence[tuple[float, float]]

    def at(self, time_s: float) -> float:
        """The value at a time."""
        place = bisect_right(self.points, (time_s, math.inf))
        if place == 0:
            return self.points[0][1]
        begin_s, begin = self.points[place - 1]
        if place == len(self.points):
            return begin
        end_s, end = self.points[place]
        return begin + (end - begin) * (time_s - begin_s) / (end_s - begin_s)


def toggles(start_s: float, per_s: float, for_s: float, level: int, chance: Chance) -> list[Edge]:
    """A port that looks for a partner: slow toggling, some of the changes with contact chatter."""
    half = 0.5 / per_s
    edges: list[Edge] = []
    now = start_s
    while now < start_s + for_s:
        level ^= 1
        edges += chatter(now, level, chance) if chance.between(0, 1) < 0.25 else [(now, level)]
        now = max(now + half * chance.between(0.97, 1.03), edges[-1][0] + 1e-5)
    return edges


def hum(start_s: float, per_s: float, for_s: float, level: int, chance: Chance) -> list[Edge]:
    """An open probe: the mains crosses the threshold, with fuzz around each crossing."""
    half = 0.5 / per_s
    edges: list[Edge] = []
    now = start_s
    while now < start_s + for_s:
        level ^= 1
        edges.append((now, level))
        at = now
        for _ in range(chance.whole(0, 8)):
            for change in (level ^ 1, level):
                at += chance.between(0.3e-6, 25e-6)
                edges.append((at, change))
        now = max(now + half * chance.between(0.995, 1.005), at + 1e-5)
    return edges


def chatter(at_s: float, level: int, chance: Chance) -> list[Edge]:
    """A contact that closes to ``level`` and bounces a few times first."""
    edges = [(at_s, level)]
    now = at_s
    for _ in range(chance.whole(1, 5)):
        for change in (level ^ 1, level):
            now += chance.between(2e-6, 150e-6)
            edges.append((now, change))
    return edges
