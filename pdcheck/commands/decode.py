"""``pdcheck decode``.

Why it is: the main job, from a capture to its report.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pdcheck.commands.terminal import EXIT_UNUSABLE, complain, painter, status_of, width, worst_of
from pdcheck.errors import PdcheckError

if TYPE_CHECKING:
    from pdcheck.report.model import Report


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON on standard output, nothing else there.")
@click.option("--messages", is_flag=True, help="The message table as well.")
@click.option("--cc", metavar="NAME", help="Which column is CC (CC1): its name or its number, from 1.")
@click.option("--cc2", metavar="NAME", help="Which column is CC2.")
@click.option("--vbus", metavar="NAME", help="Which column is VBUS.")
@click.option("--current", metavar="NAME", help="Which column is the current.")
@click.option("--rate", type=float, metavar="HZ", help="Samples a second, for files that hold samples without times.")
@click.option("--quiet", is_flag=True, help="One line a file.")
@click.option("--no-color", is_flag=True, help="No colour (also: the environment variable NO_COLOR).")
def decode(
    files: tuple[str, ...], as_json: bool, messages: bool, cc: str | None, cc2: str | None, vbus: str | None,
    current: str | None, rate: float | None, quiet: bool, no_color: bool,
) -> None:
    """Read a capture, decode it, check it, print the negotiation report.

    FILE is a CSV or VCD export of the CC line (.gz too); - reads standard input. Exit status: 0 pass, 1 fail,
    2 a file could not be used, 3 the capture cannot tell.
    """
    statuses: list[int] = []
    several = len(files) > 1
    reports: list[str] = []
    for index, path in enumerate(files):
        try:
            report = _judge(path, {"cc1": cc, "cc2": cc2, "vbus": vbus, "current": current}, rate)
        except PdcheckError as error:
            complain(error.one_line())
            statuses.append(EXIT_UNUSABLE)
            continue
        statuses.append(status_of(report))
        if as_json:
            from pdcheck.report.as_json import dumps

            reports.append(dumps(report))
        else:
            if several and index and not quiet:
                click.echo("=" * 72)
            click.echo(_text(report, messages, quiet, no_color), nl=False)
    if as_json and reports:
        # One file gives one object; several give a list, so that the output is one JSON value either way.
        click.echo(reports[0] if not several else "[" + ",\n".join(reports) + "]")
    raise SystemExit(worst_of(statuses))


def _judge(path: str, columns: dict[str, str | None], rate: float | None) -> Report:
    from pdcheck.capture import Role, open_capture
    from pdcheck.pipeline import check
    from pdcheck.pipeline import decode as decode_capture

    roles = {Role(role): name for role, name in columns.items() if name is not None}
    return check(decode_capture(open_capture(path, roles=roles, rate_hz=rate)))


def _text(report: Report, messages: bool, quiet: bool, no_color: bool) -> str:
    from pdcheck.report.as_text import plain, quiet_text, report_text

    if quiet:
        return quiet_text(report)
    return report_text(report, width=width(), messages=messages, paint=painter(no_color) or plain)
