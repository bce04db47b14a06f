"""The rows of the steps: what breaks each rule, whom it names, and the near miss."""

from __future__ import annotations

from tests.reference import words
from tests.reference.talk import Talk
from tests.rules import step_stories as told
from tests.rules.smallest import NOBODY, Row
from tests.rules.stories import ask_cable, contract


def cable_asked(talk: Talk, answer: str) -> None:
    ask_cable(talk, answer)
    contract(talk)


ROWS: tuple[Row, ...] = (
    Row("offer-not-acknowledged", "sink", told.hears_after, 4, -4),
    Row("goodcrc-wrong-message-id", "sink", told.names_another, True, False),
    Row("request-not-acknowledged", "source", told.request_unheard, True, False),
    Row("accept-not-acknowledged", "sink", told.accept_unheard, True, False),
    Row("ps-rdy-not-acknowledged", "sink", told.ready_unheard, True, False),
    Row("no-request", "sink", told.never_asks, True, False),
    Row("no-request", "sink", told.reset_while_waiting, 25e-3, 15e-3),
    Row("given-up-early", "source", told.reset_while_waiting, 15e-3, 25e-3),
    Row("late-request", "sink", told.asks_after_the_reset, True, False),
    Row("invalid-request", "sink", told.refused_for, 2010, 2000),
    Row("valid-request-rejected", "source", told.refused_for, 2000, 2010),
    Row("request-not-answered", "source", told.never_answers, True, False),
    Row("endless-wait", NOBODY, told.waits, 5, 3),
    Row("asked-to-wait", NOBODY, told.waits, -1, 0),
    Row("no-ps-rdy", "source", told.never_ready, True, False),
    Row("capability-mismatch", NOBODY, told.wants_more, words.MISMATCH, 0),
    Row("refused-under-contract", NOBODY, told.refused_later, "Reject", "Accept"),
    Row("wrong-chunk", "source", told.part_sent, 0, 1),
    Row("answer-unasked", "source", told.accepts_unasked, True, False),
    Row("epr-mode-ignored", "sink", told.asks_in_epr, "Request", "EPR_KeepAlive"),
    Row("no-offer-after-reset", "source", told.offers_again, False, True),
    Row("data-reset-unfinished", "source", told.data_reset, 0.3, 0.24),
    Row("revision-goes-back", "source", told.speaks_r3_again, words.R3X, words.R20, words.R20),
    Row("pps-not-renewed", "sink", told.pps_reset_after, 12.5, 11.0),
    Row("vbus-not-at-contract", "source", told.vbus_goes_to, 5.0, 8.6),
    Row("retries", NOBODY, told.repeated, 1, 0),
    Row("unmarked-cable", "cable", cable_asked, "silence", "3 A"),
    Row("goodcrc-revision", "sink", told.goodcrc_of, "sink", ""),
    Row("bit-rate", "sink", told.sends_at, 340e3, 329e3),
    Row("bit-rate-wanders", "sink", told.clock_wanders, 0.05, 0.01),
    Row("crc-errors", "link", told.broken, 6, 2),
)
