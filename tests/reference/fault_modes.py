"""Faults under contract and in EPR mode: what is owed when all seemed to be settled.

Why it is: after a contract a fault seldom ends the charging for good; the ports reset, start anew and it works again,
and the report must still say who made them. Which message belongs into which mode is from memory of USB PD R3.1; the
windows after a Hard Reset are Zephyr 4.0's tPSHardReset and Linux 6.1's PD_T_SRC_RECOVER.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.healthy_epr import epr_entered, epr_offer, epr_ready, epr_wish, keep_alive
from tests.reference.offers import Offer, fixed_offer, offer_words
from tests.reference.rows import Book, broken, failed, row, warned
from tests.reference.talk import T_SEND_SOURCE_CAP
from tests.reference.world import World

FAULT_MODES: Book = {}


def _all_well(world: World) -> None:
    world.offers()
    world.settle(world.wish())


def _under_contract(world: World) -> None:
    world.begin(at_least=2)
    world.wait((50e-3, 0.5))


@row(FAULT_MODES, "answer", warned("sink"), apart=True)
def new_offer_not_answered(world: World) -> None:
    """A new offer under contract is acknowledged and not answered; the source resets; all anew and well."""
    _under_contract(world)
    world.offers()
    world.wait(world.sender_response())
    world.hard_reset("source")
    _all_well(world)


@row(FAULT_MODES, "answer", failed("request", "sink"), apart=True)
def new_offer_never_answered(world: World) -> None:
    """The same, and after each reset again: the sink that once asked asks no more."""
    _under_contract(world)
    for turn in range(3):
        world.offers()
        world.wait(world.sender_response())
        world.hard_reset("source", back=turn < 2)


@row(FAULT_MODES, "answer", warned("source"), apart=True)
def second_request_not_answered(world: World) -> None:
    """A second Request is acknowledged and not answered; the sink resets; all anew and well."""
    _under_contract(world)
    world.requests(world.wish())
    world.wait(world.sender_response())
    world.hard_reset("sink")
    _all_well(world)


@row(FAULT_MODES, "answer", failed("accept", "source"), apart=True)
def second_request_never_answered(world: World) -> None:
    """The same, and after each reset no Request is answered at all."""
    _under_contract(world)
    for turn in range(3):
        if turn:
            world.offers()
            world.responding()
        world.requests(world.wish())
        world.wait(world.sender_response())
        world.hard_reset("sink", back=turn < 2)


@row(FAULT_MODES, "answer", warned("source"), apart=True)
def accept_out_of_the_blue(world: World) -> None:
    """An Accept under contract that nobody asked for; the sink mends it with a Soft_Reset."""
    _under_contract(world)
    world.say("source", "Accept")
    world.wait((0.5e-3, 14e-3))
    world.reset_soft("sink")
    world.wait((2e-3, 60e-3))
    _all_well(world)


@row(FAULT_MODES, "answer", warned("sink"), apart=True)
def ready_out_of_the_blue(world: World) -> None:
    """A PS_RDY by the sink under contract, where no swap is under way; the source mends it with a Soft_Reset."""
    _under_contract(world)
    world.say("sink", "PS_RDY")
    world.wait((0.5e-3, 14e-3))
    world.reset_soft("source")
    world.wait((2e-3, 60e-3))
    _all_well(world)


@row(FAULT_MODES, "data reset", warned("source"), only="R3")
def data_reset_never_complete(world: World) -> None:
    """Data_Reset accepted, and the host's Data_Reset_Complete comes only after 0.4 to 0.6 s (tDataReset: 250 ms)."""
    _under_contract(world)
    world.ask("sink", "Data_Reset", "Accept")
    world.wait((0.4, 0.6))
    world.say("source", "Data_Reset_Complete")
    world.wait((50e-3, 0.3))


@row(FAULT_MODES, "plug", Expect(("fail", "inconclusive"), (), ("sink", "link", None, "capture")))
def deaf_the_other_way_round(world: World) -> None:
    """A contract; the plug is put in the other way round, and no offer is acknowledged on the other contact."""
    world.begin()
    world.wait((0.3, 1.5))
    world.unplug()
    world.wait((0.3, 1.0))
    world.turned_s = world.now
    world.wait((0.3, 1.0))
    world.attach()
    made = offer_words(world.offer)
    for _ in range(world.rng.randint(6, 10)):
        world.unanswered("source", "Source_Capabilities", made)
        world.wait(T_SEND_SOURCE_CAP)


# --- VBUS after a Hard Reset


def _reset_with(world: World, fall_after: float, off_for: float) -> None:
    _under_contract(world)
    mark, level = len(world.vbus), world.volts
    world.hard_reset("sink", back=False)
    del world.vbus[mark:]
    world.volts = level
    start = world.now + fall_after
    world.move_vbus(0.0, start, start + 40e-3)
    on = start + 40e-3 + off_for
    world.move_vbus(5.0, on, on + 20e-3)
    world.now = on + 20e-3
    world.draw(0.1, world.now)
    world.wait((60e-3, 200e-3))
    _all_well(world)


@row(FAULT_MODES, "hard reset", warned("source"), vbus=True)
def vbus_falls_late(world: World) -> None:
    """VBUS starts to fall 150 to 300 ms after the Hard Reset (tPSHardReset: 35 ms)."""
    _reset_with(world, world.rng.uniform(0.15, 0.30), 0.7)


@row(FAULT_MODES, "hard reset", warned("source"), vbus=True)
def vbus_returns_early(world: World) -> None:
    """VBUS is back 100 to 300 ms after it was off (tSrcRecover: 660 ms)."""
    _reset_with(world, 30e-3, world.rng.uniform(0.1, 0.3))


@row(FAULT_MODES, "hard reset", warned("source"), vbus=True)
def vbus_returns_late(world: World) -> None:
    """VBUS is back only 2 to 4 s after it was off (tSrcRecover: 1 s)."""
    _reset_with(world, 30e-3, world.rng.uniform(2.0, 4.0))


# --- EPR mode


def _in_epr(world: World) -> int:
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 2))
    world.wait((0.05, 0.4))
    return watts


def _spr_again(world: World) -> None:
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))


@row(FAULT_MODES, "epr", warned("sink"), only="R3", apart=True)
def spr_request_in_epr(world: World) -> None:
    """In EPR mode the sink sends a Request instead of an EPR_Request; the source must reset."""
    _in_epr(world)
    world.say("sink", "Request", [words.request_fixed(2, 1000, 1000, flags=words.EPR_CAPABLE)])
    world.wait((0.5e-3, 14e-3))
    world.hard_reset("source")
    _spr_again(world)


@row(FAULT_MODES, "epr", warned("source"), only="R3", apart=True)
def spr_offer_in_epr(world: World) -> None:
    """In EPR mode the source sends Source_Capabilities though nobody asked for them; the sink must reset."""
    _in_epr(world)
    world.offers_again()
    world.wait((0.5e-3, 14e-3))
    world.hard_reset("sink")
    _spr_again(world)


@row(FAULT_MODES, "epr", warned("sink"), only="R3", apart=True)
def leaves_epr_at_28v(world: World) -> None:
    """The sink sends EPR_Mode Exit while it has a contract above 20 V; the source must reset."""
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts, "fixed"))
    world.wait((0.05, 0.4))
    world.say("sink", "EPR_Mode", [words.epr_mode(5)])
    world.wait((0.5e-3, 14e-3))
    world.hard_reset("source")
    _spr_again(world)


@row(FAULT_MODES, "epr", broken("source"), only="R3")
def epr_on_an_spr_cable(world: World) -> None:
    """The cable has said 5 A and nothing of EPR; the source lets the sink into EPR mode and gives it 28 V."""
    world.attach(soon=True)
    world.ask_cable(5)
    world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000, words.SRC_EPR_CAPABLE), fixed_offer(9000, 3000), fixed_offer(20000, 5000)]
    _spr_again(world)
    world.wait((20e-3, 0.3))
    epr_entered(world, 140)
    world.settle(epr_wish(world, 140, "fixed"))


@row(FAULT_MODES, "epr", broken("source"), only="R3")
def epr_offer_out_of_order(world: World) -> None:
    """An EPR object in one of the seven SPR places, and SPR ones behind it."""
    watts = epr_ready(world)
    world.ask("sink", "EPR_Mode", "EPR_Mode", [words.epr_mode(1, watts)], [words.epr_mode(2)])
    world.wait((0.5e-3, 0.3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    world.responding()
    kept = world.offer
    world.offer = [*kept, Offer("fixed", words.fixed(28000, 5000), 28000, 28000, 5000)]
    epr_offer(world, watts)
    world.offer = kept
    world.settle(epr_wish(world, watts, "fixed"))


@row(FAULT_MODES, "epr", warned("sink"), only="R3")
def epr_without_the_flag(world: World) -> None:
    """The sink asks for EPR mode without the EPR capable flag in its Request; refused with cause 3, SPR goes on."""
    world.attach(soon=True)
    world.ask_cable(5, epr=True)
    world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000, words.SRC_EPR_CAPABLE), fixed_offer(9000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish("fixed"))
    world.wait((20e-3, 0.3))
    world.ask("sink", "EPR_Mode", "EPR_Mode", [words.epr_mode(1, 140)], [words.epr_mode(4, 3)])
    world.wait((0.1, 0.5))
    assert offer_words(world.offer)


@row(FAULT_MODES, "offer", broken("source"), only="R3")
def epr_avs_in_an_spr_offer(world: World) -> None:
    """An adjustable EPR object among the SPR ones; the sink takes a fixed one."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000)]
    world.offer.append(Offer("avs", words.epr_avs(15000, 28000, 140), 15000, 28000, 5000))
    world.offers_again()
    world.settle(world.wish("fixed"))
