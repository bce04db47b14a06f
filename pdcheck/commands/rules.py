"""``pdcheck rules``.

Why it is: every check can be read up without a capture.
"""

from __future__ import annotations

from difflib import get_close_matches

import click

from pdcheck.commands.terminal import width
from pdcheck.errors import InputError


@click.command()
@click.argument("rule_id", metavar="[ID]", required=False)
def rules(rule_id: str | None) -> None:
    """List the checks and the findings from readings, or explain one.

    What it is, why it stops charging, where it is written, what to do.
    """
    from pdcheck.bench.finding_text import BY_COMMAND, finding_page, findings_list
    from pdcheck.report.rule_text import find_rule, rule_page, rules_list
    from pdcheck.rules import ALL_RULES

    # Longer lines than these are no easier to read.
    columns = max(40, min(width(), 100))
    if rule_id is None:
        click.echo(rules_list(width=columns) + findings_list(columns), nl=False)
        return
    # A report shows an id in brackets, and a shop may type it in capitals.
    name = rule_id.strip("[] ").lower()
    rule = find_rule(name)
    # One id may be a check of captures and a finding from readings.
    found = (rule_page(rule, columns) if rule is not None else None, finding_page(name, columns))
    pages = [page for page in found if page is not None]
    if not pages:
        ids = [r.id for r in ALL_RULES] + [e.id for entries in BY_COMMAND.values() for e in entries]
        near = get_close_matches(name, dict.fromkeys(ids), 1, 0.6)
        hint = f"did you mean {near[0]}? " if near else ""
        raise InputError(f"there is no rule {rule_id!r}", f"{hint}pdcheck rules lists them all")
    click.echo("\n".join(pages), nl=False)
