"""Faults of headers: MessageIDs that are reused, do not count on or go on after a reset, and role bits that contradict.

Why it is: a receiver takes a message with the last MessageID for a retry and ignores it, so the side that seems to have
answered has not. Who owed what: the sender a MessageID that counts on by one and starts from 0 after a Soft_Reset or
Hard Reset (from memory of the specification), and the roles that it has.
"""

from __future__ import annotations

from dataclasses import replace

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.rows import Book, broken, failed, row, warned
from tests.reference.world import OTHER, World

FAULT_IDS: Book = {}


def every(world: World, sender: str, kind: str, change: int, *, only: bool = True) -> None:
    """Invert header bits in every GoodCRC of a port, or (only=False) in everything else it says."""
    for place, packet in enumerate(world.packets):
        if packet.sender == sender and (packet.label == kind) == only and packet.payload and packet.sop == "SOP":
            head = int.from_bytes(packet.payload[:2], "little") ^ change
            world.packets[place] = replace(packet, payload=head.to_bytes(2, "little") + packet.payload[2:])


@row(FAULT_IDS, "ids", failed(("accept", "ready"), "source"))
def accept_with_an_old_id(world: World) -> None:
    """The Accept has the MessageID of the offer: the sink must take it for a retry, so it waits in vain and resets."""
    world.attach()
    turns = world.rng.randint(2, 3)
    for turn in range(turns):
        world.offers()
        world.responding()
        world.requests(world.wish())
        given_up = world.now + world.rng.uniform(*world.sender_response())
        world.responding()
        packet = world.send("source", "Accept", message_id=(world.next_id("source") - 1) % 8)
        world.good_crc("sink", packet)
        world.now = given_up
        world.hard_reset("sink", back=turn < turns - 1)


@row(FAULT_IDS, "ids", Expect(("fail", "inconclusive"), (), ("sink", None), not_suspects=("source",)))
def request_with_an_old_id(world: World) -> None:
    """Under contract a Request with the MessageID of the last: the source must ignore it, the sink resets, silence."""
    world.begin(at_least=2)
    world.wait((50e-3, 0.3))
    packet = world.send("sink", "Request", [world.wish().word], message_id=(world.next_id("sink") - 1) % 8)
    world.good_crc("source", packet)
    world.wait(world.sender_response())
    world.hard_reset("sink", back=False)


@row(FAULT_IDS, "ids", warned("source"))
def source_never_counts(world: World) -> None:
    """Every message of the source has MessageID 0; this sink does not mind."""
    _never_counts(world, "source")


@row(FAULT_IDS, "ids", warned("sink"))
def sink_never_counts(world: World) -> None:
    """Every message of the sink has MessageID 0; this source does not mind."""
    _never_counts(world, "sink")


def _never_counts(world: World, who: str) -> None:
    normal = world.count_on

    def count_on(sender: str, sop: str = "SOP") -> None:
        if sender != who:
            normal(sender, sop)

    world.count_on = count_on  # type: ignore[method-assign]
    world.begin(at_least=2)
    for _ in range(world.rng.randint(1, 2)):
        world.wait((50e-3, 0.3))
        world.settle(world.wish())
        world.wait((50e-3, 0.3))
        world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 900)])


def _goes_on_after_reset(world: World, who: str, how: str) -> None:
    world.begin()
    world.wait((50e-3, 0.3))
    kept = {key: value for key, value in world._ids.items() if key[0] == who}
    number = kept.get((who, "SOP"), 0) or 3
    if how == "soft":
        world.reset_soft(OTHER[who])
        number = (number + 1) % 8 or 1
        world.wait((2e-3, 60e-3))
    else:
        world.hard_reset("sink")
    world._ids[(who, "SOP")] = number if number > 1 else 2
    world.offers()
    world.settle(world.wish())


@row(FAULT_IDS, "ids", warned("source"))
def source_counts_on_through_a_soft_reset(world: World) -> None:
    """After a Soft_Reset the source does not start from 0."""
    _goes_on_after_reset(world, "source", "soft")


@row(FAULT_IDS, "ids", warned("sink"))
def sink_counts_on_through_a_soft_reset(world: World) -> None:
    """After a Soft_Reset the sink does not start from 0."""
    _goes_on_after_reset(world, "sink", "soft")


@row(FAULT_IDS, "ids", warned("source"))
def source_counts_on_through_a_hard_reset(world: World) -> None:
    """After a Hard Reset the source does not start from 0."""
    _goes_on_after_reset(world, "source", "hard")


@row(FAULT_IDS, "ids", warned("sink"))
def sink_counts_on_through_a_hard_reset(world: World) -> None:
    """After a Hard Reset the sink does not start from 0."""
    _goes_on_after_reset(world, "sink", "hard")


@row(FAULT_IDS, "roles", broken("sink"))
def sink_says_it_is_the_source(world: World) -> None:
    """Every message of the sink but its GoodCRCs carries the power role of a source."""
    world.begin()
    world.wait((50e-3, 0.3))
    world.settle(world.wish())
    every(world, "sink", "GoodCRC", 1 << 8, only=False)


@row(FAULT_IDS, "roles", broken("source"))
def source_says_it_is_the_sink(world: World) -> None:
    """Every message of the source but its GoodCRCs carries the power role of a sink."""
    world.begin()
    world.wait((50e-3, 0.3))
    world.settle(world.wish())
    every(world, "source", "GoodCRC", 1 << 8, only=False)


@row(FAULT_IDS, "roles", broken("sink"))
def sink_says_it_is_the_host(world: World) -> None:
    """Every message of the sink carries the data role DFP, as the source's do; no DR_Swap was seen."""
    world.begin()
    world.wait((50e-3, 0.3))
    world.settle(world.wish())
    every(world, "sink", "GoodCRC", 1 << 5, only=False)
