"""Whether VBUS is where the contract says.

Why it is: PS_RDY is only a promise. Where VBUS was captured the promise can be checked; where its scale cannot
be trusted, nobody is accused.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.capture.model import Span
from pdcheck.conversation.model import Contract, Negotiation, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.words import volts
from pdcheck.standard import timers, vbus_levels

#: How long after PS_RDY the level is looked at, and what is left to the start. Our own choice.
_LOOK_S = 0.3
_SETTLE_S = 1e-3
_LEAST_LOOK_S = 5e-3
_FIVE_V = 5.0
_AT_ONCE_S = 8e-3
#: What cable and contacts may lose between the charger and the probe: 0.5 V on VBUS and 0.25 V on ground (from
#: memory of the Type-C cable assembly's voltage drop limits).
_CABLE_DROP_MV = 750
#: A programmable supply whose level has not moved by this share of the way has not followed. Our own choice.
_UNMOVED = 0.15


#: After these VBUS may go where it must not under the contract.
_MOVES_VBUS = ("PR_Swap", "FR_Swap", "GotoMin")


class Delivered(StrEnum):
    """Whether the contract's level arrived."""

    YES = "yes"
    NO = "no"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True)
class Delivery:
    """A judgement on one contract. ``reason`` says why it was not judged. Levels in mV."""

    state: Delivered
    contract: Contract | None
    t_s: float | None
    level: Span | None
    before: Span | None
    reason: str | None


def judge(case: Case) -> Delivery:
    """Judge the first contract whose level is wrong, else the last one of the capture."""
    last = Delivery(Delivered.NOT_JUDGED, None, None, None, None, "there was no contract")
    moves = _moves(case)
    made = {n.ready.start_s: n for n in case.conversation.negotiations if n.ready is not None}
    for contract in case.conversation.contracts:
        last = _judge_contract(case, contract, made.get(contract.since_s), moves)
        if last.state is Delivered.NO:
            return last
    return last


def _judge_contract(
    case: Case, contract: Contract, made: Negotiation | None, moves: Sequence[float]
) -> Delivery:
    def withheld(reason: str) -> Delivery:
        return Delivery(Delivered.NOT_JUDGED, contract, None, None, None, reason)

    if case.vbus is None:
        return withheld("VBUS was not captured")
    start = contract.since_s + _SETTLE_S
    end = min(start + _LOOK_S, _holds_until(case, contract, moves))
    if end - start < _LEAST_LOOK_S:
        return withheld("the capture or the contract ends too soon after PS_RDY")
    level = case.vbus.during(start, end)
    if level is None:
        return withheld("VBUS has no samples there")
    # At once, or after a while: whoever pulls the plug right after PS_RDY takes VBUS away, and a meter that reads
    # seldom still shows the old level at first.
    at_once = case.vbus.during(start, min(end, start + _AT_ONCE_S))
    if at_once is not None and _fits(contract, at_once.typical * 1e3):
        level = at_once
    before = _before(case, contract)
    typical = level.typical * 1e3
    if made is not None and made.offer is not None and made.request is not None and case.unreadable_between(
        made.offer.settled_s + timers.RECEIVE.max_s, made.request.start_s
    ):
        return withheld("packets are missing before the request, so the offer that it answers is not certain")
    first = _before(case, case.conversation.contracts[0])
    scale = first.typical / _FIVE_V if first is not None else 1.0
    # A scale that is a little off shows at 5 V already; neither side is accused for it.
    if _fits(contract, typical) or (_scale_is_good(case) and _fits(contract, typical / scale)):
        return Delivery(Delivered.YES, contract, contract.since_s, level, before, None)
    # Only a fall is what pulling the plug does, and only from the contract's level.
    at_ps_rdy = case.vbus.during(max(0.0, contract.since_s - _SETTLE_S), start + _AT_ONCE_S)
    bounds = bounds_mv(contract)
    if at_ps_rdy is not None and bounds is not None and typical < bounds[0] <= at_ps_rdy.high * 1e3 <= bounds[1]:
        return withheld("VBUS leaves the contract's level just when PS_RDY comes: the plug may have been pulled")
    if not _scale_is_good(case):
        return withheld(
            "the VBUS column does not read about 5 V while the charger offers, so its scale (divider, unit) or its "
            "probe cannot be trusted"
        )
    if contract.kind in ("spr_pps", "spr_avs", "epr_avs") and not _unmoved(contract, typical, before):
        return withheld("a programmable supply that limits its current may stay below the level that was asked for")
    return Delivery(Delivered.NO, contract, start, level, before, None)


def _moves(case: Case) -> list[float]:
    """Moments from which VBUS may leave a contract's level, in order: an Accept, a reset, a swap."""
    talk = case.conversation
    accepts = [n.answer.start_s for n in talk.negotiations if n.answer is not None and n.accepted]
    swaps = [e.start_s for e in talk.exchanges if e.name in _MOVES_VBUS]
    return sorted([*accepts, *swaps, *(r.start_s for r in talk.resets)])


def _holds_until(case: Case, contract: Contract, moves: Sequence[float]) -> float:
    """The moment from which VBUS may leave this contract's level; something unread may be such a moment as well."""
    end = case.conversation.duration_s if contract.ended_s is None else contract.ended_s
    for times, since in ((moves, contract.since_s), (case.gaps, contract.since_s + timers.RECEIVE.max_s)):
        place = bisect_right(times, since)
        end = min([end, *times[place : place + 1]])
    return end


def bounds_mv(contract: Contract) -> tuple[float, float] | None:
    """The levels in mV between which VBUS counts as delivered at the probe; None where they are not known.

    vSrcNew around the contract's level, half a volt of vSrcValid above, the cable's loss below.
    """
    low_pct, high_pct = vbus_levels.SRC_NEW.min or 0.0, vbus_levels.SRC_NEW.max or 0.0
    valid = (vbus_levels.SRC_VALID.max or 0.0) * 1e3
    low, high = contract.voltage_mv, contract.voltage_mv
    if contract.kind in ("variable", "battery"):
        low, high = contract.min_voltage_mv, contract.max_voltage_mv
    if low is None or high is None:
        return None
    return low * (1 + low_pct / 100) - _CABLE_DROP_MV, high * (1 + high_pct / 100) + valid


def _fits(contract: Contract, level_mv: float) -> bool:
    bounds = bounds_mv(contract)
    return bounds is None or bounds[0] <= level_mv <= bounds[1]


def _before(case: Case, contract: Contract) -> Span | None:
    """VBUS while the contract's request was made."""
    asked = contract.renewed_s[0]
    return case.vbus.during(max(0.0, asked - 5e-3), asked) if case.vbus is not None else None


def _scale_is_good(case: Case) -> bool:
    """True where VBUS reads about vSafe5V while the first offer that led to a contract is on the table."""
    first = case.conversation.contracts[0]
    before = _before(case, first)
    if before is None:
        return False
    low = (vbus_levels.SAFE_5V.min or 0.0) - _CABLE_DROP_MV / 1e3
    high = (vbus_levels.SAFE_5V.max or 0.0) + 0.1
    return low <= before.typical <= high


def _unmoved(contract: Contract, level_mv: float, before: Span | None) -> bool:
    if before is None or contract.voltage_mv is None:
        return False
    way = contract.voltage_mv - before.typical * 1e3
    moved = level_mv - before.typical * 1e3
    return abs(way) > 1000 and abs(moved) < _UNMOVED * abs(way)


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
    found = judge(case)
    contract = found.contract
    if found.state is not Delivered.NO or contract is None or found.level is None:
        return
    bounds = bounds_mv(contract)
    wanted = volts(contract.voltage_mv) if contract.voltage_mv is not None else "the contract's range"
    limits = f" (it should lie between {bounds[0] / 1000:.2f} and {bounds[1] / 1000:.2f} V)" if bounds else ""
    yield Claim(
        Who.SOURCE, found.t_s,
        f"The charger said that {wanted} is ready, but VBUS reads {found.level.typical:.2f} V{limits}.",
        stops_at=Step.DELIVERY,
    )


@rule(
    id="vbus-scale-doubtful", family="capture", severity=Severity.INFO,
    title="The VBUS column cannot be trusted",
    checks="VBUS reads about 5 V (vSafe5V) while the charger makes its first offer.",
    why="A source puts 5 V on VBUS before it offers anything. If the column reads otherwise its divider, unit or probe "
    "is wrong, and delivery cannot be judged from it.",
    reference="USB PD, section 7.4 (vSafe5V)",
    next=("Check the divider's ratio and the column's unit, and capture VBUS again.",),
)
def vbus_scale_doubtful(case: Case) -> Iterator[Claim]:
    if case.vbus is None or not case.conversation.contracts:
        return
    found = judge(case)
    if found.state is Delivered.NOT_JUDGED and found.reason is not None and "scale" in found.reason:
        yield Claim(Who.CAPTURE, None, f"Delivery was not judged: {found.reason}.", effect=Effect.NOTES)


RULES: tuple[Rule, ...] = (vbus_not_at_contract, vbus_scale_doubtful)
