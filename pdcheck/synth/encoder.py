"""Packet bytes to the bits and level changes that stand on CC.

Why it is: the way back of the line code, from the same table of symbols that the decoder reads and from nothing
else of it. A second encoder in the tests, written apart, must give the same edges.

Times are seconds, levels 0 and 1, rates bits per second.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from pdcheck.standard import electrical
from pdcheck.standard.line_code import (
    DATA_SYMBOLS,
    EOP,
    K_CODES,
    ORDERED_SETS,
    PREAMBLE_BITS,
    SYMBOL_BITS,
    Sop,
)

Edge = tuple[float, int]
"""A time and the level from then on."""

#: A symbol that is neither data nor a K-code: what stands where a symbol was destroyed.
NO_SYMBOL = next(
    code for code in range(1 << SYMBOL_BITS) if code not in DATA_SYMBOLS and code not in K_CODES.values()
)
ORDERED_SET_END = PREAMBLE_BITS + 4 * SYMBOL_BITS
_HOLD_LOW_S = electrical.HOLD_LOW_BMC.min_s


@dataclass(frozen=True)
class Damage:
    """What is wrong with one packet as it stands on the line; by default nothing.

    :ivar flipped: places of inverted bits, the preamble's first bit being place 0.
    :ivar destroyed: places of symbols after the ordered set (counted from 0) that become no symbol at all.
    :ivar crc_xor: XORed into the CRC, so that every symbol is good and the sum is not.
    :ivar bad_kcode: which of the ordered set's four K-codes (1 to 4) is wrong; 0 for none.
    :ivar cut_bits: bits that are missing at the start.
    :ivar keep_bits: the sender stops after this many bits; None for a whole packet.
    """

    flipped: tuple[int, ...] = ()
    destroyed: tuple[int, ...] = ()
    crc_xor: int = 0
    bad_kcode: int = 0
    cut_bits: int = 0
    keep_bits: int | None = None


NO_DAMAGE = Damage()


@dataclass(frozen=True)
class Packet:
    """One packet on the line.

    :ivar start_s: when its first bit starts.
    :ivar data: header and payload without CRC; empty for the two reset signals.
    :ivar rate_bps: its sender's bit rate.
    """

    start_s: float
    sop: Sop
    data: bytes
    rate_bps: float
    damage: Damage = NO_DAMAGE

    @property
    def bit_count(self) -> int:
        """Bits from the first of the preamble to the last."""
        whole = ORDERED_SET_END
        if not self.sop.is_reset:
            whole += 2 * SYMBOL_BITS * (len(self.data) + 4) + SYMBOL_BITS
        return whole if self.damage.keep_bits is None else min(whole, self.damage.keep_bits)

    @property
    def end_s(self) -> float:
        """When its last bit is over."""
        return self.start_s + self.bit_count / self.rate_bps


def symbol_bits(code: int) -> list[int]:
    """The bits of a symbol in the order they are sent, the rightmost first."""
    return [code >> place & 1 for place in range(SYMBOL_BITS)]


def packet_bits(data: bytes, sop: Sop = Sop.SOP, damage: Damage = NO_DAMAGE) -> list[int]:
    """Every bit of a packet: preamble, ordered set, and for a message its bytes, CRC and EOP."""
    bits = [place & 1 for place in range(PREAMBLE_BITS)]
    for place, code in enumerate(ORDERED_SETS[sop], 1):
        bits += symbol_bits(NO_SYMBOL if place == damage.bad_kcode else code)
    if not sop.is_reset:
        crc = zlib.crc32(data) ^ damage.crc_xor
        symbols: list[int] = []
        for byte in data + crc.to_bytes(4, "little"):
            symbols += (DATA_SYMBOLS[byte & 15], DATA_SYMBOLS[byte >> 4])
        symbols.append(EOP)
        for place in damage.destroyed:
            symbols[place] = NO_SYMBOL
        for code in symbols:
            bits += symbol_bits(code)
    for place in damage.flipped:
        bits[place] ^= 1
    return bits if damage.keep_bits is None else bits[: damage.keep_bits]


def bmc_edges(bits: Sequence[int], start_s: float, rate_bps: float, level: int) -> list[Edge]:
    """The level changes of biphase mark coded bits on a line that stands at ``level`` before.

    A change starts every bit and one ends the last; a 1 has another in its middle.
    """
    unit = 1.0 / rate_bps
    edges: list[Edge] = []
    for place, bit in enumerate(bits):
        level ^= 1
        edges.append((start_s + place * unit, level))
        if bit:
            level ^= 1
            edges.append((start_s + (place + 0.5) * unit, level))
    edges.append((start_s + len(bits) * unit, level ^ 1))
    return edges


def driven_edges(packet: Packet, idle: int, lead_s: float, release_s: float) -> list[Edge]:
    """The level changes of a packet with its driver turning on and off.

    :param idle: the level that the line has while nobody drives it.
    :param lead_s: the driver holds the line low this long before the first bit; 0: the first bit's own edge turns
        it on.
    :param release_s: how long it holds the line low after the last edge (at least tHoldLowBMC).
    """
    edges: list[Edge] = []
    level = idle
    if idle and lead_s > 0:
        edges.append((packet.start_s - lead_s, 0))
        level = 0
    bits = packet_bits(packet.data, packet.sop, packet.damage)
    edges += bmc_edges(bits, packet.start_s, packet.rate_bps, level)
    if packet.damage.cut_bits:
        begin = packet.start_s + (packet.damage.cut_bits - 0.25) / packet.rate_bps
        edges = [edge for edge in edges if edge[0] >= begin]
    last_s, level = edges[-1]
    if level:
        # A trailing edge that leaves the line high is followed by one unit interval high, then by low.
        last_s += 1.0 / packet.rate_bps
        edges.append((last_s, 0))
    if idle:
        edges.append((last_s + max(release_s, _HOLD_LOW_S), 1))
    return edges
