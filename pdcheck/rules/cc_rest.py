"""Where CC rests between packets, in the standard's bands.

Why it is: the decoder needs two levels only and forgets what they were. Where the capture holds volts the line's rest
is looked up here, away from packets, and called by the band it lies in; a level between two bands is called just that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.rules.model import Case
from pdcheck.standard import cc_levels, electrical

#: What is left out around packets (the line comes back to its rest), and the shortest look.
_BEFORE_S, _AFTER_S = 50e-6, 200e-6
_LOOK_S = 4e-3
_MOST_LOOKS = 3000
#: Within a look the line may move by this much; more is no rest. Our own choice.
_SPREAD_V = 0.6
#: Packets must rise to this much (vSwing with a scope's error and ringing); else the column's scale is wrong.
_SWING_V = (electrical.SWING.least * 0.85, electrical.SWING.most * 1.3)
_INSIDE_S = 40e-6
_LOOKED_AT = 20

LOW, OPEN, BETWEEN = "low", "open", "between"


@dataclass(frozen=True)
class Rest:
    """A time (seconds) in which a line rests. ``state`` is an advertisement's name, or LOW, OPEN or BETWEEN."""

    line: str
    state: str
    start_s: float
    end_s: float
    level_v: float

    @property
    def attached(self) -> bool:
        """True where the level is made by a pull-up and a pull-down."""
        return self.state not in (LOW, OPEN, BETWEEN)

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s


def state_of(level_v: float) -> str:
    """The band of a level as the device sees it, or what lies below, above and between them."""
    bands = [b for b in cc_levels.ALL if b.seen_from == "sink"]
    for band in bands:
        if band.min_v <= level_v <= (band.max_v or level_v):
            return LOW if band.state == "vRa" else band.advertisement
    if level_v < bands[0].min_v:
        return LOW
    return OPEN if level_v > max(b.max_v or 0.0 for b in bands) else BETWEEN


def rests(case: Case) -> dict[str, list[Rest]]:
    """The rests of every CC line that was captured as volts, by the line's name, in time order."""
    if not scale_fits(case)[0]:
        return {}
    return {line.name: _rests_of(case, line) for line in _lines(case)}


def attached_rests(case: Case) -> list[Rest]:
    """All rests that show a charger and a device joined, of all CC lines, in time order."""
    found = [r for some in case.cc_rests.values() for r in some if r.attached]
    return sorted(found, key=lambda r: r.start_s)


def scale_fits(case: Case) -> tuple[bool, float | None]:
    """Whether packets swing as they must on the column that was read, and to what level; (True, None) without any."""
    line = next((one for one in _lines(case) if one.name == case.reading.cc), None)
    if line is None:
        return True, None
    peaks = []
    for packet in [p for p in case.reading.packets if p.intact][:_LOOKED_AT]:
        seen = line.during(packet.start_s + _INSIDE_S, packet.end_s - _INSIDE_S)
        if seen is not None:
            peaks.append(seen.high)
    if not peaks:
        return True, None
    peak = sorted(peaks)[len(peaks) // 2]
    return _SWING_V[0] <= peak <= _SWING_V[1], peak


def _lines(case: Case) -> list[AnalogLine]:
    return [
        one for one in case.reading.capture.lines
        if isinstance(one, AnalogLine) and one.role in (Role.CC1, Role.CC2) and one.unit == "V"
    ]


def _quiet(case: Case) -> Iterator[tuple[float, float]]:
    """The times without packets and bursts."""
    busy = [(p.start_s, p.end_s) for p in case.reading.packets] + [(b.start_s, b.end_s) for b in case.reading.bursts]
    at = 0.0
    for start, end in sorted(busy):
        if start - _BEFORE_S > at:
            yield at, start - _BEFORE_S
        at = max(at, end + _AFTER_S)
    if case.conversation.duration_s > at:
        yield at, case.conversation.duration_s


def _rests_of(case: Case, line: AnalogLine) -> list[Rest]:
    quiet = [(a, b) for a, b in _quiet(case) if b - a >= _LOOK_S]
    look = max(_LOOK_S, sum(b - a for a, b in quiet) / _MOST_LOOKS)
    found: list[Rest] = []
    for start, end in quiet:
        count = max(1, int((end - start) / look))
        step = (end - start) / count
        for turn in range(count):
            a, b = start + turn * step, start + (turn + 1) * step
            seen = line.during(a, b)
            if seen is None or seen.high - seen.low > _SPREAD_V:
                continue
            state = state_of(seen.typical)
            last = found[-1] if found else None
            # A rest goes on over packets, and ends where the line is seen at another level.
            if last is not None and last.state == state:
                share = (b - a) / (b - last.start_s)
                level = last.level_v + (seen.typical - last.level_v) * share
                found[-1] = Rest(line.name, state, last.start_s, b, level)
            else:
                found.append(Rest(line.name, state, a, b, seen.typical))
    return found
