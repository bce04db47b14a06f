"""Rules on role swaps: power, VCONN, data.

Why it is: a tablet that could feed a stick or be fed swaps roles with its partner; where one side agrees and then does
not do its part, both stand without power.

Source and sink are those before the swap.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass

from pdcheck.conversation.model import Exchange, Party
from pdcheck.conversation.names import OFFERS, POWER_SWAPS
from pdcheck.conversation.questions import Ended
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, rule
from pdcheck.rules.words import NAME, party_of, span
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop

_REF = "USB PD, sections 6.3.9 to 6.3.11 (swaps), 6.6.8 and 6.6.9 (tPSSourceOff, tPSSourceOn, tVCONNSourceOn)"
_SLACK_S = 20e-3


@dataclass(frozen=True)
class _Swap:
    """An accepted swap and what followed: PS_RDYs in their order, and what ended the wait for the next one."""

    asked: Exchange
    accepted: Exchange
    ready: tuple[Exchange, ...]
    until_s: float
    by_reset: bool
    by_end: bool


def _accepted(case: Case, name: str) -> Iterator[_Swap]:
    talk = case.conversation
    for one in case.questions:
        if one.asked.name != name or one.ended is not Ended.ANSWER or one.then is None or one.then.name != "Accept":
            continue
        if one.then.acknowledged_s is None:
            continue
        place = talk.exchanges.index(one.then)
        resets = [r.start_s for r in talk.hard_resets if r.start_s > one.then.start_s]
        reset = resets[0] if resets else None
        ready: list[Exchange] = []
        until, ended = talk.duration_s, False
        for later in talk.exchanges[place + 1 :]:
            if later.sop is not Sop.SOP or (reset is not None and later.start_s > reset):
                continue
            if later.name != "PS_RDY":
                until, ended = later.start_s, True
                break
            ready.append(later)
        by_reset = reset is not None and reset < until
        if by_reset:
            assert reset is not None
            until = reset
        yield _Swap(one.asked, one.then, tuple(ready), until, by_reset, not ended and not by_reset)


def _proven(case: Case, swap: _Swap, since_s: float, at_least_s: float) -> bool:
    """True where a wait for a hand-over is long enough, clean, and not just the plug being pulled."""
    if swap.until_s - since_s < at_least_s or case.unreadable_between(since_s, swap.until_s - 1e-6):
        return False
    return swap.by_reset or not swap.by_end or case.plugged_in_at_end


@rule(
    id="power-swap-unfinished", family="roles", severity=Severity.FAIL,
    title="A power role swap is agreed and not carried out",
    checks="After an accepted PR_Swap (or FR_Swap) the source turns VBUS off and says PS_RDY (within tPSSourceOff), "
    "then the new source turns it on and says PS_RDY (within tPSSourceOn).",
    why="The contract ended with the agreement. Without the hand-over nobody feeds anybody.",
    reference=_REF, next=(todo.OTHER_CHARGER, todo.VBUS_LOAD, todo.CHIP_BUS),
)
def power_swap_unfinished(case: Case) -> Iterator[Claim]:
    for swap in (swap for name in POWER_SWAPS for swap in _accepted(case, name)):
        # The asker's bits still name the roles before the swap.
        if len(swap.ready) == 0:
            who, since, least = Party.SOURCE, swap.accepted.settled_s, timers.PS_SOURCE_OFF.min_s
        elif len(swap.ready) == 1:
            who, since, least = Party.SINK, swap.ready[0].settled_s, timers.PS_SOURCE_ON.min_s
        else:
            continue
        if _proven(case, swap, since, least - _SLACK_S):
            role = "source" if who is Party.SOURCE else "new source"
            yield Claim(
                party_of(who), since,
                f"{NAME[who]}, as the {role} of an accepted {swap.asked.name}, sent no PS_RDY for "
                f"{span(swap.until_s - since)}.",
                severity=None if case.conversation.standing is None else Severity.WARN,
            )
            return


@rule(
    id="vconn-swap-unfinished", family="roles", severity=Severity.WARN,
    title="A VCONN swap is agreed and not carried out",
    checks="After an accepted VCONN_Swap the new source of VCONN says PS_RDY within tVCONNSourceOn (100 ms).",
    why="The other side resets after 100 to 200 ms, and a contract is lost.",
    reference=_REF, next=(todo.OTHER_CHARGER, todo.CHIP_BUS),
)
def vconn_swap_unfinished(case: Case) -> Iterator[Claim]:
    giver, since_reset = Party.SOURCE, 0
    hard = [r.start_s for r in case.conversation.hard_resets]
    for swap in _accepted(case, "VCONN_Swap"):
        resets = bisect_left(hard, swap.asked.start_s)
        if resets != since_reset:
            # After a Hard Reset VCONN comes from the source again.
            giver, since_reset = Party.SOURCE, resets
        taker = giver.other
        if swap.ready:
            giver = taker
            continue
        since = swap.accepted.settled_s
        least = timers.VCONN_SOURCE_TIMEOUT.min_s if swap.by_reset else timers.VCONN_SOURCE_TIMEOUT.max_s
        if _proven(case, swap, since, least - 2e-3):
            yield Claim(
                party_of(taker), since,
                f"{NAME[taker]}, as the new source of VCONN, sent no PS_RDY for {span(swap.until_s - since)} after the "
                "accepted VCONN_Swap.",
                severity=Severity.FAIL if swap.by_reset and case.conversation.standing is None else None,
            )
            return


@rule(
    id="data-roles-clash", family="roles", severity=Severity.WARN,
    title="Both ports claim the same data role",
    checks="One port is DFP and the other UFP; an accepted DR_Swap changes both.",
    why="The standard asks for error recovery: charging breaks off and begins anew.",
    reference="USB PD, section 6.2.1.1.6 (port data role)", next=(todo.OTHER_CHARGER,),
)
def data_roles_clash(case: Case) -> Iterator[Claim]:
    if case.gaps:
        # The swap may be what the capture does not show.
        return
    agreed = [
        q.then.start_s for q in case.questions
        if q.asked.name == "DR_Swap" and q.then is not None and q.then.name == "Accept"
    ]
    before: dict[Party, int] = {}
    role: dict[Party, int] = {}
    swaps = 0
    for one in case.conversation.exchanges:
        if one.sop is not Sop.SOP or one.sender is Party.UNKNOWN:
            continue
        if one.name in (*POWER_SWAPS, "Data_Reset") or any(
            r.start_s < one.start_s for r in case.conversation.resets
        ):
            return
        if one.name in OFFERS and one.message.header.message_id == 0:
            # It may be another plugging-in, after which the source is DFP again.
            before, role = {}, {}
        passed = bisect_left(agreed, one.start_s)
        if passed != swaps:
            swaps, before, role = passed, role, {}
        role[one.sender] = one.message.header.data_role
        if len(role) == 2 and len(set(role.values())) == 1:
            stuck = [p for p, r in role.items() if before.get(p) == r]
            if len(stuck) == 1:
                yield Claim(
                    party_of(stuck[0]), one.start_s,
                    f"{NAME[stuck[0]]} goes on with its old data role after an accepted DR_Swap.",
                )
            else:
                yield Claim(
                    None, one.start_s, "Charger and device claim the same data role.", severity=Severity.INFO
                )
            return


RULES: tuple[Rule, ...] = (power_swap_unfinished, vconn_swap_unfinished, data_roles_clash)
