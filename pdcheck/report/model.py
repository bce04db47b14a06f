"""The report as a plain data object: everything that text, JSON and page show.

Why it is: each way of showing reads this and nothing else, so none of them can say what another does not.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pdcheck.conversation.model import Conversation
from pdcheck.line.model import LineReading
from pdcheck.triage import Triage, triage
from pdcheck.verdict import Verdict


@dataclass(frozen=True, eq=False)
class Report:
    """One capture, judged; ``blocks``: what it says of each block of the charging path."""

    path: str
    reading: LineReading
    conversation: Conversation
    verdict: Verdict
    blocks: Triage = field(default_factory=lambda: triage(()))
