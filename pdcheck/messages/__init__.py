"""Packet bytes to messages and objects, declared with construct; and the way back.

Why it is: the only room that knows what a bit of a message means. It knows nothing of time or order: which
message answers which is the conversation's business. What a plain negotiation does not need (chunks, cables,
words for a reader) is imported when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from pdcheck.messages.as_json import object_json
from pdcheck.messages.header import build_extended_header, build_header, parse_extended_header, parse_header
from pdcheck.messages.model import DataObject, ExtendedHeader, Header, Message
from pdcheck.messages.power import parse_power_object, position_problem
from pdcheck.messages.request import offered_object, parse_request, request_in_context
from pdcheck.messages.wire import build, build_object, parse

if TYPE_CHECKING:
    from pdcheck.messages.cable import CableSummary, cable_summary
    from pdcheck.messages.chunks import Assembled, Reassembler
    from pdcheck.messages.summary import summarize, title

_LATER = {
    "Assembled": "chunks", "Reassembler": "chunks", "CableSummary": "cable", "cable_summary": "cable",
    "summarize": "summary", "title": "summary",
}
"""Names of this package and the module each comes from."""


def __getattr__(name: str) -> object:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)


__all__ = [
    "Assembled",
    "CableSummary",
    "DataObject",
    "ExtendedHeader",
    "Header",
    "Message",
    "Reassembler",
    "build",
    "build_extended_header",
    "build_header",
    "build_object",
    "cable_summary",
    "object_json",
    "offered_object",
    "parse",
    "parse_extended_header",
    "parse_header",
    "parse_power_object",
    "parse_request",
    "position_problem",
    "request_in_context",
    "summarize",
    "title",
]
