"""Many packets at once: the clean ones, by the same steps as ``clock`` and ``packets`` but as array arithmetic.

Why it is: a long capture holds millions of edges, and nearly all packets on it are clean. Those are read here at
memory speed. A packet is taken from here only when everything about it is beyond doubt (a whole preamble, every
interval in its place, all four K-codes, the CRC); anything else is left to the careful path, so the result is what
that path alone would give. Where times are coarse or jitter no interval is quite in its place: such packets are tried
once more with wider bounds, for what has a whole preamble, all four K-codes and its CRC is beyond doubt as well.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pdcheck.line.clock import LONGEST_BIT_S, SHORTEST_BIT_S, design
from pdcheck.line.model import Crc, Packet
from pdcheck.line.packets import AFTER_RESET
from pdcheck.standard.line_code import DATA_SYMBOLS, EOP, ORDERED_SETS, PREAMBLE_BITS, SYMBOL_BITS, Sop
from pdcheck.standard.sizes import CRC_BYTES, HEADER_BYTES, MOST_OBJECTS, OBJECT_BYTES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]

#: Edges of preamble that the fit uses, and how many are left out in front of it (what a driver does when it
#: turns on). A whole preamble has 96.
_WINDOW = 72
_SKIP = 3
_LEAST_EDGES = 150
#: How well a preamble must fit, in bits rms, and how far from its place an interval may be, in half bits.
_FIT_RMS = 0.05
_FAR = 0.4
#: Of packets that a coarse time step or jitter moves further than that: intervals of a half bit and of a bit are told
#: apart in the middle, and the CRC tells whether that was right. Shorter ones are spikes, longer ones lost edges.
_LOOSE_RMS = 0.125
_LEAST_HALVES, _MIDDLE_HALVES, _MOST_HALVES = 0.25, 1.5, 2.75
#: Symbols looked at after the ordered set: header, seven objects, CRC, EOP and some more. Longer ones take the
#: careful path.
_SYMBOLS = 2 * (HEADER_BYTES + MOST_OBJECTS * OBJECT_BYTES + CRC_BYTES) + 3
_AT_ONCE = 256
#: How far, in bits, the preamble's first edge may be from where it must be.
_START_SLACK = 0.45

_EOP_MARK, _BAD_MARK = 16, 255
_SYMBOL_TABLE = np.full(1 << SYMBOL_BITS, _BAD_MARK, dtype=np.uint8)
_SYMBOL_TABLE[list(DATA_SYMBOLS)] = np.arange(16, dtype=np.uint8)
_SYMBOL_TABLE[EOP] = _EOP_MARK


def _set_word(codes: Sequence[int]) -> int:
    return sum(code << (SYMBOL_BITS * place) for place, code in enumerate(codes))


_BY_WORD: dict[int, Sop] = {_set_word(codes): sop for sop, codes in ORDERED_SETS.items()}
_SET_WORDS = np.array(sorted(_BY_WORD), dtype=np.int64)
_SETS = [_BY_WORD[word] for word in sorted(_BY_WORD)]
_SET_IS_RESET = np.array([sop.is_reset for sop in _SETS])
#: What the checksum of any bytes with their own checksum behind them is.
_CRC_RESIDUE = zlib.crc32(bytes(CRC_BYTES))
_SIGNS = np.array([1.0, -1.0])
_LEAST_SYMBOLS = 2 * (HEADER_BYTES + CRC_BYTES)


@dataclass(frozen=True)
class _Locks:
    """Per packet: bit time, skew, fit (seconds), and the index in the window of the first bit start."""

    good: NDArray[np.bool_]
    bit_s: Floats
    skew_s: Floats
    rms_s: Floats
    first: Ints


def read_clean(edges: Floats, starts: Ints, ends: Ints, initial: bool) -> dict[int, Packet]:
    """The clean packets among bursts.

    :param edges: all edge times of the line, in seconds.
    :param starts: index of each burst's first edge. :param ends: one past each burst's last edge.
    :param initial: the level before the line's first edge.
    :returns: burst number to packet, for those that are beyond doubt.
    """
    found: dict[int, Packet] = {}
    big = np.flatnonzero(ends - starts >= _LEAST_EDGES)
    for begin in range(0, len(big), _AT_ONCE):
        chosen = big[begin : begin + _AT_ONCE]
        _read(edges, starts[chosen], ends[chosen], initial, chosen, found, strict=True)
        left = np.array([number for number in chosen.tolist() if number not in found], np.int64)
        if len(left):
            _read(edges, starts[left], ends[left], initial, left, found, strict=False)
    return found


def _lock(edges: Floats, starts: Ints, initial: bool, worst_rms: float) -> _Locks:
    """Fit the ideal preamble to each burst, in its three phases."""
    window = edges[starts[:, None] + _SKIP + np.arange(_WINDOW)]
    local = window - window[:, :1]
    rising = (((starts + _SKIP) % 2) == 0) ^ initial
    shape = len(starts)
    best = np.full(shape, np.inf)
    bit, skew, first = np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=np.int64)
    for up in (True, False):
        rows = np.flatnonzero(rising == up)
        if len(rows) == 0:
            continue
        part = local[rows]
        for phase in (0, 1, 2):
            matrix, inverse = design(_WINDOW, phase, up)
            fit = part @ inverse.T
            rest = part - fit @ matrix.T
            rms = np.sqrt(np.mean(rest * rest, axis=1))
            better = rms < best[rows]
            chosen = rows[better]
            best[chosen] = rms[better]
            bit[chosen] = 2.0 * fit[better, 1]
            skew[chosen] = fit[better, 2]
            # Phase 2 begins with the second half of a 1: the next edge is a bit start.
            first[chosen] = 1 if phase == 2 else 0
    good = (best < worst_rms * bit) & (bit >= SHORTEST_BIT_S) & (bit <= LONGEST_BIT_S)
    return _Locks(good, bit, skew, best, first)


def _read(
    edges: Floats, starts: Ints, ends: Ints, initial: bool, numbers: Ints, found: dict[int, Packet], *, strict: bool
) -> None:
    locks = _lock(edges, starts, initial, _FIT_RMS if strict else _LOOSE_RMS)
    keep = np.flatnonzero(locks.good)
    if len(keep) == 0:
        return
    starts, ends, numbers = starts[keep], ends[keep], numbers[keep]
    bit, skew, rms = locks.bit_s[keep], locks.skew_s[keep], locks.rms_s[keep]
    # Every packet's edges from its first known bit start on, laid end to end.
    first = starts + _SKIP + locks.first[keep]
    lengths = ends - first
    offsets = np.concatenate(([0], np.cumsum(lengths)))
    index = np.arange(offsets[-1])
    index += np.repeat(first - offsets[:-1], lengths)
    times = edges.take(index)
    index &= 1
    shift = np.repeat(skew * (-0.5 if initial else 0.5), lengths)
    shift *= _SIGNS.take(index)
    times += shift
    halves = np.diff(times)
    halves *= np.repeat(2.0 / bit, lengths)[:-1]
    bad = np.ones(len(times), bool)
    if strict:
        steps = np.rint(halves)
        halves -= steps
        np.abs(halves, out=halves)
        np.greater(halves, _FAR, out=bad[:-1])
        bad[:-1] |= steps < 1
        bad[:-1] |= steps > 2
    else:
        steps = np.where(halves < _MIDDLE_HALVES, 1.0, 2.0)
        np.logical_or(halves < _LEAST_HALVES, halves > _MOST_HALVES, out=bad[:-1])
    # The last edge of each packet has no interval of its own.
    bad[offsets[1:] - 1] = True
    place = np.zeros(len(times), np.int32)
    np.cumsum(np.where(bad[:-1], 0.0, steps).astype(np.int32), dtype=np.int32, out=place[1:])
    place -= np.repeat(place[offsets[:-1]], lengths)
    place &= 1
    at_start = place == 0
    # The first interval that is in no place ends what is taken of a packet.
    broken = np.flatnonzero(bad)
    stop = broken[np.searchsorted(broken, offsets[:-1])]
    at_start &= np.arange(len(times)) < np.repeat(stop, lengths)
    bit_edges = np.flatnonzero(at_start)
    if len(bit_edges) == 0:
        return
    bits = (steps.take(bit_edges) == 1).view(np.uint8)
    bounds = np.searchsorted(bit_edges, offsets)
    _packets(edges, starts, numbers, bit, skew, rms, times, bits, bit_edges, bounds, found)


def _packets(
    edges: Floats, starts: Ints, numbers: Ints, bit: Floats, skew: Floats, rms: Floats, times: Floats, bits: Bytes,
    bit_edges: Ints, bounds: Ints, found: dict[int, Packet],
) -> None:
    pad = SYMBOL_BITS * (_SYMBOLS + 8)
    padded = np.concatenate((bits, np.zeros(pad, dtype=np.uint8)))
    symbol = np.zeros(len(padded) - SYMBOL_BITS + 1, dtype=np.uint8)
    for shift in range(SYMBOL_BITS):
        symbol |= padded[shift : shift + len(symbol)] << shift
    repeat = np.flatnonzero(padded[1 : len(bits)] == padded[: len(bits) - 1])
    lows, highs = bounds[:-1], bounds[1:]
    turn = np.searchsorted(repeat, lows)
    has = turn < len(repeat)
    at = repeat[np.minimum(turn, max(len(repeat) - 1, 0))] if len(repeat) else np.zeros_like(lows)
    candidates = []
    for shift in (0, 1):
        begin = np.minimum(at + shift, len(bits))
        word = sum(symbol[begin + SYMBOL_BITS * n].astype(np.int64) << (SYMBOL_BITS * n) for n in range(4))
        candidates.append((begin, word, _SET_WORDS[np.searchsorted(_SET_WORDS[:-1], word)] == word))
    begin = np.where(candidates[0][2], candidates[0][0], candidates[1][0])
    word = np.where(candidates[0][2], candidates[0][1], candidates[1][1])
    body = begin + 4 * SYMBOL_BITS
    fits = has & (candidates[0][2] | candidates[1][2]) & (body <= highs)
    grid = np.minimum(body[:, None] + SYMBOL_BITS * np.arange(_SYMBOLS), len(symbol) - 1)
    values = _SYMBOL_TABLE[symbol[grid]]
    is_end = values == _EOP_MARK
    ends_at = is_end.argmax(axis=1)
    clean = is_end.any(axis=1) & ((values >= _EOP_MARK).argmax(axis=1) == ends_at)
    nibbles = values[:, : _SYMBOLS - 1 if _SYMBOLS % 2 else _SYMBOLS]
    octets = nibbles[:, 0::2] | (nibbles[:, 1::2] << 4)
    which_set = np.searchsorted(_SET_WORDS, word)
    is_reset = _SET_IS_RESET[np.minimum(which_set, len(_SET_WORDS) - 1)]
    end_bit = np.where(is_reset, body, body + SYMBOL_BITS * (ends_at + 1))
    whole = clean & (ends_at % 2 == 0) & (ends_at >= _LEAST_SYMBOLS) & (end_bit <= highs)
    fits &= np.where(is_reset, highs - body <= AFTER_RESET, whole) & (begin >= lows)
    rows = np.flatnonzero(fits)
    if len(rows) == 0:
        return
    bit, begin, end_bit = bit[rows], begin[rows], end_bit[rows]
    end_s = times[bit_edges[end_bit - 1]] + bit
    set_s = times[bit_edges[begin]]
    due = set_s - PREAMBLE_BITS * bit
    # A driver that turns on on a line idling high makes an edge in front of the preamble.
    heads = edges[starts[rows][:, None] + np.arange(_SKIP)]
    start_s = heads[np.arange(len(rows)), np.abs(heads - due[:, None]).argmin(axis=1)]
    # Where the preamble is cut or something else stands there it is left to the careful path.
    begun = np.abs(start_s - due) <= _START_SLACK * bit
    preamble = np.rint((set_s - start_s) / bit).astype(np.int64)
    count = np.where(is_reset[rows], 0, ends_at[rows] // 2)
    text, width = octets.tobytes(), octets.shape[1]
    columns = (
        column[begun].tolist() for column in (
            rows, which_set[rows], count, numbers[rows], start_s, end_s, 1.0 / bit, skew[rows], rms[rows], preamble
        )
    )
    for row, sort, size, number, begins_s, ends_s, rate, skew_s, jitter_s, preamble_bits in zip(*columns, strict=True):
        data, crc = text[row * width : row * width + size], Crc.NONE
        if size:
            if zlib.crc32(data) != _CRC_RESIDUE:
                continue
            data, crc = data[:-CRC_BYTES], Crc.OK
        found[number] = Packet(
            begins_s, ends_s, _SETS[sort], data, crc, None, rate, skew_s, jitter_s, preamble_bits
        )
