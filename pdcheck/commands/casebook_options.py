"""What the casebook's commands share: options, and how they open the casebook.

Why it is: what can be said of a case is the same at intake, later and at the end, and is said in the same words.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from pdcheck.casebook import Casebook

Command = Callable[..., Any]
PARTS = (
    "port-contacts", "cc-path", "negotiating-chip", "chip-supply", "vbus-switch", "charger-stage", "battery", "cable",
    "charger", "other",
)


def file_option(function: Command) -> Command:
    """Which casebook."""
    return click.option("--file", "book", metavar="FILE", help="The casebook to use instead of your own.")(function)


def current_option(function: Command) -> Command:
    """The input current on a meter."""
    return click.option("--current-ma", type=click.IntRange(-20_000, 20_000), metavar="MA",
                        help="Input current on the ammeter, beside a capture.")(function)


def case_options(function: Command) -> Command:
    """What can be said of a case at intake, later, and when it is closed."""
    options = (
        click.option("--device", metavar="TEXT", help="Make and model of the device."),
        click.option("--symptom", metavar="TEXT", help="What it does, in your words."),
        click.option("--reading", "readings", metavar="FILE", multiple=True,
                     help="Readings saved with measure --json or pins --json. May be repeated."),
        current_option,
        click.option("--note", "notes", metavar="TEXT", multiple=True, help="A note. May be repeated."),
        click.option("--private-note", "private_notes", metavar="TEXT", multiple=True,
                     help="A note that is never exported."),
        click.option("--customer", metavar="TEXT", help="Whose it is. Stays here, is never exported."),
        click.option("--ticket", metavar="TEXT", help="Your ticket's number. Stays here as well."),
        click.option("--done", metavar="TEXT", help="What was done."),
        click.option("--part", type=click.Choice(PARTS), metavar="PART",
                     help="The part that was to blame, one of those above."),
        click.option("--held", type=click.Choice(("yes", "no", "unknown")), metavar="ANSWER",
                     help="Whether that cured the fault: yes, no or unknown."),
        click.option("--held-on", metavar="DATE", help="The day that was seen, as 2031-05-04 (today)."),
    )
    for option in reversed(options):
        function = option(function)
    return function


def open_book(ctx: click.Context, book: str | None, *, write: bool) -> Casebook:
    """The casebook that was named behind the command, before it, or nowhere."""
    from pdcheck.casebook import Casebook

    return Casebook.open(book if book is not None else ctx.obj, write=write)


def print_json(value: Any) -> None:
    """A value as JSON, and nothing else on standard output."""
    import json

    click.echo(json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False))

