"""How far negotiation came, and where it stopped.

Why it is: the ladder of steps is the first thing a technician reads. It is found here, from the conversation
alone; whose fault the stop was is for the rules.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pdcheck.conversation.model import Conversation, Ending, Exchange, Negotiation, Silence, Step

#: So many offers that nobody answers are a stop, though only the capture's end ends them. Our own choice.
UNHEARD_OFFERS = 3


@dataclass(frozen=True)
class Reached:
    """A step reached and when (seconds); ``t_s`` None where it was reached before the capture shows it."""

    step: Step
    t_s: float | None


@dataclass(frozen=True)
class Stop:
    """Where negotiation stopped.

    ``step`` is the first one not reached. ``negotiation`` is the try that came furthest (the last of those);
    ``alike`` are all tries that stopped there. ``waited_s``: from the moment at which the missing thing became
    due to what ended the try.
    """

    step: Step
    negotiation: Negotiation
    alike: tuple[Negotiation, ...]
    waited_s: float

    @property
    def open_end(self) -> bool:
        """True where nothing but the end of the capture ended the try."""
        return self.negotiation.ending is Ending.CAPTURE_END


def received(exchange: Exchange) -> bool:
    """True where the other side is known to have got the message, or where this capture shows none of its
    acknowledgements."""
    return exchange.acknowledged is True or Silence.NOT_SHOWN in exchange.silences


def ladder(one: Negotiation, contract: bool) -> list[Reached]:
    """The steps that one try reached, in order, ATTACH to READY.

    :param contract: True where the try ended in a contract.
    """
    reached: list[Reached] = []
    first = one.offers[0] if one.offers else one.offer
    some = first or one.request
    if some is None:
        return reached
    reached.append(Reached(Step.ATTACH, some.start_s))
    if first is None:
        return reached
    reached.append(Reached(Step.OFFER, first.start_s))
    acked = next((o for o in (*one.offers, one.offer) if o is not None and received(o)), None)
    if acked is None and one.request is None:
        return reached
    t_s = acked.settled_s if acked is not None else None
    reached.append(Reached(Step.OFFER_ACKNOWLEDGED, t_s))
    proven = one.answer is not None or one.ready is not None
    if one.request is None or not (received(one.request) or proven):
        return reached
    reached.append(Reached(Step.REQUEST, one.request.start_s))
    if one.ready is None and (one.answer is None or not one.accepted or not received(one.answer)):
        return reached
    if _spoken_to_nobody(one) and not contract:
        return reached
    reached.append(Reached(Step.ACCEPT, one.answer.start_s if one.answer is not None else None))
    if one.ready is not None and contract:
        reached.append(Reached(Step.READY, one.ready.start_s))
    return reached


def _spoken_to_nobody(one: Negotiation) -> bool:
    """True where neither the Accept nor the PS_RDY that followed it was acknowledged."""
    return (
        one.answer is not None and one.accepted and one.answer.acknowledged is False
        and one.ready is not None and one.ready.acknowledged is False
    )


def steps_of(conversation: Conversation) -> list[Reached]:
    """The steps that the conversation reached: of the contract that stands, else of the try where it stopped."""
    if conversation.standing is not None or (conversation.contracts and find_stop(conversation) is None):
        last = conversation.contracts[-1]
        for one in conversation.negotiations:
            if one.ready is not None and one.ready.start_s == last.since_s:
                return ladder(one, True)
    stop = find_stop(conversation)
    if stop is not None:
        return ladder(stop.negotiation, False)
    # A packet needs both ends joined, even one that broke on the way.
    first = next((t for t in conversation.transmissions if t.packet.sop is not None), None)
    return [Reached(Step.ATTACH, first.packet.start_s)] if first is not None else []


def find_stop(conversation: Conversation) -> Stop | None:
    """Where negotiation stopped; None where it did not, or where there was none to stop.

    With a contract standing, only a last try counts that the source accepted and never finished, or in which its new
    offers went unheard (the device was unplugged or fell silent). With a contract lost, the tries after the loss
    count.
    """
    if conversation.standing is not None:
        last = conversation.negotiations[-1] if conversation.negotiations else None
        if last is None or last.ending is not Ending.CAPTURE_END or not (last.accepted or _unheard(last)):
            return None
        tries = [last]
    else:
        since = conversation.contracts[-1].ended_s if conversation.contracts else None
        tries = [n for n in conversation.negotiations if since is None or n.start_s >= since]
    # What the capture does not show from its offer on cannot be judged; but where it went through, what came before it
    # is no stop.
    through = gone_through_unseen(conversation)
    tries = [n for n in tries if n.offer is not None and (through is None or n.start_s > through.start_s)]
    if not tries:
        return None
    depth: Callable[[Negotiation], int] = lambda n: len(ladder(n, False))  # noqa: E731
    furthest = max(depth(n) for n in tries)
    alike = tuple(n for n in tries if depth(n) == furthest)
    decisive = alike[-1]
    decided = [n for n in alike if n.ending is not Ending.CAPTURE_END]
    if decided:
        decisive = decided[-1]
    step = list(Step)[furthest]
    return Stop(step, decisive, alike, decisive.next_s - due_from(decisive, step))


def gone_through_unseen(conversation: Conversation) -> Negotiation | None:
    """The last try that came to PS_RDY though the capture does not show its offer."""
    return next(
        (n for n in reversed(conversation.negotiations) if n.offer is None and n.ready and received(n.ready)), None
    )


def _unheard(one: Negotiation) -> bool:
    """True where several offers went out and nothing at all came back."""
    silences = [s for o in one.offers for s in o.silences]
    return (
        one.request is None and not any(received(o) for o in one.offers)
        and silences.count(Silence.NOTHING) >= UNHEARD_OFFERS
    )


def due_from(one: Negotiation, missing: Step) -> float:
    """The moment (seconds) from which the missing step was owed."""
    if missing is Step.OFFER_ACKNOWLEDGED and one.offers:
        return one.offers[-1].end_s
    if missing is Step.REQUEST:
        if one.request is not None:
            return one.request.end_s
        acked = [o for o in one.offers if received(o)] or list(one.offers)
        return acked[-1].settled_s if acked else one.start_s
    if missing is Step.ACCEPT:
        if one.answer is not None and one.accepted:
            return one.answer.end_s
        return one.request.settled_s if one.request is not None else one.start_s
    if missing is Step.READY:
        if one.ready is not None:
            return one.ready.end_s
        return one.answer.settled_s if one.answer is not None else one.start_s
    return one.start_s

