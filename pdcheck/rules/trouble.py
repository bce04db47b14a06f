"""VBUS off its level while a contract holds it: where, how, and who can be said to have done it.

Why it is: a contract is a promise for its whole length. VBUS may leave its level because the charger lets it go,
because the device pulls it down, because a contact or cable eats it, or because somebody pulled the plug; the first
three are told apart only by the current, the last one only by what is said afterwards.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.capture.levels import Stretch, outside
from pdcheck.capture.model import AnalogLine, Span
from pdcheck.conversation.model import Negotiation
from pdcheck.conversation.names import OFFERS
from pdcheck.rules.drawn import Draw, beyond_a, contract_limit_a, drawn, trusted_current
from pdcheck.rules.held import (
    METER_SHARE,
    PROGRAMMABLE,
    Window,
    cable_drop_mv,
    lasting_s,
    probe_bounds_v,
)
from pdcheck.rules.model import Case, Who
from pdcheck.standard import timers, vbus_levels

#: Load steps and the like pass sooner (vSrcValid allows some 5 ms). Our own choice.
_TRANSIENT_S = 20e-3
#: A level that stays is looked at in this time at the end of the stretch; it drifts by less than this share.
_STEADY_S = 0.15
_STEADY_V = 0.12
#: A sag counts when it lasts this long.
_SAG_S = 0.3
#: VBUS was off when it stood below vSafe0V for this long. Our own choice.
_OFF_S = 5e-3
#: Who pulls the plug and puts it back needs longer than this (tCCDebounce).
_REPLUG_S = timers.CC_DEBOUNCE.min_s
#: A meter this fine shows how fast VBUS comes back. Our own choice.
_FINE_S = 10e-3


class Kind(StrEnum):
    """How VBUS leaves its level."""

    TOO_HIGH = "too high"
    BACK_TO_5V = "back to 5 V"
    LOW = "far too low"
    SAG = "somewhat too low"
    COLLAPSED = "gone, with the plug in"
    BOUNCED = "gone for a moment"
    GONE = "gone"


@dataclass(frozen=True)
class Trouble:
    """One departure. ``level``: what VBUS read at its end (while too high: in all of it). ``who`` is None where
    the columns cannot tell. ``convicts``: True where charging breaks and the plug was in."""

    kind: Kind
    window: Window
    off: Stretch
    level: Span
    draw: Draw
    who: Who | None
    convicts: bool


def troubles(case: Case, window: Window) -> Iterator[Trouble]:
    """The departures of VBUS in one window, in time order."""
    line, bounds = case.vbus, probe_bounds_v(case, window.contract)
    if line is None or bounds is None:
        return
    low, high = bounds
    least_mv = window.contract.min_voltage_mv
    if window.contract.kind in PROGRAMMABLE and least_mv is not None:
        # It may limit its current, and VBUS falls to what the load makes of that.
        least_share = vbus_levels.PPS_SHUTDOWN.least / 100 * (1 - METER_SHARE)
        low = min(low, (least_mv * least_share - cable_drop_mv()) / 1e3)
    least = lasting_s(case.vbus_resolution_s, _TRANSIENT_S)
    off = [
        (s, True) for s in outside(line, window.start_s, window.end_s, high=high) if s.length_s >= least
    ] + [
        (s, False) for s in outside(line, window.start_s, window.end_s, low=low) if s.length_s >= least
    ]
    for stretch, above in sorted(off, key=lambda item: item[0].start_s):
        found = _too_high(line, window, stretch, high) if above else _too_low(case, line, window, stretch)
        if found is not None:
            yield found
            if found.kind is Kind.GONE:
                # What VBUS does after that is under another contract, made on the other contact maybe, or at another
                # charger.
                return


def _too_high(line: AnalogLine, window: Window, off: Stretch, high: float) -> Trouble | None:
    level = line.during(off.start_s, off.end_s)
    if level is None:
        return None
    # Peaks with most of the time in between are noise of the meter.
    above = sum(s.length_s for s in outside(line, off.start_s, off.end_s, high=high, bridge_s=0.0))
    if above < off.length_s / 2:
        return None
    if off.start_s <= window.start_s and _comes_down(line, window, level, high):
        # Ready was said too early, or the probe is slow: another rule's matter, as on the way up.
        return None
    # Nobody but the source can raise VBUS.
    return Trouble(
        Kind.TOO_HIGH, window, off, level, Draw.UNKNOWN, Who.SOURCE, True,
    )


def _comes_down(line: AnalogLine, window: Window, level: Span, high: float) -> bool:
    """True where VBUS was above a contract's level before that was asked for, and is still on its way down."""
    asked = window.made.request
    before = line.during(max(0.0, asked.start_s - _TRANSIENT_S), asked.start_s) if asked is not None else None
    return before is not None and before.low > high and level.high <= before.high + vbus_levels.SRC_VALID.most


def _may_be_overload(case: Case, window: Window, off: Stretch) -> bool:
    """True where the current column reads more than the contract allows at any time around a fall of VBUS."""
    line, limit = trusted_current(case), contract_limit_a(window)
    seen = line.during(window.start_s, off.end_s) if line is not None else None
    return limit is not None and seen is not None and seen.high > beyond_a(limit)


def _too_low(case: Case, line: AnalogLine, window: Window, off: Stretch) -> Trouble | None:
    end = line.during(max(off.start_s, off.end_s - _STEADY_S), off.end_s)
    if end is None:
        return None
    gone = vbus_levels.SAFE_0V.most + 0.2
    dark = next((s for s in outside(line, off.start_s, off.end_s, low=gone) if s.length_s >= _OFF_S), None)
    draw = drawn(case, window, off, collapse=dark is not None)
    by_draw = {Draw.WITHIN: Who.SOURCE, Draw.BEYOND: Who.SINK, Draw.UNKNOWN: None}[draw]
    returns = off.end_s < window.end_s - _TRANSIENT_S

    def trouble(kind: Kind, who: Who | None, convicts: bool) -> Trouble:
        return Trouble(kind, window, off, end, draw, who, convicts)

    whole = line.during(off.start_s, off.end_s)
    off_for_sink = vbus_levels.SINK_DISCONNECT.most
    if returns and off.start_s <= window.start_s and _never_on(line, window.made, off_for_sink):
        # A probe behind the device's switch sees VBUS only when that closes.
        return None
    if returns and off.length_s < _REPLUG_S and whole is not None and whole.low < off_for_sink:
        return trouble(Kind.BOUNCED, Who.SINK if draw is Draw.BEYOND else None, False)
    if dark is not None:
        if returns and _back_at_once(case, line, window, off, gone):
            return trouble(Kind.BOUNCED, Who.SINK if draw is Draw.BEYOND else None, False)
        proven = _still_talking(case, off, dark)
        return trouble(Kind.COLLAPSED, by_draw, True) if proven else trouble(Kind.GONE, None, False)
    if returns and off.length_s < _SAG_S:
        return None
    if off.length_s < _STEADY_S or not _steady(line, off):
        return None
    if (case.vbus_resolution_s is None or case.vbus_resolution_s > _REPLUG_S) and _begins_anew(case, off):
        # Between two readings of a slow meter the plug may have been out.
        return trouble(Kind.GONE, None, False)
    limit = contract_limit_a(window)
    safe_low, safe_high = vbus_levels.SAFE_5V.least, vbus_levels.SAFE_5V.most
    wanted = (window.contract.voltage_mv or window.contract.min_voltage_mv or 0) / 1e3
    five = safe_low - cable_drop_mv() / 1e3 <= end.typical <= safe_high and wanted >= 1.4 * safe_high
    if _may_have_been_out(case, line, off, end):
        return trouble(Kind.GONE, None, False)
    if five:
        # Only a source that has changed its mind rests at just 5 V; but an overload is an overload, and a slow meter
        # that reads one leaves it open which came first.
        named: Who | None = Who.SINK if draw is Draw.BEYOND else Who.SOURCE
        if draw is Draw.UNKNOWN and _may_be_overload(case, window, off):
            named = None
        return trouble(Kind.BACK_TO_5V, named, True)
    if limit is not None and end.typical < wanted / 2:
        return trouble(Kind.LOW, by_draw, True)
    if off.length_s < _SAG_S:
        return None
    return trouble(Kind.SAG, Who.SINK if draw is Draw.BEYOND else None, True)


def _never_on(line: AnalogLine, made: Negotiation, off_for_sink: float) -> bool:
    """True where the column showed no VBUS while this try was made, though both ends were joined."""
    seen = line.during(made.start_s, made.ready.start_s) if made.ready is not None else None
    return seen is not None and seen.high < off_for_sink


def _may_have_been_out(case: Case, line: AnalogLine, off: Stretch, end: Span) -> bool:
    """True where VBUS was too low for the device to count as joined, came back to a level, and nobody speaks any more:
    the plug may have been pulled and put back, by its other side or at a charger without USB PD."""
    seen, joined = line.during(off.start_s, off.end_s), vbus_levels.SINK_DISCONNECT.most
    return seen is not None and seen.low < joined <= end.typical and not any(
        e.acknowledged_s is not None and not e.sop.to_cable and e.start_s > off.start_s
        for e in case.conversation.exchanges
    )


def _steady(line: AnalogLine, off: Stretch) -> bool:
    """True where VBUS rests at its level at the end of a stretch; a plug that was pulled leaves it falling."""
    middle = off.end_s - _STEADY_S / 2
    before, after = line.during(off.end_s - _STEADY_S, middle), line.during(middle, off.end_s)
    return before is not None and after is not None and abs(before.typical - after.typical) < _STEADY_V


def _begins_anew(case: Case, off: Stretch) -> bool:
    """True where an offer or the like is made while VBUS is off its level."""
    anew = (*OFFERS, "Soft_Reset", "Get_Source_Cap")
    return any(e.name in anew and off.start_s < e.start_s <= off.end_s for e in case.conversation.exchanges)


def _back_at_once(case: Case, line: AnalogLine, window: Window, off: Stretch, gone: float) -> bool:
    """True where VBUS comes back from nothing to a contract's level above 5 V faster than any source may go there:
    whoever replugs has 5 V first, and a new contract."""
    fine, wanted = case.vbus_resolution_s, (window.contract.voltage_mv or 0) / 1e3
    if fine is None or fine > _FINE_S or wanted < 1.4 * vbus_levels.SAFE_5V.most:
        return False
    dark = [s for s in outside(line, off.start_s, off.end_s, low=gone) if s.length_s >= _OFF_S]
    return off.end_s - dark[-1].end_s < timers.SRC_TRANSITION.min_s and not _begins_anew(case, off)


def _still_talking(case: Case, off: Stretch, dark: Stretch) -> bool:
    """True where what is said while VBUS is off shows both ends joined, with no time for pulling and replugging."""
    low = off.start_s + timers.RECEIVE.max_s
    for one in case.conversation.exchanges:
        if one.sop.to_cable or one.start_s < low:
            continue
        # What goes on is acknowledged; what begins anew is an offer or a reset. Who replugs has VBUS again.
        anew = one.name in (*OFFERS, "Soft_Reset", "Get_Source_Cap")
        soon = one.start_s - off.start_s < _REPLUG_S
        return one.acknowledged_s is not None and (soon or (not anew and one.start_s < dark.end_s))
    return False
