"""``pdcheck synth``.

Why it is: a written conversation becomes a waveform, for teaching and for tests.
"""

from __future__ import annotations

import click


@click.command()
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
