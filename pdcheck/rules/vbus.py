"""Rules on VBUS through the whole contract, and on its way there.

Why it is: PS_RDY is kept or broken for as long as the contract stands. A charger that lets its output go after a second
looks on CC like one that delivers.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.capture.levels import outside
from pdcheck.conversation.model import Negotiation, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.drawn import Draw
from pdcheck.rules.held import (
    FINE_S,
    PROGRAMMABLE,
    Window,
    bounds_mv,
    lasting_s,
    offer_uncertain,
    probe_bounds_v,
    scale_is_good,
    windows,
)
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.trouble import Kind, Trouble
from pdcheck.rules.words import amps, span, volts
from pdcheck.standard import vbus_levels

_REF_LEVEL = "USB PD, section 7.4 (vSrcNew, vSrcValid)"
_REF_MOVE = "USB PD, section 7.1 (source transitions) and 6.6 (tSrcTransition)"
#: VBUS may reach its level so much after PS_RDY before it is worth a word. Our own choice.
_LATE_S = 30e-3
_OVERSHOOT_S = 20e-3
#: So far on the way to the new level (in V, and as a share of it) VBUS has moved. Our own choice.
_MOVED_V, _MOVED_SHARE, _WAY_V = 1.0, 0.5, 1.5
_UNASKED_S = 50e-3

_LOOK_LOAD = (
    "Capture VBUS at the charger's plug and at the device's port: the difference, divided by the current, is the "
    "resistance of cable and contacts (more than 0.25 ohm for both wires is too much)."
)
_LOOK_CONTACT = "Move the plug gently while capturing VBUS: a level that jumps is a contact."


def _deciding(case: Case, *kinds: Kind) -> Trouble | None:
    found = case.delivery.trouble
    return found if found is not None and found.kind in kinds else None


def _wanted(window: Window) -> str:
    contract = window.contract
    return f"a contract for {volts(contract.voltage_mv)}" if contract.voltage_mv is not None else "a contract"


def _after(found: Trouble) -> str:
    return span(found.off.start_s - found.window.start_s)


def _draw_words(case: Case, found: Trouble) -> str:
    """What the current says, in a sentence."""
    line, limit = case.current, found.window.contract.current_ma
    seen = line.during(max(0.0, found.off.start_s - 50e-3), found.off.end_s) if line is not None else None
    if found.draw is Draw.UNKNOWN and seen is not None:
        return " Whether the device draws too much just then does not show in the current column."
    if found.draw is Draw.UNKNOWN or seen is None:
        return " Whether the device draws too much just then is not known: capture the current as well."
    allowed = f" of the {amps(limit)} that it asked for" if limit is not None else ""
    if found.draw is Draw.BEYOND:
        return f" The device draws up to {seen.high:.2f} A{allowed}."
    return f" The device draws no more than {seen.high:.2f} A{allowed}."


@rule(
    id="vbus-too-high", family="delivery", severity=Severity.FAIL,
    title="VBUS rises above the contract's voltage",
    checks="Under a contract VBUS stays below vSrcNew's 5 % above the contract's voltage and vSrcValid's half volt, a "
    "meter's error allowed for.",
    why="Too high a voltage switches the device's protection off or destroys what lies behind the port. Nobody but the "
    "charger can raise VBUS.",
    reference=_REF_LEVEL, next=(todo.OTHER_CHARGER, todo.CHARGER_ALONE),
)
def vbus_too_high(case: Case) -> Iterator[Claim]:
    found = _deciding(case, Kind.TOO_HIGH)
    if found is None:
        return
    bounds = bounds_mv(found.window.contract)
    most = f" (at most {bounds[1] / 1000:.2f} V)" if bounds is not None else ""
    yield Claim(
        Who.SOURCE, found.off.start_s,
        f"VBUS rises to {found.level.high:.2f} V{most}, {_after(found)} into {_wanted(found.window)}, for "
        f"{span(found.off.length_s)}.",
        stops_at=Step.DELIVERY,
    )


@rule(
    id="vbus-falls-back", family="delivery", severity=Severity.FAIL,
    title="VBUS leaves the contract's voltage for a much lower one and stays there",
    checks="Whether VBUS comes to rest at 5 V, or below half of the contract's voltage, while nothing on CC lets it.",
    why="The device has a contract that is no longer kept: it stops charging, or charges at a crawl. A charger that "
    "rests at just 5 V has given its contract up without a word (overheated, overloaded by another port, faulty).",
    reference=_REF_LEVEL, next=todo.SOURCE_NO_POWER,
)
def vbus_falls_back(case: Case) -> Iterator[Claim]:
    found = _deciding(case, Kind.BACK_TO_5V, Kind.LOW)
    if found is not None:
        yield Claim(
            found.who, found.off.start_s,
            f"VBUS falls to {found.level.typical:.2f} V, {_after(found)} into {_wanted(found.window)}, and stays there "
            f"for {span(found.off.length_s)}; nothing on CC lets it.{_draw_words(case, found)}",
            stops_at=Step.DELIVERY,
        )


@rule(
    id="vbus-sags", family="delivery", severity=Severity.FAIL,
    title="VBUS stays below what any allowed cable explains",
    checks="Under a contract VBUS stays above vSrcNew's lower end less what a cable may lose (0.75 V at full load).",
    why="The device sees too little voltage and stops or slows down. Three things look alike: a charger too weak, too "
    "much resistance in cable or contacts, a device that draws too much. Only the current tells them apart.",
    reference=_REF_LEVEL + "; USB Type-C, section 4.4.1 (IR drop)",
    next=(todo.OTHER_CHARGER, _LOOK_LOAD, _LOOK_CONTACT, todo.VBUS_LOAD, todo.VBUS_SHORT),
)
def vbus_sags(case: Case) -> Iterator[Claim]:
    found = _deciding(case, Kind.SAG)
    if found is None:
        return
    bounds = bounds_mv(found.window.contract)
    least = f" (at least {bounds[0] / 1000:.2f} V)" if bounds is not None else ""
    if found.who is None:
        reasons = " A weak charger, resistance in cable or contacts, or an overload: this capture cannot tell which."
    else:
        reasons = ""
    yield Claim(
        found.who, found.off.start_s,
        f"VBUS stays at {found.level.typical:.2f} V{least}, from {_after(found)} into {_wanted(found.window)} on, for "
        f"{span(found.off.length_s)}.{_draw_words(case, found)}{_resistance(case, found)}{reasons}",
        stops_at=Step.DELIVERY,
    )


def _resistance(case: Case, found: Trouble) -> str:
    """What resistance would explain a sag, in a sentence; empty where the current is not known."""
    line, vbus = case.current, case.vbus
    if line is None or vbus is None or found.draw is Draw.UNKNOWN:
        return ""
    unloaded = vbus.during(found.window.start_s - 5e-3, found.window.start_s)
    drawn = line.during(max(found.off.start_s, found.off.end_s - 0.15), found.off.end_s)
    if unloaded is None or drawn is None or drawn.typical < 0.1:
        return ""
    milliohms = 1e3 * (unloaded.typical - found.level.typical) / drawn.typical
    if milliohms <= 0:
        return ""
    return f" From {unloaded.typical:.2f} V at PS_RDY that is as much as {milliohms:.0f} milliohms would lose."


@rule(
    id="vbus-collapses", family="delivery", severity=Severity.FAIL,
    title="VBUS goes off under a contract while both ends go on talking",
    checks="Whether VBUS falls below vSafe0V under a contract although the conversation after it shows the plug in.",
    why="Without VBUS nothing charges. The charger has switched off, or protects itself from a short or an overload "
    "behind the port.",
    reference=_REF_LEVEL, next=todo.SOURCE_NO_POWER,
)
def vbus_collapses(case: Case) -> Iterator[Claim]:
    found = _deciding(case, Kind.COLLAPSED)
    if found is not None:
        yield Claim(
            found.who, found.off.start_s,
            f"VBUS falls to {max(found.level.typical, 0.0):.2f} V, {_after(found)} into {_wanted(found.window)}, and "
            f"both ends go on talking: the plug is in.{_draw_words(case, found)}",
            stops_at=Step.DELIVERY,
        )


@rule(
    id="vbus-interrupted", family="delivery", severity=Severity.WARN,
    title="VBUS goes off for a moment under a contract",
    checks="Gaps in VBUS that are too short for pulling the plug and putting it back, or that end at once at a "
    "contract's level above 5 V.",
    why="The device may restart at each of them. A contact that opens, a charger that protects itself and tries again, "
    "or a short load behind the port.",
    reference=_REF_LEVEL, next=(_LOOK_CONTACT, todo.OTHER_CHARGER, todo.VBUS_LOAD),
)
def vbus_interrupted(case: Case) -> Iterator[Claim]:
    found = [t for t in case.delivery.troubles if t.kind is Kind.BOUNCED]
    if found:
        first = found[0]
        often = "" if len(found) == 1 else f"; that happens {len(found)} times"
        yield Claim(
            first.who, first.off.start_s,
            f"VBUS goes off for {span(first.off.length_s)}, {_after(first)} into {_wanted(first.window)}{often}.",
        )


@rule(
    id="vbus-goes-away", family="delivery", severity=Severity.INFO,
    title="VBUS goes away under a contract, and nothing is said any more",
    checks="Whether VBUS falls below vSafe0V under a contract with silence, or a new beginning, after it.",
    why="That is what pulling the plug looks like. Was it not pulled, then the charger switched off: capture again.",
    reference=_REF_LEVEL, next=(todo.CAPTURE_AGAIN,),
)
def vbus_goes_away(case: Case) -> Iterator[Claim]:
    found = next((t for t in case.delivery.troubles if t.kind is Kind.GONE), None)
    if found is not None:
        yield Claim(
            None, found.off.start_s,
            f"VBUS goes away {_after(found)} into {_wanted(found.window)}: the plug was pulled, or the charger "
            f"switched off. This capture cannot tell which.",
        )


def _fine(case: Case) -> bool:
    """True where the VBUS column may be asked what came first."""
    return scale_is_good(case) and case.vbus_resolution_s is not None and case.vbus_resolution_s <= FINE_S


@rule(
    id="ready-before-vbus", family="delivery", severity=Severity.WARN,
    title="The charger says ready before VBUS is there",
    checks="At PS_RDY VBUS has arrived at the new level.",
    why="From PS_RDY on the device draws its power. It finds too little voltage, or still too much.",
    reference="USB PD, section 6.3.6 (PS_RDY message) and 7.1 (source transitions)",
    next=(todo.OTHER_CHARGER,),
)
def ready_before_vbus(case: Case) -> Iterator[Claim]:
    if case.vbus is None or not _fine(case):
        return
    for window in windows(case):
        bounds = probe_bounds_v(case, window.contract)
        if bounds is None or window.contract.kind in PROGRAMMABLE or offer_uncertain(case, window.made):
            continue
        start = window.start_s
        off = outside(case.vbus, start, window.end_s, low=bounds[0], high=bounds[1])
        if not off or off[0].start_s > start or off[0].end_s >= window.end_s - _LATE_S:
            continue
        before = case.vbus.during(max(0.0, start - 10e-3), start)
        arrives = case.vbus.during(off[0].end_s, min(window.end_s, off[0].end_s + _LATE_S))
        if before is None or arrives is None or not bounds[0] <= arrives.typical <= bounds[1]:
            continue
        # What has been there already and left it again is something else (a contact, a load).
        if bounds[0] <= before.typical <= bounds[1] or off[0].length_s < lasting_s(case.vbus_resolution_s, _LATE_S):
            continue
        yield Claim(
            Who.SOURCE, start,
            f"The charger said ready with VBUS at {before.typical:.2f} V; {_wanted(window)} was met only "
            f"{span(off[0].length_s)} later.",
        )
        return


def _level_before(case: Case, one: Negotiation) -> float | None:
    """VBUS before anybody asked for another level: at the first offer, or under the contract in force."""
    if case.vbus is None or one.request is None:
        return None
    at = one.request.start_s
    if not one.under_contract:
        if not one.offers:
            return None
        at = one.offers[-1].start_s
    seen = case.vbus.during(max(0.0, at - 5e-3), at)
    return seen.typical if seen is not None else None


@rule(
    id="vbus-moves-unasked", family="delivery", severity=Severity.WARN,
    title="VBUS goes to the new level before the charger has accepted",
    checks="VBUS stays where it is until Accept (and tSrcTransition after it).",
    why="The device is not ready for the new voltage yet: it goes to standby only after Accept.",
    reference=_REF_MOVE, next=(todo.OTHER_CHARGER,),
)
def vbus_moves_unasked(case: Case) -> Iterator[Claim]:
    if case.vbus is None or not _fine(case):
        return
    for window in windows(case):
        one = window.made
        before = _level_before(case, one)
        if one.answer is None or one.request is None or before is None or window.contract.voltage_mv is None:
            continue
        if window.contract.kind in PROGRAMMABLE or offer_uncertain(case, one):
            continue
        if case.unreadable_between(one.request.start_s, one.answer.start_s - 1e-6):
            continue
        now = case.vbus.during(max(0.0, one.answer.start_s - 3e-3), one.answer.start_s)
        way = window.contract.voltage_mv / 1e3 - before
        if now is None or abs(way) < _WAY_V:
            continue
        moved = (now.typical - before) * (1 if way > 0 else -1)
        if moved >= max(_MOVED_V, _MOVED_SHARE * abs(way)) and now.typical > vbus_levels.SINK_DISCONNECT.most:
            yield Claim(
                Who.SOURCE, one.answer.start_s,
                f"VBUS reads {now.typical:.2f} V already when the charger accepts a request for "
                f"{volts(window.contract.voltage_mv)}; before the request it was {before:.2f} V.",
            )
            return


@rule(
    id="vbus-overshoots", family="delivery", severity=Severity.WARN,
    title="VBUS overshoots on its way to the new level",
    checks="Between Accept and PS_RDY VBUS stays below the higher of the two levels, with what vSrcNew and vSrcValid "
    "allow.",
    why="Too high a voltage, even for a moment, wears or destroys protection parts behind the port.",
    reference=_REF_LEVEL, next=(todo.OTHER_CHARGER, todo.CHARGER_ALONE),
)
def vbus_overshoots(case: Case) -> Iterator[Claim]:
    if case.vbus is None or not _fine(case):
        return
    for window in windows(case):
        one = window.made
        if one.answer is None or one.ready is None or one.request is None or offer_uncertain(case, one):
            continue
        bounds = probe_bounds_v(case, window.contract)
        before = case.vbus.during(max(0.0, one.request.start_s - 20e-3), one.answer.start_s)
        if bounds is None or before is None:
            continue
        most = max(bounds[1], before.high + vbus_levels.SRC_VALID.most + 0.3)
        off = outside(case.vbus, one.answer.start_s, one.ready.start_s, high=most)
        long = [s for s in off if s.length_s >= lasting_s(case.vbus_resolution_s, _OVERSHOOT_S)]
        # What still stands too high at PS_RDY is not at the contract's level; that is another rule's.
        if long and long[0].end_s < one.ready.start_s:
            seen = case.vbus.during(long[0].start_s, long[0].end_s)
            peak = f"{seen.high:.2f} V" if seen is not None else "too high a voltage"
            yield Claim(
                Who.SOURCE, long[0].start_s,
                f"On its way to {_wanted(window)} VBUS overshoots to {peak} for {span(long[0].length_s)} (at most "
                f"{most:.2f} V).",
            )
            return


@rule(
    id="vbus-rises-without-pd", family="delivery", severity=Severity.INFO,
    title="VBUS rises above 5 V although no contract was made",
    checks="Whether VBUS leaves vSafe5V upwards in a conversation that comes to no Accept.",
    why="Some chargers raise VBUS by another method over D+ and D- when USB PD comes to nothing. Then the device "
    "charges without a contract; its USB PD still has the fault that this report names.",
    reference="USB PD, section 7.4 (vSafe5V)",
)
def vbus_rises_without_pd(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    offers = [o for n in talk.negotiations for o in n.offers]
    if case.vbus is None or not offers or any(n.accepted or n.ready for n in talk.negotiations):
        return
    at = offers[0].start_s
    seen = case.vbus.during(max(0.0, at - 5e-3), max(at, 1e-3))
    low, high = vbus_levels.SAFE_5V.least, vbus_levels.SAFE_5V.most
    if seen is None or not low - 0.3 <= seen.typical <= high:
        return
    above = outside(case.vbus, at, talk.duration_s, high=high * 1.1)
    long = [s for s in above if s.length_s >= lasting_s(case.vbus_resolution_s, _UNASKED_S)]
    if long:
        level = case.vbus.during(long[0].start_s, long[0].end_s)
        words = f" to {level.typical:.2f} V" if level is not None else ""
        yield Claim(None, long[0].start_s, f"VBUS rises{words} although nothing was agreed on CC.")


RULES: tuple[Rule, ...] = (
    vbus_too_high, vbus_falls_back, vbus_sags, vbus_collapses, vbus_interrupted, vbus_goes_away, ready_before_vbus,
    vbus_moves_unasked, vbus_overshoots, vbus_rises_without_pd,
)
