"""What hex can be taken for, by the names that ``pdcheck explain --as`` knows.

Why it is: one table from a name a technician types to the declaration that reads it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches

from pdcheck.errors import InputError
from pdcheck.messages.layout import Layout
from pdcheck.messages.model import DataObject
from pdcheck.messages.power import Side, parse_power_object
from pdcheck.messages.registry import family, find_layout
from pdcheck.messages.request import LAYOUT_OF_KIND, offered_object, parse_request

Offer = tuple[DataObject, ...]
Read = Callable[[bytes, Offer], tuple[DataObject, ...]]

REQUESTS = {
    "request-fixed": "request.fixed", "request-pps": "request.pps", "request-avs": "request.avs",
    "request-battery": "request.battery",
}
"""The likelier first: battery supplies are rare."""

_PLAIN_FAMILIES = ("notices", "identity", "displayport", "blocks", "capability_blocks", "protocols")
_EXTRA = ("modes.enter_usb", "vendor.svids")
_RENAMED = {
    "capability_blocks.source": "source-capabilities-extended",
    "capability_blocks.sink": "sink-capabilities-extended",
    "blocks.vendor_extended": "vendor-defined-extended",
    "notices.country": "get-country-info",
}


@dataclass(frozen=True)
class Kind:
    """One name of ``--as``. ``unit``: the bytes it comes in are a multiple of this; 0: any number."""

    name: str
    unit: int
    read: Read


def _words(data: bytes) -> tuple[int, ...]:
    return tuple(int.from_bytes(data[at : at + 4], "little") for at in range(0, len(data), 4))


def _powers(side: Side) -> Read:
    return lambda data, offer: tuple(parse_power_object(word, side=side) for word in _words(data))


def _by_layout(layout: Layout) -> Read:
    size = layout.size

    def read(data: bytes, offer: Offer) -> tuple[DataObject, ...]:
        pieces = (data[at : at + size] for at in range(0, len(data), size))
        return tuple(layout.parse_word(int.from_bytes(piece, "little")) for piece in pieces)

    return read


def _by_block(layout: Layout) -> Read:
    return lambda data, offer: (layout.parse_block(data),)


def _requests(data: bytes, offer: Offer) -> tuple[DataObject, ...]:
    """Each word as a request: by the offer where it has that position, else as one for a fixed supply."""
    return tuple(parse_request(word, offered_object(word >> 28, offer)) for word in _words(data))


def _vdm(on_cable: bool) -> Read:
    def read(data: bytes, offer: Offer) -> tuple[DataObject, ...]:
        from pdcheck.messages import vendor

        return vendor.read(_words(data), on_cable)

    return read


def _bist(data: bytes, offer: Offer) -> tuple[DataObject, ...]:
    from pdcheck.messages import bist

    return tuple(bist.parse_bist(word) for word in _words(data))


def _epr_mode(data: bytes, offer: Offer) -> tuple[DataObject, ...]:
    from pdcheck.messages import modes

    return tuple(modes.parse_epr_mode(word) for word in _words(data))


def kinds() -> dict[str, Kind]:
    """Every kind by its name, the commonest first. (``message`` is not among them: it is no object.)"""
    every = [
        Kind("source-pdo", 4, _powers("source")),
        Kind("sink-pdo", 4, _powers("sink")),
        Kind("request", 4, _requests),
        *(Kind(name, 4, _by_layout(find_layout(layout))) for name, layout in REQUESTS.items()),
        Kind("vdm", 4, _vdm(False)),
        Kind("cable-vdm", 4, _vdm(True)),
        Kind("header", 2, _by_layout(find_layout("header.header"))),
        Kind("cable-header", 2, _by_layout(find_layout("header.cable_header"))),
        Kind("extended-header", 2, _by_layout(find_layout("header.extended_header"))),
        Kind("bist", 4, _bist),
        Kind("epr-mode", 4, _epr_mode),
    ]
    layouts = [layout for name in _PLAIN_FAMILIES for layout in family(name).values()]
    layouts += [find_layout(name) for name in _EXTRA]
    for layout in layouts:
        prefix, _, short = layout.name.partition(".")
        name = _RENAMED.get(layout.name, short.replace("_", "-"))
        if prefix == "displayport":
            name = f"displayport-{name}"
        if prefix in ("blocks", "capability_blocks", "protocols"):
            every.append(Kind(name, 0, _by_block(layout)))
        else:
            every.append(Kind(name, 4, _by_layout(layout)))
    return {kind.name: kind for kind in every}


WORD_GUESSES = (
    "source-pdo", "sink-pdo", *REQUESTS, "vdm", "bist", "alert", "epr-mode", "revision",
)
"""What a lone 32-bit word is tried as, where ``--as`` does not say."""

WORDS_GUESSES = ("source-pdo", "sink-pdo", "vdm", "cable-vdm")
"""The same for several."""

HEADER_GUESSES = ("header", "extended-header")
"""The same for 16 bits."""


def read_kind(name: str, data: bytes, offer: Offer) -> tuple[DataObject, ...]:
    """The objects in the bytes, taken for that kind.

    :raises InputError: no such kind, or a number of bytes it cannot have.
    """
    every = kinds()
    if name not in every:
        near = [one for one in every if name and (name in one or one in name)] or get_close_matches(name, every, 4, 0.5)
        known = "close to it: " + ", ".join(near[:6]) if near else "try source-pdo, sink-pdo, request, vdm or header"
        raise InputError(f"there is no kind '{name[:24]}' to explain", f"{known}; explain --help lists them all")
    kind = every[name]
    if kind.unit and (not data or len(data) % kind.unit):
        raise InputError(
            f"{len(data)} bytes are no {name}", f"it has {kind.unit} bytes (several may follow one another)"
        )
    return kind.read(data, offer)


def offer_problems(one: DataObject, offer: Offer) -> tuple[str, ...]:
    """What a request asks beyond the object of the offer it points at."""
    if one.kind != "request" or not offer:
        return ()
    position = one.number("position")
    offered = offered_object(position, offer)
    if offered is None:
        return (f"the offer has {len(offer)} objects and no position {position}",)
    if LAYOUT_OF_KIND.get(offered.kind) != one.layout:
        return (f"the offered object is of kind {offered.kind}, and the request was read as another",)
    said: list[str] = []
    current, asked = offered.integer("current_ma"), one.integer("operating_current_ma")
    if current is not None and asked is not None and asked > current:
        said.append(f"it asks for {asked} mA of {current} mA offered")
    power, watts = offered.integer("power_mw"), one.integer("operating_power_mw")
    if power is not None and watts is not None and watts > power:
        said.append(f"it asks for {watts} mW of {power} mW offered")
    voltage = one.integer("voltage_mv")
    low, high = offered.integer("min_voltage_mv"), offered.integer("max_voltage_mv")
    if voltage is not None and low is not None and high is not None and not low <= voltage <= high:
        said.append(f"it asks for {voltage} mV, outside the {low} to {high} mV offered")
    return tuple(said)
