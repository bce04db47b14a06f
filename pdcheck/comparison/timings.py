"""Every delay of a conversation that the comparison looks at, as lists of seconds.

Why it is: each delay is one party's answer to another's move. What is measured, from where to where, and against
which limit, is said here in one table.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise

from pdcheck.capture.model import AnalogLine
from pdcheck.comparison.model import Allowed, Judged, Measure
from pdcheck.comparison.spread import measured, values_of
from pdcheck.conversation.model import Conversation, Party
from pdcheck.conversation.steps import received
from pdcheck.rules import Case
from pdcheck.rules.held import bounds_mv
from pdcheck.standard import electrical, timers
from pdcheck.standard.limit import Limit
from pdcheck.standard.line_code import Sop

#: A change of VBUS smaller than this has no moment at which it is done. Our own choice.
_LEAST_CHANGE_MV = 500
#: How long after PS_RDY VBUS is still looked for.
_LOOK_S = 0.3
_BIT_S = electrical.UNIT_INTERVAL.max_s
#: At most so many values of one delay are used: a contract that is kept alive for hours says nothing new.
MOST_VALUES = 2000
#: Packets that are looked through for each of them: no exchange of a negotiation has more. Our own choice.
_PACKETS_A_VALUE = 8


_Find = Callable[[Conversation], Iterator[float]]


def _at_most(limit: Limit, words: str = "") -> Allowed:
    return Allowed(None, limit.max_s, words or f"{limit.name}, {limit.words()}")


@dataclass(frozen=True)
class _Delay:
    id: str
    label: str
    allowed: Allowed | None
    find: _Find


def _acknowledging(party: Party, offers: bool) -> _Find:
    """From a message's end to the start of its GoodCRC, by ``party``."""
    sender = party.other

    def find(talk: Conversation) -> Iterator[float]:
        some = talk.transmissions[: _PACKETS_A_VALUE * MOST_VALUES]
        starts = {t.packet.end_s: t.packet.start_s for t in some if t.name == "GoodCRC"}
        for one in talk.exchanges:
            if one.sop is Sop.SOP and one.sender is sender and (not offers or one.name == "Source_Capabilities"):
                start = starts.get(one.acknowledged_s) if one.acknowledged_s is not None else None
                if start is not None and start > one.end_s:
                    yield start - one.end_s

    return find


def _asking(talk: Conversation) -> Iterator[float]:
    for one in talk.negotiations:
        heard = [o for o in one.offers if received(o)]
        asked = one.request or one.late_request
        if heard and asked is not None and asked.start_s > heard[-1].settled_s:
            yield asked.start_s - heard[-1].settled_s


def _answering(talk: Conversation) -> Iterator[float]:
    for one in talk.negotiations:
        if one.request is not None and one.answer is not None and one.answer.start_s > one.request.settled_s:
            yield one.answer.start_s - one.request.settled_s


def _getting_ready(extended: bool) -> _Find:
    def find(talk: Conversation) -> Iterator[float]:
        for one in talk.negotiations:
            if one.request is None or one.answer is None or one.ready is None or not one.accepted:
                continue
            if (one.request.name == "EPR_Request") is extended:
                yield one.ready.start_s - one.answer.settled_s

    return find


def _offering_again(talk: Conversation) -> Iterator[float]:
    """From the last retry of an unheard offer to the next offer of the try."""
    return (b.start_s - a.end_s for n in talk.negotiations for a, b in pairwise(n.offers) if a.acknowledged is False)


def _retrying(talk: Conversation) -> Iterator[float]:
    """From a message's end to the start of its retry."""
    return (b.start_s - a.end_s for e in talk.exchanges if e.sop is Sop.SOP for a, b in pairwise(e.transmissions))


def _renewing(talk: Conversation) -> Iterator[float]:
    """Between the requests that keep a programmable contract."""
    last: float | None = None
    for one in talk.negotiations:
        if one.request is None or one.ready is None:
            continue
        programmable = one.requested is not None and one.requested.integer("voltage_mv") is not None
        if programmable and one.under_contract and last is not None:
            yield one.request.start_s - last
        last = one.request.start_s if programmable else None


def _keeping_epr(talk: Conversation) -> Iterator[float]:
    says = (e.start_s for e in talk.exchanges if e.sender is Party.SINK and e.name == "Extended_Control")
    return (b - a for a, b in pairwise(says))


_ACKNOWLEDGED = _at_most(timers.TRANSMIT)
_ANSWERED = _at_most(timers.RECEIVER_RESPONSE)

DELAYS: tuple[_Delay, ...] = (
    _Delay("offer_to_ack", "offer to the device's GoodCRC", _ACKNOWLEDGED, _acknowledging(Party.SINK, True)),
    _Delay("ack_to_request", "that GoodCRC to Request", _ANSWERED, _asking),
    _Delay("request_to_answer", "Request heard to answer", _ANSWERED, _answering),
    _Delay("accept_to_ready", "Accept to PS_RDY", Allowed(
        None, timers.PS_TRANSITION_SPR.min_s,
        f"a device waits {timers.PS_TRANSITION_SPR.words()} ({timers.PS_TRANSITION_SPR.name})",
    ), _getting_ready(False)),
    _Delay("accept_to_ready_epr", "Accept to PS_RDY, EPR", Allowed(
        None, timers.PS_TRANSITION_EPR.min_s,
        f"a device waits {timers.PS_TRANSITION_EPR.words()} ({timers.PS_TRANSITION_EPR.name})",
    ), _getting_ready(True)),
    _Delay("device_ack", "the device's GoodCRCs", _ACKNOWLEDGED, _acknowledging(Party.SINK, False)),
    _Delay("charger_ack", "the charger's GoodCRCs", _ACKNOWLEDGED, _acknowledging(Party.SOURCE, False)),
    _Delay("offer_repeat", "unheard offer to the next", Allowed(
        timers.TYPE_C_SEND_SOURCE_CAP.min_s, timers.TYPE_C_SEND_SOURCE_CAP.max_s,
        f"{timers.TYPE_C_SEND_SOURCE_CAP.name}, {timers.TYPE_C_SEND_SOURCE_CAP.words()}",
    ), _offering_again),
    _Delay("retry", "message to its retry", Allowed(
        timers.RECEIVE.min_s, timers.RECEIVE.max_s + timers.TRANSMIT.max_s,
        f"{timers.RECEIVE.name} {timers.RECEIVE.words()} and {timers.TRANSMIT.name} {timers.TRANSMIT.words()}",
    ), _retrying),
    _Delay("renewal", "renewals of the contract", _at_most(timers.PPS_REQUEST), _renewing),
    _Delay("epr_keep_alive", "EPR keep-alive", _at_most(timers.SINK_EPR_KEEP_ALIVE), _keeping_epr),
)


def timings(good: Judged, bad: Judged) -> list[Measure]:
    """Every delay that either side shows, on both sides."""
    step = [_step(side) for side in (good, bad)]
    found = []
    for delay in DELAYS:
        values = [
            values_of(list(islice(delay.find(side.conversation), MOST_VALUES)), s)
            for side, s in zip((good, bad), step, strict=True)
        ]
        if any(v is not None for v in values):
            found.append(measured(delay.id, delay.label, "s", values[0], values[1], delay.allowed))
    delivered = [values_of(*_delivering(side)) for side in (good, bad)]
    if any(v is not None for v in delivered):
        allowed = Allowed(None, 0.0, "VBUS is there before PS_RDY says so")
        found.append(measured("ready_to_vbus", "PS_RDY to VBUS", "s", delivered[0], delivered[1], allowed))
    return found


def _step(side: Judged) -> float:
    """What one side's times resolve: both ends of a delay lie on samples, and a packet's end is known to a bit."""
    step = side.reading.quality.time_step_s
    return _BIT_S + (2 * step if step is not None else 0.0)


def _delivering(side: Judged) -> tuple[list[float], float]:
    """From PS_RDY to VBUS at the contract's level (negative where it was there before), and what that resolves."""
    vbus = Case.of(side.reading, side.conversation).vbus
    if vbus is None:
        return [], 0.0
    found: list[float] = []
    resolution = 0.0
    made = {n.ready.start_s: n for n in side.conversation.negotiations if n.ready is not None}
    for contract in side.conversation.contracts[:MOST_VALUES]:
        one, bounds = made.get(contract.since_s), bounds_mv(contract)
        if one is None or one.answer is None or bounds is None:
            continue
        start = one.answer.start_s
        before = vbus.during(max(0.0, start - 5e-3), start)
        if before is None or min(abs(before.typical * 1e3 - b) for b in bounds) < _LEAST_CHANGE_MV:
            continue
        if bounds[0] <= before.typical * 1e3 <= bounds[1]:
            continue
        arrived = _arrival(vbus, start, contract.since_s + _LOOK_S, bounds)
        if arrived is not None:
            found.append(arrived[0] - contract.since_s)
            resolution = max(resolution, arrived[1])
    return found, resolution


def _arrival(
    vbus: AnalogLine, start_s: float, end_s: float, bounds_mv: Sequence[float]
) -> tuple[float, float] | None:
    """When VBUS first reads a level within bounds, and the time since the sample before; None where it never does."""
    times = vbus.times_s
    place = bisect_right(times, start_s)
    while place < len(times) and float(times[place]) <= end_s:
        if bounds_mv[0] <= float(vbus.values[place]) * 1e3 <= bounds_mv[1]:
            return float(times[place]), float(times[place] - times[place - 1]) if place else 0.0
        place += 1
    return None
