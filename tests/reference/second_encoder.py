"""A second way from packet bytes to a CC waveform, so that the checker is not only tested against itself.

Everything here is worked from the text of the standards and uses the standard library only: the five-bit
symbols are the 100BASE-X table of IEEE 802.3 clause 24, the CRC is `zlib.crc32`, and the K-codes, ordered
sets, preamble, bit order and end of packet are the USB PD specification's (those from memory; the CRC and the
data symbols are compared with their outside sources in `test_second_encoder.py`).

Times are seconds, levels are 0 and 1, rates are bits per second.
"""

from __future__ import annotations

import random
import zlib
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

# IEEE 802.3 clause 24, table 24-1 (100BASE-X 4B/5B code groups). The leftmost character is the most significant.
DATA_SYMBOLS = (
    "11110", "01001", "10100", "10101", "01010", "01011", "01110", "01111",
    "10010", "10011", "10110", "10111", "11010", "11011", "11100", "11101",
)  # fmt: skip

# USB PD, "4b5b symbol encoding" (from memory).
K_CODES = {
    "Sync-1": "11000", "Sync-2": "10001", "Sync-3": "00110",
    "RST-1": "00111", "RST-2": "11001", "EOP": "01101",
}  # fmt: skip

# USB PD, "Ordered sets" (from memory).
ORDERED_SETS = {
    "SOP": ("Sync-1", "Sync-1", "Sync-1", "Sync-2"),
    "SOP'": ("Sync-1", "Sync-1", "Sync-3", "Sync-3"),
    "SOP''": ("Sync-1", "Sync-3", "Sync-1", "Sync-3"),
    "SOP'_Debug": ("Sync-1", "RST-2", "RST-2", "Sync-3"),
    "SOP''_Debug": ("Sync-1", "RST-2", "Sync-3", "Sync-2"),
    "Hard Reset": ("RST-1", "RST-1", "RST-1", "RST-2"),
    "Cable Reset": ("RST-1", "Sync-1", "RST-1", "Sync-3"),
}

SIGNALS = ("Hard Reset", "Cable Reset")
PREAMBLE_BITS = 64
HOLD_LOW_MIN_S = 1e-6  # tHoldLowBMC
END_DRIVE_MAX_S = 23e-6  # tEndDriveBMC
SLOWEST_BPS, FASTEST_BPS = 270e3, 330e3

Edge = tuple[float, int]


def symbol_bits(code: str) -> list[int]:
    """The five bits of one symbol in the order they go out: least significant first."""
    return [int(char) for char in reversed(code)]


def with_crc(payload: bytes) -> bytes:
    """Header and data followed by their CRC-32, least significant byte first."""
    return payload + zlib.crc32(payload).to_bytes(4, "little")


def preamble() -> list[int]:
    """64 alternating bits, a 0 first and a 1 last; not 4b5b coded."""
    return [0, 1] * (PREAMBLE_BITS // 2)


def packet_bits(payload: bytes, sop: str = "SOP", bad_kcodes: Iterable[int] = ()) -> list[int]:
    """Every bit of a packet, from the preamble to the EOP (which a Hard Reset or Cable Reset has not).

    `bad_kcodes` are the places (0 to 3) of the ordered set where a wrong symbol is sent.
    """
    spoiled = set(bad_kcodes)
    bits = preamble()
    for place, name in enumerate(ORDERED_SETS[sop]):
        bits += symbol_bits("11111" if place in spoiled else K_CODES[name])
    if sop in SIGNALS:
        return bits
    for byte in with_crc(payload):
        bits += symbol_bits(DATA_SYMBOLS[byte & 0xF])
        bits += symbol_bits(DATA_SYMBOLS[byte >> 4])
    return bits + symbol_bits(K_CODES["EOP"])


@dataclass(frozen=True)
class Flaws:
    """What is wrong with one packet as it stands on the line; by default nothing.

    cut_bits: this many bits at the start are missing. keep_bits: everything after this many bits is missing.
    flip_bits: places of inverted bits (preamble bit 0 is place 0). bad_kcodes: see `packet_bits`.
    drift: how much longer the last bit is than the first, as a fraction (pBitRate allows 0.0025).
    spikes: (offset from the first bit in seconds, width in seconds) of pulses that invert the level.
    """

    cut_bits: int = 0
    keep_bits: int | None = None
    flip_bits: tuple[int, ...] = ()
    bad_kcodes: tuple[int, ...] = ()
    drift: float = 0.0
    spikes: tuple[tuple[float, float], ...] = ()


NO_FLAWS = Flaws()


@dataclass(frozen=True)
class Packet:
    """One packet on the line: when its first bit starts, who drives it, what it carries and at what rate."""

    start_s: float
    sender: str
    payload: bytes
    sop: str = "SOP"
    rate_bps: float = 300e3
    label: str = ""
    flaws: Flaws = NO_FLAWS

    @property
    def bit_count(self) -> int:
        """Bits from the first of the preamble to the last of the EOP or reset signal."""
        if self.sop in SIGNALS:
            return PREAMBLE_BITS + 20
        return PREAMBLE_BITS + 20 + 10 * (len(self.payload) + 4) + 5

    @property
    def end_s(self) -> float:
        """When the last bit is over."""
        return self.start_s + self.bit_count / self.rate_bps * (1 + self.flaws.drift / 2)


def bmc_edges(bits: Sequence[int], start_s: float, rate_bps: float, level: int, drift: float = 0.0) -> list[Edge]:
    """Level changes of a biphase mark coded run of bits; the line stands at `level` before.

    Each bit starts with a change and a 1 has one more in its middle; the last change ends the last bit.
    """
    unit = 1.0 / rate_bps
    growth = unit * drift / max(1, len(bits))
    edges: list[Edge] = []
    now = start_s
    for bit in bits:
        level ^= 1
        edges.append((now, level))
        if bit:
            level ^= 1
            edges.append((now + unit / 2, level))
        now += unit
        unit += growth
    edges.append((now, level ^ 1))
    return edges


@dataclass(frozen=True)
class LineManners:
    """How the wire and the two drivers behave during a whole capture.

    idle: level that Rp and Rd give while nobody drives. skew_s: rising edges come skew/2 late, falling ones
    skew/2 early. jitter_s: rms of a gaussian on every edge. start: how the driver turns on: "low" (at 0 a
    little before the first bit), "edge" (its turning on is the first edge), or "mixed". idle_wanders: the
    source changes its Rp between exchanges (SinkTxOK, SinkTxNG), and the threshold lies between the two levels.
    jiggles: the contact bounces now and then while nobody talks.
    """

    idle: int = 0
    skew_s: float = 0.0
    jitter_s: float = 0.0
    start: str = "mixed"
    lead_max_s: float = 3e-6
    release_max_s: float = END_DRIVE_MAX_S
    idle_wanders: bool = False
    jiggles: bool = False


@dataclass
class Wave:
    """A two-level line: its level at `start_s`, the changes after it, and where the capture ends."""

    initial: int
    changes: list[Edge] = field(default_factory=list)
    start_s: float = 0.0
    end_s: float = 0.0

    def level_at(self, time_s: float) -> int:
        """The level just after `time_s`."""
        place = bisect_right(self.changes, (time_s, 2))
        return self.changes[place - 1][1] if place else self.initial

    def window(self, start_s: float, end_s: float) -> Wave:
        """The part between two times, as a capture started late or stopped early would hold it."""
        inside = [edge for edge in self.changes if start_s < edge[0] <= end_s]
        return Wave(self.level_at(start_s), inside, start_s, end_s)

    def shifted(self, by_s: float) -> Wave:
        """The same on a time base whose zero lies elsewhere."""
        moved = [(t + by_s, level) for t, level in self.changes]
        return Wave(self.initial, moved, self.start_s + by_s, self.end_s + by_s)

    def sampled(self, rate_hz: float) -> Wave:
        """What an analyzer that looks at the line `rate_hz` times a second has of it."""
        kept: list[Edge] = []
        level = self.initial
        pending: Edge | None = None
        for time_s, new in self.changes:
            tick = int((time_s - self.start_s) * rate_hz) + 1
            at = self.start_s + tick / rate_hz
            if pending is not None and pending[0] < at:
                if pending[1] != level:
                    level = pending[1]
                    kept.append(pending)
                pending = None
            pending = (at, new)
        if pending is not None and pending[1] != level and pending[0] <= self.end_s:
            kept.append(pending)
        return Wave(self.initial, kept, self.start_s, self.end_s)

    def with_spikes(self, spikes: Iterable[tuple[float, float]]) -> Wave:
        """Inverted for (time, width); a spike that would run into a change of the line is left out."""
        times = [t for t, _ in self.changes]
        extra: list[Edge] = []
        for at, width in spikes:
            place = bisect_right(times, at)
            clear = place == len(times) or times[place] > at + width + 1e-9
            if clear and (place == 0 or times[place - 1] < at):
                level = self.changes[place - 1][1] if place else self.initial
                extra += [(at, level ^ 1), (at + width, level)]
        return replace(self, changes=sorted(self.changes + extra))


def _driven(packet: Packet, manners: LineManners, rng: random.Random) -> list[Edge]:
    """The changes of one packet with the turning on and off of its driver, before skew and jitter."""
    flaws = packet.flaws
    bits = packet_bits(packet.payload, packet.sop, flaws.bad_kcodes)
    for place in flaws.flip_bits:
        bits[place] ^= 1
    how = manners.start if manners.start != "mixed" else rng.choice(("low", "low", "edge"))
    level = 0 if how == "low" else manners.idle
    edges: list[Edge] = []
    if level != manners.idle:
        edges.append((packet.start_s - rng.uniform(0.2e-6, manners.lead_max_s), level))
    unit = 1.0 / packet.rate_bps
    if flaws.keep_bits is not None:
        bits = bits[: flaws.keep_bits]
    edges += bmc_edges(bits, packet.start_s, packet.rate_bps, level, flaws.drift)
    if flaws.cut_bits:
        begin = packet.start_s + (flaws.cut_bits - 0.25) * unit
        edges = [edge for edge in edges if edge[0] >= begin]
        if not edges:
            return []
    last_s, level = edges[-1]
    low_s = last_s
    if level == 1:  # the driver stays high for one unit interval and only then goes low
        low_s = last_s + unit
        edges.append((low_s, 0))
    if manners.idle == 1:
        latest = max(last_s + manners.release_max_s, low_s + HOLD_LOW_MIN_S)
        edges.append((rng.uniform(low_s + HOLD_LOW_MIN_S, latest), 1))
    return edges


def _pause(
    start_s: float, end_s: float, manners: LineManners, rng: random.Random
) -> tuple[list[Edge], LineManners]:
    """What moves on the line in a long pause, and the manners after it."""
    if manners.jiggles and rng.random() < 0.3:
        chatter = bounce(rng.uniform(start_s, end_s - 2e-3), manners.idle ^ 1, rng)
        chatter.append((chatter[-1][0] + rng.uniform(2e-6, 200e-6), manners.idle))
        return ([edge for edge in chatter if edge[0] < end_s] + [(end_s, manners.idle)]), manners
    if manners.idle_wanders and rng.random() < 0.5:
        manners = replace(manners, idle=manners.idle ^ 1)
        return [(rng.uniform(start_s, end_s), manners.idle)], manners
    return [], manners


def _tidy(edges: Iterable[Edge], initial: int) -> list[Edge]:
    """Without changes to the level already there, and without pulses that skew and jitter have closed."""
    kept: list[Edge] = []
    for time_s, level in edges:
        current = kept[-1][1] if kept else initial
        if level == current:
            continue
        if kept and time_s <= kept[-1][0] + 2e-9:
            kept.pop()
        else:
            kept.append((time_s, level))
    return kept


def render(
    packets: Sequence[Packet],
    manners: LineManners,
    rng: random.Random,
    *,
    end_s: float,
    before: Sequence[Edge] = (),
    initial: int | None = None,
) -> Wave:
    """The waveform of packets in order of time, after whatever moved on the line `before` the first.

    `initial` is the level at time 0 (the idle level if not given).
    """
    first = manners.idle if initial is None else initial
    half = manners.skew_s / 2
    edges: list[Edge] = list(before)
    spikes: list[tuple[float, float]] = []
    free_s: float | None = None
    for packet in packets:
        if free_s is not None and packet.start_s - free_s > 6e-3:
            pause, manners = _pause(free_s + 1e-3, packet.start_s - 1e-3, manners, rng)
            edges += pause
        free_s = packet.end_s
        for time_s, level in _driven(packet, manners, rng):
            moved = time_s + half if level else time_s - half
            if manners.jitter_s:
                moved += rng.gauss(0.0, manners.jitter_s)
            edges.append((moved, level))
        spikes += [(packet.start_s + offset, width) for offset, width in packet.flaws.spikes]
    wave = Wave(first, _tidy(edges, first), 0.0, end_s)
    return wave.with_spikes(spikes) if spikes else wave


def bounce(at_s: float, level: int, rng: random.Random) -> list[Edge]:
    """A contact that closes to `level` and chatters for a while first."""
    edges = [(at_s, level)]
    now = at_s
    for _ in range(rng.randint(0, 12)):
        now += rng.expovariate(1 / rng.choice((3e-6, 40e-6, 200e-6))) + 0.2e-6
        edges.append((now, level ^ 1))
        now += rng.expovariate(1 / 20e-6) + 0.2e-6
        edges.append((now, level))
    return edges


def stray_toggles(start_s: float, end_s: float, rng: random.Random, last: int | None = None) -> list[Edge]:
    """A port that looks for a partner: slow toggling with some contact bounce, before anything is attached."""
    period = 1 / rng.uniform(10, 100)
    share = rng.uniform(0.3, 0.7)
    edges: list[Edge] = []
    now, level = start_s + rng.uniform(0, period), 1
    while now < end_s - period:
        chattering = rng.random() < 0.3
        edges += bounce(now, level, rng) if chattering else [(now, level)]
        now += period * (share if level else 1 - share) * rng.uniform(0.98, 1.02)
        now = max(now, edges[-1][0] + 1e-4)
        level ^= 1
    if last is not None and edges and edges[-1][1] != last:
        edges.append((max(now, edges[-1][0] + 1e-4), last))
    return edges


def mains_hum(start_s: float, end_s: float, rng: random.Random) -> list[Edge]:
    """An open probe: 50 or 60 Hz crossing the threshold, with fuzz around each crossing."""
    half = 0.5 / rng.choice((50.0, 60.0))
    edges: list[Edge] = []
    now, level = start_s + rng.uniform(0, half), 1
    while now < end_s - half:
        at = now
        edges.append((at, level))
        for _ in range(rng.randint(0, 25)):
            at += rng.expovariate(1 / 8e-6) + 0.1e-6
            edges.append((at, edges[-1][1] ^ 1))
        if edges[-1][1] != level:
            edges.append((at + rng.expovariate(1 / 8e-6) + 0.1e-6, level))
        now += half
        level ^= 1
    return edges
