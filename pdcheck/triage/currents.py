"""What an input current says of the path behind the port.

Why it is: capture and ammeter must draw the same conclusion from the same 30 mA.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.triage.model import Block, Evidence, Source, Strength

#: The blocks behind the port that current flows through.
POWER_PATH = frozenset({Block.VBUS_SWITCH, Block.CHARGER_STAGE, Block.BATTERY})


class Draw(StrEnum):
    """What a current means. The limits in mA are common practice, no source, but for the unit load."""

    NOTHING = "nothing"
    ALIVE = "present but not charging"
    UNIT_LOAD = "about a unit load"
    SOME = "less than charging usually takes"
    CHARGING = "charging"


@dataclass(frozen=True)
class DrawBand:
    """``min_ma`` to ``max_ma`` (None: without end), both ends included."""

    draw: Draw
    min_ma: float
    max_ma: float | None
    words: str


BANDS: tuple[DrawBand, ...] = (
    DrawBand(Draw.NOTHING, 0, 5, "nothing is drawn (a meter's own offset reads a few mA)"),
    DrawBand(
        Draw.ALIVE, 20, 40, "present but not charging: something behind VBUS lives, and nothing charges (common "
        "practice, no source)",
    ),
    DrawBand(
        Draw.UNIT_LOAD, 80, 120, "about 100 mA: what a device may draw from USB 2.0 before it is configured (USB 2.0, "
        "section 7.2.1; memory)",
    ),
    DrawBand(
        Draw.SOME, 150, 400, "less than charging usually takes: a full or a nearly empty battery, or a device that "
        "only runs (common practice, no source)",
    ),
    DrawBand(Draw.CHARGING, 500, None, "more than half an amp: charging (common practice, no source)"),
)


def bands_of(current_ma: float) -> tuple[DrawBand, ...]:
    """The band that a current lies in; the two that it lies between, where it lies in none."""
    for below, above in itertools.pairwise(BANDS):
        assert below.max_ma is not None
        if current_ma <= below.max_ma:
            return (below,)
        if current_ma < above.min_ma:
            return (below, above)
    return (BANDS[-1],)


def draw_words(current_ma: float) -> str:
    """What a current means, in words; two bands are both named."""
    found = bands_of(current_ma)
    if len(found) == 1:
        return found[0].words
    return f"{draw_name(current_ma)} (the limits are common practice, no source)"


def draw_name(current_ma: float) -> str:
    """What a current means, in a few words for a sentence: ``"charging"``, ``'between "nothing" and "..."'``."""
    found = bands_of(current_ma)
    if len(found) == 1:
        return found[0].draw.value
    return f'between "{found[0].draw.value}" and "{found[1].draw.value}"'


def contract_with_current(source: Source, contract: str, current_ma: float) -> Evidence | None:
    """The evidence of a current drawn under a contract; None where the current says nothing clear.

    :param contract: in words, ``"9 V, 1.8 A"``.
    """
    draws = {band.draw for band in bands_of(current_ma)}
    if draws <= {Draw.CHARGING}:
        return Evidence(
            source, f"{current_ma / 1000:.2f} A flows under the contract for {contract}: it charges", clears=POWER_PATH,
            done=frozenset({"current"}),
        )
    if draws <= {Draw.NOTHING, Draw.ALIVE, Draw.UNIT_LOAD}:
        return Evidence(
            source,
            f"only {current_ma:.0f} mA is drawn under the contract for {contract}: what stops it lies behind the port "
            "and the chip, or the battery is full",
            suspects=POWER_PATH, strength=Strength.POINTS, done=frozenset({"current"}),
        )
    return None
