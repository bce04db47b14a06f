"""Rules on MessageIDs, retries and what a GoodCRC says.

Why it is: a receiver takes a message with the number of the one before for a repeat: it acknowledges it and does
nothing. Whoever does not count on talks to somebody who seems deaf and is not.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from itertools import pairwise

from pdcheck.conversation.model import Exchange, Party, Step, Transmission
from pdcheck.conversation.names import POWER_SWAPS
from pdcheck.rules import measure_next as todo
from pdcheck.rules.capture_limits import SHORT_PREAMBLE_BITS
from pdcheck.rules.model import Case, Claim, Rule, Severity, rule
from pdcheck.rules.words import NAME, party_of, span, times
from pdcheck.standard import counters, electrical, timers
from pdcheck.standard.line_code import PREAMBLE_BITS, Sop

_REF_ID = "USB PD, section 6.7.1 (MessageIDCounter)"
_REF_ACK = "USB PD, section 6.6.1 (CRCReceiveTimer), 6.7.1.1 and 6.2.1.1 (message header)"
#: A GoodCRC that begins this much after tTransmit is late on any capture that can be read. Our own choice.
_LATE_BY_S = 20e-6
#: One that begins later than this may belong to a retry that the capture does not show. Our own choice: tReceive at
#: its shortest and a retry of the shortest message.
_RETRY_ACK_S = 1.3e-3
#: A gap is read to about a bit at each end. Our own choice.
_GAP_SLACK_S = 4e-6
_ODD_ENOUGH = 2
#: A capture may lack so many messages after a reset without a trace. Our own choice.
_FIRST_FEW = 2
#: So short a gap is no error of reading it. Our own choice.
_MUCH_TOO_CLOSE = 0.75


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
    """The step at which negotiation stopped because every Request, or every Accept, was taken for a repeat."""
    stop = case.stop
    if stop is None:
        return None
    if stop.step is Step.ACCEPT:
        last = [n.request for n in stop.alike if n.request is not None and n.answer is None]
    elif stop.step is Step.READY:
        last = [n.answer for n in stop.alike if n.answer is not None and n.ready is None]
    else:
        return None
    return stop.step if last and {e.start_s for e in last} <= {one.start_s for one in those} else None


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
    yield from _after_soft_reset(case)
    hard = talk.hard_resets
    for place, reset in enumerate(hard):
        until = hard[place + 1].start_s if place + 1 < len(hard) else talk.duration_s
        between = range(talk.begun_by(reset.start_s), talk.begun_before(until))
        for party in (Party.SOURCE, Party.SINK):
            first = _first_of(party, talk.exchanges, between)
            if first is None or first.message.header.message_id == 0 or first.name == "Soft_Reset":
                continue
            if not _goes_on(first, _first_of(party, talk.exchanges, range(between.start - 1, -1, -1))):
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


def _first_of(party: Party, exchanges: Sequence[Exchange], places: range) -> Exchange | None:
    """The first message of a port at these places: no slice, which would be as long as what follows every reset."""
    return next((e for e in map(exchanges.__getitem__, places) if e.sender is party and e.sop is Sop.SOP), None)


def _goes_on(first: Exchange, last: Exchange | None) -> bool:
    """Whether the number of the first message after a reset goes on from the last before it, or is too high for the
    first ones, counted from 0, to be missing in the capture."""
    number = first.message.header.message_id
    # Some count the reset as well.
    return number > _FIRST_FEW or (last is not None and number - last.message.header.message_id in (1, 2))


def _after_soft_reset(case: Case) -> Iterator[Claim]:
    """After Soft_Reset (0) and Accept (0) both go on with 1."""
    talk = case.conversation
    for one in case.questions:
        if one.asked.name != "Soft_Reset" or one.asked.sop is not Sop.SOP:
            continue
        if one.answer is None or one.answer.acknowledged_s is None:
            continue
        behind = range(talk.begun_by(one.answer.start_s), len(talk.exchanges))
        for party in (Party.SOURCE, Party.SINK):
            first = _first_of(party, talk.exchanges, behind)
            if first is None or first.name == "Soft_Reset" or first.message.header.message_id == 1:
                continue
            reset = any(one.asked.start_s < r.start_s < first.start_s for r in talk.resets)
            # At 0 again it may be another plugging-in.
            if reset or first.message.header.message_id == 0 or case.unreadable_between(
                one.asked.start_s, first.start_s - 1e-6
            ):
                continue
            yield Claim(
                party_of(party), first.start_s,
                f"{NAME[party]}'s first message after the soft reset, {first.name}, carries MessageID "
                f"{first.message.header.message_id} in place of 1.",
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
        allowed = int(limit.nominal)
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
        message, ack = before.message, after.message
        if ack is None or ack.name != "GoodCRC" or message is None or message.name == "GoodCRC":
            continue
        if message.header.message_id == ack.header.message_id and before.packet.sop is after.packet.sop:
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
    step = case.reading.quality.time_step_s or case.reading.capture.sample_period_s or 0.0
    for message, ack in case.once(_acknowledgements):
        # A capture that catches the line late begins in the middle of the preamble.
        unseen = max(0, PREAMBLE_BITS - ack.packet.preamble_bits) / ack.packet.bit_rate_bps
        took = ack.packet.start_s - unseen - message.packet.end_s
        if timers.TRANSMIT.max_s + _LATE_BY_S + 2 * step < took < _RETRY_ACK_S:
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
    id="power-role-wrong", family="roles", severity=Severity.WARN,
    title="A port claims the other one's power role",
    checks="The power role bit of every message against what only one role can send, and against that of its GoodCRC.",
    why="The other side may take the messages for its own, or reset. The port's chip was not told its role.",
    reference=_REF_ACK, next=(todo.OTHER_CHARGER, todo.CHIP_LAST),
)
def power_role_wrong(case: Case) -> Iterator[Claim]:
    if any(e.name in POWER_SWAPS for e in case.conversation.exchanges):
        # While the roles change hands both may claim the same one.
        return
    wrong: defaultdict[Party, list[Transmission]] = defaultdict(list)
    for message, ack in case.once(_acknowledgements):
        assert message.message is not None and ack.message is not None
        if message.packet.sop is not Sop.SOP or message.sender is Party.UNKNOWN or message.name == "PS_RDY":
            # A capture may begin within a swap, in which PS_RDY hands the role over.
            continue
        if message.message.header.power_role != ack.message.header.power_role:
            continue
        if ack.packet.start_s - message.packet.end_s > timers.RECEIVE.min_s / 2:
            # Too late to be sure that nothing is missing between them.
            continue
        claims = Party.SOURCE if message.message.header.power_role else Party.SINK
        # Where the sender is who its bit says the acknowledgement is wrong.
        liar = message.sender if message.sender is not claims else message.sender.other
        wrong[liar].append(message if liar is message.sender else ack)
    # Where both ports do so, and in their GoodCRCs only, they send back the header that they acknowledge.
    echoed = len(wrong) == 2 and all(one.name == "GoodCRC" for those in wrong.values() for one in those)
    for party, those in wrong.items():
        if len(those) >= _ODD_ENOUGH or not case.gaps:
            yield Claim(
                party_of(party), those[0].packet.start_s,
                f"{NAME[party]} claims the power role of the other port in {those[0].name}, {times(len(those))}.",
                severity=Severity.INFO if echoed else None,
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
        if gap < least and before.packet.intact and after.packet.intact:
            close[after.sender].append((after.packet.start_s, gap))
    for party, those in close.items():
        if len(those) >= _ODD_ENOUGH or those[0][1] < _MUCH_TOO_CLOSE * least:
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
    sent = case.conversation.transmissions
    short = Counter(
        one.sender for one in sent
        if one.packet.preamble_bits < SHORT_PREAMBLE_BITS and one.packet.intact and one.sender is not Party.UNKNOWN
    )
    for party, number in short.items():
        if number > _ODD_ENOUGH and 2 * number > sum(one.packet.intact for one in sent if one.sender is party):
            yield Claim(
                party_of(party), None,
                f"{number} of {NAME[party].lower()}'s packets begin with fewer than {SHORT_PREAMBLE_BITS} of the 64 "
                "bits of the preamble.",
            )


RULES: tuple[Rule, ...] = (
    message_id_reused, message_id_not_reset, too_many_retries, goodcrc_late, power_role_wrong, packets_too_close,
    short_preamble,
)
