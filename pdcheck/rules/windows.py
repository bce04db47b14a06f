"""Rules on answers: whether one came, and whether it came in its time.

Why it is: whoever asks waits some 27 ms and then gives up; an answer that is late or missing is the commonest way in
which two chips that work fail with each other.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator

from pdcheck.conversation.model import Party
from pdcheck.conversation.names import ANSWERS, OFFERS, POWER_SWAPS, REQUESTS
from pdcheck.conversation.questions import Ended, Question, topic
from pdcheck.rules import measure_next as todo
from pdcheck.rules.late import late_requests
from pdcheck.rules.model import Case, Claim, Rule, Severity, rule
from pdcheck.rules.request import GIVES_UP_S, MUST_HAVE_S
from pdcheck.rules.words import NAME, party_of, span, times
from pdcheck.standard import timers
from pdcheck.standard.dialogues import ASK_AGAIN, CHUNK, CHUNK_REQUEST, REFERENCE, VENDOR_REQUEST
from pdcheck.standard.message_types import since_r3

#: By so much a time read off a capture may be wrong: where a packet ends is known to a few bits. Our own choice.
SLACK_S = 0.2e-3
#: PS_RDY belongs to an Accept no longer ago than the longest transition. Our own choice.
_TRANSITION_S = 2.0
#: Who asks with what in the negotiation of power.
_POWER = {"Source_Capabilities": Party.SOURCE, "Request": Party.SINK}
#: These have rules of their own, which know what a missing answer does to the charging.
_OTHER_RULES = (*OFFERS, *REQUESTS, "Soft_Reset", "EPR_KeepAlive", "EPR_Mode Enter")


def unanswered(case: Case, question: Question) -> bool:
    """True where the capture proves that a question, which was acknowledged, stayed without its answer."""
    asked = question.asked
    if asked.acknowledged_s is None or question.owed_by in case.unseen or any(asked is e for e in case.reused):
        return False
    enough = GIVES_UP_S if question.ended is Ended.RESET else MUST_HAVE_S
    # Who knows no chunks may let the other wait before it says so.
    at_most = max(MUST_HAVE_S, timers.CHUNKING_NOT_SUPPORTED.max_s + SLACK_S)
    if question.waited_s < enough or case.unreadable_between(
        asked.settled_s, min(question.next_s, asked.settled_s + at_most)
    ):
        return False
    if question.then is not None and question.then.start_s in case.conversation.orphans:
        # It belongs to something that the capture does not show, and that may be the answer.
        return False
    if question.ended in (Ended.ASKER, Ended.OTHER):
        # Whoever goes on talking shows that the other was still there: by its acknowledgement, or by itself.
        return question.ended is Ended.OTHER or (question.then is not None and question.then.acknowledged is True)
    return question.ended is Ended.RESET or (question.ended is Ended.CAPTURE_END and case.plugged_in_at_end)


@rule(
    id="answer-late", family="answer", severity=Severity.WARN,
    title="An answer comes later than it may",
    checks="Every message that asks for an answer gets it within tReceiverResponse (15 ms), counted from its GoodCRC "
    "to the start of the answer.",
    why="The one who asked gives up from 24 ms on. A port that answers late works with patient partners and fails "
    "with others: charging that depends on the charger, or on what else the port is doing.",
    reference=f"{REFERENCE}; 6.6.2 (tReceiverResponse, tSenderResponse)", next=(todo.OTHER_CHARGER,),
)
def answer_late(case: Case) -> Iterator[Claim]:
    late: defaultdict[tuple[Party, str], list[Question]] = defaultdict(list)
    told = {request.start_s for request, _ in late_requests(case)}
    for one in case.questions:
        if one.answer is None or one.asked.acknowledged_s is None or one.answer.start_s in told:
            continue
        if one.waited_s > one.dialogue.window_of(one.answer.name).max_s + SLACK_S and not case.unreadable_between(
            one.asked.settled_s, one.next_s - 1e-6
        ):
            late[one.owed_by, topic(one.answer.message)].append(one)
    for (party, name), those in late.items():
        worst = max(those, key=lambda one: one.waited_s)
        limit = worst.dialogue.window_of(name)
        yield Claim(
            party_of(party), worst.next_s,
            f"{NAME[party]} sent {name} {span(worst.waited_s)} after {topic(worst.asked.message)} was acknowledged (at "
            f"most {limit.max:g} ms are allowed), {times(len(those))}.",
        )


def _outlived(case: Case, one: Question) -> bool:
    """True for an offer or a Request that nobody went on from, and the contract in force outlived it.

    Not for an offer that was asked for: in EPR mode it is only told.
    """
    if case.stop is not None or one.ended is Ended.RESET or _POWER.get(one.asked.name) is not one.asked.sender:
        return False
    contracts = case.conversation.contracts
    place = bisect_left(contracts, one.asked.start_s, key=lambda contract: contract.since_s)
    if place == 0:
        return False
    ended_s = contracts[place - 1].ended_s
    return (ended_s is None or ended_s > one.next_s) and id(one.asked) not in case.once(_answers)


def _answers(case: Case) -> set[int]:
    """Which exchanges are answers, by identity."""
    return {id(one.answer) for one in case.questions if one.answer is not None}


@rule(
    id="question-not-answered", family="answer", severity=Severity.WARN,
    title="A question stays without an answer",
    checks="Swaps, resets and questions for capabilities, status and the like are answered: by what was asked for, or "
    "by Reject, Wait or Not_Supported.",
    why="The other side waits in vain and may reset. The port hears (it acknowledges) and what decides in it does not "
    "answer.",
    reference=REFERENCE, next=(todo.OTHER_CHARGER, todo.CHIP_BUS),
)
def question_not_answered(case: Case) -> Iterator[Claim]:
    silent: defaultdict[tuple[Party, str], list[Question]] = defaultdict(list)
    for one in case.questions:
        name = topic(one.asked.message)
        if one.answer is not None or one.dialogue.may_be_silent:
            continue
        if one.dialogue.question in _OTHER_RULES and not _outlived(case, one):
            continue
        if case.conversation.revision == "2.0" and since_r3(one.asked.name):
            # Who does not know a message may leave it.
            continue
        if one.dialogue.question in (CHUNK, CHUNK_REQUEST):
            name = f"a part of {name}" if one.dialogue.question == CHUNK else f"the request for a part of {name}"
        if unanswered(case, one):
            silent[one.owed_by, name].append(one)
    for (party, name), those in silent.items():
        yield Claim(
            party_of(party), those[0].asked.settled_s,
            f"{NAME[party]} acknowledged {name} and never answered it, {times(len(those))}.",
        )


@rule(
    id="wrong-chunk", family="answer", severity=Severity.WARN,
    title="The wrong part of a long message is sent",
    checks="Whoever is asked for a part of a long message sends that part.",
    why="The message cannot be put together. Where it is an EPR offer the device never sees the high voltages.",
    reference="USB PD, section 6.13.2 (chunking)", next=(todo.OTHER_CHARGER,),
)
def wrong_chunk(case: Case) -> Iterator[Claim]:
    for one in case.questions:
        asked = one.asked.message.extended_header
        given = one.then.message.extended_header if one.then is not None else None
        if asked is None or given is None or one.dialogue.question != CHUNK_REQUEST or one.then is None:
            continue
        # Another message is not the part that was asked for, which may be what the capture cannot read.
        if one.then.name != one.asked.name or case.unreadable_between(one.asked.settled_s, one.then.start_s - 1e-6):
            continue
        if one.then.sender is one.owed_by and not given.request_chunk and given.chunk_number != asked.chunk_number:
            yield Claim(
                party_of(one.owed_by), one.then.start_s,
                f"{NAME[one.owed_by]} was asked for part {asked.chunk_number} of {one.then.name} and sent part "
                f"{given.chunk_number}.",
            )
            return


@rule(
    id="answer-unasked", family="answer", severity=Severity.WARN,
    title="An answer comes that nobody asked for",
    checks="Accept, Reject, Wait and PS_RDY belong to a question or a transition.",
    why="The other side has to take it for an error and resets.",
    reference="USB PD, section 6.8.1 (protocol errors)", next=(todo.OTHER_CHARGER,),
)
def answer_unasked(case: Case) -> Iterator[Claim]:
    asked_for = {q.answer.start_s: q.asked.name for q in case.questions if q.answer is not None}
    exchanges = case.conversation.exchanges
    agreed_s, still_owed = float("-inf"), 0
    for place, one in enumerate(exchanges):
        after = exchanges[place + 1] if place + 1 < len(exchanges) else None
        owed = one.start_s in asked_for
        if one.name == "Accept":
            # Where power roles change both sides say that they are ready.
            agreed_s = one.start_s
            still_owed = 2 if asked_for.get(one.start_s) in POWER_SWAPS else 1
        elif one.name == "PS_RDY":
            owed = still_owed > 0 and one.start_s - agreed_s < _TRANSITION_S
            still_owed -= 1
        if one.name not in (*ANSWERS, "PS_RDY") or owed or after is None:
            continue
        if one.start_s - exchanges[0].start_s < _TRANSITION_S and case.conversation.starts_midway:
            # What asked for it may lie before the capture.
            continue
        # The other side's protest shows that nothing is missing from the capture.
        if after.name == "Soft_Reset" and after.sender is one.sender.other and (
            after.start_s - one.settled_s < timers.SENDER_RESPONSE_R3_1.max_s
        ) and not case.unreadable_between(exchanges[max(0, place - 1)].start_s, one.start_s - 1e-6):
            yield Claim(
                party_of(one.sender), one.start_s,
                f"{NAME[one.sender]} sent {one.name} though nothing had been asked; the other side reset.",
            )
            return


@rule(
    id="asked-again-too-soon", family="answer", severity=Severity.WARN,
    title="A port that was told to wait asks again at once",
    checks="After Wait the sink asks again after tSinkRequest (100 ms) at the earliest; after BUSY a vendor request is "
    "repeated after tVDMBusy (50 ms).",
    why="The other side said that it needs time. Asked without pause it never gets to it.",
    reference="USB PD, sections 6.3.12 (Wait), 6.6.4 (tSinkRequest) and 6.6.12 (tVDMBusy)",
)
def asked_again_too_soon(case: Case) -> Iterator[Claim]:
    put_off: dict[tuple[Party, str], float] = {}
    for one in case.questions:
        name = topic(one.asked.message)
        key = (one.asked.sender, name)
        limit = ASK_AGAIN.get(name)
        if name == "Soft_Reset" or (name in OFFERS and one.asked.sender is Party.SOURCE):
            # Whoever starts anew, or makes an offer that has to be answered at once, no longer asks for time.
            put_off.clear()
        if limit is None:
            continue
        since = put_off.pop(key, None)
        if since is not None and one.asked.start_s - since < limit.min_s - SLACK_S - 0.01 * limit.min_s:
            yield Claim(
                party_of(one.asked.sender), one.asked.start_s,
                f"{NAME[one.asked.sender]} sent {one.asked.name} again {span(one.asked.start_s - since)} after it was "
                f"told to wait ({limit.words()} are asked for).",
            )
            return
        if one.answer is not None and _puts_off(one):
            put_off[key] = one.answer.end_s


def _puts_off(one: Question) -> bool:
    assert one.answer is not None
    if topic(one.asked.message) != VENDOR_REQUEST:
        return one.answer.name == "Wait"
    return bool(one.answer.message.objects) and one.answer.message.objects[0].get("command_type") == "BUSY"


RULES: tuple[Rule, ...] = (
    answer_late, question_not_answered, wrong_chunk, answer_unasked, asked_again_too_soon,
)
