"""The command line: which commands there are, and how each of them ends.

Why it is: every error that a user can cause ends as one line and an exit status, whichever command it befalls; and a
command starts fast because only its own module is imported.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from pdcheck import __version__
from pdcheck.commands.terminal import EXIT_PASS, EXIT_STOPPED, EXIT_UNUSABLE, complain, forget
from pdcheck.errors import PdcheckError

#: The commands in the order of their use: each lies in the module of its name, with the function of that name.
COMMANDS = {
    "decode": "Read a capture, decode it, check it, print the negotiation report.",
    "measure": "Judge meter readings taken without a capture.",
    "pins": "Judge readings of the 24 contacts: shorts, opens, symmetry, a known-good board.",
    "explain": "Say what hex from a log or a datasheet means, bit by bit.",
    "rules": "List the checks, or explain one.",
    "compare": "Show where two captures part: a good unit and a bad one, before a repair and after it.",
    "casebook": "Keep cases, and find the ones that look alike.",
    "watch": "Judge each capture that lands in a folder.",
    "synth": "Write a waveform file for a conversation described in a text file (.talk).",
}


class _Commands(click.Group):
    """Turns every error that a user can cause into one line and exit status 2."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command = getattr(import_module(f"pdcheck.commands.{name}"), name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        # From the table, so that help imports none of them.
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def main(self, *args: Any, **options: Any) -> Any:
        """Run the command; a mistyped option or command is one line as well."""
        if not options.get("standalone_mode", True):
            return super().main(*args, **options)
        _open_closed_streams()
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
            typed = list(options.get("args") or (args[0] if args else None) or sys.argv[1:])
            said = " ".join(error.format_message().split()).rstrip(".")
            complain(_meant(error, typed) or f"{said}; see {_help_for(error)}")
            sys.exit(EXIT_UNUSABLE)
        except click.Abort:
            complain("stopped")
            sys.exit(EXIT_STOPPED)
        except OSError as error:
            forget(sys.stdout)
            complain(f"the output cannot be written: {error.strerror}; free some space or write elsewhere")
            sys.exit(EXIT_UNUSABLE)
        sys.exit(status if isinstance(status, int) else EXIT_PASS)

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except PdcheckError as error:
            complain(error.one_line())
            raise SystemExit(EXIT_UNUSABLE) from None
        except BrokenPipeError:
            # The reader of our output has gone (head, a closed pager).
            forget(sys.stdout)
            raise SystemExit(EXIT_UNUSABLE) from None


def _meant(error: click.ClickException, typed: list[str]) -> str | None:
    """What was meant where a file was taken for a command or for an option; None where that does not explain it."""
    files = [word for word in typed if os.path.isfile(word)]  # noqa: PTH113 (a name that no file can have is none)
    if isinstance(error, click.NoSuchOption):
        named = next((word for word in files if word.startswith("-")), None)
        return None if named is None else f"{named!r} is a file and no option; say {_for_a_shell('./' + named)}"
    ctx = error.ctx if isinstance(error, click.UsageError) else None
    if ctx is not None and ctx.parent is None and typed[:1] == files[:1] and files:
        return f"{files[0]!r} is a file and no command; say pdcheck decode {_for_a_shell(files[0])}"
    return None


def _for_a_shell(name: str) -> str:
    """A file's name as a shell takes it; one that a terminal cannot show is not repeated."""
    from shlex import quote

    return quote(name) if name.isprintable() else "FILE"


def _help_for(error: click.ClickException) -> str:
    """The help to read: that of the command in which the error was made."""
    ctx = getattr(error, "ctx", None)
    names: list[str] = []
    while ctx is not None and ctx.parent is not None:
        names.insert(0, ctx.info_name)
        ctx = ctx.parent
    return " ".join(("pdcheck", *names, "--help"))


def _open_closed_streams() -> None:
    """Who closes our output wants the exit status alone; and no capture shall be opened in its place."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w"))  # noqa: SIM115


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="pdcheck")
def main() -> None:
    """Decode a captured USB Power Delivery negotiation and say where it fails, and whose move was missing.

    Start with: pdcheck decode CAPTURE.csv
    """


if __name__ == "__main__":
    main()
