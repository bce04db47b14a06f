"""Waits: who had to answer within which time, and how long it took.

Why it is: "too late" is only believed when the span stands beside its limit. Nothing is judged here that the rules do
not judge; a wait that was long and ended well is said to be just that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from pdcheck.conversation.model import Conversation, Exchange, Negotiation, Party, Silence
from pdcheck.conversation.steps import received
from pdcheck.report.page.words import ENDED_BY
from pdcheck.standard import timers
from pdcheck.standard.limit import Limit


class WaitState(StrEnum):
    """How a wait compares with its limit."""

    IN_TIME = "in time"
    LATE = "longer than the limit, but it came"
    MISSING = "longer than the limit: nothing came"
    OPEN = "cut off before the limit"


@dataclass(frozen=True)
class Wait:
    """A wait from ``start_s`` to ``end_s`` (seconds). ``limit_s``: the longest that the limit allows."""

    start_s: float
    end_s: float
    what: str
    owed_by: Party
    ended_by: str
    limit: Limit
    limit_s: float
    state: WaitState

    @property
    def length_s(self) -> float:
        return self.end_s - self.start_s

    @property
    def allowed(self) -> str:
        """The limit in words; of a timer that runs from so much to so much, the longest that it may."""
        return f"at most {self.limit.max:g} {self.limit.unit}"


def waits(talk: Conversation) -> tuple[Wait, ...]:
    """Every wait of a conversation that a timer of the standard bounds, in time order."""
    found = [wait for one in talk.negotiations for wait in _of_try(one)]
    for contract in talk.contracts:
        if contract.kind == "spr_pps":
            moments = list(contract.renewed_s)
            found += [
                _wait(a, b, "the programmable contract is renewed", Party.SINK, "Request", timers.PPS_REQUEST, True)
                for a, b in pairwise(moments)
            ]
            if contract.ended_by is not None and contract.ended_s is not None and moments:
                found.append(_wait(
                    moments[-1], contract.ended_s, "the programmable contract is renewed", Party.SINK,
                    "a Hard Reset", timers.PPS_REQUEST, False,
                ))
    return tuple(sorted(found, key=lambda wait: wait.start_s))


def _of_try(one: Negotiation) -> Iterator[Wait]:
    offers = [o for o in one.offers if received(o)]
    last = offers[-1] if offers else None
    answer_in = timers.RECEIVER_RESPONSE
    if last is None and one.offers:
        yield from _unheard(one.offers[-1], one)
    if last is not None:
        yield from _until(last.settled_s, one.request, one, "the device asks", Party.SINK, answer_in)
    if one.request is not None and (received(one.request) or one.answer is not None):
        yield from _until(one.request.settled_s, one.answer, one, "the charger answers", Party.SOURCE, answer_in)
    if one.answer is not None and one.accepted:
        long = one.offer is not None and one.offer.name.startswith("EPR")
        limit = timers.PS_TRANSITION_EPR if long else timers.PS_TRANSITION_SPR
        yield from _until(one.answer.settled_s, one.ready, one, "the charger says ready", Party.SOURCE, limit)


def _until(
    start_s: float, came: Exchange | None, one: Negotiation, what: str, owed_by: Party, limit: Limit
) -> Iterator[Wait]:
    if came is not None and came.start_s > start_s:
        yield _wait(start_s, came.start_s, what, owed_by, came.name, limit, True)
    elif came is None and one.next_s > start_s:
        yield _wait(start_s, one.next_s, what, owed_by, ENDED_BY[one.ending], limit, False)


def _unheard(offer: Exchange, one: Negotiation) -> Iterator[Wait]:
    """The wait for an acknowledgement that did not come."""
    if Silence.NOTHING in offer.silences and one.next_s > offer.end_s:
        yield _wait(
            offer.end_s, one.next_s, "the device acknowledges", Party.SINK, ENDED_BY[one.ending], timers.RECEIVE, False,
        )


def _wait(
    start_s: float, end_s: float, what: str, owed_by: Party, ended_by: str, limit: Limit, came: bool,
) -> Wait:
    over = end_s - start_s > limit.max_s
    if came:
        state = WaitState.LATE if over else WaitState.IN_TIME
    elif over:
        state = WaitState.MISSING
    else:
        state = WaitState.OPEN
    return Wait(start_s, end_s, what, owed_by, ended_by, limit, limit.max_s, state)
