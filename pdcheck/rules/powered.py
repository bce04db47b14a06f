"""Whether the device had power when it was silent.

Why it is: a sink is attached only while VBUS is there (USB Type-C, section 4.5.2.2, Attached.SNK; from memory). One
that says nothing without VBUS does right, and what is missing is the power, not its answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pdcheck.conversation.model import Party
from pdcheck.rules import measure_next as todo
from pdcheck.rules.held import FINE_S
from pdcheck.rules.model import Case, Claim, Effect
from pdcheck.standard import vbus_levels

#: VBUS is looked at so long (seconds) before a moment: it holds for some ms where a plug is pulled. Our own choice.
_LOOK_S = 10e-3


def was_off(case: Case, moment_s: float) -> bool:
    """True where VBUS reads too little at that moment for a device to be attached."""
    line, fine = case.vbus, case.vbus_resolution_s
    joined_v = vbus_levels.SINK_DISCONNECT.most
    if line is None or not len(line.values):
        return False
    if float(line.values.max()) >= joined_v and (fine is None or fine > FINE_S):
        return False
    seen = line.during(max(0.0, moment_s - _LOOK_S), moment_s)
    return seen is not None and seen.typical < joined_v


def _speaks_without(case: Case) -> bool:
    """True where the device is heard at a moment at which VBUS reads off."""
    return any(
        not e.sop.to_cable and (e.sender is Party.SINK or (e.sender is Party.SOURCE and e.acknowledged_s is not None))
        and was_off(case, e.start_s) for e in case.conversation.exchanges
    )


def if_powered(case: Case, claim: Claim, moments_s: Sequence[float]) -> Claim:
    """A claim that the device is silent, held back where VBUS was off at most of the moments (seconds) at which it
    should have spoken; but not where it speaks without VBUS elsewhere: then the column is not what the port has."""
    off = [moment for moment in moments_s if was_off(case, moment)]
    if 2 * len(off) <= len(moments_s) or case.vbus is None or _speaks_without(case):
        return claim
    reads = [seen.typical for m in off if (seen := case.vbus.during(max(0.0, m - _LOOK_S), m)) is not None]
    return replace(
        claim, who=None, effect=Effect.WITHHOLDS,
        next=(todo.CHARGER_ALONE, todo.VBUS_SHORT, todo.OTHER_CHARGER, todo.VBUS_LOAD, todo.VBUS_PROBE),
        summary=f"{claim.summary} But VBUS reads {max(0.0, sorted(reads)[len(reads) // 2]):.2f} V then, and without "
        "VBUS a device has to be silent: the charger gives no power, VBUS is open or shorted on the way, or the VBUS "
        "column is not what the port has.",
    )
