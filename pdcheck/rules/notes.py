"""What is worth knowing and accuses nobody.

Why it is: retries, an unmarked cable or an odd GoodCRC look like faults to someone who reads the message list. The
report says that they are none.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.conversation.model import Party
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.words import count


@rule(
    id="retries", family="acknowledgement", severity=Severity.INFO,
    title="Some messages had to be repeated",
    checks="Messages that were acknowledged only after a retry.",
    why="The standard's retries are there for that; a few do no harm.",
    reference="USB PD, section 6.7.2 (RetryCounter)",
)
def retries(case: Case) -> Iterator[Claim]:
    repeated = [e for e in case.conversation.exchanges if len(e.transmissions) > 1 and e.acknowledged]
    if repeated:
        names = ", ".join(dict.fromkeys(e.name for e in repeated))
        yield Claim(
            None, repeated[0].start_s,
            f"{count(len(repeated), 'message')} came through only after a retry ({names}).",
        )


@rule(
    id="unmarked-cable", family="cable", severity=Severity.INFO,
    title="The cable does not answer",
    checks="Messages to the cable (SOP') that nothing acknowledges.",
    why="An unmarked cable does not answer; it carries up to 3 A. That is no fault.",
    reference="USB Type-C, section 4.9 (electronically marked cables)",
)
def unmarked_cable(case: Case) -> Iterator[Claim]:
    asked = [e for e in case.conversation.exchanges if e.sop.to_cable and e.sender is not Party.CABLE]
    if asked and not any(e.acknowledged for e in asked):
        yield Claim(
            Who.CABLE, asked[0].start_s,
            "The cable was asked who it is and did not answer: an unmarked cable (up to 3 A). That is no fault.",
        )


@rule(
    id="goodcrc-revision", family="acknowledgement", severity=Severity.INFO,
    title="A GoodCRC names another revision than the conversation",
    checks="The revision field of GoodCRC against that of the party's other messages.",
    why="Real transceivers fill it in by themselves. Nothing stops working because of it.",
    reference="USB PD, section 6.2.1.1.5 (specification revision)",
)
def goodcrc_revision(case: Case) -> Iterator[Claim]:
    spoken: dict[Party, int] = {}
    for one in case.conversation.exchanges:
        if not one.sop.to_cable:
            spoken[one.sender] = max(spoken.get(one.sender, 0), one.message.header.revision)
    for party, revision in spoken.items():
        odd = [
            t for t in case.conversation.transmissions
            if t.sender is party and t.message is not None and t.message.header.revision < revision
            and t.message.name == "GoodCRC" and t.packet.sop is not None and not t.packet.sop.to_cable
        ]
        if odd and party in (Party.SOURCE, Party.SINK):
            yield Claim(
                Who(party.value), odd[0].packet.start_s,
                f"The {party.value}'s GoodCRC names an older revision than its messages. Common, and harmless.",
            )


RULES: tuple[Rule, ...] = (retries, unmarked_cable, goodcrc_revision)
