"""CC lines of whole negotiations, made from the rules of the open USB PD specification and from nothing of ours.

Why it is: a third pair of eyes. It shares no code with the package, with ``synth`` or with the other encoder; CRC and
byte order are the standard library's. Sections: 5.3 (4b5b), 5.5 (ordered sets), 5.6 (packet, preamble, CRC),
5.8 (BMC, end of a packet).
"""

from __future__ import annotations

import random
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

# Written as the specification's table writes them, highest bit first; sent lowest bit first.
DATA = (
    "11110", "01001", "10100", "10101", "01010", "01011", "01110", "01111",
    "10010", "10011", "10110", "10111", "11010", "11011", "11100", "11101",
)  # fmt: skip
SYNC_1, SYNC_2, EOP = "11000", "10001", "01101"

GOOD_CRC, ACCEPT, PS_RDY = 1, 3, 6
SOURCE_CAPABILITIES, REQUEST = 1, 2


def header(kind: int, message_id: int, *, source: bool, objects: int = 0, revision: int = 2) -> bytes:
    """A message header of SOP: type, data role and power role, revision, identifier, count."""
    word = kind | (source << 5) | (revision << 6) | (source << 8) | (message_id << 9) | (objects << 12)
    return struct.pack("<H", word)


def line_bits(message: bytes) -> list[int]:
    """The bits of a packet in the order sent."""
    symbols = [SYNC_1, SYNC_1, SYNC_1, SYNC_2]
    for byte in message + struct.pack("<I", zlib.crc32(message)):
        symbols += [DATA[byte & 15], DATA[byte >> 4]]
    symbols.append(EOP)
    return [0, 1] * 32 + [int(bit) for symbol in symbols for bit in reversed(symbol)]


@dataclass(frozen=True)
class Sent:
    """A packet sent: when its first bit begins, when its last bit ends, its bytes, its bit rate."""

    start_s: float
    end_s: float
    message: bytes
    rate_bps: float


@dataclass
class Bus:
    """The line: level changes so far; ``idle`` is what an analyzer reads while nobody drives."""

    rng: random.Random
    idle: int = 1
    now_s: float = 0.0
    changes: list[tuple[float, int]] = field(default_factory=list)
    sent: list[Sent] = field(default_factory=list)
    drives: list[tuple[float, float]] = field(default_factory=list)

    def wait(self, seconds: float) -> None:
        self.now_s += seconds

    def send(self, message: bytes, rate_bps: float) -> None:
        """Drive low, send, hold low, let go."""
        rng, bit_s = self.rng, 1 / rate_bps
        drive_s = self.now_s
        self._level(self.now_s, 0)
        self.now_s += rng.uniform(0.0, 1e-6)  # tStartDrive
        start_s = self.now_s
        level = 0
        for bit in line_bits(message):
            level ^= 1
            self._level(self.now_s, level)
            if bit:
                level ^= 1
                self._level(self.now_s + bit_s / 2, level)
            self.now_s += bit_s
        self.sent.append(Sent(start_s, self.now_s, message, rate_bps))
        end_s = self.now_s
        level ^= 1
        self._level(self.now_s, level)  # the edge that ends the last bit
        if level:
            self.now_s += bit_s
            self._level(self.now_s, 0)
        self.now_s = max(self.now_s + 1e-6, end_s + rng.uniform(1e-6, 23e-6))  # tHoldLowBMC, tEndDriveBMC
        self._level(self.now_s, self.idle)
        self.drives.append((drive_s, self.now_s))

    def _level(self, at_s: float, level: int) -> None:
        if not self.changes:
            if level == self.idle:
                return
        elif self.changes[-1][1] == level:
            return
        self.changes.append((at_s, level))


FIXED = [5000, 9000, 15000, 20000]


def capabilities(rng: random.Random, count: int) -> list[int]:
    out = []
    for place in range(count):
        millivolts = FIXED[place % 4]
        out.append((millivolts // 50) << 10 | rng.choice((100, 150, 200, 225, 300)))
    out[0] |= rng.getrandbits(3) << 26
    return out


@dataclass
class Port:
    rate_bps: float
    source: bool
    next_id: int = 0


def negotiate(
    bus: Bus, source: Port, sink: Port, *, objects: int = 4, lost: Sequence[int] = (), pick: int = 1,
    ready_s: float = 2e-3, hurry: float = 1.0,
) -> None:  # fmt: skip
    """A negotiation, each message acknowledged; of the messages in ``lost`` (0 to 3) the first GoodCRC never comes."""
    rng = bus.rng
    pdos = capabilities(rng, objects)
    wanted = pdos[pick - 1] & 0x3FF
    steps = (
        (source, SOURCE_CAPABILITIES, pdos, 0.0),
        (sink, REQUEST, [pick << 28 | wanted << 10 | wanted], rng.uniform(1e-3, 5e-3) * hurry),
        (source, ACCEPT, [], rng.uniform(0.5e-3, 3e-3) * hurry),
        (source, PS_RDY, [], ready_s * hurry),
    )
    for place, (sender, kind, words, wait_s) in enumerate(steps):
        bus.wait(wait_s)
        other = sink if sender is source else source
        message = header(kind, sender.next_id, source=sender.source, objects=len(words))
        message += b"".join(struct.pack("<I", word) for word in words)
        bus.send(message, sender.rate_bps)
        if place in lost:
            bus.wait(rng.uniform(0.95e-3, 1.1e-3))  # tReceive is over
            bus.send(message, sender.rate_bps)
        bus.wait(rng.uniform(30e-6, 170e-6))
        bus.send(header(GOOD_CRC, sender.next_id, source=other.source), other.rate_bps)
        sender.next_id = (sender.next_id + 1) % 8


def talk(
    seed: int, negotiations: int = 1, *, idle: int = 1, spread: float = 0.08, before_s: float = 3e-3,
    between_s: float = 4e-3, after_s: float = 3e-3, retries: bool = False, jump: bool = True, objects: int = 4,
    ready_s: float = 2e-3, hurry: float = 1.0,
) -> tuple[Bus, float]:  # fmt: skip
    """A bus with so many negotiations, and the time at which the capture ends."""
    rng = random.Random(seed)
    bus = Bus(rng, idle)
    bus.wait(before_s)
    rate = lambda: 300e3 * rng.uniform(1 - spread, 1 + spread)  # noqa: E731
    source, sink = Port(rate(), True), Port(rate(), False)
    for _ in range(negotiations):
        if jump:  # other ports
            source, sink = Port(rate(), True), Port(rate(), False)
        lost = (rng.randrange(4),) if retries and rng.random() < 0.3 else ()
        negotiate(bus, source, sink, lost=lost, objects=rng.randint(1, 7) if objects == 0 else objects,
                  ready_s=ready_s, hurry=hurry)
        bus.wait(between_s * hurry)
    return bus, bus.now_s + after_s


def edges(
    bus: Bus, *, skew_s: float = 0.0, jitter_s: float = 0.0, spikes: int = 0, spike_s: float = 80e-9, seed: int = 0
) -> list[tuple[float, int]]:
    """Level changes as a comparator passes them on: high pulses longer by the skew, edges jittered, spikes added."""
    rng = random.Random(seed * 7919 + 13)
    moved = [
        at + (-skew_s / 2 if level else skew_s / 2) + rng.gauss(0, jitter_s) for at, level in bus.changes
    ]
    out: list[float] = []
    for at in moved:  # a pulse that is eaten up takes both its edges along
        if out and at <= out[-1]:
            out.pop()
        else:
            out.append(at)
    if spikes:
        for one in bus.sent:
            for _ in range(spikes):
                at = rng.uniform(one.start_s, one.end_s)
                out += [at, at + spike_s]
        out.sort()
    level, done = bus.idle, []
    for at in out:
        level ^= 1
        done.append((at, level))
    return done


def sample(changes: Sequence[tuple[float, int]], idle: int, rate_hz: float, end_s: float, phase: float) -> np.ndarray:
    """Levels looked at at fixed instants, the first ``phase`` steps after the start."""
    instants = (np.arange(int(end_s * rate_hz)) + phase) / rate_hz
    times = np.array([at for at, _ in changes])
    return ((np.searchsorted(times, instants, side="right") & 1) ^ idle).astype(np.uint8)


def changed(levels: np.ndarray) -> np.ndarray:
    """Rows that differ from the one above."""
    return np.flatnonzero(np.diff(levels)) + 1


def volts(
    bus: Bus, end_s: float, rate_hz: float, *, high_v: float = 1.1, rest_v: float = 0.4, edge_s: float = 500e-9,
    offset_v: float = 0.0, noise_v: float = 0.0, hum_v: float = 0.0, drift_v: float = 0.0,
    clip: tuple[float, float] | None = None, bits: int = 0, full_v: float = 3.3, seed: int = 0,
) -> np.ndarray:  # fmt: skip
    """The line in volts at fixed instants: driven 0 to ``high_v``, at ``rest_v`` where nobody drives.

    :param edge_s: 10 to 90 % of an edge. :param drift_v: rms of an offset that is another one for every packet.
    """
    rng = np.random.default_rng(seed)
    tau_s = edge_s / 2.2  # a single pole: 10 to 90 % takes 2.2 time constants
    at_s = (np.arange(int(end_s * rate_hz)) + rng.uniform()) / rate_hz
    out = np.empty(len(at_s))
    now_v, from_s, target_v, place = rest_v, 0.0, rest_v, 0
    for until_s, next_v in [*_targets(bus, high_v, rest_v, drift_v, rng), (end_s + 1.0, 0.0)]:
        stop = int(np.searchsorted(at_s, until_s))
        out[place:stop] = target_v + (now_v - target_v) * np.exp(-(at_s[place:stop] - from_s) / tau_s)
        now_v = target_v + (now_v - target_v) * np.exp(-(until_s - from_s) / tau_s)
        from_s, target_v, place = until_s, next_v, stop
    at = np.arange(len(out)) / rate_hz
    out = out + offset_v + rng.normal(0, noise_v, len(out)) if noise_v else out + offset_v
    if hum_v:
        out = out + hum_v * np.sin(2 * np.pi * 50 * at + rng.uniform(0, 6.28))
    if clip:
        out = np.clip(out, *clip)
    if bits:
        step = full_v / (1 << bits)
        out = np.round(out / step) * step
    return out


def _targets(
    bus: Bus, high_v: float, rest_v: float, drift_v: float, rng: np.random.Generator
) -> Iterator[tuple[float, float]]:
    """When the line is pulled where."""
    changes = iter([*bus.changes, (float("inf"), 0)])
    at_s, level = next(changes)
    for start_s, stop_s in bus.drives:
        base_v = rng.normal(0, drift_v) if drift_v else 0.0
        if at_s > start_s:
            yield start_s, base_v
        while at_s < stop_s:
            yield at_s, base_v + level * high_v
            at_s, level = next(changes)
        if at_s <= stop_s:  # let go
            at_s, level = next(changes)
        yield stop_s, rest_v
