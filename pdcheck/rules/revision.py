"""Rules on the revision that both ports settled on, and on talk that comes before its time.

Why it is: a port that uses messages its partner does not know gets no answer, and looks as if it were ignored.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.conversation.model import Party
from pdcheck.conversation.questions import topic
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.windows import party_of
from pdcheck.rules.words import NAME, times
from pdcheck.standard.dialogues import VENDOR_REQUEST
from pdcheck.standard.line_code import Sop
from pdcheck.standard.message_types import since_r3

_REF = "USB PD, section 6.2.1.1.5 (specification revision)"
_R2 = 1


@rule(
    id="message-beyond-revision", family="revision", severity=Severity.WARN,
    title="A message that the settled revision does not have",
    checks="Once both ports have spoken, neither uses messages newer than the older of the two revisions; a port of "
    "R2.0 says Reject and not Not_Supported.",
    why="The partner does not know the message and may reset.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def message_beyond_revision(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    spoken: dict[Party, int] = {}
    for one in talk.exchanges:
        if one.sop is not Sop.SOP or one.sender is Party.UNKNOWN:
            continue
        settled = min(spoken.values()) if len(spoken) == 2 else None
        if settled == _R2 and (since_r3(one.name) or one.message.header.extended):
            yield Claim(
                party_of(one.sender), one.start_s,
                f"{NAME[one.sender]} sent {one.name} in a conversation of R2.0, which does not have it.",
            )
            return
        spoken[one.sender] = one.message.header.revision


@rule(
    id="vendor-talk-too-early", family="vendor", severity=Severity.WARN,
    title="The device starts vendor talk before there is a contract",
    checks="A sink sends no vendor request of its own before the first PS_RDY.",
    why="The charger is waiting for a Request; it may take this for a fault and reset.",
    reference="USB PD, section 6.4.4 (Vendor_Defined)", next=(todo.OTHER_CHARGER, todo.CHIP_BUS),
)
def vendor_talk_too_early(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    if talk.starts_midway:
        return
    first = next((e.start_s for e in talk.exchanges if e.name == "PS_RDY"), talk.duration_s)
    early = [
        e for e in talk.exchanges
        if e.start_s < first and e.sender is Party.SINK and e.sop is Sop.SOP and topic(e.message) == VENDOR_REQUEST
    ]
    if early and not case.gaps:
        yield Claim(
            Who.SINK, early[0].start_s,
            f"The device sent a vendor request before there was a contract, {times(len(early))}.",
        )


RULES: tuple[Rule, ...] = (message_beyond_revision, vendor_talk_too_early)
