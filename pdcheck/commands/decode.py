"""``pdcheck decode``.

Why it is: the main job, from a capture to its report.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pdcheck.commands.rate import hertz
from pdcheck.commands.terminal import EXIT_UNUSABLE, complain, painter, status_of, width, worst_of
from pdcheck.errors import CaptureError, InputError, PdcheckError

if TYPE_CHECKING:
    from pathlib import Path

    from pdcheck.report.model import Report


@click.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--json", "as_json", is_flag=True, help="The report as JSON on standard output, nothing else there.")
@click.option("--messages", is_flag=True, help="The message table as well.")
@click.option("--cc", metavar="NAME", help="Which column is CC (CC1): its name or its number, from 1.")
@click.option("--cc2", metavar="NAME", help="Which column is CC2.")
@click.option("--vbus", metavar="NAME", help="Which column is VBUS.")
@click.option("--current", metavar="NAME", help="Which column is the current.")
@click.option(
    "--rate", callback=hertz, metavar="HZ", help="Samples a second, for files that hold samples without times."
)
@click.option("--pair", type=click.Choice(["flipped"]), help="How two files belong together: flipped, the plug turned "
              "over at the device between them. Says what that proves.")
@click.option("--quiet", is_flag=True, help="One line a file.")
@click.option("--html", "page", metavar="OUT", help="The report as a page as well: a file, or a folder.")
@click.option(
    "--for", "audience", type=click.Choice(["technician", "customer"]), default=None,
    help="For whom the page is; for the customer it is a cover in everyday words.",
)
@click.option("--shop", metavar="NAME", help="The workshop's name, for the page.")
@click.option("--done", metavar="TEXT", help="What was done, in your words, for the customer's page.")
@click.option("--case", type=int, metavar="NUMBER", help="The case in the casebook that says what was done.")
@click.option("--no-color", is_flag=True, help="No colour (also: the environment variable NO_COLOR).")
def decode(
    files: tuple[str, ...], as_json: bool, messages: bool, cc: str | None, cc2: str | None, vbus: str | None,
    current: str | None, rate: float | None, pair: str | None, quiet: bool, page: str | None, audience: str | None,
    shop: str | None, done: str | None, case: int | None, no_color: bool,
) -> None:
    """Read a capture, decode it, check it, print the negotiation report.

    FILE is a CSV or VCD export of the CC line (.gz too); - reads standard input. Exit status: 0 pass, 1 fail,
    2 a file could not be used, 3 the capture cannot tell.
    """
    if page is None and (audience or shop or done or case is not None):
        raise InputError("--for, --shop, --done and --case are about the page", "add --html OUT, or leave them out")
    about = None
    if case is not None:
        told, about = _told_by(case)
        done = done or told
    if pair is not None and len(files) != 2:
        raise InputError(f"--pair takes two files, not {len(files)}", "name the capture of each way of the plug")
    pages = _pages(page, files)
    statuses: list[int] = []
    unusable: list[str] = []
    several = len(files) > 1
    begun = False
    judged: list[Report] = []
    texts: list[str] = []
    for index, path in enumerate(files):
        try:
            report = judge(path, {"cc1": cc, "cc2": cc2, "vbus": vbus, "current": current}, rate)
        except PdcheckError as error:
            complain(error.one_line())
            statuses.append(EXIT_UNUSABLE)
            unusable.append(path)
            continue
        statuses.append(status_of(report))
        if pair is not None:
            judged.append(report)
        if as_json and pair is None:
            from pdcheck.report.as_json import pieces

            # One file gives one object; several give a list, so that the output is one JSON value either way.
            click.echo(",\n" if begun else "[" if several else "", nl=False)
            for piece in pieces(report):
                click.echo(piece, nl=False)
            begun = True
        elif not as_json:
            text = _text(report, messages, quiet, no_color)
            if pair is not None and not quiet:
                texts.append(text)
            else:
                click.echo("=" * 72 + "\n" + text if several and index and not quiet else text, nl=False)
        if pages:
            try:
                _write(report, path, pages[index], audience, shop, done, about)
            except PdcheckError as error:
                complain(error.one_line())
                statuses.append(EXIT_UNUSABLE)
    if begun:
        click.echo("]" if several else "")
    if pair is not None and judged:
        _say_pair(judged, as_json, quiet, no_color)
        # What both prove together is what was asked for: it stands first.
        click.echo(("=" * 72 + "\n").join(["", *texts] if len(texts) > 1 else texts), nl=False)
    if pair is None and unusable and len(unusable) < len(files):
        # The complaint has scrolled away behind the reports, and the exit status is that of the worst.
        names = ", ".join(unusable[:3]) + (", ..." if len(unusable) > 3 else "")
        complain(f"{len(files) - len(unusable)} of {len(files)} files judged; no capture that can be used: {names}")
    raise SystemExit(worst_of(statuses))


def judge(path: str, columns: dict[str, str | None], rate: float | None) -> Report:
    """The report on one file; ``columns``: what the user calls the lines, by role."""
    from pdcheck.capture import Role, open_capture
    from pdcheck.commands.progress import Bar
    from pdcheck.pipeline import check
    from pdcheck.pipeline import decode as decode_capture

    roles = {Role(role): name for role, name in columns.items() if name is not None}
    with Bar(Path(path).name if path != "-" else "standard input") as bar:
        try:
            capture = open_capture(path, roles=roles, rate_hz=rate, progress=bar)
        except CaptureError as error:
            if path.endswith(".talk"):
                raise CaptureError(
                    "is a scenario, no capture", "pdcheck synth makes a capture of it", path=path,
                ) from error
            if _of_contacts(path):
                raise CaptureError(
                    "holds readings of contacts, no capture", "pdcheck pins judges them", path=path,
                ) from error
            raise
    return check(decode_capture(capture))


def _of_contacts(path: str) -> bool:
    """True where a file that is no capture begins as one for ``pdcheck pins`` does: contacts in its first cells."""
    import re

    try:
        with Path(path).open(encoding="utf-8-sig", errors="replace") as file:
            rows = [line for line in file.read(8192).splitlines() if line.strip() and not line.startswith("#")]
    except (OSError, ValueError):
        return False
    cells = [re.split(r"[,;\t= ]", row.strip().strip('"'), maxsplit=1)[0] for row in rows[:12]]
    return len(cells) > 1 and all(re.fullmatch(r"(?i)[AB](1[0-2]|[1-9])", cell) for cell in cells[1:])


def _told_by(case: int) -> tuple[str | None, str | None]:
    """What the casebook says was done in a case, and to which device; the customer's name stays where it is."""
    from pdcheck.casebook import Casebook, casebook_path

    with Casebook.open(casebook_path(), write=False) as book:
        kept = book.get(case)
    ticket = f"ticket {kept.ticket}" if kept.ticket else ""
    return kept.done or None, ", ".join(part for part in (kept.device, ticket) if part) or None


def _pages(page: str | None, files: tuple[str, ...]) -> list[Path]:
    if page is None:
        return []
    from pdcheck.commands.page_file import targets

    return targets(page, files)


def _write(
    report: Report, path: str, target: Path, audience: str | None, shop: str | None, done: str | None,
    about: str | None,
) -> None:
    from pdcheck.commands.page_file import checksum, write_page
    from pdcheck.verdict import Outcome

    write_page(
        report, target, shop=shop, audience="customer" if audience == "customer" else "technician", done=done,
        digest=checksum(path), about=about,
    )
    if audience == "customer" and done and report.verdict.outcome is Outcome.FAIL:
        complain(
            f"{path}: the page says what was done and that it does not charge; name the capture from after the repair"
        )


def _text(report: Report, messages: bool, quiet: bool, no_color: bool) -> str:
    from pdcheck.report.as_text import plain, quiet_text, report_text

    if quiet:
        return quiet_text(report)
    return report_text(report, width=width(), messages=messages, paint=painter(no_color) or plain)


def _say_pair(reports: list[Report], as_json: bool, quiet: bool, no_color: bool) -> None:
    """What two ways of the plug prove together; nothing where one of the files could not be used."""
    from pdcheck.comparison import flipped

    pair = flipped(*reports) if len(reports) == 2 else None
    if as_json:
        from pdcheck.report.comparison_json import dumps, pair_json

        click.echo(dumps(pair_json(reports, pair)))
    elif pair is not None:
        from pdcheck.report.as_text import plain
        from pdcheck.report.comparison_text import pair_quiet, pair_text

        if quiet:
            click.echo(pair_quiet(pair), nl=False)
        else:
            names = tuple(report.path for report in reports)
            click.echo(pair_text(pair, files=names, width=width(), paint=painter(no_color) or plain), nl=False)
