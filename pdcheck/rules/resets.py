"""Rules on resets: the soft one and its answer, the data reset, and resets without end.

Why it is: a reset is how a port says that it lost the thread. What it waited for is the fault; the reset is the
symptom.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from pdcheck.conversation.model import Party, Reset, Step
from pdcheck.conversation.names import OFFERS
from pdcheck.conversation.questions import Ended, Question
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.pending import pending_at
from pdcheck.rules.windows import unanswered
from pdcheck.rules.words import NAME, count, party_of, span, times
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

_REF = "USB PD, section 6.8 (resets)"
#: So many times over it is no accident. Our own choice.
LOOP = 3


@rule(
    id="soft-reset-not-answered", family="resets", severity=Severity.FAIL,
    title="A soft reset stays without an answer",
    checks="Soft_Reset is acknowledged and answered with Accept within tSenderResponse.",
    why="The one who asked for a fresh start gets none and must use the Hard Reset, which takes VBUS away.",
    reference="USB PD, sections 6.3.13 and 6.8.1 (Soft Reset)", next=todo.SINK_DEAF_LOGIC,
)
def soft_reset_not_answered(case: Case) -> Iterator[Claim]:
    silent = [q for q in case.questions if q.asked.name == "Soft_Reset" and unanswered(case, q)]
    for party in (Party.SOURCE, Party.SINK):
        those = [q for q in silent if q.owed_by is party]
        if not those:
            continue
        resets = sum(q.ended is Ended.RESET for q in those)
        grave = resets and case.conversation.standing is None
        yield Claim(
            party_of(party), those[0].asked.settled_s,
            f"{NAME[party]} acknowledged Soft_Reset and did not answer it, {times(len(those))}"
            f"{'; a Hard Reset followed' if resets else ''}.",
            stops_at=_step(case) if grave else None,
            severity=None if grave else Severity.WARN,
            next=todo.SINK_DEAF_LOGIC if party is Party.SINK else todo.SOURCE_SILENT,
        )


def _step(case: Case) -> Step | None:
    """Without any offer the negotiation stopped at its first step; else the rules of that step say where."""
    return Step.OFFER if not case.conversation.negotiations else None


@rule(
    id="reset-loop", family="resets", severity=Severity.INFO,
    title="The two reset again and again",
    checks="Three Hard Resets or more, and what each of them came after.",
    why="Each reset takes VBUS away for a second. What the rounds have in common is the fault.",
    reference=_REF,
)
def reset_loop(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    hard = talk.hard_resets
    if len(hard) < LOOP:
        return
    before: Counter[str] = Counter()
    for reset in hard:
        owed = pending_at(case, reset)
        place = talk.begun_before(reset.start_s)
        last = talk.exchanges[place - 1] if place else None
        if owed is not None:
            before[f"{NAME[Party(owed.who.value)].lower()} owed an answer"] += 1
        elif last is not None:
            before[f"{last.name} was the last message"] += 1
    common, often = before.most_common(1)[0] if before else ("nothing was said", len(hard))
    yield Claim(
        None, hard[0].start_s,
        f"{count(len(hard), 'Hard Reset')} in {span(hard[-1].start_s - hard[0].start_s)}; before {often} of them "
        f"{common}.",
    )


@rule(
    id="no-offer-after-reset", family="resets", severity=Severity.FAIL,
    title="After a reset the charger offers nothing",
    checks="After a Hard Reset the source turns VBUS on again and sends its offer.",
    why="The device waits for an offer, resets again, and in the end takes the default 5 V only.",
    reference="USB PD, section 6.8.3 (Hard Reset) and 8.3.3.2 (source policy engine)", next=todo.SOURCE_SILENT,
)
def no_offer_after_reset(case: Case) -> Iterator[Claim]:
    lonely = silent_charger(case)
    if lonely is None:
        return
    since = lonely[0].packet.end_s
    silent = span(case.conversation.duration_s - since)
    yield Claim(
        Who.SOURCE, since,
        f"After a Hard Reset the charger offered nothing any more for {silent}; the "
        f"device reset again, {times(len(lonely) - 1)}.",
        stops_at=Step.OFFER,
    )


def silent_charger(case: Case) -> list[Reset] | None:
    """The last Hard Resets of a conversation, where they are repeated because a source that had offered before offers
    nothing any more; None otherwise."""
    talk = case.conversation
    hard = talk.hard_resets
    if len(hard) < 2 or not any(e.name in OFFERS and e.sender is Party.SOURCE for e in talk.exchanges):
        return None
    last = max([*(t.packet.end_s for t in talk.transmissions if t.packet.sop is not Sop.HARD_RESET), *talk.orphans])
    # Who repeats the reset is still there and waits for an offer; whoever offers nothing cannot be that one.
    lonely = [r for r in hard if r.start_s > last]
    if len(lonely) < 2 or case.unreadable_between(lonely[0].packet.end_s, talk.duration_s):
        return None
    long_enough = lonely[-1].start_s - lonely[0].start_s > timers.TYPE_C_SINK_WAIT_CAP.min_s
    return lonely if long_enough else None


@rule(
    id="data-reset-unfinished", family="resets", severity=Severity.WARN,
    title="A data reset is agreed and not finished in time",
    checks="After an accepted Data_Reset the DFP says Data_Reset_Complete within tDataReset.",
    why="The other side goes to error recovery: charging breaks off and begins anew.",
    reference="USB PD, sections 6.3.14 and 6.6.10 (Data_Reset, tDataReset)", next=(todo.OTHER_CHARGER,),
)
def data_reset_unfinished(case: Case) -> Iterator[Claim]:
    for one in case.questions:
        if one.asked.name != "Data_Reset" or one.then is None or one.then.name != "Accept":
            continue
        since = one.then.settled_s
        later = [e for e in case.conversation.exchanges if e.start_s > since and e.sop is Sop.SOP]
        until = later[0].start_s if later else case.conversation.duration_s
        if until - since < timers.DATA_RESET.max_s + 20e-3 or case.unreadable_between(since, until - 1e-6):
            continue
        came = bool(later) and later[0].name == "Data_Reset_Complete"
        if later or case.plugged_in_at_end:
            yield Claim(
                _dfp(one), since,
                f"Data_Reset_Complete came {span(until - since)} after the accepted Data_Reset (at most "
                f"{timers.DATA_RESET.max:g} ms are allowed)." if came else
                f"No Data_Reset_Complete came for {span(until - since)} after the accepted Data_Reset.",
            )
            return


def _dfp(one: Question) -> Who | None:
    """Who is the DFP, by the header of the Data_Reset."""
    asker = one.asked.sender
    return party_of(asker if one.asked.message.header.data_role == 1 else asker.other)


RULES: tuple[Rule, ...] = (
    soft_reset_not_answered, no_offer_after_reset, reset_loop, data_reset_unfinished,
)
