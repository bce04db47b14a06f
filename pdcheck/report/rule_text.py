"""The rules as text: a list, one rule, the page of the notes.

Why it is: ``pdcheck rules`` and the notes are printed from the rules' own entries.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

from pdcheck.rules import ALL_RULES, Rule, Severity

_WHAT = {"fail": "breaks charging", "warn": "against the standard; charging may survive", "info": "worth knowing"}

#: Below so many columns a list has no room for two columns of its own.
_NARROW = 66


def find_rule(name: str) -> Rule | None:
    """The rule with that id, None where there is none."""
    return next((r for r in ALL_RULES if r.id == name), None)


def rules_list(rules: Sequence[Rule] = ALL_RULES, width: int = 80) -> str:
    """A rule begins a line; a title that does not fit goes on below."""
    return "\n".join(line for one in rules for line in listed(one.severity, one.id, one.title, width)) + "\n"


def listed(severity: Severity, name: str, title: str, width: int) -> list[str]:
    """A rule or a finding in a list; on a narrow terminal its title stands below its id."""
    if width < _NARROW:
        return [f"{severity.value:<5} {name}", *textwrap.wrap(
            title, width, initial_indent=" " * 6, subsequent_indent=" " * 6, break_on_hyphens=False,
        )]
    return textwrap.wrap(
        title, width, initial_indent=f"{severity.value:<5} {name:<26} ", subsequent_indent=" " * 33,
        break_on_hyphens=False,
    )


def rule_page(one: Rule, width: int = 80) -> str:
    """One rule in full."""
    sections = {
        "What it checks": one.checks, "Why it stops charging": one.why,
        "Where the specification says so": one.reference,
    }
    return full_page(
        f"{one.id} ({one.severity.value}: {_WHAT[one.severity.value]})", one.title, sections, one.next, width
    )


def full_page(head: str, title: str, sections: Mapping[str, str], steps: Sequence[str], width: int) -> str:
    """A rule or a finding in full: its sections by their headings, and what to do next."""
    parts = [*textwrap.wrap(head, width, subsequent_indent="  "), *textwrap.wrap(title + ".", width), ""]
    for heading, text in sections.items():
        parts += [heading, *textwrap.wrap(text, width, initial_indent="  ", subsequent_indent="  "), ""]
    if steps:
        parts.append("What to do next")
        for number, text in enumerate(steps, 1):
            mark = f"  {number}. "
            parts += textwrap.wrap(text, width, initial_indent=mark, subsequent_indent=" " * len(mark))
    return "\n".join(parts).rstrip() + "\n"


def rules_page() -> str:
    """The page of the notes."""
    out = ["# Rules", "", "Printed from the rules' own entries; `pdcheck rules ID` prints one.", ""]
    for family in dict.fromkeys(r.family for r in ALL_RULES):
        out += [f"## {family.upper() if family == 'epr' else family.capitalize()}", ""]
        for one in (r for r in ALL_RULES if r.family == family):
            out += [
                f"### {one.id}", "", f"**{one.title}.** ({one.severity.value}: {_WHAT[one.severity.value]})", "",
                f"*What it checks.* {one.checks}", "", f"*Why it stops charging.* {one.why}", "",
                f"*Where the specification says so.* {one.reference}", "",
            ]
            if one.next:
                out += ["*What to do next.*", "", *(f"{n}. {text}" for n, text in enumerate(one.next, 1)), ""]
    return "\n".join(out).rstrip() + "\n"
