"""``pdcheck compare``.

Why it is: a good unit beside a bad one, before beside after: where the two captures part.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pdcheck.commands.rate import hertz
from pdcheck.commands.terminal import EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS, painter, width
from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.comparison import Comparison
    from pdcheck.report.model import Report


@click.command()
@click.argument("good", metavar="GOOD")
@click.argument("bad", metavar="BAD")
@click.option("--json", "as_json", is_flag=True, help="The comparison as JSON on standard output, nothing else there.")
@click.option("--moves", is_flag=True, help="Every move, not only those around the first place where they part.")
@click.option("--cc", metavar="NAME", help="Which column is CC (CC1) in both: its name or its number, from 1.")
@click.option("--cc2", metavar="NAME", help="Which column is CC2.")
@click.option("--vbus", metavar="NAME", help="Which column is VBUS.")
@click.option("--current", metavar="NAME", help="Which column is the current.")
@click.option(
    "--rate", callback=hertz, metavar="HZ", help="Samples a second, for files that hold samples without times."
)
@click.option("--quiet", is_flag=True, help="One line.")
@click.option("--html", "page", metavar="OUT", help="Both conversations side by side, as a page as well.")
@click.option("--no-color", is_flag=True, help="No colour (also: the environment variable NO_COLOR).")
def compare(
    good: str, bad: str, as_json: bool, moves: bool, cc: str | None, cc2: str | None, vbus: str | None,
    current: str | None, rate: float | None, quiet: bool, page: str | None, no_color: bool,
) -> None:
    """Show where two captures part: a good unit and a bad one, or after a repair and before it.

    GOOD is the capture that shows how it should be. Exit status: 0 the two are alike, 1 they part, 2 a file could not
    be used, 3 they cannot be compared.
    """
    from pdcheck.commands.decode import judge
    from pdcheck.comparison import Alike
    from pdcheck.comparison import compare as compare_judged

    if good == bad == "-":
        raise InputError("both captures are to come from standard input", "name a file for one of them")
    target = _target(page, (good, bad))
    columns = {"cc1": cc, "cc2": cc2, "vbus": vbus, "current": current}
    left, right = judge(good, columns, rate), judge(bad, columns, rate)
    found = compare_judged(left, right)
    if target is not None:
        _write(left, right, found, target)
    if as_json:
        from pdcheck.report.comparison_json import comparison_json, dumps

        click.echo(dumps(comparison_json(found)))
    else:
        from pdcheck.report.as_text import plain
        from pdcheck.report.comparison_text import comparison_quiet, comparison_text

        click.echo(comparison_quiet(found) if quiet else comparison_text(
            found, width=width(), moves=moves, paint=painter(no_color) or plain,
        ), nl=False)
    raise SystemExit({Alike.ALIKE: EXIT_PASS, Alike.PART: EXIT_FAIL}.get(found.outcome, EXIT_INCONCLUSIVE))


def _target(page: str | None, captures: tuple[str, str]) -> Path | None:
    if page is None:
        return None
    from pdcheck.commands.page_file import targets

    return targets(page, captures, together=True)[0]


def _write(left: Report, right: Report, found: Comparison, target: Path) -> None:
    from pdcheck.commands.page_file import write_text
    from pdcheck.report.page import comparison_html

    first = found.first
    moments = (first.good_s, first.bad_s) if first is not None else (None, None)
    page = comparison_html(
        left, right, names=("good", "bad"), summary=found.summary, parting_s=moments,
        first=found.next[0] if found.next else None,
    )
    write_text(page, target)
