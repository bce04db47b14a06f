"""Faults of answers: too late, never, the wrong one, and captures in which nobody can tell.

Why it is: an answer that is missing and an answer that came late look alike for 30 ms, and who resets is seldom who
is to blame. Who owed what: the receiver of a question its answer within tReceiverResponse (15 ms, Linux 6.1), the
sender patience of tSenderResponse (24 to 30 ms, 27 to 33 ms from R3.1 on), the sink 100 ms after a Wait.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tests.reference import words
from tests.reference.faulty_talks import Expect
from tests.reference.rows import UNSURE, Book, failed, row, warned
from tests.reference.talk import Window
from tests.reference.world import OTHER, World

FAULT_ANSWER: Book = {}
LATE: Window = (17e-3, 23e-3)  # after tReceiverResponse, within any tSenderResponse
VERY_LATE: Window = (38e-3, 60e-3)  # after every tSenderResponse


def _slow(world: World, who: str, window: Window) -> None:
    """A conversation in which one port is slow, and everybody is patient."""
    slow = {"sink": who == "sink", "source": who == "source"}
    world.attach()
    for turn in range(2):
        world.offers()
        demand = world.wish()
        world.responding(window if slow["sink"] else None)
        world.requests(demand)
        world.responding(window if slow["source"] else None)
        world.say("source", "Accept")
        world.deliver(demand)
        if not turn:
            world.wait((30e-3, 0.3))


@row(FAULT_ANSWER, "answer", warned("sink"))
def sink_answers_late(world: World) -> None:
    """Requests after 17 to 23 ms; the source waits."""
    _slow(world, "sink", LATE)


@row(FAULT_ANSWER, "answer", warned("source"))
def source_answers_late(world: World) -> None:
    """Accepts after 17 to 23 ms; the sink waits."""
    _slow(world, "source", LATE)


@row(FAULT_ANSWER, "answer", warned("sink"))
def sink_answers_very_late(world: World) -> None:
    """Requests after 38 to 60 ms; the source is patient."""
    _slow(world, "sink", VERY_LATE)


@row(FAULT_ANSWER, "answer", warned("source"))
def source_answers_very_late(world: World) -> None:
    """Accepts after 38 to 60 ms; the sink is patient."""
    _slow(world, "source", VERY_LATE)


@row(FAULT_ANSWER, "answer", failed("accept", "source"))
def accept_after_the_reset(world: World) -> None:
    """The Accept comes after the sink has given up and reset, round after round."""
    world.attach()
    turns = world.rng.randint(1, 3)
    for turn in range(turns):
        world.offers()
        world.responding()
        world.requests(world.wish())
        number = world.next_id("source")
        asked = world.asked_s
        world.wait(world.sender_response())
        world.hard_reset("sink", back=False)
        world.now = max(world.now + 0.3e-3, asked + world.rng.uniform(37e-3, 45e-3))
        world.send("source", "Accept", message_id=number)
        if turn < turns - 1:
            world.power_back()


@row(FAULT_ANSWER, "answer", failed("request", "sink"))
def asks_something_else_first(world: World) -> None:
    """After the offer the sink asks for the offer again and again, gets it each time, and never requests."""
    world.attach()
    world.offers()
    for _ in range(world.rng.randint(6, 12)):
        world.responding()
        world.say("sink", "Get_Source_Cap")
        world.responding()
        world.offers_again()
    world.wait(world.sender_response())
    world.hard_reset("source", back=False)


@row(FAULT_ANSWER, "answer", Expect(("pass",), (None,), (None,), (), ("sink",)))
def asks_again_too_soon(world: World) -> None:
    """Wait, and the next Request after 15 to 30 ms instead of 100 ms; in the end it is accepted."""
    world.attach()
    world.offers(at_least=2)
    for _ in range(world.rng.randint(1, 3)):
        world.responding()
        world.requests(world.wish())
        world.responding()
        world.say("source", "Wait")
        world.wait((15e-3, 30e-3))
    world.settle(world.wish())


@row(FAULT_ANSWER, "answer", Expect(("fail", "inconclusive"), ("accept",), ("source", None)))
def waits_for_ever(world: World) -> None:
    """A valid Request, Wait each time, for two seconds and more; the sink keeps its 100 ms; no contract.

    Each single Wait is allowed, so not to name the source is honest too.
    """
    world.attach()
    world.offers()
    for _ in range(world.rng.randint(16, 25)):
        world.responding()
        world.requests(world.wish())
        world.responding()
        world.say("source", "Wait")
        world.wait((105e-3, 150e-3))


def _silent(world: World, by: str, question: str) -> None:
    """A question under contract that is acknowledged and not answered; the asker goes on."""
    world.begin()
    for _ in range(2):
        world.wait((30e-3, 0.3))
        world.say(by, question)
        world.wait((34e-3, 60e-3))
    world.wait((30e-3, 0.3))
    world.settle(world.wish())


@row(FAULT_ANSWER, "answer", warned("sink"))
def sink_does_not_answer_dr_swap(world: World) -> None:
    """DR_Swap by the source: neither Accept nor Reject nor Wait nor refusal."""
    _silent(world, "source", "DR_Swap")


@row(FAULT_ANSWER, "answer", warned("source"))
def source_does_not_answer_vconn_swap(world: World) -> None:
    """VCONN_Swap by the sink: no answer of any kind."""
    _silent(world, "sink", "VCONN_Swap")


@row(FAULT_ANSWER, "answer", warned("sink"))
def sink_does_not_say_what_it_takes(world: World) -> None:
    """Get_Sink_Cap, which a sink must answer, and no answer."""
    _silent(world, "source", "Get_Sink_Cap")


@row(FAULT_ANSWER, "answer", warned("source"))
def source_does_not_offer_when_asked(world: World) -> None:
    """Get_Source_Cap, which a source must answer, and no answer."""
    _silent(world, "sink", "Get_Source_Cap")


@row(FAULT_ANSWER, "revision", warned("sink"), only="R3")
def sink_does_not_refuse(world: World) -> None:
    """R3.x: a message that it does not know must be answered with Not_Supported."""
    _silent(world, "source", "Get_Sink_Cap_Extended")


@row(FAULT_ANSWER, "revision", warned("sink"), only="R2")
def sink_asks_in_r3x(world: World) -> None:
    """A message of R3.x in a conversation settled on R2.0; it is ignored."""
    _silent(world, "sink", world.rng.choice(("Get_Status", "Get_PPS_Status", "Get_Source_Cap_Extended")))


@row(FAULT_ANSWER, "revision", warned("sink"), only="R2")
def sink_says_not_supported_in_r20(world: World) -> None:
    """R2.0 refuses with Reject; Not_Supported does not exist there."""
    world.begin()
    for _ in range(2):
        world.wait((30e-3, 0.3))
        world.ask("source", world.rng.choice(("DR_Swap", "VCONN_Swap")), "Not_Supported")


@row(FAULT_ANSWER, "revision", warned("source"), only="mixed")
def source_goes_back_to_r3x(world: World) -> None:
    """The sink has settled on R2.0; the source's later messages say R3.x again."""
    world.ports = replace(world.ports, source_revision=words.R3X, sink_revision=words.R20, sloppy_goodcrc="")
    world.begin()
    for _ in range(3):
        world.wait((30e-3, 0.3))
        world.say("source", "Get_Sink_Cap", revision_lifted(world))
        world.responding()
        world.say("sink", "Sink_Capabilities", [words.fixed(5000, 900)])


def revision_lifted(world: World) -> list[int]:
    """No objects; from now on the source's header says R3.x."""
    normal = world.revision

    def lifted(sender: str) -> int:
        return words.R3X if sender == "source" else normal(sender)

    world.revision = lifted  # type: ignore[method-assign]
    return []


# --- where the capture cannot tell


@row(FAULT_ANSWER, "unsure", UNSURE)
def ends_after_the_request(world: World) -> None:
    """The capture ends some ms after the Request was acknowledged."""
    world.attach()
    world.offers()
    world.responding()
    world.requests(world.wish())
    _stop(world, (0.1e-3, 10e-3))


@row(FAULT_ANSWER, "unsure", UNSURE)
def ends_after_the_accept(world: World) -> None:
    """The capture ends some ms after the Accept was acknowledged."""
    world.attach()
    world.offers()
    world.responding()
    world.requests(world.wish())
    world.responding()
    world.say("source", "Accept")
    _stop(world, (0.1e-3, 150e-3))


@row(FAULT_ANSWER, "unsure", UNSURE)
def ends_after_one_offer(world: World) -> None:
    """One offer with its retries that nobody acknowledged, and the capture ends: the device may be starting."""
    world.attach()
    world.unanswered("source", "Source_Capabilities", [words.fixed(5000, 3000)])
    _stop(world, (1e-3, 50e-3))


@row(FAULT_ANSWER, "unsure", Expect(("inconclusive", "fail"), (), (None, "capture", "link")))
def everything_is_broken(world: World) -> None:
    """Neither port's packets are whole: wire or probe, nobody can say."""
    world.attach()
    for _ in range(world.rng.randint(4, 7)):
        for _ in range(1 + world.retries):
            packet = world.send("source", "Source_Capabilities", [words.fixed(5000, 3000)], flaws=world.corruption(1))
            if world.rng.random() < 0.5:
                world.good_crc("sink", packet, flaws=world.corruption(0))
            world.now = max(world.now + 30e-6, packet.end_s + 1.15e-3)
        world.wait((0.1, 0.2))


def _stop(world: World, after: Window) -> None:
    world.wait(after)
    world.cut_end_s = world.now


# --- Soft_Reset


def _soft_unanswered(world: World, by: str, ending: Callable[[World], None]) -> None:
    world.begin()
    world.wait((30e-3, 0.3))
    world.restart_sop_ids()
    world.say(by, "Soft_Reset")
    world.wait(world.sender_response())
    world.hard_reset(by)
    ending(world)


def _all_well(world: World) -> None:
    world.offers()
    world.settle(world.wish())


@row(FAULT_ANSWER, "soft reset", warned("sink"), apart=True)
def sink_ignores_soft_reset(world: World) -> None:
    """A Soft_Reset by the source is acknowledged, not accepted; Hard Reset; all anew and well."""
    _soft_unanswered(world, "source", _all_well)


@row(FAULT_ANSWER, "soft reset", warned("source"), apart=True)
def source_ignores_soft_reset(world: World) -> None:
    """A Soft_Reset by the sink is acknowledged, not accepted; Hard Reset; all anew and well."""
    _soft_unanswered(world, "sink", _all_well)


@row(FAULT_ANSWER, "soft reset", failed(("offer", "offer_acknowledged", "request", "accept", "attach", None), "sink"),
     apart=True)
def sink_ignores_soft_reset_at_the_start(world: World) -> None:
    """The source begins with a Soft_Reset, which the sink acknowledges and never accepts; resets for ever."""
    world.attach(soon=True)
    for turn in range(3):
        world.restart_sop_ids()
        world.say("source", "Soft_Reset")
        world.wait(world.sender_response())
        world.hard_reset("source", back=turn < 2)


@row(FAULT_ANSWER, "answer", failed("accept", "source"))
def accept_is_another_message(world: World) -> None:
    """Instead of an Accept the source asks something; the sink mends that with a Soft_Reset, in vain, and resets."""
    world.attach()
    for _ in range(world.rng.randint(2, 4)):
        world.offers()
        world.responding()
        world.requests(world.wish())
        world.responding()
        world.say("source", "Get_Sink_Cap")
        world.responding()
        world.reset_soft("sink")
        world.wait((1e-3, 100e-3))
    world.offers()
    world.responding()
    world.requests(world.wish())
    world.wait(world.sender_response())
    world.hard_reset("sink", back=False)


@row(FAULT_ANSWER, "vendor", Expect(("pass",), (None,), (None,), (), ("source", "sink")))
def vendor_asked_again_at_once(world: World) -> None:
    """BUSY, and the same question 5 to 20 ms later instead of tVDMBusy's 50 ms."""
    world.begin()
    world.wait((30e-3, 0.3))
    dfp, ufp = world.dfp, OTHER[world.dfp]
    for _ in range(2):
        world.say(dfp, "Vendor_Defined", world.vendor(0xFF00, 1, 0))
        world.responding()
        world.say(ufp, "Vendor_Defined", world.vendor(0xFF00, 1, 3))
        world.wait((5e-3, 20e-3))
    world.say(dfp, "Vendor_Defined", world.vendor(0xFF00, 1, 0))
    world.responding()
    world.say(ufp, "Vendor_Defined", world.vendor(0xFF00, 1, 1, 0x6C00FFF1, 0, 0x00010000))


@row(FAULT_ANSWER, "vendor", warned("cable"))
def cable_answers_late(world: World) -> None:
    """The marked cable answers after 18 to 23 ms (tVDMReceiverResponse: 15 ms)."""
    world.begin()
    world.wait((30e-3, 0.3))
    for _ in range(2):
        world.say("source", "Vendor_Defined", world.vendor(0xFF00, 1, 0), sop="SOP'")
        world.responding(LATE)
        packet = world.send("cable", "Vendor_Defined", words.marked_cable(world.version, amps=3), sop="SOP'")
        world.good_crc("source", packet)
        world.count_on("cable", "SOP'")
        world.wait((20e-3, 60e-3))
