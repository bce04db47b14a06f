"""Conversations of the reference talks as packets, without a waveform: thousands a minute can be judged.

Why it is: cutting, losing and mending packets at every place needs many more conversations than can be drawn as
levels. A packet here is what the line room would have made of it; VBUS is the talk's own.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pdcheck.capture.model import AnalogLine, Capture, DigitalLine, Role
from pdcheck.conversation.follow import follow_packets
from pdcheck.line.model import Burst, Crc, LineReading, Packet, Problem, SignalQuality
from pdcheck.rules import Case
from pdcheck.standard.line_code import Sop
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.odd_talks import ODD, ODD_R3X
from tests.reference import second_encoder
from tests.reference.cases import Way, draw_ports
from tests.reference.faulty_talks import FAULTY, PASS, Expect
from tests.reference.faulty_talks import NEEDS_R3X as FAULTY_R3X
from tests.reference.healthy_talks import HEALTHY
from tests.reference.healthy_talks import NEEDS_R3X as HEALTHY_R3X
from tests.reference.talk import Ports, Talk

Points = Sequence[tuple[float, float]]
#: A preamble shows its first 16 edges in this many bits; before that a cut packet is only stray edges.
_SEEN_BITS = 12
_SET_END_BITS = second_encoder.PREAMBLE_BITS + 20


@dataclass(frozen=True)
class Told:
    """A conversation on the line. ``vbus`` are breakpoints (seconds, volts), None where it was not captured."""

    packets: tuple[Packet, ...]
    bursts: tuple[Burst, ...]
    duration_s: float
    vbus: Points | None = None
    names: tuple[str, ...] = field(default=())

    def lines(self) -> str:
        """The message list, one line each."""
        rows = []
        for place, packet in enumerate(self.packets):
            name = self.names[place] if place < len(self.names) else "?"
            state = "" if packet.problem is None else f" [{packet.problem.name}]"
            sop = packet.sop.value if packet.sop is not None else "-"
            number = packet.data[1] >> 1 & 7 if len(packet.data) > 1 else "-"
            rows.append(f"{packet.start_s * 1e3:10.3f} {packet.end_s * 1e3:10.3f} ms {sop:5} {name} id={number}{state}")
        return "\n".join([*rows, f"{self.duration_s * 1e3:10.3f} end"])


def as_line_packet(packet: second_encoder.Packet, rng: random.Random) -> Packet:
    """What the line room makes of a packet."""
    rate = packet.rate_bps * (1 + rng.gauss(0.0, 1e-4))
    sop = Sop(packet.sop)
    crc, problem, data = (Crc.NONE if sop.is_reset else Crc.OK), None, packet.payload
    if packet.flaws.flip_bits:
        crc, problem = Crc.BAD, rng.choice((Problem.BAD_CRC, Problem.BAD_SYMBOL))
        data = data[: rng.randint(0, len(data))] if problem is Problem.BAD_SYMBOL else data
    return Packet(packet.start_s, packet.end_s, sop, data, crc, problem, rate, 0.0, 30e-9, second_encoder.PREAMBLE_BITS)


def told(talk: Talk, rng: random.Random, *, tail_s: float = 0.3, with_vbus: bool = True) -> Told:
    """A talk as it stands on the line. A talk that is captured from the middle on begins at its cut."""
    packets = tuple(as_line_packet(p, rng) for p in talk.packets)
    end = max([talk.now, *(p.end_s for p in packets)]) + tail_s
    whole = Told(packets, (), end, tuple(talk.vbus) if with_vbus else None, tuple(p.label for p in talk.packets))
    return late(whole, talk.cut_s) if talk.cut_s else whole


def _partly(packet: Packet, *, until_s: float | None = None, from_s: float | None = None) -> Packet | None:
    """The part of a packet that is left when the capture ends or begins inside it; None for stray edges only."""
    bit = 1 / packet.bit_rate_bps
    if until_s is not None:
        bits = (until_s - packet.start_s) / bit
        if bits < _SEEN_BITS:
            return None
        if bits < _SET_END_BITS:
            return packet._replace(end_s=until_s, sop=None, data=b"", crc=Crc.BAD, problem=Problem.NO_START)
        octets = int((bits - _SET_END_BITS) / 10)
        return packet._replace(end_s=until_s, data=packet.data[:octets], crc=Crc.BAD, problem=Problem.CUT_SHORT)
    assert from_s is not None
    lost = (from_s - packet.start_s) / bit
    if lost <= second_encoder.PREAMBLE_BITS - 8:
        return packet._replace(start_s=from_s)
    if (packet.end_s - from_s) / bit < _SEEN_BITS:
        return None
    return packet._replace(start_s=from_s, sop=None, data=b"", crc=Crc.BAD, problem=Problem.NO_START)


def cut(whole: Told, at_s: float) -> Told:
    """The capture ends at that moment."""
    packets, names = [], []
    for packet, name in zip(whole.packets, whole.names, strict=True):
        if packet.end_s <= at_s:
            packets.append(packet)
        elif packet.start_s < at_s and (part := _partly(packet, until_s=at_s)) is not None:
            packets.append(part)
        else:
            continue
        names.append(name)
    bursts = tuple(b for b in whole.bursts if b.end_s <= at_s)
    return replace(whole, packets=tuple(packets), names=tuple(names), bursts=bursts, duration_s=at_s)


def late(whole: Told, from_s: float) -> Told:
    """The capture begins at that moment, which becomes its zero."""
    packets, names = [], []
    for packet, name in zip(whole.packets, whole.names, strict=True):
        kept: Packet | None = packet
        if packet.start_s < from_s:
            kept = _partly(packet, from_s=from_s) if packet.end_s > from_s else None
        if kept is not None:
            packets.append(kept._replace(start_s=kept.start_s - from_s, end_s=kept.end_s - from_s))
            names.append(name)
    vbus = None if whole.vbus is None else tuple((t - from_s, v) for t, v in whole.vbus)
    bursts = tuple(replace(b, start_s=b.start_s - from_s, end_s=b.end_s - from_s) for b in whole.bursts
                   if b.start_s >= from_s)
    return Told(tuple(packets), bursts, whole.duration_s - from_s, vbus, tuple(names))


def without(whole: Told, place: int, how: str, rng: random.Random) -> Told:
    """The capture misses one packet. how: "gone", "broken", "no start" or "burst"."""
    packets, names = list(whole.packets), list(whole.names)
    bursts = list(whole.bursts)
    packet = packets[place]
    if how in ("broken", "no start") and not (packet.sop is not None and packet.sop.is_reset):
        if how == "broken":
            packets[place] = packet._replace(crc=Crc.BAD, problem=Problem.BAD_CRC)
        else:
            packets[place] = packet._replace(sop=None, data=b"", crc=Crc.BAD, problem=Problem.NO_START)
    else:
        if how != "gone":
            edges = int((packet.end_s - packet.start_s) * packet.bit_rate_bps * rng.uniform(0.9, 1.5))
            bursts.append(Burst(packet.start_s, packet.end_s, edges, True))
        del packets[place], names[place]
    return replace(whole, packets=tuple(packets), names=tuple(names), bursts=tuple(bursts))


def mended(whole: Told, place: int, how: str, times: int, rng: random.Random) -> Told:
    """A message and its GoodCRC, first lost on the wire and then mended by retries; all later is that much later.

    how: "message" (it arrives corrupt), "ack" (its GoodCRC does) or "no ack" (which is never sent).
    """
    packets, names = list(whole.packets[:place]), list(whole.names[:place])
    message, ack = whole.packets[place : place + 2]
    shift = 0.0
    for _ in range(times):
        first = _later(message, shift)
        if how == "message":
            first = first._replace(crc=Crc.BAD, problem=rng.choice((Problem.BAD_CRC, Problem.BAD_SYMBOL)))
        packets.append(first)
        names.append(whole.names[place])
        if how == "ack":
            packets.append(_later(ack, shift)._replace(crc=Crc.BAD, problem=Problem.BAD_CRC))
            names.append("GoodCRC")
        # CRCReceiveTimer runs out (tReceive), then tTransmit
        shift += message.end_s - message.start_s + rng.uniform(0.9e-3, 1.1e-3) + rng.uniform(25e-6, 195e-6)
    packets += [_later(p, shift) for p in whole.packets[place:]]
    names += whole.names[place:]
    vbus = None
    if whole.vbus is not None:
        vbus = tuple((t + shift if t >= message.start_s else t, v) for t, v in whole.vbus)
    bursts = tuple(replace(b, start_s=b.start_s + shift, end_s=b.end_s + shift) if b.start_s > message.start_s else b
                   for b in whole.bursts)
    return Told(tuple(packets), bursts, whole.duration_s + shift, vbus, tuple(names))


def _later(packet: Packet, by_s: float) -> Packet:
    return packet._replace(start_s=packet.start_s + by_s, end_s=packet.end_s + by_s)


def acknowledged_places(one: Told) -> list[int]:
    """Where a message stands whose GoodCRC follows."""
    last = len(one.packets) - 1
    return [n for n in range(last) if one.names[n] != "GoodCRC" and one.names[n + 1] == "GoodCRC"
            and one.packets[n].intact and one.packets[n + 1].intact]


def sampled(points: Points, duration_s: float, step_s: float = 0.5e-3) -> AnalogLine | None:
    """VBUS as an analog line of the capture's length."""
    if duration_s <= 0:
        return None
    times = np.arange(0.0, duration_s, step_s)
    t, v = np.array([p[0] for p in points]), np.array([p[1] for p in points])
    return AnalogLine("VBUS [V]", Role.VBUS, "V", times, np.interp(times, t, v))


def reading_of(one: Told) -> LineReading:
    """The line reading that a capture of this conversation gives."""
    intact = [p for p in one.packets if p.intact]
    rates = [p.bit_rate_bps for p in intact]
    quality = SignalQuality(
        packets=len(intact), broken_packets=len(one.packets) - len(intact),
        crc_errors=sum(p.crc is Crc.BAD for p in one.packets),
        unreadable_bursts=sum(b.like_traffic for b in one.bursts), stray_edges=0,
        bit_rate_bps=float(np.median(rates)) if rates else None, bit_rate_min_bps=min(rates, default=None),
        bit_rate_max_bps=max(rates, default=None), duty_skew_s=0.0 if rates else None,
        jitter_s=30e-9 if rates else None, time_step_s=None,
    )
    lines: list[DigitalLine | AnalogLine] = [DigitalLine("CC1", Role.CC1, False, np.empty(0))]
    if one.vbus is not None and (vbus := sampled(one.vbus, one.duration_s)) is not None:
        lines.append(vbus)
    capture = Capture("told", "csv-edges", 0.0, one.duration_s, None, tuple(lines))
    return LineReading(capture, "CC1", one.packets, one.bursts, quality, False)


def verdict_on(one: Told) -> Verdict:
    """The tool's verdict."""
    reading = reading_of(one)
    return judge_case(Case.of(reading, follow_packets(one.packets, one.bursts, one.duration_s)))


def judged(one: Told) -> tuple[str, str | None, str | None]:
    """Verdict, stopped_at and suspect, as words."""
    verdict = verdict_on(one)
    return (
        str(verdict.outcome), str(verdict.stopped_at) if verdict.stopped_at is not None else None,
        str(verdict.suspect) if verdict.suspect is not None else None,
    )


def mismatch(expect: Expect, one: Told) -> str:
    """What is wrong with the verdict, or an empty string."""
    outcome, stopped, suspect = judged(one)
    wrong = outcome not in expect.verdicts
    wrong |= bool(expect.stopped_at) and stopped not in expect.stopped_at
    wrong |= bool(expect.suspects) and suspect not in expect.suspects
    wrong |= suspect in expect.not_suspects
    return f"{outcome}, {stopped}, {suspect}: {verdict_on(one).summary}" if wrong else ""


def ports_of(rng: random.Random, *, r3x: bool = False) -> Ports:
    """Two ports at bit rates of their own, or at the same one."""
    rates = rng.choice(((300e3, 300e3), (rng.uniform(270e3, 330e3), rng.uniform(270e3, 330e3))))
    return draw_ports(rng, Way(rates=rates), r3x=r3x)


def talk_of(
    story: Callable[[Talk], object], rng: random.Random, *, r3x: bool = False, ports: Ports | None = None
) -> Talk:
    """A story, told."""
    talk = Talk(rng, ports or ports_of(rng, r3x=r3x), rng.uniform(0.05, 0.5))
    story(talk)
    return talk


def healthy(name: str, seed: int) -> tuple[Talk, Told, random.Random]:
    """A healthy story with this seed."""
    rng = random.Random(f"{name}/{seed}")
    talk = talk_of(HEALTHY[name], rng, r3x=name in HEALTHY_R3X)
    return talk, told(talk, rng, with_vbus=seed % 3 != 0), rng


def faulty(name: str, seed: int) -> tuple[Talk, Told, random.Random, Expect]:
    """A row of the table of faults with this seed, and what must come out."""
    rng = random.Random(f"{name}/{seed}")
    story, expect = FAULTY[name]
    talk = talk_of(story, rng, r3x=name in FAULTY_R3X)
    one = told(talk, rng, with_vbus=name == "not_delivered" or seed % 3 != 0)
    return talk, one, rng, expect


def odd(name: str, seed: int) -> tuple[Talk, Told, random.Random]:
    """An odd and healthy story with this seed."""
    rng = random.Random(f"{name}/{seed}")
    talk = talk_of(ODD[name], rng, r3x=name in ODD_R3X)
    return talk, told(talk, rng, with_vbus=seed % 3 != 0, tail_s=rng.choice((0.01, 0.3, 2.0))), rng


def good(name: str, seed: int) -> tuple[Talk, Told, random.Random]:
    """A healthy story of either collection."""
    return healthy(name, seed) if name in HEALTHY else odd(name, seed)


#: Who truly does not do its part for a while in these stories before all is well.
SLOW_STARTERS: dict[str, tuple[str, ...]] = {
    "sink_boots": ("sink",), "starts_in_an_offer": ("sink",), "hard_reset_then_good": ("source", "sink"),
    "offers_again_though_heard": ("sink",), "dead_battery": ("sink",), "deaf_then_dead_battery": ("sink",),
    "cable_talk_between_offers": ("sink",), "sink_restarts_alone": ("sink",), "many_waits": ("source",),
}
GOOD = (*HEALTHY, *ODD)
STEADY = tuple(name for name in GOOD if name not in SLOW_STARTERS)


def moments(one: Told, rng: random.Random) -> Iterable[float]:
    """Moments around every packet: inside it, at its end, and up to 2 ms and then up to a second after."""
    for packet in one.packets:
        yield rng.uniform(packet.start_s, packet.end_s)
        yield packet.end_s
        yield packet.end_s + rng.uniform(0.0, 2e-3)
        yield packet.end_s + rng.uniform(2e-3, 60e-3)
        yield packet.end_s + 10 ** rng.uniform(-3, 0)


__all__ = [
    "FAULTY", "GOOD", "HEALTHY", "ODD", "PASS", "SLOW_STARTERS", "STEADY", "Told", "acknowledged_places",
    "as_line_packet", "cut", "faulty", "good", "healthy", "judged", "late", "mended", "mismatch", "moments", "odd",
    "ports_of", "reading_of", "sampled", "talk_of", "told", "verdict_on", "without",
]
