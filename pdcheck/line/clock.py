"""From the edges of one burst to bits: the packet's own preamble tells its clock and its skew.

Why it is: a cheap analyzer's threshold is never in the middle of the signal, so high pulses come out longer
and low ones shorter (or the reverse), and every port has a clock of its own. Single intervals cannot be
trusted; the bit grid can. The preamble's 64 known bits give the grid, the bit time and the skew by least
squares, and from there on each edge only has to say which place of the grid it is nearest to.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from pdcheck.standard import electrical

Floats = NDArray[np.float64]

#: The search goes this far beyond the rates that the standard allows: a port with a bad clock should
#: be read and then be called slow, not be called noise.
_RATE_MARGIN = 0.08
LONGEST_BIT_S = 1.0 / (electrical.BIT_RATE.least * 1e3 * (1 - _RATE_MARGIN))
SHORTEST_BIT_S = 1.0 / (electrical.BIT_RATE.most * 1e3 * (1 + _RATE_MARGIN))

#: How many edges of preamble the fit may use, tried from the longest: a cut preamble leaves fewer.
_WINDOWS = (72, 48, 30, 18, 12)
#: Edges from the start of a burst at which the preamble may begin: a driver that turns on on a line idling
#: high, or a stray edge just before, puts others in front.
_OFFSETS = (1, 2, 3, 5, 0, 8, 12, 20, 32, 50)
#: Worst fit that still counts as a preamble, in bits: rms and single edge.
_FIT_RMS = 0.125
_FIT_MAX = 0.36
#: Share of each edge's error that moves the grid: edges jitter, the clock hardly drifts (0.25 % a packet).
_GRID_GAIN = 0.12


@dataclass(frozen=True)
class Lock:
    """A preamble found: bit time and skew in seconds, the fitted (skew-free) time of edge ``first``,
    whether that edge is the start of a bit, and the rms of the fit in seconds."""

    first: int
    bit_s: float
    skew_s: float
    grid_s: float
    at_bit_start: bool
    rms_s: float


@dataclass(frozen=True)
class BitRun:
    """Bits read off one burst. ``ends_s[i]`` is the time at which bit i ends on the skew-free grid."""

    bits: list[int]
    ends_s: list[float]
    start_s: float


@lru_cache(maxsize=64)
def design(count: int, phase: int, first_rising: bool) -> tuple[Floats, Floats]:
    """Design matrix (offset, half-bit, skew) of an ideal preamble of ``count`` edges, and its inverse."""
    steps = [(2, 1, 1)[(phase + i) % 3] for i in range(count - 1)]
    halves = np.concatenate(([0], np.cumsum(steps))).astype(np.float64)
    sign = np.where(np.arange(count) % 2 == 0, 1.0, -1.0) * (0.5 if first_rising else -0.5)
    # Where high pulses read longer by the skew, each rising edge is early and each falling one late by half of it.
    matrix = np.column_stack((np.ones(count), halves, -sign))
    return matrix, np.asarray(np.linalg.pinv(matrix), dtype=np.float64)


@lru_cache(maxsize=16)
def _inverses(count: int, first_rising: bool) -> Floats:
    """The inverses of all three phases."""
    return np.array([design(count, phase, first_rising)[1] for phase in (0, 1, 2)])


def find_lock(edges: Floats, first_rising: bool) -> Lock | None:
    """Find the preamble in a burst.

    :param edges: times of the burst's edges in seconds.
    :param first_rising: True where edge 0 is a rising one.
    :returns: the lock, or None where nothing fits.
    """
    total = len(edges)
    for count in _WINDOWS:
        best: Lock | None = None
        for offset in _OFFSETS:
            if offset + count > total:
                continue
            window = edges[offset : offset + count]
            rising = first_rising ^ bool(offset % 2)
            span = window[-1] - window[0]
            # A window of n edges spans two bits every three edges; anything far off is not worth a fit.
            if not 0.6 * SHORTEST_BIT_S * count < span < 0.8 * LONGEST_BIT_S * count:
                continue
            local = window - window[0]
            fits = _inverses(count, rising) @ local
            for phase, fit in enumerate(fits):
                bit = 2.0 * float(fit[1])
                if not SHORTEST_BIT_S <= bit <= LONGEST_BIT_S:
                    continue
                rest = local - design(count, phase, rising)[0] @ fit
                rms = sqrt(float(rest @ rest) / count)
                if rms > _FIT_RMS * bit or float(np.abs(rest).max()) > _FIT_MAX * bit:
                    continue
                if best is None or rms < best.rms_s:
                    best = Lock(
                        first=offset, bit_s=bit, skew_s=float(fit[2]),
                        grid_s=float(window[0] + fit[0]), at_bit_start=phase != 2, rms_s=rms,
                    )
            if best is not None and best.rms_s < 0.05 * best.bit_s:
                break
        if best is not None:
            return best
    return None


def spike_limit(lock: Lock) -> float:
    """Pulses shorter than this (seconds) are spikes: the narrowest true one is half a bit less the skew."""
    half = lock.bit_s / 2.0
    return min(0.2 * half, 0.4 * max(half - abs(lock.skew_s), 0.0))


def read_bits(edges: Floats, first_rising: bool, lock: Lock, *, ignore_spikes: bool = True) -> BitRun:
    """Follow the grid from the lock to the end of the burst.

    :param edges: times of the burst's edges in seconds.
    :param first_rising: True where edge 0 is a rising one.
    :param ignore_spikes: leave out pulses that are much narrower than the narrowest true one.
    """
    times = edges.tolist()
    total = len(times)
    half = lock.bit_s / 2.0
    shift = lock.skew_s / 2.0
    spike = spike_limit(lock) if ignore_spikes else 0.0
    bits: list[int] = []
    ends: list[float] = []
    grid = lock.grid_s
    at_start = lock.at_bit_start
    index = lock.first + 1
    while index < total:
        if index + 1 < total and times[index + 1] - times[index] < spike:
            index += 2
            continue
        rising = first_rising ^ bool(index % 2)
        place = (times[index] + (shift if rising else -shift) - grid) / half
        if at_start:
            if place < 1.5:
                step = 1
                at_start = False
            elif place < 2.75:
                step = 2
                bits.append(0)
            else:
                break
        elif place < 1.6:
            step = 1
            at_start = True
            bits.append(1)
        elif place < 2.75:
            # The edge that must end this bit is missing: the rest is kept, the CRC will tell.
            step = 2
            bits.append(1)
        else:
            break
        error = (place - step) * half
        grid += step * half + _GRID_GAIN * error
        if len(ends) < len(bits):
            ends.append(grid if at_start else grid - half)
        index += 1
    if not at_start and index >= total:
        # A final 1 whose closing edge coincides with the idle level leaves no edge.
        bits.append(1)
        ends.append(grid + half)
    return BitRun(bits, ends, _walk_back(times, lock))


def _walk_back(times: list[float], lock: Lock) -> float:
    """Time of the first edge of the burst that still fits the preamble's rhythm."""
    slack = 0.25 * lock.bit_s + abs(lock.skew_s)
    index = lock.first
    while index > 0 and lock.bit_s / 2.0 - slack < times[index] - times[index - 1] < lock.bit_s + slack:
        index -= 1
    return times[index]
