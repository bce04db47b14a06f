"""A judgement on readings as text: verdict, what it means, what to do; then the evidence.

Why it is: it is read at the bench with a probe in each hand. The first three lines must be enough to go on.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator

from pdcheck.bench.attach import Attach
from pdcheck.bench.judge import Judgement, state_words
from pdcheck.bench.levels import Level, sink_sees, source_terms
from pdcheck.bench.ohm_rules import pull_of
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Advertisement, Readings, Side
from pdcheck.report.as_text import CAUTIONS, plain, printable
from pdcheck.report.blocks_text import blocks_lines, blocks_sentence
from pdcheck.rules import Finding
from pdcheck.triage.currents import draw_words
from pdcheck.verdict import Outcome

Paint = Callable[[str, str], str]

_HEAD = {
    Outcome.PASS: "PASS - these readings are as on a working unit",
    Outcome.FAIL: "FAIL - a fault is proven; which part it is, see below",
    Outcome.INCONCLUSIVE: "INCONCLUSIVE - these readings alone cannot tell",
}
_COLOR = {Outcome.PASS: "green", Outcome.FAIL: "red", Outcome.INCONCLUSIVE: "yellow"}


def measure_text(judged: Judgement, *, width: int = 80, paint: Paint = plain) -> str:
    """The judgement in lines of at most ``width`` columns, with a final line end."""
    width = max(40, min(width, 100))
    lines = [paint(line, _COLOR[judged.outcome]) for line in wrap(_HEAD[judged.outcome], width)]
    lines += wrap(judged.summary, width)
    if judged.next:
        lines += wrap("First: " + judged.next[0], width)
    cleared = blocks_sentence(judged.blocks)
    if cleared is not None and judged.outcome is not Outcome.PASS:
        lines += wrap(cleared, width)
    lines += ["", *_read(judged, width), *findings_lines(judged.findings, judged.leading, width)]
    lines += section(blocks_lines(judged.blocks, width))
    lines += next_lines(judged.next, width)
    lines += caution_lines(width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def wrap(text: str, width: int, indent: str = "") -> list[str]:
    """A paragraph."""
    return textwrap.wrap(
        printable(text), width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False,
    )


def item(mark: str, text: str, width: int) -> list[str]:
    """A paragraph behind a mark."""
    return textwrap.wrap(
        printable(text), width, initial_indent=f"  {mark} ", subsequent_indent=" " * (len(mark) + 3),
        break_on_hyphens=False,
    )


def section(lines: list[str]) -> list[str]:
    """Lines with a blank one behind; nothing for nothing."""
    return [*lines, ""] if lines else []


def next_lines(steps: tuple[str, ...], width: int) -> list[str]:
    """The list of what to do next."""
    if not steps:
        return []
    lines = ["Measure next (from the easiest on)"]
    for number, step in enumerate(steps, 1):
        lines += item(f"{number}.", step, width)
    return [*lines, ""]


def caution_lines(width: int) -> list[str]:
    """The usual cautions."""
    return ["Cautions", *(line for caution in CAUTIONS for line in item("-", caution, width))]


def findings_lines(findings: tuple[Finding, ...], leading: Finding | None, width: int) -> list[str]:
    """Why the verdict is what it is, then everything else that was noticed."""
    lines: list[str] = []
    if leading is not None:
        lines += ["Why", *wrap(leading.why, width, "  ")]
        lines += [*wrap(f"Reference: {leading.reference}. Finding: {leading.rule}.", width, "  "), ""]
    others = [f for f in findings if f is not leading]
    if others:
        lines.append("Also noticed")
        for finding in others:
            lines += item("-", f"{finding.summary} [{finding.rule}]", width)
        lines.append("")
    return lines


def _read(judged: Judgement, width: int) -> list[str]:
    """What was typed in and what each reading means."""
    rows = list(_rows(judged))
    if not rows:
        return []
    lines = ["Readings"]
    for label, text in rows:
        lines += textwrap.wrap(
            printable(text), width, initial_indent=f"  {label:<16} ", subsequent_indent=" " * 19,
            break_on_hyphens=False,
        )
    return [*lines, ""]


def _rows(judged: Judgement) -> Iterator[tuple[str, str]]:
    readings = judged.readings
    for attach, volts, way in (
        (judged.attach, readings.volts, ""), (judged.flipped, readings.flipped, ", turned"),
    ):
        if attach is not None:
            yield "Attach" + way, state_words(attach)
            for name, level in (("CC1", attach.cc1), ("CC2", attach.cc2)):
                if level is not None:
                    yield name + way, f"{words(level.volts, Kind.VOLTS)}: {_level_words(level, attach, readings)}"
            yield from _also(attach)
        if volts.vbus is not None:
            yield "VBUS" + way, words(volts.vbus, Kind.VOLTS)
    ohms = readings.ohms
    for label, value in (("CC1 to ground", ohms.cc1), ("CC2 to ground", ohms.cc2)):
        if value is not None:
            yield label, f"{words(value, Kind.OHMS)}: {pull_of(value).value}"
    for label, value in (
        ("CC1 to CC2", ohms.between_cc), ("CC1 to VBUS", ohms.cc1_vbus), ("CC2 to VBUS", ohms.cc2_vbus),
        ("VBUS to ground", ohms.vbus),
    ):
        if value is not None:
            yield label, words(value, Kind.OHMS)
    if readings.current_ma is not None:
        yield "Current", f"{words(readings.current_ma, Kind.MILLIAMPS)}: {draw_words(abs(readings.current_ma))}"


def _level_words(level: Level, attach: Attach, readings: Readings) -> str:
    """What the end at which was measured makes of a level."""
    if readings.side is Side.CHARGER:
        advertised = (readings.advertises,) if readings.advertises is not None else attach.advertisements
        terms = dict.fromkeys(t.value for a in advertised or tuple(Advertisement) for t in source_terms(level, a))
        return f"the charger takes it for {' or '.join(terms)}"
    seen = [s.value for s in sink_sees(level)]
    return f"a device reads {seen[0]}" if len(seen) == 1 else f"between {seen[0]} and {seen[-1]}"


def _also(attach: Attach) -> Iterator[tuple[str, str]]:
    for state, why in attach.also:
        yield "Unless", f"{why}: then {state.words}"
