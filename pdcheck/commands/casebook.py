"""``pdcheck casebook``.

Why it is: a case goes from intake to closed at the bench, with one command for each thing that happens to it; the help
alone must be enough for somebody who has never seen it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from pdcheck.commands.casebook_options import case_options, file_option, open_book, print_json
from pdcheck.commands.casebook_search import find, stats
from pdcheck.commands.terminal import row_width, say, width
from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.casebook.said import Said

class _InOrderOfUse(click.Group):
    def list_commands(self, ctx: click.Context) -> list[str]:
        order = ("add", "find", "stats", "edit", "close", "list", "show", "remove", "export", "import")
        return sorted(self.commands, key=order.index)


@click.group(cls=_InOrderOfUse, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@file_option
@click.pass_context
def casebook(ctx: click.Context, book: str | None) -> None:
    """Keep cases (capture, readings, what cured it) and find the ones alike.

    \b
    The usual course of a case (pdcheck casebook COMMAND --help tells more):
    intake   pdcheck casebook add CAPTURE.csv --device "MODEL" --symptom "WORDS"
    compare  pdcheck casebook find --like 7      (7: the number that add printed)
    count    pdcheck casebook stats --like 7     (what such cases were)
    repair   pdcheck casebook close 7 --part cc-path --done "WHAT" --held unknown
    later    pdcheck casebook edit 7 --held yes  (after some days of use; or no)

    The cases lie in a file of your own user; --file, or the environment variable
    PDCHECK_CASEBOOK, names another.
    """
    ctx.obj = book


@casebook.command()
@click.argument("capture", required=False, metavar="[CAPTURE|REPORT.json]")
@case_options
@file_option
@click.pass_context
def add(ctx: click.Context, /, capture: str | None, book: str | None, **said: Any) -> None:
    """Keep a new case.

    From a capture, from a report that was saved with pdcheck decode --json, or from neither. It is on the disk when
    "case N kept" is printed.

    \b
    Example:
      pdcheck casebook add tablet.csv --device "deck tablet, 2nd series" \\
          --symptom "5 V only, 30 mA" --customer "pier 2" --ticket 1183

    \b
    Parts: port-contacts cc-path negotiating-chip chip-supply vbus-switch
           charger-stage battery cable charger other
    """
    from pdcheck.casebook import KeptCase

    heard = _heard(capture, said)
    if heard.empty:
        raise InputError("there is nothing to keep",
                         'say e.g. pdcheck casebook add CAPTURE.csv --device "MODEL" --symptom "WORDS"')
    case = heard.change(KeptCase())
    with open_book(ctx, book, write=True) as kept:
        number = kept.add(case)
        click.echo(f"case {number} kept")
        same = [c.number for c in kept.cases() if c.number != number and case.fingerprint is not None
                and c.fingerprint == case.fingerprint]
    if same:
        say(f"The same capture is in case {same[0]} already: pdcheck casebook show {same[0]}")
    say(f"Cases like it: pdcheck casebook find --like {number}")


@casebook.command()
@click.argument("wanted", metavar="NUMBER")
@click.option("--capture", metavar="FILE", help="Another capture or saved report for the case.")
@click.option("--reopen", is_flag=True, help="The device is back on the bench.")
@click.option("--no-part", is_flag=True, help="No part is to blame after all.")
@click.option("--drop-note", "drop_notes", type=int, multiple=True, metavar="N", help="Take out note N of show.")
@click.option("--drop-reading", "drop_readings", type=int, multiple=True, metavar="N",
              help="Take out readings N of show.")
@case_options
@file_option
@click.pass_context
def edit(ctx: click.Context, /, wanted: str, capture: str | None, reopen: bool, book: str | None, **said: Any) -> None:
    """Change a case, or add to it. What is not named stays.

    A typo is put right by saying the text once more; a note is taken out and said anew. A case that was entered twice
    is taken out with casebook remove.

    \b
    Examples:
      pdcheck casebook edit 7 --done "reflowed the port" --held unknown
      pdcheck casebook edit 7 --held yes --held-on 2031-05-04
      pdcheck casebook edit 7 --note "second port of this series with that"

    \b
    Parts: port-contacts cc-path negotiating-chip chip-supply vbus-switch
           charger-stage battery cable charger other
    """
    _edit(ctx, book, wanted, _heard(capture, said, status="open" if reopen else None), "edited")


@casebook.command()
@click.argument("wanted", metavar="NUMBER")
@case_options
@file_option
@click.pass_context
def close(ctx: click.Context, /, wanted: str, book: str | None, **said: Any) -> None:
    """Close a case: the device leaves the bench.

    \b
    Example:
      pdcheck casebook close 7 --part port-contacts --held yes \\
          --done "new port, old one had a bent A5 contact"

    \b
    Parts: port-contacts cc-path negotiating-chip chip-supply vbus-switch
           charger-stage battery cable charger other
    """
    _edit(ctx, book, wanted, _heard(None, said, status="closed"), "closed")


def _edit(ctx: click.Context, book: str | None, wanted: str, heard: Said, verb: str) -> None:
    from pdcheck.casebook import Held, Status

    if heard.empty:
        raise InputError("nothing to change was named",
                         f"say e.g. pdcheck casebook edit {wanted[:20]} --note TEXT, or see edit --help")
    with open_book(ctx, book, write=False) as kept:
        case = kept.edit(wanted, heard.change)
    say(f"case {case.number} {verb}")
    if case.status is Status.CLOSED and case.part is None:
        say(f"No part is named, so stats cannot count it: pdcheck casebook edit {case.number} --part PART")
    elif case.status is Status.CLOSED and case.held is Held.NO:
        say(f"When it is back on the bench: pdcheck casebook edit {case.number} --reopen")
    elif case.status is Status.CLOSED and case.held is Held.UNKNOWN:
        say(f"When it is known whether it held: pdcheck casebook edit {case.number} --held yes (or no)")


def _heard(capture: str | None, said: dict[str, Any], status: str | None = None) -> Said:
    """What the options say; the files they name are read here, before the casebook is opened."""
    from pdcheck.casebook.intake import readings_file, take
    from pdcheck.casebook.said import Said

    taken = take(capture, said["current_ma"]) if capture is not None else None
    readings = [readings_file(path) for path in said.pop("readings")]
    if taken is not None and taken.reading is not None:
        readings.insert(0, taken.reading)
    return Said(
        **said, capture=capture, fingerprint=taken.fingerprint if taken is not None else None,
        readings=tuple(readings), status=status,
    )


@casebook.command("list")
@click.option("--open", "only_open", is_flag=True, help="Only what is still on the bench.")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@file_option
@click.pass_context
def list_cases(ctx: click.Context, only_open: bool, as_json: bool, book: str | None) -> None:
    """List the cases, the latest first.

    \b
    Example:
      pdcheck casebook list --open
    """
    from pdcheck.casebook import Status

    with open_book(ctx, book, write=False) as kept:
        cases = [c for c in kept.cases() if not only_open or c.status is Status.OPEN]
    if as_json:
        from pdcheck.casebook.as_json import case_json

        print_json([case_json(case) for case in reversed(cases)])
        return
    from pdcheck.casebook.as_text import list_text

    say(list_text(cases, row_width()))


@casebook.command()
@click.argument("wanted", metavar="NUMBER")
@click.option("--json", "as_json", is_flag=True, help="As JSON.")
@file_option
@click.pass_context
def show(ctx: click.Context, wanted: str, as_json: bool, book: str | None) -> None:
    """Show all of a case, and what to type next.

    \b
    Example:
      pdcheck casebook show 7
    """
    with open_book(ctx, book, write=False) as kept:
        case = kept.get(wanted)
        replaced = kept.set_aside(case.uuid)
    if as_json:
        from pdcheck.casebook.as_json import case_json

        print_json(case_json(case))
        return
    from pdcheck.casebook.as_text import case_text

    say(case_text(case, width(), replaced))


@casebook.command()
@click.argument("wanted", metavar="NUMBER")
@click.option("--yes", is_flag=True, help="Do not ask.")
@file_option
@click.pass_context
def remove(ctx: click.Context, wanted: str, yes: bool, book: str | None) -> None:
    """Remove a case for good: entered twice, or to be forgotten.

    Its number is not given again. What was exported before is not called back: an import from somebody who has the
    case brings it back.

    \b
    Example:
      pdcheck casebook remove 7 --yes
    """
    from pdcheck.casebook.as_text import case_title

    with open_book(ctx, book, write=False) as kept:
        case = kept.get(wanted)
        title = case_title(case)
        if not yes and not _agreed(f"Remove case {case.number} for good ({title})?"):
            raise InputError(
                f"case {case.number} was not removed", f"pdcheck casebook remove {case.number} --yes, if it shall go",
            )
        kept.remove(case.uuid)
    say(f"case {case.number} removed: {title}")


def _agreed(question: str) -> bool:
    """A yes typed at a terminal; anything else, the end of input as well, is none."""
    import sys

    if sys.stdin is None or not sys.stdin.isatty():
        return False
    say(question + " y or n")
    return sys.stdin.readline().strip().lower() in ("y", "yes")


@casebook.command("export")
@click.argument("numbers", nargs=-1, metavar="[NUMBER...]")
@click.option("-o", "--output", "out", metavar="OUT", help="The file to write (standard output).")
@file_option
@click.pass_context
def export_cases(ctx: click.Context, numbers: tuple[str, ...], out: str | None, book: str | None) -> None:
    """Write cases as JSON lines, for another shop. Without numbers: all.

    Customer, ticket, the capture's path and private notes stay here, and so do paths and names in readings; where the
    customer's name or the ticket stands in another text it is struck out. A program cannot know everything that says
    who somebody is: read the file before you send it.

    \b
    Example:
      pdcheck casebook export -o cases.jsonl
    """
    from pdcheck.casebook.sharing import export_line
    from pdcheck.casebook.transfer import write_new

    for number in numbers:
        if "." in number or "/" in number:
            raise InputError(f"{number!r} is no case's number", f"to write into a file: export -o {number}")
    with open_book(ctx, book, write=False) as kept:
        cases = [kept.get(number) for number in numbers] if numbers else kept.cases()
    text = "".join(export_line(case) + "\n" for case in cases)
    if out is None or out == "-":
        click.echo(text.encode(), nl=False)
        return
    write_new(out, text)
    say(f"{len(cases)} {'case' if len(cases) == 1 else 'cases'} written: {out}")
    say("Read it before you send it: what was typed into its texts is in it.")


@casebook.command("import")
@click.argument("source", metavar="FILE")
@file_option
@click.pass_context
def import_cases(ctx: click.Context, source: str, book: str | None) -> None:
    """Take in cases from another shop's export: all of them, or none.

    A case that is here already is known by its uuid. A newer edit is taken over; where it was edited here as well the
    later edit wins, notes and readings of both stay, and what lost is shown by show. - reads standard input.

    \b
    Example:
      pdcheck casebook import cases.jsonl
    """
    from pdcheck.casebook.transfer import arrivals_text, read_cases

    cases = read_cases(source)
    with open_book(ctx, book, write=True) as kept:
        arrived = kept.take_in(cases)
    for line in arrivals_text(arrived):
        say(line)


casebook.add_command(find)
casebook.add_command(stats)
