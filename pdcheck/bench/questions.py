"""The questions that ``pdcheck measure`` asks, one reading at a time.

Why it is: who measures has a probe in each hand and no time for a manual. Each question says where the probes go;
``?`` says why.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

OPENING = """One reading at a time. Enter skips one, ? explains, q ends and judges.
Numbers as on the meter: 0.41, 410 mV, 4.7k, 5k1, 1,2, OL, 30 mA.
VBUS may carry up to 48 V once a contract stands: insulated tips, one hand, and
do not bridge A4 (VBUS) and A5 (CC1), which lie side by side."""

_POWERED = """Plugged in, charger on. Meter on DC volts, black probe on the shell or GND (A1).
A breakout between plug and port is safer than probes in the port."""
_TURNED = """Now turn the plug over and take the same readings again (Enter skips)."""
_UNPOWERED = """Now ohms. UNPLUG everything and DISCONNECT THE BATTERY first: ohms on a live
board are wrong, and a slip on a lithium cell burns. A cell that is hot or
swollen: stop, and handle it as your local rules say."""


def _always(answers: Mapping[str, str]) -> bool:
    return True


def _has(*names: str) -> Callable[[Mapping[str, str]], bool]:
    return lambda answers: any(name in answers for name in names)


def _is_side(letter: str) -> Callable[[Mapping[str, str]], bool]:
    return lambda answers: answers.get("side", "").lower().startswith(letter)


@dataclass(frozen=True)
class Question:
    """``name``: the field; ``ask``: one line; ``explain``: what ``?`` prints; ``before``: printed once before it.

    ``applies``: whether it is worth asking after what was answered so far (texts by name).
    """

    name: str
    ask: str
    explain: str
    before: str = ""
    applies: Callable[[Mapping[str, str]], bool] = _always


QUESTIONS: tuple[Question, ...] = (
    Question(
        "side", "Where are the probes (device, charger, cable)",
        "  device: at the port that does not charge. charger: at the charger's own port.\n"
        "  cable: at the free plug of a cable, also of one that is fixed to a charger. The\n"
        "  same level means other things at each.",
    ),
    Question(
        "partner", "What is plugged in at the other end (charger, legacy-charger, device, nothing)",
        "  legacy-charger: a charger with a type A outlet and an A-to-C cable. Its cable\n"
        "  makes the pull-up, and may claim no more than Default USB power.",
    ),
    Question(
        "cc1", "CC1 (contact A5), volts",
        "  Red probe on A5, the fifth contact of row A counted from the GND end. About 0.4,\n"
        "  0.9 or 1.7 V: pull-up and pull-down are joined. Near 0 V: the plug uses the\n"
        "  other contact, or nothing pulls up. 3.3 or 5 V: nothing pulls down.", _POWERED,
    ),
    Question(
        "cc2", "CC2 (contact B5), volts",
        "  Red probe on B5. Of CC1 and CC2 a plain plug uses one; the other rests at 0 V\n"
        "  at the device and at the pull-up's supply at the charger.",
    ),
    Question(
        "vbus", "VBUS (A4, A9, B4, B9), volts",
        "  About 5 V before a contract, the contract's voltage after. Up to 48 V: mind\n"
        "  the probe.",
    ),
    Question(
        "current", "Input current by the USB ammeter, with unit (30 mA, 1.2 A)",
        "  The meter between charger and cable. Wait half a minute before you read it.\n"
        "  20 to 40 mA: present but not charging (common practice, no source).",
    ),
    Question(
        "contract", "Contract, where a capture or the charger's display shows it (9V,1.8A)",
        "  What was negotiated. Leave it out where you do not know it; 9 V on VBUS alone\n"
        "  may have been asked for in another way.", applies=_has("current", "vbus"),
    ),
    Question(
        "advertises", "What the charger is known to advertise (default, 1.5, 3.0)",
        "  From its data sheet or from a device that charges on it. Leave it out where\n"
        "  you do not know it: it is told by the level.", applies=_has("cc1", "cc2"),
    ),
    Question(
        "flipped_cc1", "CC1 (A5) with the plug turned over, volts",
        "  The cheapest test there is: what works one way only belongs to one CC line,\n"
        "  and what both ways share is good.", _TURNED, applies=_has("cc1", "cc2"),
    ),
    Question(
        "flipped_cc2", "CC2 (B5) with the plug turned over, volts",
        "  The level should have moved from the one contact to the other.", applies=_has("cc1", "cc2"),
    ),
    Question(
        "flipped_vbus", "VBUS with the plug turned over, volts", "  As before.",
        applies=_has("flipped_cc1", "flipped_cc2"),
    ),
    Question(
        "ohm_cc1", "CC1 (A5) to ground, ohms",
        "  A pull-down reads 5.1 kohm, 10 %. A chip without power shows a clamp, which a\n"
        "  meter reads as almost anything: compare CC1 with CC2, and convict nothing by\n"
        "  this alone.", _UNPOWERED,
    ),
    Question("ohm_cc2", "CC2 (B5) to ground, ohms", "  Should read about the same as CC1."),
    Question(
        "ohm_cc1_cc2", "CC1 to CC2 (A5 to B5), ohms",
        "  A few ohms: joined by liquid or solder. About 10 kohm: two pull-downs.",
    ),
    Question(
        "ohm_cc1_vbus", "CC1 to VBUS (A5 to A4), ohms",
        "  OL or very high at a port. In an A-to-C cable the pull-up: 56 kohm, 20 %.",
    ),
    Question("ohm_cc2_vbus", "CC2 to VBUS (B5 to B4), ohms", "  As for CC1."),
    Question(
        "ohm_vbus", "VBUS to ground (A4 to A1), ohms",
        "  A few ohms: a short; a good charger then gives nothing. Compare with a good unit.",
        applies=lambda answers: not _is_side("ca")(answers),
    ),
)
