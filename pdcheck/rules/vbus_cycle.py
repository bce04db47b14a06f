"""Rules on VBUS around plugging in and around a Hard Reset: off in time, off long enough, on again, then the offer.

Why it is: after a Hard Reset the device waits for VBUS to go and come back. A charger that does not let it go leaves
the device where it was, and one that does not bring it back ends charging for good.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pdcheck.capture.levels import outside
from pdcheck.conversation.model import Party, Reset
from pdcheck.conversation.names import OFFERS
from pdcheck.rules import measure_next as todo
from pdcheck.rules.held import swapped_before
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.words import span
from pdcheck.standard import timers, vbus_levels

_REF = "USB PD, section 7.1.5 (response to Hard Reset) and 6.6 (tPSHardReset, tSafe0V, tSrcRecover, tSrcTurnOn)"
#: A meter slower than this may miss that VBUS was off at all. Our own choice.
_FINE_S = 0.1
#: Slack of every limit here: meters, and where exactly a slow edge crosses a level. Our own choice.
_SLACK_S = 0.1
#: VBUS counts as off below vSafe0V and this; as on above this much. Our own choice, between vSafe0V and vSafe5V.
_OFF_V = vbus_levels.SAFE_0V.most + 0.3
_ON_V = 4.0
#: A lithium cell that feeds back through the device stands below this (common practice, no source).
_CELL_V = 4.5
_HEARD_S = 3.0
#: VBUS has begun to fall when it is so far below where it was; a meter this fine can say when. Our own choice.
_FALLEN_V = 0.4
_EXACT_S = 20e-3
_LEAST_OFF_S = 20e-3
_BACK_AT_MOST_S = timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s + timers.SRC_TURN_ON.max_s
#: The first offer may be so late before it is worth a word. Our own choice.
_OFFER_SLACK_S = 0.1


@dataclass(frozen=True)
class _Cycle:
    """A Hard Reset with VBUS on before it, and the time (seconds) until the next reset or the capture's end."""

    reset: Reset
    start_s: float
    until_s: float
    ends_in_reset: bool
    before_v: float


def _cycles(case: Case) -> Iterator[_Cycle]:
    talk = case.conversation
    if case.vbus is None or case.vbus_resolution_s is None or case.vbus_resolution_s > _FINE_S:
        return
    resets = talk.hard_resets
    for place, reset in enumerate(resets):
        last = place + 1 == len(resets)
        until = talk.duration_s if last else resets[place + 1].start_s
        before = case.vbus.during(max(0.0, reset.start_s - 20e-3), reset.start_s)
        # After a swap of the power roles it is not certain who feeds VBUS after a reset.
        if before is None or before.low < _ON_V or swapped_before(case, reset.start_s):
            continue
        yield _Cycle(reset, reset.packet.end_s, until, not last, before.typical)


def _epr(case: Case) -> bool:
    return any(e.name in ("EPR_Mode", "EPR_Request") for e in case.conversation.exchanges)


def _heard(case: Case, cycle: _Cycle) -> bool:
    """True where the charger is known to have taken the reset: it sent it, or it begins anew after it."""
    if cycle.reset.sender is Party.SOURCE:
        return True
    return any(
        e.name in OFFERS and e.sender is Party.SOURCE and cycle.start_s < e.start_s < cycle.start_s + _HEARD_S
        for e in case.conversation.exchanges
    )


@rule(
    id="vbus-stays-after-reset", family="resets", severity=Severity.WARN,
    title="VBUS stays on after a Hard Reset",
    checks="After a Hard Reset VBUS falls to vSafe0V within tPSHardReset and tSafe0V.",
    why="The device takes VBUS that stays for a charger that has not heard the reset. It may never start anew.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def vbus_stays_after_reset(case: Case) -> Iterator[Claim]:
    due = timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s + _SLACK_S
    for cycle in _cycles(case):
        if case.vbus is None or cycle.start_s + due > cycle.until_s:
            continue
        seen = case.vbus.during(cycle.start_s, cycle.start_s + due)
        if seen is not None and seen.low > max(_CELL_V, 0.85 * min(cycle.before_v, 5.0)) and _heard(case, cycle):
            yield Claim(
                Who.SOURCE, cycle.start_s,
                f"VBUS never fell below {seen.low:.2f} V in the {span(due)} after a Hard Reset (off within "
                f"{timers.SAFE_0V.max:g} ms is due), unless the probe sits at another supply.",
            )
            return


@rule(
    id="vbus-held-after-reset", family="resets", severity=Severity.INFO,
    title="Something holds VBUS up after a Hard Reset",
    checks="A VBUS that neither falls to vSafe0V nor stays where it was, or stays without a sign that the charger "
    "heard.",
    why="The charger may not have heard the reset; a device whose battery feeds back into VBUS looks like this as "
    "well.",
    reference=_REF, next=(todo.CHARGER_ALONE,),
)
def vbus_held_after_reset(case: Case) -> Iterator[Claim]:
    if any(True for _ in vbus_stays_after_reset.run(case)):
        return
    due = timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s + _SLACK_S
    for cycle in _cycles(case):
        if case.vbus is None or cycle.start_s + due > cycle.until_s:
            continue
        seen = case.vbus.during(cycle.start_s, cycle.start_s + due)
        if seen is not None and seen.low > _OFF_V:
            yield Claim(
                None, cycle.start_s,
                f"VBUS did not fall below {seen.low:.2f} V in the {span(due)} after a Hard Reset. The charger did not "
                f"hear it, discharges slowly, or something else feeds VBUS; this capture cannot tell.",
            )
            return


@rule(
    id="vbus-back-too-soon", family="resets", severity=Severity.WARN,
    title="VBUS comes back too soon after a Hard Reset",
    checks="After a Hard Reset VBUS stays off for tSrcRecover.",
    why="The device may not have noticed that VBUS was off, and then does not start anew.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def vbus_back_too_soon(case: Case) -> Iterator[Claim]:
    least = timers.PS_HARD_RESET.min_s + timers.SRC_RECOVER_SPR.min_s - _SLACK_S
    for cycle in _cycles(case):
        if case.vbus is None:
            return
        off = outside(case.vbus, cycle.start_s, cycle.until_s, low=_ON_V)
        if not off or off[0].end_s >= cycle.until_s - 5e-3 or off[0].length_s < _LEAST_OFF_S:
            continue
        seen = case.vbus.during(off[0].start_s, off[0].end_s)
        took = off[0].end_s - cycle.start_s
        # A meter that reads seldom shows both edges late by as much as its pace.
        if seen is not None and seen.low < _OFF_V and took < least - (case.vbus_resolution_s or 0.0):
            yield Claim(
                Who.SOURCE, off[0].end_s,
                f"VBUS was back {span(took)} after a Hard Reset; the charger keeps it off for at least "
                f"{timers.SRC_RECOVER_SPR.min:g} ms.",
            )
            return


@rule(
    id="vbus-falls-late", family="resets", severity=Severity.WARN,
    title="VBUS begins to fall late after a Hard Reset",
    checks="After a Hard Reset that the charger sent or answered, VBUS begins to fall within tPSHardReset.",
    why="The two ends start anew at different times and may miss each other.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def vbus_falls_late(case: Case) -> Iterator[Claim]:
    fine = case.vbus_resolution_s
    for cycle in _cycles(case):
        if case.vbus is None or fine is None or fine > _EXACT_S:
            return
        off = [
            s for s in outside(case.vbus, cycle.start_s, cycle.until_s, low=cycle.before_v - _FALLEN_V)
            if s.length_s >= _LEAST_OFF_S
        ]
        late = timers.PS_HARD_RESET.max_s + _SLACK_S + 2 * fine
        due = timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s + _SLACK_S
        if off and late < off[0].start_s - cycle.start_s < due and _heard(case, cycle):
            yield Claim(
                Who.SOURCE, off[0].start_s,
                f"VBUS began to fall {span(off[0].start_s - cycle.start_s)} after a Hard Reset "
                f"({timers.PS_HARD_RESET.words()} are due).",
            )
            return


@rule(
    id="vbus-back-late", family="resets", severity=Severity.INFO,
    title="VBUS comes back late after a Hard Reset",
    checks="VBUS is on again within tSafe0V, tSrcRecover and tSrcTurnOn.",
    why="The device waits longer than it should have to; a plug that was pulled and put back looks the same.",
    reference=_REF, next=(todo.CAPTURE_AGAIN,),
)
def vbus_back_late(case: Case) -> Iterator[Claim]:
    recover = timers.SRC_RECOVER_EPR if _epr(case) else timers.SRC_RECOVER_SPR
    for cycle in _cycles(case):
        if case.vbus is None:
            return
        off = outside(case.vbus, cycle.start_s, cycle.until_s, low=_ON_V)
        took = off[0].end_s - cycle.start_s if off else 0.0
        if off and off[0].end_s < cycle.until_s and took > _BACK_AT_MOST_S + recover.max_s + _SLACK_S:
            yield Claim(
                None, off[0].end_s,
                f"VBUS was back only {span(took)} after a Hard Reset: a slow charger, or the plug was out meanwhile.",
            )
            return


@rule(
    id="vbus-not-back", family="resets", severity=Severity.FAIL,
    title="VBUS does not come back after a Hard Reset",
    checks="After a Hard Reset VBUS is on again within tSrcRecover and tSrcTurnOn, where later traffic shows the plug "
    "in.",
    why="Without VBUS nothing charges and nothing can be negotiated.",
    reference=_REF, next=todo.SOURCE_NO_POWER,
)
def vbus_not_back(case: Case) -> Iterator[Claim]:
    found = _missing(case)
    if found is None or case.conversation.standing is not None:
        return
    cycle, missing_s = found
    if _joined_after(case, cycle):
        yield Claim(
            Who.SOURCE, cycle.reset.start_s,
            f"VBUS stays off for {span(missing_s)} after a Hard Reset although both ends go on talking: the plug is "
            f"in.",
        )


@rule(
    id="vbus-gone-after-reset", family="resets", severity=Severity.INFO,
    title="VBUS does not come back after a Hard Reset, and nothing is said any more",
    checks="As vbus-not-back, with silence after the reset.",
    why="The plug may have been pulled just then; was it not, the charger has switched off for good.",
    reference=_REF, next=(todo.CAPTURE_AGAIN, todo.OTHER_CHARGER),
)
def vbus_gone_after_reset(case: Case) -> Iterator[Claim]:
    found = _missing(case)
    if found is not None and not _joined_after(case, found[0]):
        yield Claim(
            None, found[0].start_s,
            f"VBUS stays off for {span(found[1])} after a Hard Reset, to the end of the capture: the plug was pulled, "
            f"or the charger does not come back. This capture cannot tell which.",
        )


def _missing(case: Case) -> tuple[_Cycle, float] | None:
    """The last reset, where VBUS stays off after it beyond every limit, and for how long."""
    cycles = list(_cycles(case))
    if not cycles or cycles[-1].ends_in_reset or case.vbus is None:
        return None
    cycle = cycles[-1]
    recover = timers.SRC_RECOVER_EPR if _epr(case) else timers.SRC_RECOVER_SPR
    if cycle.until_s - cycle.start_s < _BACK_AT_MOST_S + recover.max_s + 2 * _SLACK_S:
        return None
    off = outside(case.vbus, cycle.start_s, cycle.until_s, low=_ON_V)
    if not off or off[-1].end_s < cycle.until_s or off[-1].start_s > cycle.start_s + _BACK_AT_MOST_S:
        return None
    return cycle, off[-1].length_s


def _joined_after(case: Case, cycle: _Cycle) -> bool:
    """True where an acknowledged message shows the plug in while VBUS should long have been back."""
    late = cycle.start_s + timers.PS_HARD_RESET.max_s + timers.SAFE_0V.max_s
    return any(e.acknowledged_s is not None and e.start_s > late for e in case.conversation.exchanges)


@rule(
    id="first-offer-late", family="offer", severity=Severity.WARN,
    title="The first offer comes late",
    checks="The first Source_Capabilities comes within tFirstSourceCap of VBUS, where the capture shows VBUS come and "
    "nothing was said before.",
    why="A device that waits no longer than it must resets first, or settles for charging without USB PD.",
    reference="USB PD, section 6.6 (tFirstSourceCap)", next=(todo.OTHER_CHARGER,),
)
def first_offer_late(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    if case.vbus is None or not talk.transmissions or case.vbus_resolution_s is None:
        return
    first = talk.transmissions[0]
    offer = talk.exchanges[0] if talk.exchanges else None
    if offer is None or offer.name not in OFFERS or offer.start_s > first.packet.start_s:
        return
    if case.unreadable_between(0.0, offer.start_s):
        return
    off = outside(case.vbus, 0.0, offer.start_s, low=_ON_V)
    if not off or off[-1].end_s >= offer.start_s or off[-1].length_s < _LEAST_OFF_S:
        return
    seen = case.vbus.during(off[-1].start_s, off[-1].end_s)
    waited = offer.start_s - off[-1].end_s
    limit = timers.FIRST_SOURCE_CAP.max_s
    if seen is not None and seen.low < _OFF_V and waited > limit + _OFFER_SLACK_S + case.vbus_resolution_s:
        yield Claim(
            Who.SOURCE, offer.start_s,
            f"The first offer came {span(waited)} after VBUS (at most {timers.FIRST_SOURCE_CAP.max:g} ms are allowed).",
        )


RULES: tuple[Rule, ...] = (
    vbus_stays_after_reset, vbus_held_after_reset, vbus_falls_late, vbus_back_too_soon, vbus_back_late,
    vbus_not_back, vbus_gone_after_reset,
    first_offer_late,
)
