"""Messages that carry the MessageID of the one before though that had been acknowledged.

Why it is: a receiver takes such a message for a repeat of what it has dealt with: it acknowledges it and does nothing.
Before anybody is accused of not answering, it has to be known that there was something to answer.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

from pdcheck.conversation.model import Conversation, Exchange, Party
from pdcheck.conversation.names import OFFERS, POWER_SWAPS
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

#: After these both ports count from 0 again, or the header's role bit names another port.
_COUNT_ANEW = ("Soft_Reset", *POWER_SWAPS, "Data_Reset")


def reused(conversation: Conversation, unread: Sequence[float]) -> tuple[Exchange, ...]:
    """The messages that a receiver had to take for repeats, in the order of time.

    :param unread: moments (seconds, in order) at which something was sent that the capture does not show; a message
        behind one of them may have been counted properly.
    """
    anew = sorted([
        *(e.start_s for e in conversation.exchanges if e.name in _COUNT_ANEW), *_hand_overs(conversation),
        *(r.start_s for r in conversation.resets),
    ])
    last: dict[tuple[Party, Sop], Exchange] = {}
    found = []
    plugged_s = float("-inf")
    for one in conversation.exchanges:
        key = (one.sender, one.sop)
        before, last[key] = last.get(key), one
        number = one.message.header.message_id
        # An offer (or talk to the cable) that begins at 0 after a pause may be another plugging-in, and what comes
        # after it may then begin at 0 as well.
        opens = one.name in OFFERS or one.sop.to_cable
        if before is not None and number == 0 and opens and one.start_s - before.end_s > timers.CC_DEBOUNCE.min_s:
            plugged_s = one.start_s
        if before is None or one.name == "Soft_Reset" or before.acknowledged_s is None:
            continue
        if before.message.header.message_id != number or _between(anew, before, one) or _between(unread, before, one):
            continue
        if number == 0 and before.start_s < plugged_s <= one.start_s:
            continue
        found.append(one)
    return tuple(found)


def _hand_overs(conversation: Conversation) -> list[float]:
    """Just before the hand-overs, at which the role bits name other ports, and the new source's first offer, at which
    both ports begin at 0."""
    found = []
    swapped = False
    for one in conversation.exchanges:
        if one.name in POWER_SWAPS:
            swapped = True
        elif swapped and one.name in OFFERS:
            swapped = False
            found.append(one.start_s - 1e-6)
        elif swapped and one.name == "PS_RDY":
            found.append(one.start_s - 1e-6)
    return found


def _between(moments: Sequence[float], before: Exchange, one: Exchange) -> bool:
    return bisect_left(moments, before.start_s) != bisect_left(moments, one.start_s)
