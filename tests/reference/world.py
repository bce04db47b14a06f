"""A `Talk` with everything that a long conversation needs: swaps, EPR mode, chunks, cables, resets at their edges.

Why it is: the families of healthy and faulty conversations need a partner that keeps each window of the specification
and yet goes to its ends. `EdgeRandom` draws half of all delays and levels within a hundredth of one end of their
window; `World` takes care that the windows hold under the strict reading (an answer counts from the EOP of the
question, not from that of its GoodCRC; VBUS stays off for tSrcRecover from vSafe0V and comes back before it is over
counted from the fall). Windows: Zephyr 4.0's usbc_pd.h and Linux 6.1's pd.h for most; tTransmit, tReceive,
tSrcReady, tEnterEPR, the EPR and PPS times and the chunk times from memory of the specification.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from tests.reference import words
from tests.reference.offers import Demand, Offer, make_demand, make_offer, offer_words
from tests.reference.second_encoder import Flaws, LineManners, Packet, Wave, bmc_edges
from tests.reference.talk import T_DISCOVER_IDENTITY, Ports, Talk, Window
from tests.reference.wave_files import Capture

T_ANSWER: Window = (0.1e-3, 14.9e-3)  # tReceiverResponse, from the question's EOP
T_FIRST_OFFER: Window = (5e-3, 240e-3)  # tFirstSourceCap
T_TX_EDGE: Window = (25.1e-6, 194e-6)
GAP_S = 25.2e-6
CARRIER_S: Window = (31e-3, 59e-3)  # tBISTContMode
OTHER = {"source": "sink", "sink": "source"}


class EdgeRandom(random.Random):
    """Draws the ends of a window more often than its middle."""

    def uniform(self, a: float, b: float) -> float:
        how, part = self.random(), self.random()
        if how < 0.25:
            part *= 0.01
        elif how < 0.5:
            part = 1 - 0.01 * part
        return a + (b - a) * part


class World(Talk):
    """A conversation with its VBUS and current, kept inside every window unless a story says otherwise."""

    def __init__(self, rng: random.Random, ports: Ports, attach_s: float) -> None:
        super().__init__(rng, ports, attach_s)
        self.transmit = T_TX_EDGE
        self.offer: list[Offer] = []
        self.epr_objects: list[int] = []
        self.epr = False
        self.vconn = "source"
        self.asked_s = 0.0  # EOP of the last message that was not a GoodCRC
        self.turned_s: float | None = None  # from here on the plug is in the other way round
        self.cut_end_s: float | None = None  # the capture ends here
        self.carriers: list[tuple[float, float, float]] = []

    # --- who is who

    @property
    def dfp(self) -> str:
        """The port that is the host now."""
        return "source" if self.source_bit5 else "sink"

    @property
    def r3(self) -> bool:
        """Whether both ports have settled on R3.x."""
        return self.ports.common == words.R3X

    @property
    def version(self) -> int:
        """Structured VDM version field of the settled revision."""
        return 1 if self.r3 else 0

    def either(self) -> tuple[str, str]:
        """One of the ports and the other."""
        one = self.rng.choice(("source", "sink"))
        return one, OTHER[one]

    # --- saying things

    def send(
        self, sender: str, kind: str, objects: Sequence[int] = (), *, sop: str = "SOP", message_id: int | None = None,
        revision: int | None = None, flaws: Flaws = Flaws(),  # noqa: B008 (frozen)
    ) -> Packet:
        """As `Talk.send`; remembers when a question was over."""
        packet = super().send(sender, kind, objects, sop=sop, message_id=message_id, revision=revision, flaws=flaws)
        if kind != "GoodCRC":
            self.asked_s = packet.end_s
        return packet

    def responding(self, window: Window | None = None) -> None:
        """The time to an answer, counted from the EOP of the question."""
        low, high = window or T_ANSWER
        low = max(self.now + GAP_S, self.asked_s + low)
        self.now = self.rng.uniform(low, max(low, self.asked_s + high))

    def ask(
        self, asker: str, question: str, answer: str, objects: Sequence[int] = (), answer_objects: Sequence[int] = (),
        *, sop: str = "SOP", window: Window | None = None,
    ) -> None:
        """A question and its answer, both acknowledged."""
        self.say(asker, question, objects, sop=sop)
        self.responding(window)
        self.say(self.partner(asker, sop), answer, answer_objects, sop=sop)

    def refusal(self) -> str:
        """What a port says that does not know a message."""
        return "Not_Supported" if self.r3 else "Reject"

    def vendor(self, svid: int, command: int, kind: int, *more: int, position: int = 0) -> list[int]:
        """The objects of a structured vendor message."""
        return [words.vdm_header(svid, command, kind, version=self.version, position=position), *more]

    def say_bytes(self, sender: str, kind: str, data: bytes, *, size: int | None = None) -> Packet:
        """An unchunked extended message: one packet, no padding, the count of objects reserved (from memory)."""
        bit8, bit5 = self._roles(sender, "SOP")
        head = words.header(kind, 0, self.next_id(sender), self.revision(sender), bit8, bit5)
        raw = head.to_bytes(2, "little") + (len(data) if size is None else size).to_bytes(2, "little") + data
        packet = Packet(self.now, sender, raw, "SOP", self._rate(sender), kind)
        self.packets.append(packet)
        self.now = self.asked_s = packet.end_s
        self.good_crc(OTHER[sender], packet)
        self.count_on(sender)
        return packet

    def extended(self, sender: str, kind: str, data: bytes, *, unchunked: bool = False, lost_at: int = -1) -> None:
        """An extended message, in chunks that the other side asks for; `lost_at` is a packet that needs a retry."""
        if unchunked:
            self.say_bytes(sender, kind, data)
            return
        parts = [data[i : i + 26] for i in range(0, len(data), 26)] or [b""]
        for number, part in enumerate(parts):
            if number:
                self.responding()
                ask = words.extended_words(b"", chunk=number, asking=True)
                self.say(OTHER[sender], kind, ask, lost="ack" if lost_at == 2 * number - 1 else "")
                self.responding()
            body = words.extended_words(part, size=len(data), chunk=number)
            self.say(sender, kind, body, lost="message" if lost_at == 2 * number else "")

    # --- power

    def attach(self, *, soon: bool = False) -> None:
        """As `Talk.attach`, with what a device draws of 5 V before it has a contract."""
        super().attach(soon=soon)
        self.draw(self.rng.uniform(0.005, 0.45), self.vbus[-1][0])

    def begin(self, *, kinds: Sequence[str] = (), at_least: int = 1, ask: str = "", position: int = 0) -> None:
        """Attach, and a contract without incident."""
        self.attach()
        self.offers(kinds=kinds, at_least=at_least)
        self.settle(self.wish(ask, position))

    def offers(self, *, kinds: Sequence[str] = (), at_least: int = 1, flags: int = 0, ceiling_ma: int = 3000) -> None:
        """A new offer, acknowledged."""
        made = make_offer(self.rng, self.ports.source_revision, kinds=kinds, at_least=at_least, ceiling_ma=ceiling_ma)
        self.offer = [replace(made[0], word=made[0].word | flags), *made[1:]]
        self.say("source", "Source_Capabilities", offer_words(self.offer))

    def offers_again(self) -> None:
        """The same offer once more."""
        self.say("source", "Source_Capabilities", offer_words(self.offer))

    def wish(self, kind: str = "", position: int = 0, flags: int = 0) -> Demand:
        """What the sink asks of the offer."""
        return make_demand(self.rng, self.ports.common, self.offer, kind, position, flags)

    def settle(self, demand: Demand, *, lost: str = "", lost_in: str = "", tries: int = 1) -> None:
        """Request, Accept, PS_RDY; `lost_in` names the message whose first tries fail."""
        self.responding()
        self.requests(demand, lost if lost_in == "Request" else "", tries)
        self.responding()
        self.say("source", "Accept", lost=lost if lost_in == "Accept" else "", tries_lost=tries)
        self.deliver(demand, lost if lost_in == "PS_RDY" else "", tries)

    def requests(self, demand: Demand, lost: str = "", tries: int = 1) -> None:
        """A Request, or in EPR mode an EPR_Request with the copy of the object."""
        if self.epr:
            objects = [*(offer_words(self.offer) + [0] * 7)[:7], *self.epr_objects]
            self.say("sink", "EPR_Request", [demand.word, objects[demand.position - 1]], lost=lost, tries_lost=tries)
        else:
            self.say("sink", "Request", [demand.word], lost=lost, tries_lost=tries)

    def deliver(self, demand: Demand, lost: str = "", tries: int = 1) -> None:
        """The supply moves and says so, all inside tSrcTransition, tSrcReady and tPSTransition."""
        rng, accepted = self.rng, self.now
        patience = 829e-3 if self.epr else 449e-3
        target = demand.mv / 1000
        programmable = demand.kind == "pps" and self.settled is not None and self.settled.kind == "pps"
        level = target * (1 + rng.uniform(-0.045, 0.045))
        if self.settled is not None and self.settled.mv == demand.mv and not programmable:
            level = self.volts
        if abs(level - self.volts) < 0.25 and not programmable:
            level = self.volts if abs(self.volts / target - 1) < 0.046 else level
        if not programmable:
            self.draw(min(self.amps[-1][1], 2.4 / max(self.volts, target)), accepted + rng.uniform(0.5e-3, 13e-3))
        start = accepted + (rng.uniform(0.5e-3, 5e-3) if programmable else rng.uniform(25.2e-3, 34.8e-3))
        longest = 20e-3 if programmable else 284e-3
        end = start if level == self.volts else start + rng.uniform(2e-3, longest)
        if end > start:
            self.move_vbus(level, start, end)
        # the whole PS_RDY, its retries too, before the sink's patience ends
        latest = accepted + patience - 1e-3 - (2.2e-3 * tries if lost else 0.0)
        self.now = rng.uniform(end + 0.2e-3, max(end + 0.3e-3, latest if not programmable else end + 20e-3))
        self.say("source", "PS_RDY", lost=lost, tries_lost=tries)
        self.settled = demand
        self.draw(demand.ma / 1000 * rng.uniform(0.3, 0.98), self.now + rng.uniform(1e-3, 20e-3))

    def try_lost(self) -> int:
        """How often a message may be lost so that its last retry mends it."""
        return self.rng.randint(1, self.retries)

    # --- resets

    def reset_soft(self, by: str) -> None:
        """Soft_Reset and Accept; both count from 0 again."""
        self.restart_sop_ids()
        self.ask(by, "Soft_Reset", "Accept")

    def restart_sop_ids(self) -> None:
        """A Soft_Reset on SOP leaves the counters of the cable alone."""
        for key in [key for key in self._ids if key[1] == "SOP"]:
            del self._ids[key]

    def hard_reset(self, sender: str, *, back: bool = True) -> None:
        """Hard Reset; VBUS goes off and on inside tPSHardReset, tSafe0V, tSrcRecover and tSrcTurnOn."""
        self.packets.append(Packet(self.now, sender, b"", "Hard Reset", self._rate(sender), "Hard Reset"))
        self.now = self.packets[-1].end_s
        self.restart_ids()
        self.source_bit5, self.met, self.vconn, self.settled = 1, False, "source", None
        low, high = (1.085, 1.425) if self.epr else (0.660, 1.0)
        self.epr = False
        self.draw(0.0, self.now)
        at = self.now + self.rng.uniform(25.2e-3, 34.8e-3)
        fall = self.rng.uniform(20e-3, 300e-3)
        self.move_vbus(0.0, at, at + fall)
        self._back_s = self.rng.uniform(at + fall + low + 2e-3, at + high - 2e-3)
        if back:
            self.power_back()

    def power_back(self) -> None:
        """VBUS comes on again; time moves to where the next offer starts."""
        on = self._back_s
        self.move_vbus(5.0 + self.rng.uniform(-0.2, 0.2), on, on + self.rng.uniform(1e-3, 270e-3))
        self.now = self.vbus[-1][0]
        self.draw(self.rng.uniform(0.005, 0.45), self.now)
        self.wait(T_FIRST_OFFER)

    def unplug(self) -> None:
        """As `Talk.unplug`; modes and roles are forgotten."""
        super().unplug()
        self.source_bit5, self.vconn, self.epr, self.settled = 1, "source", False, None

    # --- roles

    def turn_power_roles(self) -> None:
        """What was the source is the sink from here on, at its own bit rate; data roles stay."""
        ports = self.ports
        turned = {"source": "sink", "sink": "source", "": ""}
        self.ports = replace(
            ports, source_bps=ports.sink_bps, sink_bps=ports.source_bps, source_revision=ports.common,
            sink_revision=ports.common, sloppy_goodcrc=turned[ports.sloppy_goodcrc],
        )
        self.source_bit5 ^= 1
        self.vconn = OTHER[self.vconn]

    # --- the cable

    def ask_cable(self, amps: int, *, epr: bool = False, by: str = "source") -> None:
        """Discover Identity on SOP'; amps: 3 or 5, or 0 for a cable without a marker."""
        version = 1 if self.revision(by) == words.R3X else 0
        question = [words.vdm_header(0xFF00, 1, 0, version=version)]
        if not amps:
            for _ in range(self.rng.choice((1, 2, 3))):
                start = self.now
                self.unanswered(by, "Vendor_Defined", question, sop="SOP'")
                self.now = max(self.now + 1e-3, start + self.rng.uniform(*T_DISCOVER_IDENTITY))
            return
        answer = words.marked_cable(version, amps=amps, epr=epr)
        self.cable_says(by, question, answer)

    def cable_says(self, by: str, question: Sequence[int], answer: Sequence[int], sop: str = "SOP'") -> None:
        """A question to the cable and its answer."""
        self.say(by, "Vendor_Defined", question, sop=sop)
        self.responding()
        packet = self.send("cable", "Vendor_Defined", answer, sop=sop, revision=self.revision(by))
        self.good_crc(by, packet)
        self.count_on("cable", sop)

    # --- to a capture

    def capture(
        self, manners: LineManners, *, before: str = "", rough: str = "", tail_s: float | None = None,
        with_vbus: bool = True,
    ) -> Capture:
        """As `Talk.capture`, with the test carriers drawn in."""
        if self.cut_end_s is not None:
            tail_s = max(0.0, self.cut_end_s - self.packets[-1].end_s)
            self.now = self.packets[-1].end_s
        made = super().capture(manners, before=before, rough=rough, tail_s=tail_s, with_vbus=with_vbus)
        for start, length, rate in self.carriers:
            made.cc = _with_carrier(made.cc, start, length, rate)
        if self.turned_s is not None:
            made.cc, made.other_cc = _parted(made.cc, self.turned_s)
        return made


def _parted(cc: Wave, at_s: float) -> tuple[Wave, Wave]:
    """The first contact until then, the second from then on; each rests at 0 while the other talks."""
    before = [edge for edge in cc.changes if edge[0] < at_s]
    after = [edge for edge in cc.changes if edge[0] >= at_s]
    if cc.level_at(at_s):
        before.append((at_s, 0))
        after.insert(0, (at_s, 1))
    return replace(cc, changes=before), replace(cc, initial=0, changes=after)


def _with_carrier(cc: Wave, start_s: float, length_s: float, rate_bps: float) -> Wave:
    """Alternating bits for `length_s`, on a line that is at rest there."""
    level = cc.level_at(start_s)
    bits = [n % 2 for n in range(int(length_s * rate_bps / 4) * 4)]
    edges = bmc_edges(bits, start_s, rate_bps, level)
    if edges[-1][1] != level:
        edges.append((edges[-1][0] + 5e-6, level))
    kept = [edge for edge in cc.changes if not start_s <= edge[0] <= edges[-1][0]]
    return replace(cc, changes=sorted(kept + edges))
