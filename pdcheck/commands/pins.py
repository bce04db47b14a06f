"""``pdcheck pins``.

Why it is: the rear contacts of a port cannot be seen; readings of all of them are how to see them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from pdcheck.commands.terminal import EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS, painter, say, width
from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.bench.pin_file import PinReadings


@click.command()
@click.argument("file", required=False)
@click.option("--known-good", metavar="FILE", help="Readings of a known-good board, taken with the same meter.")
@click.option("--template", "form", is_flag=False, flag_value="csv", metavar="[csv|toml]",
              help="Print a file to fill in (csv, or toml) and end.")
@click.option("--json", "as_json", is_flag=True, help="The judgement as JSON on standard output, nothing else there.")
@click.option("--no-color", is_flag=True, help="No colour (also: the environment variable NO_COLOR).")
def pins(file: str | None, known_good: str | None, form: str | None, as_json: bool, no_color: bool) -> int:
    """Judge readings of the 24 contacts: shorts, opens, symmetry, and a known-good board.

    FILE is CSV or TOML: contact (A1 to B12) and its diode-test volts or ohms against ground, OL for open; - reads
    standard input. Start with: pdcheck pins --template > port.csv

    Everything unplugged, battery disconnected. Diode readings depend on meter and board (common practice, no source):
    compare only readings of one meter. Exit status: 0 alike where they must be, 1 a fault is proven, 2 a file cannot be
    used, 3 these readings alone cannot tell.
    """
    from pdcheck.bench.pin_file import template
    from pdcheck.bench.pins import judge_pins

    if form is not None:
        click.echo(template(form), nl=False)
        return EXIT_PASS
    if file is None:
        raise InputError("no file was given", "start with: pdcheck pins --template > port.csv")
    if file == "-" and known_good == "-":
        raise InputError("standard input can be only one of the two files", "give a path for the other")
    judged = judge_pins(_read(file), _read(known_good) if known_good is not None else None)
    if as_json:
        from pdcheck.bench.pins_json import dumps

        click.echo(dumps(judged))
    else:
        from pdcheck.bench.pins_text import pins_text
        from pdcheck.report.as_text import plain

        say(pins_text(judged, width=width(), paint=painter(no_color) or plain).rstrip("\n"))
    return {"pass": EXIT_PASS, "fail": EXIT_FAIL}.get(judged.outcome.value, EXIT_INCONCLUSIVE)


def _read(path: str) -> PinReadings:
    from pdcheck.bench.pin_file import MOST_BYTES, read_pins

    try:
        with click.open_file(path, "rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(f"cannot be read: {reason}", "check the path", path=path) from None
    return read_pins(path, data)
