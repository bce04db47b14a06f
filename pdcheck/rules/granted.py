"""What VBUS shows of an agreement that the capture does not.

Why it is: where a move is missing and nobody resets, both sides would have broken the standard. A VBUS that has gone
just where the move would have sent it says that it was made, and that the capture has a hole.
"""

from __future__ import annotations

from dataclasses import replace

from pdcheck.conversation.follow import contract_of
from pdcheck.conversation.model import Contract, Ending, Negotiation, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.held import bounds_mv
from pdcheck.rules.model import Case, Claim, Effect, Who
from pdcheck.standard.offers import FIRST_OBJECT_MV

#: VBUS is looked at for so long (seconds). Our own choice.
_LOOK_S = 20e-3


def came_all_the_same(case: Case, one: Negotiation) -> float | None:
    """What VBUS reads (volts) at the capture's end, where nobody resets and it has gone to the level that was asked
    for (or, without a request, to one above 5 V that was offered), or was there under a contract before; else None."""
    if one.ending is not Ending.CAPTURE_END or case.vbus is None:
        return None
    last = one.answer or one.request or (one.offers[-1] if one.offers else one.offer)
    if last is None:
        return None
    before = case.vbus.during(max(0.0, last.start_s - _LOOK_S), last.start_s)
    seen = case.vbus.during(max(0.0, one.next_s - _LOOK_S), one.next_s)
    if before is None or seen is None:
        return None
    for wanted in _wanted(one):
        bounds = bounds_mv(wanted)
        if bounds is None or not bounds[0] <= seen.typical * 1e3 <= bounds[1]:
            continue
        if before.typical * 1e3 < bounds[0] or (one.under_contract and one.request is not None):
            return seen.typical
    return None


def unseen(since_s: float, step: Step, text: str) -> Claim:
    """What is said of such a move: that it may have been made where the capture has a hole.

    :param since_s: from when on it was owed, in seconds.
    """
    return Claim(Who.CAPTURE, since_s, text, stops_at=step, effect=Effect.WITHHOLDS, next=(todo.CAPTURE_AGAIN,))


def _wanted(one: Negotiation) -> list[Contract]:
    """The contracts that the try may have come to: that of its request, else those of all fixed objects above 5 V."""
    if one.request is not None:
        wanted = contract_of(replace(one, ready=one.answer or one.request))
        return [wanted] if wanted is not None else []
    since = one.offers[-1].settled_s if one.offers else one.start_s
    found = []
    for place, thing in enumerate(one.offered, 1):
        level = thing.integer("voltage_mv")
        if thing.kind == "fixed" and level is not None and level > FIRST_OBJECT_MV:
            found.append(Contract("fixed", place, level, None, None, None, None, since, (), None, None))
    return found
