"""``pdcheck rules``.

Why it is: every check can be read up without a capture.
"""

from __future__ import annotations

import click

from pdcheck.errors import InputError


@click.command()
@click.argument("rule_id", metavar="[ID]", required=False)
def rules(rule_id: str | None) -> None:
    """List the checks, or explain one: what, why it stops charging, where it is written, what to do."""
    from pdcheck.report.rule_text import find_rule, rule_page, rules_list

    if rule_id is None:
        click.echo(rules_list(), nl=False)
        return
    found = find_rule(rule_id)
    if found is None:
        raise InputError(f"there is no rule {rule_id!r}", "pdcheck rules lists them all")
    click.echo(rule_page(found), nl=False)
