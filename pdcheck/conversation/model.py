"""A conversation as plain objects: who sent what, what was acknowledged, what was negotiated.

Why it is: rules read these and nothing else, so that an argument about fault is an argument about facts that
stand here with their times.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

from pdcheck.line.model import Burst, Packet
from pdcheck.messages.model import DataObject, Message
from pdcheck.standard.line_code import Sop


class Party(StrEnum):
    """Who sent a packet."""

    SOURCE = "source"
    SINK = "sink"
    CABLE = "cable"
    UNKNOWN = "unknown"

    @property
    def other(self) -> Party:
        """The port at the other end; UNKNOWN for anything but a port."""
        return {Party.SOURCE: Party.SINK, Party.SINK: Party.SOURCE}.get(self, Party.UNKNOWN)


class Step(StrEnum):
    """The steps of a negotiation, in their order."""

    ATTACH = "attach"
    OFFER = "offer"
    OFFER_ACKNOWLEDGED = "offer_acknowledged"
    REQUEST = "request"
    ACCEPT = "accept"
    READY = "ready"
    DELIVERY = "delivery"

    @property
    def rank(self) -> int:
        """0 for the first step, 6 for the last."""
        return list(Step).index(self)


class Transmission(NamedTuple):
    """One packet or signal on the line; a tuple, as the packet is. ``message`` is None for signals and broken packets.

    ``acknowledged`` is None where it needs no acknowledgement or where the capture cannot tell.
    """

    packet: Packet
    sender: Party
    message: Message | None
    acknowledged: bool | None = None

    @property
    def name(self) -> str:
        """The message's or signal's name; for a broken packet what is known of it."""
        if self.message is not None:
            return self.message.name
        if self.packet.sop is not None and self.packet.sop.is_reset:
            return self.packet.sop.value
        return "(unreadable)"


class Silence(StrEnum):
    """What stands where an acknowledgement should be."""

    NOTHING = "nothing"
    WRONG_ID = "a GoodCRC with another MessageID"
    WRONG_SOP = "a GoodCRC on another SOP"
    LATE = "a GoodCRC after tReceive, when the sender had given up"
    UNREADABLE = "something that the capture cannot read"
    CAPTURE_ENDS = "the capture's end"
    NOT_SHOWN = "nothing, in a capture that shows none of this party's GoodCRCs"


_NO_ACKNOWLEDGEMENT = (Silence.NOTHING, Silence.WRONG_ID, Silence.WRONG_SOP, Silence.LATE)


@dataclass(frozen=True)
class Exchange:
    """One message with its retries and its acknowledgement.

    ``acknowledged_s``: end of the matching GoodCRC, None where there is none. ``silences``: for every
    transmission that was not acknowledged, what was there instead. ``wrong_ids``: the MessageIDs of GoodCRCs that
    named another message. ``start_s`` and ``end_s``: of its transmissions, from the first to the last.
    """

    name: str
    sender: Party
    sop: Sop
    message: Message
    transmissions: tuple[Packet, ...]
    acknowledged_s: float | None
    silences: tuple[Silence, ...]
    wrong_ids: tuple[int, ...]
    # Every rule asks for these, of every exchange.
    start_s: float = field(init=False, repr=False, compare=False)
    end_s: float = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "start_s", self.transmissions[0].start_s)
        object.__setattr__(self, "end_s", self.transmissions[-1].end_s)

    @property
    def acknowledged(self) -> bool | None:
        """True, False, or None where the capture cannot tell."""
        if self.acknowledged_s is not None:
            return True
        return False if any(s in _NO_ACKNOWLEDGEMENT for s in self.silences) else None

    @property
    def settled_s(self) -> float:
        """The moment from which the other side's time to answer runs."""
        return self.acknowledged_s if self.acknowledged_s is not None else self.end_s


def _start_s(one: Exchange) -> float:
    return one.start_s


@dataclass(frozen=True)
class Reset:
    """A Hard Reset or Cable Reset on the line, with its sender where the bit rate gives it away."""

    packet: Packet
    sender: Party

    @property
    def start_s(self) -> float:
        return self.packet.start_s


class Ending(StrEnum):
    """How a negotiation ended."""

    READY = "PS_RDY"
    REJECT = "Reject"
    WAIT = "Wait"
    HARD_RESET = "Hard Reset"
    SOFT_RESET = "Soft_Reset"
    REPLACED = "a new offer"
    CAPTURE_END = "the end of the capture"


@dataclass(frozen=True)
class Negotiation:
    """One try to reach a contract: an offer in force and what followed.

    ``offer`` is None where the capture does not show it. ``offers`` are the offers of this try that came
    before an answer (unanswered repeats included). ``late_request`` is a Request that came only after the
    reset that ended the try. ``next_s`` is when the ending event began.
    """

    offers: tuple[Exchange, ...]
    offer: Exchange | None
    offered: tuple[DataObject, ...]
    request: Exchange | None
    answer: Exchange | None
    ready: Exchange | None
    ending: Ending
    next_s: float
    reset: Reset | None
    late_request: Exchange | None
    under_contract: bool

    @property
    def start_s(self) -> float:
        for exchange in (*self.offers, self.offer, self.request, self.answer):
            if exchange is not None:
                return exchange.start_s
        return self.next_s

    @property
    def requested(self) -> DataObject | None:
        """The request object, laid out by the object it asks for."""
        if self.request is None or not self.request.message.objects:
            return None
        return self.request.message.objects[0]

    @property
    def accepted(self) -> bool:
        return self.answer is not None and self.answer.name == "Accept"


@dataclass(frozen=True)
class Contract:
    """An explicit contract. ``since_s``: its PS_RDY; ``renewed_s``: the starts of all Requests for it;
    ``ended_s``: the reset or new contract that ended it, None where it stands."""

    kind: str
    position: int
    voltage_mv: int | None
    min_voltage_mv: int | None
    max_voltage_mv: int | None
    current_ma: int | None
    power_mw: int | None
    since_s: float
    renewed_s: tuple[float, ...]
    ended_s: float | None
    ended_by: Reset | None


@dataclass(frozen=True)
class Conversation:
    """Everything the rules argue from. Times in seconds from the start of the capture.

    ``starts_midway``: the first power negotiation's beginning lies before the capture.
    ``orphans``: starts of GoodCRCs and answers that belong to nothing that the capture shows: packets are missing.
    ``goodcrc_shown``: which ports' GoodCRCs the capture shows at all.
    """

    transmissions: tuple[Transmission, ...]
    exchanges: tuple[Exchange, ...]
    negotiations: tuple[Negotiation, ...]
    contracts: tuple[Contract, ...]
    resets: tuple[Reset, ...]
    bursts: tuple[Burst, ...]
    revision: str | None
    starts_midway: bool
    orphans: tuple[float, ...]
    goodcrc_shown: frozenset[Party]
    duration_s: float

    @cached_property
    def steps(self) -> tuple[Exchange | Reset, ...]:
        """Exchanges and resets in the order of time."""
        if not self.resets:
            return self.exchanges
        return tuple(sorted([*self.exchanges, *self.resets], key=lambda step: step.start_s))

    def begun_before(self, moment_s: float) -> int:
        """How many exchanges begin before a moment (seconds): the place in ``exchanges`` of the first of the others."""
        return bisect_left(self.exchanges, moment_s, key=_start_s)

    def begun_by(self, moment_s: float) -> int:
        """The same with those that begin just then."""
        return bisect_right(self.exchanges, moment_s, key=_start_s)

    @cached_property
    def hard_resets(self) -> tuple[Reset, ...]:
        """The Hard Resets among the resets, in the order of time."""
        return tuple(r for r in self.resets if r.packet.sop is Sop.HARD_RESET)

    @property
    def standing(self) -> Contract | None:
        """The contract in force at the end of the capture."""
        if self.contracts and self.contracts[-1].ended_s is None:
            return self.contracts[-1]
        return None
