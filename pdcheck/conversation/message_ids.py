"""What the MessageIDs of a port tell: new messages with the number of the one before, and numbers that are missing.

Why it is: a receiver takes a message with the number of the one before for a repeat of what it has dealt with: it
acknowledges it and does nothing. Before anybody is accused of not answering, it has to be known that there was
something to answer. And a number that is left out was sent: the capture does not show everything.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from pdcheck.conversation.model import Conversation, Exchange, Party
from pdcheck.conversation.names import OFFERS, POWER_SWAPS
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

#: After these both ports count from 0 again, or the header's role bit names another port.
_COUNT_ANEW = ("Soft_Reset", *POWER_SWAPS, "Data_Reset")
#: MessageIDs are counted in so many steps, and then from 0 again (USB PD, section 6.2.1.1, message header).
_NUMBERS = 8
#: A port that leaves out numbers so often, and once in so many messages, counts in a way of its own. Our own choice.
_HABIT, _HABITUALLY = 2, 4


class Pair(NamedTuple):
    """A message and the one that its sender sent before it, to the same receiver; between them nobody counted anew.

    ``earlier``: the one before these, whatever came between. ``plugged_anew``: another plug may have come between.
    """

    before: Exchange
    one: Exchange
    earlier: Exchange | None
    plugged_anew: bool

    @property
    def leaves_out(self) -> bool:
        """Whether numbers between the two are missing."""
        number = _number(self.one)
        # At 0 it may have been reset, or plugged in again, unseen.
        if number == 0 or (number - _number(self.before)) % _NUMBERS in (0, 1):
            return False
        # A port that takes no notice of a reset goes on as it counted before.
        return self.earlier is None or (number - _number(self.earlier)) % _NUMBERS not in (1, 2)


def reused(pairs: Iterable[Pair]) -> tuple[Exchange, ...]:
    """The messages that a receiver had to take for repeats, in the order of time."""
    found = []
    for pair in pairs:
        before, one = pair.before, pair.one
        if before.acknowledged_s is None or _number(before) != _number(one):
            continue
        if not (_number(one) == 0 and pair.plugged_anew):
            found.append(one)
    return tuple(found)


def left_out(pairs: Iterable[Pair]) -> tuple[tuple[float, float], ...]:
    """When (from, to, in seconds, in order, none overlapping) something was sent of which the capture shows no trace.

    A port's MessageIDs leave a number out there. Not so of a port that does it all the time: it counts wrongly.
    """
    sent, found = Counter[tuple[Party, Sop]](), []
    for pair in pairs:
        key = (pair.one.sender, pair.one.sop)
        sent[key] += 1
        if pair.leaves_out:
            found.append((pair.before.settled_s, pair.one.start_s, key))
    often = Counter(key for _, _, key in found)
    habits = {key for key, count in often.items() if count >= _HABIT and count * _HABITUALLY > sent[key]}
    out: list[tuple[float, float]] = []
    for from_s, to_s, key in sorted(found):
        if key in habits:
            continue
        if out and from_s < out[-1][1]:
            out[-1] = (out[-1][0], max(to_s, out[-1][1]))
        else:
            out.append((from_s, to_s))
    return tuple(out)


def neighbours(conversation: Conversation, unread: Sequence[float]) -> Iterator[Pair]:
    """Every message with the one before it, in the order of time.

    :param unread: moments (seconds, in order) at which something was sent that the capture does not show: over one of
        them nothing can be said of a number.
    """
    anew = sorted([
        *(e.start_s for e in conversation.exchanges if e.name in _COUNT_ANEW), *_hand_overs(conversation),
        *(r.start_s for r in conversation.resets),
    ])
    last: dict[tuple[Party, Sop], Exchange] = {}
    second: dict[tuple[Party, Sop], Exchange | None] = {}
    plugged_s = float("-inf")
    for one in conversation.exchanges:
        key = (one.sender, one.sop)
        before, last[key] = last.get(key), one
        earlier, second[key] = second.get(key), before
        # An offer (or talk to the cable) that begins at 0 after a pause may be another plugging-in, and what comes
        # after it may then begin at 0 as well.
        opens = one.name in OFFERS or one.sop.to_cable
        if before is not None and _number(one) == 0 and opens and one.start_s - before.end_s > timers.CC_DEBOUNCE.min_s:
            plugged_s = one.start_s
        if before is None or one.name == "Soft_Reset" or _between(anew, before, one) or _between(unread, before, one):
            continue
        yield Pair(before, one, earlier, before.start_s < plugged_s <= one.start_s)


def _number(one: Exchange) -> int:
    return one.message.header.message_id


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
