"""The comparison of two judged captures: the path through this room.

Why it is: a comparison accuses nobody. It says where two captures part, by how much, and what cannot be compared;
where either capture carries no verdict it can be no proof, and says so.
"""

from __future__ import annotations

from itertools import zip_longest

from pdcheck.comparison.align import MOST_MOVES, align
from pdcheck.comparison.contents import CHARGER_OFFERS, find_contents
from pdcheck.comparison.fold import moves_of, offer_missing
from pdcheck.comparison.levels import levels
from pdcheck.comparison.model import (
    Alike,
    Comparison,
    Content,
    Doubt,
    Judged,
    Kind,
    Measure,
    Move,
    Parting,
    Row,
)
from pdcheck.comparison.partings import find_partings
from pdcheck.comparison.timings import timings
from pdcheck.conversation.model import Party, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.delivery import Delivered
from pdcheck.rules.words import count
from pdcheck.verdict import Outcome, StepState

_MOST_STEPS = 5
_OTHER_FILE = "Name two captures: one of the good unit, one of the bad one."
_SWAP = "Name the good capture first: pdcheck compare GOOD BAD."
_OTHER_GOOD = (
    "Take as the good one a capture that passes: of a like unit that charges, or of this one after its repair."
)
_SAME_CHARGER = "Capture both units with the same charger and cable, and compare again."


def compare(good: Judged, bad: Judged) -> Comparison:
    """Compare two judged captures, the one that is known to work first."""
    # Without the offer a request's number has no voltage; then both sides go by the number.
    numbers = offer_missing(good.conversation) or offer_missing(bad.conversation)
    rows, too_long = align(*(moves_of(side.conversation, by_position=numbers) for side in (good, bad)))
    rows, partings = find_partings(rows, good, bad)
    delivered = _delivery(rows, good, bad)
    if delivered is not None:
        partings = tuple(sorted([*partings, delivered], key=lambda p: (p.row, p.bad_s or 0.0)))
    contents = find_contents(rows, good, bad)
    measures = (*timings(good, bad), *levels(good, bad))
    first = next((p for p in partings if p.doubt is Doubt.NONE), partings[0] if partings else None)
    notes = _notes(good, bad, contents)
    not_compared = _not_compared(good, bad, partings, measures, too_long)
    outcome = _outcome(good, bad, partings, contents, measures)
    return Comparison(
        good=good, bad=bad, outcome=outcome, summary=_summary(outcome, good, bad, first, contents, measures), rows=rows,
        partings=partings, first=first, contents=contents, measures=measures, notes=notes,
        next=_next(good, bad, outcome, contents), not_compared=not_compared,
    )


def same_recording(a: Judged, b: Judged) -> bool:
    """True where both captures hold the same packets at the same times: it is one recording twice."""
    left, right = a.reading.packets, b.reading.packets
    if not left or len(left) != len(right):
        return False
    return all((p.start_s, p.end_s, p.data) == (q.start_s, q.end_s, q.data) for p, q in zip(left, right, strict=True))


def _outcome(
    good: Judged, bad: Judged, partings: tuple[Parting, ...], contents: tuple[Content, ...],
    measures: tuple[Measure, ...],
) -> Alike:
    outcomes = (good.verdict.outcome, bad.verdict.outcome)
    if Outcome.INCONCLUSIVE in outcomes:
        return Alike.CANNOT_TELL
    if outcomes[0] is not outcomes[1] or any(p.doubt is Doubt.NONE for p in partings):
        return Alike.PART
    if any(c.counts for c in contents) or any(m.counts for m in measures):
        return Alike.PART
    return Alike.CANNOT_TELL if any(p.doubt is Doubt.UNREADABLE for p in partings) else Alike.ALIKE


def _delivery(rows: tuple[Row, ...], good: Judged, bad: Judged) -> Parting | None:
    """The parting at VBUS: it came where the contract says on one side only."""
    states = (good.verdict.delivery.state, bad.verdict.delivery.state)
    if set(states) != {Delivered.YES, Delivered.NO}:
        return None
    contracts = (good.verdict.delivery.contract, bad.verdict.delivery.contract)
    since = [c.since_s if c is not None else None for c in contracts]
    # The row of the PS_RDY that promised it; the parting lies right behind it.
    row = next((n for n, r in enumerate(rows) if r.bad is not None and _is_at(r.bad, since[1])), len(rows) - 1)

    def words(side: Judged) -> str:
        level = side.verdict.delivery.level
        return f"VBUS reads {level.typical:.2f} V after PS_RDY." if level is not None else "VBUS was not judged."

    return Parting(
        row=max(row, 0), whose=Party.SOURCE, headline="VBUS at the contract's voltage", did_good=words(good),
        did_bad=words(bad), good_s=since[0], bad_s=since[1], doubt=Doubt.NONE,
    )


def _is_at(move: Move, t_s: float | None) -> bool:
    return t_s is not None and move.what.name == "PS_RDY" and move.start_s >= t_s


def _summary(
    outcome: Alike, good: Judged, bad: Judged, first: Parting | None, contents: tuple[Content, ...],
    measures: tuple[Measure, ...],
) -> str:
    counted = [c for c in contents if c.counts]
    levels_ = [m for m in measures if m.counts]
    if outcome is Alike.PART:
        if first is not None and first.doubt is Doubt.NONE:
            return f"The two part at: {first.headline}."
        if counted:
            return f"Both make the same moves; what they say differs, first at: {counted[0].topic}."
        if levels_:
            return f"Both make the same moves; what differs is in the signal or its times: {levels_[0].label}."
        return "The verdicts differ, though no place can be named at which the moves part."
    if outcome is Alike.ALIKE:
        noted = [m for m in measures if m.differs]
        common = "Both reach a contract" if good.verdict.outcome is Outcome.PASS else "Both stop in the same way"
        more = f" {count(len(noted), 'timing or level')} differ within what is allowed." if noted else ""
        return f"{common}, by the same moves with the same contents.{_plural(more, len(noted))}"
    doubtful = [side.verdict.summary for side in (good, bad) if side.verdict.outcome is Outcome.INCONCLUSIVE]
    if doubtful:
        return doubtful[0]
    return "What is between the two may lie in packets that one of the captures does not show."


def _plural(text: str, number: int) -> str:
    text = text.replace("timing or levels", "timings or levels")
    return text.replace(" differ ", " differs ") if number == 1 else text


def _notes(good: Judged, bad: Judged, contents: tuple[Content, ...]) -> tuple[str, ...]:
    notes = []
    outcomes = (good.verdict.outcome, bad.verdict.outcome)
    if same_recording(good, bad):
        notes.append("Both files hold the same recording: comparing it with itself proves nothing.")
    if outcomes == (Outcome.FAIL, Outcome.PASS):
        notes.append("The one given as good fails and the one given as bad passes: is the order swapped?")
    elif outcomes[0] is Outcome.FAIL:
        notes.append("The one given as good fails as well: it is no pattern of how it should be.")
    elif outcomes == (Outcome.PASS, Outcome.PASS):
        notes.append("Both reach a contract: if one of them does not charge, look behind the negotiation.")
    if _offers_differ(contents):
        notes.append("The chargers offer differently: to compare two devices, capture both with the same charger.")
    return tuple(notes)


def _offers_differ(contents: tuple[Content, ...]) -> bool:
    return any(c.counts and c.topic.startswith(CHARGER_OFFERS) for c in contents)


def _next(good: Judged, bad: Judged, outcome: Alike, contents: tuple[Content, ...]) -> tuple[str, ...]:
    """What to do: what the failing capture's own report says, after whatever would make the pair a better one."""
    if same_recording(good, bad):
        return (_OTHER_FILE,)
    outcomes = (good.verdict.outcome, bad.verdict.outcome)
    if Outcome.INCONCLUSIVE in outcomes:
        again = [
            [f"The {name} one: {step}" for step in side.verdict.next]
            for name, side in (("good", good), ("bad", bad)) if side.verdict.outcome is Outcome.INCONCLUSIVE
        ]
        # Where neither tells anything, the first step for each stands before the second for either.
        steps = [step for ranked in zip_longest(*again) for step in ranked if step is not None]
    elif outcomes == (Outcome.FAIL, Outcome.PASS):
        steps = [_SWAP, *good.verdict.next]
    elif outcomes == (Outcome.PASS, Outcome.FAIL):
        steps = [*bad.verdict.next]
    else:
        steps = [_OTHER_GOOD] if outcomes[0] is Outcome.FAIL else []
        steps += [_SAME_CHARGER] if _offers_differ(contents) else []
        steps += [todo.CAPTURE_AGAIN] if outcome is Alike.CANNOT_TELL else []
        steps += bad.verdict.next
    return tuple(dict.fromkeys(steps))[:_MOST_STEPS]


def _not_compared(
    good: Judged, bad: Judged, partings: tuple[Parting, ...], measures: tuple[Measure, ...], too_long: bool
) -> tuple[str, ...]:
    out = []
    for name, side in (("good", good), ("bad", bad)):
        if side.verdict.outcome is Outcome.INCONCLUSIVE:
            out.append(f"The {name} capture carries no verdict: {side.verdict.summary}")
    for parting in partings:
        if parting.doubt is not Doubt.NONE:
            out.append(f"{parting.headline[0].upper()}{parting.headline[1:]}: {parting.doubt.value}.")
    for label, id_ in (("VBUS", "vbus_before"), ("Current", "current"), ("CC level", "cc_level")):
        one = next((m for m in measures if m.id == id_), None)
        if one is not None and (one.good is None or one.bad is None):
            out.append(f"{label}: only the {'bad' if one.good is None else 'good'} capture shows it.")
    states = [next((s.state for s in side.verdict.steps if s.step is Step.DELIVERY), None) for side in (good, bad)]
    if StepState.NOT_JUDGED in states and all(side.conversation.contracts for side in (good, bad)):
        which = " and ".join(n for n, s in zip(("good", "bad"), states, strict=True) if s is StepState.NOT_JUDGED)
        out.append(f"Delivery: whether VBUS followed its contract is not judged in the {which} capture.")
    if too_long:
        out.append(f"After {MOST_MOVES} folded moves beyond what both begin with the moves were not aligned.")
    return tuple(dict.fromkeys(out))


__all__ = ["Kind", "compare", "same_recording"]
