"""``pdcheck watch``.

Why it is: the analyzer saves, the verdict appears; nobody has to type while both hands hold probes.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pdcheck.commands.terminal import (
    EXIT_FAIL,
    EXIT_INCONCLUSIVE,
    EXIT_PASS,
    EXIT_STOPPED,
    EXIT_UNUSABLE,
    complain,
    row_width,
    say,
    worst_of,
)
from pdcheck.errors import InputError, PdcheckError

if TYPE_CHECKING:
    from pdcheck.report.model import Report

_STATUS = {
    "unusable": EXIT_UNUSABLE, "fail": EXIT_FAIL, "inconclusive": EXIT_INCONCLUSIVE, "pass": EXIT_PASS,
}


@click.command()
@click.argument("folder")
@click.option("--once", is_flag=True, help="Judge what is there now, list the worst first, and end.")
@click.option("--recursive", is_flag=True, help="Folders in it as well.")
@click.option("--settle", type=click.FloatRange(0.05, 3600), default=1.5, metavar="SECONDS",
              help="How long a file must not have changed to be finished (1.5).")
@click.option("--json", "as_json", is_flag=True, help="A JSON object a line.")
@click.option("--html", "pages", is_flag=True, help="Keep a page beside each capture: its name and .html.")
def watch(folder: str, once: bool, recursive: bool, settle: float, as_json: bool, pages: bool) -> None:
    """Judge each capture that lands in FOLDER, one line each.

    A file counts as finished when it has not changed for a while and no program is known to have it open for writing.
    Hidden files and names of half-written ones (.part, .tmp) are passed over. What was there before is not judged;
    --once does that. A file that is written again is judged again. Ctrl-C ends it.

    \b
    Examples:
      pdcheck watch captures
      pdcheck watch captures --once --recursive
    """
    from pdcheck.report.as_text import printable
    from pdcheck.watching import FolderGone, look
    from pdcheck.watching.judge import Judged, counted, judged_json, line_of
    from pdcheck.watching.patrol import all_in, patrol

    place = Path(folder)
    judged: list[Judged] = []

    def show(one: Judged, *, timed: bool) -> None:
        moment = datetime.now().astimezone()
        if as_json:
            import json

            click.echo(json.dumps(judged_json(one, moment.isoformat(timespec="seconds")), ensure_ascii=False))
        else:
            say(line_of(one, moment.strftime("%H:%M:%S") if timed else "", row_width()))

    keep = _keep_page if pages else None
    try:
        present = look(place, recursive=recursive)
    except (FolderGone, ValueError) as error:
        raise InputError(f"{folder}: cannot be watched ({error})", "name a folder, e.g. pdcheck watch .") from None
    try:
        if once:
            for one in all_in(place, recursive=recursive, on_report=keep):
                show(one, timed=False)
                judged.append(one)
            complain(counted(judged))
            raise SystemExit(worst_of([_STATUS[one.verdict] for one in judged]))
        there = f"; {len(present)} already there, not judged (--once does that)" if present else ""
        complain(f"watching {printable(folder)}{there}; Ctrl-C ends it")
        for one in patrol(
            place, present, recursive=recursive, settle_s=settle, on_report=keep,
            on_waiting=lambda name: complain(f"{printable(name)}: a program still has it open for writing; waiting"),
        ):
            judged.append(one)
            show(one, timed=True)
    except FolderGone as error:
        complain(f"{printable(folder)}: the folder cannot be read any more ({error}); {counted(judged)}")
        raise SystemExit(EXIT_UNUSABLE) from None
    except KeyboardInterrupt:
        complain(f"stopped; {counted(judged)}")
        raise SystemExit(EXIT_STOPPED) from None


def _keep_page(path: Path, report: Report) -> None:
    """Write the page beside a capture; a page that cannot be written is one line, and the verdict stands."""
    from pdcheck.commands.page_file import beside, checksum, write_page

    try:
        write_page(report, beside(path), shop=None, audience="technician", done=None, digest=checksum(str(path)))
    except PdcheckError as error:
        complain(error.one_line())
