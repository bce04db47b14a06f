"""What was owed when a reset came.

Why it is: a cause explains its consequences. The reset that ends a contract is the answer to something; who owed that
is accused once, and not the reset.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from pdcheck.conversation.model import Ending, Negotiation, Party, Reset, Silence, Step
from pdcheck.conversation.questions import Ended, Question, topic
from pdcheck.rules.model import Case, Who
from pdcheck.rules.request import NOT_READY_S
from pdcheck.rules.windows import unanswered
from pdcheck.rules.words import NAME, party_of, span
from pdcheck.standard.line_code import Sop

#: A sender resets this soon after the last repeat of what nobody acknowledged. Our own choice.
_AT_ONCE_S = 50e-3
#: A message and two repeats without any answer.
_UNHEARD = 3


@dataclass(frozen=True)
class Pending:
    """What a reset was the answer to: who owed it, since when (seconds), in words, the step that it was where it was
    one, and whether it breaks the standard: whoever starts anew hears nothing for a while."""

    who: Who
    since_s: float
    words: str
    stops_at: Step | None = None
    grave: bool = True


_STEP_OF = {
    "Request": Step.ACCEPT, "EPR_Request": Step.ACCEPT, "Source_Capabilities": Step.REQUEST,
    "EPR_Source_Capabilities": Step.REQUEST,
}


def pending_at(case: Case, reset: Reset | None) -> Pending | None:
    """What was owed when a reset came; None where the capture shows nothing that was."""
    if reset is None:
        return None
    for one in case.once(_broken_off).get(id(reset), ()):
        if unanswered(case, one):
            who = party_of(one.owed_by)
            if who is not None and reset.sender is not one.owed_by:
                name = NAME[one.owed_by].lower()
                words = f"{name} had left {topic(one.asked.message)} without an answer for {span(one.waited_s)}"
                return Pending(who, one.asked.settled_s, words, _STEP_OF.get(one.dialogue.question))
    return _never_ready(case, reset) or _unheard(case, reset)


def _broken_off(case: Case) -> dict[int, list[Question]]:
    """The questions that a reset came upon, by the reset's identity."""
    found: defaultdict[int, list[Question]] = defaultdict(list)
    for one in case.questions:
        if one.ended is Ended.RESET:
            found[id(one.reset)].append(one)
    return found


def _unready(case: Case) -> dict[float, list[Negotiation]]:
    """The tries that ended between Accept and PS_RDY in a Hard Reset, by its moment."""
    found: defaultdict[float, list[Negotiation]] = defaultdict(list)
    for one in case.conversation.negotiations:
        if one.ending is Ending.HARD_RESET and one.accepted and not one.ready:
            found[one.next_s].append(one)
    return found


def _never_ready(case: Case, reset: Reset) -> Pending | None:
    for one in case.once(_unready).get(reset.start_s, ()):
        assert one.answer is not None
        waited = reset.start_s - one.answer.settled_s
        if waited > NOT_READY_S and not case.unreadable_between(
            one.answer.settled_s, reset.start_s - 1e-3
        ):
            return Pending(
                Who.SOURCE, one.answer.settled_s, f"the charger had sent no PS_RDY for {span(waited)} after its Accept",
                Step.READY,
            )
    return None


def _unheard(case: Case, reset: Reset) -> Pending | None:
    exchanges = case.conversation.exchanges
    before = range(case.conversation.begun_before(reset.start_s) - 1, -1, -1)
    last = next((exchanges[at] for at in before if exchanges[at].sop is Sop.SOP), None)
    if last is None or last.sender is Party.UNKNOWN or last.acknowledged is not False:
        return None
    clean = last.silences.count(Silence.NOTHING) >= _UNHEARD and set(last.silences) == {Silence.NOTHING}
    if not clean or reset.start_s - last.end_s > _AT_ONCE_S or last.sender.other in case.unseen:
        return None
    who = party_of(last.sender.other)
    if who is None:
        return None
    name = NAME[last.sender.other].lower()
    return Pending(who, last.start_s, f"{name} had not acknowledged {last.name}, sent {len(last.transmissions)} times",
                   grave=False)
