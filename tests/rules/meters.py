"""VBUS and current columns as cheap instruments make them of a conversation.

Why it is: rules that argue from a meter must bear what meters do: noise, a gain that is off, an offset, readings that
are held until the next update, slow sampling, the resistance of a cable. Columns are thinned as the readers of files
do it.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.lines import WaveBuilder
from pdcheck.capture.model import AnalogLine, DigitalLine, Role
from pdcheck.conversation.follow import follow_packets
from pdcheck.rules import Case
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.told import Told, reading_of
from tests.reference.talk import Talk

Points = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Meter:
    """How a column comes about. ``every_s``: rows; ``held_s``: updates of the meter behind it (0: none)."""

    every_s: float = 1e-3
    held_s: float = 0.0
    noise: float = 0.0
    gain: float = 1.0
    offset: float = 0.0
    ceiling: float = 1e9
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
        values = at(points, updates) * self.gain + self.offset
        noise = np.random.default_rng(rng.getrandbits(32)).normal(0.0, 1.0, len(updates)) * self.noise
        values = np.minimum(np.round(values + noise, 4), self.ceiling)[place]
        unit = "V" if role is Role.VBUS else "A"
        if not self.thinned:
            return AnalogLine(role.value, role, unit, times, values)
        builder = WaveBuilder(role.value, role, unit, 1.0)
        rows, kept = builder.select(values)
        builder.push(times[rows], kept)
        return builder.line(1.0)


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


def any_meter(rng: random.Random, *, current: bool) -> Meter:
    """An instrument of the kind that a workshop has."""
    return Meter(
        every_s=rng.choice((0.5e-3, 1e-3, 1e-3, 10e-3, 0.1)),
        held_s=rng.choice((0.0, 0.0, 0.02, 0.1, 0.25, 1.0)),
        noise=rng.choice((0.0, 0.004, 0.02, 0.05, 0.1)) * (0.3 if current else 1.0),
        gain=1.0 + rng.uniform(-0.03, 0.03),
        offset=rng.uniform(-0.02, 0.02) * (1.0 if current else 2.0),
    )
