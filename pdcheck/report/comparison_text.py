"""A comparison, or a flip test, as text: what it comes to first, then the first place where the two part.

Why it is: a technician who holds a good unit beside a bad one wants one place to put the probe. The tables behind it
are for checking that place.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from pdcheck.comparison.flipped import Pair, Proof
from pdcheck.comparison.model import (
    Alike,
    Comparison,
    Content,
    Doubt,
    Judged,
    Kind,
    Measure,
    Parting,
    Placed,
    Row,
    Values,
)
from pdcheck.comparison.partings import PARTY_WORDS, told
from pdcheck.report.as_text import Paint, plain, printable
from pdcheck.rules.words import count, span, times

_HEAD = {
    Alike.ALIKE: "ALIKE", Alike.PART: "THEY PART", Alike.CANNOT_TELL: "CANNOT TELL - no proof either way",
}
_COLOR = {Alike.ALIKE: "green", Alike.PART: "red", Alike.CANNOT_TELL: "yellow"}
_MARK = {
    Kind.SAME: "both", Kind.GOOD_ONLY: "GOOD", Kind.BAD_ONLY: "BAD", Kind.OTHERWISE: "differ",
    Kind.NOT_COMPARED: "(cut)",
}
#: Rows of the moves that are shown around the first parting.
_ROWS_BEFORE, _ROWS_AFTER = 4, 8
#: On a narrower terminal the times of the moves stand in the line, not in columns.
_TABLE_WIDTH = 66
_CRITERION = (
    "Moves: another message, sender or outcome (acknowledged or not); a request for another voltage. How often a try "
    "is repeated does not count.",
    "Several values of a timing or level: further apart than both captures vary themselves, and than they resolve. "
    "One value: as well, and not both within the standard.",
    "Marked ! where one side is outside of the standard and the other is not, or where one charges (above 0.5 A) and "
    "the other does not (below 0.1 A; common practice, no source). The rest is no fault in itself.",
)
_PROOF_HEAD = {
    Proof.ONE_WAY: "WORKS ONE WAY ONLY", Proof.ONE_WAY_UNLIKELY: "WORKS ONE WAY ONLY - but no CC contact explains it",
    Proof.BOTH_WORK: "WORKS BOTH WAYS", Proof.BOTH_FAIL_ALIKE: "FAILS BOTH WAYS, AT THE SAME PLACE",
    Proof.BOTH_FAIL_APART: "FAILS BOTH WAYS, DIFFERENTLY", Proof.NONE: "NO PROOF",
}


def comparison_text(found: Comparison, *, width: int = 80, moves: bool = False, paint: Paint = plain) -> str:
    """The whole comparison, lines of at most ``width`` columns, with a final line end.

    :param moves: every move, not only those around the first parting.
    """
    width = max(40, min(width, 100))
    lines = [
        *_head(found, width, paint), "",
        *_moves(found, width, moves),
        *_contents(found, width),
        *_measures(found, width),
        *_steps(found.next, width),
        *_list("Not compared", found.not_compared, width),
        *_list("What counts as a difference", _CRITERION, width),
    ]
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def comparison_quiet(found: Comparison) -> str:
    """One line: the two files, what it comes to, the sentence."""
    pair = f"{printable(found.good.path)} {printable(found.bad.path)}"
    return f"{pair}: {found.outcome.value.replace('_', ' ')}: {printable(found.summary)}\n"


def _wrap(text: str, width: int, label: str = "") -> list[str]:
    return textwrap.wrap(
        printable(text), width, initial_indent=label, subsequent_indent=" " * len(label), break_on_hyphens=False,
    ) or [label]


def _list(title: str, items: tuple[str, ...], width: int) -> Iterator[str]:
    if items:
        yield title
        for item in items:
            yield from _wrap(item, width, "  - ")
        yield ""


def _steps(steps: tuple[str, ...], width: int) -> Iterator[str]:
    if steps:
        yield "Next (from the easiest on)"
        for number, text in enumerate(steps, 1):
            yield from _wrap(text, width, f"  {number}. ")
        yield ""


def _verdict(side: Judged) -> str:
    verdict = side.verdict
    words = verdict.outcome.value
    if verdict.stopped_at is not None:
        words += f", stopped before {verdict.stopped_at.value}"
    if verdict.suspect is not None:
        words += f", {verdict.suspect.value}"
    return f"{side.path} ({words})"


def _head(found: Comparison, width: int, paint: Paint) -> Iterator[str]:
    yield paint(_HEAD[found.outcome], _COLOR[found.outcome])
    yield from _wrap(found.summary, width)
    first = found.first
    if found.outcome is Alike.CANNOT_TELL and first is not None:
        yield from _wrap(f"As far as the captures show, they part at: {first.headline}.", width)
    if found.outcome is Alike.PART and (first is None or first.doubt is not Doubt.NONE):
        content = next((c for c in found.contents if c.counts), None)
        if content is not None:
            yield from _wrap(f"{content.good}{_at(content.good_s)}.", width, "Good: ")
            yield from _wrap(f"{content.bad}{_at(content.bad_s)}.", width, "Bad:  ")
    elif first is not None and found.outcome is not Alike.ALIKE:
        yield from _first(found, first, width)
    for note in found.notes:
        yield from _wrap(note, width)
    if found.next:
        yield from _wrap(f"First: {found.next[0]}", width)
    yield from _wrap(_verdict(found.good), width, "Good file: ")
    yield from _wrap(_verdict(found.bad), width, "Bad file:  ")


def _at(t_s: float | None) -> str:
    return f" at {t_s:.4f} s" if t_s is not None else ""


def _first(found: Comparison, first: Parting, width: int) -> Iterator[str]:
    yield from _wrap(first.did_good, width, "Good: ")
    yield from _wrap(first.did_bad, width, "Bad:  ")
    # Where nothing is proven nobody is named.
    if first.whose is not None and found.outcome is not Alike.CANNOT_TELL and not found.swapped:
        yield from _wrap(f"It was the move of: {PARTY_WORDS[first.whose]}.", width)
    if first.doubt is not Doubt.NONE:
        yield from _wrap(f"Doubtful: {first.doubt.value}.", width)
    again = found.rows[first.again].good if first.again is not None else None
    if again is not None:
        yield from _wrap(f"After that they go on alike, from: {told(again, often=False)}.", width)
    more = sum(p is not first and p.doubt is Doubt.NONE for p in found.partings)
    if more:
        yield from _wrap(f"They part at {count(more, 'more place')} (see the moves).", width)


def _moves(found: Comparison, width: int, everything: bool) -> Iterator[str]:
    rows = found.rows
    if not rows:
        return
    first = found.first.row if found.first is not None else 0
    begin, end = (0, len(rows)) if everything else (
        max(0, first - _ROWS_BEFORE), min(len(rows), first + _ROWS_AFTER)
    )
    yield f"{'Moves':<8}{'good at':>10}{'bad at':>13}" if width >= _TABLE_WIDTH else "Moves"
    if begin:
        yield f"  ... {count(begin, 'move')} before, alike"
    for row in rows[begin:end]:
        yield from _row(row, width)
    if end < len(rows):
        yield f"  ... {count(len(rows) - end, 'move')} more (all: --moves)"
    yield ""


def _row(row: Row, width: int) -> list[str]:
    sides = (("good", row.good), ("bad", row.bad))
    if width >= _TABLE_WIDTH:
        at = "".join(f"{move.start_s:>11.4f} s" if move is not None else " " * 13 for _, move in sides)
        return _wrap(_row_words(row), width, f"{_MARK[row.kind]:<6}{at}  ")
    at = ", ".join(f"{name} {move.start_s:.4f} s" for name, move in sides if move is not None)
    return _wrap(f"{at}: {_row_words(row)}", width, f"{_MARK[row.kind]:<6} ")


def _row_words(row: Row) -> str:
    if row.good is None or row.bad is None:
        move = row.good or row.bad
        return told(move) if move is not None else ""
    good, bad = told(row.good, often=False), told(row.bad, often=False)
    text = good if good == bad else f"good {good}; bad {bad}"
    if row.good.times != row.bad.times:
        text += f" (good {times(row.good.times)}, bad {times(row.bad.times)})"
    elif row.good.times > 1:
        text += f", {times(row.good.times)}"
    return text


def _contents(found: Comparison, width: int) -> Iterator[str]:
    if not found.contents:
        return
    yield "What was offered, asked for, and agreed"
    for one in found.contents:
        yield from _wrap(_content(one), width, "  - ")
    yield ""


def _content(one: Content) -> str:
    rest = "" if one.counts else " (no fault in itself)"
    return f"{one.topic}: good {one.good}; bad {one.bad}{rest}"


def _measures(found: Comparison, width: int) -> Iterator[str]:
    some = sorted((m for m in found.measures if m.differs), key=lambda m: not m.counts)
    compared = sum(m.good is not None and m.bad is not None for m in found.measures)
    if not compared:
        return
    differ = "1 differs" if len(some) == 1 else f"{len(some)} differ"
    yield from _wrap(f"Timings and levels: {compared} compared, {differ} by more than the spread", width)
    for one in some:
        yield from _wrap(f"{one.label}: good {value_words(one, one.good)}; bad {value_words(one, one.bad)}.{_so(one)}",
                         width, "  ! " if one.counts else "  - ")
    yield ""


def _so(one: Measure) -> str:
    limit = f" ({one.allowed.words})" if one.allowed is not None else ""
    if one.placed in (Placed.GOOD_OUTSIDE, Placed.BAD_OUTSIDE, Placed.BOTH_OUTSIDE):
        return f" {one.placed.value[0].upper()}{one.placed.value[1:]} of the standard{limit}."
    if one.placed is Placed.BOTH_WITHIN:
        return f" Both are allowed{limit}."
    return "" if one.counts else " No fault in itself."


def value_words(one: Measure, values: Values | None) -> str:
    """A side's values: ``"4 ms"``, ``"9.02 V (8.99 to 9.05, 20 values)"``."""
    if values is None:
        return "none"
    text = _unit(one.unit, values.typical)
    if one.unit == "share":
        return f"{text} of {values.count}"
    if values.count > 1:
        low, high = _unit(one.unit, values.low), _unit(one.unit, values.high)
        between = f"{low} to {high}, " if low != high else ""
        text += f" ({between}{values.count} values)"
    return text


def _unit(unit: str, value: float) -> str:
    if unit == "s":
        return f"{span(abs(value))} before" if value < 0 and abs(value) > 5e-6 else span(value)
    if unit == "bit/s":
        return f"{value / 1e3:.1f} kbit/s"
    if unit == "share":
        return f"{value:.0%}"
    return f"{value:.3f} {unit}" if unit == "A" else f"{value:.2f} {unit}"


def pair_text(
    pair: Pair, *, files: tuple[str, ...] = (), width: int = 80, paint: Paint = plain,
) -> str:
    """What a flip test proves, lines of at most ``width`` columns, with a final line end.

    :param files: the names of A and B.
    """
    width = max(40, min(width, 100))
    color = {Proof.NONE: "yellow", Proof.BOTH_WORK: "green"}.get(pair.proof, "red")
    lines = [
        paint(f"PLUG TURNED OVER: {_PROOF_HEAD[pair.proof]}", color), *_wrap(pair.summary, width),
        *(_wrap(f"First: {pair.next[0]}", width) if pair.next else ()),
        *(line for label, name in zip("AB", files, strict=False) for line in _wrap(name, width, f"{label}: ")), "",
        *_list("Cleared by it", pair.cleared, width),
        *_list("What is left", pair.suspect, width),
        *_list("What to bear in mind", pair.notes, width),
        *_steps(pair.next, width),
    ]
    return "\n".join(line.rstrip() for line in lines).rstrip() + "\n"


def pair_quiet(pair: Pair) -> str:
    """One line: what the flip test proves."""
    return f"plug turned over: {pair.proof.value.replace('_', ' ')}: {pair.summary}\n"
