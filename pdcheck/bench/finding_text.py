"""The findings from readings as text: a list, one finding, the page of the notes.

Why it is: a report of ``measure`` or ``pins`` names its findings by their ids, and ``pdcheck rules`` says what they
mean, as it does of the checks of captures.
"""

from __future__ import annotations

from pdcheck.bench import entries, pin_entries
from pdcheck.bench.entries import Entry
from pdcheck.report.rule_text import full_page, listed

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
        first: dict[str, Entry] = {}
        for one in found:
            first.setdefault(one.id, one)
        for one in first.values():
            lines += listed(one.severity, one.id, one.title, width)
    return "\n".join(lines) + "\n"


def findings_page() -> str:
    """The page of the notes."""
    out = [
        "# Findings from readings", "",
        "Printed from the findings' own entries; `pdcheck rules ID` prints one. The severity is the usual one: "
        "readings that leave more than one explanation convict nobody.", "",
    ]
    for command, found in BY_COMMAND.items():
        out += [f"## pdcheck {command}", ""]
        for name in dict.fromkeys(one.id for one in found):
            out += [f"### {name}", ""]
            for one in (e for e in found if e.id == name):
                out += [
                    f"**{one.title}.** ({one.severity.value})", "", f"*What it means.* {one.why}", "",
                    f"*Where the specification says so.* {one.reference}", "",
                ]
                if one.next:
                    out += ["*What to do next.*", "", *(f"{n}. {text}" for n, text in enumerate(one.next, 1)), ""]
    return "\n".join(out).rstrip() + "\n"


def finding_page(name: str, width: int = 80) -> str | None:
    """All that stands of a finding with that id; None where there is none."""
    return "\n".join(
        full_page(
            f"{one.id} ({one.severity.value}, from readings: pdcheck {command})", one.title,
            {"What it means": one.why, "Where the specification says so": one.reference}, one.next, width,
        )
        for command, found in BY_COMMAND.items() for one in found if one.id == name
    ) or None
