"""A judgement on contact readings as text.

Why it is: the two rows stand side by side, each contact beside its like, as nobody can see them in the port.
"""

from __future__ import annotations

import textwrap

from pdcheck.bench.measure_text import (
    Paint,
    caution_lines,
    findings_lines,
    next_lines,
    section,
    wrap,
)
from pdcheck.bench.pin_rules import LIMITS_WORDS, ContactResult, ContactState, shown
from pdcheck.bench.pins import PinJudgement
from pdcheck.report.as_text import plain
from pdcheck.report.blocks_text import blocks_lines, blocks_sentence
from pdcheck.verdict import Outcome

_HEAD = {
    Outcome.PASS: "PASS - the contacts read alike where they must",
    Outcome.FAIL: "FAIL - a fault of the contacts, or of what hangs on them, is proven",
    Outcome.INCONCLUSIVE: "INCONCLUSIVE - these readings alone cannot tell",
}
_COLOR = {Outcome.PASS: "green", Outcome.FAIL: "red", Outcome.INCONCLUSIVE: "yellow"}
_PORT = {
    "full": "with high-speed pairs", "usb2": "taken as USB 2.0: nothing read on the high-speed pairs",
    "power_only": "taken as power only: nothing read on the data contacts",
}
_NOTE = {
    ContactState.OPEN: "OPEN", ContactState.SHORT: "SHORT", ContactState.DIFFERS: "differs",
    ContactState.NOT_FITTED: "not fitted", ContactState.NOT_JUDGED: "not judged",
}
_PLACES = 12


def pins_text(judged: PinJudgement, *, width: int = 80, paint: Paint = plain) -> str:
    """The judgement in lines of at most ``width`` columns, with a final line end."""
    width = max(40, min(width, 100))
    lines = [paint(line, _COLOR[judged.outcome]) for line in wrap(_HEAD[judged.outcome], width)]
    lines += wrap(judged.summary, width)
    if judged.next:
        lines += wrap("First: " + judged.next[0], width)
    cleared = blocks_sentence(judged.blocks)
    if cleared is not None:
        lines += wrap(cleared, width)
    lines += wrap(f"File: {judged.readings.path}", width)
    lines += ["", *_table(judged, width), ""]
    lines += findings_lines(judged.findings, judged.leading, width)
    lines += section(blocks_lines(judged.blocks, width))
    lines += next_lines(judged.next, width)
    lines += [*wrap(LIMITS_WORDS, width), "", *caution_lines(width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _table(judged: PinJudgement, width: int) -> list[str]:
    """Both rows, contact beside contact; one under the other where the screen is narrow."""
    by_name = {one.contact.name: one for one in judged.contacts}
    half = (width - 6) // 2
    lines = wrap(f"Contacts ({_PORT[judged.port]})", width)
    for place in range(1, _PLACES + 1):
        cells = [_cell(by_name[f"{row}{place}"]) for row in ("A", "B")]
        if not any(by_name[f"{row}{place}"].reading is not None for row in ("A", "B")):
            continue
        if all(len(cell) <= half for cell in cells):
            lines.append(f"  {cells[0]:<{half}}  {cells[1]}")
        else:
            for cell in cells:
                lines += textwrap.wrap(cell, width, initial_indent="  ", subsequent_indent=" " * 12)
    return lines


def _cell(one: ContactResult) -> str:
    text = f"{one.contact.name:<3} {one.contact.signal:<5}"
    if one.reading is None:
        return f"{text} not measured"
    text += f" {shown(one.reading)}"
    if one.good is not None:
        text += f" (good {shown(one.good)})"
    note = _NOTE.get(one.state)
    return f"{text} {note}" if note else text
