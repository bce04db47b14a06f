"""From a CC line captured as volts to edges.

Why it is: a scope shows the real levels; the decoder wants the moments at which the line crosses the middle of its own
swing, with hysteresis so that noise on an edge is one crossing and not three. The line idles at a level of its own
(the advertisement's), so the two levels of the traffic are looked for where the line moves at the traffic's pace.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.model import AnalogLine, DigitalLine

Floats = NDArray[np.float64]

#: Pulses of BMC last from half a bit at the fastest rate to a bit at the slowest; skew and sampling stretch that.
PULSE_S = (0.7e-6, 5.0e-6)
#: Thresholds tried, as shares of the line's range, and their hysteresis. Our own choice.
_SHARES = tuple(n / 20 for n in range(2, 19))
_TRIAL_MARGIN = 0.06
#: Hysteresis of the final threshold as a share of the swing, each side of the middle. Our own choice.
_MARGIN = 0.12
#: A line that moves by less than this has no traffic on it. BMC swings 1.05 V (vSwing); a divider may shrink it.
_LEAST_SWING_V = 0.08
#: So many such pulses may be traffic: a preamble has four times as many edges. Our own choice.
LEAST_PULSES = 24
#: A threshold counts as good as the best when it shows this share of its pulses.
_AS_GOOD = 0.95
#: Samples looked at to find the levels: enough for many packets, and bounded for long captures.
_LOOK = 2_000_000
#: The line is looked at in pieces of so many samples; one is busy that spans so many times what the middle one does.
_PIECE = 64
_BUSY_SPANS = 2.5
#: A piece shows the traffic's pace with so many edges, of which so many are as far apart as BMC's; it may be traffic
#: where it swings by such a share of what packets do. Pieces looked at. Our own choices.
_LIVELY, _PACED, _UNSEEN_SWING, _MOST_UNSEEN, _NEAR_PIECES = 4, 0.9, 0.5, 5000, 2


def slice_line(line: AnalogLine, step_s: float | None = None) -> DigitalLine | None:
    """The line as two levels; None where it bears no pulses of the traffic's length.

    Crossings are interpolated between neighbouring samples. Across samples that were left out, or rows that were never
    there, a value holds until the next one.

    :param step_s: seconds between samples, where that is known.
    """
    times, volts = line.times_s, line.values
    if len(volts) < LEAST_PULSES:
        return None
    moving = _moving(volts)
    found = _levels(times[moving], volts[moving]) if len(moving) else None
    if found is None:
        found = _levels(times[:_LOOK], volts[:_LOOK])
    if found is None and len(volts) > _LOOK:
        found = _levels(times[-_LOOK:], volts[-_LOOK:])
    if found is None:
        return None
    low, high = found
    # Rows at changes, and other rows among them: the least gap is as long as any step that is seen to take time.
    reach_s = float(np.diff(times).min()) if step_s is None else step_s
    edges, first = _crossings(times, volts, (low + high) / 2.0, _MARGIN * (high - low), reach_s)
    distinct = np.concatenate(([True], np.diff(edges) > 0)) if len(edges) else np.zeros(0, dtype=bool)
    return DigitalLine(line.name, line.role, first, edges[distinct])


def unseen_traffic(line: AnalogLine, seen: DigitalLine) -> list[tuple[float, float, int]]:
    """Where the line moves as packets do without crossing the threshold: hum or a shifted ground carried it off.

    :param seen: the line as two levels.
    :returns: starts and ends in seconds, each with how many edges there would be.
    """
    count = len(line.values) // _PIECE
    if count == 0:
        return []
    times, volts = (of[: count * _PIECE].reshape(count, _PIECE) for of in (line.times_s, line.values))
    spans = volts.max(axis=1) - volts.min(axis=1)
    edges = np.searchsorted(seen.edges_s, times[:, -1]) - np.searchsorted(seen.edges_s, times[:, 0])
    if not (edges >= _LIVELY).any():
        return []
    swing = float(np.median(spans[edges >= _LIVELY]))
    lasts = times[:, -1] - times[:, 0]
    unseen = (edges <= _LIVELY) & (spans > _UNSEEN_SWING * swing) & (lasts < _PIECE * PULSE_S[1])
    found: list[tuple[float, float, int]] = []
    last = -_NEAR_PIECES - 1
    for piece in np.flatnonzero(unseen)[:_MOST_UNSEEN].tolist():
        middle = float(volts[piece].max() + volts[piece].min()) / 2
        moves, _ = _crossings(times[piece], volts[piece], middle, _MARGIN * float(spans[piece]))
        gaps = np.diff(moves)
        paced = np.count_nonzero((gaps > PULSE_S[0]) & (gaps < PULSE_S[1]))
        if len(gaps) < max(_LIVELY, 2 * edges[piece]) or paced < _PACED * len(gaps):
            continue
        start, _, number = found.pop() if last >= piece - _NEAR_PIECES else (float(times[piece, 0]), 0.0, 0)
        found.append((start, float(times[piece, -1]), number + len(moves)))
        last = piece
    return found


def _moving(volts: Floats) -> NDArray[np.intp]:
    """The samples around which the line moves much more than it mostly does: a few packets in a long silence.

    None where it moves all the time or never.
    """
    count = len(volts) // _PIECE
    if count < 2:
        return np.empty(0, np.intp)
    pieces = volts[: count * _PIECE].reshape(count, _PIECE)
    spans = pieces.max(axis=1) - pieces.min(axis=1)
    busy = spans > max(_LEAST_SWING_V, _BUSY_SPANS * float(np.median(spans)))
    busy[1:] |= busy[:-1]
    busy[:-1] |= busy[1:]
    chosen = np.flatnonzero(busy)[: _LOOK // _PIECE]
    return (chosen[:, None] * _PIECE + np.arange(_PIECE)).ravel()


def _levels(times: Floats, volts: Floats) -> tuple[float, float] | None:
    """The two levels between which the line swings at the traffic's pace."""
    bottom, top = (float(v) for v in np.percentile(volts, (0.05, 99.95)))
    span = top - bottom
    if span < _LEAST_SWING_V:
        return None
    pulses = []
    for share in _SHARES:
        edges, _ = _crossings(times, volts, bottom + share * span, _TRIAL_MARGIN * span)
        gaps = np.diff(edges)
        pulses.append(int(np.count_nonzero((gaps > PULSE_S[0]) & (gaps < PULSE_S[1]))))
    most = max(pulses)
    if most < LEAST_PULSES:
        return None
    good = [share for share, number in zip(_SHARES, pulses, strict=True) if number >= _AS_GOOD * most]
    middle = bottom + good[len(good) // 2] * span
    edges, _ = _crossings(times, volts, middle, _TRIAL_MARGIN * span)
    gaps = np.diff(edges)
    inside = np.flatnonzero((gaps > PULSE_S[0]) & (gaps < PULSE_S[1]))
    # The middle of each pulse is where the line has settled.
    settled = np.searchsorted(times, (edges[inside] + edges[inside + 1]) / 2.0)
    levels = volts[np.minimum(settled, len(volts) - 1)]
    above = levels > middle
    if not above.any() or above.all():
        return None
    return float(np.median(levels[~above])), float(np.median(levels[above]))


def _crossings(
    times: Floats, volts: Floats, middle: float, margin: float, reach_s: float = np.inf
) -> tuple[Floats, bool]:
    """Times at which the line crosses ``middle``, and the level before the first of them.

    :param reach_s: how long a step takes at most: it begins no earlier before the point that ends it.
    """
    state = np.zeros(len(volts), dtype=np.int8)
    state[volts > middle + margin] = 1
    state[volts < middle - margin] = -1
    sure = np.flatnonzero(state)
    if len(sure) == 0:
        return np.zeros(0), False
    levels = state[sure]
    after = sure[np.flatnonzero(levels[1:] != levels[:-1]) + 1]
    above = volts > middle
    crossings = np.flatnonzero(above[1:] != above[:-1])
    before = crossings[np.searchsorted(crossings, after) - 1]
    share = (middle - volts[before]) / (volts[before + 1] - volts[before])
    after_s = times[before + 1]
    return after_s - (1 - share) * np.minimum(after_s - times[before], reach_s), bool(levels[0] > 0)
