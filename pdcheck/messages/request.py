"""Request data objects: what a sink asks for out of an offer.

Why it is: the same 32 bits mean amps, watts or volts, and only the offered object tells which. So a
request is read against what it points at, and where that is unknown the fixed layout is taken. (USB PD
R3.2, section 6.4.2; compared with Linux 6.1 pd.h but for bits 23 and 22 and the AVS steps, which are from
memory of the specification.)
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

from pdcheck.messages.layout import Number, Reserved, Yes, table, word
from pdcheck.messages.model import DataObject, Message

_POSITION = "position" / Number(4) * "which object of the offer, counted from 1"
_GIVEBACK = "giveback" / Yes() * "would lower its draw on GotoMin (deprecated)"
_FLAGS = (
    "capability_mismatch" / Yes() * "the offer is not enough for it",
    "usb_communications_capable" / Yes() * "can speak USB data",
    "no_usb_suspend" / Yes() * "asks to keep drawing when the bus is suspended",
    "unchunked_extended_messages_supported" / Yes() * "long messages may come in one piece",
    "epr_capable" / Yes() * "can enter the extended power range",
)


def _adjustable(step: int, docs: str) -> tuple[Any, ...]:
    return (
        _POSITION,
        Reserved(1),
        *_FLAGS,
        Reserved(1),
        "voltage_mv" / Number(12, step, "mV") * docs,
        Reserved(2),
        "operating_current_ma" / Number(7, 50, "mA") * "current it wants",
    )


LAYOUTS = table(
    word(
        "request.fixed", "request",
        _POSITION,
        _GIVEBACK,
        *_FLAGS,
        Reserved(2),
        "operating_current_ma" / Number(10, 10, "mA") * "current it wants",
        "max_current_ma" / Number(10, 10, "mA") * "highest current it may draw (with giveback: lowest)",
        title="Request for a fixed or variable supply",
    ),
    word(
        "request.battery", "request",
        _POSITION,
        _GIVEBACK,
        *_FLAGS,
        Reserved(2),
        "operating_power_mw" / Number(10, 250, "mW") * "power it wants",
        "max_power_mw" / Number(10, 250, "mW") * "highest power it may draw (with giveback: lowest)",
        title="Request for a battery supply",
    ),
    word(
        "request.pps", "request",
        *_adjustable(20, "output voltage it wants"),
        title="Request for a programmable power supply",
    ),
    word(
        "request.avs", "request",
        *_adjustable(25, "output voltage it wants (a multiple of 100 mV: the two lowest bits are zero)"),
        title="Request for an adjustable voltage supply",
    ),
)

LAYOUT_OF_KIND = {
    "fixed": "request.fixed",
    "variable": "request.fixed",
    "battery": "request.battery",
    "spr_pps": "request.pps",
    "spr_avs": "request.avs",
    "epr_avs": "request.avs",
}
"""Which layout a request has, by the kind of the object it points at."""


@lru_cache(maxsize=8192)
def _parse(raw: int, layout: str) -> DataObject:
    return LAYOUTS[layout].parse_word(raw)


def parse_request(raw: int, offered: DataObject | None = None) -> DataObject:
    """The request in a 32-bit word, read by the kind of the object it asks for.

    :param offered: that object; None (or an object of no known kind) gives the fixed layout.
    :raises ValueError: the number has more than 32 bits.
    """
    if not 0 <= raw <= 0xFFFFFFFF:
        raise ValueError("a request has 32 bits")
    kind = "fixed" if offered is None else offered.kind
    return _parse(raw, LAYOUT_OF_KIND.get(kind, "request.fixed"))


def offered_object(position: int, offer: tuple[DataObject, ...]) -> DataObject | None:
    """The object at a request's position (from 1); None where the offer has none there."""
    return offer[position - 1] if 1 <= position <= len(offer) else None


def request_in_context(message: Message, offer: tuple[DataObject, ...]) -> Message:
    """The same message with its request read against the offer it answers.

    Any other message comes back as it is, and so does a request for a position the offer does not have.
    An EPR_Request carries a copy of the offered object and was read by that; here the offer decides.
    """
    if message.name not in ("Request", "EPR_Request") or not message.objects:
        return message
    first = message.objects[0]
    if first.kind != "request" or not isinstance(first.raw, int):
        return message
    offered = offered_object(first.number("position"), offer)
    if offered is None:
        return message
    again = parse_request(first.raw, offered)
    if again is first:
        return message
    return replace(message, objects=(again, *message.objects[1:]))
