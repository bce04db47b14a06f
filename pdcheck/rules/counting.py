"""Rules on MessageIDs, retries and what a GoodCRC says.

Why it is: a receiver takes a message with the number of the one before for a repeat: it acknowledges it and does
nothing. Whoever does not count on talks to somebody who seems deaf and is not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise

from pdcheck.conversation.model import Exchange, Party, Step, Transmission
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, rule
from pdcheck.rules.windows import party_of
from pdcheck.rules.words import NAME, span, times
from pdcheck.standard import counters, electrical, timers
from pdcheck.standard.line_code import Sop

_REF_ID = "USB PD, section 6.7.1 (MessageIDCounter)"
_REF_ACK = "USB PD, section 6.6.1 (CRCReceiveTimer), 6.7.1.1 and 6.2.1.1 (message header)"
#: A GoodCRC that begins this much after tTransmit is late on any capture that can be read. Our own choice.
_LATE_BY_S = 50e-6
#: One that begins later than this may belong to a retry that the capture does not show. Our own choice: tReceive at
#: its shortest and a retry of the shortest message.
_RETRY_ACK_S = 1.3e-3
#: A gap is read to about a bit at each end. Our own choice.
_GAP_SLACK_S = 4e-6
_ODD_ENOUGH = 2
_SHORT_PREAMBLE_BITS = 56


@rule(
    id="message-id-reused", family="acknowledgement", severity=Severity.WARN,
    title="A new message carries the number of the one before",
    checks="After a message was acknowledged its sender's next one carries the next MessageID (0 to 7, then 0 again).",
    why="The receiver takes it for a repeat of what it has already dealt with: it acknowledges it and does nothing.",
    reference=_REF_ID, next=(todo.OTHER_CHARGER, todo.CHIP_LAST),
)
def message_id_reused(case: Case) -> Iterator[Claim]:
    seen: defaultdict[Party, list[Exchange]] = defaultdict(list)
    for one in case.reused:
        seen[one.sender].append(one)
    for party, those in seen.items():
        stopped = _stopped_by(case, those)
        grave = Severity.FAIL if stopped is not None else None
        yield Claim(
            party_of(party), those[0].start_s,
            f"{NAME[party]} sent {those[0].name} with the MessageID of its message before "
            f"({those[0].message.header.message_id}), {times(len(those))}.",
            stops_at=stopped, severity=grave,
        )


def _stopped_by(case: Case, those: list[Exchange]) -> Step | None:
    """The step at which negotiation stopped because the source took every Request for a repeat."""
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT:
        return None
    asked = [n.request.start_s for n in stop.alike if n.request is not None and n.answer is None]
    return stop.step if asked and set(asked) <= {one.start_s for one in those} else None


@rule(
    id="message-id-not-reset", family="acknowledgement", severity=Severity.WARN,
    title="After a reset a port goes on counting",
    checks="The first message after a Hard Reset, and a Soft_Reset itself, carry MessageID 0.",
    why="A port that did not take part in the reset is out of step with the other; the next messages may be taken for "
    "repeats.",
    reference=_REF_ID, next=(todo.OTHER_CHARGER,),
)
def message_id_not_reset(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    for one in talk.exchanges:
        if one.name == "Soft_Reset" and one.message.header.message_id != 0:
            yield Claim(
                party_of(one.sender), one.start_s,
                f"{NAME[one.sender]} sent a Soft_Reset with MessageID {one.message.header.message_id} in place of 0.",
            )
            return
    hard = [r for r in talk.resets if r.packet.sop is Sop.HARD_RESET]
    for place, reset in enumerate(hard):
        until = hard[place + 1].start_s if place + 1 < len(hard) else talk.duration_s
        for party in (Party.SOURCE, Party.SINK):
            first = next((e for e in talk.exchanges if e.sender is party and e.sop is Sop.SOP
                          and reset.start_s < e.start_s < until), None)
            if first is None or first.message.header.message_id == 0 or first.name == "Soft_Reset":
                continue
            # A message that crosses the reset was counted before it; a lost one was counted after it.
            if first.start_s - reset.start_s < timers.PS_HARD_RESET.max_s or case.unreadable_between(
                reset.packet.end_s, first.start_s - 1e-6
            ):
                continue
            yield Claim(
                party_of(party), first.start_s,
                f"{NAME[party]}'s first message after the Hard Reset, {first.name}, carries MessageID "
                f"{first.message.header.message_id} in place of 0.",
            )
            return


@rule(
    id="too-many-retries", family="acknowledgement", severity=Severity.WARN,
    title="A message is repeated more often than allowed",
    checks="An unacknowledged message is repeated nRetryCount times: twice in R3.x, three times in R2.0.",
    why="Harmless by itself; a port that does not keep to it often does not keep to other things either.",
    reference="USB PD, section 6.7.2 (RetryCounter)",
)
def too_many_retries(case: Case) -> Iterator[Claim]:
    for one in case.conversation.exchanges:
        limit = counters.RETRY_COUNT_R3 if one.message.header.revision >= 2 else counters.RETRY_COUNT_R2
        allowed = int(limit.nom or 0)
        if len(one.transmissions) > 1 + allowed:
            yield Claim(
                party_of(one.sender), one.start_s,
                f"{NAME[one.sender]} repeated {one.name} {times(len(one.transmissions) - 1)} (at most "
                f"{times(allowed)} is allowed).",
            )
            return


def _acknowledgements(case: Case) -> list[tuple[Transmission, Transmission]]:
    """Every message with the GoodCRC that stands right behind it: (message, GoodCRC)."""
    sent = case.conversation.transmissions
    pairs = []
    for before, after in pairwise(sent):
        if before.message is None or after.message is None or after.name != "GoodCRC" or before.name == "GoodCRC":
            continue
        same = before.message.header.message_id == after.message.header.message_id
        if same and before.packet.sop is after.packet.sop:
            pairs.append((before, after))
    return pairs


@rule(
    id="goodcrc-late", family="acknowledgement", severity=Severity.WARN,
    title="Acknowledgements come late",
    checks="A GoodCRC begins within tTransmit (195 us) after the message and is complete within tReceive.",
    why="A sender that has given up waiting (from 0.9 ms on) repeats the message, and after the last repeat resets.",
    reference=_REF_ACK, next=(todo.OTHER_CHARGER, todo.CHIP_LAST),
)
def goodcrc_late(case: Case) -> Iterator[Claim]:
    late: defaultdict[Party, list[tuple[float, float]]] = defaultdict(list)
    for message, ack in _acknowledgements(case):
        took = ack.packet.start_s - message.packet.end_s
        if timers.TRANSMIT.max_s + _LATE_BY_S < took < _RETRY_ACK_S:
            by = message.sender.other if not _to_cable(message) else ack.sender
            late[by].append((ack.packet.start_s, took))
    for party, those in late.items():
        if len(those) < _ODD_ENOUGH and max(t for _, t in those) < timers.RECEIVE.min_s / 2:
            continue
        yield Claim(
            party_of(party), those[0][0],
            f"{NAME[party]}'s acknowledgements begin up to {span(max(t for _, t in those))} after the message (at most "
            f"{timers.TRANSMIT.max:g} us are allowed), {times(len(those))}.",
        )


def _to_cable(one: Transmission) -> bool:
    return one.packet.sop is not None and one.packet.sop.to_cable


@rule(
    id="goodcrc-role", family="acknowledgement", severity=Severity.INFO,
    title="A GoodCRC names the wrong role",
    checks="A GoodCRC carries the power role of the port that sends it, not that of the port whose message it answers.",
    why="The other side does not look at it. A sign that the port's chip was not told its role.",
    reference=_REF_ACK,
)
def goodcrc_role(case: Case) -> Iterator[Claim]:
    wrong: defaultdict[Party, list[float]] = defaultdict(list)
    for message, ack in _acknowledgements(case):
        if message.packet.sop is Sop.SOP and ack.sender is message.sender:
            wrong[message.sender.other].append(ack.packet.start_s)
    for party, those in wrong.items():
        if len(those) >= _ODD_ENOUGH:
            yield Claim(
                party_of(party), those[0],
                f"{NAME[party]}'s GoodCRC names the role of the other port, {times(len(those))}.",
            )


@rule(
    id="packets-too-close", family="signal", severity=Severity.WARN,
    title="Packets follow each other too closely",
    checks="Between two packets the line is quiet for tInterFrameGap (25 us) at least.",
    why="A receiver that is not ready yet misses the second packet.",
    reference="USB PD, section 5.8.1 (tInterFrameGap)",
)
def packets_too_close(case: Case) -> Iterator[Claim]:
    close: defaultdict[Party, list[tuple[float, float]]] = defaultdict(list)
    step = case.reading.quality.time_step_s or case.reading.capture.sample_period_s or 0.0
    least = electrical.INTER_FRAME_GAP.min_s - _GAP_SLACK_S - 2 * step
    for before, after in pairwise(case.conversation.transmissions):
        gap = after.packet.start_s - before.packet.end_s
        if before.packet.intact and after.packet.intact and gap < least:
            close[after.sender].append((after.packet.start_s, gap))
    for party, those in close.items():
        if len(those) >= _ODD_ENOUGH:
            yield Claim(
                party_of(party), those[0][0],
                f"{NAME[party]} begins to send {span(min(g for _, g in those))} after the packet before (at least "
                f"25 us are asked for), {times(len(those))}.",
            )


@rule(
    id="short-preamble", family="signal", severity=Severity.INFO,
    title="Packets begin with a short preamble",
    checks="Every packet begins with 64 alternating bits.",
    why="The receiver sets its clock by them. A capture whose threshold catches the line late shows fewer, too.",
    reference="USB PD, section 5.6.1 (preamble)",
)
def short_preamble(case: Case) -> Iterator[Claim]:
    short: defaultdict[Party, int] = defaultdict(int)
    whole: defaultdict[Party, int] = defaultdict(int)
    for one in case.conversation.transmissions:
        if one.packet.intact and one.sender is not Party.UNKNOWN:
            counted = short if one.packet.preamble_bits < _SHORT_PREAMBLE_BITS else whole
            counted[one.sender] += 1
    for party, number in short.items():
        if number > whole[party] and number > _ODD_ENOUGH:
            yield Claim(
                party_of(party), None,
                f"{number} of {NAME[party].lower()}'s packets begin with fewer than {_SHORT_PREAMBLE_BITS} of the 64 "
                "bits of the preamble.",
            )


RULES: tuple[Rule, ...] = (
    message_id_reused, message_id_not_reset, too_many_retries, goodcrc_late, goodcrc_role, packets_too_close,
    short_preamble,
)
