"""Packet bytes to messages and objects, declared with construct; and the way back.

Why it is: the only room that knows what a bit of a message means. It knows nothing of time or order: which
message answers which is the conversation's business.
"""

from __future__ import annotations

from pdcheck.messages.as_json import object_json
from pdcheck.messages.cable import CableSummary, cable_summary
from pdcheck.messages.chunks import Assembled, Reassembler
from pdcheck.messages.header import build_extended_header, build_header, parse_extended_header, parse_header
from pdcheck.messages.model import DataObject, ExtendedHeader, Header, Message
from pdcheck.messages.power import parse_power_object, position_problem
from pdcheck.messages.request import offered_object, parse_request, request_in_context
from pdcheck.messages.summary import summarize, title
from pdcheck.messages.wire import build, build_object, parse

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
