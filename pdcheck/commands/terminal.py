"""What all commands share: exit statuses, complaints, and how wide and colourful the terminal is.

Why it is: every command has to end, complain and paint in the same way.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

import click

if TYPE_CHECKING:
    from pdcheck.report.model import Report

EXIT_PASS, EXIT_FAIL, EXIT_UNUSABLE, EXIT_INCONCLUSIVE = 0, 1, 2, 3
#: What shells expect of a program that was stopped with Ctrl-C.
EXIT_STOPPED = 130
#: Of several files the worst decides: a file that cannot be used, then a fail, then a doubt.
_WORST = (EXIT_UNUSABLE, EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS)


def complain(line: str) -> None:
    """One line on standard error; where that cannot be written the exit status has to do."""
    try:
        click.echo(f"pdcheck: {line}", err=True)
    except OSError:
        forget(sys.stderr)


def forget(stream: TextIO) -> None:
    """Let what is still buffered go nowhere, so that the interpreter does not complain of it at exit."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
    except (OSError, ValueError):
        return


def status_of(report: Report) -> int:
    """The exit status of one report."""
    return {"pass": EXIT_PASS, "fail": EXIT_FAIL}.get(report.verdict.outcome.value, EXIT_INCONCLUSIVE)


def worst_of(statuses: list[int]) -> int:
    """The exit status of several files; pass where there are none."""
    return next((status for status in _WORST if status in statuses), EXIT_PASS)


def width() -> int:
    """Columns of the terminal; 80 where the output is not one."""
    return shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80


def row_width() -> int | None:
    """Columns for a list of a row a thing; None where the output is no terminal: what a file or a search takes is not
    cut."""
    return width() if sys.stdout.isatty() else None


def painter(no_color: bool) -> Callable[[str, str], str] | None:
    """How to colour a text, None where the output takes no colour."""
    if not sys.stdout.isatty() or no_color or os.environ.get("NO_COLOR"):
        return None

    def paint(text: str, color: str) -> str:
        return click.style(text, fg=color, bold=True)

    return paint


def say(text: str) -> None:
    """Print a text; a terminal that cannot show a character shows something in its place."""
    encoding = sys.stdout.encoding or "utf-8"
    click.echo(text.encode(encoding, "replace").decode(encoding))
