"""Rules on a contract that did not last.

Why it is: a device that negotiates and loses its contract charges for a moment and stops; the ammeter alone cannot
tell that from one that never negotiated.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from pdcheck.capture.levels import outside
from pdcheck.capture.model import Span
from pdcheck.conversation.model import Contract, Party
from pdcheck.conversation.names import ANSWERS, POWER_SWAPS, REQUESTS
from pdcheck.rules import measure_next as todo
from pdcheck.rules.epr import forgotten
from pdcheck.rules.held import FINE_S, SETTLE_S, bounds_mv
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.pending import Pending, pending_at
from pdcheck.rules.resets import LOOP, silent_charger
from pdcheck.rules.words import count, span, times
from pdcheck.standard import timers, vbus_levels

#: After a Hard Reset the next offer may take: VBUS falling, staying off, coming back, the first offer.
_RECOVERY_S = (
    timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s + timers.SRC_RECOVER_SPR.max_s + timers.SRC_TURN_ON.max_s
    + timers.FIRST_SOURCE_CAP.max_s
)
#: One that stands for so many times as long as the longest of the lost ones, and so long (seconds), is no part of the
#: loop. Our own choice.
_OUTLASTS, _OUTLASTS_S = 3.0, 2.0
#: From one Request to the next lie the answer and PS_RDY as well. Our own choice.
_PPS_LATE_S = timers.PPS_REQUEST.max_s + 0.5


def not_renewed(case: Case, contract: Contract) -> float | None:
    """For how long a programmable contract had gone without a Request when a reset ended it; None where
    that is not why it ended, or where a Request may have been made that the capture does not show."""
    if contract.kind not in ("spr_pps", "spr_avs") or contract.ended_by is None:
        return None
    silent = contract.ended_by.start_s - contract.renewed_s[-1]
    if silent < timers.PPS_TIMEOUT.min_s - 0.2 or contract.ended_by.sender is Party.SINK:
        return None
    unread = case.unreadable_between(contract.renewed_s[-1] + 1.0, contract.ended_by.start_s - 5e-3)
    return None if unread else silent


@rule(
    id="pps-not-renewed", family="keep-alive", severity=Severity.FAIL,
    title="The device does not renew its programmable contract in time",
    checks="In a PPS contract the sink repeats its Request within tPPSRequest; without one the source resets after "
    "tPPSTimeout.",
    why="The charger takes the silence for a device that has crashed, resets, and charging breaks off after seconds. "
    "What runs the charging in the device (processor or charger chip) stops answering once charging has begun.",
    reference="USB PD, section 6.6.22 (PPS timers: tPPSRequest, tPPSTimeout)", next=todo.SINK_DEAF_LOGIC,
)
def pps_not_renewed(case: Case) -> Iterator[Claim]:
    for contract in case.conversation.contracts:
        silent = not_renewed(case, contract)
        if silent is None or contract.ended_by is None:
            continue
        yield Claim(
            Who.SINK, contract.ended_by.start_s,
            f"The device did not renew its PPS contract for {span(silent)} (at most {timers.PPS_REQUEST.max:g} s are "
            f"allowed); the charger reset.",
        )
        return


def _renewals(case: Case) -> Iterator[tuple[float, float]]:
    """From each Request under a programmable contract to the next one, for whatever that asks."""
    contracts = case.conversation.contracts
    for place, one in enumerate(contracts):
        if one.kind == "spr_pps":
            follows = contracts[place + 1].renewed_s[:1] if one.ended_by is None and contracts[place + 1 :] else ()
            yield from pairwise((*one.renewed_s, *follows))


def _never_again(case: Case) -> float | None:
    """For how long the programmable contract in force has gone without a Request when the capture ends; None where
    the plug may have been pulled."""
    standing = case.conversation.standing
    if standing is None or standing.kind != "spr_pps" or not case.plugged_in_at_end:
        return None
    since, until = standing.renewed_s[-1], case.conversation.duration_s
    return None if case.unreadable_between(max(since + 1e-3, until - _PPS_LATE_S), until) else until - since


@rule(
    id="pps-renewed-late", family="keep-alive", severity=Severity.WARN,
    title="The device renews its programmable contract late",
    checks="In a PPS contract no more than tPPSRequest (10 s) pass between two Requests, or after the last one while "
    "VBUS shows the plug in.",
    why="From 12 s on the charger may reset. It goes well with a patient charger only.",
    reference="USB PD, section 6.6.22 (PPS timers: tPPSRequest, tPPSTimeout)", next=todo.SINK_DEAF_LOGIC,
)
def pps_renewed_late(case: Case) -> Iterator[Claim]:
    late = [
        (before, after) for before, after in _renewals(case)
        if after - before > _PPS_LATE_S and not case.unreadable_between(after - _PPS_LATE_S, after - 1e-3)
    ]
    if late:
        before, after = max(late, key=lambda pair: pair[1] - pair[0])
        yield Claim(
            Who.SINK, after,
            f"The device renewed its PPS contract after {span(after - before)} (at most {timers.PPS_REQUEST.max:g} s "
            f"are allowed), {times(len(late))}.",
        )
        return
    waited = _never_again(case)
    if waited is not None and waited > _PPS_LATE_S:
        yield Claim(
            Who.SINK, case.conversation.duration_s,
            f"The device did not renew its PPS contract in the last {span(waited)} of the capture (at most "
            f"{timers.PPS_REQUEST.max:g} s are allowed); the charger puts up with it.",
        )


@rule(
    id="contract-lost", family="resets", severity=Severity.FAIL,
    title="A contract was reached and then lost in a reset",
    checks="No Hard Reset ends a contract for good.",
    why="Charging started and stopped. What caused the reset is not on the CC line: look at VBUS and current at that "
    "moment.",
    reference="USB PD, section 6.8.3 (Hard Reset)", next=todo.SOURCE_NO_POWER,
)
def contract_lost(case: Case) -> Iterator[Claim]:
    contracts = case.conversation.contracts
    lost = [c for c in contracts if c.ended_by is not None]
    if not lost or case.stop is not None or _explained(case):
        return
    last = lost[-1]
    assert last.ended_by is not None
    cause = pending_at(case, last.ended_by)
    by = {Party.SOURCE: " sent by the charger", Party.SINK: " sent by the device"}.get(last.ended_by.sender, "")
    held = f"A contract held for {span(last.ended_by.start_s - last.since_s)} and ended in a Hard Reset{by}"
    if cause is not None:
        held += f", after {cause.words}{_power_words(case, last, cause)}"
    if case.conversation.standing is not None and (len(lost) < LOOP or _outlasts(case, lost)):
        return
    again = _same_cause(case, lost) if case.conversation.standing is None else None
    if again is not None:
        yield Claim(
            _one_party(case, lost), last.ended_by.start_s, f"{held}; that happened {times(len(lost))}.",
            stops_at=again.stops_at,
        )
        return
    if len(lost) >= LOOP:
        # Whether or not another one follows, none of them lasts.
        yield Claim(_one_party(case, lost), last.ended_by.start_s, f"{held}; that happened {times(len(lost))}.")
        return
    if _talk_after(case, last.ended_by.start_s):
        yield Claim(
            None, last.ended_by.start_s,
            f"{held}; what was said after it is not all in the capture, so a new one may have been made.",
            effect=Effect.WITHHOLDS, next=(todo.CAPTURE_AGAIN,),
        )
        return
    reset_s, end_s = last.ended_by.start_s, case.conversation.duration_s
    left = end_s - reset_s
    # The charger asks the cable first, some 20 times where that does not answer.
    to_cable = [e.settled_s for e in case.conversation.exchanges if e.sop.to_cable and e.start_s > reset_s]
    if end_s - max([reset_s, *to_cable]) < _RECOVERY_S:
        yield Claim(
            None, last.ended_by.start_s,
            f"{held}; the capture ends {span(left)} later, before a new one could be made.",
            effect=Effect.WITHHOLDS, next=(todo.CAPTURE_AGAIN,),
        )
        return
    yield Claim(_named(case, last, cause), last.ended_by.start_s, f"{held}; no new one was made.")


def _outlasts(case: Case, lost: list[Contract]) -> bool:
    """True where the contract that stands has stood for much longer than any of the lost ones did."""
    standing = case.conversation.standing
    held = [c.ended_by.start_s - c.since_s for c in lost if c.ended_by is not None]
    if standing is None:
        return False
    return _stands_until(case, standing) - standing.since_s > max(_OUTLASTS_S, _OUTLASTS * max(held))


def _stands_until(case: Case, standing: Contract) -> float:
    """The moment (seconds) up to which a contract is seen to stand: to the end of the capture, or until VBUS goes."""
    until = case.conversation.duration_s
    if case.vbus is None:
        return until
    gone = outside(case.vbus, standing.since_s, until, low=vbus_levels.SAFE_0V.most)
    return gone[0].start_s if gone else until


def _talk_after(case: Case, since_s: float) -> bool:
    """True where requests or answers after that moment show a negotiation of which parts are missing."""
    names = (*REQUESTS, *ANSWERS, "PS_RDY")
    return any(e.start_s > since_s and e.name in names for e in case.conversation.exchanges) or any(
        t > since_s + timers.RECEIVE.max_s for t in case.gaps
    )


def _causes(case: Case, lost: list[Contract]) -> list[Pending | None]:
    """What each of the resets was the answer to."""
    return [pending_at(case, c.ended_by) for c in lost]


def _same_cause(case: Case, lost: list[Contract]) -> Pending | None:
    """The cause of the last reset, where two contracts or more ended for the same reason; None otherwise."""
    causes = _causes(case, lost)
    last = causes[-1]
    if last is None or len(causes) < 2:
        return None
    alike = [c is not None and (c.who, c.stops_at) == (last.who, last.stops_at) for c in causes]
    return last if all(alike) else None


def _one_party(case: Case, lost: list[Contract]) -> Who | None:
    """Who caused every one of the resets; None where that is not one party, or not known of one of them."""
    named = {_named(case, one, cause) for one, cause in zip(lost, _causes(case, lost), strict=True)}
    return named.pop() if len(named) == 1 else None


def _named(case: Case, lost: Contract, cause: Pending | None) -> Who | None:
    """Who can be accused of a cause. A device that hears nothing any more may have lost its power: it is accused of
    that only where VBUS is seen to have held."""
    if cause is None:
        return None
    if cause.grave or cause.who is not Who.SINK:
        return cause.who
    seen, bounds = _vbus_under(case, lost), bounds_mv(lost)
    return cause.who if seen is not None and bounds is not None and seen.low * 1e3 >= bounds[0] else None


def _vbus_under(case: Case, lost: Contract) -> Span | None:
    """VBUS from a contract's beginning to its reset; None where that is not shown, or by a meter that is slow."""
    fine = case.vbus_resolution_s
    if case.vbus is None or fine is None or fine > FINE_S or lost.ended_by is None:
        return None
    return case.vbus.during(lost.since_s + SETTLE_S, lost.ended_by.start_s)


def _power_words(case: Case, lost: Contract, cause: Pending) -> str:
    if cause.grave or cause.who is not Who.SINK or _named(case, lost, cause) is not None:
        return ""
    seen, bounds = _vbus_under(case, lost), bounds_mv(lost)
    if seen is None or bounds is None:
        return " (it may have had no power: VBUS is not shown well enough to tell)"
    return f" (VBUS had fallen to {max(seen.low, 0.0):.2f} V by then)"


def _explained(case: Case) -> bool:
    """True where a rule of its own says why a contract was lost."""
    return any(not_renewed(case, c) is not None for c in case.conversation.contracts) or (
        forgotten(case) is not None or silent_charger(case) is not None
    )


@rule(
    id="contract-regained", family="resets", severity=Severity.INFO,
    title="A contract was lost in a reset and made again",
    checks="Hard Resets during a contract after which negotiation succeeded.",
    why="Charging was interrupted. Once is usual when a device starts up on the charger; repeated it is a fault.",
    reference="USB PD, section 6.8.3 (Hard Reset)", next=(todo.VBUS_LOAD,),
)
def contract_regained(case: Case) -> Iterator[Claim]:
    lost = [c for c in case.conversation.contracts if c.ended_by is not None]
    if case.conversation.standing is None or not lost or (len(lost) >= LOOP and not _outlasts(case, lost)):
        return
    if _explained(case):
        return
    assert lost[-1].ended_by is not None
    cause = pending_at(case, lost[-1].ended_by)
    after = f" after {cause.words}" if cause is not None else ""
    yield Claim(
        _named(case, lost[-1], cause), lost[-1].ended_by.start_s,
        f"{count(len(lost), 'contract')} ended in a Hard Reset{after}; the last one stands.",
        severity=Severity.WARN if cause is not None and cause.grave else None,
    )


@rule(
    id="contract-made-anew", family="resets", severity=Severity.INFO,
    title="Everything begins anew again and again without a reset",
    checks="Three contracts or more after each of which the source begins anew (an offer with MessageID 0 after a "
    "pause) with no reset in between, where the last one is not seen to stand for longer than they did.",
    why="Somebody pulls the plug and puts it back, or one side loses its power under load and starts up anew: then "
    "charging never lasts, though each negotiation succeeds. CC alone shows both alike.",
    reference="USB PD, section 6.7.1 (MessageIDCounter)",
    next=(
        "Plug in once, leave the plug alone for half a minute, and capture that. Begins anew all the same: something "
        "loses its power.",
        todo.VBUS_LOAD, todo.OTHER_CHARGER, todo.VBUS_SHORT,
    ),
)
def contract_made_anew(case: Case) -> Iterator[Claim]:
    standing = case.conversation.standing
    if standing is None:
        return
    swaps = [e.start_s for e in case.conversation.exchanges if e.name in POWER_SWAPS]
    rounds = []
    for one, after in pairwise(case.conversation.contracts):
        broke_off = one.ended_s is not None and one.ended_s < after.since_s and one.ended_by is None
        if broke_off and not any(one.since_s < t < after.since_s for t in swaps):
            rounds.append(after.since_s - one.since_s)
    if len(rounds) < LOOP or _stands_until(case, standing) - standing.since_s > max(rounds):
        return
    yield Claim(
        None, standing.since_s,
        f"Contracts are made, and {times(len(rounds))} everything begins anew without a reset, every "
        f"{span(sum(rounds) / len(rounds))} on average: the plug was pulled and put back, or one side loses its power. "
        "This capture cannot tell which.",
        effect=Effect.UNSETTLES,
    )


RULES: tuple[Rule, ...] = (pps_not_renewed, pps_renewed_late, contract_lost, contract_regained, contract_made_anew)
