"""The smallest conversation that breaks a rule, and its near miss: one story a rule, with a bad and a good value."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.conversation.told import Told, told
from tests.reference import words
from tests.reference.talk import Ports, Talk
from tests.rules.stories import (
    FIVE,
    NINE,
    PPS,
    accept_after,
    acknowledged_after,
    acknowledged_as,
    acknowledged_on,
    again_after_busy,
    again_after_wait,
    alive_after,
    asked_again_with_number,
    asked_for,
    asked_with_copy,
    cable_after,
    contract_gone,
    data_swap,
    enters_after,
    entry_refused,
    epr_offer_while,
    epr_through,
    five_amps_through,
    keep_alive_left,
    newer_message,
    number_after_reset,
    number_of_soft_reset,
    numbered,
    offer_repeated_after,
    offered,
    offered_in_epr,
    power_swap,
    ready_after,
    ready_at_once,
    renewed_after,
    request_after,
    reset_after_silence,
    resets,
    retried,
    soft_reset_by_sink,
    soft_reset_by_source,
    status_after,
    swap_cut_short,
    unanswered_in_contract,
    vconn_swap,
    vendor_talk,
)

Story = Callable[[Talk, Any], None]
#: A party that no rule may name.
NOBODY = "nobody"


@dataclass(frozen=True)
class Row:
    """A rule, whom it names when the story is told with `bad`, and that it is silent with `good`."""

    rule: str
    who: str
    story: Story
    bad: Any
    good: Any
    revision: int = words.R3X

    @property
    def name(self) -> str:
        return f"{self.rule} {self.story.__name__} {self.bad}"


def tell(row: Row, value: Any) -> Told:
    """The row's story with a value; every other delay is in the middle of its window."""
    ports = Ports(source_bps=300e3, sink_bps=310e3, source_revision=row.revision, sink_revision=row.revision)
    talk = Talk(random.Random(1), ports, 0.2)
    talk.response, talk.transmit = (5e-3, 5e-3), (60e-6, 60e-6)
    talk.attach()
    row.story(talk, value)
    return told(talk, random.Random(2), tail_s=0.6)


_DRP = words.DUAL_ROLE
ROWS: tuple[Row, ...] = (
    Row("answer-late", "sink", request_after, 15.5e-3, 14.9e-3),
    Row("answer-late", "source", accept_after, 15.5e-3, 14.9e-3),
    Row("answer-late", "source", status_after, 15.5e-3, 14.9e-3),
    Row("answer-late", "cable", cable_after, 15.5e-3, 14.9e-3),
    Row("question-not-answered", "sink", swap_cut_short, 36e-3, 20e-3),
    Row("asked-again-too-soon", "sink", again_after_wait, 90e-3, 100.5e-3),
    Row("asked-again-too-soon", "source", again_after_busy, 40e-3, 51e-3),
    Row("ps-rdy-early", "source", ready_after, 20e-3, 25.1e-3),
    Row("ps-rdy-early", "source", ready_at_once, 2, 1),
    Row("ps-rdy-late", "source", ready_after, 460e-3, 449e-3),
    Row("offer-first-object", "source", offered, (words.fixed(9000, 1000), NINE), (FIVE, NINE)),
    Row("offer-order", "source", offered, (FIVE, words.fixed(12000, 1000), NINE), (FIVE, NINE)),
    Row("offer-order", "source", offered, (FIVE, NINE, words.fixed(9000, 1000)), (FIVE, NINE)),
    Row("offer-order", "source", offered, (FIVE, PPS, NINE), (FIVE, NINE, PPS)),
    Row("offer-order", "source", offered, (FIVE, PPS, words.pps(3300, 5900, 3000)),
        (FIVE, words.pps(3300, 5900, 3000), PPS)),
    Row("offer-out-of-range", "source", offered, (FIVE, words.fixed(28000, 3000)), (FIVE, words.fixed(20000, 3000))),
    Row("offer-out-of-range", "source", offered, (FIVE, words.fixed(20000, 5010)), (FIVE, words.fixed(20000, 5000))),
    Row("offer-out-of-range", "source", offered, (FIVE, words.pps(3300, 21100, 3000)),
        (FIVE, words.pps(3300, 21000, 3000))),
    Row("offer-out-of-range", "source", offered, (FIVE, words.pps(2900, 21000, 3000)),
        (FIVE, words.pps(3000, 21000, 3000))),
    Row("offer-out-of-range", "source", offered, (FIVE, words.battery(9000, 20000, 100250)),
        (FIVE, words.battery(9000, 20000, 100000))),
    Row("offer-out-of-range", "source", offered, (FIVE, words.variable(12000, 9000, 1000)),
        (FIVE, words.variable(9000, 12000, 1000))),
    Row("offer-out-of-range", "source", offered_in_epr, words.fixed(30000, 5000), words.fixed(28000, 5000)),
    Row("offer-out-of-range", "source", offered_in_epr, words.epr_avs(15000, 48000, 241),
        words.epr_avs(15000, 48000, 240)),
    Row("offer-flags", "source", offered, (FIVE, NINE | _DRP), (FIVE | _DRP, NINE)),
    Row("offer-pace", "source", offer_repeated_after, 80e-3, 100e-3),
    Row("offer-pace", "source", offer_repeated_after, 250e-3, 200e-3),
    Row("epr-offer-in-spr", "source", epr_offer_while, "unasked", "in EPR mode"),
    Row("epr-offer-in-spr", "source", epr_offer_while, "unasked", "asked for"),
    Row("request-beyond-offer", "sink", asked_for, 2010, 2000),
    Row("invalid-request-accepted", "source", asked_for, 2010, 2000),
    Row("request-beyond-offer", "sink", asked_with_copy, words.fixed(28000, 4000), words.fixed(28000, 5000)),
    Row("message-id-reused", "sink", numbered, 0, 1),
    Row("message-id-reused", "sink", asked_again_with_number, 0, 1),
    Row("message-id-not-reset", "sink", number_after_reset, 3, 0),
    Row("message-id-not-reset", "source", number_of_soft_reset, 2, 0),
    Row("too-many-retries", "source", retried, 3, 2),
    Row("too-many-retries", "source", retried, 4, 3, words.R20),
    Row("goodcrc-late", "sink", acknowledged_after, 300e-6, 195e-6),
    Row("goodcrc-wrong-sop", "sink", acknowledged_on, "SOP'", "SOP"),
    Row("power-role-wrong", "sink", acknowledged_as, "source", "sink"),
    Row("packets-too-close", "sink", acknowledged_after, 15e-6, 25e-6),
    Row("pps-renewed-late", "sink", renewed_after, 11.0, 9.9),
    Row("epr-keep-alive-late", "sink", alive_after, 0.6, 0.49),
    Row("epr-not-kept-alive", "sink", reset_after_silence, 0.8, 0.5),
    Row("epr-keep-alive-unanswered", "source", keep_alive_left, False, True),
    Row("epr-entry-unfinished", "source", enters_after, 0.52, 0.44),
    Row("epr-entry-failed", NOBODY, entry_refused, 1, 0),
    Row("soft-reset-not-answered", "sink", soft_reset_by_source, False, True),
    Row("soft-reset-not-answered", "source", soft_reset_by_sink, False, True),
    Row("reset-loop", NOBODY, resets, 3, 2),
    Row("contract-lost", NOBODY, contract_gone, False, True),
    Row("contract-regained", "source", unanswered_in_contract, False, True),
    Row("power-swap-unfinished", "source", power_swap, 0, 2),
    Row("power-swap-unfinished", "sink", power_swap, 1, 2),
    Row("vconn-swap-unfinished", "sink", vconn_swap, False, True),
    Row("data-roles-clash", "source", data_swap, False, True),
    Row("message-beyond-revision", "source", newer_message, "Get_Status", "Get_Sink_Cap", words.R20),
    Row("vendor-talk-too-early", "sink", vendor_talk, "before", "after"),
    Row("offer-over-cable", "source", five_amps_through, "3 A", "5 A"),
    Row("offer-over-cable", "source", five_amps_through, "silence", "5 A"),
    Row("epr-over-cable", "source", epr_through, "5 A", "EPR"),
)
