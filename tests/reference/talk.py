"""A conversation put together packet by packet, every delay drawn from inside the specification's windows.

`Talk` holds the clock, the ports' MessageIDs and VBUS; the stories in `healthy_talks.py` and `faulty_talks.py`
are told with it. Windows are those of the USB PD timers (most compared with Zephyr 4.0's usbc_pd.h or Linux
6.1's pd.h; tTransmit, tReceive, tDiscoverIdentity and the PPS times are from memory).
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from tests.reference import words
from tests.reference.offers import Demand
from tests.reference.second_encoder import (
    NO_FLAWS,
    Edge,
    Flaws,
    LineManners,
    Packet,
    Wave,
    bounce,
    mains_hum,
    render,
    stray_toggles,
)
from tests.reference.wave_files import Capture, Trace

Window = tuple[float, float]
Point = tuple[float, float]  # a time and a value

T_TRANSMIT: Window = (26e-6, 195e-6)  # after the EOP; never less than tInterFrameGap
T_RECEIVE: Window = (0.9e-3, 1.1e-3)
T_RESPONSE: Window = (0.1e-3, 14.9e-3)  # tReceiverResponse
T_SEND_SOURCE_CAP: Window = (100e-3, 200e-3)
T_SINK_WAIT_CAP: Window = (310e-3, 620e-3)
T_DISCOVER_IDENTITY: Window = (40e-3, 50e-3)
T_PS_TRANSITION: Window = (450e-3, 550e-3)
T_HARD_RESET_OFF: Window = (25e-3, 35e-3)
T_RECOVER: Window = (660e-3, 1000e-3)


@dataclass(frozen=True)
class Ports:
    """Who speaks: bit rates, header revision fields, retries and habits of the two ports and the cable."""

    source_bps: float = 300e3
    sink_bps: float = 300e3
    cable_bps: float = 300e3
    source_revision: int = words.R3X
    sink_revision: int = words.R3X
    late_sender_response: bool = True  # R3.1's 27 to 33 ms instead of 24 to 30 ms
    ids_move_on_failure: bool = True  # MessageID is incremented when the retries are used up
    sloppy_goodcrc: str = ""  # the port ("source" or "sink") whose GoodCRC has revision field 0
    fast: bool = False  # shortest pauses, for captures with every sample in them
    source_bit5: int = 1  # data role: the source is usually the DFP

    @property
    def common(self) -> int:
        """The revision both use once the sink has answered."""
        return min(self.source_revision, self.sink_revision)


class Talk:
    """The clock, the counters and what has been said so far."""

    def __init__(self, rng: random.Random, ports: Ports, attach_s: float) -> None:
        self.rng = rng
        self.ports = ports
        self.attach_s = attach_s
        self.now = attach_s
        self.packets: list[Packet] = []
        self.vbus: list[tuple[float, float]] = [(0.0, 0.0)]
        self.amps: list[tuple[float, float]] = [(0.0, 0.0)]
        self.volts = 0.0
        self.settled: Demand | None = None  # the contract in force
        self.cut_s = 0.0  # a story that is captured from the middle on says where
        self._back_s = 0.0
        self.met = False  # the sink has answered, so both know the revision
        self.source_bit5 = ports.source_bit5
        self.response, self.transmit = T_RESPONSE, T_TRANSMIT
        self.id_step = 1
        self.opened_s: list[float] = []  # when the plug was pulled
        self._ids: dict[tuple[str, str], int] = {}

    # --- small things

    def wait(self, window: Window) -> None:
        """Let time pass."""
        self.now += self.rng.uniform(*window)

    def responding(self) -> None:
        """The time a port takes over its answer."""
        self.wait((0.1e-3, 0.4e-3) if self.ports.fast else self.response)

    def revision(self, sender: str) -> int:
        """The revision field a port uses at this point."""
        if sender == "cable":
            return self.ports.common
        if sender == "source" and not self.met:
            return self.ports.source_revision
        return self.ports.common if sender == "source" else min(self.ports.sink_revision, self.ports.source_revision)

    @property
    def retries(self) -> int:
        """nRetryCount of the source's first offers and of everybody later."""
        return 3 if self.ports.common == words.R20 and (self.met or self.ports.source_revision == words.R20) else 2

    def sender_response(self) -> Window:
        """The window of SenderResponseTimer."""
        late = self.ports.late_sender_response and self.ports.source_revision == words.R3X
        return (27e-3, 33e-3) if late else (24e-3, 30e-3)

    def _rate(self, sender: str) -> float:
        ports = self.ports
        return {"source": ports.source_bps, "sink": ports.sink_bps, "cable": ports.cable_bps}[sender]

    def _roles(self, sender: str, sop: str) -> tuple[int, int]:
        if sop != "SOP":
            return (1 if sender == "cable" else 0), 0
        bit5 = self.source_bit5
        return (1, bit5) if sender == "source" else (0, 1 - bit5)

    def swap_data_roles(self) -> None:
        """After an accepted DR_Swap."""
        self.source_bit5 ^= 1

    def restart_ids(self) -> None:
        """Both ports count their MessageIDs from 0 again."""
        self._ids.clear()

    def next_id(self, sender: str, sop: str = "SOP") -> int:
        """The MessageID of the port's next message."""
        return self._ids.get((sender, sop), 0)

    def count_on(self, sender: str, sop: str = "SOP") -> None:
        """Increment a port's MessageID."""
        self._ids[(sender, sop)] = (self.next_id(sender, sop) + self.id_step) % 8

    # --- packets

    def send(
        self,
        sender: str,
        kind: str,
        objects: Sequence[int] = (),
        *,
        sop: str = "SOP",
        message_id: int | None = None,
        revision: int | None = None,
        flaws: Flaws = NO_FLAWS,
    ) -> Packet:
        """One packet that starts now; time moves to its end."""
        bit8, bit5 = self._roles(sender, sop)
        number = self.next_id(sender, sop) if message_id is None else message_id
        field = self.revision(sender) if revision is None else revision
        head = words.header(kind, len(objects), number, field, bit8, bit5)
        data = words.payload(head, objects)
        packet = Packet(self.now, sender, data, sop, self._rate(sender), kind, flaws)
        self.packets.append(packet)
        self.now = packet.end_s
        return packet

    def good_crc(self, by: str, packet: Packet, *, message_id: int | None = None, flaws: Flaws = NO_FLAWS) -> Packet:
        """The answer of the receiver's hardware to a packet that has just ended."""
        self.wait(self.transmit)
        own = int.from_bytes(packet.payload[:2], "little") >> 9 & 7
        number = own if message_id is None else message_id
        revision = 0 if self.ports.sloppy_goodcrc == by else None
        return self.send(by, "GoodCRC", sop=packet.sop, message_id=number, revision=revision, flaws=flaws)

    def partner(self, sender: str, sop: str) -> str:
        """Who acknowledges a packet."""
        if sop != "SOP":
            return "source" if sender == "cable" else "cable"
        return "sink" if sender == "source" else "source"

    def say(
        self,
        sender: str,
        kind: str,
        objects: Sequence[int] = (),
        *,
        sop: str = "SOP",
        lost: str = "",
        tries_lost: int = 1,
    ) -> Packet:
        """A message and its GoodCRC; `lost` ("ack", "message" or "no ack") makes first tries fail.

        "ack": the GoodCRC arrives corrupt; "no ack": it is never sent; "message": the message is corrupt.
        """
        receiver = self.partner(sender, sop)
        for _ in range(tries_lost if lost else 0):
            flaws = self.corruption(len(objects)) if lost == "message" else NO_FLAWS
            packet = self.send(sender, kind, objects, sop=sop, flaws=flaws)
            end = self.now
            if lost == "ack":
                self.good_crc(receiver, packet, flaws=self.corruption(0))
            self.now = max(self.now + 30e-6, end + self.rng.uniform(*T_RECEIVE) + self.rng.uniform(10e-6, 195e-6))
        packet = self.send(sender, kind, objects, sop=sop)
        self.good_crc(receiver, packet)
        self.count_on(sender, sop)
        if sender == "sink" and sop == "SOP":
            self.met = True
        return packet

    def unanswered(
        self,
        sender: str,
        kind: str,
        objects: Sequence[int] = (),
        *,
        sop: str = "SOP",
        corrupt: bool = False,
        wrong_id: bool = False,
        retries: int | None = None,
        message_id: int | None = None,
    ) -> None:
        """A message and all its retries, none of them acknowledged (or with GoodCRCs of another MessageID)."""
        offset = self.rng.randint(1, 7)
        for _ in range(1 + (self.retries if retries is None else retries)):
            flaws = self.corruption(len(objects)) if corrupt else NO_FLAWS
            packet = self.send(sender, kind, objects, sop=sop, flaws=flaws, message_id=message_id)
            end = self.now
            if wrong_id:
                own = int.from_bytes(packet.payload[:2], "little") >> 9 & 7
                self.good_crc(self.partner(sender, sop), packet, message_id=(own + offset) % 8)
            self.now = max(self.now + 30e-6, end + self.rng.uniform(*T_RECEIVE) + self.rng.uniform(10e-6, 195e-6))
        if self.ports.ids_move_on_failure and message_id is None:
            self.count_on(sender, sop)

    def corruption(self, objects: int) -> Flaws:
        """Bits wrong in the data or CRC of a packet with so many objects, at random."""
        first = 64 + 20
        last = first + 10 * (2 + 4 * objects + 4) - 1
        count = self.rng.choice((1, 1, 2, 3, 5))
        return Flaws(flip_bits=tuple(self.rng.sample(range(first, last), count)))

    def hard_reset(self, sender: str, *, back: bool = True) -> None:
        """A Hard Reset signal; VBUS goes off, and (if `back`) comes on again and time moves to then."""
        self.packets.append(Packet(self.now, sender, b"", "Hard Reset", self._rate(sender), "Hard Reset"))
        self.now = self.packets[-1].end_s
        self.restart_ids()
        self.source_bit5 = self.ports.source_bit5
        self.met = False
        at = self.now + self.rng.uniform(*T_HARD_RESET_OFF)
        fall = self.rng.uniform(20e-3, 300e-3)
        self.move_vbus(0.0, at, at + fall)
        self._back_s = at + max(fall + 0.01, self.rng.uniform(*T_RECOVER))
        if back and not self.ports.fast:
            self.power_back()

    def cable_reset(self) -> None:
        """A Cable Reset signal; the counters on SOP' and SOP'' start again."""
        self.packets.append(Packet(self.now, "source", b"", "Cable Reset", self._rate("source"), "Cable Reset"))
        self.now = self.packets[-1].end_s + self.rng.uniform(1e-3, 10e-3)
        for key in [key for key in self._ids if key[1] != "SOP"]:
            del self._ids[key]

    def power_back(self) -> None:
        """VBUS comes on again after a Hard Reset; time moves to where the next offer may start."""
        on = self._back_s
        self.move_vbus(5.0 + self.rng.uniform(-0.08, 0.15), on, on + self.rng.uniform(1e-3, 60e-3))
        self.now = self.vbus[-1][0] + self.rng.uniform(20e-3, 240e-3)

    # --- VBUS

    def move_vbus(self, volts: float, start_s: float, end_s: float) -> None:
        """A straight line from the voltage of now to another."""
        start_s = max(start_s, self.vbus[-1][0])
        self.vbus += [(start_s, self.volts), (max(end_s, start_s), volts)]
        self.volts = volts

    def draw(self, amps: float, at_s: float) -> None:
        """A step of the sink's current."""
        at_s = max(at_s, self.amps[-1][0])
        self.amps += [(at_s, self.amps[-1][1]), (at_s + 1e-3, amps)]

    def attach(self, *, soon: bool = False) -> None:
        """Debounce, then VBUS comes to 5 V, then time for the first offer (`soon`: for what goes before it)."""
        if self.ports.fast:
            self.vbus = [(0.0, 5.05)]
            self.volts = 5.05
            self.wait((0.2e-3, 0.8e-3))
            return
        self.wait((100e-3, 200e-3))
        start = self.now
        self.move_vbus(5.0 + self.rng.uniform(-0.08, 0.15), start, start + self.rng.uniform(0.5e-3, 60e-3))
        self.now = self.vbus[-1][0]
        self.wait((5e-3, 40e-3) if soon else (5e-3, 240e-3))

    def unplug(self) -> None:
        """The contact opens; VBUS and current go away, both ports forget what was."""
        self.wait((10e-3, 50e-3))
        self.opened_s.append(self.now)
        self.draw(0.0, self.now)
        self.move_vbus(0.0, self.now + 5e-3, self.now + self.rng.uniform(20e-3, 600e-3))
        self.restart_ids()
        self.source_bit5 = self.ports.source_bit5
        self.met = False
        self.now = self.vbus[-1][0]

    # --- to a capture

    def _opened(self, cc: Wave, at_s: float, idle: int) -> Wave:
        """The line while the plug is out: chatter, then an open level or a port looking for a partner."""
        rng = self.rng
        later = [packet.start_s for packet in self.packets if packet.start_s > at_s]
        again = later[0] - 0.1 if later else cc.end_s
        edges = bounce(at_s, 1, rng)
        if rng.random() < 0.6:
            edges += stray_toggles(edges[-1][0] + 5e-3, again, rng)
        if later:
            edges.append((max(again, edges[-1][0] + 1e-3), idle))
        kept = [edge for edge in edges if edge[0] < cc.end_s]
        changes = [edge for edge in cc.changes if edge[0] < at_s or (later and edge[0] > kept[-1][0])]
        merged: list[Edge] = []
        level = cc.initial
        for edge in sorted(changes + kept):
            if edge[1] != level:
                merged.append(edge)
                level = edge[1]
        return replace(cc, changes=merged)

    def _roughened(self, packet: Packet, rough: str) -> Packet:
        flaws, rng = packet.flaws, self.rng
        if rough == "cut":
            flaws = replace(flaws, cut_bits=rng.randint(0, 16))
        elif rough == "drift":
            flaws = replace(flaws, drift=rng.uniform(-0.0025, 0.0025))
        elif rough == "spikes":
            length = packet.end_s - packet.start_s
            count = rng.randint(0, 3)
            spikes = tuple((rng.uniform(0, length), rng.uniform(10e-9, 90e-9)) for _ in range(count))
            flaws = replace(flaws, spikes=spikes)
        return replace(packet, flaws=flaws)

    def capture(
        self,
        manners: LineManners,
        *,
        before: str = "",
        rough: str = "",
        tail_s: float | None = None,
        with_vbus: bool = True,
    ) -> Capture:
        """The waveform. before: what moves on the line until attach: "", "toggles" or "hum".

        rough: what every packet suffers: "" nothing, "cut" a preamble that starts late, "spikes" pulses shorter
        than tRxFilter, "drift" the bit rate drifting by up to pBitRate. Or what the wire does between packets:
        "sinktx" and "jiggle" (`LineManners`), or "sag": the cable's resistance takes its part of VBUS, "meter":
        so it does, and the probe reads 2 % wrong, and every step of the load makes a dip of some ms
        within vSrcValid.
        """
        manners = replace(manners, idle_wanders=rough == "sinktx", jiggles=rough == "jiggle")
        rng = self.rng
        stray: list[Edge] = []
        initial = manners.idle if self.ports.fast and not before else 0
        quiet = max(0.0, self.attach_s - 2e-3)
        if before == "toggles":
            stray = stray_toggles(0.0, quiet, rng)
        elif before == "hum":
            stray = mains_hum(0.0, quiet, rng)
        level = stray[-1][1] if stray else initial
        if level != manners.idle and not (self.ports.fast and not before):
            at = max(quiet, stray[-1][0] + 1e-4 if stray else 0.0)
            stray += bounce(at, manners.idle, rng) if before else [(at, manners.idle)]
        tail = tail_s if tail_s is not None else (0.5e-3 if self.ports.fast else rng.uniform(5e-3, 0.4))
        end_s = max(self.now, self.packets[-1].end_s if self.packets else 0.0) + tail
        packets = [self._roughened(packet, rough) for packet in self.packets] if rough else self.packets
        cc = render(packets, manners, rng, end_s=end_s, before=stray, initial=initial)
        for opened in self.opened_s:
            cc = self._opened(cc, opened, manners.idle)
        if self.cut_s:
            cc = cc.window(self.cut_s, end_s).shifted(-self.cut_s)
            self.vbus = [(t - self.cut_s, v) for t, v in self.vbus]
            self.amps = [(t - self.cut_s, a) for t, a in self.amps]
        if rough == "sag":
            self.vbus = _sagging(self.vbus, self.amps, rng.uniform(0.02, 0.15))
        if rough == "meter":
            self.vbus = _misread(self.vbus, self.amps, rng)
        vbus = Trace(list(self.vbus), rng.uniform(0.0, 0.02)) if with_vbus else None
        amps = Trace(list(self.amps), 0.004) if with_vbus else None
        return Capture(cc, vbus, amps)


def _sagging(volts: list[Point], amps: list[Point], ohms: float) -> list[Point]:
    """VBUS at the far end of a cable of so many ohms."""
    times = sorted({t for t, _ in volts} | {t for t, _ in amps})
    up, down = Trace(volts).reader(random.Random(0)), Trace(amps).reader(random.Random(0))
    return [(t, max(0.0, up.at(t) - ohms * down.at(t))) for t in times]


def _misread(volts: list[Point], amps: list[Point], rng: random.Random) -> list[Point]:
    """VBUS as a cheap probe at the far end has it."""
    gain, ohms = rng.uniform(0.98, 1.02), rng.uniform(0.02, 0.08)
    dips = [t for (t, a), (_, b) in pairwise(amps) if b > a + 0.05]
    points = []
    for time_s, value in _sagging(volts, amps, ohms):
        points.append((time_s, value * gain))
        if time_s in dips and value > 4.0:
            length = rng.uniform(0.5e-3, 3e-3)
            low = value * gain - rng.uniform(0.1, 0.5)  # vSrcValid
            points += [(time_s + 0.1e-3, low), (time_s + length, low)]
    return sorted(points)
