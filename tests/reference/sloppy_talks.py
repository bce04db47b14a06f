"""Conversations that work although somebody does not keep to the letter, as real ports do.

A contract is reached and kept in each, so nobody may be accused; a checker may warn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tests.reference import words
from tests.reference.healthy_talks import deliver, offer_to, settle, soft_reset, usual
from tests.reference.offers import Demand, fixed_offer, make_demand, make_offer, offer_words
from tests.reference.talk import Talk


def late_goodcrc(talk: Talk) -> None:
    """GoodCRC after tTransmit, but before the sender gives up."""
    talk.transmit = (200e-6, 330e-6)
    talk.attach()
    usual(talk)


def late_answers(talk: Talk) -> None:
    """Answers after tReceiverResponse, but before tSenderResponse."""
    talk.response = (15.5e-3, 23e-3)
    talk.attach()
    usual(talk)


def slow_ready(talk: Talk) -> None:
    """PS_RDY later than the sink has to wait; it does wait."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision)
    demand = make_demand(talk.rng, talk.ports.common, offer)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [demand.word])
    talk.responding()
    talk.say("source", "Accept")
    talk.wait((0.45, 0.7))
    deliver(talk, demand)


def quick_ready(talk: Talk) -> None:
    """PS_RDY before tSrcTransition is over."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision)
    demand = make_demand(talk.rng, talk.ports.common, offer, position=1)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [demand.word])
    talk.responding()
    talk.say("source", "Accept")
    talk.wait((1e-3, 20e-3))
    talk.say("source", "PS_RDY")
    talk.settled = demand


def ids_skip(talk: Talk) -> None:
    """MessageIDs that go up by two."""
    talk.id_step = 2
    talk.attach()
    usual(talk)


def strange_goodcrc(talk: Talk) -> None:
    """GoodCRCs whose revision and data role fields are not those of their port."""
    talk.attach()
    usual(talk)
    bits = talk.rng.choice((0x0020, 0x00C0, 0x00E0))
    for place, packet in enumerate(talk.packets):
        if packet.label == "GoodCRC" and packet.sender == "sink":
            head = int.from_bytes(packet.payload, "little")
            talk.packets[place] = replace(packet, payload=words.payload(head ^ bits))


def reserved_bits(talk: Talk) -> None:
    """Reserved bits set in the offer and the Request."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision)
    bits = 1 << 22
    offer = [replace(one, word=one.word | bits) if one.kind == "fixed" else one for one in offer]
    demand = make_demand(rng, talk.ports.common, offer, kind="fixed")
    offer_to(talk, offer)
    settle(talk, replace(demand, word=demand.word | 1 << 20))


def unordered_offer(talk: Talk) -> None:
    """The fixed objects do not rise."""
    talk.attach()
    offer = [fixed_offer(mv, 2000) for mv in talk.rng.choice(((5000, 20000, 9000), (5000, 12000, 9000, 15000)))]
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer))


def asks_too_much_and_gets_it(talk: Talk) -> None:
    """More current than offered, and the source accepts."""
    talk.attach()
    offer = [fixed_offer(5000, 1500), fixed_offer(9000, 1670)]
    position = talk.rng.randint(1, 2)
    demand = Demand(words.request_fixed(position, 1800, 2000), position, "fixed", offer[position - 1].min_mv, 1500)
    offer_to(talk, offer)
    settle(talk, demand)


def operating_above_maximum(talk: Talk) -> None:
    """A Request whose operating current is above its own maximum."""
    talk.attach()
    offer = [fixed_offer(5000, 3000), fixed_offer(9000, 3000)]
    offer_to(talk, offer)
    settle(talk, Demand(words.request_fixed(2, 2000, 1000), 2, "fixed", 9000, 2000))


def late_keep_alive(talk: Talk) -> None:
    """PPS Requests after more than 10 s, which this source bears."""
    talk.attach()
    offer = usual(talk, kinds=("pps",), ask="pps")
    for _ in range(talk.rng.randint(1, 2)):
        talk.wait((10.1, 11.8))
        settle(talk, make_demand(talk.rng, talk.ports.common, offer, "pps"))


def odd_offer_rhythm(talk: Talk) -> None:
    """Unanswered offers at other intervals than the specification's, then an answered one."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision)
    for _ in range(talk.rng.randint(1, 5)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer), retries=talk.rng.randint(0, 3))
        talk.wait(talk.rng.choice(((40e-3, 60e-3), (0.3, 0.6))))
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer))


def soft_reset_in_contract(talk: Talk) -> None:
    """A protocol error after the contract is mended by Soft_Reset and a new contract."""
    talk.attach()
    offer = usual(talk)
    talk.wait((20e-3, 0.2))
    soft_reset(talk, talk.rng.choice(("source", "sink")))
    talk.wait((2e-3, 20e-3))
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer))


def unanswered_chatter(talk: Talk) -> None:
    """After the contract a cable that is not there, and VDMs nobody answers."""
    talk.attach()
    usual(talk)
    question = [words.vdm_header(0xFF00, 1, 0)]
    for _ in range(talk.rng.randint(1, 3)):
        talk.wait((40e-3, 60e-3))
        if talk.rng.random() < 0.5:
            talk.unanswered("source", "Vendor_Defined", question, sop="SOP'")
        else:
            talk.say("source", "Vendor_Defined", question)


def renewed_by_the_source(talk: Talk) -> None:
    """The source changes its offer (a second port was plugged in), and all agree again."""
    talk.attach()
    usual(talk)
    for _ in range(talk.rng.randint(1, 3)):
        talk.wait((50e-3, 0.5))
        usual(talk)


def refused_then_taken(talk: Talk) -> None:
    """A first Request is refused, a second is accepted."""
    talk.attach()
    rng = talk.rng
    offer = make_offer(rng, talk.ports.source_revision)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [make_demand(rng, talk.ports.common, offer).word])
    talk.responding()
    talk.say("source", "Reject")
    talk.wait((5e-3, 0.3))
    if rng.random() < 0.5:
        offer_to(talk, offer)
    settle(talk, make_demand(rng, talk.ports.common, offer))


def plugged_again(talk: Talk) -> None:
    """A contract, the plug pulled and put in again, a new contract."""
    talk.attach()
    usual(talk)
    talk.wait((0.3, 1.5))
    talk.unplug()
    talk.wait((0.7, 2.0))
    talk.attach()
    usual(talk)


def pulled_out(talk: Talk) -> None:
    """A contract, and then the technician pulls the plug: CC is open and VBUS goes away."""
    talk.attach()
    usual(talk)
    talk.wait((0.2, 1.5))
    talk.unplug()
    talk.wait((0.1, 0.8))


SLOPPY: dict[str, Callable[[Talk], None]] = {
    story.__name__: story
    for story in (
        late_goodcrc, late_answers, slow_ready, quick_ready, ids_skip, strange_goodcrc, reserved_bits,
        unordered_offer, asks_too_much_and_gets_it, operating_above_maximum, late_keep_alive, odd_offer_rhythm,
        soft_reset_in_contract, unanswered_chatter, renewed_by_the_source, refused_then_taken,
        plugged_again, pulled_out,
    )
}  # fmt: skip
NEEDS_R3X = frozenset({"late_keep_alive"})
