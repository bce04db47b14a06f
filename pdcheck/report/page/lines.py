"""Which of a capture's lines are drawn, in which order, and between which values.

Why it is: the picture in the page's text and the one that the script draws must show the same lines on the same scales.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.capture.envelope import Envelope, envelope
from pdcheck.capture.model import AnalogLine, DigitalLine, Line, Role
from pdcheck.conversation.model import Contract
from pdcheck.report.model import Report
from pdcheck.rules.held import bounds_mv


@dataclass(frozen=True)
class Drawn:
    """A line to be drawn. ``unit``: ``"V"``, ``"A"`` or empty for two levels; ``low`` and ``high``: its scale."""

    line: Line
    label: str
    role: str
    unit: str
    low: float
    high: float


def drawn_lines(report: Report) -> tuple[Drawn, ...]:
    """CC (the line that was read, then the other contact), VBUS, current."""
    cc = report.reading.cc
    picked: list[tuple[int, Line, str]] = []
    for line in report.reading.capture.lines:
        if line.name == cc:
            picked.append((0, line, f"CC ({line.name})"))
        elif line.role in (Role.CC1, Role.CC2):
            picked.append((1, line, f"CC, other contact ({line.name})"))
        elif line.role is Role.VBUS and isinstance(line, AnalogLine):
            picked.append((2, line, "VBUS"))
        elif line.role is Role.CURRENT and isinstance(line, AnalogLine):
            picked.append((3, line, "Current"))
    return tuple(_drawn(line, label, report) for _, line, label in sorted(picked, key=lambda one: one[0]))


def _drawn(line: Line, label: str, report: Report) -> Drawn:
    role = "cc" if label.startswith("CC") else "vbus" if label == "VBUS" else "current"
    if isinstance(line, DigitalLine):
        return Drawn(line, label, role, "", 0.0, 1.0)
    whole = envelope(line, 0.0, max(report.conversation.duration_s, 1e-9), 400)
    low = min((v for v in whole.low if v is not None), default=0.0)
    high = max((v for v in whole.high if v is not None), default=1.0)
    low, high = min(low, 0.0), max(high, 0.0)
    if role == "vbus":
        tops = [band[1] for c in report.conversation.contracts if (band := tolerance_v(c)) is not None]
        high = max([high, *tops, 5.5])
    if high - low < 1e-6:
        high = low + 1.0
    return Drawn(line, label, role, line.unit, low, high + 0.05 * (high - low))


def tolerance_v(contract: Contract) -> tuple[float, float] | None:
    """The levels in volts between which VBUS counts as delivered; None where they are not known."""
    bounds = bounds_mv(contract)
    return (bounds[0] / 1e3, bounds[1] / 1e3) if bounds is not None else None


def columns(drawn: Drawn, start_s: float, end_s: float, number: int) -> Envelope:
    """The line between two moments as least and greatest values."""
    return envelope(drawn.line, start_s, end_s, number)
