"""Stories of the steps of a negotiation: a try that stops at each of them, and one that just does not.

A story takes the talk and the value that makes it good or bad; see `stories.py` for the numbers.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tests.reference import words
from tests.reference.talk import Talk
from tests.rules.stories import FIVE, NINE, PPS, contract, epr_contract, granted, keep_alive, offer

ONE_AMP = words.request_fixed(1, 1000, 1000)


def ask(talk: Talk, word: int = ONE_AMP, **how: Any) -> None:
    talk.responding()
    talk.say("sink", "Request", [word], **how)


def hears_after(talk: Talk, offers: int) -> None:
    """So many offers find nobody; the next one is heard, but for the case that there is none."""
    for _ in range(abs(offers)):
        talk.unanswered("source", "Source_Capabilities", (FIVE, NINE))
        talk.now += 150e-3
    if offers < 0:
        contract(talk)


def names_another(talk: Talk, wrong: bool) -> None:
    for _ in range(3):
        if not wrong:
            contract(talk)
            return
        talk.unanswered("source", "Source_Capabilities", (FIVE, NINE), wrong_id=True)
        talk.now += 150e-3


def request_unheard(talk: Talk, unheard: bool) -> None:
    for _ in range(2):
        offer(talk)
        talk.responding()
        if not unheard:
            ask(talk)
            granted(talk)
            return
        talk.unanswered("sink", "Request", [ONE_AMP])
        talk.now += 2e-3
        talk.hard_reset("sink")


def accept_unheard(talk: Talk, unheard: bool) -> None:
    for _ in range(2):
        offer(talk)
        ask(talk)
        talk.responding()
        if not unheard:
            granted(talk)
            return
        talk.unanswered("source", "Accept")
        talk.now += 2e-3
        talk.hard_reset("source")


def ready_unheard(talk: Talk, unheard: bool) -> None:
    for _ in range(2):
        offer(talk)
        ask(talk)
        talk.responding()
        talk.say("source", "Accept")
        talk.now += 100e-3
        if not unheard:
            talk.say("source", "PS_RDY")
            return
        talk.unanswered("source", "PS_RDY")
        talk.now += 2e-3
        talk.hard_reset("source")


def never_asks(talk: Talk, never: bool) -> None:
    for _ in range(2):
        offer(talk)
        if not never:
            ask(talk)
            granted(talk)
            return
        talk.now += 28e-3
        talk.hard_reset("source")


def reset_while_waiting(talk: Talk, after_s: float) -> None:
    """The charger resets this long after its offer was acknowledged, twice."""
    for _ in range(2):
        offer(talk)
        talk.now += after_s
        talk.hard_reset("source")


def asks_after_the_reset(talk: Talk, late: bool) -> None:
    for _ in range(2):
        offer(talk)
        if not late:
            ask(talk)
            granted(talk)
            return
        talk.now += 28e-3
        talk.hard_reset("source", back=False)
        talk.now += 10e-3
        talk.unanswered("sink", "Request", [ONE_AMP])
        talk.power_back()


def refused_for(talk: Talk, milliamps: int) -> None:
    """Reject of a Request for so much of the 2 A that object 2 offers."""
    offer(talk)
    ask(talk, words.request_fixed(2, milliamps, milliamps))
    talk.responding()
    talk.say("source", "Reject")
    talk.now += 0.2


def never_answers(talk: Talk, never: bool) -> None:
    for _ in range(2):
        offer(talk)
        ask(talk)
        if not never:
            granted(talk)
            return
        talk.now += 28e-3
        talk.hard_reset("sink")


def waits(talk: Talk, number: int) -> None:
    """So many Waits; after fewer than none the Request is granted."""
    offer(talk)
    for _ in range(abs(number)):
        ask(talk)
        talk.responding()
        talk.say("source", "Wait")
        talk.now += 0.12
    if number <= 0:
        ask(talk)
        granted(talk)


def never_ready(talk: Talk, never: bool) -> None:
    for _ in range(2):
        offer(talk)
        ask(talk)
        talk.responding()
        talk.say("source", "Accept")
        talk.now += 0.5 if never else 0.44
        if not never:
            talk.say("source", "PS_RDY")
            return
        talk.hard_reset("sink")


def wants_more(talk: Talk, flag: int) -> None:
    offer(talk)
    ask(talk, words.request_fixed(1, 1000, 1000, flags=flag))
    granted(talk)


def refused_later(talk: Talk, answer: str) -> None:
    contract(talk)
    ask(talk, words.request_fixed(2, 1000, 1000))
    if answer == "Accept":
        granted(talk, volts=9.0)
    else:
        talk.responding()
        talk.say("source", answer)


def part_sent(talk: Talk, part: int) -> None:
    """Part 1 of a long message is asked for, and this one is sent."""
    contract(talk)
    data = bytes(40)
    talk.say("sink", "Get_Source_Cap_Extended")
    talk.responding()
    kind = "Source_Capabilities_Extended"
    talk.say("source", kind, words.extended_words(data[:26], size=len(data)))
    talk.responding()
    talk.say("sink", kind, words.extended_words(b"", chunk=1, asking=True))
    talk.responding()
    talk.say("source", kind, words.extended_words(data[26:] if part else data[:26], size=len(data), chunk=part))


def accepts_unasked(talk: Talk, unasked: bool) -> None:
    contract(talk)
    if not unasked:
        talk.say("sink", "DR_Swap")
        talk.responding()
    talk.say("source", "Accept")
    talk.swap_data_roles() if not unasked else None
    talk.now += 2e-3
    talk.restart_ids()
    talk.say("sink", "Soft_Reset")
    talk.responding()
    talk.say("source", "Accept")
    talk.now += 20e-3
    contract(talk)


def asks_in_epr(talk: Talk, kind: str) -> None:
    epr_contract(talk)
    talk.now += 0.2
    if kind == "Request":
        ask(talk)
        talk.now += 2e-3
        talk.hard_reset("source")
        contract(talk)
    else:
        keep_alive(talk)


def offers_again(talk: Talk, again: bool) -> None:
    """A contract, a reset, and the device resets twice more because nothing is offered; or it is."""
    contract(talk)
    talk.hard_reset("sink")
    for _ in range(2):
        if again:
            contract(talk)
            return
        talk.now += 0.5
        talk.hard_reset("sink")
    talk.now += 1.0


def data_reset(talk: Talk, after_s: float) -> None:
    contract(talk)
    talk.say("source", "Data_Reset")
    talk.responding()
    talk.say("sink", "Accept")
    talk.now += after_s
    talk.say("source", "Data_Reset_Complete")


def speaks_r3_again(talk: Talk, revision: int) -> None:
    contract(talk)
    for _ in range(3):
        packet = talk.send("source", "Get_Sink_Cap", revision=revision)
        talk.good_crc("sink", packet)
        talk.count_on("source")
        talk.responding()
        talk.say("sink", "Sink_Capabilities", [FIVE])
        talk.now += 20e-3


def pps_reset_after(talk: Talk, after_s: float) -> None:
    """The charger resets this long after the last Request of a programmable contract."""
    offer(talk, (FIVE, NINE, PPS))
    ask(talk, words.request_pps(3, 5000, 1000))
    granted(talk, ready_s=20e-3)
    talk.now += after_s
    talk.hard_reset("source")
    contract(talk)


def vbus_goes_to(talk: Talk, volts: float) -> None:
    offer(talk)
    ask(talk, words.request_fixed(2, 1000, 1000))
    granted(talk, volts=volts)
    talk.now += 0.4


def repeated(talk: Talk, tries_lost: int) -> None:
    offer(talk, **({"lost": "no ack", "tries_lost": tries_lost} if tries_lost else {}))
    ask(talk)
    granted(talk)


def sends_at(talk: Talk, bps: float) -> None:
    talk.ports = replace(talk.ports, sink_bps=bps)
    contract(talk)


def clock_wanders(talk: Talk, share: float) -> None:
    """The device's bit rate goes up by this share after its first contract."""
    contract(talk)
    talk.ports = replace(talk.ports, sink_bps=talk.ports.sink_bps * (1 + share))
    contract(talk)


def goodcrc_of(talk: Talk, port: str) -> None:
    """Whose GoodCRCs name R1.0."""
    talk.ports = replace(talk.ports, sloppy_goodcrc=port)
    contract(talk)


def broken(talk: Talk, number: int) -> None:
    """So many packets arrive broken before a retry comes through."""
    for _ in range(number // 2):
        offer(talk, lost="message", tries_lost=2)
        talk.now += 50e-3
        talk.hard_reset("source")
    contract(talk)
