"""Rules on acknowledgements that stop a negotiation.

Why it is: a message that is not acknowledged was not received, or its receiver cannot answer. Silence is a fact
only where the capture would have shown an answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from pdcheck.conversation.model import Ending, Exchange, Party, Silence, Step
from pdcheck.conversation.names import ANSWERS
from pdcheck.conversation.steps import Stop
from pdcheck.rules import measure_next as todo
from pdcheck.rules.capture_limits import limit_of
from pdcheck.rules.late import late_requests, since_offer
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.words import span, times
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

_REF_ACK = "USB PD, section 6.7.1.1 (MessageID, GoodCRC) and 6.6.1 (CRCReceiveTimer, tReceive)"
#: So many clean silences make a party deaf; fewer may be a boot, a start, an end. Our own choice: one message
#: with the two retries that every revision has.
ENOUGH_SILENCES = 3
ENOUGH_WRONG = 2
#: A device that is just starting up may miss the first offers. Our own choice: three offers, at their usual pace.
_BOOTING_S = timers.TYPE_C_SEND_SOURCE_CAP.max_s
#: Retries follow one another within some 2 ms; a silence that lasts this long is final. Our own choice.
_RETRIES_OVER_S = 8e-3
#: Where fewer than this share of what is sent meanwhile can be read, its receiver may read no more. Our own choice.
_READABLE_SHARE = 0.5
#: Up to this share of unreadable answers may stand among clean silences.
_UNREADABLE_SHARE = 0.2


def silences_of(exchanges: Iterable[Exchange]) -> Counter[Silence]:
    """How often which silence stood where an acknowledgement should be."""
    return Counter(s for e in exchanges for s in e.silences)


def clean_silence(seen: Counter[Silence], enough: int = ENOUGH_SILENCES) -> bool:
    """True where the silences prove that nothing answered."""
    total = sum(seen.values())
    silent = seen[Silence.NOTHING] + seen[Silence.WRONG_SOP] + seen[Silence.LATE]
    return silent >= enough and seen[Silence.UNREADABLE] <= _UNREADABLE_SHARE * total


def _mostly_broken(case: Case, sent: list[Exchange]) -> str | None:
    """How much of what is sent while these messages are is broken, in words, where that is most of it; else None.

    Where this capture reads hardly anything, the receiver may have read nothing: nobody proves that it is deaf.
    """
    meanwhile = [
        t.packet.intact for t in case.conversation.transmissions
        if sent[0].start_s <= t.packet.start_s <= sent[-1].end_s and not (t.packet.sop and t.packet.sop.is_reset)
    ]
    if sum(meanwhile) >= _READABLE_SHARE * len(meanwhile):
        return None
    return f"{len(meanwhile) - sum(meanwhile)} of {len(meanwhile)} packets that are sent meanwhile cannot be read"


def _deaf(case: Case, sent: list[Exchange], claim: Claim) -> Claim:
    """A claim that a receiver is deaf, held back where hardly anything on the line can be read."""
    broken = _mostly_broken(case, sent)
    if broken is None:
        return claim
    limit = limit_of(case)
    return replace(
        claim, who=limit.who if limit else Who.LINK, effect=Effect.WITHHOLDS,
        next=limit.next if limit else todo.LINK_BAD,
        summary=f"{claim.summary} But {broken}: either they break on the wire, so that it hears no more than this "
        f"capture, or the capture is poor{': ' + limit.text if limit else ''}.",
    )


def _how_silent(seen: Counter[Silence]) -> str:
    if seen[Silence.LATE] > seen[Silence.NOTHING]:
        return f"its GoodCRCs come later than {timers.RECEIVE.max:g} ms"
    return "GoodCRC on another SOP" if seen[Silence.WRONG_SOP] > seen[Silence.NOTHING] else "no GoodCRC"


def unacknowledged(stop: Stop) -> list[Exchange]:
    """The messages whose missing acknowledgement stopped the tries of a stop."""
    if stop.step is Step.OFFER_ACKNOWLEDGED:
        return [o for n in stop.alike for o in n.offers]
    if stop.step is Step.REQUEST:
        return [n.request for n in stop.alike if n.request is not None]
    if stop.step is Step.ACCEPT:
        return [n.answer for n in stop.alike if n.answer is not None and n.accepted]
    if stop.step is Step.READY:
        return [n.ready for n in stop.alike if n.ready is not None]
    return []


def _answered_later(case: Case, since_s: float) -> bool:
    """True where the charger answers or says ready after these offers: then one was heard and asked for."""
    names = (*ANSWERS, "PS_RDY")
    resets = [e.start_s for e in case.conversation.exchanges if e.name == "Soft_Reset" and e.start_s > since_s]
    return any(
        e.name in names and e.sender is Party.SOURCE and e.start_s > since_s and not any(r < e.start_s for r in resets)
        for e in case.conversation.exchanges
    )


def _wrong_ids(exchanges: list[Exchange]) -> tuple[int, int]:
    for one in reversed(exchanges):
        if one.wrong_ids:
            return one.message.header.message_id, one.wrong_ids[-1]
    return 0, 0


@rule(
    id="offer-not-acknowledged", family="acknowledgement", severity=Severity.FAIL,
    title="The device never acknowledges the charger's offer",
    checks="Every intact Source_Capabilities is followed by the sink's GoodCRC within tReceive.",
    why="Without the acknowledgement the charger must assume that nobody who speaks USB PD is there; it repeats its "
    "offer and in the end gives the default 5 V only. The device draws little or nothing.",
    reference=_REF_ACK, next=todo.SINK_SILENT,
)
def offer_not_acknowledged(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.OFFER_ACKNOWLEDGED:
        return
    offers = unacknowledged(stop)
    seen = silences_of(offers)
    if seen[Silence.WRONG_ID] >= ENOUGH_WRONG or not clean_silence(seen):
        return
    if Party.SINK in case.unseen or len(offers) < 3 or case.conversation.duration_s - offers[0].start_s < _BOOTING_S:
        return
    if _answered_later(case, offers[0].start_s):
        return
    sent = sum(len(o.transmissions) for o in offers)
    endings = {n.ending for n in stop.alike}
    if sent == len(offers) and Ending.HARD_RESET in endings <= {Ending.HARD_RESET, Ending.CAPTURE_END}:
        yield Claim(
            Who.CAPTURE, offers[0].start_s,
            f"The capture shows no packet of the device; but the charger sent its {sent} offers once each, did not "
            "repeat any as it must where it hears no acknowledgement, and resets follow: what the device sends may be "
            "what this capture lacks.",
            stops_at=Step.OFFER_ACKNOWLEDGED, effect=Effect.WITHHOLDS, next=todo.LOOK_AGAIN,
        )
        return
    yield _deaf(case, offers, Claim(
        Who.SINK, offers[0].start_s,
        f"The charger sent its offer {sent} times in {span(offers[-1].end_s - offers[0].start_s)}; the device "
        f"acknowledged none of them ({_how_silent(seen)} after Source_Capabilities).",
        stops_at=Step.OFFER_ACKNOWLEDGED,
    ))


@rule(
    id="goodcrc-wrong-message-id", family="acknowledgement", severity=Severity.FAIL,
    title="The acknowledgement names another message",
    checks="A GoodCRC carries the MessageID of the message that it acknowledges.",
    why="An acknowledgement of another message does not count: the sender repeats and in the end resets. The "
    "receiver hears and answers, so wiring and clock are good; its protocol part has lost count.",
    reference=_REF_ACK, next=todo.SINK_DEAF_LOGIC,
)
def goodcrc_wrong_message_id(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None:
        return
    exchanges = unacknowledged(stop)
    wrong = silences_of(exchanges)[Silence.WRONG_ID]
    if not wrong:
        return
    sender = exchanges[-1].sender
    if wrong < ENOUGH_WRONG:
        # Once may be a slip; what it does with other messages as well is its way.
        others = [e for e in case.conversation.exchanges if e.sop is Sop.SOP and e.sender is sender]
        if silences_of(others)[Silence.WRONG_ID] <= ENOUGH_WRONG or silences_of(exchanges).total() > wrong:
            return
    sent, named = _wrong_ids(exchanges)
    who = Who.SINK if sender is Party.SOURCE else Who.SOURCE
    party = "device" if who is Who.SINK else "charger"
    yield Claim(
        who, exchanges[0].start_s,
        f"The {party} answers {exchanges[-1].name}, but its GoodCRC names MessageID {named} where {sent} was sent; "
        f"that does not count as an acknowledgement.",
        stops_at=stop.step,
        next=todo.SINK_DEAF_LOGIC if who is Who.SINK else todo.SOURCE_SILENT,
    )


@rule(
    id="goodcrc-wrong-sop", family="acknowledgement", severity=Severity.WARN,
    title="The acknowledgement goes to somebody else",
    checks="A GoodCRC carries the SOP of the message that it acknowledges: SOP between the ports, SOP' for the cable.",
    why="The sender does not take it for its own: it repeats and in the end resets.",
    reference=_REF_ACK, next=todo.SINK_DEAF_LOGIC,
)
def goodcrc_wrong_sop(case: Case) -> Iterator[Claim]:
    wrong = [e for e in case.conversation.exchanges if Silence.WRONG_SOP in e.silences]
    for party in (Party.SOURCE, Party.SINK):
        those = [e for e in wrong if e.sop is Sop.SOP and e.sender.other is party]
        if those:
            name = "device" if party is Party.SINK else "charger"
            yield Claim(
                Who(party.value), those[0].start_s,
                f"The {name} answers {those[0].name} with a GoodCRC on another SOP than the message's.",
            )


@rule(
    id="request-not-acknowledged", family="acknowledgement", severity=Severity.FAIL,
    title="The charger never acknowledges the device's request",
    checks="An intact Request is followed by the source's GoodCRC within tReceive.",
    why="The charger has not received the request, so it never switches. The device hears the charger; the charger "
    "does not hear the device.",
    reference=_REF_ACK, next=todo.SOURCE_SILENT,
)
def request_not_acknowledged(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.REQUEST or stop.negotiation.request is None or late_requests(case):
        return
    waited = since_offer(stop.negotiation)
    if waited is not None and waited > timers.SENDER_RESPONSE_R2_0.min_s:
        # It may have met a source that had given up, though the capture shows no reset.
        return
    requests = unacknowledged(stop)
    seen = silences_of(requests)
    # A reset that follows shows that the sender saw no acknowledgement either.
    enough = ENOUGH_SILENCES if stop.open_end else 1
    if stop.open_end and stop.waited_s < _RETRIES_OVER_S:
        return
    if seen[Silence.WRONG_ID] >= ENOUGH_WRONG or not clean_silence(seen, enough):
        return
    sent = sum(len(r.transmissions) for r in requests)
    yield _deaf(case, requests, Claim(
        Who.SOURCE, stop.negotiation.request.start_s,
        f"The device sent its Request {times(sent)}; the charger acknowledged none of them "
        f"({_how_silent(seen)}).",
        stops_at=Step.REQUEST,
    ))


@rule(
    id="accept-not-acknowledged", family="acknowledgement", severity=Severity.FAIL,
    title="The device does not acknowledge the charger's Accept",
    checks="An intact Accept is followed by the sink's GoodCRC within tReceive.",
    why="The charger cannot know that the device heard it, and resets instead of switching.",
    reference=_REF_ACK, next=todo.SINK_DEAF_LOGIC,
)
def accept_not_acknowledged(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT or not stop.negotiation.accepted:
        return
    yield from _not_heard(case, stop, "Accept")


@rule(
    id="ps-rdy-not-acknowledged", family="acknowledgement", severity=Severity.FAIL,
    title="The device does not acknowledge that the supply is ready",
    checks="An intact PS_RDY is followed by the sink's GoodCRC within tReceive, or the sink goes on talking.",
    why="Without it the contract is not confirmed; the charger resets and the device falls back to the default.",
    reference=_REF_ACK, next=todo.SINK_DEAF_LOGIC,
)
def ps_rdy_not_acknowledged(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.READY or stop.negotiation.ready is None:
        return
    yield from _not_heard(case, stop, "PS_RDY")


def _not_heard(case: Case, stop: Stop, name: str) -> Iterator[Claim]:
    messages = unacknowledged(stop)
    seen = silences_of(messages)
    if stop.open_end and stop.waited_s < _RETRIES_OVER_S:
        return
    if seen[Silence.WRONG_ID] >= ENOUGH_WRONG or not clean_silence(seen):
        return
    sent = sum(len(m.transmissions) for m in messages)
    yield _deaf(case, messages, Claim(
        Who.SINK, messages[0].start_s,
        f"The charger sent {name} {times(sent)}; the device acknowledged none of them "
        f"({_how_silent(seen)}).",
        stops_at=stop.step,
    ))


@rule(
    id="answer-unreadable", family="capture", severity=Severity.INFO,
    title="Something answers, but the capture cannot read it",
    checks="Whether something unreadable stands where an acknowledgement or an answer is missing.",
    why="What looks like a missing answer may have been sent. Nobody can be accused from this capture.",
    reference="our own rule", next=todo.LINK_BAD,
)
def answer_unreadable(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None:
        return
    missing = unacknowledged(stop)
    seen = silences_of(missing)
    enough = ENOUGH_SILENCES if stop.step is Step.OFFER_ACKNOWLEDGED else 1
    if missing and not clean_silence(seen, enough) and seen[Silence.UNREADABLE]:
        limit = limit_of(case)
        poor = f": {limit.text}" if limit else ""
        yield Claim(
            limit.who if limit else Who.LINK, missing[-1].start_s,
            f"After {missing[-1].name} something is sent {times(seen[Silence.UNREADABLE])} that this capture cannot "
            f"read. Either it breaks on the wire or the capture is too poor to show it{poor}.",
            stops_at=stop.step, effect=Effect.WITHHOLDS, next=limit.next if limit else None,
        )


RULES: tuple[Rule, ...] = (
    offer_not_acknowledged, goodcrc_wrong_message_id, goodcrc_wrong_sop, request_not_acknowledged,
    accept_not_acknowledged, ps_rdy_not_acknowledged, answer_unreadable,
)
