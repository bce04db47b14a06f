"""Where two aligned conversations part: what either did there, and whose move it was.

Why it is: the first parting is what a technician acts on. It is said as two sentences that can be checked against
the message tables, and where a capture may only fail to show the move it says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from pdcheck.comparison.align import Shown
from pdcheck.comparison.model import Doubt, Judged, Kind, Move, Parting, Row
from pdcheck.conversation.model import Party
from pdcheck.conversation.names import OFFERS, REQUESTS
from pdcheck.rules.words import span, times

PARTY_WORDS = {
    Party.SOURCE: "the charger", Party.SINK: "the device", Party.CABLE: "the cable", Party.UNKNOWN: "one side",
}
_VERBS = {
    "Accept": "accepts", "Reject": "refuses (Reject)", "Wait": "says Wait",
    "PS_RDY": "says that power is ready (PS_RDY)", "Hard Reset": "sends Hard Reset",
    "Soft_Reset": "restarts the talk (Soft_Reset)", "Cable Reset": "sends Cable Reset",
}


def acts(move: Move) -> str:
    """What a move is, without who makes it: ``"offers (Source_Capabilities)"``, ``"asks for 9 V (Request)"``."""
    what = move.what
    if what.name in OFFERS and what.sender is Party.SOURCE:
        return f"offers ({what.name})"
    if what.name in REQUESTS:
        return f"asks for {what.detail} ({what.name})"
    if what.name in _VERBS:
        return _VERBS[what.name]
    detail = f": {what.detail}" if what.detail else ""
    to_cable = what.sop is not None and what.sop.to_cable and what.sender is not Party.CABLE
    cable = f" to the cable ({what.sop})" if to_cable else ""
    return f"sends {what.name}{detail}{cable}"


def made(move: Move) -> str:
    """A move with its maker: ``"the charger accepts"``, ``"a Hard Reset is sent"``."""
    if move.by is Party.UNKNOWN:
        return f"a {move.what.name} is sent"
    return f"{PARTY_WORDS[move.by]} {acts(move)}"


def told(move: Move, *, often: bool = True) -> str:
    """A move in a line: ``"charger: offers (Source_Capabilities), not acknowledged, 12 times"``.

    :param often: with how often it was made.
    """
    who = PARTY_WORDS[move.by].removeprefix("the ")
    words = f"{who}: {acts(move)}" if move.by is not Party.UNKNOWN else acts(move).removeprefix("sends ")
    if not move.what.answered:
        words += f", {move.what.heard.value}"
    elif not move.sure:
        words += ", acknowledgement not shown"
    return words + (f", {times(move.times)}" if often and move.times > 1 else "")


def find_partings(rows: Sequence[Row], good: Judged, bad: Judged) -> tuple[tuple[Row, ...], tuple[Parting, ...]]:
    """The partings of aligned rows, and the rows with those that a capture cannot show marked as not compared."""
    out = list(rows)
    found: list[Parting] = []
    shown_good, shown_bad = Shown(good), Shown(bad)
    for first, last in _stretches(rows):
        before_good, before_bad = _before(rows, first)
        moves_good = [r.good for r in rows[first:last] if r.good is not None]
        moves_bad = [r.bad for r in rows[first:last] if r.bad is not None]
        next_good = moves_good[0] if moves_good else _after(rows, last)[0]
        next_bad = moves_bad[0] if moves_bad else _after(rows, last)[1]
        doubt = Doubt.NONE
        if moves_good:
            waited = _waited(before_good, moves_good[0])
            doubt = shown_bad.doubt(before_bad, next_bad, moves_good[0], waited)
        if moves_bad and not moves_good:
            waited = _waited(before_bad, moves_bad[0])
            doubt = shown_good.doubt(before_good, next_good, moves_bad[0], waited)
        if doubt not in (Doubt.NONE, Doubt.UNREADABLE):
            out[first:last] = [Row(Kind.NOT_COMPARED, r.good, r.bad) for r in rows[first:last]]
        again = last if last < len(rows) else None
        sides = (
            _Side(before_good, moves_good[0] if moves_good else None, next_good, good.conversation.duration_s),
            _Side(before_bad, moves_bad[0] if moves_bad else None, next_bad, bad.conversation.duration_s),
        )
        whose, headline = _whose(*sides)
        found.append(Parting(
            row=first, whose=whose if doubt is Doubt.NONE else None, headline=headline,
            did_good=_sentence(sides[0], sides[1]), good_s=_when(sides[0].did),
            did_bad=_sentence(sides[1], sides[0]), bad_s=_when(sides[1].did),
            doubt=doubt, again=again,
        ))
    return tuple(out), tuple(found)


def _stretches(rows: Sequence[Row]) -> list[tuple[int, int]]:
    """First row and one past the last of every stretch that is not the same."""
    bounds = [0, *(n for n in range(1, len(rows)) if (rows[n].kind is Kind.SAME) != (rows[n - 1].kind is Kind.SAME))]
    return [(a, b) for a, b in pairwise([*bounds, len(rows)]) if b > a and rows[a].kind is not Kind.SAME]


def _before(rows: Sequence[Row], place: int) -> tuple[Move | None, Move | None]:
    if place == 0:
        return None, None
    return rows[place - 1].good, rows[place - 1].bad


def _after(rows: Sequence[Row], place: int) -> tuple[Move | None, Move | None]:
    return (rows[place].good, rows[place].bad) if place < len(rows) else (None, None)


def _waited(before: Move | None, move: Move) -> float:
    return max(0.0, move.start_s - before.settled_s) if before is not None else 0.0


@dataclass(frozen=True)
class _Side:
    """What one side did at the place: the move before, the one that the other does not have, the next one."""

    before: Move | None
    did: Move | None
    next: Move | None
    end_s: float


def _when(move: Move | None) -> float | None:
    return move.start_s if move is not None else None


def _whose(good: _Side, bad: _Side) -> tuple[Party | None, str]:
    """Whose move it was, and what the place is called."""
    for side, other in ((good, bad), (bad, good)):
        heard = _heard_otherwise(side, other)
        if heard is not None:
            what = heard.what
            receiver = what.sender.other
            if what.sop is not None and what.sop.to_cable and what.sender is not Party.CABLE:
                receiver = Party.CABLE
            return _known(receiver), f"the acknowledgement of {what.name} (GoodCRC)"
    move = good.did or bad.did
    assert move is not None
    who = PARTY_WORDS[move.by]
    if good.did is not None and bad.did is not None and good.did.what.same_subject(bad.did.what):
        asks = move.what.name in REQUESTS
        return _known(move.by), f"what {who} asks for (Request)" if asks else f"what {who} says ({move.what.name})"
    return _known(move.by), made(move)


def _heard_otherwise(side: _Side, other: _Side) -> Move | None:
    """The side's move that is the other's as well but for its acknowledgement: it was the receiver's move."""
    for there in (other.did, other.next):
        if side.did is not None and there is not None and side.did.what.says_the_same(there.what):
            return side.did if side.did.what.heard is not there.what.heard else None
    return None


def _known(party: Party) -> Party | None:
    return None if party is Party.UNKNOWN else party


def _sentence(side: _Side, other: _Side) -> str:
    """What a side did at the place."""
    move, there = side.did, other.did
    if move is not None:
        missing = ""
        if there is not None and not there.what.same_subject(move.what) and _whose_turn(there, move):
            missing = f"no {there.what.name}; "
        return f"{missing}{_deed(side, move)}."
    if side.next is not None:
        alike = there is not None and there.what.says_the_same(side.next.what)
        return f"{'' if alike else 'goes straight on: '}{_deed(side, side.next)}."
    if side.before is None:
        return "nothing is in the capture."
    same = there is not None and there.what.says_the_same(side.before.what)
    if same and not side.before.what.answered:
        words = f"{made(side.before)} {times(side.before.times)} from {side.before.start_s:.4f} s on, " + (
            f"{side.before.what.heard.value} ({side.before.sent} sent)"
        )
    else:
        words = f"no {there.what.name}" if there is not None else "nothing more"
    return f"{words}; then nothing for {span(max(0.0, side.end_s - side.before.last_s))}, to the end of the capture."


def _whose_turn(there: Move, move: Move) -> bool:
    """True where the other side's move is a step of a negotiation that this side did not make."""
    return there.what.name not in ("Hard Reset", "Soft_Reset", "Cable Reset") or there.by is move.by


def _deed(side: _Side, move: Move) -> str:
    words = f"{made(move)} at {move.start_s:.4f} s"
    before = side.before
    if before is not None:
        heard = before.what.answered and before.sure and before.what.sop is not None
        words += f", {span(_waited(before, move))} after {'the acknowledgement' if heard else before.what.name}"
    if not move.what.answered:
        words += f", {move.what.heard.value} ({move.sent} sent)"
    elif move.what.name in OFFERS and move.sure:
        words += ", acknowledged"
    return words + (f"; {times(move.times)} in all" if move.times > 1 else "")
