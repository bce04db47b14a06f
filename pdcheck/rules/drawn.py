"""What the current column proves: whether it can be trusted, what a contract allows, and where that was exceeded.

Why it is: "the device draws too much" and "the charger is weak" look alike on VBUS; only the current tells them apart,
and only where its meter is right and fast enough.
"""

from __future__ import annotations

from enum import StrEnum

from pdcheck.capture.levels import Stretch, outside
from pdcheck.capture.model import AnalogLine
from pdcheck.conversation.model import Ending, Negotiation, Party
from pdcheck.rules.held import FINE_S, Window, lasting_s
from pdcheck.rules.model import Case
from pdcheck.standard import timers, vbus_levels
from pdcheck.standard.attach_limits import ADVERTISED_3A

#: Beyond a contract is what lies above it by so much: a tenth, a meter's three percent, and a tenth of an amp for
#: its offset. Our own choice.
_BEYOND_SHARE = 1.13
_BEYOND_A = 0.1
#: Inrush and peak current pass sooner than this. Our own choice.
OVERDRAW_S = 0.1
#: A column below this is the wrong way round; above this it is scaled wrongly (no contract goes beyond 5 A).
_NEGATIVE_A = -0.1
_IMPOSSIBLE_A = 8.0
_LASTING_ODD_S = 20e-3
_BEFORE_S = 50e-3
_REST_S = 0.15
#: A working unit draws more than this (amps) while it charges (common practice, no source).
CHARGES_A = 0.5
#: Inrush is over by then: a current that charges lasts so long (seconds) to the end of the capture. Our own choice.
_CHARGES_S = 0.2
#: A current that switches a charger off lasts this long at least. Our own choice.
_SURGE_S = 5e-3
#: A charger may carry this without any contract; amps.
_WITHOUT_CONTRACT_A = ADVERTISED_3A.most / 1e3


class Draw(StrEnum):
    """What the current column says of a moment."""

    WITHIN = "within the contract"
    BEYOND = "beyond the contract"
    UNKNOWN = "not known"


def doubt_about_current(case: Case) -> str | None:
    """Why the current column cannot be trusted, in words; None where it can, or where there is none."""
    line = case.current
    if line is None:
        return None
    end_s = case.conversation.duration_s

    def long(low: float, high: float) -> bool:
        return any(s.length_s > _LASTING_ODD_S for s in outside(line, 0.0, end_s, low=low, high=high))

    if long(_NEGATIVE_A, float("inf")):
        return "it reads below zero, so the probe or clamp is the wrong way round, or current flows back"
    if long(float("-inf"), _IMPOSSIBLE_A):
        return f"it reads more than {_IMPOSSIBLE_A:g} A, which nothing on this connector carries"
    return None


def trusted_current(case: Case) -> AnalogLine | None:
    """The current column where it can be trusted."""
    return case.current if doubt_about_current(case) is None else None


def charging_a(case: Case) -> float | None:
    """The current in A where a contract stands and the device charges at the end of the capture; else None.

    Seen for too short, or not captured, is None as well: that says nothing against the device.
    """
    standing, end_s = case.conversation.standing, case.conversation.duration_s
    if case.current is None or standing is None or end_s - standing.since_s < _CHARGES_S:
        return None
    seen = case.current.during(end_s - _CHARGES_S, end_s)
    # Some probes read a current that flows into the device as negative.
    if seen is None or max(seen.low, -seen.high) < CHARGES_A or abs(seen.typical) > _IMPOSSIBLE_A:
        return None
    return abs(seen.typical)


def contract_limit_a(window: Window) -> float | None:
    """The current in A that a window's contract allows at most; None where it is not known."""
    return _asked_a(window.made, window.contract.min_voltage_mv)


def _asked_a(made: Negotiation, least_mv: int | None) -> float | None:
    """The most current in A that a request names; ``least_mv`` turns a power into one."""
    wanted = made.requested
    if wanted is None:
        return None

    power = max(wanted.integer("operating_power_mw") or 0, wanted.integer("max_power_mw") or 0)
    if power:
        return power / least_mv if least_mv else None
    most = max(wanted.integer("operating_current_ma") or 0, wanted.integer("max_current_ma") or 0)
    return most / 1e3 if most else None


def beyond_a(limit: float) -> float:
    """The reading from which a limit counts as exceeded."""
    return limit * _BEYOND_SHARE + _BEYOND_A


def overdraws(case: Case, window: Window) -> list[Stretch]:
    """The stretches of a window in which the device draws more than its contract allows."""
    line, limit = trusted_current(case), contract_limit_a(window)
    if line is None or limit is None:
        return []
    least = lasting_s(case.current_resolution_s, OVERDRAW_S)
    start = window.start_s + timers.SINK_ADJ.max_s
    end = window.end_s
    if case.vbus is not None:
        # What is drawn after the plug was out is drawn without a contract.
        gone = outside(case.vbus, start, end, low=vbus_levels.SINK_DISCONNECT.most)
        end = gone[0].start_s if gone else end
    found = outside(line, start, end, high=beyond_a(limit), bridge_s=10e-3)
    return [stretch for stretch in found if stretch.length_s >= least]


def trips(case: Case, one: Negotiation) -> Stretch | None:
    """Where the device draws more than any contract or advertisement allows between Accept and a Hard Reset that is
    not its own; None where it does not, or where the column is too slow to show it."""
    line, fine = trusted_current(case), case.current_resolution_s
    if line is None or fine is None or fine > FINE_S or one.answer is None or not one.accepted:
        return None
    if one.ready is not None or one.ending is not Ending.HARD_RESET or one.reset is None:
        return None
    if one.reset.sender is Party.SINK:
        return None
    limit = max(_WITHOUT_CONTRACT_A, _asked_a(one, None) or 0.0)
    over = outside(line, one.answer.start_s, one.next_s, high=beyond_a(limit))
    return next((s for s in over if s.length_s >= _SURGE_S), None)


def drawn(case: Case, window: Window, off: Stretch, *, collapse: bool = False) -> Draw:
    """What the device drew as VBUS went off its level, and while it stayed there.

    :param collapse: VBUS went to nothing, so that only what was drawn just before tells.
    """
    line, limit = trusted_current(case), contract_limit_a(window)
    if line is None or limit is None:
        return Draw.UNKNOWN
    resolution = case.current_resolution_s
    slow = resolution is None or resolution > FINE_S
    if slow and (collapse or off.length_s < lasting_s(resolution, 0.0)):
        return Draw.UNKNOWN
    # As it goes, or where it has come to rest. Peaks that come and go convict and acquit nobody.
    start = max(window.start_s, off.start_s - (_BEFORE_S + (resolution or 0.0)))
    if not collapse:
        start = max(off.start_s, off.end_s - _REST_S)
    end = off.start_s + _BEFORE_S if collapse else off.end_s
    seen = line.during(start, min(end, off.end_s))
    if seen is None:
        return Draw.UNKNOWN
    most = beyond_a(limit)
    if seen.high <= most:
        return Draw.WITHIN
    least = _SURGE_S if collapse else (end - start) / 2
    over = outside(line, start, end, high=most)
    return Draw.BEYOND if any(s.length_s >= least for s in over) else Draw.UNKNOWN
