"""``pdcheck measure``.

Why it is: half of the job happens with a meter and without a capture.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from pdcheck.commands.terminal import EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS, painter, say, width
from pdcheck.errors import InputError

if TYPE_CHECKING:
    from pdcheck.bench.judge import Judgement


@click.command()
@click.option("--cc1", metavar="V", help="CC1 (contact A5) against ground, plugged in: 0.41, 410mV.")
@click.option("--cc2", metavar="V", help="CC2 (contact B5) against ground, plugged in.")
@click.option("--vbus", metavar="V", help="VBUS against ground, plugged in.")
@click.option("--flipped-cc1", metavar="V", help="CC1 after turning the plug over.")
@click.option("--flipped-cc2", metavar="V", help="CC2 after turning the plug over.")
@click.option("--flipped-vbus", metavar="V", help="VBUS after turning the plug over.")
@click.option("--ohm-cc1", metavar="OHM", help="CC1 to ground, unpowered: 5.1k, 5k1, OL.")
@click.option("--ohm-cc2", metavar="OHM", help="CC2 to ground, unpowered.")
@click.option("--ohm-cc1-cc2", metavar="OHM", help="CC1 to CC2, unpowered.")
@click.option("--ohm-cc1-vbus", metavar="OHM", help="CC1 to VBUS, unpowered; a cable: its pull-up.")
@click.option("--ohm-cc2-vbus", metavar="OHM", help="CC2 to VBUS, unpowered.")
@click.option("--ohm-vbus", metavar="OHM", help="VBUS to ground, unpowered.")
@click.option("--current", metavar="A", help="Input current, with its unit: 30mA, 1.2A.")
@click.option("--contract", metavar="V[,A]", help="The contract, where a capture or the charger shows it: 9V,1.8A.")
@click.option("--side", metavar="SIDE", help="Where the probes were: device, charger or cable.")
@click.option("--partner", metavar="WHAT",
              help="What is plugged in at the other end: charger, legacy-charger (type A outlet), device, nothing.")
@click.option("--advertises", metavar="WHAT", help="What the charger is known to advertise: default, 1.5 or 3.0.")
@click.option("--accuracy", metavar="PERCENT", help="The meter's accuracy in percent (0).")
@click.option("--meter-ohms", metavar="OHM", help="The meter's input resistance (10M).")
@click.option("--json", "as_json", is_flag=True, help="The judgement as JSON on standard output, nothing else there.")
@click.option("--no-color", is_flag=True, help="No colour (also: the environment variable NO_COLOR).")
def measure(as_json: bool, no_color: bool, **typed: str | None) -> int:
    """Judge meter readings taken without a capture.

    Without any option it asks for one reading at a time and says where to put the probes. Every reading may be left
    out. Exit status: 0 as on a working unit, 1 a fault is proven, 2 a reading cannot be used, 3 these readings alone
    cannot tell.

    VBUS may carry up to 48 V: insulated tips. Ohms only with everything unplugged and the battery disconnected.

    \b
    Examples, the charger plugged in:
      pdcheck measure --side device --cc1 0.41 --cc2 0 --vbus 5.05 --current 30mA
      pdcheck measure --side device --cc1 3.3 --cc2 0 --flipped-cc1 0 --flipped-cc2 1.7
    Unpowered, battery disconnected:
      pdcheck measure --side device --ohm-cc1 5k1 --ohm-cc2 OL
    """
    from pdcheck.bench.judge import judge
    from pdcheck.bench.typed import readings_of

    given = {name: text for name, text in typed.items() if text is not None}
    if not given and not as_json:
        given = _ask()
        click.echo()
    judged = judge(readings_of(given))
    if as_json:
        from pdcheck.bench.measure_json import dumps

        click.echo(dumps(judged))
    else:
        say(_text(judged, no_color))
        sys.stdout.flush()
    return {"pass": EXIT_PASS, "fail": EXIT_FAIL}.get(judged.outcome.value, EXIT_INCONCLUSIVE)


def _ask() -> dict[str, str]:
    """Ask for one reading at a time; what was typed, by the name of its option."""
    from pdcheck.bench.questions import OPENING, QUESTIONS
    from pdcheck.bench.typed import value_of

    if hasattr(sys.stdin, "reconfigure"):
        # What a terminal sends may not be text at all.
        sys.stdin.reconfigure(errors="replace")
    say(OPENING)
    answers: dict[str, str] = {}
    for question in QUESTIONS:
        if not question.applies(answers):
            continue
        if question.before:
            say("\n" + question.before)
        while True:
            click.echo(f"{question.ask}: ", nl=False)
            line = sys.stdin.readline() if sys.stdin is not None else ""
            if not line:
                # The end of the input ends the questions.
                click.echo()
                return answers
            typed = line.strip()
            if typed.lower() in ("q", "quit", "end"):
                return answers
            if not typed:
                break
            if typed in ("?", "h", "help"):
                say(question.explain)
                continue
            try:
                value_of(question.name, typed)
            except InputError as error:
                say(f"  {error.what}; {error.remedy}.")
                continue
            answers[question.name] = typed
            break
    return answers


def _text(judged: Judgement, no_color: bool) -> str:
    from pdcheck.bench.measure_text import measure_text
    from pdcheck.report.as_text import plain

    return measure_text(judged, width=width(), paint=painter(no_color) or plain).rstrip("\n")
