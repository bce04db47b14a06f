"""What the technician's page says, in its order, before any markup.

Why it is: the template lays out and decides nothing. Every sentence here comes from the report or from the words that
the text report uses, so that the two cannot differ.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

from markupsafe import Markup

from pdcheck import __version__
from pdcheck.capture.model import AnalogLine, DigitalLine
from pdcheck.conversation.model import Party
from pdcheck.line.closeup import cc_line
from pdcheck.report.as_text import (
    CAUTIONS,
    caveat,
    contract_rows,
    deciding,
    first_step,
    headline,
    signal_words,
    step_words,
    whose,
)
from pdcheck.report.blocks_text import blocks_sentence
from pdcheck.report.model import Report
from pdcheck.report.page.fields import PartWords, message_parts
from pdcheck.report.page.island import island
from pdcheck.report.page.lines import tolerance_v
from pdcheck.report.page.overview import overview
from pdcheck.report.page.picture import Picture
from pdcheck.report.page.talk import ROWS_SHOWN, Gap, Kind, Row, Talk, row_at, shown, silence_words, talk_of, title_of
from pdcheck.report.page.timing import Wait, WaitState, waits
from pdcheck.report.page.wave import wave_of, wave_picture
from pdcheck.report.page.words import LANES, PARTY_WORDS, packet_name
from pdcheck.rules import Effect, Finding, Severity
from pdcheck.rules.words import span
from pdcheck.triage import BlockState
from pdcheck.verdict import Outcome, StepState

_MARKS = {Outcome.PASS: "yes", Outcome.FAIL: "no", Outcome.INCONCLUSIVE: "unknown"}
_STEP_MARKS = {StepState.REACHED: "yes", StepState.NOT_REACHED: "no", StepState.NOT_JUDGED: "unknown"}
_STATE_WORDS = {StepState.REACHED: "yes", StepState.NOT_REACHED: "NO", StepState.NOT_JUDGED: "not judged"}
_SEVERITY = {
    Severity.FAIL: "breaks charging", Severity.WARN: "against the standard", Severity.INFO: "worth knowing",
}
_WAITS_SHOWN = 4
_WAIT_ROWS = 12
_WAVES = 3
_ANSWER_S = 2e-3


@dataclass(frozen=True)
class Rung:
    """One step of the ladder."""

    words: str
    term: str
    mark: str
    state: str
    when: str
    t_s: float | None
    stopped: bool


@dataclass(frozen=True)
class RowView:
    """One row of the list: the row, its moment, the pause before it, its sentence, its fields, its anchor."""

    row: Row | None
    gap: Gap | None
    when: str
    pause: str
    label: str
    parts: tuple[PartWords, ...]
    ident: str
    sender: int
    receiver: int


@dataclass(frozen=True)
class FindingView:
    """A finding with where it is seen: ``row`` is an anchor in the list, None where it has no moment."""

    finding: Finding
    severity: str
    when: str
    row: str | None
    leading: bool


_BLOCK_ORDER = [state.value for state in BlockState]


def technician(report: Report, checksum: str | None, file_name: str | None, shop: str | None) -> dict[str, Any]:
    """Everything that the technician's template shows."""
    talk = talk_of(report)
    every = waits(report.conversation)
    rows = tuple(row_views(report, talk))
    large = len(talk.rows) > ROWS_SHOWN
    line = cc_line(report.reading)
    return {
        **top(report),
        "shop": shop,
        "file_name": file_name if file_name is not None else report.path,
        "checksum": checksum,
        "version": __version__,
        "revision": report.conversation.revision,
        "kind": report.reading.capture.kind,
        "duration": span(report.conversation.duration_s),
        "rows": rows,
        "large": large,
        "row_count": len(talk.rows),
        "has_cable": any(LANES[2] in (r.sender, r.receiver) for r in talk.rows),
        "pictures": tuple(_pictures(report, talk, every)),
        "waves": tuple(_waves(report, talk, line)),
        "waits": tuple(_wait_rows(every, talk)),
        "findings": tuple(_findings(report, talk, rows)),
        "next": report.verdict.next,
        "cautions": CAUTIONS,
        "signal": signal_words(report),
        "notes": report.reading.notes,
        "blocks": tuple(_blocks(report)),
        "splits": report.blocks.next[0].text if report.blocks.next else "",
        "island": island(report, talk, every, line, with_rows=large),
    }


def top(report: Report) -> dict[str, Any]:
    """What is understood in ten seconds."""
    verdict = report.verdict
    return {
        "mark": _MARKS[verdict.outcome],
        "headline": headline(verdict),
        "summary": verdict.summary,
        "caveat": caveat(verdict),
        "cleared": blocks_sentence(report.blocks),
        "whose": whose(verdict) if verdict.outcome is not Outcome.PASS else None,
        "first": first_step(report),
        "ladder": tuple(_ladder(report)),
        "contract_rows": tuple(_terms(report)),
        "gauge": _gauge(report),
    }


def _ladder(report: Report) -> Iterator[Rung]:
    # Where the capture cannot tell, a step that was not seen is no accusation.
    stopped = report.verdict.stopped_at if report.verdict.outcome is Outcome.FAIL else None
    for step in report.verdict.steps:
        # One step carries the mark of the break; what could not come after it is marked quietly.
        later = step.state is StepState.NOT_REACHED and (stopped is None or step.step.rank > stopped.rank)
        words, term = step_words(step.step, deciding(report.verdict))
        yield Rung(
            words, term, "after" if later else _STEP_MARKS[step.state],
            _STATE_WORDS[step.state],
            f"{step.t_s:.4f} s" if step.t_s is not None else "", step.t_s, step.step is stopped,
        )


def _terms(report: Report) -> Iterator[tuple[str, str]]:
    rows = contract_rows(report)
    yield from rows
    if rows and report.verdict.contract is None:
        yield "Contract", "none in this capture"


def _gauge(report: Report) -> Markup | None:
    """Contract against delivery on one scale of volts; None where VBUS was not judged."""
    contract, level = report.verdict.delivery.contract, report.verdict.delivery.level
    band = tolerance_v(contract) if contract is not None else None
    if contract is None or level is None or band is None:
        return None
    top_v = 1.15 * max(band[1], level.high, 5.5)
    name = (
        f"VBUS read {level.typical:.2f} V, from {level.low:.2f} to {level.high:.2f} V; the contract allows "
        f"{band[0]:.2f} to {band[1]:.2f} V"
    )
    picture = Picture(480, 62, name, "gauge")

    def x(volts: float) -> float:
        return 10 + max(volts, 0.0) / top_v * 450

    picture.rect(x(band[0]), 20, x(band[1]) - x(band[0]), 18, "band")
    words = f"allowed {band[0]:.2f} to {band[1]:.2f} V"
    left = min(max(x(band[0]), 10), 470 - 6.2 * len(words))
    picture.text(left, 14, words)
    picture.line(10, 38, 460, 38, "ax")
    step = 5 if top_v > 12 else 2 if top_v > 6 else 1
    for volts in range(0, int(top_v) + 1, step):
        picture.line(x(volts), 38, x(volts), 42, "ax")
        picture.text(x(volts), 55, f"{volts} V", "t f", "middle")
    picture.rect(x(level.low), 26, max(x(level.high) - x(level.low), 2), 6, "meas")
    at = x(level.typical)
    picture.path(((at - 6, 20), (at + 6, 20), (at, 30)), "mark", close=True)
    return picture.markup()


def row_views(report: Report, talk: Talk, prefix: str = "row") -> Iterator[RowView]:
    """The rows that stand in the page's text."""
    numbers = {id(row): number for number, row in enumerate(talk.rows)}
    before: float | None = None
    for one in shown(report, talk):
        if isinstance(one, Gap):
            yield RowView(None, one, f"{one.start_s:.4f} s", "", "", (), "", 3, 3)
            before = one.end_s
            continue
        pause = silence_words(one.start_s - before) if before is not None else ""
        before = max(one.end_s, one.start_s) if one.kind is not Kind.BREAK else one.start_s
        parts = message_parts(one.message, one.on_cable) if one.message is not None else ()
        yield RowView(
            one, None, f"{one.start_s:.4f} s", pause, title_of(one), parts, f"{prefix}-{numbers[id(one)]}",
            _lane(one.sender), _lane(one.receiver),
        )


def _lane(party: object) -> int:
    return LANES.index(party) if party in LANES else 3


def _pictures(report: Report, talk: Talk, every: tuple[Wait, ...]) -> Iterator[tuple[str, Markup]]:
    duration = max(report.conversation.duration_s, 1e-6)
    draw = partial(overview, report, talk)
    name = f"The whole capture, {span(duration)}: who spoke, and each captured line"
    yield name, draw((0.0, duration), (), name=name, ident="pic-whole")
    start, end = talk.focus
    if end - start < 0.8 * duration:
        near = [w for w in every if w.start_s >= start and w.end_s <= end][:_WAITS_SHOWN]
        what = "where it stopped" if report.verdict.outcome is Outcome.FAIL else "the negotiation"
        name = f"From {start:.4f} to {end:.4f} s: {what}, with the waits that the standard limits"
        yield name, draw((start, end), tuple(near), name=name, ident="pic-focus")


def _waves(report: Report, talk: Talk, line: DigitalLine | None) -> Iterator[tuple[str, Markup]]:
    """The messages that matter, as waves: what came last before the break, or what made the contract."""
    if line is None:
        return
    volts = next(
        (one for one in report.reading.capture.lines if one.name == report.reading.cc and isinstance(one, AnalogLine)),
        None,
    )
    sent = report.conversation.transmissions
    inside = [i for i, t in enumerate(sent) if talk.focus[0] <= t.packet.start_s <= talk.focus[1]]
    until = [i for i in inside if talk.break_s is None or sent[i].packet.start_s <= talk.break_s] or inside
    named = {sent[i].name: i for i in reversed(until)}
    wanted = [named[n] for n in ("Request", "EPR_Request", "Source_Capabilities", "PS_RDY") if n in named]
    # What answers in the wrong way stands right behind the place where the right answer was due.
    answer = [i for i in inside if talk.break_s is not None and 0 < sent[i].packet.start_s - talk.break_s < _ANSWER_S]
    last = answer[:1] + until[-1:] if talk.break_s is not None or not wanted else []
    chosen = sorted({*last, *wanted[: _WAVES - len(last)]})
    for number, index in enumerate(chosen):
        one = sent[index]
        wave = wave_of(line, volts, one.packet, one.message)
        what = "The edges" if not wave.bits else "The wave"
        sender = f" from the {PARTY_WORDS[one.sender]}" if one.sender is not Party.UNKNOWN else ""
        name = f"{what} of {packet_name(one)}{sender} at {one.packet.start_s:.4f} s"
        yield name, wave_picture(
            wave, name + ", with the bits read off it", f"wave-{number}"
        )


def _wait_rows(every: tuple[Wait, ...], talk: Talk) -> Iterator[tuple[Wait, str, str, int]]:
    """Waits for the table: those of the stretch that the verdict is about, then those over their limit. With each its
    length, and how full the limit is in percent."""
    inside = [w for w in every if talk.focus[0] <= w.start_s <= talk.focus[1]]
    over = [w for w in every if w.state in (WaitState.MISSING, WaitState.LATE) and w not in inside]
    for wait in sorted((inside + over)[:_WAIT_ROWS], key=lambda w: w.start_s):
        yield wait, f"{wait.start_s:.4f} s", span(wait.length_s), round(100 * wait.length_s / wait.limit_s)


def _findings(report: Report, talk: Talk, rows: tuple[RowView, ...]) -> Iterator[FindingView]:
    idents = {view.ident for view in rows if view.row is not None}
    for finding in report.verdict.findings:
        anchor = None
        if finding.t_s is not None:
            number = row_at(talk, finding.t_s)
            anchor = f"row-{number}" if number is not None and f"row-{number}" in idents else None
        yield FindingView(
            finding, _weight(finding), f"{finding.t_s:.4f} s" if finding.t_s is not None else "", anchor,
            finding is report.verdict.leading,
        )


def _weight(finding: Finding) -> str:
    if finding.effect in (Effect.WITHHOLDS, Effect.UNSETTLES):
        return "why the capture cannot tell"
    return _SEVERITY[finding.severity]


def _blocks(report: Report) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    """Which blocks are cleared, suspect, disputed or untouched, and why, those together of which the same was seen;
    nothing where nothing was seen of any."""
    if len(report.blocks.of(BlockState.UNTOUCHED)) == len(report.blocks.blocks):
        return
    groups: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for one in report.blocks.blocks:
        said = tuple(evidence.text for evidence in one.evidence)
        groups.setdefault((one.state.value, said), []).append(one.block.words)
    for (state, said), names in sorted(groups.items(), key=lambda group: _BLOCK_ORDER.index(group[0][0])):
        yield ", ".join(names), state, said
