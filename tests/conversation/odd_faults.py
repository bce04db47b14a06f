"""Faults told in other ways than the usual one: other resets, other retries, other things before.

Each is a row of the table of faults with another history; verdict, step and party stay those of the row.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tests.conversation.odd_talks import unplug
from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.healthy_talks import ask_cable, offer_to, settle, soft_reset, usual
from tests.reference.offers import Offer, make_demand, make_offer, offer_words
from tests.reference.talk import T_PS_TRANSITION, T_SEND_SOURCE_CAP, T_SINK_WAIT_CAP, Talk

NOT_A_PASS = Expect(("fail", "inconclusive"), not_suspects=("source", "cable", "link"))
NOT_THE_SINK = Expect(("fail", "inconclusive"), not_suspects=("sink", "cable"))


def _fail(stopped_at: str, suspect: str) -> Expect:
    return Expect(("fail",), (stopped_at,), (suspect,))


def _begin(talk: Talk, at_least: int = 1) -> tuple[list[Offer], int]:
    talk.attach(soon=True)
    if talk.rng.random() < 0.4:
        ask_cable(talk, talk.rng.choice(("no", "3A", "5A")))
    offer = make_offer(talk.rng, talk.ports.source_revision, at_least=at_least)
    return offer, make_demand(talk.rng, talk.ports.common, offer).word


def _deaf_at_first(talk: Talk, offer: list[Offer]) -> None:
    for _ in range(talk.rng.randint(0, 3)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer))
        talk.wait(T_SEND_SOURCE_CAP)


def _lost(talk: Talk) -> str:
    return talk.rng.choice(("", "", "ack", "message", "no ack"))


def no_request_after_a_boot(talk: Talk) -> None:
    """First deaf, then an offer is heard and nothing follows, for one to five rounds with retries."""
    offer, _ = _begin(talk)
    _deaf_at_first(talk, offer)
    for _ in range(talk.rng.randint(1, 5)):
        offer_to(talk, offer, _lost(talk))
        talk.wait(talk.sender_response())
        talk.hard_reset("source")


def no_request_with_swaps(talk: Talk) -> None:
    """The device's own timer resets too: it waits for an offer that it has just acknowledged."""
    offer, _ = _begin(talk)
    for _ in range(talk.rng.randint(1, 3)):
        offer_to(talk, offer)
        talk.wait(talk.sender_response())
        talk.hard_reset("source")
        if talk.rng.random() < 0.5:
            talk.wait(T_SINK_WAIT_CAP)
            talk.hard_reset("sink")


def request_unanswered_after_wait(talk: Talk) -> None:
    """Wait first; the next Request is acknowledged and never answered."""
    offer, word = _begin(talk)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [word])
    talk.responding()
    talk.say("source", "Wait")
    talk.wait((100e-3, 200e-3))
    talk.say("sink", "Request", [word])
    talk.wait(talk.sender_response())
    talk.hard_reset("sink")
    for _ in range(talk.rng.randint(0, 2)):
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [word], lost=_lost(talk))
        talk.wait(talk.sender_response())
        talk.hard_reset("sink")


def request_unanswered_soft_and_hard(talk: Talk) -> None:
    """The sink tries a Soft_Reset, which is granted, and is not answered again."""
    offer, word = _begin(talk)
    for _ in range(talk.rng.randint(1, 3)):
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [word])
        talk.wait(talk.sender_response())
        soft_reset(talk, "sink")
        talk.wait((2e-3, 30e-3))
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [word])
    talk.wait(talk.sender_response())
    talk.hard_reset("sink")


def not_ready_source_resets(talk: Talk) -> None:
    """The source notices that its output does not come up and resets before the sink's patience is over."""
    offer, word = _begin(talk)
    for _ in range(talk.rng.randint(2, 4)):
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [word])
        talk.responding()
        talk.say("source", "Accept", lost=_lost(talk))
        talk.wait((320e-3, 440e-3))
        talk.hard_reset("source")


def not_ready_and_silent(talk: Talk) -> None:
    """Accept and then nothing at all, for seconds."""
    offer, word = _begin(talk)
    offer_to(talk, offer)
    talk.responding()
    talk.say("sink", "Request", [word])
    talk.responding()
    talk.say("source", "Accept")
    talk.wait((0.7, 3.0))


def not_ready_soft_reset(talk: Talk) -> None:
    """After Accept the sink waits, then Hard Resets; between the rounds a Soft_Reset by the source."""
    offer, word = _begin(talk)
    for turn in range(talk.rng.randint(1, 3)):
        if turn:
            soft_reset(talk, "source")
            talk.wait((2e-3, 30e-3))
        offer_to(talk, offer)
        talk.responding()
        talk.say("sink", "Request", [word])
        talk.responding()
        talk.say("source", "Accept")
        talk.wait(T_PS_TRANSITION)
        talk.hard_reset("sink")


def contract_then_deaf(talk: Talk) -> None:
    """A contract, a Hard Reset, and then nobody acknowledges any offer."""
    talk.attach()
    offer = usual(talk)
    talk.wait((0.1, 0.5))
    talk.hard_reset(talk.rng.choice(("source", "sink")))
    for _ in range(talk.rng.randint(5, 9)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer))
        talk.wait(T_SEND_SOURCE_CAP)


def contract_then_no_request(talk: Talk) -> None:
    """A contract, a Hard Reset, and then the offers are heard and nothing is asked."""
    talk.attach()
    offer = usual(talk)
    talk.wait((0.1, 0.5))
    talk.hard_reset("sink")
    for _ in range(talk.rng.randint(2, 4)):
        offer_to(talk, offer)
        talk.wait(talk.sender_response())
        talk.hard_reset("source")


def replugged_then_deaf(talk: Talk) -> None:
    """A contract; the plug is drawn and put in again; nobody acknowledges any offer then."""
    talk.attach()
    offer = usual(talk)
    talk.wait((0.4, 0.8))
    unplug(talk)
    talk.wait((0.5, 1.5))
    talk.restart_ids()
    talk.move_vbus(5.05, talk.now, talk.now + 20e-3)
    talk.wait((60e-3, 200e-3))
    for _ in range(talk.rng.randint(5, 9)):
        talk.unanswered("source", "Source_Capabilities", offer_words(offer))
        talk.wait(T_SEND_SOURCE_CAP)


def replugged_then_no_request(talk: Talk) -> None:
    """A contract; the plug is drawn and put in again; the offer is heard, nothing is asked, the source resets."""
    talk.attach()
    offer = usual(talk)
    talk.wait((0.4, 0.8))
    unplug(talk)
    talk.wait((0.5, 1.5))
    talk.restart_ids()
    talk.move_vbus(5.05, talk.now, talk.now + 20e-3)
    talk.wait((60e-3, 200e-3))
    for _ in range(talk.rng.randint(1, 3)):
        offer_to(talk, offer)
        talk.wait(talk.sender_response())
        talk.hard_reset("source")


def wrong_goodcrc_for_the_request(talk: Talk) -> None:
    """The source's GoodCRC names another MessageID than the Request has."""
    offer, word = _begin(talk)
    for _ in range(talk.rng.randint(1, 3)):
        offer_to(talk, offer)
        talk.responding()
        talk.unanswered("sink", "Request", [word], wrong_id=True)
        talk.restart_ids()
        talk.wait((0.2e-3, 2e-3))
        talk.hard_reset("sink")


def late_request_in_the_end(talk: Talk) -> None:
    """A deaf boot, then late Requests, in R2.0 or R3.x, with lost GoodCRCs on the way."""
    offer, word = _begin(talk)
    _deaf_at_first(talk, offer)
    turns = talk.rng.randint(1, 3)
    for turn in range(turns):
        offer_to(talk, offer, _lost(talk))
        number = talk.next_id("sink")
        talk.wait(talk.sender_response())
        talk.hard_reset("source", back=False)
        talk.wait((0.4e-3, 20e-3))
        talk.unanswered("sink", "Request", [word], message_id=number)
        if turn < turns - 1:
            talk.restart_ids()
            talk.power_back()


def rejected_r20(talk: Talk) -> None:
    """An R2.0 source rejects what it offers, again and again."""
    talk.ports = replace(talk.ports, source_revision=words.R20, sink_revision=words.R20)
    offer, word = _begin(talk)
    offer_to(talk, offer)
    for _ in range(talk.rng.randint(1, 4)):
        talk.responding()
        talk.say("sink", "Request", [word], lost=_lost(talk))
        talk.responding()
        talk.say("source", "Reject", lost=_lost(talk))
        talk.wait((50e-3, 300e-3))


def fails_at_the_second_voltage(talk: Talk) -> None:
    """5 V first, then a higher voltage is accepted and never ready; the sink resets."""
    talk.attach()
    offer = make_offer(talk.rng, talk.ports.source_revision, at_least=2)
    offer_to(talk, offer)
    settle(talk, make_demand(talk.rng, talk.ports.common, offer, position=1))
    talk.wait((30e-3, 0.4))
    talk.say("sink", "Request", [make_demand(talk.rng, talk.ports.common, offer, position=len(offer)).word])
    talk.responding()
    talk.say("source", "Accept")
    talk.wait(T_PS_TRANSITION)
    talk.hard_reset("sink")


Story = Callable[[Talk], None]
ODD_FAULTS: dict[str, tuple[Story, Expect]] = {
    story.__name__: (story, expect) for story, expect in (
        (no_request_after_a_boot, _fail("request", "sink")),
        (no_request_with_swaps, _fail("request", "sink")),
        (request_unanswered_after_wait, _fail("accept", "source")),
        (request_unanswered_soft_and_hard, _fail("accept", "source")),
        # At equal bit rates nobody can tell whose reset it is; an early one could be the device's.
        (not_ready_source_resets, Expect(("fail",), ("ready",), ("source", None))),
        # Nobody resets, so it may as well be a plug that was pulled.
        (not_ready_and_silent, Expect(("fail", "inconclusive"), ("ready",), ("source", "capture", None))),
        (not_ready_soft_reset, _fail("ready", "source")),
        (contract_then_deaf, _fail("offer_acknowledged", "sink")),
        (contract_then_no_request, _fail("request", "sink")),
        (replugged_then_deaf, NOT_A_PASS),
        (replugged_then_no_request, NOT_A_PASS),
        (wrong_goodcrc_for_the_request, _fail("request", "source")),
        (late_request_in_the_end, _fail("request", "sink")),
        (rejected_r20, _fail("accept", "source")),
        (fails_at_the_second_voltage, NOT_THE_SINK),
    )
}
