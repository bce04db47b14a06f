"""Healthy conversations with resets, swaps of roles, lost packets, and plugs that are pulled and put in.

Why it is: after each of them who is who, which MessageID is next and what VBUS may do is different. The header bits of
a PR_Swap's PS_RDYs and that both ports count from 0 after it are from memory of the specification; windows are Linux
6.1's PD_T_PS_SOURCE_OFF, PD_T_PS_SOURCE_ON and its neighbours, tDataReset from memory.
"""

from __future__ import annotations

from dataclasses import replace

from tests.reference import words
from tests.reference.rows import PASS, UNPLUGGED, Book, row
from tests.reference.second_encoder import Packet
from tests.reference.world import OTHER, World

HEALTHY_ROLES: Book = {}


@row(HEALTHY_ROLES, "retries", PASS)
def mended_by_the_last_retry(world: World) -> str:
    """A message or its GoodCRC is lost as often as the retries allow."""
    world.attach()
    where = world.rng.choice(("Source_Capabilities", "Request", "Accept", "PS_RDY"))
    how = world.rng.choice(("ack", "message", "no ack"))
    world.offer = []
    world.offers()
    if where == "Source_Capabilities":
        world.wait((1e-3, 10e-3))
        world.say("source", where, [one.word for one in world.offer], lost=how, tries_lost=world.try_lost())
    world.settle(world.wish(), lost=how, lost_in=where, tries=world.try_lost())
    for _ in range(world.rng.randint(0, 3)):
        world.wait((20e-3, 0.2))
        world.say("source", "Get_Sink_Cap", lost=how, tries_lost=world.try_lost())
        world.responding()
        world.say("sink", "Sink_Capabilities", [words.fixed(5000, 1500)], lost=how, tries_lost=world.try_lost())
    return f"{where} {how}"


@row(HEALTHY_ROLES, "ids", PASS)
def long_talk_wraps_ids(world: World) -> None:
    """So many messages that every MessageID comes round again, for both ports."""
    world.begin(at_least=2)
    for _ in range(world.rng.randint(9, 20)):
        world.wait((5e-3, 60e-3))
        if world.rng.random() < 0.5:
            asker, _ = world.either()
            if asker == "source":
                world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 1500)])
            else:
                world.ask("sink", "VCONN_Swap", "Reject")
        else:
            world.settle(world.wish())


@row(HEALTHY_ROLES, "soft reset", PASS)
def soft_reset_anywhere(world: World) -> str:
    """A Soft_Reset by either port at any point, granted; the source offers again and all goes well."""
    world.attach(soon=True)
    rng = world.rng
    where = rng.choice(("first", "after offer", "after request", "after accept", "in contract"))
    by, _ = world.either()
    if where != "first":
        world.offers(at_least=2)
    demand = None if where in ("first", "after offer") else world.wish(position=1)
    if demand is not None:
        if where == "in contract":
            world.settle(demand)
            world.wait((20e-3, 0.5))
        else:
            world.responding()
            world.requests(demand)
            if where == "after accept":
                world.responding()
                world.say("source", "Accept")
    world.wait((1e-3, 12e-3))
    world.reset_soft(by)
    world.wait((1e-3, 200e-3))
    world.offers(at_least=2)
    world.settle(world.wish())
    return f"{where} by {by}"


@row(HEALTHY_ROLES, "hard reset", PASS)
def hard_reset_in_contract(world: World) -> str:
    """A Hard Reset by either port under contract, or before the first offer; VBUS off and on in time; all anew."""
    by, _ = world.either()
    before = world.rng.random() < 0.3
    if before:
        world.attach(soon=True)
    else:
        world.begin(at_least=2)
        world.wait((30e-3, 0.5))
    for _ in range(world.rng.randint(1, 2)):
        world.hard_reset(by)
        world.offers(at_least=2)
        world.settle(world.wish())
        world.wait((30e-3, 0.5))
    return f"by {by}"


@row(HEALTHY_ROLES, "data reset", PASS, only="R3")
def data_reset(world: World) -> str:
    """Data_Reset by either port, Accept, Data_Reset_Complete of the DFP within tDataReset; then Enter_USB."""
    world.begin()
    world.wait((20e-3, 0.3))
    by, _ = world.either()
    world.ask(by, "Data_Reset", "Accept")
    world.wait((0.201, 0.224))
    world.say(world.dfp, "Data_Reset_Complete")
    world.wait((5e-3, 50e-3))
    answer = world.rng.choice(("Accept", "Reject", "Not_Supported"))
    world.ask(world.dfp, "Enter_USB", answer, [2 << 28])
    return f"by {by}"


@row(HEALTHY_ROLES, "swaps", PASS)
def data_roles_swap(world: World) -> str:
    """DR_Swap by either port: accepted, rejected, put off and asked again, or not known; and back."""
    world.begin()
    said = []
    for _ in range(world.rng.randint(1, 3)):
        world.wait((20e-3, 0.3))
        by, _ = world.either()
        answer = world.rng.choice(("Accept", "Accept", "Reject", "Wait", world.refusal()))
        world.ask(by, "DR_Swap", answer)
        if answer == "Wait":
            world.wait((100.2e-3, 0.2))
            answer = "Accept"
            world.ask(by, "DR_Swap", answer)
        if answer == "Accept":
            world.swap_data_roles()
        said.append(answer)
    world.wait((20e-3, 0.3))
    world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 1500)])
    return "/".join(said)


def vconn_passes(world: World, by: str) -> None:
    """VCONN_Swap, Accept, and the new VCONN source's PS_RDY within tVCONNSourceOn."""
    world.ask(by, "VCONN_Swap", "Accept")
    world.wait((1e-3, 95e-3))
    world.vconn = OTHER[world.vconn]
    world.say(world.vconn, "PS_RDY")


@row(HEALTHY_ROLES, "swaps", PASS)
def vconn_swaps(world: World) -> None:
    """VCONN_Swap once or twice; whoever feeds the cable asks it; or it is refused."""
    world.begin()
    for _ in range(world.rng.randint(1, 3)):
        world.wait((20e-3, 0.3))
        by, _ = world.either()
        if world.rng.random() < 0.25:
            world.ask(by, "VCONN_Swap", world.rng.choice(("Reject", world.refusal())))
            continue
        vconn_passes(world, by)
        world.wait((20e-3, 50e-3))
        world.ask_cable(world.rng.choice((0, 3)), by=world.vconn)
    world.wait((20e-3, 0.2))
    world.settle(world.wish())


def hand_over(world: World) -> None:
    """After an accepted PR_Swap: the old source lets go and says so, the old sink takes over and says so."""
    rng, accepted = world.rng, world.now
    world.draw(0.0, accepted + rng.uniform(0.5e-3, 13e-3))
    start = accepted + rng.uniform(25.2e-3, 34.8e-3)
    world.move_vbus(0.0, start, start + rng.uniform(20e-3, 400e-3))
    world.now = rng.uniform(world.vbus[-1][0] + 1e-3, accepted + 640e-3)
    says_off(world)
    gone = world.now
    start = gone + rng.uniform(1e-3, 20e-3)
    world.move_vbus(5.0 + rng.uniform(-0.2, 0.2), start, start + rng.uniform(2e-3, 240e-3))
    world.now = rng.uniform(world.vbus[-1][0] + 1e-3, gone + 380e-3)
    says_on(world)
    world.wait((20.5e-3, 150e-3))


def says_off(world: World) -> None:
    """The old source's PS_RDY, whose header already says sink; its GoodCRC still comes from a sink."""
    old, new = world.next_id("source"), world.next_id("sink")
    world.turn_power_roles()
    world.restart_sop_ids()
    world._ids[("sink", "SOP")], world._ids[("source", "SOP")] = old, new
    packet = world.send("sink", "PS_RDY")
    ack = world.good_crc("source", packet)
    world.packets[-1] = as_sink(ack)
    world.count_on("sink")


def as_sink(packet: Packet) -> Packet:
    """The same header with the power role bit of a sink."""
    head = int.from_bytes(packet.payload[:2], "little") & ~(1 << 8)
    return replace(packet, payload=head.to_bytes(2, "little") + packet.payload[2:])


def says_on(world: World) -> None:
    """The new source's PS_RDY; then both count from 0 (each resets its protocol layer at startup)."""
    packet = world.send("source", "PS_RDY")
    world.good_crc("sink", packet)
    world.restart_sop_ids()
    world.settled = None
    world.met = True


@row(HEALTHY_ROLES, "swaps", PASS)
def power_roles_swap(world: World) -> str:
    """PR_Swap accepted: both hand-overs, a new offer by the new source, a contract; often back again."""
    world.begin()
    turns = world.rng.randint(1, 3)
    for _ in range(turns):
        world.wait((30e-3, 0.5))
        by, _ = world.either()
        world.ask(by, "PR_Swap", "Accept")
        hand_over(world)
        world.offers()
        world.settle(world.wish())
    return f"{turns} times"


@row(HEALTHY_ROLES, "swaps", PASS)
def power_roles_stay(world: World) -> None:
    """PR_Swap by either port, rejected, put off or not known; the contract stays and is used on."""
    world.begin()
    for _ in range(world.rng.randint(1, 2)):
        world.wait((30e-3, 0.5))
        by, _ = world.either()
        answer = world.rng.choice(("Reject", "Wait", world.refusal()))
        world.ask(by, "PR_Swap", answer)
        if answer == "Wait":
            world.wait((100.2e-3, 0.2))
            world.ask(by, "PR_Swap", "Reject")
    world.wait((30e-3, 0.3))
    world.settle(world.wish())


@row(HEALTHY_ROLES, "swaps", PASS, only="R3")
def fast_role_swap(world: World) -> None:
    """The source loses its supply; FR_Swap, Accept, both PS_RDYs, a new offer by the new source."""
    world.begin(position=1)
    world.wait((30e-3, 0.5))
    world.draw(0.0, world.now - 1e-3)
    world.ask("sink", "FR_Swap", "Accept")
    world.wait((1e-3, 14e-3))
    says_off(world)
    world.wait((1e-3, 14e-3))
    says_on(world)
    world.wait((20.5e-3, 150e-3))
    world.offers()
    world.settle(world.wish())


@row(HEALTHY_ROLES, "plug", PASS)
def plugged_again(world: World) -> str:
    """A contract, the plug pulled and put in again once or twice, a new contract each time."""
    world.begin()
    turns = world.rng.randint(1, 2)
    for _ in range(turns):
        world.wait((0.3, 1.5))
        world.unplug()
        world.wait((0.7, 2.0))
        world.begin()
    return f"{turns} times"


@row(HEALTHY_ROLES, "plug", PASS)
def plugged_again_turned(world: World) -> None:
    """The plug is pulled and put in the other way round: the second contract is made on the other contact."""
    world.begin()
    world.wait((0.3, 1.5))
    world.unplug()
    world.wait((0.3, 1.0))
    world.turned_s = world.now
    world.wait((0.3, 1.0))
    world.begin()


@row(HEALTHY_ROLES, "plug", UNPLUGGED)
def pulled_at_any_moment(world: World) -> str:
    """The plug is pulled at any moment of a conversation in which nobody does wrong."""
    world.begin(at_least=2)
    for _ in range(world.rng.randint(0, 3)):
        world.wait((20e-3, 0.3))
        world.settle(world.wish())
    world.wait((20e-3, 0.6))
    at = world.rng.uniform(world.packets[0].start_s, world.now)
    for packet in world.packets:  # a packet that is cut in two is another family
        if packet.start_s < at < packet.end_s:
            at = packet.end_s + 30e-6
    world.packets = [packet for packet in world.packets if packet.end_s <= at]
    level = _value_at(world.vbus, at)
    world.vbus = [(t, v) for t, v in world.vbus if t <= at] + [(at, level)]
    world.amps = [(t, a) for t, a in world.amps if t <= at] + [(at, 0.0)]
    world.volts, world.now, world.settled = level, at, None
    world.opened_s.append(at)
    world.move_vbus(0.0, at + world.rng.uniform(1e-3, 15e-3), at + world.rng.uniform(50e-3, 600e-3))
    world.now = world.vbus[-1][0] + world.rng.uniform(0.1, 1.0)
    return f"after {len(world.packets)} packets"


def _value_at(points: list[tuple[float, float]], at_s: float) -> float:
    before = [p for p in points if p[0] <= at_s][-1]
    after = next((p for p in points if p[0] > at_s), before)
    if after[0] <= before[0]:
        return before[1]
    return before[1] + (after[1] - before[1]) * (at_s - before[0]) / (after[0] - before[0])
