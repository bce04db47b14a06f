"""``pdcheck casebook find`` and ``stats``.

Why it is: both ask the same question, "what is like this?"; the one shows the cases, the other counts them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pdcheck.commands.casebook_options import current_option, file_option, open_book, print_json
from pdcheck.commands.terminal import say, width
from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.casebook import Casebook, Query


@click.command()
@click.argument("words", nargs=-1, metavar="[CAPTURE|REPORT.json] [WORDS...]")
@click.option("--like", metavar="NUMBER", help="Cases like this one.")
@current_option
@click.option("--limit", type=click.IntRange(1), default=5, metavar="N", help="How many at most (5).")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@file_option
@click.pass_context
def find(
    ctx: click.Context, words: tuple[str, ...], like: str | None, current_ma: int | None, limit: int, as_json: bool,
    book: str | None,
) -> None:
    """Find the cases that are most alike, and say in what.

    \b
    Examples:
      pdcheck casebook find tablet.csv
      pdcheck casebook find tablet.csv --current-ma 30 deck tablet
      pdcheck casebook find --like 7
      pdcheck casebook find bent contact
    """
    from pdcheck.casebook import rank

    with open_book(ctx, book, write=False) as kept:
        query = _query(kept, words, like, current_ma)
        if query.empty:
            raise InputError("what to look for is not named",
                             "say e.g. pdcheck casebook find CAPTURE.csv, or find --like 7, or find bent contact")
        matches = rank(query, kept.cases())
    shown = matches[:limit]
    if as_json:
        from pdcheck.casebook.as_json import matches_json

        print_json(matches_json(shown))
        return
    from pdcheck.casebook.as_text import matches_text

    say(matches_text(shown, width(), len(matches) - len(shown)))


@click.command()
@click.argument("words", nargs=-1, metavar="[CAPTURE|REPORT.json] [WORDS...]")
@click.option("--like", metavar="NUMBER", help="Only cases like this one.")
@current_option
@click.option("--at-least", type=click.IntRange(1, 100), default=60, metavar="PERCENT",
              help="How alike a case has to be to count (60).")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@file_option
@click.pass_context
def stats(
    ctx: click.Context, words: tuple[str, ...], like: str | None, current_ma: int | None, at_least: int, as_json: bool,
    book: str | None,
) -> None:
    """Count what such cases were, and say how little that proves.

    Counted are cases with a part named whose repair held. Without anything named all cases are looked at.

    \b
    Examples:
      pdcheck casebook stats tablet.csv
      pdcheck casebook stats --like 7 --at-least 80
    """
    from pdcheck.casebook import count_outcomes, rank

    with open_book(ctx, book, write=False) as kept:
        query, cases = _query(kept, words, like, current_ma), kept.cases()
    if not query.empty:
        cases = [match.case for match in rank(query, cases) if match.score * 100 >= at_least]
    outcomes = count_outcomes(cases)
    if as_json:
        from pdcheck.casebook.as_json import outcomes_json

        print_json(outcomes_json(outcomes))
        return
    from pdcheck.casebook.as_text import outcomes_text

    say(outcomes_text(outcomes, width(), like=not query.empty))


def _query(kept: Casebook, words: tuple[str, ...], like: str | None, current_ma: int | None) -> Query:
    from pdcheck.casebook.said import query

    return query(words, kept.get(like) if like is not None else None, current_ma)
