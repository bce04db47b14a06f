"""From packets to exchanges: who sent each, which GoodCRC belongs to it, which packets are retries.

Why it is: "was it acknowledged?" is the question on which most verdicts turn. The answer has three values:
yes, no, and "this capture cannot tell".
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from pdcheck.conversation.model import Exchange, Party, Reset, Silence, Transmission
from pdcheck.conversation.names import ANSWERS, OFFERS, REQUESTS
from pdcheck.line.model import Burst, Packet
from pdcheck.messages import parse
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

_GOODCRC = "GoodCRC"
#: A GoodCRC begins within tTransmit (195 us) and is complete within tReceive; a late one is still paired.
_LATEST_ACK_S = 1.4 * timers.RECEIVE.max_s
#: By so much the end of a packet may be read wrongly. Our own choice.
_LATE_BY_S = 50e-6
#: Something unreadable that begins before a retry can begin (tReceive minimum) stands where the GoodCRC should be.
_ACK_PLACE_S = 0.8 * timers.RECEIVE.min_s
#: A repeat of the same bytes this soon is a retry; later it is a new try. Retries follow within about 1.3 ms.
_RETRY_S = 8e-3
#: Bit rates of two ports must differ by this share before a reset's rate says whose it is. Our own choice.
_RATE_APART = 0.006


@dataclass(frozen=True)
class Paired:
    """Transmissions in time order with their acknowledgements, exchanges, resets.

    ``orphans``: starts of GoodCRCs that acknowledge nothing that the capture shows. ``goodcrc_shown``: which ports'
    GoodCRCs it shows at all.
    """

    transmissions: tuple[Transmission, ...]
    exchanges: tuple[Exchange, ...]
    resets: tuple[Reset, ...]
    orphans: tuple[float, ...]
    goodcrc_shown: frozenset[Party]


def pair(packets: Sequence[Packet], bursts: Sequence[Burst], duration_s: float) -> Paired:
    """Name the senders, pair the acknowledgements, fold the retries.

    :param packets: in time order.
    :param bursts: what was on the line and is no packet, in time order.
    """
    sent = _name_senders(packets)
    obstacles = sorted([b.start_s for b in bursts] + [p.start_s for p in packets if not p.intact])
    drafts: list[_Draft] = []
    goodcrcs: list[int] = []
    used: set[int | None] = set()
    for index, one in enumerate(sent):
        if one.message is None:
            continue
        if one.message.name == _GOODCRC:
            goodcrcs.append(index)
            continue
        found = _acknowledgement(sent, index, obstacles, duration_s)
        used.add(found.by)
        last = drafts[-1] if drafts else None
        if last is not None and last.repeats(one):
            last.packets.append(one.packet)
        else:
            last = _Draft(one, [one.packet])
            drafts.append(last)
        if found.end_s is not None:
            last.acknowledged_s = found.end_s
            last.late.append(found.late)
        if found.silence is not None:
            last.silences.append(found.silence)
        if found.wrong_id is not None:
            last.wrong_ids.append(found.wrong_id)
        last.members.append(index)
    shown = frozenset(sent[index].sender for index in goodcrcs)
    exchanges = [d.done() for d in drafts]
    for party in (Party.SOURCE, Party.SINK):
        if party not in shown and _heard_without_goodcrc(exchanges, party):
            exchanges = [_not_shown(e) if e.sender is party.other and e.sop is Sop.SOP else e for e in exchanges]
    resets = tuple(Reset(t.packet, t.sender) for t in sent if t.packet.sop is not None and t.packet.sop.is_reset)
    orphans = tuple(sent[index].packet.start_s for index in goodcrcs if index not in used)
    for draft, exchange in zip(drafts, exchanges, strict=True):
        acknowledged = exchange.acknowledged
        if acknowledged is not None:
            for index in draft.members:
                one = sent[index]
                sent[index] = Transmission(one.packet, one.sender, one.message, acknowledged)
    return Paired(tuple(sent), tuple(exchanges), resets, orphans, shown)


class _Acknowledgement(NamedTuple):
    """End of the matching GoodCRC, or what is there instead; ``by``: index of the GoodCRC that it is about."""

    end_s: float | None = None
    silence: Silence | None = None
    wrong_id: int | None = None
    by: int | None = None
    late: bool = False


_NOTHING = _Acknowledgement(silence=Silence.NOTHING)


class _Draft:
    """An exchange while its retries are still coming in."""

    def __init__(self, first: Transmission, packets: list[Packet]) -> None:
        self.first = first
        self.packets = packets
        self.acknowledged_s: float | None = None
        self.late: list[bool] = []
        self.silences: list[Silence] = []
        self.wrong_ids: list[int] = []
        self.members: list[int] = []

    def repeats(self, other: Transmission) -> bool:
        """True where ``other`` is a retry of this."""
        return (
            other.packet.data == self.packets[-1].data
            and other.packet.sop == self.packets[-1].sop
            and other.packet.start_s - self.packets[-1].end_s < _RETRY_S
        )

    def done(self) -> Exchange:
        assert self.first.message is not None and self.first.packet.sop is not None
        if len(self.late) > 1 and all(self.late):
            # The sender repeated it all the same: for it none of them came in time.
            self.acknowledged_s = None
            self.silences += [Silence.LATE] * len(self.late)
        return Exchange(
            name=self.first.name, sender=self.first.sender, sop=self.first.packet.sop, message=self.first.message,
            transmissions=tuple(self.packets), acknowledged_s=self.acknowledged_s, silences=tuple(self.silences),
            wrong_ids=tuple(self.wrong_ids),
        )


def _name_senders(packets: Sequence[Packet]) -> list[Transmission]:
    sent: list[Transmission] = []
    vconn_source = Party.SOURCE
    swapping = False
    for packet in packets:
        if not packet.intact or packet.sop is None or packet.sop.is_reset:
            sent.append(Transmission(packet, Party.UNKNOWN, None))
            continue
        message = parse(packet.data, on_cable=packet.sop.to_cable)
        if not packet.sop.to_cable:
            # Only a sink asks for power, whatever its header says of its role.
            by_role = Party.SOURCE if message.header.power_role else Party.SINK
            sender = Party.SINK if message.name in REQUESTS else by_role
        elif message.header.power_role:
            sender = Party.CABLE
        else:
            sender = vconn_source
        # VCONN changes hands with the PS_RDY that follows an accepted VCONN_Swap.
        if message.name == "VCONN_Swap":
            swapping = True
        elif message.name in ("Reject", "Wait", "Not_Supported", "Request"):
            swapping = False
        elif swapping and message.name == "PS_RDY":
            vconn_source, swapping = vconn_source.other, False
        sent.append(Transmission(packet, sender, message))
    return _reset_senders(_who_they_are(sent))


def _who_they_are(sent: list[Transmission]) -> list[Transmission]:
    """Give a port that claims the other's power role its messages back.

    A message and its GoodCRC come from two ports, so where both claim one role one of them is wrong. Only a source
    offers unasked, and only a sink asks for power: who is wrong there is wrong in its other messages as well.
    """
    wrong: set[Party] = set()
    done = list(sent)
    asked = False
    for place, (one, ack) in enumerate(pairwise(sent)):
        message, answer = one.message, ack.message
        if message is None or answer is None or one.packet.sop is not Sop.SOP or message.name == _GOODCRC:
            continue
        claims = Party.SOURCE if message.header.power_role else Party.SINK
        same = (
            answer.name == _GOODCRC and ack.packet.sop is Sop.SOP
            and answer.header.power_role == message.header.power_role
            and answer.header.message_id == message.header.message_id
        )
        if same and message.name in REQUESTS and claims is Party.SOURCE:
            wrong.add(Party.SINK)
        elif same and message.name == OFFERS[0] and claims is Party.SINK and not asked:
            wrong.add(Party.SOURCE)
        asked = message.name == "Get_Source_Cap"
        if same and claims.other in wrong:
            done[place] = one._replace(sender=claims.other)
    return done


def _reset_senders(sent: list[Transmission]) -> list[Transmission]:
    """Give each Hard Reset a sender where the two ports' bit rates differ enough to tell."""

    if not any(t.packet.sop is Sop.HARD_RESET for t in sent):
        return sent

    def rates(party: Party) -> list[float]:
        return [t.packet.bit_rate_bps for t in sent if t.sender is party and t.packet.sop is Sop.SOP]

    source, sink = rates(Party.SOURCE), rates(Party.SINK)
    if len(source) < 2 or len(sink) < 2:
        return sent
    # Few captures come here, and start-up time is dear.
    from statistics import median

    at_source, at_sink = median(source), median(sink)
    apart = abs(at_source - at_sink)
    spread = max(max(source) - min(source), max(sink) - min(sink))
    if apart < _RATE_APART * at_source or spread > 0.5 * apart:
        return sent
    done: list[Transmission] = []
    for one in sent:
        if one.packet.sop is Sop.HARD_RESET:
            for party, rate in ((Party.SOURCE, at_source), (Party.SINK, at_sink)):
                if abs(one.packet.bit_rate_bps - rate) < 0.25 * apart:
                    one = one._replace(sender=party)
        done.append(one)
    return done


def _acknowledgement(
    sent: list[Transmission], index: int, obstacles: list[float], duration_s: float
) -> _Acknowledgement:
    """The GoodCRC that follows a message, or what is there instead."""
    packet, message = sent[index].packet, sent[index].message
    assert message is not None
    latest_s = packet.end_s + _LATEST_ACK_S
    for later in range(index + 1, len(sent)):
        other = sent[later]
        if other.packet.start_s > latest_s:
            break
        if not other.packet.intact:
            continue
        if other.message is None or other.message.name != _GOODCRC:
            break
        if other.packet.sop is packet.sop:
            if other.message.header.message_id == message.header.message_id:
                late = other.packet.end_s - packet.end_s > timers.RECEIVE.max_s + _LATE_BY_S
                return _Acknowledgement(end_s=other.packet.end_s, by=later, late=late)
            return _Acknowledgement(
                silence=Silence.WRONG_ID, wrong_id=other.message.header.message_id, by=later
            )
        if other.packet.start_s - packet.end_s < _ACK_PLACE_S:
            # Nothing else can have asked for it: two packets never follow each other this closely otherwise.
            return _Acknowledgement(silence=Silence.WRONG_SOP, by=later)
    place = bisect_right(obstacles, packet.end_s)
    if place < len(obstacles) and obstacles[place] - packet.end_s < _ACK_PLACE_S:
        return _Acknowledgement(silence=Silence.UNREADABLE)
    if duration_s < packet.end_s + timers.RECEIVE.max_s:
        return _Acknowledgement(silence=Silence.CAPTURE_ENDS)
    return _NOTHING


def _heard_without_goodcrc(exchanges: list[Exchange], party: Party) -> bool:
    """True where ``party`` answered what no GoodCRC acknowledges: the source a Request, the sink an offer (and the
    source went on from there)."""
    ports = [e for e in exchanges if e.sop is Sop.SOP]
    names = [e.name for e in ports]
    for place, first in enumerate(ports):
        if first.sender is not party.other or first.acknowledged_s is not None:
            continue
        following = names[place + 1 : place + 3]
        if party is Party.SOURCE and first.name in REQUESTS and following[:1] and following[0] in ANSWERS:
            return True
        if (
            party is Party.SINK and first.name in OFFERS and len(following) == 2
            and following[0] in REQUESTS and following[1] in ANSWERS
        ):
            return True
    return False


def _not_shown(exchange: Exchange) -> Exchange:
    changed = tuple(Silence.NOT_SHOWN if s is Silence.NOTHING else s for s in exchange.silences)
    return replace(exchange, silences=changed)

