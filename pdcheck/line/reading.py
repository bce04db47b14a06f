"""From a capture to one line reading: which column is CC, what unit its times are in, what it says.

Why it is: exports call their columns "Channel 3" and leave the unit out. Only this room knows what traffic on
CC looks like, so the choice is made here, by what the columns hold, and said in the report.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import AnalogLine, Capture, DigitalLine, Line, Role
from pdcheck.line.bursts import TRAFFIC_LENGTH_S, read_line
from pdcheck.line.gaps import count_between, longer
from pdcheck.line.model import Burst, Crc, LineReading, Packet, SignalQuality
from pdcheck.line.slicer import slice_line, unseen_traffic
from pdcheck.standard import electrical

Floats = NDArray[np.float64]

_CC_ROLES = (Role.CC1, Role.CC2)
#: Pulses of BMC last from half a bit at the fastest rate to a bit at the slowest; skew and sampling stretch that.
_SHORTEST_PULSE_S = 0.7e-6
_LONGEST_PULSE_S = 5.0e-6
_SCALES = (1.0, 1e-3, 1e-6, 1e-9)
#: No unit of time is tried in which samples of volts were nearer to each other than this, or further apart. Our own
#: choice.
_FINEST_SAMPLE_S, _LONGEST_APART_S = 50e-12, 1e-3
_UNIT_TRIALS = 2
_TRIAL_EDGES, _TRIAL_POINTS = 20_000, 200_000
_PULSES_TO_TRY = 24
#: By how much a stated unit may be wrong.
_OTHER_UNITS = (
    (1e-3, "a thousand times shorter (ms where the file says s, us where ms, ns where us)"),
    (1e3, "a thousand times longer (s where the file says ms, ms where us, us where ns)"),
    (1e-6, "a million times shorter (us where the file says s, ns where ms)"),
    (1e6, "a million times longer (s where the file says us, ms where ns)"),
)
_CROWDED_S = 20e-6
#: Steps looked for below those that a pulse is only a few of, and how well the gaps must sit on one. Our own choice:
#: a signal's own jitter (10 ns and more) is no step, times printed to the nanosecond are no jitter.
_FINEST_STEP_S, _LONGEST_FINE_STEP_S = 35e-9, 0.45e-6
_FINE_STEPS = 1500
_FINE_GAPS = 300
_AGREE = 0.98
_FIRST_GAPS, _FIRST_AGREE = 40, 0.93
_FINE_OFF = 0.04
_FITS_AS_WELL = 0.003


#: So many packets make a talk of their own: a message and its acknowledgement. Our own choice.
_PACKETS_ALONE = 2


@dataclass(frozen=True, eq=False)
class _Candidate:
    line: DigitalLine
    packets: list[Packet]
    bursts: list[Burst]
    stray: int
    time_step_s: float | None

    @cached_property
    def intact(self) -> int:
        return sum(p.problem is None for p in self.packets)

    @property
    def traffic(self) -> int:
        return len(self.packets) + sum(b.like_traffic for b in self.bursts)


def read_capture(capture: Capture) -> LineReading:
    """Read the CC line of a capture.

    A column called CC (by the header) is taken if it bears traffic; otherwise the column that does,
    whatever it is called. With two CC columns the one with more intact packets is read. A column that the user
    calls CC is read whatever it bears, and no other.
    """
    notes: list[str] = [*capture.notes]
    digital = _digital_lines(capture)
    capture, digital = _settle_time_unit(capture, digital, notes)
    by_user = capture.chosen.intersection(_CC_ROLES)
    cc_roles = by_user or frozenset(_CC_ROLES)
    named = [_read(line, capture) for line in digital if line.role in cc_roles]
    others = [
        line for line in digital
        if line.role in {Role.OTHER, *_CC_ROLES} - cc_roles and _could_be_bmc(line.edges_s)
    ]  # fmt: skip
    chosen = max(named, key=lambda c: (c.intact, c.traffic), default=None)
    # A column in volts that bears no traffic has no edges, but may be called CC all the same.
    called = next((line.name for line in capture.lines if line.role in cc_roles), None)
    other_cc: str | None = None
    if by_user and (chosen is None or chosen.intact == 0):
        found = max((_read(line, capture) for line in others), key=lambda c: c.intact, default=None)
        if found is not None and found.intact > 0:
            other_cc = found.line.name
            notes.append(
                f'No packet can be read from the column chosen as CC ("{chosen.line.name if chosen else called}"), but '
                f'from "{found.line.name}", which was left alone, they can: check --cc.'
            )
    elif chosen is None or chosen.intact == 0:
        found = max((_read(line, capture) for line in others), key=lambda c: (c.intact, c.traffic), default=None)
        if found is not None and (found.intact > 0 or chosen is None):
            if chosen is not None:
                notes.append(
                    f'The column called CC ("{chosen.line.name}") bears no traffic; "{found.line.name}" does, '
                    "and was read."
                )
            elif found.traffic:
                notes.append(f'No column is called CC; "{found.line.name}" bears the traffic and was read as CC.')
            if found.traffic or chosen is None:
                chosen = found
    hint: str | None = None
    if capture.time_unit_stated and (chosen is None or chosen.intact == 0):
        hint = _unit_that_fits(capture, by_user or frozenset({Role.OTHER, *_CC_ROLES}))
    second = [c for c in named if c is not chosen and c.intact > 0]
    if chosen is not None and chosen.intact > 0 and second:
        notes.append(f'Both CC columns bear packets; "{chosen.line.name}", with more of them, was read.')
    if chosen is None:
        return LineReading(capture, called, (), (), _quality(None), None, tuple(notes), hint, other_cc)
    whole = _reading_of(chosen, capture, tuple(notes), hint, other_cc)
    apart = next((c for c in second if _talks_alone(c, chosen)), None)
    return whole if apart is None else replace(whole, second=_reading_of(apart, capture, (), None, None))


def _reading_of(
    chosen: _Candidate, capture: Capture, notes: tuple[str, ...], hint: str | None, other_cc: str | None
) -> LineReading:
    chosen = _with_unseen(chosen, capture)
    capture = _with_cc_role(capture, chosen.line.name)
    return LineReading(
        capture=capture, cc=chosen.line.name, packets=tuple(chosen.packets), bursts=tuple(chosen.bursts),
        quality=_quality(chosen), idle_high=_idle_high(chosen.line, capture.duration_s), notes=notes, unit_hint=hint,
        other_cc=other_cc,
    )


def _talks_alone(one: _Candidate, chosen: _Candidate) -> bool:
    """True where a column bears packets at times at which the chosen one is silent: no crosstalk of it."""
    busy = sorted([*((p.start_s, p.end_s) for p in chosen.packets), *((b.start_s, b.end_s) for b in chosen.bursts)])
    starts = [start for start, _ in busy]
    alone = 0
    for packet in one.packets:
        place = bisect_left(starts, packet.end_s)
        alone += packet.intact and (place == 0 or busy[place - 1][1] < packet.start_s)
    return alone >= _PACKETS_ALONE


def _digital_lines(capture: Capture) -> list[DigitalLine]:
    lines: list[DigitalLine] = []
    for line in capture.lines:
        if isinstance(line, DigitalLine):
            lines.append(line)
        elif isinstance(line, AnalogLine) and line.unit == "V" and line.role in (*_CC_ROLES, Role.OTHER):
            sliced = slice_line(line, capture.sample_period_s)
            if sliced is None and not capture.time_unit_stated:
                sliced = _sliced_in_another_unit(line, capture.sample_period_s)
            if sliced is not None:
                lines.append(sliced)
    return lines


def _sliced_in_another_unit(line: AnalogLine, step: float | None) -> DigitalLine | None:
    """A line in volts as two levels, in the file's own unit of time, where that is none of seconds but nobody said."""
    if len(line.times_s) < 2:
        return None
    apart = step or float(np.median(np.diff(line.times_s)))
    tried = (_sliced_at(line, scale, apart, step) for scale in _SCALES[1:])
    return next((sliced for sliced in tried if sliced is not None), None)


def _sliced_at(line: AnalogLine, scale: float, apart: float, step: float | None) -> DigitalLine | None:
    """A line in volts as two levels by a unit of time, in the file's own unit.

    :param apart: how far its points are mostly apart.
    """
    # Points are left out where nothing moves, and no unit is tried for which there are too few or too many.
    if not _FINEST_SAMPLE_S < apart * scale < _LONGEST_APART_S:
        return None
    sliced = slice_line(replace(line, times_s=line.times_s * scale), None if step is None else step * scale)
    return None if sliced is None else replace(sliced, edges_s=sliced.edges_s / scale)


def _read(line: DigitalLine, capture: Capture) -> _Candidate:
    step = capture.sample_period_s or _time_step(line.edges_s)
    packets, bursts, stray = read_line(line.edges_s, line.initial, step)
    return _Candidate(line, packets, bursts, stray, step)


def _with_unseen(chosen: _Candidate, capture: Capture) -> _Candidate:
    """The same with bursts where a line in volts bears traffic that its threshold does not show: it is no silence."""
    line = next((one for one in capture.lines if one.name == chosen.line.name), None)
    if not isinstance(line, AnalogLine) or not chosen.packets:
        return chosen
    unseen = [
        Burst(start, end, count, True)
        for start, end, count in unseen_traffic(line, chosen.line) if end - start >= TRAFFIC_LENGTH_S
    ]
    return replace(chosen, bursts=sorted([*chosen.bursts, *unseen], key=lambda burst: burst.start_s))


def _could_be_bmc(edges: Floats) -> bool:
    if len(edges) < 32:
        return False
    return count_between(edges, _SHORTEST_PULSE_S, _LONGEST_PULSE_S) >= 24


def _settle_time_unit(
    capture: Capture, digital: list[DigitalLine], notes: list[str]
) -> tuple[Capture, list[DigitalLine]]:
    """Where nobody said the unit of the times, the one in which a column's pulses are BMC pulses."""
    if capture.time_unit_stated:
        return capture, digital
    best, best_score = 1.0, (0, 23)
    for scale in _SCALES:
        counted = []
        for line in digital:
            counted.append((count_between(line.edges_s, _SHORTEST_PULSE_S, _LONGEST_PULSE_S, scale), line))
        counted.sort(key=lambda found: -found[0])
        # A slow clock in another column has pulses of any length; packets have only one unit in which they are any.
        for count, line in counted[:_UNIT_TRIALS]:
            if count > best_score[1] or (count > 23 and best_score[0] == 0):
                best, best_score = max(
                    (best, best_score), (scale, (_intact_at(line, scale), count)), key=lambda found: found[1]
                )
    if best == 1.0:
        return capture, digital
    unit = {1e-3: "milliseconds", 1e-6: "microseconds", 1e-9: "nanoseconds"}[best]
    notes.append(f"The file does not say in what unit its times are; the traffic fits {unit}.")
    rescaled = capture.rescaled(best)
    # Millions of edges are not to be there once more.
    there = {id(old): new for old, new in zip(capture.lines, rescaled.lines, strict=True)}
    scaled: list[DigitalLine] = []
    for line in digital:
        new = there.get(id(line))
        scaled.append(new if isinstance(new, DigitalLine) else replace(line, edges_s=line.edges_s * best))
    return rescaled, scaled


def _intact_at(line: DigitalLine, scale: float) -> int:
    """How many packets the first edges of a line bear in a unit of time."""
    packets, _, _ = read_line(line.edges_s[:_TRIAL_EDGES] * scale, line.initial, None)
    return sum(packet.intact for packet in packets)


def _unit_that_fits(capture: Capture, roles: frozenset[Role]) -> str | None:
    """What to say where a few pulses of the file would be packets in another unit of time than the one it states.

    :param roles: of the columns that may be CC.
    """
    for scale, words in _OTHER_UNITS:
        counted: list[tuple[int, DigitalLine]] = []
        for line in capture.lines:
            found = _at_scale(line, scale, capture.sample_period_s) if line.role in roles else None
            if found is not None:
                counted.append((count_between(found.edges_s, _SHORTEST_PULSE_S, _LONGEST_PULSE_S, scale), found))
        counted.sort(key=lambda one: -one[0])
        if any(count >= _PULSES_TO_TRY and _intact_at(line, scale) > 0 for count, line in counted[:_UNIT_TRIALS]):
            return f"The pulses would fit USB PD if the times were {words}."
    return None


def _at_scale(line: Line, scale: float, step: float | None) -> DigitalLine | None:
    """The beginning of a line as two levels, in the file's own unit."""
    if isinstance(line, DigitalLine):
        return replace(line, edges_s=line.edges_s[:_TRIAL_EDGES])
    if line.unit != "V" or len(line.times_s) < 2:
        return None
    begins = replace(line, times_s=line.times_s[:_TRIAL_POINTS], values=line.values[:_TRIAL_POINTS])
    sliced = _sliced_at(begins, scale, step or float(np.median(np.diff(begins.times_s))), step)
    return None if sliced is None else replace(sliced, edges_s=sliced.edges_s[:_TRIAL_EDGES])


def _with_cc_role(capture: Capture, name: str) -> Capture:
    """The capture with the chosen column called a CC line, where it had no such role yet."""
    lines = tuple(
        replace(line, role=Role.CC1) if line.name == name and line.role not in _CC_ROLES else line
        for line in capture.lines
    )
    return replace(capture, lines=lines)


def _time_step(edges: Floats) -> float | None:
    """The time resolution that a file of changes shows: the least step that all its edges sit on."""
    if len(edges) < 32:
        return None
    gaps = np.diff(edges[:20000])
    least = float(gaps.min())
    if least <= 2e-8:
        return None
    for part in (1, 2, 3, 4):
        step = least / part
        off = np.abs(gaps / step - np.round(gaps / step))
        near = gaps < 2000 * step
        if near.any() and _nearly_all_below(off[near]) < 0.06:
            return step
    return _fine_step(gaps)


def _nearly_all_below(values: Floats) -> float:
    """What 98 of 100 values do not exceed."""
    # numpy's own quantile loads a module that nothing else here needs, and start-up time is dear.
    place = int(0.98 * (len(values) - 1) + 0.5)
    return float(np.partition(values, place)[place])


def _fine_step(gaps: Floats) -> float | None:
    """The step, much finer than a pulse, that all short gaps are whole multiples of; None where there is none.

    For each step tried the gaps are laid around a circle as long as the step: they fall together only if it is one.
    """
    short = gaps[gaps < _LONGEST_PULSE_S][:_FINE_GAPS]
    if len(short) < _FINE_GAPS // 4 or float(short.min()) < _FINEST_STEP_S:
        return None
    longest = min(_LONGEST_FINE_STEP_S, float(short.min()))
    tried = np.geomspace(_FINEST_STEP_S, 1.01 * longest, _FINE_STEPS)
    # A few gaps first: where they do not fall together all of them do not.
    agree = _agreement(tried, short[:_FIRST_GAPS])
    likely = np.convolve(agree > _FIRST_AGREE, np.ones(3), "same") > 0
    agree[~likely] = 0.0
    agree[likely] = _agreement(tried[likely], short)
    peaks = np.flatnonzero((agree[1:-1] > _AGREE) & (agree[1:-1] >= agree[2:]) & (agree[1:-1] >= agree[:-2])) + 1
    found: list[tuple[float, float]] = []
    for step in tried[peaks].tolist():
        for _ in range(3):
            multiples = np.round(short / step)
            step = float((short * multiples).sum() / max(float((multiples * multiples).sum()), 1.0))
        found.append((_nearly_all_below(np.abs(short / step - np.round(short / step))), step))
    least = min(found, default=(1.0, 0.0))[0]
    # Halves and thirds of a step fit as well as it does: the largest is it.
    fitting = [step for off, step in found if off <= max(1.3 * least, _FITS_AS_WELL)]
    return max(fitting) if least < _FINE_OFF else None


def _agreement(steps: Floats, gaps: Floats) -> Floats:
    """For each step how nearly the gaps fall on one place of a circle as long as it: 1 where they do, 0 where not."""
    return np.asarray(np.abs(np.exp(2j * np.pi / steps[:, None] * gaps).mean(axis=1)), np.float64)


def _idle_high(line: DigitalLine, duration_s: float) -> bool | None:
    """The level at which the line spends the time outside of crowded edges."""
    edges = line.edges_s
    if len(edges) == 0:
        return line.initial
    quiet = longer(edges, _CROWDED_S)
    # Before the first edge and behind the last one as well.
    lengths = np.concatenate(([edges[0]], edges[quiet + 1] - edges[quiet], [max(0.0, duration_s - edges[-1])]))
    levels = np.concatenate(([False], quiet % 2 == 0, [len(edges) % 2 == 1])) ^ line.initial
    lengths, levels = lengths[lengths > _CROWDED_S], levels[lengths > _CROWDED_S]
    if not len(lengths):
        return None
    return bool(lengths[levels].sum() > lengths[~levels].sum())


def _quality(chosen: _Candidate | None) -> SignalQuality:
    if chosen is None:
        return SignalQuality(0, 0, 0, 0, 0, None, None, None, None, None, None)
    intact = [p for p in chosen.packets if p.intact]
    rates = [p.bit_rate_bps for p in intact]

    def median(values: list[float]) -> float | None:
        return float(np.median(values)) if values else None

    return SignalQuality(
        packets=len(intact),
        broken_packets=len(chosen.packets) - len(intact),
        crc_errors=sum(p.crc is Crc.BAD for p in chosen.packets),
        unreadable_bursts=sum(b.like_traffic for b in chosen.bursts),
        stray_edges=chosen.stray,
        bit_rate_bps=median(rates),
        bit_rate_min_bps=min(rates, default=None),
        bit_rate_max_bps=max(rates, default=None),
        duty_skew_s=median([p.skew_s for p in intact]),
        jitter_s=median([p.jitter_s for p in intact]),
        time_step_s=chosen.time_step_s,
    )


def bit_rate_in_standard(rate_bps: float) -> bool:
    """True for a bit rate that fBitRate allows."""
    return electrical.BIT_RATE.least * 1e3 <= rate_bps <= electrical.BIT_RATE.most * 1e3
