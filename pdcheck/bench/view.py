"""The volts of one plug orientation with what they say, and evidence from a meter.

Why it is: the rules on CC, on VBUS and on pairs of orientations argue from the same view.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.bench.attach import LEAST_5V, Attach
from pdcheck.bench.levels import Level
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Partner, Readings, Side, Volts
from pdcheck.rules import Finding
from pdcheck.triage import Block, Evidence, Source, Strength

Said = Finding | Evidence

CC_TAKEN = frozenset({"cc_volts"})
DEVICE_CC = frozenset({Block.PORT, Block.CC_PATH, Block.CHIP, Block.CHIP_SUPPLY})
LINE = frozenset({Block.PORT, Block.CC_PATH})
OUTSIDE = frozenset({Block.CHARGER, Block.CABLE})


@dataclass(frozen=True)
class View:
    """The readings of one plug orientation with what they say; ``way`` in words for the reader, may be empty."""

    readings: Readings
    volts: Volts
    attach: Attach
    way: str

    @property
    def charger_is_there(self) -> bool:
        """True where a charger is known to be joined with the device or the cable that is measured."""
        if self.readings.side is Side.CHARGER:
            return True
        return self.readings.partner in (Partner.CHARGER, Partner.LEGACY) or (
            self.readings.partner is None and self.readings.side is Side.DEVICE
        )


def contact(level: Level | None, attach: Attach) -> str:
    """``"CC1 (0.41 V)"``."""
    name = "CC1" if level is attach.cc1 else "CC2"
    return f"{name} ({words(level.volts, Kind.VOLTS)})" if level is not None else name


def evidence(
    text: str, *, clears: frozenset[Block] = frozenset(), suspects: frozenset[Block] = frozenset(),
    proves: bool = True, done: frozenset[str] = CC_TAKEN,
) -> Evidence:
    """Evidence from the meter."""
    return Evidence(
        Source.METER, text, clears, suspects, Strength.PROVES if proves else Strength.POINTS, done,
    )


def cc_clears(view: View) -> frozenset[Block]:
    """What a joined CC clears. Power runs over other contacts and wires: where it fails the port is not cleared."""
    vbus = view.volts.vbus
    return frozenset({Block.CC_PATH}) if vbus is not None and vbus < LEAST_5V else LINE
