"""When a Request comes too late to count.

Why it is: a Request that arrives after the source has given up looks, from its own place, like a Request that the
source ignores. The lateness has to be known before anybody else is accused.
"""

from __future__ import annotations

from pdcheck.conversation.model import Ending, Exchange, Negotiation, Party, Step
from pdcheck.conversation.steps import received
from pdcheck.rules.model import Case
from pdcheck.standard import timers

#: A reset this soon after a Request was not caused by its missing answer: less than tSenderResponse. Our own choice.
_GIVES_UP_AT_ONCE_S = 15e-3


def lateness(one: Negotiation) -> tuple[Exchange, float] | None:
    """A try's late Request and by how long it came after the offer was acknowledged; None where it has none.

    Late is after the earliest moment at which a source may give up (tSenderResponse minimum), where the try
    was then reset.
    """
    if one.late_request is not None:
        heard = _heard_s(one)
        return one.late_request, one.late_request.start_s - (one.start_s if heard is None else heard)
    if one.request is None or one.ending not in (Ending.HARD_RESET, Ending.SOFT_RESET):
        return None
    # A source that gives up does so at about the time of the late Request; one that resets long after it has heard
    # it had not given up.
    if one.next_s - one.request.start_s > _GIVES_UP_AT_ONCE_S:
        return None
    waited = since_offer(one)
    return (one.request, waited) if waited is not None and waited > timers.SENDER_RESPONSE_R2_0.min_s else None


def since_offer(one: Negotiation) -> float | None:
    """Seconds from the acknowledgement of a try's last offer to its Request; None where either is missing."""
    heard = _heard_s(one)
    return one.request.start_s - heard if one.request is not None and heard is not None else None


def _heard_s(one: Negotiation) -> float | None:
    """When the last offer of a try was acknowledged."""
    acked = [o for o in one.offers if received(o)]
    return acked[-1].settled_s if acked else None


def late_requests(case: Case) -> list[tuple[Exchange, float]]:
    """The late Requests of the tries that stopped where the case's negotiation stopped."""
    if case.stop is None or case.stop.step not in (Step.REQUEST, Step.ACCEPT):
        return []
    late = [lateness(one) or _given_up_unseen(case, one) for one in case.stop.alike]
    return [one for one in late if one is not None]


def _given_up_unseen(case: Case, one: Negotiation) -> tuple[Exchange, float] | None:
    """A Request beyond the longest wait of any source, which nobody answered: the reset between may not be shown."""
    waited = since_offer(one)
    if one.request is None or one.answer is not None or waited is None or not case.offer_is_certain(one):
        return None
    heard, asked = one.request.start_s - waited, one.request
    talk = case.conversation
    between = range(talk.begun_by(heard), talk.begun_before(asked.start_s))
    if any(talk.exchanges[place].sender is Party.SOURCE for place in between):
        # It talks on: it has not given up.
        return None
    patient = asked.acknowledged is not False and one.next_s - asked.settled_s < timers.SENDER_RESPONSE_R3_1.max_s
    if one.ending is Ending.CAPTURE_END and patient:
        # Its answer may still come; that the Request is late is for another rule.
        return None
    return (asked, waited) if waited > timers.SENDER_RESPONSE_R3_1.max_s else None
