"""Healthy conversations in EPR mode: entry and its failures, contracts of 28 to 48 V, keep-alive, exit, resets.

Why it is: the longest hand-shake of all, in which a checker that knows only SPR sees broken rules everywhere. Which
side says what in entry and exit is from memory of USB PD R3.1; windows as in `world.py`.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.offers import Demand, fixed_offer, offer_words
from tests.reference.rows import PASS, Book, row
from tests.reference.world import World

HEALTHY_EPR: Book = {}
EPR_LEVELS = {140: (28000,), 180: (28000, 36000), 240: (28000, 36000, 48000)}


def epr_ready(world: World, *, cable: bool = True) -> int:
    """Attach, EPR cable, SPR contract with EPR capable flags on both sides; gives the source's power in watts."""
    world.attach(soon=True)
    if cable:
        world.ask_cable(5, epr=True)
        world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000, words.SRC_EPR_CAPABLE), fixed_offer(9000, 3000)]
    world.offer += [fixed_offer(15000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))
    world.wait((20e-3, 0.3))
    return world.rng.choice(tuple(EPR_LEVELS))


def epr_offer(world: World, watts: int, *, lost_at: int = -1, unchunked: bool = False) -> None:
    """EPR_Source_Capabilities: seven SPR places, then the EPR objects from place 8 on."""
    levels = EPR_LEVELS[watts]
    world.epr_objects = [words.fixed(mv, 5000) for mv in levels]
    world.epr_objects.append(words.epr_avs(15000, levels[-1], watts))
    objects = [*(offer_words(world.offer) + [0] * 7)[:7], *world.epr_objects]
    data = b"".join(word.to_bytes(4, "little") for word in objects)
    world.extended("source", "EPR_Source_Capabilities", data, lost_at=lost_at, unchunked=unchunked)


def epr_entered(world: World, watts: int = 140, *, lost_at: int = -1) -> None:
    """Enter, Acknowledged, Succeeded, and the EPR offer."""
    world.ask("sink", "EPR_Mode", "EPR_Mode", [words.epr_mode(1, watts)], [words.epr_mode(2)])
    world.wait((0.5e-3, 440e-3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    world.responding()
    epr_offer(world, watts, lost_at=lost_at)


def epr_wish(world: World, watts: int, kind: str = "") -> Demand:
    """A fixed EPR level, or a level of the adjustable supply."""
    levels = EPR_LEVELS[watts]
    flags = words.EPR_CAPABLE
    if (kind or world.rng.choice(("fixed", "fixed", "avs"))) == "fixed":
        place = world.rng.randrange(len(levels))
        ma = 10 * world.rng.randint(10, 500)
        return Demand(words.request_fixed(8 + place, ma, 5000, flags=flags), 8 + place, "fixed", levels[place], ma)
    mv = 100 * world.rng.randint(150, levels[-1] // 100)
    ma = 50 * world.rng.randint(10, min(5000, watts * 1_000_000 // mv) // 50)
    position = 8 + len(levels)
    return Demand(words.request_avs(position, mv, ma, flags=flags), position, "avs", mv, ma)


def keep_alive(world: World, times: int) -> None:
    """EPR_KeepAlive and its answer, at most 0.5 s after the last message."""
    for _ in range(times):
        world.wait((0.25, 0.47))
        world.ask("sink", "Extended_Control", "Extended_Control", _control(3), _control(4))


def _control(code: int) -> list[int]:
    return words.extended_words(bytes((code, 0)))


@row(HEALTHY_EPR, "epr", PASS, only="R3")
def epr_contract(world: World) -> str:
    """EPR mode with a fixed or adjustable level, kept alive; other wishes follow."""
    watts = epr_ready(world)
    epr_entered(world, watts, lost_at=world.rng.choice((-1, -1, 0, 1, 2)))
    world.settle(epr_wish(world, watts))
    for _ in range(world.rng.randint(1, 3)):
        keep_alive(world, world.rng.randint(0, 4))
        world.wait((0.05, 0.4))
        world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 4))
    return f"{watts} W"


@row(HEALTHY_EPR, "epr", PASS, only="R3")
def epr_over_and_out(world: World) -> str:
    """EPR mode and back: down to an SPR level, EPR_Mode Exit by either port, a new SPR offer and contract."""
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 3))
    world.wait((0.05, 0.4))
    world.settle(world.wish("fixed", position=1, flags=words.EPR_CAPABLE))
    world.wait((20e-3, 0.3))
    by, _ = world.either()
    world.say(by, "EPR_Mode", [words.epr_mode(5)])
    world.epr = False
    world.responding()
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))
    return by


@row(HEALTHY_EPR, "epr", PASS, only="R3")
def epr_entry_fails(world: World) -> str:
    """Each cause for which entry fails; the SPR contract stays and is used on."""
    cause = world.rng.randint(0, 5)
    watts = epr_ready(world, cable=cause != 1)
    world.say("sink", "EPR_Mode", [words.epr_mode(1, watts)])
    world.responding()
    if cause in (1, 2):  # the cable or VCONN: found out only after the acknowledgement
        world.say("source", "EPR_Mode", [words.epr_mode(2)])
        world.wait((1e-3, 60e-3))
        if cause == 1:
            world.ask_cable(world.rng.choice((0, 3)))
        world.wait((1e-3, 250e-3))
    world.say("source", "EPR_Mode", [words.epr_mode(4, cause)])
    world.wait((0.1, 0.6))
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))
    return f"cause {cause}"


@row(HEALTHY_EPR, "epr", PASS, only="R3")
def epr_offer_in_one_piece(world: World) -> None:
    """Both ports do unchunked extended messages: the EPR offer is one packet."""
    world.attach(soon=True)
    world.ask_cable(5, epr=True)
    world.wait((1e-3, 40e-3))
    flags = words.SRC_EPR_CAPABLE | words.SRC_UNCHUNKED
    world.offer = [fixed_offer(5000, 3000, flags), fixed_offer(9000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE | words.UNCHUNKED))
    world.wait((20e-3, 0.3))
    world.ask("sink", "EPR_Mode", "EPR_Mode", [words.epr_mode(1, 140)], [words.epr_mode(2)])
    world.wait((0.5e-3, 440e-3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    world.responding()
    epr_offer(world, 140, unchunked=True)
    demand = epr_wish(world, 140)
    world.settle(Demand(demand.word | words.UNCHUNKED, demand.position, demand.kind, demand.mv, demand.ma))
    keep_alive(world, world.rng.randint(0, 3))


@row(HEALTHY_EPR, "epr", PASS, only="R3")
def epr_and_hard_reset(world: World) -> str:
    """A Hard Reset by either port in EPR mode: back to 5 V (tSrcRecover of EPR), then SPR anew."""
    watts = epr_ready(world)
    epr_entered(world, watts)
    world.settle(epr_wish(world, watts))
    keep_alive(world, world.rng.randint(0, 3))
    world.wait((0.05, 0.4))
    by, _ = world.either()
    world.hard_reset(by)
    world.offers_again()
    world.settle(world.wish("fixed", flags=words.EPR_CAPABLE))
    return by
