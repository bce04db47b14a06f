"""What was offered, asked for and agreed, and how much current flowed, in a form that can be compared.

Why it is: two cases are alike when the same kind of power was on the table. What a current says of a device that
does not charge stands here once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pdcheck.casebook.shape import text, whole

#: Upper ends (mA) of the classes of input current of a device on 5 V or more. Common practice, no source.
_CLASSES = (
    (5, "next to no current"),
    (60, "present but not charging (20 to 40 mA)"),
    (250, "about 100 mA"),
    (500, "some current, less than half an amp"),
)
_CHARGING = "charging (half an amp or more)"


@dataclass(frozen=True)
class Level:
    """One offer or contract: millivolts from ``min_mv`` to ``max_mv``, and milliamps or milliwatts."""

    kind: str
    min_mv: int | None
    max_mv: int | None
    current_ma: int | None
    power_mw: int | None

    @property
    def words(self) -> str:
        """``"9 V 3 A"``, ``"5 to 11 V 2 A (spr_pps)"``."""
        if self.max_mv is None:
            level = "unknown voltage"
        elif self.min_mv in (None, self.max_mv):
            level = f"{self.max_mv / 1000:.4g} V"
        else:
            level = f"{(self.min_mv or 0) / 1000:.4g} to {self.max_mv / 1000:.4g} V"
        if self.current_ma is not None:
            level += f" {self.current_ma / 1000:.3g} A"
        elif self.power_mw is not None:
            level += f" {self.power_mw / 1000:.3g} W"
        return level if self.kind == "fixed" else f"{level} ({self.kind})"


def level_from_report(one: Mapping[str, Any]) -> Level:
    """An object or a contract of a JSON report. :raises ValueError: something in it has the wrong type."""
    fixed = whole(one, "voltage_mv")
    current = whole(one, "current_ma")
    if current is None:
        current = whole(one, "current_9v_to_15v_ma")
    power = whole(one, "power_mw")
    return Level(
        kind=text(one, "kind"),
        min_mv=fixed if fixed is not None else whole(one, "min_voltage_mv"),
        max_mv=fixed if fixed is not None else whole(one, "max_voltage_mv"),
        current_ma=current, power_mw=power if power is not None else whole(one, "pdp_mw"),
    )


def current_class(current_ma: int) -> str:
    """What an input current says (common practice, no source)."""
    return next((words for end, words in _CLASSES if abs(current_ma) < end), _CHARGING)
