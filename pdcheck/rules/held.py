"""When VBUS must be where: the times for which a contract holds VBUS, its bounds, and how far the columns are trusted.

Why it is: the rules on VBUS and on current argue from the same windows, the same allowances for cables and meters, and
the same doubts. They stand here once.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from pdcheck.capture.levels import changes, highest, outside, reversals
from pdcheck.capture.model import AnalogLine, Span
from pdcheck.conversation.model import Contract, Negotiation, Party
from pdcheck.conversation.names import OFFERS, POWER_SWAPS
from pdcheck.rules.model import Case
from pdcheck.standard import timers, vbus_levels

#: A meter this fine may be asked what VBUS or the current was at a moment, and what came first. Our own choice.
FINE_S = 20e-3
#: What is left to the start after PS_RDY. Our own choice.
SETTLE_S = 1e-3
FIVE_V = 5.0
#: How far a meter or divider that agrees at 5 V may be off elsewhere. Our own choice.
METER_SHARE = 0.015
_METER_OHMS_MV = 50
#: A device may draw a tenth more than it asked for before it counts; what cable and contacts may lose at the least
#: current. Our own choices.
_DRAWS_SHARE, _CONTACTS_MV = 1.1, 650
#: After these VBUS may go where it must not under the contract.
_MOVES_VBUS = (*POWER_SWAPS, "GotoMin", "EPR_Mode")
PROGRAMMABLE = ("spr_pps", "spr_avs", "epr_avs")
#: A meter whose pace the column does not show is taken to update once a second at least. Our own choice.
_UNKNOWN_RESOLUTION_S = 0.6
_UPDATES = 2.5
_READY_AT_MOST_S = timers.PS_TRANSITION_EPR.max_s + 0.1
#: A flat line counts as clipped where its noise elsewhere would have shown so often. Our own choice.
_NOISE_EXPECTED = 4.0
_PARTS = 20
#: Readings this near are the same to a reader that thins a column.
_SAME_V = 0.021
#: Inputs end at round numbers, and then read just those: 3.3, 5, 5.5, 6.6, 12 V (common practice, no source).
_ROUND_V, _ROUND_TO_V = 0.1, 0.6e-3
#: Where nothing but the number speaks for it: multiples of 3.3 V, and ranges that inputs have (common practice, no
#: source). A charger that delivers another voltage than asked for delivers 5, 9, 12, 15 or 20 V.
_ENDS_V = (3.3, 5.5, 6.6, 9.9, 10.0, 16.5, 25.0, 33.0, 50.0)
#: A level this much above the one before has moved: it is no charger that stays where it was. Our own choice.
_RISEN_V = 0.15
#: A probe that reads so far below zero for so long (seconds) sits behind a capacitor, or on another ground, or the
#: wrong way round; ringing passes sooner. Our own choice.
_BELOW_ZERO_V, _BELOW_ZERO_S = -0.4, 20e-3
#: VBUS is off below this, and its noise is looked at where it is off for so long (seconds).
_OFF_V, _OFF_LOOK_S = 0.8, 20e-3


@dataclass(frozen=True)
class Window:
    """A time (seconds) in which a contract holds VBUS: from a PS_RDY to the next thing that lets VBUS move.

    ``made`` is the negotiation that made or renewed the contract.
    """

    contract: Contract
    made: Negotiation
    start_s: float
    end_s: float


def windows(case: Case) -> list[Window]:
    """Every window of every contract, in time order."""
    return case.once(_windows)


def _windows(case: Case) -> list[Window]:
    talk = case.conversation
    moves = vbus_moves(case)
    found: list[Window] = []
    for one in talk.negotiations:
        if one.ready is None:
            continue
        ready_s = one.ready.start_s
        place = bisect_right(talk.contracts, ready_s, key=lambda c: c.since_s) - 1
        contract = talk.contracts[place] if place >= 0 else None
        if contract is None or not (contract.ended_s is None or contract.ended_s > ready_s):
            continue
        if contract.since_s != ready_s and one.request is not None and not _holds(
            contract.renewed_s, one.request.start_s
        ):
            continue
        end_s = holds_until(case, contract, ready_s, moves)
        if end_s > ready_s + SETTLE_S:
            found.append(Window(contract, one, ready_s + SETTLE_S, end_s))
    return found


def _holds(times: Sequence[float], moment: float) -> bool:
    place = bisect_left(times, moment)
    return place < len(times) and times[place] == moment


def vbus_moves(case: Case) -> list[float]:
    """Moments from which VBUS may leave a contract's level, in order: an Accept, a reset, a swap.

    A request of which the capture shows no answer may have had one: with its PS_RDY it has had one.
    """
    return case.once(_vbus_moves)


def _vbus_moves(case: Case) -> list[float]:
    talk = case.conversation
    accepts = [n.answer.start_s for n in talk.negotiations if n.answer is not None and n.accepted]
    unseen = [n.request.start_s for n in talk.negotiations if n.request and n.answer is None]
    known = sorted(n.ready.start_s for n in talk.negotiations if n.ready is not None)
    swaps = [e.start_s for e in talk.exchanges if e.name in (*_MOVES_VBUS, "VCONN_Swap")]
    own = {*known}
    odd: list[float] = []
    for one in talk.exchanges:
        if one.name != "PS_RDY" or one.sender is not Party.SOURCE or one.start_s in own:
            continue
        earliest = one.start_s - timers.PS_TRANSITION_EPR.max_s
        # After a swap or GotoMin it belongs to that.
        if _last_before(swaps, one.start_s) <= earliest:
            odd.append(max(earliest, _last_before(known, one.start_s) + 1e-6))
    let_go = [e.start_s for e in talk.exchanges if e.name in _MOVES_VBUS]
    return sorted([*accepts, *unseen, *odd, *let_go, *(r.start_s for r in talk.resets)])


def _last_before(times: Sequence[float], moment: float) -> float:
    """The last of the times before a moment; minus infinity where there is none."""
    place = bisect_left(times, moment)
    return times[place - 1] if place else -inf


def holds_until(case: Case, contract: Contract, since_s: float, moves: Sequence[float]) -> float:
    """The moment from which VBUS may leave this contract's level; something unread may be such a moment as well."""
    end = case.conversation.duration_s if contract.ended_s is None else contract.ended_s
    for times, since in ((moves, since_s), (case.gaps, since_s + timers.RECEIVE.max_s)):
        place = bisect_right(times, since)
        end = min([end, *times[place : place + 1]])
    place = bisect_right(case.left_out, since_s, key=lambda lost: lost[1])
    end = min([end, *(max(since_s, from_s) for from_s, _ in case.left_out[place : place + 1])])
    # What is answered there may be the PS_RDY of another contract: VBUS has moved before it.
    answers = case.once(_unasked)
    place = bisect_right(answers, since_s + timers.RECEIVE.max_s)
    return min([end, *(max(since_s, t - timers.PS_TRANSITION_EPR.max_s) for t in answers[place : place + 1])])


def _unasked(case: Case) -> list[float]:
    """When something was answered that the capture does not show, in order."""
    return sorted(case.conversation.orphans)


def offer_uncertain(case: Case, made: Negotiation | None) -> bool:
    """True where packets are missing before the request or the PS_RDY, so that they may not belong together."""
    return made is not None and case.once_for(_offer_uncertain, made)


def _offer_uncertain(case: Case, made: Negotiation) -> bool:
    offer, request, ready = made.offer, made.request, made.ready
    if offer is None or request is None or ready is None:
        return False
    if case.unreadable_between(offer.settled_s + timers.RECEIVE.max_s, request.start_s):
        return True
    if case.numbers_missing_between(request.start_s, ready.start_s):
        return True
    moments = case.once(_doubtful_moments)
    place = bisect_right(moments, request.start_s)
    if place < len(moments) and moments[place] < ready.start_s:
        return True
    # A PS_RDY that comes later than any device waits for it belongs to something else.
    since = made.answer.settled_s if made.answer is not None else request.settled_s
    return ready.start_s - since > _READY_AT_MOST_S


def _doubtful_moments(case: Case) -> list[float]:
    talk = case.conversation
    return sorted([*talk.orphans, *(e.start_s for e in talk.exchanges if e.name in _MOVES_VBUS)])


def swapped_before(case: Case, time_s: float) -> bool:
    """True where the power roles may have been swapped before that moment: another port feeds VBUS then."""
    swaps = case.once(_swaps)
    return bool(swaps) and swaps[0] < time_s


def _swaps(case: Case) -> list[float]:
    return [e.start_s for e in case.conversation.exchanges if e.name in POWER_SWAPS]


# -- levels -----------------------------------------------------------------------------------------------


def bounds_mv(contract: Contract, drop_mv: float | None = None) -> tuple[float, float] | None:
    """The levels in mV between which VBUS counts as delivered at the probe; None where they are not known.

    vSrcNew around the contract's level, half a volt of vSrcValid above, the cable's loss below, and the meter.

    :param drop_mv: what the cable may lose; None for the most that it may lose at the current asked for.
    """
    low_pct, high_pct = vbus_levels.SRC_NEW.least, vbus_levels.SRC_NEW.most
    valid = vbus_levels.SRC_VALID.most * 1e3
    low, high = contract.voltage_mv, contract.voltage_mv
    if contract.kind in ("variable", "battery"):
        low, high = contract.min_voltage_mv, contract.max_voltage_mv
    if low is None or high is None:
        return None
    drop = drop_mv
    if drop is None:
        # The device draws no more than it asked for; a bad contact's share is allowed for whatever it draws.
        amps = contract.current_ma / 1e3 * _DRAWS_SHARE if contract.current_ma is not None else None
        drop = max(cable_drop_mv(amps), _CONTACTS_MV)
    return (
        low * (1 + low_pct / 100) * (1 - METER_SHARE) - drop, high * (1 + high_pct / 100) * (1 + METER_SHARE) + valid,
    )


def cable_drop_mv(amps: float | None = None) -> float:
    """What cable and contacts may lose between charger and probe at a current (None: at any), in mV."""
    most = 1e3 * vbus_levels.CABLE_DROP_V
    # The limits hold at the cable's full current; an unmarked cable carries 3 A.
    full_a = vbus_levels.UNMARKED_CABLE.most / 1e3
    return most if amps is None else min(most, most * max(amps, 0.0) / full_a + _METER_OHMS_MV)


def reference_v(case: Case) -> float | None:
    """What VBUS reads while the first offer that led to a contract is made; None where that is not shown."""
    return case.once(_reference_v)


def _reference_v(case: Case) -> float | None:
    made = next((n for n in case.conversation.negotiations if n.ready is not None and n.request is not None), None)
    if case.vbus is None or made is None or made.request is None:
        return None
    first = made.offers[0].start_s if made.offers else made.request.start_s
    seen = case.vbus.during(max(0.0, first - 5e-3), max(first, 1e-3))
    return seen.typical if seen is not None else None


def scale_is_good(case: Case) -> bool:
    """True where VBUS reads about vSafe5V while the first offer that led to a contract is on the table, and never
    reads well below zero for long."""
    level = reference_v(case)
    if level is None or case.once(_below_zero):
        return False
    low = vbus_levels.SAFE_5V.least - cable_drop_mv() / 1e3
    return low <= level <= vbus_levels.SAFE_5V.most + 0.1


def _below_zero(case: Case) -> bool:
    if case.vbus is None:
        return False
    low = outside(case.vbus, 0.0, case.conversation.duration_s, low=_BELOW_ZERO_V)
    return any(s.length_s > _BELOW_ZERO_S for s in low)


def probe_bounds_v(case: Case, contract: Contract) -> tuple[float, float] | None:
    """The bounds in volts as this capture's column may read them: a scale that is a little off shows at 5 V already."""
    return case.once_for(_probe_bounds_v, contract)


def _probe_bounds_v(case: Case, contract: Contract) -> tuple[float, float] | None:
    bounds = bounds_mv(contract)
    if bounds is None:
        return None
    low, high = bounds[0] / 1e3, bounds[1] / 1e3
    level = reference_v(case)
    if level is None or not scale_is_good(case):
        return low, high
    scale = level / FIVE_V
    return min(low, low * scale), max(high, high * scale)


def clips(case: Case, level: Span, start_s: float, end_s: float) -> bool:
    """True where the column stands still at its highest value as a probe does at the end of its scale: it is noisy
    elsewhere, or the value is one at which inputs end, to which VBUS has risen and beyond which it never goes."""
    line = case.vbus
    if line is None:
        return False
    top = highest(line)
    if top is None or level.high < top - _SAME_V:
        return False
    leaves = outside(line, start_s, end_s, low=level.typical - _SAME_V, bridge_s=0.0)
    end_s = leaves[0].start_s if leaves else end_s
    if end_s <= start_s or changes(line, start_s, end_s) > 1:
        return False
    offered = [e.start_s for e in case.conversation.exchanges if e.name in OFFERS]
    until = (offered[0] if offered else start_s, start_s)
    noise = max(_noise_rate(line, one) for one in until)
    round_top = _is_round(top) and abs(level.typical - top) <= _ROUND_TO_V
    if round_top:
        # One that ends at 5 V shows its noise only while VBUS is off.
        noise = max(noise, _noise_while_off(line, start_s))
    if noise * (end_s - start_s) >= _NOISE_EXPECTED:
        return True
    # Where the column shows no noise anywhere, a charger that gets half way looks the same but for the number.
    before = reference_v(case)
    at_an_end = round_top and min(abs(top - end) for end in _ENDS_V) <= _ROUND_TO_V
    return at_an_end and before is not None and top > before + _RISEN_V


def _is_round(value: float) -> bool:
    return abs(value - _ROUND_V * round(value / _ROUND_V)) <= _ROUND_TO_V


def _noise_while_off(line: AnalogLine, end_s: float) -> float:
    """How often a second the line turns while VBUS is off, before it comes; 0 where that is not shown."""
    on = outside(line, 0.0, end_s, high=_OFF_V)
    off_s = on[0].start_s if on else 0.0
    return reversals(line, 0.0, off_s, _SAME_V) / off_s if off_s >= _OFF_LOOK_S else 0.0


def _noise_rate(line: AnalogLine, end_s: float) -> float:
    """How often a second the line turns, in most of the time before: not in packets or ramps alone."""
    part = end_s / _PARTS
    if part <= 0:
        return 0.0
    return sorted(reversals(line, n * part, (n + 1) * part, _SAME_V) for n in range(_PARTS))[_PARTS // 2] / part


# -- how far the columns are trusted in time --------------------------------------------------------------


def lasting_s(resolution: float | None, least_s: float) -> float:
    """How long (seconds) something must last before such a meter proves it, ``least_s`` with the fastest."""
    return max(least_s, _UPDATES * (_UNKNOWN_RESOLUTION_S if resolution is None else resolution))
