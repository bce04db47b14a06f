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

    The scenario itself says which file and in what form; -o says otherwise. Examples lie in
    captures/demo: only_toggling.talk is the shortest, scanner_charges_at_9v.talk a whole negotiation. A step is
    "+4ms sink Request: object 2 1.8A": when, who, what.
    """
    from pdcheck.synth import write_scenario

    for path in write_scenario(scenario, out):
        click.echo(f"written: {path}")
