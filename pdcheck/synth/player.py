"""Plays a scenario: keeps the clock, the MessageIDs and the levels, and gives what the probes see.

Why it is: a scenario says what is out of the ordinary; everything usual (GoodCRC, MessageID, retries, the roles and
revision in each header) is done here as the specification wants it, with its numbers from the standard room.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pdcheck.errors import ScenarioError
from pdcheck.messages import build_header
from pdcheck.standard import counters, electrical, timers
from pdcheck.standard.line_code import Sop
from pdcheck.standard.message_types import ControlType
from pdcheck.synth.encoder import NO_DAMAGE, ORDERED_SET_END, Damage, Edge, Packet, driven_edges
from pdcheck.synth.model import (
    ColumnKind,
    Corruption,
    LineMove,
    Manner,
    Move,
    Party,
    Ramp,
    Repeat,
    Scenario,
    Send,
    Signal,
    Step,
    Trouble,
    When,
)
from pdcheck.synth.wave import Chance, Trace, Wave, chatter, hum, roughened, tidied, toggles
from pdcheck.synth.words import LONGEST_S, Complaint

_GAP_S = electrical.INTER_FRAME_GAP.min_s
_RECEIVE_S = timers.RECEIVE.nominal * 1e-3
_RETRY_S = _RECEIVE_S + timers.TRANSMIT.max_s / 2
_RETRIES = {1: int(counters.RETRY_COUNT_R2.nominal), 2: int(counters.RETRY_COUNT_R3.nominal)}
_MESSAGE_IDS = int(counters.MESSAGE_ID_COUNT.nominal) + 1
_TAIL_S = 20e-3
_MOST_PACKETS = 5_000
_MOST_EDGES = 3_000_000
_MOST_STEPS = 200_000
_MOST_MOVES = 20_000


@dataclass(frozen=True)
class Performance:
    """What the probes saw, from the start of the capture: the CC line, VBUS in volts, current in amps."""

    wave: Wave
    traces: dict[ColumnKind, Trace]
    duration_s: float
    packets: tuple[Packet, ...]


def play(scenario: Scenario) -> Performance:
    """Play a scenario. :raises ScenarioError: a step cannot be done as it is written."""
    player = _Player(scenario)
    player.play(scenario.steps)
    return player.performance()


class _Player:
    def __init__(self, scenario: Scenario) -> None:
        self._path = scenario.path
        self._manners = scenario.manners
        self._now = 0.0
        self._free_s = -1.0
        """From here on the line is free for a packet (tInterFrameGap after the last)."""
        self._idle = scenario.manners.idle
        first_attach = any(isinstance(step, Move) and step.what is LineMove.ATTACH for step in scenario.steps)
        self._initial = self._idle ^ int(first_attach)
        self._rough = Chance(scenario.seed, "edges")
        self._line_chance = Chance(scenario.seed, "line")
        self._damage_chance = Chance(scenario.seed, "damage")
        self._edges: list[Edge] = []
        self._spikes: list[tuple[float, float]] = []
        self._packets: list[Packet] = []
        self._points = {kind: [(0.0, 0.0)] for kind in (ColumnKind.VBUS, ColumnKind.CURRENT)}
        self._ids: dict[tuple[Party, Sop], int] = {}
        self._met = False
        self._cable_asked_by = Party.SOURCE
        self._last_id: dict[Party, int] = {}
        self._start_s = 0.0
        self._end_s: float | None = None
        self._steps_done = 0

    # --- the walk

    def play(self, steps: Sequence[Step]) -> None:
        for step in steps:
            try:
                self._count_step()
                self._step(step)
                if len(self._edges) > _MOST_EDGES:
                    raise Complaint(f"the line changes more than {_MOST_EDGES:,} times", "let less happen")
                if self._now > LONGEST_S:
                    raise Complaint(f"goes on for more than {LONGEST_S:.0f} s", "repeat less often or wait less")
            except Complaint as complaint:
                raise complaint.at(self._path, step.line) from None

    def _repeat(self, step: Repeat) -> None:
        began = self._now
        for turn in range(step.times):
            if step.every_s:
                due = began + turn * step.every_s
                if self._now > due + 1e-9:
                    raise Complaint(
                        f"one turn lasts longer than {step.every_s * 1e3:g} ms", "leave every out, or make it longer"
                    )
                self._now = max(self._now, due)
            self._count_step()
            self.play(step.steps)

    def _count_step(self) -> None:
        self._steps_done += 1
        if self._steps_done > _MOST_STEPS:
            raise Complaint(f"more than {_MOST_STEPS:,} steps are played", "repeat less often")

    def _step(self, step: Step) -> None:
        if isinstance(step, Repeat):
            self._repeat(step)
            return
        self._go_to(step.when)
        if isinstance(step, Send):
            self._say(step)
        elif isinstance(step, Signal):
            self._signal(step)
        elif isinstance(step, Ramp):
            self._ramp(step)
        elif isinstance(step, Move):
            self._move(step)
        elif step.starts:
            self._start_s = self._now
        else:
            self._end_s = self._now

    def _go_to(self, when: When) -> None:
        if when.relative:
            self._now += when.seconds
        elif when.seconds < self._now - 1e-12:
            raise Complaint(
                f"starts at {when.seconds:g} s, but the line above lasts until {self._now:.6f} s",
                "use a later time, or +... from the line above",
            )
        else:
            self._now = when.seconds

    # --- messages

    def _say(self, step: Send) -> None:
        manner = step.manner
        sop = manner.sop or Sop.SOP
        if step.party is Party.CABLE and not sop.to_cable:
            raise Complaint("the cable does not speak on SOP", "write the source or the sink, or leave out: on SOP")
        if sop.to_cable and step.party is not Party.CABLE:
            self._cable_asked_by = step.party
        acknowledges = step.message_type == ControlType.GoodCRC and not step.object_count and not step.extended
        if acknowledges:
            self._packet(step.party, sop, self._header_and_body(step, sop, self._id_to_acknowledge(step)), manner)
            return
        if step.message_type == ControlType.Soft_Reset and not step.object_count and not step.extended:
            self._forget(lambda of: of is sop)
        number = self._next_id(step.party, sop) if manner.message_id is None else manner.message_id
        data = self._header_and_body(step, sop, number)
        if step.raw:
            number = step.raw[1] >> 1 & 7
        self._last_id[step.party] = number
        heard = self._transmit(step.party, sop, data, number, manner)
        self._ids[(step.party, sop)] = (number + 1) % _MESSAGE_IDS
        if heard and step.party is Party.SINK and sop is Sop.SOP:
            self._met = True

    def _transmit(self, party: Party, sop: Sop, data: bytes, number: int, manner: Manner) -> bool:
        """All tries of a message; returns whether one was acknowledged as it should be."""
        trouble = manner.trouble
        if trouble is None and manner.keep_bits is not None:
            trouble = Trouble.SILENCE  # what ends early is not understood
        bad = 0 if trouble is None else _MOST_PACKETS if manner.bad_tries is None else manner.bad_tries
        tries = manner.tries or (1 if not bad else 1 + self._retries() if bad == _MOST_PACKETS else bad + 1)
        heard = False
        for turn in range(tries):
            spoiled = trouble if turn < bad else None
            damage = self._damage(len(data), manner.corruption) if spoiled is Trouble.CORRUPT else NO_DAMAGE
            packet = self._packet(party, sop, data, manner, damage)
            if spoiled in (Trouble.SILENCE, Trouble.CORRUPT):
                done = packet.end_s
            else:
                done = self._acknowledge(party, sop, number, manner, spoiled)
                heard = heard or spoiled is None
            if turn < tries - 1:
                self._now = max(done, packet.end_s + _RETRY_S)
            else:
                self._now = done if spoiled is None else max(done, packet.end_s + _RECEIVE_S)
        return heard

    def _acknowledge(self, sender: Party, sop: Sop, number: int, manner: Manner, spoiled: Trouble | None) -> float:
        """The GoodCRC of whoever received the message; returns when it ends."""
        by = self._partner(sender, sop)
        if spoiled is Trouble.WRONG_ID:
            number = manner.wrong_id + (number if manner.wrong_id_relative else 0)
        damage = self._damage(2, Corruption.BITS) if spoiled is Trouble.LOST_ACKNOWLEDGEMENT else NO_DAMAGE
        after = self._manners.acknowledge_s if manner.acknowledge_s is None else manner.acknowledge_s
        self._now += after
        data = self._header(by, sop, ControlType.GoodCRC, 0, False, number % _MESSAGE_IDS, None)
        return self._packet(by, sop, data, Manner(), damage).end_s

    def _packet(
        self, party: Party, sop: Sop, data: bytes, manner: Manner, damage: Damage = NO_DAMAGE
    ) -> Packet:
        """One packet from now on; time moves to its end."""
        if len(self._packets) >= _MOST_PACKETS:
            raise Complaint(f"there are more than {_MOST_PACKETS:,} packets", "repeat less often")
        if manner.cut_bits or manner.keep_bits is not None or manner.bad_kcode:
            damage = Damage(
                damage.flipped, damage.destroyed, damage.crc_xor, manner.bad_kcode, manner.cut_bits, manner.keep_bits
            )
        rate = manner.rate_bps or self._manners.rate_bps[party]
        packet = Packet(max(self._now, self._free_s), sop, data, rate, damage)
        if damage.cut_bits >= packet.bit_count:
            raise Complaint(f"nothing is left of a packet of {packet.bit_count} bits", "let fewer bits be missing")
        edges = driven_edges(packet, self._idle, self._manners.lead_s, self._manners.release_s)
        self._edges += roughened(edges, self._manners.skew_s, self._manners.jitter_s, self._rough)
        self._packets.append(packet)
        self._now = packet.end_s
        self._free_s = packet.end_s + _GAP_S
        return packet

    def _header_and_body(self, step: Send, sop: Sop, number: int) -> bytes:
        if step.raw:
            return step.raw
        head = self._header(
            step.party, sop, step.message_type, step.object_count, step.extended, number, step.manner.revision
        )
        return head + step.body

    def _header(
        self, party: Party, sop: Sop, message_type: int, count: int, extended: bool, number: int, revision: int | None
    ) -> bytes:
        from_plug = sop.to_cable and party is Party.CABLE
        dfp = (party is Party.SOURCE) == self._manners.source_is_dfp
        return build_header(
            message_type=message_type, object_count=count, message_id=number, extended=extended,
            power_role=int(from_plug if sop.to_cable else party is Party.SOURCE),
            data_role=int(dfp and not sop.to_cable),
            revision=self._revision(party) if revision is None else revision,
        )

    def _revision(self, party: Party) -> int:
        """Each port goes down to what both have in common once it knows the other's revision."""
        revisions = self._manners.revision
        if party is Party.CABLE:
            return min(revisions[Party.CABLE], revisions[Party.SOURCE])
        if party is Party.SOURCE and not self._met:
            return revisions[Party.SOURCE]
        return min(revisions[Party.SOURCE], revisions[Party.SINK])

    def _retries(self) -> int:
        return _RETRIES[max(1, self._revision(Party.SOURCE))]

    def _next_id(self, party: Party, sop: Sop) -> int:
        return self._ids.get((party, sop), 0)

    def _id_to_acknowledge(self, step: Send) -> int:
        if step.manner.message_id is not None:
            return step.manner.message_id
        return self._last_id.get(self._partner(step.party, step.manner.sop or Sop.SOP), 0)

    def _partner(self, party: Party, sop: Sop) -> Party:
        if sop.to_cable:
            return self._cable_asked_by if party is Party.CABLE else Party.CABLE
        return Party.SINK if party is Party.SOURCE else Party.SOURCE

    def _damage(self, data_bytes: int, how: Corruption) -> Damage:
        symbols = 2 * (data_bytes + 4)
        if how is Corruption.SYMBOL:
            return Damage(destroyed=self._damage_chance.places(1, symbols))
        if how is Corruption.CRC:
            return Damage(crc_xor=self._damage_chance.whole(1, 0xFFFFFFFF))
        places = self._damage_chance.places(3, 5 * symbols)
        return Damage(flipped=tuple(ORDERED_SET_END + place for place in places))

    def _signal(self, step: Signal) -> None:
        self._packet(step.party, step.sop, b"", step.manner)
        if step.sop is Sop.HARD_RESET:
            self._forget(lambda _: True)
            self._met = False
        else:
            self._forget(lambda sop: sop.to_cable)

    def _forget(self, which: Callable[[Sop], bool]) -> None:
        """The MessageID counters of some ordered sets start again."""
        self._ids = {key: number for key, number in self._ids.items() if not which(key[1])}

    # --- what moves by itself

    def _ramp(self, step: Ramp) -> None:
        points = self._points[step.kind]
        value = Trace(points).at(self._now)
        kept = [point for point in points if point[0] < self._now] or [(0.0, value)]
        kept.append((self._now, value))
        kept.append((self._now + max(step.over_s, 1e-9), step.value))
        self._points[step.kind] = kept

    def _move(self, step: Move) -> None:
        level = self._edges[-1][1] if self._edges else self._initial
        if step.per_s * step.for_s > _MOST_MOVES or len(self._spikes) > 10 * _MOST_MOVES:
            raise Complaint("the line moves too often", f"let it move at most {_MOST_MOVES:,} times in one step")
        if step.what in (LineMove.LOW, LineMove.HIGH):
            self._idle = int(step.what is LineMove.HIGH)
            self._edges.append((self._now, self._idle))
        elif step.what is LineMove.ATTACH:
            edges = chatter(self._now, self._idle, self._line_chance)
            self._edges += edges
            self._now = edges[-1][0]
        elif step.what is LineMove.SPIKES:
            for _ in range(int(step.per_s * step.for_s)):
                at = self._line_chance.between(self._now, self._now + step.for_s)
                self._spikes.append((at, step.width_s))
        else:
            make = toggles if step.what is LineMove.TOGGLES else hum
            edges = make(self._now, step.per_s, step.for_s, level, self._line_chance)
            self._edges += edges
            self._now = max([self._now + step.for_s, *(time_s for time_s, _ in edges[-1:])])

    # --- the result

    def performance(self) -> Performance:
        moved = [point[0] for points in self._points.values() for point in points]
        end = max(self._now, *moved) + _TAIL_S if self._end_s is None else self._end_s
        if end <= self._start_s:
            raise ScenarioError(
                f"the capture ends at {end:g} s and starts at {self._start_s:g} s", "let it end after it starts",
                path=self._path,
            )
        wave = Wave(self._initial, tidied(self._edges, self._initial))
        if self._spikes:
            wave = wave.with_spikes(self._spikes)
        traces = {
            kind: Trace([(time_s - self._start_s, value) for time_s, value in points])
            for kind, points in self._points.items()
        }
        return Performance(wave.window(self._start_s, end), traces, end - self._start_s, tuple(self._packets))
