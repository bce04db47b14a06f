"""From a file of contact readings to a judgement.

Why it is: the command, the tests and a notebook walk the same path.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.bench.pin_entries import ROW_OPEN
from pdcheck.bench.pin_file import PinReadings
from pdcheck.bench.pin_rules import ON_PATH, Board, ContactResult, ContactState
from pdcheck.rules import Effect, Finding
from pdcheck.triage import Evidence, Triage, triage
from pdcheck.verdict import Outcome

_MOST_STEPS = 5


@dataclass(frozen=True)
class PinJudgement:
    """Contact readings, judged. ``port``: ``"full"``, ``"usb2"`` or ``"power_only"``; see :class:`ContactResult`."""

    readings: PinReadings
    good: PinReadings | None
    outcome: Outcome
    summary: str
    port: str
    contacts: tuple[ContactResult, ...]
    findings: tuple[Finding, ...]
    blocks: Triage
    next: tuple[str, ...]

    @property
    def leading(self) -> Finding | None:
        """The finding that decided, None where all is as it should be."""
        decided = (Effect.CONVICTS, Effect.WITHHOLDS)
        return next((f for f in self.findings if f.effect in decided), None)


def judge_pins(readings: PinReadings, good: PinReadings | None = None) -> PinJudgement:
    """Judge the readings of a board, against those of a known-good one where there are any."""
    board = Board(readings, good)
    said = list(board.judge())
    findings = [s for s in said if isinstance(s, Finding)]
    effects = list(Effect)
    findings.sort(key=lambda f: (effects.index(f.effect), f.rule != ROW_OPEN.id, f.severity.rank))
    blocks = triage(s for s in said if isinstance(s, Evidence))
    told = {f.effect for f in findings}
    contacts = board.results()
    outcome = Outcome.PASS
    if Effect.CONVICTS in told:
        outcome = Outcome.FAIL
    elif Effect.WITHHOLDS in told or not _anything_to_compare(contacts):
        outcome = Outcome.INCONCLUSIVE
    steps = [step for f in findings if f.effect is not Effect.NOTES for step in f.next]
    left = [c.contact.name for c in contacts if c.contact.net in ON_PATH and c.state is ContactState.NOT_MEASURED]
    if outcome is Outcome.PASS and left:
        steps.append(f"Measure what charging needs and was not measured yet: {', '.join(left)}.")
    steps += [m.text for m in blocks.next]
    summary = _summary(outcome, findings, contacts)
    return PinJudgement(
        readings, good, outcome, summary, board.port, contacts, tuple(findings), blocks,
        tuple(dict.fromkeys(steps))[:_MOST_STEPS],
    )


def _anything_to_compare(contacts: tuple[ContactResult, ...]) -> bool:
    """True where a contact has its counterpart or a known-good reading beside it."""
    measured = {c.contact.name for c in contacts if c.reading is not None}
    return any(
        c.contact.name in measured and (c.contact.like in measured or c.good is not None) for c in contacts
    )


def _summary(outcome: Outcome, findings: list[Finding], contacts: tuple[ContactResult, ...]) -> str:
    if outcome is Outcome.INCONCLUSIVE and not findings:
        return "No contact was measured together with the one that is its like: there is nothing to compare."
    if outcome is not Outcome.PASS:
        count = sum(f.effect is findings[0].effect for f in findings)
        more = f" And {count - 1} more." if count > 1 else ""
        return findings[0].summary + more
    measured = sum(c.state is not ContactState.NOT_MEASURED for c in contacts)
    needed = [c.state is not ContactState.NOT_MEASURED for c in contacts if c.contact.net in ON_PATH]
    some = f", {sum(needed)} of the {len(needed)} contacts that charging needs" if not all(needed) else ""
    return f"{measured} contacts measured{some}; no short, no open contact, and what must be alike is alike."
