"""What a judged capture says of the blocks.

Why it is: whose move was missing is not yet which part is bad. What a capture clears is as much worth as what it
points at, and a capture that cannot tell points at nothing.
"""

from __future__ import annotations

from pdcheck.conversation.model import Step
from pdcheck.rules import Case, Finding, Who
from pdcheck.rules.delivery import Delivered
from pdcheck.rules.drawn import charging_a
from pdcheck.triage.currents import contract_with_current
from pdcheck.triage.model import Block, Evidence, Source, Strength
from pdcheck.verdict import Outcome, StepState, Verdict, contract_words

#: A device takes its time from the contract to its full current. Our own choice: seconds after PS_RDY from which a
#: current may be called too small, and how long it must have been seen.
_RAMP_S = 1.0
_LEAST_LOOK_S = 0.5

_CAPTURED = frozenset({"capture"})
_DEVICE_TALK = frozenset({Block.CHIP, Block.CHIP_SUPPLY})
_WIRE = frozenset({Block.CABLE, Block.PORT, Block.CC_PATH})
_POWER = frozenset({Block.CHARGER, Block.CABLE, Block.PORT, Block.VBUS_SWITCH})

#: What each deciding finding points at: every block that alone would explain it.
RULES_THAT_POINT: dict[str, frozenset[Block]] = {
    "offer-not-acknowledged": frozenset({Block.PORT, Block.CC_PATH}) | _DEVICE_TALK,
    "offers-corrupt": _WIRE | {Block.CHARGER},
    "request-not-acknowledged": frozenset({Block.CHARGER, Block.CABLE}),
    "no-ps-rdy": frozenset({Block.CHARGER, Block.VBUS_SWITCH, Block.CABLE, Block.PORT}),
    "vbus-not-at-contract": _POWER,
    "vbus-sags": _POWER,
    "vbus-collapses": _POWER | {Block.CHARGER_STAGE, Block.BATTERY},
    "contract-lost": _POWER | {Block.CHARGER_STAGE, Block.BATTERY},
    "overdraw-ends-contract": frozenset({Block.VBUS_SWITCH, Block.CHARGER_STAGE, Block.BATTERY}),
    "ps-rdy-not-acknowledged": _DEVICE_TALK | {Block.VBUS_SWITCH},
    "pps-not-renewed": _DEVICE_TALK | {Block.CHARGER_STAGE},
    "epr-not-kept-alive": _DEVICE_TALK | {Block.CHARGER_STAGE},
    "given-up-early": frozenset({Block.CHARGER}) | _DEVICE_TALK | {Block.VBUS_SWITCH},
}
_POINTS_AT_PARTY: dict[Who, frozenset[Block]] = {
    Who.SINK: _DEVICE_TALK,
    Who.SOURCE: frozenset({Block.CHARGER}),
    Who.CABLE: frozenset({Block.CABLE}),
    Who.LINK: _WIRE,
}


def capture_evidence(case: Case, verdict: Verdict) -> tuple[Evidence, ...]:
    """The evidence in a judged capture; empty where it shows nothing."""
    found: list[Evidence] = []
    pointed = _pointing(verdict)
    suspects = pointed.suspects if pointed is not None else frozenset()
    for one in _clearing(verdict):
        left = one.clears - suspects
        if left:
            found.append(Evidence(one.source, one.text, clears=left, done=one.done))
    if pointed is not None:
        found.append(pointed)
    drawn = _current(case, verdict)
    if drawn is not None:
        found.append(drawn)
    return tuple(found)


def _clearing(verdict: Verdict) -> list[Evidence]:
    """What must have worked for the steps that were reached."""
    reached = {s.step for s in verdict.steps if s.state is StepState.REACHED}
    if verdict.contract is not None:
        # One of an earlier try: the ladder shows the last.
        reached |= {Step.OFFER_ACKNOWLEDGED, Step.REQUEST}
    found: list[Evidence] = []

    def clear(text: str, *blocks: Block, done: frozenset[str] = _CAPTURED) -> None:
        found.append(Evidence(Source.CAPTURE, text, clears=frozenset(blocks), done=done))

    if verdict.contract is not None:
        words = contract_words(verdict.contract)
        clear(
            f"a contract for {words} was reached, with the plug this way round",
            Block.PORT, Block.CC_PATH, Block.CHIP, Block.CHIP_SUPPLY,
        )
    elif Step.REQUEST in reached:
        clear(
            "the device heard the offer and asked, with the plug this way round",
            Block.PORT, Block.CC_PATH, Block.CHIP, Block.CHIP_SUPPLY,
        )
    elif Step.OFFER_ACKNOWLEDGED in reached:
        clear("the device acknowledged an offer, with the plug this way round", Block.PORT, Block.CC_PATH)
    rule = verdict.leading.rule if verdict.leading is not None else ""
    if rule == "goodcrc-wrong-message-id":
        clear("the device hears and answers, with the plug this way round", Block.PORT, Block.CC_PATH)
    elif rule == "request-not-acknowledged":
        clear("the device decided and asked", Block.CHIP_SUPPLY)
    if verdict.delivery.state is Delivered.YES and verdict.delivery.level is not None:
        clear(
            f"VBUS reads {verdict.delivery.level.typical:.2f} V as the contract says", Block.CHARGER, Block.CABLE,
            done=_CAPTURED | {"vbus", "vbus_ohms"},
        )
    elif verdict.outcome is Outcome.FAIL and verdict.suspect is Who.SINK and Step.OFFER in reached:
        clear("the charger saw the device and made its offer", Block.CHARGER)
    return found


def _pointing(verdict: Verdict) -> Evidence | None:
    """What the deciding finding points at; None where nothing was decided."""
    lead: Finding | None = verdict.leading
    if verdict.outcome is not Outcome.FAIL or lead is None:
        return None
    blocks = points_at(lead.rule, lead.who)
    if not blocks:
        return None
    text = lead.summary.rstrip(".")
    if text.startswith(("The ", "A ")):
        text = text[0].lower() + text[1:]
    return Evidence(
        Source.CAPTURE, f"{text} [{lead.rule}]", suspects=blocks, strength=Strength.POINTS,
        done=_CAPTURED | ({"vbus"} if verdict.delivery.state is Delivered.NO else set()),
    )


def points_at(rule: str, who: Who | None) -> frozenset[Block] | None:
    """The blocks that alone would explain a deciding finding; None where it names nobody and points at nothing."""
    blocks = RULES_THAT_POINT.get(rule)
    return _POINTS_AT_PARTY.get(who) if blocks is None and who is not None else blocks


def _current(case: Case, verdict: Verdict) -> Evidence | None:
    contract = verdict.contract
    if case.current is None or contract is None or verdict.outcome is not Outcome.PASS:
        return None
    charges = charging_a(case)
    if charges is not None:
        return contract_with_current(Source.CAPTURE, contract_words(contract), charges * 1e3)
    end = case.conversation.duration_s
    start = contract.since_s + _RAMP_S
    if end - start < _LEAST_LOOK_S:
        return None
    drawn = case.current.during(start, end)
    if drawn is None:
        return None
    # Some probes read a current that flows into the device as negative.
    return contract_with_current(Source.CAPTURE, contract_words(contract), abs(drawn.typical) * 1e3)
