"""From steps and findings to the verdict: pass, fail or inconclusive, where, whose, what next.

Why it is: there is one accusation in a report. A cause explains its consequences; the first cause is named, and where
the capture cannot tell nobody is. Who accuses, and who takes it back, in the order of the argument:

1. A rule accuses: a finding that convicts. A rule that knows a reason why the capture may lack the missing move
   (``case.unreadable_between``) keeps silent instead, or withholds: a finding that says why nobody can tell.
2. Two CC columns that contradict each other acquit everybody (``rules/both_ways.py``).
3. A single try that failed, with something unread after it (``case.overtaken``), and tries of which each lacks packets
   (``case.tainted``), acquit of everything but a missing offer and undelivered power.
4. The earliest of what convicts is the verdict. Else a contract that stands at the end is a pass, unless a finding
   unsettles it; else the capture cannot tell, for the reason that the first withholding finding gives.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum

from pdcheck.conversation.model import Contract, Step
from pdcheck.conversation.steps import Reached, steps_of
from pdcheck.rules import Case, Effect, Finding, Who, check_all
from pdcheck.rules.advertisement import attached_since
from pdcheck.rules.both_ways import both_ways
from pdcheck.rules.delivery import Delivered, Delivery
from pdcheck.rules.drawn import charging_a
from pdcheck.rules.words import amps, volts


class Outcome(StrEnum):
    """The verdict."""

    PASS = "pass"
    FAIL = "fail"
    INCONCLUSIVE = "inconclusive"


class StepState(StrEnum):
    """What is known of a step."""

    REACHED = "reached"
    NOT_REACHED = "not_reached"
    NOT_JUDGED = "not_judged"


@dataclass(frozen=True)
class StepResult:
    """One rung of the ladder; ``t_s`` in seconds where it was reached inside the capture."""

    step: Step
    state: StepState
    t_s: float | None


@dataclass(frozen=True)
class Verdict:
    """The end of the argument. ``leading`` is the finding that decided it, None for a plain pass."""

    outcome: Outcome
    stopped_at: Step | None
    suspect: Who | None
    summary: str
    steps: tuple[StepResult, ...]
    contract: Contract | None
    delivery: Delivery
    leading: Finding | None
    findings: tuple[Finding, ...]
    next: tuple[str, ...]


def judge_case(case: Case) -> Verdict:
    """The verdict on a case."""
    findings = check_all(case)
    delivery = case.delivery
    convicting = [f for f in findings if f.effect is Effect.CONVICTS]
    if both_ways(case) is not None:
        # What goes through on one contact and not on the other is nobody's fault who serves both.
        convicting = []
        findings = [f for f in findings if f.effect is not Effect.CONVICTS]
    elif case.overtaken or case.tainted:
        convicting = [f for f in convicting if f.stops_at is None or f.stops_at in (Step.OFFER, Step.DELIVERY)]
        findings = [f for f in findings if f.effect is not Effect.CONVICTS or f in convicting]
    withholding = [f for f in findings if f.effect in _WITHHOLDING]
    unsettled = any(f.effect is Effect.UNSETTLES for f in withholding)
    leading: Finding | None = None
    if convicting:
        leading = min(convicting, key=_when)
        outcome = Outcome.FAIL
    elif case.conversation.standing is not None and case.stop is None and not unsettled:
        outcome = Outcome.PASS
    else:
        leading = min(withholding, key=lambda f: f.effect is not Effect.UNSETTLES, default=None)
        outcome = Outcome.INCONCLUSIVE
    if outcome is not Outcome.INCONCLUSIVE:
        findings = [f for f in findings if f.effect not in _WITHHOLDING]
    elif leading is not None:
        findings = [f for f in findings if f is leading or f.effect not in _WITHHOLDING]
    steps = _ladder(case, delivery, leading)
    stopped_at = _stopped_at(outcome, steps, leading)
    if outcome is Outcome.INCONCLUSIVE and (leading is None or leading.who is Who.CAPTURE):
        steps = _as_far_as_seen(steps)
    contract = case.conversation.contracts[-1] if case.conversation.contracts else None
    return Verdict(
        outcome=outcome,
        stopped_at=stopped_at,
        suspect=_suspect(outcome, leading),
        summary=_summary(outcome, contract, delivery, leading),
        steps=steps,
        contract=contract,
        delivery=delivery,
        leading=leading,
        findings=tuple(sorted(findings, key=lambda f: (f is not leading, f.severity.rank, _when(f)))),
        next=leading.next if leading is not None else _next_for_pass(case),
    )


_WITHHOLDING = (Effect.WITHHOLDS, Effect.UNSETTLES)


def _when(finding: Finding) -> float:
    return finding.t_s if finding.t_s is not None else float("inf")


def _ladder(case: Case, delivery: Delivery, leading: Finding | None) -> tuple[StepResult, ...]:
    reached: dict[Step, Reached] = {r.step: r for r in steps_of(case.conversation)}
    joined_s = attached_since(case) if Step.ATTACH not in reached else None
    if joined_s is not None:
        reached[Step.ATTACH] = Reached(Step.ATTACH, joined_s)
    stopped = leading.stops_at if leading is not None else None
    results = []
    missing = False
    for step in Step:
        if step is Step.DELIVERY:
            state = {
                Delivered.YES: StepState.REACHED, Delivered.NO: StepState.NOT_REACHED,
                Delivered.NOT_JUDGED: StepState.NOT_JUDGED,
            }[delivery.state]
            results.append(StepResult(step, StepState.NOT_JUDGED if missing else state, delivery.t_s))
            continue
        found = reached.get(step)
        if found is not None and (stopped is None or step.rank < stopped.rank):
            results.append(StepResult(step, StepState.REACHED, found.t_s))
        elif case.stop is not None or stopped is not None:
            # After the first missing step the rest was not reached either.
            missing = True
            results.append(StepResult(step, StepState.NOT_REACHED, None))
        else:
            missing = True
            results.append(StepResult(step, StepState.NOT_JUDGED, None))
    return tuple(results)


def _as_far_as_seen(steps: tuple[StepResult, ...]) -> tuple[StepResult, ...]:
    """The ladder of a capture that cannot tell: what it does not show may have happened all the same."""
    return tuple(
        replace(s, state=StepState.NOT_JUDGED) if s.state is StepState.NOT_REACHED else s for s in steps
    )


def _stopped_at(outcome: Outcome, steps: tuple[StepResult, ...], leading: Finding | None) -> Step | None:
    if outcome is Outcome.PASS:
        return None
    if leading is not None and leading.stops_at is not None:
        return leading.stops_at
    return next((s.step for s in steps if s.state is StepState.NOT_REACHED), None)


def _suspect(outcome: Outcome, leading: Finding | None) -> Who | None:
    return None if outcome is Outcome.PASS or leading is None else leading.who


def contract_words(contract: Contract) -> str:
    """A contract in a few words: ``"9 V, 2.25 A"``."""
    if contract.kind in ("variable", "battery") and contract.min_voltage_mv is not None:
        low, high = contract.min_voltage_mv, contract.max_voltage_mv or 0
        level = f"{volts(low).removesuffix(' V')} to {volts(high)}"
    else:
        level = volts(contract.voltage_mv) if contract.voltage_mv is not None else "an unknown voltage"
    if contract.power_mw is not None:
        return f"{level}, {contract.power_mw / 1000:.3g} W"
    return f"{level}, {amps(contract.current_ma)}" if contract.current_ma is not None else level


def _summary(outcome: Outcome, contract: Contract | None, delivery: Delivery, leading: Finding | None) -> str:
    if leading is not None:
        return leading.summary
    if outcome is Outcome.PASS and contract is not None:
        if delivery.state is Delivered.YES and delivery.level is not None:
            seen = f" and VBUS reads {delivery.level.typical:.2f} V"
        elif delivery.doubts_column:
            # A column is there, and whoever looks at it must not take it for the truth.
            seen = f"; VBUS was not judged: {delivery.reason}"
        else:
            seen = "; VBUS was not judged"
        return f"Negotiation went through: the device has a contract for {contract_words(contract)}{seen}."
    return "The capture does not show enough to tell."


def _next_for_pass(case: Case) -> tuple[str, ...]:
    advice = []
    if case.vbus is None:
        advice.append("Measure VBUS at the port under load: it should be at the contract's voltage.")
    drawn = charging_a(case)
    if drawn is not None:
        advice.append(
            f"It charges in this capture: {drawn:.2f} A at its end. If it still fails at times: turn the plug over, "
            "move it gently, let the device get warm, use the owner's own charger and cable, and capture again."
        )
        return tuple(advice)
    advice.append(
        "Still not charging? Port contacts, CC path and negotiating chip have done their part. Measure the input "
        "current; if it stays at some 20 to 40 mA (common practice, no source), look behind them: VBUS switch, charger "
        "stage, battery and its sensor."
    )
    return tuple(advice)
