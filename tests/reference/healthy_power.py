"""Healthy conversations about power: offers, requests, answers, programmable and adjustable supplies.

Why it is: whoever is accused in one of these is innocent. Windows as in `world.py`.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.offers import Demand, Offer, fixed_offer, offer_words
from tests.reference.rows import PASS, Book, row
from tests.reference.talk import T_SEND_SOURCE_CAP
from tests.reference.world import T_FIRST_OFFER, World

HEALTHY_POWER: Book = {}


@row(HEALTHY_POWER, "plain", PASS, only="R2")
def plain_r20(world: World) -> None:
    """R2.0 on both sides."""
    world.begin()


@row(HEALTHY_POWER, "plain", PASS, only="R3")
def plain_r3x(world: World) -> str:
    """R3.x on both sides, or the windows of R3.0."""
    world.begin()
    return "R3.1" if world.ports.late_sender_response else "R3.0"


@row(HEALTHY_POWER, "revision", PASS, only="mixed")
def revisions_settle(world: World) -> None:
    """One side R2.0, the other R3.x: both use R2.0 after the first answer; then they talk on."""
    world.begin(at_least=2)
    for _ in range(world.rng.randint(1, 3)):
        world.wait((20e-3, 0.3))
        world.ask("source", "Get_Sink_Cap", "Sink_Capabilities", (), [words.fixed(5000, 1500)])
        world.wait((20e-3, 0.3))
        world.settle(world.wish())


@row(HEALTHY_POWER, "offer", PASS)
def offers_find_nobody_first(world: World) -> None:
    """A device that starts slowly: the offer is repeated every 100 to 200 ms with all its retries."""
    world.attach()
    world.offer = []
    rng = world.rng
    made = [fixed_offer(5000, 3000), fixed_offer(9000, 2000), fixed_offer(20000, 2250)]
    for _ in range(rng.randint(1, 12)):
        world.unanswered("source", "Source_Capabilities", offer_words(made))
        world.wait(T_SEND_SOURCE_CAP)
    world.offer = made
    world.offers_again()
    world.settle(world.wish())


@row(HEALTHY_POWER, "offer", PASS)
def battery_was_dead(world: World) -> None:
    """Up to 45 of the 50 offers (nCapsCount) find a device without power, then it answers."""
    world.attach()
    made = [fixed_offer(5000, 3000), fixed_offer(9000, 3000)]
    for _ in range(world.rng.randint(25, 45)):
        world.unanswered("source", "Source_Capabilities", offer_words(made))
        world.wait(T_SEND_SOURCE_CAP)
    world.offer = made
    world.offers_again()
    world.settle(world.wish())


@row(HEALTHY_POWER, "offer", PASS)
def full_table(world: World) -> None:
    """Seven objects of every kind in the right order; any of them is asked for, twice."""
    kinds = ("battery", "variable", "pps") if world.r3 else ("battery", "variable")
    world.begin(kinds=kinds, at_least=4)
    world.wait((20e-3, 0.3))
    world.settle(world.wish())


@row(HEALTHY_POWER, "offer", PASS)
def five_amps_by_cable(world: World) -> None:
    """A cable that says 5 A on SOP', then up to 5 A at 20 V."""
    world.attach(soon=True)
    world.ask_cable(5)
    world.wait((1e-3, 40e-3))
    world.offers(ceiling_ma=5000, at_least=4)
    world.settle(world.wish("fixed"))


@row(HEALTHY_POWER, "offer", PASS)
def three_amps_by_cable(world: World) -> None:
    """A cable that says 3 A, or none that says anything, then no more than 3 A."""
    world.attach(soon=True)
    world.ask_cable(world.rng.choice((0, 3)))
    world.wait((1e-3, 40e-3))
    world.offers(at_least=4)
    world.settle(world.wish())


@row(HEALTHY_POWER, "offer", PASS)
def captive_five_amps(world: World) -> None:
    """A fixed cable: 5 A without a question to it."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000), fixed_offer(15000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish(position=4))


@row(HEALTHY_POWER, "answer", PASS)
def wait_and_again(world: World) -> str:
    """Wait, and asking again after tSinkRequest; without a contract or in one."""
    world.attach()
    world.offers(at_least=2)
    first = world.rng.choice(("no contract", "contract"))
    if first == "contract":
        world.settle(world.wish(position=1))
        world.wait((30e-3, 0.3))
    for _ in range(world.rng.randint(1, 3)):
        world.responding()
        world.requests(world.wish())
        world.responding()
        world.say("source", "Wait")
        world.wait((100.2e-3, 180e-3))
    world.settle(world.wish())
    return first


@row(HEALTHY_POWER, "answer", PASS)
def refused_in_a_contract(world: World) -> None:
    """A wish the source cannot meet just now is rejected; the contract stays, and another wish is met."""
    world.begin(at_least=3, position=1)
    one = world.offer[1]
    world.wait((30e-3, 0.3))
    world.say("sink", "Request", [words.request_fixed(2, one.limit + 200, one.limit + 200)])
    world.responding()
    world.say("source", "Reject")
    world.wait((30e-3, 0.3))
    world.settle(world.wish())


@row(HEALTHY_POWER, "contract", PASS)
def one_after_another(world: World) -> None:
    """Several contracts, from the same offer, a new one, or the one that the sink asked for."""
    world.begin(at_least=2)
    for _ in range(world.rng.randint(2, 6)):
        world.wait((20e-3, 0.5))
        how = world.rng.choice(("request", "new offer", "asked"))
        if how == "new offer":
            world.offers()
        elif how == "asked":
            world.say("sink", "Get_Source_Cap")
            world.responding()
            world.offers_again()
        world.settle(world.wish())


@row(HEALTHY_POWER, "contract", PASS, only="R2")
def goes_to_minimum(world: World) -> None:
    """GotoMin to a sink that said GiveBack, PS_RDY, and later the full current again."""
    world.attach()
    world.offers()
    demand = Demand(words.request_fixed(1, 900, 100, flags=words.GIVEBACK), 1, "fixed", 5000, 900)
    world.settle(demand)
    world.wait((50e-3, 0.3))
    world.say("source", "GotoMin")
    world.draw(0.08, world.now + world.rng.uniform(1e-3, 13e-3))
    world.wait((25.2e-3, 0.3))
    world.say("source", "PS_RDY")
    world.wait((50e-3, 0.3))
    world.settle(demand)


@row(HEALTHY_POWER, "contract", PASS)
def more_would_be_welcome(world: World) -> None:
    """The capability mismatch flag: the sink takes what there is."""
    world.attach()
    world.offers()
    world.settle(world.wish(flags=words.MISMATCH))


@row(HEALTHY_POWER, "keep-alive", PASS, only="R3")
def pps_renewed(world: World) -> None:
    """A programmable contract in many steps, each within 10 s."""
    world.begin(kinds=("pps",), ask="pps")
    for _ in range(world.rng.randint(2, 8)):
        world.wait(world.rng.choice(((0.02, 0.4), (1.0, 9.85))))
        world.settle(world.wish("pps"))


@row(HEALTHY_POWER, "contract", PASS, only="R3")
def spr_avs(world: World) -> None:
    """SPR AVS of R3.2 beside the fixed levels, in steps of 100 mV."""
    world.attach()
    world.offer = [fixed_offer(mv, 3000) for mv in (5000, 9000, 15000)]
    world.offer += [fixed_offer(20000, 2250), Offer("avs", words.spr_avs(3000, 2250), 9000, 15000, 3000)]
    world.offers_again()
    world.settle(world.wish("avs"))
    for _ in range(world.rng.randint(1, 4)):
        world.wait((20e-3, 3.0))
        world.settle(world.wish("avs"))


@row(HEALTHY_POWER, "offer", PASS)
def first_offer_late_but_in_time(world: World) -> None:
    """The first offer right at the ends of its window, whatever else."""
    world.attach(soon=True)
    world.now = world.vbus[-1][0]
    world.wait(T_FIRST_OFFER)
    world.offers()
    world.settle(world.wish())
