"""The cover for the customer: what was found, what was done, that it charges now, in everyday words.

Why it is: whoever owns the device has paid for an answer and speaks no protocol. Nothing is promised here that the
capture does not show: an agreement on power is called just that, and charging only where current was seen.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.conversation.model import Step
from pdcheck.report.as_text import UNHEARD, deciding
from pdcheck.report.model import Report
from pdcheck.rules import Who
from pdcheck.rules.delivery import Delivered
from pdcheck.rules.drawn import CHARGES_A
from pdcheck.verdict import Outcome, StepState

_LOOK_S = 0.5

_STEPS = {
    Step.ATTACH: "Charger and device are connected",
    Step.OFFER: "The charger says what it can give",
    Step.OFFER_ACKNOWLEDGED: "The device hears it",
    Step.REQUEST: "The device says what it wants",
    Step.ACCEPT: "The charger agrees",
    Step.READY: "The charger says: here it comes",
    Step.DELIVERY: "The agreed voltage arrives",
}
_UNHEARD = {
    Step.REQUEST: "The charger hears what the device wants",
    Step.ACCEPT: "The device hears that the charger agrees",
    Step.READY: "The device hears that the power is there",
}
_STATES = {StepState.REACHED: "yes", StepState.NOT_REACHED: "no", StepState.NOT_JUDGED: "not measured"}
_MARKS = {StepState.REACHED: "yes", StepState.NOT_REACHED: "no", StepState.NOT_JUDGED: "unknown"}

_WHERE = {
    Who.SOURCE: "The missing turn was the charger's. That points to the charger or to what connects it, not to your "
                "device.",
    Who.SINK: "The missing turn was your device's. Where in the device has to be measured before anything is "
              "replaced.",
    Who.CABLE: "The missing turn was the cable's.",
    Who.LINK: "The two could not understand each other through the connection between them: cable, plug or socket. "
              "Neither charger nor device can be blamed by this.",
    Who.CAPTURE: "This measurement cannot tell; it has to be taken again.",
}
_STOPPED = {
    Step.ATTACH: "Charger and device did not find each other.",
    Step.OFFER: "The charger did not say what it can give.",
    Step.OFFER_ACKNOWLEDGED: "The charger said what it can give, and got no proper reply.",
    Step.REQUEST: "The charger said what it can give, and the device's wish did not come through.",
    Step.ACCEPT: "The device said what it wants, and the charger did not agree.",
    Step.READY: "The charger agreed to give what the device wants, and then did not.",
    Step.DELIVERY: "The two agreed, but the agreed voltage did not arrive.",
}


@dataclass(frozen=True)
class CoverStep:
    """One line of the list: words, state in a word, and the mark for it."""

    words: str
    state: str
    mark: str


@dataclass(frozen=True)
class Cover:
    """What the cover says."""

    mark: str
    headline: str
    found: tuple[str, ...]
    steps: tuple[CoverStep, ...]
    done: tuple[str, ...]
    now: str
    shop: str | None
    about: str | None
    number: str | None


def cover(
    report: Report, shop: str | None, done: str | None, checksum: str | None, about: str | None = None,
) -> Cover:
    """The cover of a report.

    :param about: which device it is about, in the shop's words.
    :param done: what was done, in the shop's words; a line a paragraph.
    :param checksum: of the capture file; its first digits are the report's number.
    """
    verdict = report.verdict
    mark = {Outcome.PASS: "yes", Outcome.FAIL: "no"}.get(verdict.outcome, "unknown")
    stopped = verdict.stopped_at
    steps = tuple(
        CoverStep(
            _UNHEARD[s.step] if UNHEARD.get(deciding(verdict) or "") is s.step else _STEPS[s.step], _STATES[s.state],
            "after" if s.state is StepState.NOT_REACHED and s.step is not stopped else _MARKS[s.state],
        )
        for s in verdict.steps
    )
    if verdict.outcome is Outcome.INCONCLUSIVE:
        steps = ()
    return Cover(
        mark, _headline(report), tuple(_found(report)), steps,
        tuple(line.strip() for line in (done or "").splitlines() if line.strip()),
        _now(report), shop or None, about or None, checksum[:12] if checksum else None,
    )


def _headline(report: Report) -> str:
    outcome = report.verdict.outcome
    if outcome is Outcome.PASS:
        return "It charges" if _drawn_a(report) > CHARGES_A else "Charger and device agree on power"
    if outcome is Outcome.FAIL:
        if report.verdict.stopped_at is Step.DELIVERY:
            return "The agreed voltage does not arrive"
        if report.verdict.stopped_at is None:
            return "The agreement on power does not last"
        return "Charger and device do not come to terms"
    return "Not settled yet"


def _found(report: Report) -> list[str]:
    verdict = report.verdict
    said = [
        "Before a device charges quickly, it and the charger come to terms over the cable in less than a second: how "
        "many volts, how many amps. We recorded that talk and looked at every step of it."
    ]
    if verdict.outcome is Outcome.PASS:
        said.append(f"Every step went through. {_agreed(report)}")
    elif verdict.outcome is Outcome.FAIL:
        stop = verdict.stopped_at
        said.append(_STOPPED[stop] if stop is not None else "The two came to terms, and the agreement did not last.")
        if verdict.suspect is not None:
            said.append(_WHERE[verdict.suspect])
    else:
        said.append("This recording does not show enough to tell what is wrong. Nothing is blamed on a guess.")
    return said


def _agreed(report: Report) -> str:
    contract, delivery = report.verdict.contract, report.verdict.delivery
    if contract is None:
        return ""
    parts = []
    if contract.voltage_mv is not None:
        parts.append(f"{contract.voltage_mv / 1000:g} volts")
    if contract.current_ma is not None:
        parts.append(f"up to {contract.current_ma / 1000:g} amps")
    if contract.power_mw is not None:
        parts.append(f"up to {contract.power_mw / 1000:g} watts")
    said = f"They agreed on {' and '.join(parts)}." if parts else "They agreed."
    if delivery.state is Delivered.YES and delivery.level is not None:
        said += f" At the plug we measured {delivery.level.typical:.1f} volts."
    return said


def _now(report: Report) -> str:
    verdict = report.verdict
    if verdict.outcome is Outcome.PASS:
        drawn = _drawn_a(report)
        if drawn > CHARGES_A:
            return f"It charges now: in our test it drew {drawn:.1f} amps."
        if drawn > 0:
            return (
                f"Charger and device agree on power now. In our test the device drew {drawn:.2f} amps; a full battery "
                "draws little, and an empty one that draws little is not cured yet."
            )
        return (
            "Charger and device agree on power now, which is what charging needs. How much the device draws was not "
            "measured."
        )
    if verdict.outcome is Outcome.FAIL:
        return "In this recording it does not charge as it should."
    return "Whether it charges as it should is not settled by this recording."


def _drawn_a(report: Report) -> float:
    """What the device drew at the end of the recording, in amps; 0 where current was not measured."""
    end = report.conversation.duration_s
    for line in report.reading.capture.lines:
        if isinstance(line, AnalogLine) and line.role is Role.CURRENT and line.unit == "A":
            seen = line.during(max(0.0, end - _LOOK_S), end)
            return seen.typical if seen is not None else 0.0
    return 0.0
