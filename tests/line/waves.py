"""Lines and captures of the second encoder's waveforms, in the objects that the line room takes."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence

import numpy as np

from pdcheck.capture.model import Capture, DigitalLine, Line, Role
from pdcheck.line import Burst
from pdcheck.line import Packet as Read
from pdcheck.line.bursts import read_line
from tests.reference.second_encoder import LineManners, Packet, Wave, render

#: Where nothing else is said: exact edges, an idle low line, the driver's turning on being the first bit's edge.
PLAIN = LineManners(start="edge")


def digital(wave: Wave, name: str = "CC1", role: Role = Role.CC1) -> DigitalLine:
    """The wave as a line of a capture."""
    times = np.array([time_s - wave.start_s for time_s, _ in wave.changes], dtype=np.float64)
    return DigitalLine(name, role, bool(wave.initial), times)


def capture(
    *lines: Line, duration_s: float | None = None, period_s: float | None = None, stated: bool = True
) -> Capture:
    """A capture of lines, as long as its last edge or sample needs unless told."""
    if duration_s is None:
        ends = [line.edges_s if isinstance(line, DigitalLine) else line.times_s for line in lines]
        duration_s = max((float(times[-1]) for times in ends if len(times)), default=0.0) + 1e-3
    return Capture("ferry.csv", "csv-edges", 0.0, duration_s, period_s, tuple(lines), stated)


def wave_of(packets: Sequence[Packet], manners: LineManners = PLAIN, seed: int = 1) -> Wave:
    """The waveform of packets, ending a millisecond after the last."""
    return render(packets, manners, random.Random(seed), end_s=packets[-1].end_s + 1e-3)


def read(
    packets: Sequence[Packet], manners: LineManners = PLAIN, seed: int = 1
) -> tuple[list[Read], list[Burst], int]:
    """What the line room reads of packets: packets, bursts, stray edges."""
    line = digital(wave_of(packets, manners, seed))
    return read_line(line.edges_s, line.initial, None)


def talk(
    count: int, rng: random.Random, *, start_s: float = 1e-3, gap_s: tuple[float, float] = (60e-6, 900e-6),
    spread: float = 0.08,
) -> list[Packet]:
    """Packets of random objects, every other one a GoodCRC, at bit rates that differ by ``spread`` altogether."""
    packets = []
    now = start_s
    for number in range(count):
        objects = 0 if number % 2 else rng.randint(1, 7)
        kind = 1 if number % 2 else rng.choice((1, 2, 4, 15))
        # type, data role, revision 3.x, power role, message ID, number of objects (USB PD, message header table)
        head = kind | rng.getrandbits(1) << 5 | 2 << 6 | rng.getrandbits(1) << 8 | number // 2 % 8 << 9 | objects << 12
        rate = 300e3 * (1 + rng.uniform(-spread / 2, spread / 2))
        packet = Packet(now, "", head.to_bytes(2, "little") + rng.randbytes(4 * objects), rate_bps=rate)
        packets.append(packet)
        now = packet.end_s + rng.uniform(*gap_s)
    return packets


def came_through(sent: Iterable[Packet], got: Iterable[Read]) -> list[bool]:
    """For each packet sent whether exactly it was read, whole, at its time."""
    whole = [one for one in got if one.intact]
    return [
        any(
            one.data == packet.payload and one.sop == packet.sop and one.start_s < packet.end_s
            and one.end_s > packet.start_s
            for one in whole
        )
        for packet in sent
    ]


def made_up(sent: Sequence[Packet], got: Iterable[Read]) -> list[Read]:
    """Packets called whole that nobody sent."""
    return [
        one for one in got
        if one.intact and not any(
            one.data == packet.payload and one.sop == packet.sop and one.start_s < packet.end_s
            and one.end_s > packet.start_s
            for packet in sent
        )
    ]
