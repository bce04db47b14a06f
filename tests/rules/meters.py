"""VBUS and current columns as cheap instruments make them of a conversation.

Why it is: rules that argue from a meter must bear what meters do: noise, a gain that is off, an offset, readings that
are held until the next update, slow sampling, the resistance of a cable. Columns are thinned as the readers of files
do it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import AnalogLine, DigitalLine, Role
from pdcheck.capture.waves import ReadValues, WaveBuilder
from pdcheck.conversation.follow import follow_packets
from pdcheck.rules import Case
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.told import Told, reading_of
from tests.reference.talk import Talk

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Meter:
    """How a column comes about. ``every_s``: rows; ``held_s``: updates of the meter behind it (0: none).
    ``lag_s``: time constant of a filter before it; ``mean_s``: it shows the mean of this time."""

    every_s: float = 1e-3
    held_s: float = 0.0
    noise: float = 0.0
    gain: float = 1.0
    offset: float = 0.0
    ceiling: float = 1e9
    lag_s: float = 0.0
    mean_s: float = 0.0
    thinned: bool = True

    def column(self, points: Points, duration_s: float, role: Role, rng: random.Random) -> AnalogLine:
        """The column."""
        times = np.arange(0.0, max(duration_s, 2 * self.every_s), self.every_s)
        if self.held_s:
            phase = rng.uniform(0.0, self.held_s)
            read = np.maximum(0.0, np.floor((times - phase) / self.held_s) * self.held_s + phase)
        else:
            read = times
        updates, place = np.unique(read, return_inverse=True)
        values = self._seen(points, updates) * self.gain + self.offset
        noise = np.random.default_rng(rng.getrandbits(32)).normal(0.0, 1.0, len(updates)) * self.noise
        values = np.minimum(np.round(values + noise, 4), self.ceiling)[place]
        unit = "V" if role is Role.VBUS else "A"
        if not self.thinned:
            return AnalogLine(role.value, role, unit, times, values)
        builder = WaveBuilder(role.value, role, unit, 1.0)
        rows, kept = builder.select(ReadValues(values))
        builder.push(times[rows], kept)
        return builder.line(1.0)

    def _seen(self, points: Points, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """The values at these times, filtered."""
        if not self.lag_s and not self.mean_s:
            return at(points, times)
        step = 0.5e-3
        fine = np.arange(0.0, float(times[-1]) + step, step)
        values = at(points, fine)
        if self.lag_s:
            share = 1 - np.exp(-step / self.lag_s)
            level = float(values[0])
            for place, value in enumerate(values.tolist()):
                level += (value - level) * share
                values[place] = level
        if self.mean_s:
            wide = max(1, int(self.mean_s / step))
            total = np.cumsum(np.concatenate((np.full(wide, values[0]), values)))
            values = (total[wide:] - total[:-wide]) / wide
        return np.interp(times, fine, values)


def at(points: Points, times: NDArray[np.float64]) -> NDArray[np.float64]:
    """The values of straight lines between points."""
    return np.interp(times, [t for t, _ in points], [v for _, v in points])


def sagged(vbus: Points, amps: Points, ohms: float) -> list[tuple[float, float]]:
    """VBUS at the far end of so many ohms."""
    times = np.array(sorted({t for t, _ in vbus} | {t for t, _ in amps}))
    return list(zip(times.tolist(), np.maximum(0.0, at(vbus, times) - ohms * at(amps, times)).tolist(), strict=True))


def amps_of(talk: Talk) -> list[tuple[float, float]]:
    """The talk's current, on the time base of its capture."""
    return [(t - talk.cut_s, a) for t, a in talk.amps]


def case_of(
    one: Told, rng: random.Random, *, amps: Points | None = None, volts: Meter | None = None,
    current: Meter | None = None, cc: AnalogLine | None = None,
) -> Case:
    """The case of a conversation with these columns."""
    reading = reading_of(replace(one, vbus=None))
    lines: list[DigitalLine | AnalogLine] = [reading.capture.lines[0] if cc is None else cc]
    if one.vbus is not None and volts is not None:
        lines.append(volts.column(one.vbus, one.duration_s, Role.VBUS, rng))
    if amps is not None and current is not None:
        lines.append(current.column(amps, one.duration_s, Role.CURRENT, rng))
    reading = replace(reading, capture=replace(reading.capture, lines=tuple(lines)))
    return Case.of(reading, follow_packets(one.packets, one.bursts, one.duration_s))


def verdict_with(one: Told, rng: random.Random, **columns: object) -> Verdict:
    """The verdict on it."""
    return judge_case(case_of(one, rng, **columns))  # type: ignore[arg-type]


def lived_in(talk: Talk, one: Told, rng: random.Random) -> tuple[Told, list[tuple[float, float]]]:
    """VBUS and current as real supplies and devices have them, within the standard: levels to the ends of vSrcNew, dips
    of vSrcValid at load steps, inrush, a programmable supply that limits its current, the drop of a cable."""
    assert one.vbus is not None
    amps = amps_of(talk)
    share = 1 + rng.uniform(-0.02, 0.02)
    vbus = [(t, v * share) for t, v in one.vbus]
    steps = [t for (t, a), (_, b) in pairwise(amps) if b > a + 0.1]
    if rng.random() < 0.5:
        for t in steps:
            level, dip = float(at(vbus, np.array([t]))[0]), rng.uniform(-0.5, 0.5)
            end = t + rng.uniform(1e-3, 5e-3)
            if level > 4.5 and not any(t - 1e-3 < at_s < end + 1e-3 for at_s, _ in vbus):
                vbus = sorted([*vbus, (t, level), (t + 1e-4, level + dip), (end, level + dip), (end + 1e-4, level)])
    if rng.random() < 0.3:
        for t in steps:
            after = float(at(amps, np.array([t + 2e-3]))[0])
            peak = after * rng.uniform(1.2, 3.0)
            end = t + rng.uniform(10e-3, 60e-3)
            if not any(t + 1e-3 < at_s < end + 2e-3 for at_s, _ in amps):
                amps = sorted([*amps, (t + 1.5e-3, after), (t + 2e-3, peak), (end, peak), (end + 1e-3, after)])
    last = talk.settled
    begin = one.duration_s - 0.25
    if last is not None and last.kind == "pps" and rng.random() < 0.5 and begin > vbus[-1][0]:
        limited = max(vbus[-1][1] * rng.uniform(0.7, 1.0), min(vbus[-1][1], 4.25))
        vbus = [*vbus, (begin, vbus[-1][1]), (begin + 0.05, limited)]
    most = max(a for _, a in amps)
    ohms = rng.choice((0.0, 0.02, 0.1, 0.25))
    if most > 3.0:
        ohms = min(ohms, 0.75 / most)
    if ohms:
        vbus = sagged(vbus, amps, ohms)
    return replace(one, vbus=tuple(vbus)), amps


def any_meter(rng: random.Random, *, current: bool) -> Meter:
    """An instrument of the kind that a workshop has."""
    if not current and rng.random() < 0.1:
        # A probe at the end of its scale.
        return Meter(every_s=1e-3, noise=0.03, ceiling=rng.choice((5.6, 10.0, 12.5, 16.5)))
    return Meter(
        every_s=rng.choice((0.5e-3, 1e-3, 1e-3, 10e-3, 0.1)),
        held_s=rng.choice((0.0, 0.0, 0.02, 0.1, 0.25, 1.0)),
        noise=rng.choice((0.0, 0.004, 0.02, 0.05, 0.1)) * (0.3 if current else 1.0),
        gain=1.0 + rng.uniform(-0.03, 0.03),
        offset=rng.uniform(-0.02, 0.02) * (1.0 if current else 2.0),
        lag_s=rng.choice((0.0, 0.0, 0.0, 2e-3, 10e-3, 50e-3)),
        mean_s=rng.choice((0.0, 0.0, 0.0, 20e-3, 0.1, 0.5)),
    )
