"""Faults of the supply and of the load: PS_RDY, VBUS, current, and contracts that are not kept alive.

Why it is: this is where a good charge controller or a good charger is thrown away. Who owed what: the source the
voltage within vSrcNew and PS_RDY between tSrcTransition and tPSTransition; the sink to stay within its contract and to
repeat a programmable Request within 10 s and an EPR keep-alive within 0.5 s. vSrcNew and pSnkStdby (2.5 W) from memory.
"""

from __future__ import annotations

from dataclasses import replace

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.healthy_epr import epr_entered, epr_ready, epr_wish, keep_alive
from tests.reference.offers import fixed_offer
from tests.reference.rows import Book, broken, failed, row, warned
from tests.reference.talk import T_PS_TRANSITION
from tests.reference.world import World

FAULT_POWER: Book = {}
LEVELS = (9000, 12000, 15000, 20000)


def _accepted(world: World, mv: int = 0) -> float:
    """A Request for a higher level, accepted; gives its volts."""
    world.attach()
    mv = mv or world.rng.choice(LEVELS)
    world.offer = [fixed_offer(5000, 3000), fixed_offer(mv, 2000)]
    world.offers_again()
    world.responding()
    world.requests(world.wish(position=2))
    world.responding()
    world.say("source", "Accept")
    return mv / 1000


def _under_load(world: World, at_least: float = 0.5) -> float:
    """A higher level with a load of about 1 A; gives its volts."""
    world.attach()
    mv = world.rng.choice(LEVELS)
    world.offer = [fixed_offer(5000, 3000), fixed_offer(mv, 2000)]
    world.offers_again()
    demand = replace(world.wish(position=2), word=words.request_fixed(2, 2000, 2000), ma=2000)
    world.settle(demand)
    world.draw(world.rng.uniform(at_least, 1.5), world.now + 30e-3)
    world.now += 60e-3
    return mv / 1000


def _talk_on(world: World, times: int = 3) -> None:
    for _ in range(times):
        world.wait((50e-3, 0.3))
        world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 900)])


@row(FAULT_POWER, "ready", broken("source"), vbus=True)
def ready_before_the_voltage(world: World) -> None:
    """PS_RDY 3 to 8 ms after Accept, while VBUS still stands at 5 V; it rises later."""
    target = _accepted(world)
    accepted = world.now
    world.wait((3e-3, 8e-3))
    world.say("source", "PS_RDY")
    world.settled = world.wish(position=2)
    world.move_vbus(target * 1.01, accepted + 30e-3, accepted + world.rng.uniform(80e-3, 250e-3))
    world.draw(0.1, accepted + 0.3)
    world.now = accepted + 0.5
    _talk_on(world)


@row(FAULT_POWER, "ready", warned("source"))
def ready_after_700ms(world: World) -> None:
    """PS_RDY 0.6 to 0.9 s after Accept; the sink is patient."""
    target = _accepted(world)
    accepted = world.now
    world.move_vbus(target * 1.01, accepted + 30e-3, accepted + 200e-3)
    world.now = accepted + world.rng.uniform(0.6, 0.9)
    world.say("source", "PS_RDY")
    world.settled = world.wish(position=2)
    world.draw(0.1, world.now + 10e-3)
    world.wait((0.1, 0.5))


@row(FAULT_POWER, "ready", failed("ready", "source"))
def ready_never_at_the_second_level(world: World) -> None:
    """A first contract, then another level is accepted and PS_RDY never comes; Hard Reset, and the same again."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 2000)]
    for turn in range(2):
        world.offers_again()
        world.settle(world.wish(position=1))
        world.wait((30e-3, 0.2))
        world.requests(world.wish(position=2))
        world.responding()
        world.say("source", "Accept")
        world.wait(T_PS_TRANSITION)
        world.hard_reset("sink", back=turn == 0)


def _ready_at(world: World, volts: float) -> None:
    accepted = world.now
    world.move_vbus(volts, accepted + 30e-3, accepted + world.rng.uniform(60e-3, 250e-3))
    world.now = world.vbus[-1][0] + world.rng.uniform(5e-3, 60e-3)
    world.say("source", "PS_RDY")
    world.wait((0.2, 0.5))


@row(FAULT_POWER, "vbus", failed("delivery", "source"), vbus=True, current=True)
def level_too_low(world: World) -> None:
    """PS_RDY with VBUS at 55 to 80 % of the contract and hardly any load."""
    target = _accepted(world)
    # The first draw after attach may be more than a small contract allows.
    world.draw(0.05, world.now)
    _ready_at(world, target * world.rng.uniform(0.55, 0.80))


@row(FAULT_POWER, "vbus", failed("delivery", "source"), vbus=True, current=True)
def level_too_high(world: World) -> None:
    """PS_RDY with VBUS at 115 to 130 % of the contract."""
    _ready_at(world, _accepted(world) * world.rng.uniform(1.15, 1.30))


@row(FAULT_POWER, "vbus", broken("source"), vbus=True, current=True)
def overshoot(world: World) -> None:
    """VBUS shoots 25 % over the contract for 20 to 60 ms on its way, and stands right at PS_RDY."""
    target = _accepted(world)
    accepted = world.now
    world.move_vbus(target * 1.25, accepted + 30e-3, accepted + 100e-3)
    world.move_vbus(target * 1.25, accepted + 100e-3, accepted + world.rng.uniform(120e-3, 160e-3))
    world.move_vbus(target, world.vbus[-1][0], world.vbus[-1][0] + 20e-3)
    world.now = world.vbus[-1][0] + 30e-3
    world.say("source", "PS_RDY")
    world.settled = world.wish(position=2)
    world.draw(0.1, world.now + 10e-3)
    world.now += 0.1
    _talk_on(world)


@row(FAULT_POWER, "vbus", Expect(("fail", "pass"), ("delivery", None), ("source", None), (), ("source",)),
     vbus=True, current=True)
def level_sags_while_they_talk(world: World) -> None:
    """VBUS falls to 65 to 80 % seconds after PS_RDY and stays there, the load within the contract; they talk on."""
    target = _under_load(world)
    world.wait((0.5, 3.0))
    world.move_vbus(target * world.rng.uniform(0.65, 0.80), world.now, world.now + 50e-3)
    _talk_on(world, 4)


@row(FAULT_POWER, "vbus", Expect(("fail", "inconclusive"), (), ("source", "capture", None), (), ()), vbus=True)
def level_collapses(world: World) -> None:
    """VBUS collapses under contract while the device still answers on CC: no plug was pulled."""
    _under_load(world)
    world.wait((0.5, 3.0))
    world.move_vbus(0.3, world.now, world.now + 20e-3)
    world.draw(0.0, world.now)
    _talk_on(world, 4)


@row(FAULT_POWER, "load", broken("sink"), vbus=True, current=True)
def draws_more_than_agreed(world: World) -> None:
    """The load is 1.3 to 1.6 times the contract's current; VBUS sags a little under it."""
    target = _under_load(world)
    start = world.now + world.rng.uniform(0.1, 0.5)
    world.draw(2.0 * world.rng.uniform(1.3, 1.6), start)
    world.move_vbus(target * 0.965, start, start + 10e-3)
    world.now = start + 0.1
    _talk_on(world)


@row(FAULT_POWER, "load", broken("sink"), vbus=True, current=True)
def draws_through_the_transition(world: World) -> None:
    """From 9 V to 15 V the sink goes on drawing 1.5 to 1.9 A instead of 2.5 W; all arrives all the same."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 2000), fixed_offer(15000, 2000)]
    world.offers_again()
    first = replace(world.wish(position=2), word=words.request_fixed(2, 2000, 2000), ma=2000)
    world.settle(first)
    load = world.rng.uniform(1.5, 1.9)
    world.draw(load, world.now + 30e-3)
    world.now += 0.3
    world.requests(replace(first, word=words.request_fixed(3, 2000, 2000)))
    world.responding()
    world.say("source", "Accept")
    accepted = world.now
    world.move_vbus(15.0, accepted + 30e-3, accepted + world.rng.uniform(150e-3, 280e-3))
    world.now = world.vbus[-1][0] + 30e-3
    world.say("source", "PS_RDY")
    world.settled = replace(first, position=3, mv=15000)
    world.wait((0.2, 0.5))


@row(FAULT_POWER, "load", Expect(("pass",), (None,), (None, "sink")), vbus=True, current=True)
def hardly_draws(world: World) -> None:
    """A contract of 9 V and more, and 15 to 40 mA of load: worth a word, no fault of the negotiation."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), fixed_offer(world.rng.choice(LEVELS), 2000)]
    world.offers_again()
    world.settle(world.wish(position=2))
    world.draw(world.rng.uniform(0.015, 0.04), world.now + 30e-3)
    world.now += world.rng.uniform(1.0, 4.0)


@row(FAULT_POWER, "keep-alive", Expect(("fail",), (), ("sink",)), only="R3", apart=True)
def pps_forgotten(world: World) -> None:
    """After one to three renewals the sink forgets; the source resets after 12 to 15 s."""
    world.begin(kinds=("pps",), ask="pps")
    for _ in range(world.rng.randint(1, 3)):
        world.wait((1.0, 9.85))
        world.settle(world.wish("pps"))
    world.wait((12.1, 14.9))
    world.hard_reset("source", back=False)


@row(FAULT_POWER, "keep-alive", broken("sink", "source"), only="R3")
def pps_forgotten_by_both(world: World) -> None:
    """No renewal for 18 to 25 s, and the source does not mind; then all goes on."""
    world.begin(kinds=("pps",), ask="pps")
    world.wait((18.0, 25.0))
    world.settle(world.wish("pps"))


@row(FAULT_POWER, "keep-alive", Expect(("fail",), (), ("sink",)), only="R3", apart=True)
def epr_forgotten(world: World) -> None:
    """The sink's EPR keep-alives stop; the source resets after 0.75 to 1 s."""
    _in_epr(world)
    keep_alive(world, world.rng.randint(1, 5))
    world.wait((0.76, 0.99))
    world.hard_reset("source", back=False)


@row(FAULT_POWER, "keep-alive", Expect(("fail",), (), ("source",)), only="R3", apart=True)
def epr_not_answered(world: World) -> None:
    """A keep-alive is acknowledged and not answered; the sink resets."""
    _in_epr(world)
    keep_alive(world, world.rng.randint(0, 3))
    world.wait((0.26, 0.47))
    world.say("sink", "Extended_Control", words.extended_words(bytes((3, 0))))
    world.wait(world.sender_response())
    world.hard_reset("sink", back=False)


@row(FAULT_POWER, "keep-alive", warned("sink"), only="R3")
def epr_keep_alive_late(world: World) -> None:
    """Keep-alives 0.55 to 0.7 s apart: later than the sink may be, sooner than the source resets."""
    _in_epr(world)
    for _ in range(world.rng.randint(2, 4)):
        world.wait((0.55, 0.7))
        keep = words.extended_words(bytes((3, 0)))
        world.ask("sink", "Extended_Control", "Extended_Control", keep, words.extended_words(bytes((4, 0))))


def _in_epr(world: World) -> None:
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
