"""Healthy conversations in which everything happens after everything else, and a few rare hand-shakes.

Why it is: a checker that keeps the state of each hand-shake apart forgets it at the wrong moment; only long mixtures
show that. Each act leaves the ports in a contract. Windows as in `world.py`; tChunkingNotSupported is Zephyr 4.0's.
"""

from __future__ import annotations

from collections.abc import Callable

from tests.reference import words
from tests.reference.healthy_epr import epr_entered, epr_offer, epr_ready, epr_wish, keep_alive
from tests.reference.healthy_roles import hand_over, vconn_passes
from tests.reference.healthy_topics import QUESTIONS, put_question
from tests.reference.rows import PASS, Book, row
from tests.reference.world import OTHER, World

HEALTHY_MEDLEY: Book = {}
Act = Callable[[World], None]


def _asks(world: World) -> None:
    world.settle(world.wish())


def _offers(world: World) -> None:
    world.offers()
    world.settle(world.wish())


def _waits(world: World) -> None:
    world.requests(world.wish())
    world.responding()
    world.say("source", "Wait")
    world.wait((100.5e-3, 0.2))
    world.settle(world.wish())


def _refused(world: World) -> None:
    one = world.offer[0]
    world.say("sink", "Request", [words.request_fixed(1, one.limit + 500, one.limit + 500)])
    world.responding()
    world.say("source", "Reject")


def _sink_caps(world: World) -> None:
    lost = world.rng.choice(("", "", "ack", "message", "no ack"))
    world.say("source", "Get_Sink_Cap", lost=lost, tries_lost=world.try_lost())
    world.responding()
    world.say("sink", "Sink_Capabilities", [words.fixed(5000, 900)])


def _swaps_data(world: World) -> None:
    by, _ = world.either()
    answer = world.rng.choice(("Accept", "Reject"))
    world.ask(by, "DR_Swap", answer)
    if answer == "Accept":
        world.swap_data_roles()


def _swaps_vconn(world: World) -> None:
    vconn_passes(world, world.either()[0])


def _swaps_power(world: World) -> None:
    world.ask(world.either()[0], "PR_Swap", "Accept")
    hand_over(world)
    _offers(world)


def _resets_soft(world: World) -> None:
    world.reset_soft(world.either()[0])
    world.wait((1e-3, 200e-3))
    _offers(world)


def _vendor(world: World) -> None:
    dfp, ufp = world.dfp, OTHER[world.dfp]
    world.say(dfp, "Vendor_Defined", world.vendor(0xFF00, 1, 0))
    world.responding()
    world.say(ufp, "Vendor_Defined", world.vendor(0xFF00, 1, 1, 0x6C00FFF1, 0, 0x00010000))


def _cable(world: World) -> None:
    world.ask_cable(world.rng.choice((0, 3, 5)), by=world.vconn)


def _question(world: World) -> None:
    if not world.r3:
        _sink_caps(world)
        return
    question, sent, _, _ = world.rng.choice(QUESTIONS)
    put_question(world, "sink", question, sent)
    world.responding()
    world.say("source", "Not_Supported")


ACTS: tuple[Act, ...] = (
    _asks, _offers, _waits, _refused, _sink_caps, _swaps_data, _swaps_vconn, _swaps_power, _resets_soft, _vendor,
    _cable, _question,
)  # fmt: skip


@row(HEALTHY_MEDLEY, "medley", PASS)
def medley(world: World) -> str:
    """Three to twelve acts in any order, now and then a Hard Reset or the plug pulled and put in again."""
    world.begin()
    told = []
    swapped, resets = False, 0
    for _ in range(world.rng.randint(3, 12)):
        world.wait((20e-3, 0.4))
        act = world.rng.choice(ACTS)
        act(world)
        told.append(act.__name__.strip("_"))
        swapped ^= act is _swaps_power
        chance = world.rng.random()
        if chance < 0.06 and not swapped and resets < 2:  # three may be called a loop
            resets += 1
            world.wait((20e-3, 0.4))
            world.hard_reset(world.either()[0])
            _offers(world)
            told.append("hard reset")
        elif chance < 0.10 and not swapped:
            world.wait((0.3, 1.0))
            world.unplug()
            world.wait((0.7, 2.0))
            world.begin()
            told.append("plugged again")
    return " ".join(told)


@row(HEALTHY_MEDLEY, "chunks", PASS, only="R3")
def chunks_not_understood(world: World) -> None:
    """The asker does not do chunks: Not_Supported after tChunkingNotSupported; the contract stays."""
    world.begin()
    world.wait((20e-3, 0.3))
    world.say("source", "Get_Manufacturer_Info", words.extended_words(b"\x00\x00"))
    world.responding()
    world.say("sink", "Manufacturer_Info", words.extended_words(world.rng.randbytes(26), size=60))
    world.wait((40.5e-3, 49.5e-3))
    world.say("source", "Not_Supported")
    world.wait((20e-3, 0.3))
    world.settle(world.wish())


@row(HEALTHY_MEDLEY, "chunks", PASS, only="R3")
def long_answer_in_one_piece(world: World) -> None:
    """Both ports do unchunked messages: up to 260 bytes in one packet."""
    world.attach()
    world.offers(flags=words.SRC_UNCHUNKED)
    world.settle(world.wish(flags=words.UNCHUNKED))
    for _ in range(world.rng.randint(1, 2)):
        world.wait((20e-3, 0.3))
        asker, other = world.either()
        world.say_bytes(asker, "Get_Manufacturer_Info", b"\x00\x00")
        world.responding()
        size = world.rng.choice((4, 7, 26, 27, 100, 130, 260))
        world.extended(other, "Manufacturer_Info", world.rng.randbytes(size), unchunked=True)


@row(HEALTHY_MEDLEY, "questions", PASS, only="R3")
def countries(world: World) -> None:
    """Get_Country_Info (a data message) and its extended answer, or Not_Supported."""
    world.begin()
    for _ in range(world.rng.randint(1, 2)):
        world.wait((20e-3, 0.3))
        asker, other = world.either()
        world.say(asker, "Get_Country_Info", [0x58580000])  # the user-assigned country code "XX"
        world.responding()
        if world.rng.random() < 0.5:
            world.say(other, "Not_Supported")
        else:
            world.say(other, "Country_Info", words.extended_words(world.rng.randbytes(world.rng.randint(4, 26))))


@row(HEALTHY_MEDLEY, "epr", PASS, only="R3")
def epr_soft_reset(world: World) -> str:
    """A Soft_Reset by either port in EPR mode: the EPR offer again, an EPR contract again."""
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 3))
    world.wait((0.05, 0.4))
    by, _ = world.either()
    world.reset_soft(by)
    world.wait((1e-3, 100e-3))
    epr_offer(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 3))
    return by


@row(HEALTHY_MEDLEY, "epr", PASS, only="R3")
def epr_sink_asks_again(world: World) -> None:
    """EPR_Get_Source_Cap of the sink, the EPR offer, another EPR contract."""
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 2))
    world.wait((0.05, 0.4))
    world.say("sink", "Extended_Control", words.extended_words(bytes((1, 0))))
    world.responding()
    epr_offer(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 2))


@row(HEALTHY_MEDLEY, "cable", PASS)
def cable_is_reset(world: World) -> None:
    """Cable Reset before the cable is asked; its counters start from 0, the ports' own go on."""
    world.begin()
    world.wait((20e-3, 0.3))
    world.ask_cable(3)
    world.wait((20e-3, 0.1))
    world.cable_reset()
    world.ask_cable(3)
    world.wait((20e-3, 0.3))
    world.settle(world.wish())
