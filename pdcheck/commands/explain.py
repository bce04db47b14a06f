"""``pdcheck explain``.

Why it is: logs and data sheets hold hex, a technician needs words.
"""

from __future__ import annotations

import click

from pdcheck.commands.terminal import say, width
from pdcheck.errors import InputError


@click.command(context_settings={"ignore_unknown_options": True})
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

    say(explanation_text(found, width=width()))
