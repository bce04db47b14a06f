"""The path of a capture through the rooms, in two calls.

Why it is: the command line, the tests and a notebook walk the same path.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from pdcheck.capture.model import Capture
from pdcheck.conversation import Conversation, follow
from pdcheck.line import LineReading, read_capture
from pdcheck.report.model import Report
from pdcheck.rules import Case
from pdcheck.triage import capture_evidence, triage
from pdcheck.verdict import judge_case


@dataclass(frozen=True, eq=False)
class Decoded:
    """A capture's line reading and the conversation in it."""

    reading: LineReading
    conversation: Conversation


def decode(capture: Capture) -> Decoded:
    """Edges to packets to a conversation; judges nothing."""
    with _uncollected():
        reading = read_capture(capture)
        return Decoded(reading, follow(reading))


def check(decoded: Decoded) -> Report:
    """The report on a decoded capture. The same capture gives the same report."""
    with _uncollected():
        case = Case.of(decoded.reading, decoded.conversation)
        verdict = judge_case(case)
        blocks = triage(capture_evidence(case, verdict))
    return Report(decoded.reading.capture.path, decoded.reading, decoded.conversation, verdict, blocks)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Without the collector of circles: none are made here, and it would walk over every packet again and again."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()
