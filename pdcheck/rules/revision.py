"""Rules on the revision that both ports settled on, and on talk that comes before its time.

Why it is: a port that uses messages its partner does not know gets no answer, and looks as if it were ignored.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.conversation.model import Exchange, Party, Reset
from pdcheck.conversation.names import OFFERS
from pdcheck.conversation.questions import topic
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.words import NAME, party_of, times
from pdcheck.standard import timers
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
    for one, settled in case.once(_settled):
        if settled == _R2 and (since_r3(one.name) or one.message.header.extended):
            yield Claim(
                party_of(one.sender), one.start_s,
                f"{NAME[one.sender]} sent {one.name} in a conversation of R2.0, which does not have it.",
            )
            return


def _settled(case: Case) -> list[tuple[Exchange, int | None]]:
    """Every message between the ports with the revision field that both had settled on by then; None before."""
    spoken: dict[Party, int] = {}
    settled: int | None = None
    found: list[tuple[Exchange, int | None]] = []
    last_s = 0.0
    for step in case.conversation.steps:
        if isinstance(step, Reset):
            if step.packet.sop is Sop.HARD_RESET:
                spoken, settled = {}, None
            continue
        if step.sop is not Sop.SOP or step.sender is Party.UNKNOWN:
            continue
        if step.name in OFFERS and step.start_s - last_s > timers.CC_DEBOUNCE.min_s:
            # It may be another plugging-in, with another device.
            spoken, settled = {}, None
        last_s = step.end_s
        found.append((step, settled))
        revision = step.message.header.revision
        if revision < spoken.get(step.sender, revision + 1):
            spoken[step.sender] = revision
            settled = min(spoken.values()) if len(spoken) == 2 else None
    return found


@rule(
    id="revision-goes-back", family="revision", severity=Severity.WARN,
    title="A port goes back to a revision that was given up",
    checks="Once both ports have spoken, each message carries the older of the two revisions.",
    why="The older port may not understand what comes next.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def revision_goes_back(case: Case) -> Iterator[Claim]:
    odd = [
        one for one, settled in case.once(_settled)
        if settled == _R2 and one.message.header.revision > settled and one.name not in OFFERS
    ]
    if len(odd) > 1:
        yield Claim(
            party_of(odd[0].sender), odd[0].start_s,
            f"{NAME[odd[0].sender]} sends {odd[0].name} as R3.x after both had settled on R2.0, {times(len(odd))}.",
        )


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


RULES: tuple[Rule, ...] = (message_beyond_revision, revision_goes_back, vendor_talk_too_early)
