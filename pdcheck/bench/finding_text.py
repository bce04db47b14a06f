"""The findings from readings as text: a list, one finding.

Why it is: a report of ``measure`` or ``pins`` names its findings by their ids, and ``pdcheck rules`` says what they
mean, as it does of the checks of captures.
"""

from __future__ import annotations

import textwrap

from pdcheck.bench import entries, pin_entries
from pdcheck.bench.entries import Entry

#: By the command that makes them, in the order of the entries; an id may stand for several wordings of one finding.
BY_COMMAND: dict[str, tuple[Entry, ...]] = {
    name: tuple(e for e in vars(module).values() if isinstance(e, Entry))
    for name, module in (("measure", entries), ("pins", pin_entries))
}


def findings_list(width: int = 80) -> str:
    """A finding begins a line, under the command that makes it; a title that does not fit goes on below."""
    lines: list[str] = []
    for command, found in BY_COMMAND.items():
        lines += ["", f"From readings (pdcheck {command})"]
        first = {e.id: e for e in reversed(found)}
        for one in reversed(first.values()):
            lines += textwrap.wrap(
                one.title, width, initial_indent=f"{one.severity.value:<5} {one.id:<26} ", subsequent_indent=" " * 33,
                break_on_hyphens=False,
            )
    return "\n".join(lines) + "\n"


def finding_page(name: str, width: int = 80) -> str | None:
    """All that stands of a finding with that id; None where there is none."""
    pages = []
    for command, found in BY_COMMAND.items():
        for one in found:
            if one.id == name:
                pages.append(_page(one, command, width))
    return "\n".join(pages) or None


def _page(one: Entry, command: str, width: int) -> str:
    parts = [f"{one.id} ({one.severity.value}, from readings: pdcheck {command})", one.title + ".", ""]
    for head, text in (("What it means", one.why), ("Where the specification says so", one.reference)):
        parts += [head, *textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  "), ""]
    if one.next:
        parts.append("What to do next")
        for number, text in enumerate(one.next, 1):
            mark = f"  {number}. "
            parts += textwrap.wrap(text, width, initial_indent=mark, subsequent_indent=" " * len(mark))
    return "\n".join(parts).rstrip() + "\n"
