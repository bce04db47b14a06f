"""The commands. Each calls the rooms and shows what they return; no logic of its own.

Why it is: everything that a command does can be done from Python, and a command starts fast because a room is
imported only by the command that needs it.
"""

from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING, Any

import click

from pdcheck import __version__
from pdcheck.errors import PdcheckError

if TYPE_CHECKING:
    from pdcheck.report.model import Report

EXIT_PASS, EXIT_FAIL, EXIT_UNUSABLE, EXIT_INCONCLUSIVE = 0, 1, 2, 3
#: What shells expect of a program that was stopped with Ctrl-C.
EXIT_STOPPED = 130
#: Of several files the worst decides: a file that cannot be used, then a fail, then a doubt.
_WORST = (EXIT_UNUSABLE, EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS)


class _Commands(click.Group):
    """Turns every error that a user can cause into one line and exit status 2."""

    def main(self, *args: Any, **options: Any) -> Any:
        """Run the command; a mistyped option or command is one line as well."""
        if not options.get("standalone_mode", True):
            return super().main(*args, **options)
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                # A file name may hold what the terminal's encoding does not.
                stream.reconfigure(errors="replace")
        options["standalone_mode"] = False
        try:
            try:
                status = super().main(*args, **options)
            finally:
                # What is still buffered may not fit on the disk; at exit it would be too late to say so.
                sys.stdout.flush()
        except click.exceptions.NoArgsIsHelpError as error:
            click.echo(error.format_message())
            sys.exit(EXIT_UNUSABLE)
        except click.ClickException as error:
            _complain(" ".join(error.format_message().split()) + "; see pdcheck --help")
            sys.exit(EXIT_UNUSABLE)
        except click.Abort:
            _complain("stopped")
            sys.exit(EXIT_STOPPED)
        except OSError as error:
            _forget_output()
            _complain(f"the output cannot be written: {error.strerror}; free some space or write elsewhere")
            sys.exit(EXIT_UNUSABLE)
        sys.exit(status if isinstance(status, int) else EXIT_PASS)

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except PdcheckError as error:
            _complain(error.one_line())
            raise SystemExit(EXIT_UNUSABLE) from None
        except BrokenPipeError:
            # The reader of our output has gone (head, a closed pager).
            _forget_output()
            raise SystemExit(EXIT_UNUSABLE) from None


def _forget_output() -> None:
    """Let what is still buffered go nowhere, so that the interpreter does not complain of it at exit."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        return


def _complain(line: str) -> None:
    click.echo(f"pdcheck: {line}", err=True)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pdcheck")
def main() -> None:
    """Decode a captured USB Power Delivery negotiation and say where it fails, and whose move was missing.

    Start with: pdcheck decode CAPTURE.csv
    """


@main.command()
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
            _complain(error.one_line())
            statuses.append(EXIT_UNUSABLE)
            continue
        statuses.append(_status(report))
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
    raise SystemExit(next(status for status in _WORST if status in statuses))


def _judge(path: str, columns: dict[str, str | None], rate: float | None) -> Report:
    from pdcheck.capture import Role, open_capture
    from pdcheck.pipeline import check
    from pdcheck.pipeline import decode as decode_capture

    roles = {Role(role): name for role, name in columns.items() if name is not None}
    return check(decode_capture(open_capture(path, roles=roles, rate_hz=rate)))


def _status(report: Report) -> int:
    return {"pass": EXIT_PASS, "fail": EXIT_FAIL}.get(report.verdict.outcome.value, EXIT_INCONCLUSIVE)


def _text(report: Report, messages: bool, quiet: bool, no_color: bool) -> str:
    from pdcheck.report.as_text import plain, quiet_text, report_text

    if quiet:
        return quiet_text(report)
    colorful = sys.stdout.isatty() and not no_color and not os.environ.get("NO_COLOR")

    def paint(text: str, color: str) -> str:
        return click.style(text, fg=color, bold=True)

    width = shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80
    return report_text(report, width=width, messages=messages, paint=paint if colorful else plain)


@main.command()
@click.argument("rule_id", metavar="[ID]", required=False)
def rules(rule_id: str | None) -> None:
    """List the checks, or explain one: what, why it stops charging, where it is written, what to do."""
    from pdcheck.errors import InputError
    from pdcheck.report.rule_text import find_rule, rule_page, rules_list

    if rule_id is None:
        click.echo(rules_list(), nl=False)
        return
    found = find_rule(rule_id)
    if found is None:
        raise InputError(f"there is no rule {rule_id!r}", "pdcheck rules lists them all")
    click.echo(rule_page(found), nl=False)


@main.command(context_settings={"ignore_unknown_options": True})
@click.argument("texts", nargs=-1, metavar="HEX...")
@click.option("--as", "as_kind", metavar="KIND", help="What it is, where that cannot be told. The kinds are above.")
@click.option("--byte-order", metavar="ORDER",
              help="little: numbers too are in the order of the wire, lowest byte first; "
                   "big: single bytes too have the highest of each word first.")
@click.option("--crc", default="auto", metavar="yes|no|auto", help="Whether a message ends in its CRC (auto).")
@click.option("--offer", "offers", multiple=True, metavar="HEX",
              help="The source's power data objects, or its whole message, that a request answers. May be repeated.")
@click.option("--json", "as_json", is_flag=True, help="The explanation as JSON on standard output.")
def explain(
    texts: tuple[str, ...], as_kind: str | None, byte_order: str | None, crc: str, offers: tuple[str, ...],
    as_json: bool,
) -> None:
    """Say what hex from a log or a datasheet means, bit by bit.

    HEX is a header, an object, several, or a whole message: words such as 0x2A01912C, or bytes in the order of
    the wire such as 2C 91 01 2A; with or without 0x, blanks, commas, and with or without the CRC of a message.

    \b
    Kinds for --as:
      message cable-message header cable-header extended-header
      source-pdo sink-pdo
      request request-fixed request-pps request-avs request-battery
      vdm cable-vdm id-header id-header-r2 cable-id-header cable-id-header-r2
      cert-stat product passive-cable active-cable-1 active-cable-2 cable-r2
      ama ama-r2 vpd ufp dfp pad svids
      displayport-capabilities displayport-status displayport-configuration
      bist battery-status alert get-country-info enter-usb epr-mode
      source-info revision
      status cable-status get-battery-cap get-battery-status
      battery-capabilities get-manufacturer-info manufacturer-info pps-status
      country-info country-codes extended-control security firmware-update
      source-capabilities-extended sink-capabilities-extended
      vendor-defined-extended
    """
    from pdcheck.errors import InputError
    from pdcheck.messages.explain import explain as explain_hex
    from pdcheck.messages.explain import explanation_json

    ends = {"yes": True, "no": False, "auto": None}
    if crc not in ends:
        raise InputError(f"--crc {crc[:24]!r} is no answer", "say yes, no or auto")
    found = explain_hex(texts, as_kind=as_kind, byte_order=byte_order, crc=ends[crc], offer=offers)
    if as_json:
        import json

        click.echo(json.dumps(explanation_json(found), indent=1))
        return
    from pdcheck.report.explanation import explanation_text

    width = shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80
    text = explanation_text(found, width=width)
    # A terminal that cannot show a degree sign shows something in its place.
    encoding = sys.stdout.encoding or "utf-8"
    click.echo(text.encode(encoding, "replace").decode(encoding))


@main.command()
@click.argument("scenario")
@click.option("-o", "--output", "out", metavar="OUT", help="The file to write, or a folder for it.")
def synth(scenario: str, out: str | None) -> None:
    """Write a waveform file for a conversation described in a text file (.talk).

    The scenario itself says which file and in what form; -o says otherwise. The README shows the form, and
    captures/demo holds examples.
    """
    from pdcheck.synth import write_scenario

    for path in write_scenario(scenario, out):
        click.echo(f"written: {path}")


if __name__ == "__main__":
    main()
