"""What was measured, as plain data.

Why it is: typed at a prompt, given as options or read from a file, the readings are the same to what judges them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from pdcheck.standard.attach_limits import ADVERTISED_1_5A, ADVERTISED_3A


class Side(StrEnum):
    """Where the probes were."""

    DEVICE = "device"
    CHARGER = "charger"
    CABLE = "cable"


class Partner(StrEnum):
    """What is plugged in at the other end. LEGACY: a charger with a type A outlet, through an A-to-C cable."""

    NOTHING = "nothing"
    CHARGER = "charger"
    LEGACY = "legacy-charger"
    DEVICE = "device"


class Advertisement(StrEnum):
    """What a source lets a sink draw, told by its pull-up."""

    DEFAULT = "Default USB power"
    A1_5 = "1.5 A"
    A3_0 = "3.0 A"

    @property
    def most_ma(self) -> int | None:
        """The current in mA; None for the default, which depends on the port."""
        said = {Advertisement.A1_5: ADVERTISED_1_5A, Advertisement.A3_0: ADVERTISED_3A}.get(self)
        return int(said.most) if said is not None else None


@dataclass(frozen=True)
class Volts:
    """Volts against ground with the plug one way round; None where not measured."""

    cc1: float | None = None
    cc2: float | None = None
    vbus: float | None = None

    @property
    def any(self) -> bool:
        return any(v is not None for v in (self.cc1, self.cc2, self.vbus))


@dataclass(frozen=True)
class Ohms:
    """Resistances, everything unpowered; ``math.inf`` for open, None where not measured."""

    cc1: float | None = None
    cc2: float | None = None
    between_cc: float | None = None
    cc1_vbus: float | None = None
    cc2_vbus: float | None = None
    vbus: float | None = None

    @property
    def any(self) -> bool:
        return any(v is not None for v in (
            self.cc1, self.cc2, self.between_cc, self.cc1_vbus, self.cc2_vbus, self.vbus,
        ))


@dataclass(frozen=True)
class Contract:
    """A contract that is known from elsewhere, in mV and mA."""

    voltage_mv: int
    current_ma: int | None

    @property
    def words(self) -> str:
        volts = f"{self.voltage_mv / 1000:g} V"
        return volts if self.current_ma is None else f"{volts}, {self.current_ma / 1000:g} A"


@dataclass(frozen=True)
class Meter:
    """``accuracy_pct`` either way of the reading, 0 to take readings as they stand; ``ohms``: its input resistance."""

    accuracy_pct: float = 0.0
    ohms: float = 10e6


@dataclass(frozen=True)
class Readings:
    """Any subset of what can be measured without a capture. ``flipped``: volts after turning the plug over."""

    side: Side | None = None
    partner: Partner | None = None
    advertises: Advertisement | None = None
    volts: Volts = field(default_factory=Volts)
    flipped: Volts = field(default_factory=Volts)
    ohms: Ohms = field(default_factory=Ohms)
    current_ma: float | None = None
    contract: Contract | None = None
    meter: Meter = field(default_factory=Meter)

    @property
    def any(self) -> bool:
        """True where at least one reading is there."""
        return self.volts.any or self.flipped.any or self.ohms.any or self.current_ma is not None
