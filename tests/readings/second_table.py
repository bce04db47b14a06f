"""The levels and terminations of the Type-C tables once more, written apart from the program, and Ohm's law on them.

Where from: USB Type-C R2.0 Table 4-36 as quoted in a public design note (what a sink reads), ST UM2191 rev 2 Table 2
(pull-ups); the source's tables, Rd, Ra and the clamp from memory. Nothing here imports the program. Decimal arithmetic,
so that an edge is an edge.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal as D

DEFAULT, A1_5, A3_0 = "Default USB power", "1.5 A", "3.0 A"

#: What a sink reads: advertisement, from, to.
SINK = (("no pull-up", D("-0.25"), D("0.15")), (DEFAULT, D("0.25"), D("0.61")), (A1_5, D("0.70"), D("1.16")),
        (A3_0, D("1.31"), D("2.04")))
#: What a source takes a level for, under its own advertisement: (Ra up to, Rd from, Rd to, open from).
SOURCE = {
    DEFAULT: (D("0.15"), D("0.25"), D("1.50"), D("1.65")),
    A1_5: (D("0.35"), D("0.45"), D("1.50"), D("1.65")),
    A3_0: (D("0.75"), D("0.85"), D("2.45"), D("2.75")),
}


@dataclass(frozen=True)
class PullUp:
    """A resistor (ohms) to a supply, or a current source (amps) that reaches that supply at most."""

    advertisement: str
    kind: str
    supply: D
    value: D

    def level(self, ohms: D | None) -> D:
        """Volts over a pull-down; None: open."""
        if ohms is None:
            return self.supply
        if self.kind == "source":
            return min(self.supply, self.value * ohms)
        return self.supply * ohms / (ohms + self.value)


_RESISTORS = (
    (DEFAULT, "56000", "20", ("4.75", "5.5")), (A1_5, "22000", "5", ("4.75", "5.5")),
    (A3_0, "10000", "5", ("4.75", "5.5")), (DEFAULT, "36000", "20", ("3.135", "3.465")),
    (A1_5, "12000", "5", ("3.135", "3.465")),
    (A3_0, "4700", "5", ("3.135", "3.465")),
)
_SOURCES = ((DEFAULT, "80e-6", "20"), (A1_5, "180e-6", "8"), (A3_0, "330e-6", "8"))


def pull_ups() -> Iterator[PullUp]:
    """Every pull-up of the tables at the middle and both ends of its tolerance, at both ends of both supplies."""
    for advertisement, nominal, tolerance, supplies in _RESISTORS:
        for off in (-1, 0, 1):
            value = D(nominal) * (1 + off * D(tolerance) / 100)
            for supply in supplies:
                yield PullUp(advertisement, "resistor", D(supply), value)
    for advertisement, nominal, tolerance in _SOURCES:
        for off in (-1, 0, 1):
            value = D(nominal) * (1 + off * D(tolerance) / 100)
            for supply in ("3.135", "3.465", "4.75", "5.5"):
                yield PullUp(advertisement, "source", D(supply), value)


#: Pull-downs at the middle and the ends of their tolerances; Rd at 10 % and at 20 %.
RD = (D(4080), D(4590), D(5100), D(5610), D(6120))
RA = (D(800), D(1000), D(1200))
