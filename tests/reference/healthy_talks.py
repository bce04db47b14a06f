"""Conversations in which everybody does what the specification asks, so the verdict must be pass."""

from __future__ import annotations

from collections.abc import Callable

from tests.reference import words
from tests.reference.offers import Demand, Offer, make_demand, make_offer, offer_words
from tests.reference.talk import T_DISCOVER_IDENTITY, T_SEND_SOURCE_CAP, T_SINK_WAIT_CAP, Talk
from tests.reference.topics import TOPICS

R3X = words.R3X


def ask_cable(talk: Talk, marked: str) -> None:
    """Discover Identity on SOP' before the offer; marked is "no", "3A", "5A" or "EPR"."""
    version = 1 if talk.ports.source_revision == R3X else 0
    identity = words.cable_identity(version, marked == "5A")
    if marked == "EPR":
        identity = words.marked_cable(version, amps=5, epr=True)
    question = [words.vdm_header(0xFF00, 1, 0, version=version)]
    if marked == "no":
        for _ in range(talk.rng.choice((1, 1, 2, 3))):
            start = talk.now
            talk.unanswered("source", "Vendor_Defined", question, sop="SOP'")
            talk.now = max(talk.now + 1e-3, start + talk.rng.uniform(*T_DISCOVER_IDENTITY))
        return
    if talk.rng.random() < 0.2:
        talk.cable_reset()
    talk.say("source", "Vendor_Defined", question, sop="SOP'")
    talk.responding()
    talk.say("cable", "Vendor_Defined", identity, sop="SOP'")
    talk.wait((1e-3, 40e-3))
    if talk.rng.random() < 0.2:
        talk.unanswered("source", "Vendor_Defined", question, sop="SOP''")
        talk.wait((1e-3, 40e-3))


def offer_to(talk: Talk, offer: list[Offer], lost: str = "", tries_lost: int = 1) -> None:
    """A Source_Capabilities that is acknowledged."""
    talk.say("source", "Source_Capabilities", offer_words(offer), lost=lost, tries_lost=tries_lost)


def deliver(talk: Talk, demand: Demand, lost: str = "") -> None:
    """The voltage moves and PS_RDY follows, 25 to under 450 ms after the Accept."""
    rng, target = talk.rng, demand.mv / 1000
    settled = target * (1 + rng.uniform(-0.03, 0.03))
    change = abs(target - talk.volts)
    if talk.ports.fast:
        start = talk.now + 25.2e-3
        end = start + rng.uniform(0.3e-3, 0.8e-3)
    elif demand.kind == "pps" and change < 0.6:
        start = talk.now + rng.uniform(1e-3, 5e-3)
        end = start + rng.uniform(1e-3, 15e-3)
    elif change < 0.3:
        start = talk.now + rng.uniform(25e-3, 35e-3)
        end, settled = start, talk.volts
    else:
        start = talk.now + rng.uniform(25e-3, 35e-3)
        end = start + rng.uniform(2e-3, 250e-3)
    if change >= 0.3 and demand.kind != "pps":
        # pSnkStdby, within tSnkStdby of the Accept (both from memory)
        talk.draw(min(talk.amps[-1][1], 2.4 / max(target, talk.volts)), talk.now + 10e-3)
    talk.move_vbus(settled, start, end)
    talk.now = end + (rng.uniform(0.1e-3, 0.3e-3) if talk.ports.fast else rng.uniform(0.5e-3, 60e-3))
    talk.say("source", "PS_RDY", lost=lost)
    talk.settled = demand
    talk.draw(demand.ma / 1000 * rng.uniform(0.3, 0.95), talk.now + rng.uniform(1e-3, 20e-3))


def settle(talk: Talk, demand: Demand, lost_in: str = "", lost: str = "ack", tries_lost: int = 1) -> None:
    """Request, Accept, PS_RDY; `lost_in` names the message whose first tries fail."""
    talk.responding()
    talk.say("sink", "Request", [demand.word], lost=lost if lost_in == "Request" else "", tries_lost=tries_lost)
    talk.responding()
    talk.say("source", "Accept", lost=lost if lost_in == "Accept" else "", tries_lost=tries_lost)
    deliver(talk, demand, lost if lost_in == "PS_RDY" else "")


def usual(talk: Talk, *, kinds: tuple[str, ...] = (), ask: str = "", ceiling_ma: int = 3000) -> list[Offer]:
    """Offer to contract without incident."""
    offer = make_offer(talk.rng, talk.ports.source_revision, kinds=kinds, ceiling_ma=ceiling_ma)
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer, ask))
    return offer


def plain(talk: Talk) -> None:
    """Attach, offer, Request, Accept, PS_RDY."""
    talk.attach()
    usual(talk)


def cable_first(talk: Talk) -> None:
    """The cable is asked before the offer."""
    talk.attach(soon=True)
    marked = talk.rng.choice(("no", "3A", "5A"))
    ask_cable(talk, marked)
    usual(talk, ceiling_ma=5000 if marked == "5A" else 3000)


def captive_cable(talk: Talk) -> None:
    """More than 3 A without asking: the cable is fixed to the charger."""
    talk.attach()
    usual(talk, ceiling_ma=5000)


def lost_once(talk: Talk) -> None:
    """A message or a GoodCRC is lost and the retry, with the same MessageID, is answered."""
    talk.attach()
    rng = talk.rng
    where = rng.choice(("Source_Capabilities", "Request", "Accept", "PS_RDY"))
    how = rng.choice(("ack", "message", "no ack"))
    tries = rng.randint(1, 2)
    offer = make_offer(rng, talk.ports.source_revision)
    offer_to(talk, offer, how if where == "Source_Capabilities" else "", tries)
    settle(talk, make_demand(rng, talk.ports.common, offer), where, how, tries)


def wait_without_contract(talk: Talk) -> None:
    """Wait, then the sink asks again, or the source offers again."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision)
    demand = make_demand(rng, talk.ports.common, offer)
    offer_to(talk, offer)
    offers_again = rng.random() < 0.5
    for _ in range(rng.randint(1, 2)):
        talk.responding()
        talk.say("sink", "Request", [demand.word])
        talk.responding()
        talk.say("source", "Wait")
        talk.wait((100e-3, 300e-3))
        if offers_again:
            offer_to(talk, offer)
    settle(talk, demand)


def wait_in_contract(talk: Talk) -> None:
    """A contract, then a wish for another one that has to wait."""
    talk.attach()
    offer = usual(talk)
    talk.wait((30e-3, 200e-3))
    demand = make_demand(talk.rng, talk.ports.common, offer)
    talk.say("sink", "Request", [demand.word])
    talk.responding()
    talk.say("source", "Wait")
    talk.wait((100e-3, 400e-3))
    settle(talk, demand)


def soft_reset_first(talk: Talk) -> None:
    """One port was running already: it begins with a Soft_Reset."""
    talk.attach(soon=True)
    by = talk.rng.choice(("source", "sink"))
    soft_reset(talk, by)
    talk.wait((2e-3, 60e-3))
    usual(talk)


def soft_reset(talk: Talk, by: str) -> None:
    """Soft_Reset and Accept; both count from 0 again."""
    other = "sink" if by == "source" else "source"
    talk.restart_ids()
    talk.say(by, "Soft_Reset")
    talk.responding()
    talk.say(other, "Accept")


def sink_boots(talk: Talk) -> None:
    """Several offers find nobody, because the sink has to start first."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision)
    for _ in range(rng.randint(1, 9)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer))
        talk.wait(T_SEND_SOURCE_CAP)
    offer_to(talk, offer)
    settle(talk, make_demand(rng, talk.ports.common, offer))


def pps_kept_alive(talk: Talk) -> None:
    """A programmable contract, renewed within 10 s each time."""
    talk.attach()
    offer = usual(talk, kinds=("pps",), ask="pps")
    for _ in range(talk.rng.randint(1, 3)):
        talk.wait((0.3, 9.9))
        settle(talk, make_demand(talk.rng, talk.ports.common, offer, "pps"))


def mismatch(talk: Talk) -> None:
    """The sink takes what there is and says that it wants more."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision)
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer, flags=words.MISMATCH))


def odd_objects(talk: Talk) -> None:
    """Battery, variable, programmable and adjustable objects, one of which is taken."""
    talk.attach()
    kinds = ["battery", "variable"]
    if talk.ports.common == R3X:
        kinds += ["pps", "avs"]
    ask = talk.rng.choice(kinds)
    more = tuple(kind for kind in kinds if kind == ask or talk.rng.random() < 0.5)
    usual(talk, kinds=more, ask=ask)


def hard_reset_then_good(talk: Talk) -> None:
    """A first attempt ends in a Hard Reset, the second is fine."""
    talk.attach()
    rng = talk.rng
    first = rng.choice(("no offer", "no request", "at once", "after contract", "no answer"))
    offer = make_offer(rng, talk.ports.source_revision)
    if first == "no offer":
        talk.wait(T_SINK_WAIT_CAP)
        talk.hard_reset("sink")
    elif first == "no request":
        offer_to(talk, offer)
        talk.wait(talk.sender_response())
        talk.hard_reset("source")
    elif first == "at once":
        talk.hard_reset(rng.choice(("source", "sink")))
    elif first == "no answer":
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [make_demand(rng, talk.ports.common, offer).word])
        talk.wait(talk.sender_response())
        talk.hard_reset("sink")
    else:
        offer_to(talk, offer)
        settle(talk, make_demand(rng, talk.ports.common, offer))
        talk.wait((20e-3, 0.3))
        talk.hard_reset(rng.choice(("source", "sink")))
    offer_to(talk, offer)
    settle(talk, make_demand(rng, talk.ports.common, offer))


def another_contract(talk: Talk) -> None:
    """A first contract (5 V, often), then the sink asks for another object or for the offer again."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision, at_least=2)
    offer_to(talk, offer)
    settle(talk, make_demand(rng, talk.ports.common, offer, position=1))
    talk.wait((30e-3, 0.4))
    how = rng.choice(("request", "get", "source"))
    if how == "get":
        talk.say("sink", "Get_Source_Cap")
        talk.responding()
    if how != "request":
        offer_to(talk, offer)
    settle(talk, make_demand(rng, talk.ports.common, offer, position=len(offer)))


def starts_in_an_offer(talk: Talk) -> None:
    """The capture begins in the middle of an offer that nobody heard; a later one is answered."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision)
    talk.unanswered("source", "Source_Capabilities", offer_words(offer))
    first = talk.packets[0]
    talk.cut_s = talk.rng.uniform(first.start_s, first.end_s)
    for _ in range(talk.rng.randint(0, 2)):
        talk.wait(T_SEND_SOURCE_CAP)
        talk.unanswered("source", "Source_Capabilities", offer_words(offer))
    talk.wait(T_SEND_SOURCE_CAP)
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer))


def extended_power(talk: Talk) -> None:
    """A contract, then EPR mode, 28 V from the chunked EPR offer, and a sink that keeps it alive."""
    talk.attach(soon=True)
    rng = talk.rng
    ask_cable(talk, "EPR")
    offer = make_offer(rng, R3X, ceiling_ma=5000)
    offer_to(talk, offer)
    settle(talk, make_demand(rng, R3X, offer, flags=words.EPR_CAPABLE))
    talk.wait((20e-3, 0.2))
    talk.say("sink", "EPR_Mode", [words.epr_mode(1, 140)])
    talk.responding()
    talk.say("source", "EPR_Mode", [words.epr_mode(2)])
    talk.wait((5e-3, 200e-3))
    talk.say("source", "EPR_Mode", [words.epr_mode(3)])
    talk.wait((1e-3, 15e-3))
    spr = (offer_words(offer) + [0] * 7)[:7]
    objects = [*spr, words.fixed(28000, 5000), words.epr_avs(15000, 28000, 140)]
    data = b"".join(word.to_bytes(4, "little") for word in objects)
    kind = "EPR_Source_Capabilities"
    talk.say("source", kind, words.extended_words(data[:26], size=len(data)))
    talk.responding()
    talk.say("sink", kind, words.extended_words(b"", chunk=1, asking=True))
    talk.responding()
    talk.say("source", kind, words.extended_words(data[26:], size=len(data), chunk=1))
    talk.responding()
    ask = words.request_fixed(8, 4000, 5000, flags=words.EPR_CAPABLE)
    talk.say("sink", "EPR_Request", [ask, objects[7]])
    talk.responding()
    talk.say("source", "Accept")
    deliver(talk, Demand(ask, 8, "fixed", 28000, 4000))
    for _ in range(rng.randint(0, 3)):
        talk.wait((0.25, 0.48))
        talk.say("sink", "Extended_Control", words.extended_words(bytes((3, 0))))
        talk.responding()
        talk.say("source", "Extended_Control", words.extended_words(bytes((4, 0))))


def chatter(talk: Talk) -> None:
    """A contract, then one to five other topics."""
    talk.attach()
    usual(talk, kinds=("pps",) if talk.ports.common == R3X and talk.rng.random() < 0.3 else ())
    for _ in range(talk.rng.randint(1, 5)):
        talk.wait((10e-3, 0.25))
        talk.rng.choice(TOPICS)(talk)


HEALTHY: dict[str, Callable[[Talk], None]] = {
    story.__name__: story
    for story in (
        plain, cable_first, captive_cable, lost_once, wait_without_contract, wait_in_contract, soft_reset_first,
        sink_boots, pps_kept_alive, mismatch, odd_objects, hard_reset_then_good, another_contract, chatter,
        starts_in_an_offer, extended_power,
    )
}  # fmt: skip
NEEDS_R3X = frozenset({"pps_kept_alive", "extended_power"})
