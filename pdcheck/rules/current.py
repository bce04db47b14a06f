"""Rules on the current that the device draws.

Why it is: the ammeter is what a technician looks at first. Beside the conversation it tells a charger that gives up
from a device that takes too much, and a device that does not charge from one that was not given anything.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.capture.levels import outside
from pdcheck.conversation.model import Contract, Party, Step
from pdcheck.rules import measure_next as todo
from pdcheck.rules.drawn import contract_limit_a, doubt_about_current, overdraws, trips, trusted_current
from pdcheck.rules.held import FINE_S, FIVE_V, PROGRAMMABLE, Window, lasting_s, offer_uncertain, swapped_before, windows
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.resets import LOOP
from pdcheck.rules.words import span, times
from pdcheck.standard import timers, vbus_levels

_REF_DRAW = "USB PD, section 6.4.2 (Request message, operating current) and 7.2 (sink requirements)"
#: A reset this soon after the device began to take too much, or while it does, has that for a cause. Our own choice.
_CAUSE_S = 0.5
_STANDBY_S = 40e-3
#: Above standby is what lies half above it, and a tenth of an amp for the meter. Our own choice.
_STANDBY_SHARE, _STANDBY_A = 1.5, 0.1
_MOVES_V = 1.0
#: Present but not charging: 20 to 40 mA are common practice (no source); a little more for the meter. Our own choice.
_HARDLY_A = 0.06
_HARDLY_S = 2.0

_BEHIND = (
    "Look behind the port: the switch in VBUS, the charger stage and its enable line, the battery, its connector and "
    "its temperature sensor."
)
_STATE = "Is the battery full, too warm or too cold? Then the device rightly draws nothing."


@rule(
    id="current-doubtful", family="capture", severity=Severity.INFO,
    title="The current column cannot be trusted",
    checks="Whether the current reads below zero or beyond what the connector carries.",
    why="From such a column nothing is judged.",
    reference="our own rule",
    next=("Check the clamp's direction and zero, the shunt's value and the column's unit, and capture again.",),
)
def current_doubtful(case: Case) -> Iterator[Claim]:
    doubt = doubt_about_current(case)
    if doubt is not None:
        yield Claim(Who.CAPTURE, None, f"The current was not judged: {doubt}.")


def _ended_by_overdraw(case: Case, window: Window) -> float | None:
    """The moment at which the device began to take what the charger then reset for; None where it did not."""
    reset = window.contract.ended_by
    if reset is None or reset.sender is Party.SINK or reset.start_s > window.end_s + 1e-3:
        return None
    for over in overdraws(case, window):
        if over.start_s <= reset.start_s <= over.end_s + _CAUSE_S:
            return over.start_s
    return None


def _ended(case: Case) -> list[tuple[Window, float]]:
    """The windows that an overdraw ended, with its beginning; none where all was well again afterwards."""
    found = [(w, at) for w in windows(case) if (at := _ended_by_overdraw(case, w)) is not None]
    return found if case.conversation.standing is None or len(found) >= LOOP else []


def _words(case: Case, window: Window, start_s: float, end_s: float) -> str:
    limit = contract_limit_a(window)
    seen = case.current.during(start_s, end_s) if case.current is not None else None
    if seen is None or limit is None:
        return "more than its contract allows"
    return f"{seen.typical:.2f} A under a contract for {limit:.2f} A"


@rule(
    id="overdraw-ends-contract", family="current", severity=Severity.FAIL,
    title="The device draws more than its contract, and the charger resets",
    checks="Whether a Hard Reset that is not the device's own follows a draw beyond the contract, or one beyond what "
    "any charger gives without a contract between Accept and PS_RDY.",
    why="The charger protects itself and ends the contract. It did right; what draws too much is in the device: a "
    "short or a fault behind the port, or a charger stage that is set wrongly.",
    reference=_REF_DRAW, next=(todo.VBUS_SHORT, todo.OTHER_CHARGER, _BEHIND),
)
def overdraw_ends_contract(case: Case) -> Iterator[Claim]:
    for window, at in _ended(case)[:1]:
        yield Claim(
            Who.SINK, at,
            f"The device draws {_words(case, window, at, window.end_s)}; the charger resets "
            f"{span(max(0.0, window.end_s - at))} later.",
        )
    stop = case.stop
    tripped = [(n, over) for n in stop.alike if (over := trips(case, n)) is not None] if stop is not None else []
    if stop is None or stop.step is not Step.READY or not tripped:
        return
    one, over = tripped[-1]
    seen = case.current.during(over.start_s, over.end_s) if case.current is not None else None
    assert seen is not None and one.answer is not None
    since, until = max(0.0, over.start_s - one.answer.settled_s), max(0.0, one.next_s - over.start_s)
    yield Claim(
        Who.SINK, over.start_s,
        f"The device draws {seen.typical:.2f} A {span(since)} after the Accept, when it should be at standby; the "
        f"charger resets {span(until)} later, {times(len(tripped))}.",
        stops_at=Step.READY,
    )


@rule(
    id="draws-beyond-contract", family="current", severity=Severity.WARN,
    title="The device draws more than its contract allows",
    checks="The current stays within what the Request named, a tenth and a meter's error allowed for; inrush of less "
    "than 0.1 s does not count.",
    why="The charger may switch off at any moment. Many do not, and charging goes on.",
    reference=_REF_DRAW, next=("Check the meter against another one before you suspect the device.", todo.VBUS_SHORT),
)
def draws_beyond_contract(case: Case) -> Iterator[Claim]:
    # What a reset followed is said there.
    said = [window.start_s for window, _ in _ended(case)]
    for window in windows(case):
        if offer_uncertain(case, window.made) or window.start_s in said:
            continue
        for over in overdraws(case, window):
            yield Claim(
                Who.SINK, over.start_s,
                f"The device draws {_words(case, window, over.start_s, over.end_s)}, for {span(over.length_s)}.",
            )
            return


@rule(
    id="draws-in-transition", family="current", severity=Severity.WARN,
    title="The device does not go to standby while VBUS changes",
    checks="Between Accept and PS_RDY, where VBUS goes to another level, the device draws no more than pSnkStdby from "
    "tSnkStdby on; half as much again and a meter's error are allowed for.",
    why="The charger has to change its output under load: VBUS may overshoot or collapse, and the charger may give up.",
    reference="USB PD, section 7.2.3 (sink standby)", next=(todo.OTHER_CHARGER,),
)
def draws_in_transition(case: Case) -> Iterator[Claim]:
    line, fine = trusted_current(case), case.current_resolution_s
    if line is None or fine is None or fine > FINE_S:
        return
    before: Contract | None = None
    for window in windows(case):
        one, new_mv = window.made, window.contract.voltage_mv
        old, before = before if window.made.under_contract else None, window.contract
        # A contract that the capture does not show may have had VBUS elsewhere already.
        if old is None and (one.under_contract or case.unreadable_between(0.0, window.start_s)):
            continue
        old_mv = FIVE_V * 1e3 if old is None else old.voltage_mv
        # Between two levels of a programmable supply nobody has to stop drawing.
        if new_mv is None or old_mv is None or one.answer is None or one.ready is None or (
            old is not None and old.kind in PROGRAMMABLE and window.contract.kind in PROGRAMMABLE
        ):
            continue
        if abs(new_mv - old_mv) < _MOVES_V * 1e3 or offer_uncertain(case, one) or swapped_before(case, window.start_s):
            continue
        start = one.answer.settled_s + timers.SINK_STANDBY.max_s + 2 * fine
        if case.unreadable_between(one.answer.start_s, one.ready.start_s):
            continue
        limit = vbus_levels.SINK_STANDBY.most / (min(new_mv, old_mv) / 1e3)
        found = outside(line, start, one.ready.start_s, high=limit * _STANDBY_SHARE + _STANDBY_A)
        long = [s for s in found if s.length_s >= lasting_s(fine, _STANDBY_S)]
        if long:
            seen = line.during(long[0].start_s, long[0].end_s)
            amps = f"{seen.typical:.2f} A" if seen is not None else "too much"
            yield Claim(
                Who.SINK, long[0].start_s,
                f"The device goes on drawing {amps} for {span(long[0].length_s)} while VBUS goes from "
                f"{old_mv / 1e3:.3g} to {new_mv / 1e3:.3g} V (about {limit:.2g} A are allowed).",
            )
            return


@rule(
    id="hardly-draws", family="current", severity=Severity.INFO,
    title="The device has a contract and hardly draws anything",
    checks="Less than 60 mA for two seconds or more, to the end of the contract.",
    why="20 to 40 mA is what a device takes that is present and does not charge (common practice, no source). The "
    "port, the CC path and the negotiating chip have done their part; look behind them.",
    reference="our own rule", next=(_BEHIND, _STATE),
)
def hardly_draws(case: Case) -> Iterator[Claim]:
    line = trusted_current(case)
    if line is None or not windows(case):
        return
    last = windows(case)[-1]
    if last.contract.ended_s is not None:
        return
    end = last.end_s
    over = outside(line, last.start_s, end, high=_HARDLY_A, bridge_s=0.0)
    since = max([last.start_s, *(s.end_s for s in over if s.length_s > 5e-3)])
    seen = line.during(since, end) if end > since else None
    if seen is not None and end - since > lasting_s(case.current_resolution_s, _HARDLY_S):
        if case.delivery.troubles:
            return
        yield Claim(
            None, since,
            f"The device has a contract and draws {1e3 * max(seen.typical, 0.0):.0f} mA for {span(end - since)}. The "
            f"port, the CC path and the negotiating chip have done their part: look behind them.",
        )


RULES: tuple[Rule, ...] = (
    current_doubtful, overdraw_ends_contract, draws_beyond_contract, draws_in_transition, hardly_draws,
)
