"""Whether VBUS is where the contract says.

Why it is: PS_RDY is only a promise. Where VBUS was captured the promise can be checked; where its scale cannot
be trusted, nobody is accused.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from pdcheck.capture.levels import outside
from pdcheck.capture.model import Role, Span
from pdcheck.conversation.model import Contract, Negotiation, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.drawn import Draw, drawn
from pdcheck.rules.held import (
    METER_SHARE,
    PROGRAMMABLE,
    SETTLE_S,
    Window,
    bounds_mv,
    clips,
    holds_until,
    lasting_s,
    offer_uncertain,
    probe_bounds_v,
    scale_is_good,
    vbus_moves,
    windows,
)
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.trouble import Trouble, troubles
from pdcheck.rules.words import volts
from pdcheck.standard import vbus_levels

#: How long after PS_RDY the level is looked at. Our own choice.
_LOOK_S = 0.3
_LEAST_LOOK_S = 5e-3
_AT_ONCE_S = 8e-3
_LAST_LOOK_S = 30e-3
_THERE_S = 30e-3
#: A programmable supply whose level has not moved by this share of the way has not followed. Our own choice.
_UNMOVED = 0.15
_ABOVE_5V = 8.0
_STILL_V = 0.25
_OFF_V = 1.0
_FINE_S = 0.1


class Delivered(StrEnum):
    """Whether the contract's level arrived, and stayed."""

    YES = "yes"
    NO = "no"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True)
class Delivery:
    """A judgement on one contract. ``reason`` says why it was not judged. Levels in mV.

    ``troubles``: all departures of VBUS under contracts that were delivered; ``trouble``: the one that decided;
    ``doubts_column``: VBUS was captured and not judged because its column cannot be trusted; ``clips``: for that its
    probe is at the end of its scale.
    """

    state: Delivered
    contract: Contract | None
    t_s: float | None
    level: Span | None
    before: Span | None
    reason: str | None
    who: Who | None = None
    trouble: Trouble | None = None
    troubles: tuple[Trouble, ...] = ()
    doubts_column: bool = False
    clips: bool = False


def judge_contracts(case: Case) -> Delivery:
    """Judge the first contract whose level is wrong at PS_RDY or later, else the last one of the capture.

    Rules ask ``case.delivery``, for which this is worked out once.
    """
    last = Delivery(Delivered.NOT_JUDGED, None, None, None, None, "there was no contract")
    moves = vbus_moves(case)
    made = {n.ready.start_s: n for n in case.conversation.negotiations if n.ready is not None}
    held: defaultdict[int, list[Window]] = defaultdict(list)
    for window in windows(case):
        held[id(window.contract)].append(window)
    seen: list[Trouble] = []
    clipped: Delivery | None = None
    before: Contract | None = None
    for contract in case.conversation.contracts:
        last = _judge_contract(case, contract, before, made.get(contract.since_s), moves)
        before = contract
        clipped = last if last.clips else clipped
        if last.state is Delivered.NO and clipped is not None and _too_low(case, contract, last.level):
            # A probe that has shown its end may give way before it, and is believed no more when it reads too little.
            last = replace(clipped, contract=contract)
        if last.state is Delivered.NO:
            break
        if last.state is Delivered.YES and (scale_is_good(case) or _reads_right(contract, last.level)):
            found = [t for window in held[id(contract)] for t in troubles(case, window)]
            seen += found
            worst = next((t for t in found if t.convicts), None)
            if worst is not None:
                last = Delivery(
                    Delivered.NO, contract, worst.off.start_s, worst.level, last.before, None, worst.who, worst,
                )
                break
    return replace(last, troubles=tuple(seen))


def _judge_contract(
    case: Case, contract: Contract, previous: Contract | None, made: Negotiation | None, moves: Sequence[float]
) -> Delivery:
    def withheld(reason: str, *, doubts_column: bool = False) -> Delivery:
        return Delivery(Delivered.NOT_JUDGED, contract, None, None, None, reason, doubts_column=doubts_column)

    if case.impossible_v is not None:
        return withheld(
            f"the VBUS column reads {case.impossible_v:.4g} V, which no port can have: its scale (divider, unit, "
            "range) or its probe cannot be trusted", doubts_column=True,
        )
    if case.vbus is None:
        if Role.VBUS in case.reading.capture.left_out:
            return withheld("its column does not hold volts throughout, and was left out")
        return withheld("VBUS was not captured")
    start = contract.since_s + SETTLE_S
    if offer_uncertain(case, made):
        return withheld("packets are missing before the request, so the offer that it answers is not certain")
    lasting = lasting_s(case.vbus_resolution_s, _LEAST_LOOK_S)
    holds = holds_until(case, contract, contract.since_s, moves)
    end = min(start + max(_LOOK_S, lasting), holds)
    if end - start < _LEAST_LOOK_S:
        return withheld("the capture or the contract ends too soon after PS_RDY")
    level = case.vbus.during(start, end)
    if level is None:
        return withheld("VBUS has no samples there")
    # At once, or after a while: whoever pulls the plug right after PS_RDY takes VBUS away, and a meter that reads
    # seldom still shows the old level at first.
    at_once = case.vbus.during(start, min(end, start + _AT_ONCE_S))
    if at_once is not None and _fits(case, contract, at_once.typical):
        level = at_once
    at_last = case.vbus.during(max(start, end - _LAST_LOOK_S), end)
    if not _fits(case, contract, level.typical) and at_last is not None and _fits(case, contract, at_last.typical):
        level = at_last
    bounds = probe_bounds_v(case, contract)
    if bounds is not None and not _fits(case, contract, level.typical):
        # There for a while and gone again is for those who ask what became of it.
        off = outside(case.vbus, start, end, low=bounds[0], high=bounds[1])
        if end - start - sum(s.length_s for s in off) > _THERE_S:
            return Delivery(Delivered.YES, contract, contract.since_s, level, _before(case, contract), None)
    before = _before(case, contract)
    if _fits(case, contract, level.typical):
        return Delivery(Delivered.YES, contract, contract.since_s, level, before, None)
    # Only a fall is what pulling the plug does, and only from the contract's level.
    at_ps_rdy = case.vbus.during(max(0.0, contract.since_s - SETTLE_S), start + _AT_ONCE_S)
    if at_ps_rdy is not None and bounds is not None and level.typical < bounds[0] <= at_ps_rdy.high <= bounds[1]:
        return withheld("VBUS leaves the contract's level just when PS_RDY comes: the plug may have been pulled")
    if at_ps_rdy is not None and level.typical < _OFF_V and at_ps_rdy.high > vbus_levels.SINK_DISCONNECT.most:
        return withheld("VBUS goes away just after PS_RDY: the plug may have been pulled")
    if not scale_is_good(case):
        return withheld(
            "the VBUS column does not read about 5 V while the charger offers, so its scale (divider, unit) or its "
            "probe cannot be trusted", doubts_column=True,
        )
    too_low = _too_low(case, contract, level)
    if too_low and (clips(case, level, start, end) or clips(case, level, start, holds)):
        found = withheld(
            f"the VBUS column stands still at its highest value ({level.high:.2f} V), as a probe does at the end of "
            f"its scale", doubts_column=True,
        )
        return replace(found, clips=True)
    if end - start < lasting:
        return withheld("the VBUS column changes too seldom (a slow meter?) to show the level in that time")
    if level.typical < _OFF_V and (case.vbus_resolution_s is None or case.vbus_resolution_s > _FINE_S):
        return withheld("VBUS is gone, and its meter is too slow to show whether it went before PS_RDY or after")
    if bounds is not None and _on_its_way(case, start, end, bounds):
        return withheld("VBUS is still on its way when the look at it ends (a slow meter?)")
    if contract.kind in PROGRAMMABLE and (
        _limited_before(previous, contract, before) or not _unmoved(contract, level.typical, before)
    ):
        return withheld("a programmable supply that limits its current may stay below the level that was asked for")
    who = Who.SOURCE
    if made is not None and bounds is not None and too_low:
        off = outside(case.vbus, start, end, low=bounds[0])
        if off and drawn(case, Window(contract, made, start, end), off[0]) is Draw.BEYOND:
            who = Who.SINK
    return Delivery(Delivered.NO, contract, start, level, before, None, who)


def _too_low(case: Case, contract: Contract, level: Span | None) -> bool:
    bounds = probe_bounds_v(case, contract)
    return bounds is not None and level is not None and level.typical < bounds[0]


def _fits(case: Case, contract: Contract, level_v: float) -> bool:
    bounds = probe_bounds_v(case, contract)
    return bounds is None or bounds[0] <= level_v <= bounds[1]


def _on_its_way(case: Case, start: float, end: float, bounds: tuple[float, float]) -> bool:
    """True where VBUS goes towards the bounds all the time; on a meter that is not fast, where it moves at all."""
    middle = (start + end) / 2
    parts = [case.vbus.during(a, b) if case.vbus is not None else None for a, b in ((start, middle), (middle, end))]
    if parts[0] is None or parts[1] is None:
        return False
    moved = parts[1].typical - parts[0].typical
    if case.vbus_resolution_s is None or case.vbus_resolution_s > _AT_ONCE_S:
        return abs(moved) > _STILL_V
    return moved > _STILL_V if parts[1].typical < bounds[0] else moved < -_STILL_V


def _reads_right(contract: Contract, level: Span | None) -> bool:
    """True where the column reads the very voltage of a contract above 5 V: no wrong scale does."""
    wanted = (contract.voltage_mv or 0) / 1e3
    if level is None or contract.kind != "fixed" or wanted < _ABOVE_5V:
        return False
    return abs(level.typical / wanted - 1) <= vbus_levels.SRC_NEW.most / 100 + METER_SHARE


def _before(case: Case, contract: Contract) -> Span | None:
    """VBUS while the contract's request was made."""
    asked = contract.renewed_s[0]
    return case.vbus.during(max(0.0, asked - 5e-3), asked) if case.vbus is not None else None


def _unmoved(contract: Contract, level_v: float, before: Span | None) -> bool:
    if before is None or contract.voltage_mv is None:
        return False
    way = contract.voltage_mv / 1e3 - before.typical
    return abs(way) > 1.0 and abs(level_v - before.typical) < _UNMOVED * abs(way)


def _limited_before(previous: Contract | None, contract: Contract, before: Span | None) -> bool:
    """True where VBUS was below the programmable contract before this one already, as a current limit keeps it."""
    return (
        previous is not None and previous.kind in PROGRAMMABLE and previous.ended_s == contract.since_s
        and before is not None and before.typical < _wanted_v(previous) * (1 + vbus_levels.PPS_NEW.least / 100)
    )


def _wanted_v(contract: Contract) -> float:
    return (contract.voltage_mv or 0) / 1e3


@rule(
    id="vbus-not-at-contract", family="delivery", severity=Severity.FAIL,
    title="VBUS is not at the voltage that the contract says",
    checks="After PS_RDY, VBUS lies within vSrcNew (5 %) of the contract's voltage, half a volt and the cable's loss "
    "allowed for.",
    why="Negotiation went through and the power did not come: the charger's switch or converter, or a short or an open "
    "on the way.",
    reference="USB PD, section 7.4 (vSrcNew, vSrcValid)", next=todo.SOURCE_NO_POWER,
)
def vbus_not_at_contract(case: Case) -> Iterator[Claim]:
    found = case.delivery
    contract = found.contract
    if found.state is not Delivered.NO or contract is None or found.level is None or found.trouble is not None:
        return
    bounds = bounds_mv(contract)
    wanted = volts(contract.voltage_mv) if contract.voltage_mv is not None else "the contract's range"
    limits = f" (it should lie between {bounds[0] / 1000:.2f} and {bounds[1] / 1000:.2f} V)" if bounds else ""
    drew = " The device draws more than its contract allows just then." if found.who is Who.SINK else ""
    yield Claim(
        found.who, found.t_s,
        f"The charger said that {wanted} is ready, but VBUS reads {found.level.typical:.2f} V{limits}.{drew}",
        stops_at=Step.DELIVERY,
    )


@rule(
    id="vbus-scale-doubtful", family="capture", severity=Severity.INFO,
    title="The VBUS column cannot be trusted",
    checks="VBUS reads about 5 V (vSafe5V) while the charger makes its first offer, and never what no port can have.",
    why="A source puts 5 V on VBUS before it offers anything. If the column reads otherwise its divider, unit or probe "
    "is wrong, and delivery cannot be judged from it.",
    reference="USB PD, section 7.4 (vSafe5V)",
    next=("Check the divider's ratio and the column's unit, and capture VBUS again.",),
)
def vbus_scale_doubtful(case: Case) -> Iterator[Claim]:
    if (case.vbus is None and case.impossible_v is None) or not case.conversation.contracts:
        return
    found = case.delivery
    if found.doubts_column:
        yield Claim(Who.CAPTURE, None, f"Delivery was not judged: {found.reason}.", effect=Effect.NOTES)


RULES: tuple[Rule, ...] = (vbus_not_at_contract, vbus_scale_doubtful)
