"""Faults of the offer and of the request, each with the party that broke the standard.

Why it is: what may be offered and asked is arithmetic, and a checker that slips a bit accuses the wrong end. Who owed
what: the source an offer in the standard's order and ranges, repeated every 100 to 200 ms; the sink a Request for what
was offered. Layouts as in `words.py`; the ranges of PPS (3.3 to 21 V) and of SPR's power (100 W) from memory.
"""

from __future__ import annotations

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.healthy_epr import epr_offer, epr_ready
from tests.reference.offers import Demand, Offer, fixed_offer
from tests.reference.rows import Book, broken, failed, row, warned
from tests.reference.talk import T_SEND_SOURCE_CAP, T_SINK_WAIT_CAP, Window
from tests.reference.world import World

FAULT_OFFER: Book = {}


def _offered(world: World, offer: list[Offer], position: int = 0, kind: str = "") -> None:
    world.attach()
    world.offer = offer
    world.offers_again()
    world.settle(world.wish(kind, position))


@row(FAULT_OFFER, "offer", broken("source"))
def first_is_not_5v(world: World) -> None:
    """The first object is 9 V; the sink takes it."""
    world.attach()
    flags = words.UNCONSTRAINED
    world.offer = [fixed_offer(9000, 2000, flags), fixed_offer(15000, 2000)]
    world.offers_again()
    world.settle(world.wish())


@row(FAULT_OFFER, "offer", broken("source"))
def levels_fall(world: World) -> None:
    """The fixed objects do not rise."""
    levels = world.rng.choice(((5000, 20000, 9000), (5000, 12000, 9000, 15000)))
    _offered(world, [fixed_offer(mv, 2000) for mv in levels])


@row(FAULT_OFFER, "offer", broken("source"))
def fixed_after_variable(world: World) -> None:
    """A fixed object stands behind a variable one."""
    variable = Offer("variable", words.variable(7000, 11000, 2000), 7000, 11000, 2000)
    _offered(world, [fixed_offer(5000, 2000), variable, fixed_offer(15000, 2000)])


@row(FAULT_OFFER, "offer", broken("source"))
def level_twice(world: World) -> None:
    """The same voltage twice."""
    _offered(world, [fixed_offer(5000, 2000), fixed_offer(9000, 1500), fixed_offer(9000, 2000)])


@row(FAULT_OFFER, "offer", broken("source"))
def five_amps_on_a_3a_cable(world: World) -> None:
    """The cable has said 3 A; the source offers 5 A at 20 V."""
    world.attach(soon=True)
    world.ask_cable(3)
    world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish())


@row(FAULT_OFFER, "offer", broken("source"))
def more_than_100w(world: World) -> None:
    """20 V with 5.5 to 8 A in SPR, after a 5 A cable has answered."""
    world.attach(soon=True)
    world.ask_cable(5)
    world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000), fixed_offer(20000, world.rng.choice((5500, 6500, 8000)))]
    world.offers_again()
    world.settle(world.wish(position=1))


@row(FAULT_OFFER, "offer", broken("source"))
def level_above_20v(world: World) -> None:
    """A fixed object of 28 V in an SPR offer; the sink takes 5 V."""
    _offered(world, [fixed_offer(5000, 3000), fixed_offer(9000, 3000), fixed_offer(28000, 3000)], position=1)


@row(FAULT_OFFER, "offer", broken("source"), only="R3")
def pps_out_of_range(world: World) -> None:
    """A programmable object that goes below 3.3 V, above 21 V, or whose ends are the wrong way round."""
    low, high = world.rng.choice(((1000, 11000), (3300, 25000), (11000, 5000)))
    offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000)]
    offer.append(Offer("pps", words.pps(low, high, 3000), low, high, 3000))
    _offered(world, offer, position=world.rng.randint(1, 2))


@row(FAULT_OFFER, "offer", warned("source"))
def flags_in_later_objects(world: World) -> None:
    """Flags of the first object in the second, where the bits are reserved."""
    flag = world.rng.choice((words.DUAL_ROLE, words.UNCONSTRAINED, words.SRC_USB_COMM, words.DUAL_DATA))
    _offered(world, [fixed_offer(5000, 3000), fixed_offer(9000, 2000, flag), fixed_offer(15000, 2000)])


def _rhythm(world: World, window: Window) -> None:
    world.attach()
    made = [words.fixed(5000, 3000), words.fixed(9000, 2000)]
    for _ in range(world.rng.randint(3, 8)):
        world.unanswered("source", "Source_Capabilities", made)
        world.wait(window)
    world.offers()
    world.settle(world.wish())


@row(FAULT_OFFER, "offer", warned("source"))
def offers_too_fast(world: World) -> None:
    """Unanswered offers every 40 ms, then all goes well."""
    _rhythm(world, (35e-3, 45e-3))


@row(FAULT_OFFER, "offer", warned("source"))
def offers_too_slow(world: World) -> None:
    """Unanswered offers every 500 ms, then all goes well."""
    _rhythm(world, (0.45, 0.55))


@row(FAULT_OFFER, "offer", warned("source"), vbus=True)
def first_offer_late(world: World) -> None:
    """0.35 to 0.6 s from VBUS to the first offer (tFirstSourceCap: 250 ms)."""
    world.attach(soon=True)
    world.now = world.vbus[-1][0]
    world.wait((0.35, 0.6))
    world.offers()
    world.settle(world.wish())


@row(FAULT_OFFER, "offer", Expect(("fail", "inconclusive"), (), ("source", "capture", None)))
def no_offer_at_all(world: World) -> None:
    """VBUS is there, no offer comes, the sink's Hard Resets change nothing (a charger without PD would do that)."""
    world.attach()
    for _ in range(2):
        world.wait(T_SINK_WAIT_CAP)
        world.hard_reset("sink", back=False)
        world.vbus = world.vbus[:-2]
        world.volts = world.vbus[-1][1]
        world.wait((0.7, 1.2))


# --- requests


def _refused(world: World, word: int, again: bool = True) -> None:
    for turn in range(world.rng.randint(1, 3) if again else 1):
        if turn:
            world.wait((0.1, 0.3))
        world.responding()
        world.say("sink", "Request", [word])
        world.responding()
        world.say("source", "Reject")


def _three_levels(world: World) -> None:
    world.attach()
    world.offer = [fixed_offer(5000, 1500), fixed_offer(9000, 1500), fixed_offer(15000, 1500)]
    world.offers_again()


@row(FAULT_OFFER, "request", failed("accept", "sink"))
def position_0_rejected(world: World) -> None:
    """A Request for position 0."""
    _three_levels(world)
    _refused(world, words.request_fixed(0, 900, 900))


@row(FAULT_OFFER, "request", failed("accept", "sink"))
def position_of_epr_rejected(world: World) -> None:
    """A Request for a place that only EPR mode has."""
    _three_levels(world)
    _refused(world, words.request_fixed(world.rng.randint(8, 13), 900, 900))


@row(FAULT_OFFER, "request", failed("accept", "sink"), only="R3")
def pps_above_its_range_rejected(world: World) -> None:
    """A programmable level above the object's."""
    world.attach()
    world.offers(kinds=("pps",))
    position = next(n for n, one in enumerate(world.offer, 1) if one.kind == "pps")
    word = words.request_pps(position, world.offer[position - 1].max_mv + world.rng.choice((200, 1000)), 1000)
    _refused(world, word)


@row(FAULT_OFFER, "request", failed("accept", "sink"), only="R3")
def pps_above_its_current_rejected(world: World) -> None:
    """A programmable current above the object's."""
    world.attach()
    world.offers(kinds=("pps",))
    position = next(n for n, one in enumerate(world.offer, 1) if one.kind == "pps")
    one = world.offer[position - 1]
    _refused(world, words.request_pps(position, one.max_mv, one.limit + world.rng.choice((100, 1000))))


@row(FAULT_OFFER, "request", broken("sink", "source"))
def too_much_accepted(world: World) -> None:
    """More current than offered, and the source accepts: both break the standard, charging survives."""
    _three_levels(world)
    position = world.rng.randint(1, 3)
    mv = world.offer[position - 1].min_mv
    world.settle(Demand(words.request_fixed(position, 1800, 2000), position, "fixed", mv, 1500))


@row(FAULT_OFFER, "request", Expect(("fail", "inconclusive", "pass"), (), ("sink", "source", None), (),
                                    ("sink", "source")))
def not_offered_accepted(world: World) -> None:
    """A place that was not offered, accepted; VBUS stays at 5 V."""
    _three_levels(world)
    position = world.rng.randint(4, 7)
    world.settle(Demand(words.request_fixed(position, 900, 900), position, "fixed", 5000, 900))


@row(FAULT_OFFER, "request", broken("sink", "source"), only="R3")
def pps_above_its_range_accepted(world: World) -> None:
    """A programmable level above the object's, accepted and delivered."""
    world.attach()
    world.offer = [fixed_offer(5000, 3000), Offer("pps", words.pps(5000, 11000, 2000), 5000, 11000, 2000)]
    world.offers_again()
    world.settle(Demand(words.request_pps(2, 12000, 1000), 2, "pps", 12000, 1000))


@row(FAULT_OFFER, "request", Expect(("fail", "inconclusive", "pass"), (), ("sink", None), (), ("sink",)), only="R3")
def epr_copy_differs(world: World) -> None:
    """The EPR_Request's copy of the object is not the object; the source rejects it, and later a good one is met."""
    epr_ready(world)
    world.ask("sink", "EPR_Mode", "EPR_Mode", [words.epr_mode(1, 140)], [words.epr_mode(2)])
    world.wait((0.5e-3, 200e-3))
    world.say("source", "EPR_Mode", [words.epr_mode(3)])
    world.epr = True
    world.responding()
    epr_offer(world, 140)
    word = words.request_fixed(8, 3000, 5000, flags=words.EPR_CAPABLE)
    for _ in range(world.rng.randint(1, 2)):
        world.responding()
        world.say("sink", "EPR_Request", [word, world.epr_objects[0] ^ 1 << world.rng.randint(0, 6)])
        world.responding()
        world.say("source", "Reject")
        world.wait((0.1, 0.4))
    world.settle(Demand(word, 8, "fixed", 28000, 3000))


@row(FAULT_OFFER, "request", warned("sink"))
def operating_above_maximum(world: World) -> None:
    """Operating current above the Request's own maximum, both within the offer (a minimum with GiveBack aside)."""
    _three_levels(world)
    world.settle(Demand(words.request_fixed(2, 1500, 1000), 2, "fixed", 9000, 1500))


@row(FAULT_OFFER, "cable", broken("source"))
def five_amps_without_a_marker(world: World) -> None:
    """The cable does not answer on SOP', and 5 A are offered all the same."""
    world.attach(soon=True)
    world.ask_cable(0)
    world.wait((1e-3, 40e-3))
    world.offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000), fixed_offer(20000, 5000)]
    world.offers_again()
    world.settle(world.wish())


@row(FAULT_OFFER, "cable", Expect(("pass", "fail"), (), (None, "sink"), (), ("sink",)))
def sink_starts_vendor_talk_early(world: World) -> None:
    """Before the first contract the sink sends a vendor message instead of its Request, and then the Request."""
    world.attach()
    world.offers()
    world.responding()
    world.say("sink", "Vendor_Defined", world.vendor(0xFF00, 1, 0))
    world.now += world.rng.uniform(1e-3, 8e-3)
    demand = world.wish(position=1)
    world.requests(demand)
    world.responding()
    world.say("source", "Accept")
    world.deliver(demand)


@row(FAULT_OFFER, "offer", failed("offer_acknowledged", "sink"))
def device_never_wakes(world: World) -> None:
    """All fifty offers of nCapsCount, none acknowledged."""
    world.attach()
    made = [words.fixed(5000, 3000), words.fixed(9000, 3000)]
    for _ in range(50):
        world.unanswered("source", "Source_Capabilities", made)
        world.wait(T_SEND_SOURCE_CAP)
