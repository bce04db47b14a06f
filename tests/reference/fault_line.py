"""Faults of signal, acknowledgement and retries, each with the party that broke the standard.

Why it is: these are the faults that look like somebody else's. Who owed what: the receiver of a message its GoodCRC
within tTransmit with the same SOP and MessageID; the sender of a message no more than nRetryCount retries, a whole
preamble, a bit rate of 270 to 330 kbit/s and tInterFrameGap.
tTransmit, tReceive, nRetryCount and the line's limits from memory of the specification.
"""

from __future__ import annotations

from dataclasses import replace

from tests.reference import words
from tests.reference.fault_ids import every
from tests.reference.faulty_talks import Expect
from tests.reference.offers import offer_words
from tests.reference.rows import Book, failed, row, warned
from tests.reference.second_encoder import Flaws, Packet
from tests.reference.talk import T_RECEIVE, T_SEND_SOURCE_CAP
from tests.reference.world import OTHER, World

FAULT_LINE: Book = {}


def _late_goodcrc(world: World, who: str) -> None:
    normal = world.good_crc

    def late(by: str, packet: Packet, *, message_id: int | None = None, flaws: Flaws | None = None) -> Packet:
        if by == who:
            # late, and yet over before tReceive's 0.9 ms
            world.now += world.rng.uniform(60e-6, 0.88e-3 - 195e-6 - 149 / world._rate(by))
        return normal(by, packet, message_id=message_id, flaws=flaws or Flaws())

    world.transmit = (150e-6, 194e-6)
    world.good_crc = late  # type: ignore[method-assign]
    world.begin()
    world.wait((20e-3, 0.2))
    world.settle(world.wish())


@row(FAULT_LINE, "goodcrc", warned("sink"))
def sink_goodcrc_late(world: World) -> None:
    """After tTransmit, but before the source gives up."""
    _late_goodcrc(world, "sink")


@row(FAULT_LINE, "goodcrc", warned("source"))
def source_goodcrc_late(world: World) -> None:
    """After tTransmit, but before the sink gives up."""
    _late_goodcrc(world, "source")


def _too_late(world: World, sender: str, kind: str, objects: list[int], tries: int) -> None:
    """Each try is acknowledged only when the sender has stopped waiting; the retry comes after that."""
    for _ in range(tries):
        packet = world.send(sender, kind, objects)
        given_up = packet.end_s + world.rng.uniform(*T_RECEIVE)
        by = OTHER[sender]
        ends = packet.end_s + world.rng.uniform(1.15e-3, 1.25e-3)
        world.now = ends - 149 / world._rate(by)
        number = packet.payload[1] >> 1 & 7
        world.send(by, "GoodCRC", message_id=number)
        world.now = max(world.now, given_up) + world.rng.uniform(30e-6, 190e-6)
    world.count_on(sender)


@row(FAULT_LINE, "goodcrc", failed(("offer_acknowledged", "request"), "sink"))
def sink_goodcrc_too_late(world: World) -> None:
    """The GoodCRC is complete only after tReceive, again and again; the source never counts an offer as heard."""
    world.attach()
    world.offer = []
    objects = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(world.rng.randint(4, 8)):
        _too_late(world, "source", "Source_Capabilities", objects, 1 + world.retries)
        world.wait(T_SEND_SOURCE_CAP)


@row(FAULT_LINE, "goodcrc", failed(("request", "accept"), "source"))
def source_goodcrc_too_late(world: World) -> None:
    """The same for the Request: the sink never counts it as heard and resets."""
    world.attach()
    turns = world.rng.randint(2, 3)
    for turn in range(turns):
        world.offers()
        word = world.wish().word
        world.responding((0.1e-3, 5e-3))
        _too_late(world, "sink", "Request", [word], 1 + world.retries)
        world.restart_sop_ids()
        world.wait((0.2e-3, 2e-3))
        _too_late(world, "sink", "Soft_Reset", [], 1 + world.retries)
        world.wait((0.2e-3, 2e-3))
        world.hard_reset("sink", back=turn < turns - 1)


@row(FAULT_LINE, "goodcrc", warned("sink"))
def sink_goodcrc_says_source(world: World) -> None:
    """The sink's GoodCRCs carry the power role of a source; the source takes them."""
    world.begin()
    every(world, "sink", "GoodCRC", 1 << 8)


@row(FAULT_LINE, "goodcrc", warned("source"))
def source_goodcrc_says_sink(world: World) -> None:
    """The source's GoodCRCs carry the power role of a sink; the sink takes them."""
    world.begin()
    every(world, "source", "GoodCRC", 1 << 8)


@row(FAULT_LINE, "goodcrc", failed("offer_acknowledged", "sink"))
def goodcrc_on_another_sop(world: World) -> None:
    """SOP is acknowledged with SOP', so for the source nobody has heard."""
    world.attach()
    made = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(world.rng.randint(4, 8)):
        for _ in range(1 + world.retries):
            packet = world.send("source", "Source_Capabilities", made)
            world.wait(world.transmit)
            world.send("sink", "GoodCRC", sop="SOP'", message_id=packet.payload[1] >> 1 & 7)
            world.now = max(world.now + 30e-6, packet.end_s + world.rng.uniform(1.0e-3, 1.25e-3))
        world.count_on("source")
        world.wait(T_SEND_SOURCE_CAP)


@row(FAULT_LINE, "goodcrc", Expect(("fail", "inconclusive"), (), ("source", "link", "capture", None)))
def goodcrc_for_a_broken_request(world: World) -> None:
    """A Request that stands corrupt on the line is acknowledged and never answered; the sink resets, twice."""
    world.attach()
    for turn in range(2):
        world.offers()
        world.responding()
        packet = world.send("sink", "Request", [world.wish().word], flaws=world.corruption(1))
        world.good_crc("source", packet)
        world.count_on("sink")
        world.wait(world.sender_response())
        world.hard_reset("sink", back=turn == 0)


@row(FAULT_LINE, "retries", warned("source"))
def offers_retried_too_often(world: World) -> None:
    """A starting device does not hear two offers, each sent more often than nRetryCount allows."""
    world.attach()
    made = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(2):
        world.unanswered("source", "Source_Capabilities", made, retries=world.rng.randint(5, 7))
        world.wait(T_SEND_SOURCE_CAP)
    world.offers()
    world.settle(world.wish())


def _short_preambles(world: World, who: str) -> None:
    world.begin()
    cut = world.rng.randint(20, 34)
    world.packets = [replace(p, flaws=Flaws(cut_bits=cut)) if p.sender == who else p for p in world.packets]


@row(FAULT_LINE, "signal", warned("source"))
def source_preamble_short(world: World) -> None:
    """Every packet of the source has only 30 to 44 bits of preamble."""
    _short_preambles(world, "source")


@row(FAULT_LINE, "signal", warned("sink"))
def sink_preamble_short(world: World) -> None:
    """Every packet of the sink has only 30 to 44 bits of preamble."""
    _short_preambles(world, "sink")


@row(FAULT_LINE, "signal", warned("sink"))
def sink_too_fast_or_slow(world: World) -> None:
    """The sink's bit rate is outside 270 to 330 kbit/s; the source copes."""
    rate = world.rng.choice((251e3, 258e3, 344e3, 352e3))
    world.ports = replace(world.ports, source_bps=300e3, sink_bps=rate)
    world.begin()


@row(FAULT_LINE, "signal", warned("source"))
def source_too_fast_or_slow(world: World) -> None:
    """The source's bit rate is outside 270 to 330 kbit/s; the sink copes."""
    rate = world.rng.choice((251e3, 258e3, 344e3, 352e3))
    world.ports = replace(world.ports, source_bps=rate, sink_bps=300e3)
    world.begin()


def _hasty(world: World, who: str) -> None:
    normal = world.good_crc

    def hasty(by: str, packet: Packet, *, message_id: int | None = None, flaws: Flaws | None = None) -> Packet:
        world.transmit = (6e-6, 15e-6) if by == who else (30e-6, 190e-6)
        return normal(by, packet, message_id=message_id, flaws=flaws or Flaws())

    world.good_crc = hasty  # type: ignore[method-assign]
    world.begin()


@row(FAULT_LINE, "signal", warned("sink"))
def sink_does_not_wait_for_the_gap(world: World) -> None:
    """The sink's GoodCRCs begin 6 to 15 us after the packet before them."""
    _hasty(world, "sink")


@row(FAULT_LINE, "signal", warned("source"))
def source_does_not_wait_for_the_gap(world: World) -> None:
    """The source's GoodCRCs begin 6 to 15 us after the packet before them."""
    _hasty(world, "source")


@row(FAULT_LINE, "goodcrc", failed(("accept",), "sink"))
def accept_not_acknowledged(world: World) -> None:
    """The sink asks and then does not acknowledge the Accept; the source resets."""
    _deaf_to(world, "Accept")


@row(FAULT_LINE, "goodcrc", failed(("ready",), "sink"))
def ready_not_acknowledged(world: World) -> None:
    """The sink does not acknowledge PS_RDY; the source resets."""
    _deaf_to(world, "PS_RDY")


def _deaf_to(world: World, what: str) -> None:
    world.attach()
    turns = world.rng.randint(2, 3)
    for turn in range(turns):
        world.offers()
        world.responding()
        world.requests(world.wish(position=1))
        world.responding()
        if what == "PS_RDY":
            world.say("source", "Accept")
            world.wait((26e-3, 60e-3))
        world.unanswered("source", what)
        world.wait((0.2e-3, 2e-3))
        world.hard_reset("source", back=turn < turns - 1)


@row(FAULT_LINE, "goodcrc", failed(("offer_acknowledged",), "sink"))
def offers_heard_by_nobody_with_a_cable(world: World) -> None:
    """The marked cable answers, so the wire is good that far; the device never acknowledges an offer."""
    world.attach(soon=True)
    world.ask_cable(3)
    world.wait((1e-3, 40e-3))
    made = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(world.rng.randint(5, 9)):
        world.unanswered("source", "Source_Capabilities", made)
        world.wait(T_SEND_SOURCE_CAP)
    assert offer_words(world.offer) == []
