"""From exchanges to negotiations and contracts: drives the state table over the whole capture.

Why it is: an Accept may answer a Request, a swap or a Soft_Reset. This is where each answer finds the question
it belongs to, each request the offer it was made from, and each contract its end.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pdcheck.conversation.acknowledge import pair
from pdcheck.conversation.machine import Action, Event, State, advance
from pdcheck.conversation.model import (
    Contract,
    Conversation,
    Ending,
    Exchange,
    Negotiation,
    Party,
    Reset,
    Silence,
    Transmission,
)
from pdcheck.conversation.names import ANSWERS, LONG_OFFER, OFFERS, POWER_SWAPS, REQUESTS, REVISIONS
from pdcheck.line.model import Burst, LineReading, Packet
from pdcheck.messages import request_in_context
from pdcheck.messages.model import DataObject, Message
from pdcheck.standard import counters, timers
from pdcheck.standard.line_code import Sop

if TYPE_CHECKING:
    from pdcheck.messages.chunks import Reassembler

_ANSWER_EVENTS = {"Accept": Event.ACCEPT, "Reject": Event.REJECT, "Wait": Event.WAIT}
#: Messages that the other port answers with Accept, Reject or Wait.
_QUESTIONS = frozenset({
    *REQUESTS, "DR_Swap", "PR_Swap", "VCONN_Swap", "FR_Swap", "Soft_Reset", "Data_Reset", "Enter_USB",
})
#: A Request this soon after the reset that ended a try was meant for that try's offer. Our own choice, well
#: under the time for which a source keeps VBUS off.
_LATE_REQUEST_S = 0.5
_LAST_ID = int(counters.MESSAGE_ID_COUNT.nominal)
#: A sender that got no GoodCRC repeats within some 1.3 ms and resets soon after; after this long it was content.
_CONTENT_S = 50e-3
_ENDINGS = {
    Event.REJECT: Ending.REJECT, Event.WAIT: Ending.WAIT, Event.READY: Ending.READY,
    Event.SOFT_RESET: Ending.SOFT_RESET, Event.HARD_RESET: Ending.HARD_RESET,
}


def follow(reading: LineReading) -> Conversation:
    """The conversation that a line reading holds."""
    return follow_packets(reading.packets, reading.bursts, reading.capture.duration_s)


def follow_packets(packets: Sequence[Packet], bursts: Sequence[Burst], duration_s: float) -> Conversation:
    """The conversation that packets make.

    :param packets: in time order.
    :param bursts: what was on the line and is no packet, in time order.
    :param duration_s: length of the capture in seconds.
    """
    paired = pair(packets, bursts, duration_s)
    steps: list[Exchange | Reset] = sorted([*paired.exchanges, *paired.resets], key=lambda step: step.start_s)
    follower = _Follower(duration_s)
    exchanges: list[Exchange] = []
    in_context: dict[int, Message] = {}
    for index, step in enumerate(steps):
        if isinstance(step, Reset):
            if step.packet.sop is Sop.HARD_RESET:
                follower.reset(step)
            continue
        if step.sop is Sop.SOP:
            alone = step.message
            step = follower.see(step, _confirmed(step, steps, index, duration_s))
            if step.message is not alone:
                in_context.update((id(packet), step.message) for packet in step.transmissions)
        exchanges.append(step)
    follower.finish()
    return Conversation(
        transmissions=_in_context(paired.transmissions, in_context), exchanges=tuple(exchanges),
        negotiations=tuple(follower.negotiations), contracts=tuple(follower.contracts),
        resets=paired.resets, bursts=tuple(bursts),
        revision=_revision(exchanges), starts_midway=follower.starts_midway,
        orphans=(*paired.orphans, *follower.unasked), goodcrc_shown=paired.goodcrc_shown,
        duration_s=duration_s,
    )


def _in_context(sent: tuple[Transmission, ...], read: Mapping[int, Message]) -> tuple[Transmission, ...]:
    """The transmissions with their messages as the exchanges read them: a request by what it asks for.

    :param read: the messages that are read otherwise than alone, by the identity of their packets.
    """
    if not read:
        return sent
    return tuple(t._replace(message=read[id(t.packet)]) if id(t.packet) in read else t for t in sent)


def _confirmed(step: Exchange, steps: Sequence[Exchange | Reset], index: int, duration_s: float) -> bool:
    """True where the other port is known to have received ``step``: by its GoodCRC, because it went on talking
    without a reset, because this capture shows none of its GoodCRCs, or because the sender was content with an
    answer that only this capture cannot read (it did not repeat the message)."""
    if step.acknowledged_s is not None or Silence.NOT_SHOWN in step.silences:
        return True
    if step.name != "PS_RDY":
        return False
    for later in steps[index + 1 : index + 6]:
        if isinstance(later, Reset) or later.name in ("Soft_Reset", *OFFERS):
            return False
        if later.sender is step.sender.other or later.acknowledged:
            return True
    return step.silences[-1] is Silence.UNREADABLE and duration_s - step.end_s > _CONTENT_S


@dataclass
class _Try:
    """A negotiation while it is going on."""

    under_contract: bool
    offers: list[Exchange] = field(default_factory=list)
    offer: Exchange | None = None
    offered: tuple[DataObject, ...] = ()
    request: Exchange | None = None
    answer: Exchange | None = None
    ready: Exchange | None = None


class _Follower:
    """Drives the table and writes down what its actions say."""

    def __init__(self, duration_s: float) -> None:
        self.duration_s = duration_s
        self.state = State.IDLE
        self.current: _Try | None = None
        self.offer: Exchange | None = None
        self.offered: tuple[DataObject, ...] = ()
        self.negotiations: list[Negotiation] = []
        self.contracts: list[Contract] = []
        self._renewals: list[list[float]] = []  # of each contract
        self.starts_midway = False
        self.unasked: list[float] = []
        self._seen_beginning = False
        self._last_id: int | None = None
        self._last_s = 0.0
        self._question: dict[Party, str] = {}
        self._chunks: Reassembler | None = None

    # -- what comes in -------------------------------------------------------------------------------

    def see(self, exchange: Exchange, confirmed: bool) -> Exchange:
        """Take one exchange; returns it with its message read in context."""
        name = exchange.name
        if not self._seen_beginning:
            self._seen_beginning = True
            self.starts_midway = name not in (*OFFERS, "Soft_Reset", "Get_Source_Cap")
        if exchange.sender is Party.SOURCE and exchange.message.extended_header is not None:
            exchange, whole = self._assemble(exchange)
            if name == LONG_OFFER and not whole:
                return exchange
        if name in REQUESTS:
            read = request_in_context(exchange.message, self.offered)
            exchange = exchange if read is exchange.message else replace(exchange, message=read)
        self._plugging(exchange)
        event = self._event(exchange)
        if event is not None:
            self._step(event, exchange, confirmed)
        return exchange

    def reset(self, reset: Reset) -> None:
        """Take a Hard Reset: everything agreed is void."""
        self._seen_beginning = True
        self._last_id = None
        self._question.clear()
        self._step(Event.HARD_RESET, reset, True)
        if self.contracts and self.contracts[-1].ended_s is None:
            self.contracts[-1] = replace(self.contracts[-1], ended_s=reset.start_s, ended_by=reset)
        self.offer, self.offered = None, ()

    def finish(self) -> None:
        """Take the end of the capture."""
        if self.current is not None:
            self._close(Ending.CAPTURE_END, self.duration_s, None)
        # Only now, for a programmable supply renews its contract thousands of times.
        self.contracts = [
            replace(one, renewed_s=tuple(asked_s)) for one, asked_s in zip(self.contracts, self._renewals, strict=True)
        ]

    def _plugging(self, exchange: Exchange) -> None:
        """End the contract where the source begins anew without a reset: the plug was out meanwhile.

        Its offer carries MessageID 0 after a pause of an attach, though its count was not there yet.
        """
        number = exchange.message.header.message_id
        if exchange.sender is Party.SOURCE:
            anew = exchange.name in OFFERS and number == 0 and self._last_id not in (None, 0, _LAST_ID)
            if anew and self._standing() and exchange.start_s - self._last_s > timers.CC_DEBOUNCE.min_s:
                self.contracts[-1] = replace(self.contracts[-1], ended_s=self._last_s)
            self._last_id = number
        self._last_s = exchange.settled_s

    def _assemble(self, exchange: Exchange) -> tuple[Exchange, bool]:
        """The exchange with the objects of the long message that its chunk completes, and whether it does."""
        if self._chunks is None:
            # Most captures hold no such message, and start-up time is dear.
            from pdcheck.messages.chunks import Reassembler

            self._chunks = Reassembler()
        for done in self._chunks.take(exchange.message):
            if done.complete and done.name == exchange.name:
                return replace(exchange, message=replace(exchange.message, objects=done.objects)), True
        return exchange, False

    # -- which question an answer belongs to -----------------------------------------------------------

    def _event(self, exchange: Exchange) -> Event | None:
        name, sender = exchange.name, exchange.sender
        if name in OFFERS:
            # A sink with a source role of its own may tell its capabilities; that is no offer in force.
            return Event.OFFER if sender is Party.SOURCE else None
        if name in _QUESTIONS:
            self._question[sender] = name
            if name == "Soft_Reset":
                self._last_id = None
                self._question.pop(sender.other, None)
                return Event.SOFT_RESET
            return Event.REQUEST if name in REQUESTS else None
        if name in ANSWERS or name == "Not_Supported":
            question = self._question.pop(sender.other, None)
            if question is None and name == "Accept" and not self._too_late(exchange):
                self.unasked.append(exchange.start_s)
            if name == "Accept" and question in POWER_SWAPS:
                # The new source makes an offer of its own, and the PS_RDYs that come now are those of the swap: what
                # was still open has ended in something that the capture does not show.
                self.offer, self.offered = None, ()
                if self.current is not None:
                    self._close(Ending.REPLACED, exchange.start_s, None)
                    self.state = State.IDLE
                if self._standing():
                    self.contracts[-1] = replace(self.contracts[-1], ended_s=exchange.start_s)
            if question in REQUESTS or (question is None and self.state is State.REQUESTED):
                return _ANSWER_EVENTS.get(name)
            return None
        if name == "PS_RDY" and sender is Party.SOURCE:
            # In the wait for an answer it proves an Accept that the capture does not show.
            unanswered = self.state is State.REQUESTED and self._question.get(Party.SINK) in REQUESTS
            return Event.READY if unanswered or self.state is State.ACCEPTED else None
        return None

    # -- what the table says ---------------------------------------------------------------------------

    def _step(self, event: Event, what: Exchange | Reset, confirmed: bool) -> None:
        self.state, action = advance(self.state, event)
        reset = what if isinstance(what, Reset) else None
        exchange = what if isinstance(what, Exchange) else None
        if event is Event.SOFT_RESET and self.current is None:
            self.offer, self.offered = None, ()
        if action is Action.NOTHING:
            return
        if action is Action.CLOSE:
            assert self.current is not None
            if event in (Event.REJECT, Event.WAIT):
                self.current.answer = exchange
            elif event is Event.READY:
                self.current.ready = exchange
            self._close(_ENDINGS[event], what.start_s, reset)
            if event is Event.READY and confirmed:
                self._contract(self.negotiations[-1])
            if event is Event.SOFT_RESET:
                self.offer, self.offered = None, ()
            return
        assert exchange is not None
        if action is Action.ASK_AGAIN and self._was_late(exchange):
            self.state = State.IDLE
            return
        if event is Event.REQUEST and self.offer is None and self.negotiations:
            self.unasked.append(exchange.start_s)
        if action in (Action.ANEW, Action.REASK):
            self._close(Ending.REPLACED, exchange.start_s, None)
        if action in (Action.OPEN, Action.ANEW, Action.ASK_AGAIN, Action.REASK):
            self.current = _Try(under_contract=self._standing(), offer=self.offer, offered=self.offered)
        assert self.current is not None
        if action in (Action.OPEN, Action.ANEW, Action.REPEAT):
            self.offer, self.offered = exchange, exchange.message.objects
            self.current.offers.append(exchange)
            self.current.offer, self.current.offered = self.offer, self.offered
        elif action in (Action.ASK, Action.ASK_AGAIN, Action.REASK):
            self.current.request = exchange
        else:
            self.current.answer = exchange

    def _too_late(self, answer: Exchange) -> bool:
        """True for an answer to the Request of a try that a reset has just ended."""
        last = self.negotiations[-1] if self.negotiations and self.current is None else None
        return (
            last is not None and last.ending is Ending.HARD_RESET and last.request is not None and last.answer is None
            and answer.start_s - last.next_s < _LATE_REQUEST_S
        )

    def _was_late(self, request: Exchange) -> bool:
        """Attach a Request that follows a reset to the try that the reset ended."""
        if self.offer is not None or not self.negotiations:
            return False
        last = self.negotiations[-1]
        if last.ending is not Ending.HARD_RESET or last.request is not None or not last.offers:
            return False
        if request.start_s - last.next_s > _LATE_REQUEST_S:
            return False
        read = request_in_context(request.message, last.offered)
        self.negotiations[-1] = replace(last, late_request=replace(request, message=read))
        return True

    def _standing(self) -> bool:
        return bool(self.contracts) and self.contracts[-1].ended_s is None

    def _close(self, ending: Ending, next_s: float, reset: Reset | None) -> None:
        one = self.current
        assert one is not None
        self.negotiations.append(Negotiation(
            offers=tuple(one.offers), offer=one.offer, offered=one.offered, request=one.request, answer=one.answer,
            ready=one.ready, ending=ending, next_s=next_s, reset=reset, late_request=None,
            under_contract=one.under_contract,
        ))
        self.current = None

    def _contract(self, done: Negotiation) -> None:
        contract = contract_of(done)
        if contract is None:
            return
        last = self.contracts[-1] if self.contracts else None
        if last is not None and last.ended_s is None:
            if _same_terms(last, contract):
                self._renewals[-1].extend(contract.renewed_s)
                return
            self.contracts[-1] = replace(last, ended_s=contract.since_s)
        self.contracts.append(contract)
        self._renewals.append(list(contract.renewed_s))


def contract_of(done: Negotiation) -> Contract | None:
    """The contract that a finished negotiation made; None where the capture does not show its offer."""
    request, ready = done.request, done.ready
    wanted = done.requested
    if request is None or ready is None or wanted is None or wanted.kind != "request":
        return None
    position = wanted.integer("position")
    if position is None:
        return None
    given = object_at(done.offered, position)
    if given is None:
        return None
    voltage = wanted.integer("voltage_mv")
    if voltage is None:
        voltage = given.integer("voltage_mv")
    return Contract(
        kind=given.kind, position=position, voltage_mv=voltage,
        min_voltage_mv=given.integer("min_voltage_mv"), max_voltage_mv=given.integer("max_voltage_mv"),
        current_ma=wanted.integer("operating_current_ma"), power_mw=wanted.integer("operating_power_mw"),
        since_s=ready.start_s, renewed_s=(request.start_s,), ended_s=None, ended_by=None,
    )


def object_at(offered: tuple[DataObject, ...], position: int) -> DataObject | None:
    """The offered object at a request's position (counted from 1); None for a position that was not offered.

    Empty places of an EPR offer (all bits zero) are no offer.
    """
    if not 1 <= position <= len(offered):
        return None
    found = offered[position - 1]
    return None if found.raw == 0 else found


def _same_terms(a: Contract, b: Contract) -> bool:
    return (a.kind, a.position, a.voltage_mv, a.current_ma, a.power_mw) == (
        b.kind, b.position, b.voltage_mv, b.current_ma, b.power_mw)


def _revision(exchanges: Sequence[Exchange]) -> str | None:
    """The revision that the two ports settled on: the lower of what each says, GoodCRC aside."""
    highest: dict[Party, int] = {}
    for one in exchanges:
        if one.sop is Sop.SOP and one.sender in (Party.SOURCE, Party.SINK):
            highest[one.sender] = one.message.header.revision
    if not highest:
        return None
    return REVISIONS.get(min(highest.values()))
