"""What one CC contact's level means by the tables of the standard, seen from either end.

Why it is: a level that lies between two bands belongs to both, and every conclusion drawn from it has to know that.
Nothing here chooses.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from pdcheck.bench.readings import Advertisement, Meter
from pdcheck.standard import cc_levels, terminations

#: Up to here a resistance is a short. Our own choice.
SHORT_OHM = 10.0
#: VBUS with no more than this to ground is no short and not as on a working unit either: 10 mA at 5 V. Our own choice.
LOW_VBUS_OHM = 500.0
#: Below this input resistance the meter itself moves the level. Our own choice.
LOADS_BELOW_OHM = 1e6


class Term(StrEnum):
    """What hangs on a contact, as the source takes it. LOW: lower than any Ra could pull it."""

    LOW = "near ground"
    RA = "Ra"
    RD = "Rd"
    OPEN = "open"


class Seen(StrEnum):
    """What the sink takes a contact's level for. OVER: above everything that a pull-down allows."""

    NONE = "no pull-up"
    DEFAULT = "Default USB power"
    A1_5 = "1.5 A"
    A3_0 = "3.0 A"
    OVER = "pull-up without pull-down"

    @property
    def advertisement(self) -> Advertisement | None:
        return {
            Seen.DEFAULT: Advertisement.DEFAULT, Seen.A1_5: Advertisement.A1_5, Seen.A3_0: Advertisement.A3_0,
        }.get(self)


@dataclass(frozen=True)
class Level:
    """A reading with what the meter may be off, in volts. ``low`` and ``high`` bound the true level."""

    volts: float
    low: float
    high: float

    @classmethod
    def of(cls, volts: float, meter: Meter) -> Level:
        """A reading, widened by the meter's accuracy and, where the meter loads CC, by what it takes away."""
        off = abs(volts) * meter.accuracy_pct / 100
        # An active CC is driven through Rp and Rd in parallel, so through less than the highest Rd.
        load = max(0.0, volts) * _highest_rd() / meter.ohms if meter.ohms < LOADS_BELOW_OHM else 0.0
        return cls(volts, round(volts - off, 9), round(volts + off + load, 9))

    def overlaps(self, above: float | None, below: float | None) -> bool:
        """True where some of it lies strictly above ``above`` and strictly below ``below`` (None: without end)."""
        return (above is None or self.high > above) and (below is None or self.low < below)


@dataclass(frozen=True)
class _Step:
    """A band and the open interval up to its neighbours, which it shares with them."""

    meaning: str
    above: float | None
    below: float | None


def _steps(bands: Iterable[tuple[str, float, float | None]]) -> tuple[_Step, ...]:
    ordered = list(bands)
    steps = []
    for i, (meaning, _, _) in enumerate(ordered):
        above = ordered[i - 1][2] if i else None
        below = ordered[i + 1][1] if i + 1 < len(ordered) else None
        steps.append(_Step(meaning, above, below))
    return tuple(steps)


@cache
def _source_steps(advertisement: Advertisement) -> tuple[_Step, ...]:
    names = {"vRa": Term.RA, "vRd": Term.RD, "vOPEN": Term.OPEN}
    return _steps(
        (names[b.state], b.min_v, b.max_v) for b in cc_levels.ALL
        if b.seen_from == "source" and b.advertisement == advertisement.value
    )


@cache
def _sink_steps() -> tuple[_Step, ...]:
    names = {"any": Seen.NONE, **{a.value: Seen(a.value) for a in Advertisement}}
    bands = [(names[b.advertisement].value, b.min_v, b.max_v) for b in cc_levels.ALL if b.seen_from == "sink"]
    return _steps([*bands, (Seen.OVER.value, surely_open_v(), None)])


@cache
def surely_open_v() -> float:
    """The level from which no advertisement can have a pull-down: the highest vOPEN."""
    return max(b.min_v for b in cc_levels.ALL if b.state == "vOPEN")


@cache
def sink_band(advertisement: Advertisement) -> tuple[float, float]:
    """The band in volts in which a sink reads an advertisement."""
    band = next(b for b in cc_levels.ALL if b.seen_from == "sink" and b.advertisement == advertisement.value)
    assert band.max_v is not None
    return band.min_v, band.max_v


@cache
def sink_threshold(advertisement: Advertisement) -> float | None:
    """The level in volts at which a sink decides between an advertisement and the next higher one."""
    return next(
        b.threshold_v for b in cc_levels.ALL if b.seen_from == "sink" and b.advertisement == advertisement.value
    )


@cache
def bounds_ohm(name: str) -> tuple[float, float]:
    """The least and the most ohms of a termination to ground, its tolerance taken in."""
    found = next(t for t in terminations.ALL if t.name == name)
    off = (found.tolerance_pct or 0.0) / 100
    # The standard's own figures are whole ohms (800, 4590): the tolerance must not add the float's last bit.
    return round(found.nominal * (1 - off), 3), round(found.nominal * (1 + off), 3)


@cache
def _highest_rd() -> float:
    return bounds_ohm("Rd (default power only)")[1]


@cache
def _pull_ups(advertisement: Advertisement) -> tuple[tuple[float, float, float], ...]:
    """Every pull-up at every corner: (supply in volts, ohms, 0) for a resistor, (0, 0, amps) for a current source."""
    found = []
    for one in terminations.ALL:
        kind, _, name = one.name.partition(" ")
        if name != advertisement.value or one.tolerance_pct is None:
            continue
        for off in (1 - one.tolerance_pct / 100, 1 + one.tolerance_pct / 100):
            if kind == "Ip":
                found.append((0.0, 0.0, one.nominal * off * 1e-6))
            elif kind == "Rp":
                for supply in _supply(one.pulled_to):
                    found.append((supply, one.nominal * off, 0.0))
    return tuple(found)


def _supply(text: str) -> tuple[float, float]:
    """``"4.75-5.5 V"`` or ``"3.3 V +-5 %"`` as its two ends in volts."""
    number, sign, tolerance = text.replace(" V", "").partition("+-")
    if sign:
        off = float(tolerance.strip(" %")) / 100
        return float(number) * (1 - off), float(number) * (1 + off)
    low, _, high = number.partition("-")
    return float(low), float(high)


def range_v(advertisement: Advertisement, ohms: tuple[float, float]) -> tuple[float, float]:
    """The lowest and highest level that a pull-down between two values shows, over every pull-up of the standard."""
    levels = [
        amps * ohm if amps else supply * ohm / (ohm + pull)
        for supply, pull, amps in _pull_ups(advertisement) for ohm in ohms
    ]
    return min(levels), max(levels)


def implied_ohm(volts: float, advertisement: Advertisement) -> tuple[float, float] | None:
    """The pull-down in ohms that a level implies, lowest and highest over every pull-up; None above all supplies."""
    found = [
        volts / amps if amps else pull * volts / (supply - volts)
        for supply, pull, amps in _pull_ups(advertisement) if amps or supply > volts
    ]
    return (min(found), max(found)) if found else None


def source_terms(level: Level, advertisement: Advertisement) -> tuple[Term, ...]:
    """What the source takes a level for; two where it lies between two."""
    found = [Term(s.meaning) for s in _source_steps(advertisement) if level.overlaps(s.above, s.below)]
    least = range_v(advertisement, bounds_ohm("Ra"))[0]
    # A tenth for what contacts and probes add or take; our own choice.
    return tuple(Term.LOW if t is Term.RA and level.high < 0.9 * least else t for t in found)


def sink_sees(level: Level) -> tuple[Seen, ...]:
    """What the sink takes a level for; two where it lies between two."""
    return tuple(Seen(s.meaning) for s in _sink_steps() if level.overlaps(s.above, s.below))
