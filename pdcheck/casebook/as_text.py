"""Cases, matches and counts as text for 80 columns.

Why it is: the list is read between two devices. A line says what a case was and how it ended; whatever somebody typed
into a field is shown without what would steer the terminal.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from pdcheck.casebook.fingerprint import Fingerprint
from pdcheck.casebook.kept_text import reading_texts, state_texts
from pdcheck.casebook.levels import current_class
from pdcheck.casebook.likeness import Match
from pdcheck.casebook.model import Held, KeptCase, Status
from pdcheck.casebook.outcomes import Outcomes
from pdcheck.casebook.plain import cut, one_line, short

_HELD = {Held.YES: "held", Held.NO: "did not hold", Held.UNKNOWN: "not known yet whether it held"}
_INDENT = 11
#: Below so many columns a case takes two lines of the list.
_NARROW = 68


def list_text(cases: Sequence[KeptCase], width: int | None) -> str:
    """A line a case of at most ``width`` columns (None: whole), the latest first."""
    if not cases:
        return "No cases yet. pdcheck casebook add --device ... --symptom ... keeps the first."
    if width is not None and width < _NARROW:
        return _joined(_narrow_list(cases, width))
    lines = [f"{'case':>5}  {'state':<6}  {'held':<7}  {'part':<16}  device: symptom"]
    for case in reversed(cases):
        part = case.part.value if case.part is not None else "-"
        words = f"{one_line(case.device) or '-'}: {one_line(case.symptom) or '-'}"
        row = f"{case.number:>5}  {case.status.value:<6}  {case.held.value:<7}  {part:<16}  {words}"
        lines.append(row if width is None else cut(row, width))
    return _joined(lines)


def _narrow_list(cases: Sequence[KeptCase], width: int) -> Iterator[str]:
    for case in reversed(cases):
        part = f", {case.part.value}" if case.part is not None else ""
        yield cut(f"{case.number:>5}  {case.status.value}, held: {case.held.value}{part}", width)
        yield " " * 7 + short(f"{one_line(case.device) or '-'}: {one_line(case.symptom) or '-'}", width - 7)


def case_title(case: KeptCase) -> str:
    """Device and symptom in a few words."""
    return short(f"{one_line(case.device) or '-'}: {one_line(case.symptom) or '-'}", _NARROW)


def case_text(case: KeptCase, width: int, replaced: Sequence[str] = ()) -> str:
    """A whole case; ``replaced``: earlier states that an import set aside, as JSON."""
    lines = [short(f"Case {case.number}, {case.status.value}: {case.device or 'no device named'}", width), ""]
    private = "(stays here) "
    for label, text in (
        ("Symptom", case.symptom), ("Done", case.done), ("Part", case.part.words if case.part else ""),
        ("Held", _held(case) if case.done or case.part or case.held is not Held.UNKNOWN else ""),
        ("Customer", private + case.customer if case.customer else ""),
        ("Ticket", private + case.ticket if case.ticket else ""),
        ("Capture", private + case.capture_path if case.capture_path else ""),
        ("Kept", f"{_minute(case.created_at)}, last edited {_minute(case.edited_at)}"), ("Known as", case.uuid),
    ):
        if text:
            lines += _row(label, text, width)
    if case.fingerprint is not None:
        lines += ["", "Capture's fingerprint", *_fingerprint(case.fingerprint, width)]
    if case.notes:
        lines += ["", "Notes"]
        for number, note in enumerate(case.notes, 1):
            mark = " (private)" if note.private else ""
            lines += _wrap(f"{number}. {_minute(note.at)}{mark}  {one_line(note.text)}", width, "  ", "     ")
    for number, reading in enumerate(case.readings, 1):
        lines += ["", short(f"Readings {number}: {reading.kind}, {_minute(reading.at)}", width)]
        for text in reading_texts(reading):
            lines += _wrap(one_line(text), width, "  ", "    ")
    if replaced:
        lines += ["", "Set aside by an import (earlier states)"]
        for body in replaced:
            for text in state_texts(body):
                lines += _wrap(one_line(text), width, "  ", "    ")
    following = _following(case)
    if following:
        lines += ["", *_wrap(f"Next: {following}", width, "", "  ")]
    return _joined(lines)


def _following(case: KeptCase) -> str:
    """What to type next in the usual course of a case."""
    if case.status is Status.OPEN:
        return f'pdcheck casebook close {case.number} --part PART --done "WHAT WAS DONE" --held yes'
    if case.part is not None and case.held is Held.UNKNOWN:
        return f"pdcheck casebook edit {case.number} --held yes (or no), as soon as it is known"
    if case.part is None:
        return f"pdcheck casebook edit {case.number} --part PART, or stats cannot count it"
    return ""


def matches_text(matches: Sequence[Match], width: int, more: int) -> str:
    """The cases that are alike, each with why; ``more``: how many weaker ones are not shown."""
    if not matches:
        return "No case is like this one yet."
    lines = []
    for match in matches:
        case = match.case
        part = case.part.words if case.part is not None else "no part named"
        head = f"{match.percent:>4} %  case {case.number}, {case.status.value}, {part}, {_held(case)}"
        lines.append(cut(head, width))
        words = f"{one_line(case.device) or '-'}: {one_line(case.symptom) or '-'}"
        lines.append(" " * 8 + short(words, width - 8))
        alike = [r.words for r in match.respects if r.degree >= 0.5]
        partly = [r.words for r in match.respects if 0 < r.degree < 0.5]
        other = [r.words for r in match.respects if r.degree == 0]
        for label, found in (("alike: ", alike), ("in part: ", partly), ("not alike: ", other)):
            if found:
                lines += _wrap(label + one_line("; ".join(found)), width, " " * 8, " " * 10)
        if case.done:
            lines += _wrap("done: " + short(case.done, 2 * width), width, " " * 8, " " * 10)
    if more:
        lines += ["", short(f"{more} more, less alike: --limit {len(matches) + more} shows them.", width)]
    lines += ["", *_wrap(
        "Likeness is not proof: measure before you desolder. pdcheck casebook show NUMBER shows a case; stats with the "
        "same words counts what they turned out to be.", width,
    )]
    return _joined(lines)


def outcomes_text(outcomes: Outcomes, width: int, like: bool) -> str:
    """The count in words, and how little it proves. ``like``: the cases were chosen by likeness."""
    which = "cases like this" if like else "cases"
    lines: list[str] = []
    total = outcomes.total
    if total == 0:
        lines += _wrap(
            f"Looked at {outcomes.looked_at} of the {which}: none has a part named and a repair that held, so there is "
            "nothing to count yet." if outcomes.looked_at else f"There are no {which}.", width,
        )
    else:
        parts = [f"{s.count} {'was' if s.count == 1 else 'were'} {s.part.words}" if i == 0 else
                 f"{s.count} {s.part.words}" for i, s in enumerate(outcomes.shares)]
        one = which.replace("cases", "case") if total == 1 else which
        lines += _wrap(f"Of {total} {one} whose repair held, {', '.join(parts)}.", width)
        lines.append("")
        for share in outcomes.shares:
            counted, between = f"{share.count} of {total}", f"{share.low * 100:.0f} to {share.high * 100:.0f} %"
            if width < _NARROW:
                lines += [f"  {share.part.words}", f"    {counted}, true share: {between}"]
            else:
                lines.append(f"  {share.part.words:<30} {counted:>10}   true share: {between}")
        lines += ["", *_wrap(_worth(total), width)]
    rest = [f"in {n} {p.words} was blamed and the repair did not hold" for p, n in outcomes.wrong]
    if outcomes.undecided:
        rest.append(f"in {outcomes.undecided} it is not known yet whether the repair held")
    if outcomes.unnamed:
        rest.append(f"{outcomes.unnamed} {'names' if outcomes.unnamed == 1 else 'name'} no part")
    if rest:
        lines += ["", *_wrap(f"Not counted: {'; '.join(rest)}.", width)]
    return _joined(lines)


def _worth(total: int) -> str:
    """How little a count proves."""
    interval = "The true share lies in that range 95 times of 100, if these cases were drawn by chance, and they "
    kept = "were not: they are what somebody happened to keep."
    if total < 5:
        return f"{interval}{kept} So few prove next to nothing: take them as a hint where to measure first, no more."
    if total < 30:
        return f"{interval}{kept} So few prove little: measure that part first, and desolder nothing for their sake."
    return f"{interval}{kept} Measure before you desolder."


def _held(case: KeptCase) -> str:
    when = f" ({case.held_on})" if case.held_on is not None and case.held is not Held.UNKNOWN else ""
    return _HELD[case.held] + when


def _fingerprint(one: Fingerprint, width: int) -> Iterator[str]:
    head = one.verdict + (f", stopped at {one.stopped_at}" if one.stopped_at else "")
    head += f", suspect {one.suspect}" if one.suspect else ""
    yield from _row("Verdict", head, width)
    yield from _row("Summary", one.summary, width)
    by_state: dict[str, list[str]] = {}
    for step, state in one.steps:
        by_state.setdefault(state.replace("_", " "), []).append(step)
    yield from _row("Steps", "; ".join(f"{state}: {', '.join(steps)}" for state, steps in by_state.items()), width)
    if one.rules:
        rules = ", ".join(f"{rule} ({severity})" for rule, severity in one.rules)
        yield from _row("Rules", rules + (f"; decided: {one.leading}" if one.leading else ""), width)
    yield from _row("Seen", f"{one.offers} offers, {one.resets} Hard Resets", width)
    if one.offered:
        yield from _row("Offered", ", ".join(level.words for level in one.offered), width)
    if one.asked is not None:
        known = 0 < one.asked <= len(one.offered)
        words = f" ({one.offered[one.asked - 1].words})" if known else ""
        yield from _row("Asked for", f"object {one.asked}{words}", width)
    if one.contract is not None:
        yield from _row("Contract", one.contract.words, width)
    if one.timings:
        yield from _row("Times", ", ".join(f"{what} {seconds * 1000:.3g} ms" if seconds < 1 else
                                          f"{what} {seconds:.3g} s" for what, seconds in one.timings), width)
    if one.current_ma is not None:
        yield from _row("Current", f"{one.current_ma} mA: {current_class(one.current_ma)}", width)


def _minute(at: str) -> str:
    return one_line(at[:16].replace("T", " ")) + " UTC"


def _row(label: str, text: str, width: int) -> list[str]:
    return _wrap(one_line(text), width, f"{label:<{_INDENT}}", " " * _INDENT)


def _wrap(text: str, width: int, first: str = "", then: str = "") -> list[str]:
    return textwrap.wrap(text, max(30, width), initial_indent=first, subsequent_indent=then,
                         break_on_hyphens=False) or [first]


def _joined(lines: Iterable[str]) -> str:
    return "\n".join(line.rstrip() for line in lines)
