"""From bits to packets: the ordered set, the symbols, the CRC.

Why it is: this is where the line stops being a signal. What a receiver would accept is accepted here, by the
same rules and no others: three of four K-codes, the 4b5b table, the CRC. A packet that fails is kept with
its reason and what could be read of it; nothing is repaired by guessing.
"""

from __future__ import annotations

import zlib

from pdcheck.line.clock import BitRun, Lock
from pdcheck.line.model import Crc, Packet, Problem
from pdcheck.standard.line_code import (
    DATA_SYMBOLS,
    EOP,
    K_CODES_NEEDED,
    ORDERED_SETS,
    PREAMBLE_BITS,
    SYMBOL_BITS,
    Sop,
)
from pdcheck.standard.sizes import CRC_BYTES, HEADER_BYTES, MOST_MESSAGE_BYTES

_NIBBLE = {symbol: value for value, symbol in enumerate(DATA_SYMBOLS)}
_SET_BITS = 4 * SYMBOL_BITS
#: Bits that may be seen behind a reset signal: the driver's letting go. Our own choice, less than a symbol.
AFTER_RESET = 4
#: The shortest packet is a header and a CRC; the longest an unchunked extended message.
_LEAST_BYTES, _MOST_BYTES = HEADER_BYTES + CRC_BYTES, MOST_MESSAGE_BYTES + CRC_BYTES


def packet_from_bits(run: BitRun, lock: Lock) -> Packet:
    """The packet that a burst's bits hold, whole or broken."""
    bits = run.bits
    found = _find_ordered_set(bits)
    if found is None:
        return _packet(run, lock, None, b"", Crc.BAD, Problem.NO_START, len(bits), len(bits))
    sop, at = found
    end = at + _SET_BITS
    if sop.is_reset and len(bits) - end > AFTER_RESET:
        # A reset signal ends with its set; what goes on is a packet whose start is damaged or cut.
        return _packet(run, lock, None, b"", Crc.BAD, Problem.NO_START, len(bits), len(bits))
    if sop.is_reset:
        return _packet(run, lock, sop, b"", Crc.NONE, None, end, at)
    nibbles: list[int] = []
    problem: Problem | None = None
    while True:
        symbol_bits = bits[end : end + SYMBOL_BITS]
        symbol = _symbol(symbol_bits)
        if len(symbol_bits) < SYMBOL_BITS:
            # The last bits of EOP leave no edge where the line is let go at the level it idles at.
            if not (len(symbol_bits) >= 3 and symbol == EOP & ((1 << len(symbol_bits)) - 1)):
                problem = Problem.CUT_SHORT
            end += len(symbol_bits)
            break
        end += SYMBOL_BITS
        if symbol == EOP:
            break
        nibble = _NIBBLE.get(symbol)
        if nibble is None or len(nibbles) >= 2 * _MOST_BYTES:
            problem = Problem.BAD_SYMBOL
            break
        nibbles.append(nibble)
    octets = bytes(nibbles[i] | nibbles[i + 1] << 4 for i in range(0, len(nibbles) - 1, 2))
    crc = Crc.BAD
    data = octets
    if problem is None and len(octets) >= _LEAST_BYTES and len(nibbles) % 2 == 0:
        data, sent = octets[:-CRC_BYTES], octets[-CRC_BYTES:]
        crc = Crc.OK if zlib.crc32(data) == int.from_bytes(sent, "little") else Crc.BAD
        if crc is Crc.BAD:
            problem = Problem.BAD_CRC
    elif problem is None:
        problem = Problem.CUT_SHORT
    return _packet(run, lock, sop, data, crc, problem, end, at)


def _packet(
    run: BitRun, lock: Lock, sop: Sop | None, data: bytes, crc: Crc, problem: Problem | None, end_bit: int, set_bit: int
) -> Packet:
    last = min(end_bit, len(run.ends_s)) - 1
    end_s = run.ends_s[last] if last >= 0 else run.start_s
    if end_bit > len(run.ends_s) and run.ends_s:
        end_s = run.ends_s[-1] + (end_bit - len(run.ends_s)) * lock.bit_s
    set_start = run.ends_s[set_bit - 1] if 0 < set_bit <= len(run.ends_s) else run.start_s
    # A driver that turns on on a line idling high makes an edge in front of the preamble.
    start_s = run.start_s
    if set_start - start_s > (PREAMBLE_BITS + 0.5) * lock.bit_s:
        start_s = set_start - PREAMBLE_BITS * lock.bit_s
    preamble = round(max(0.0, set_start - start_s) / lock.bit_s)
    return Packet(
        start_s=start_s, end_s=end_s, sop=sop, data=data, crc=crc, problem=problem,
        bit_rate_bps=1.0 / lock.bit_s, skew_s=lock.skew_s, jitter_s=lock.rms_s, preamble_bits=preamble,
    )


def _symbol(bits: list[int]) -> int:
    value = 0
    for place, bit in enumerate(bits):
        value |= bit << place
    return value


def _find_ordered_set(bits: list[int]) -> tuple[Sop, int] | None:
    """The first ordered set with enough K-codes right, and the index of its first bit.

    The preamble alternates; a set begins at, or one bit after, the first two equal bits. Where that place shows
    nothing (a bit error in the preamble or in the first K-code) the places around where the preamble must end are
    tried; further in, data could pass for a set.
    """
    last = len(bits) - _SET_BITS
    for at in range(min(len(bits) - 1, last + 1)):
        if bits[at] == bits[at + 1]:
            near = [(match, -place, sop) for place in (at, at + 1) for match, sop in [_match(bits, place)] if sop]
            if near:
                _, place, sop = max(near, key=lambda found: found[:2])
                return sop, -place
            break
    best: tuple[int, int, Sop] | None = None
    for at in range(min(last, PREAMBLE_BITS + SYMBOL_BITS) + 1):
        match, found = _match(bits, at)
        if found is not None and (best is None or match > best[0]):
            best = (match, at, found)
            if match == 4:
                break
    return (best[2], best[1]) if best is not None else None


def _match(bits: list[int], at: int) -> tuple[int, Sop | None]:
    codes = [_symbol(bits[at + SYMBOL_BITS * n : at + SYMBOL_BITS * (n + 1)]) for n in range(4)]
    best: tuple[int, Sop | None] = (K_CODES_NEEDED - 1, None)
    fewest = 4 * SYMBOL_BITS
    for sop, wanted in ORDERED_SETS.items():
        match = sum(a == b for a, b in zip(codes, wanted, strict=True))
        # Some damaged sets have three K-codes of two sets: the one with fewer wrong bits was sent.
        wrong = sum((a ^ b).bit_count() for a, b in zip(codes, wanted, strict=True))
        if match > best[0] or (match == best[0] and best[1] is not None and wrong < fewest):
            best, fewest = (match, sop), wrong
    return best
