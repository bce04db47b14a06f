"""Rules on the source's answer and its promise that the supply is ready.

Why it is: after an acknowledged Request the next two moves are the charger's.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator

from pdcheck.conversation.follow import contract_of
from pdcheck.conversation.model import Ending, Negotiation, Party, Step
from pdcheck.conversation.names import LONG_REQUEST
from pdcheck.conversation.steps import due_from
from pdcheck.rules import measure_next as todo
from pdcheck.rules.drawn import trips
from pdcheck.rules.granted import came_all_the_same, unseen
from pdcheck.rules.late import late_requests, since_offer
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.request import GIVES_UP_S, MUST_HAVE_S, NOT_READY_S, READY_SLACK_S, faults_of, too_high_a_maximum
from pdcheck.rules.words import count, request_object, span, times
from pdcheck.standard import timers
from pdcheck.standard.limit import Limit
from pdcheck.standard.offers import FIRST_OBJECT_MV

_REF_ANSWER = "USB PD, section 6.6.2 (tSenderResponse, tReceiverResponse) and 8.3.3.3 (sink policy engine)"
_REF_READY = "USB PD, section 6.6.3 (PSTransitionTimer, tPSTransition)"
_REF_REJECT = "USB PD, section 6.3.4 (Reject message) and 6.4.2 (Request message)"
_RESETS = (Ending.HARD_RESET, Ending.SOFT_RESET)
#: So many Waits in a row without a contract are a refusal. Our own choice.
_ENDLESS_WAITS = 4


def _request_is_valid(one: Negotiation) -> bool:
    return one.requested is not None and one.offer is not None and not faults_of(one)


@rule(
    id="request-not-answered", family="answer", severity=Severity.FAIL,
    title="The charger acknowledges the request but never answers it",
    checks="After its GoodCRC for a Request the source answers within tReceiverResponse; the sink waits "
    "tSenderResponse for it.",
    why="The device resets when no answer comes. The charger's receiver works, what decides in it does not.",
    reference=_REF_ANSWER, next=todo.SOURCE_SILENT,
)
def request_not_answered(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT or late_requests(case):
        return
    silent = []
    repeats = {e.start_s for e in case.reused}
    for one in stop.alike:
        if one.answer is not None or not _request_is_valid(one):
            continue
        if one.request is not None and one.request.start_s in repeats:
            continue
        since = since_offer(one)
        if since is not None and since > timers.SENDER_RESPONSE_R2_0.min_s:
            # It may have met a source that had given up, though the capture shows no reset.
            continue
        if one.ending is Ending.CAPTURE_END and not case.plugged_in_at_end:
            continue
        due = due_from(one, Step.ACCEPT)
        waited = one.next_s - due
        if waited >= (GIVES_UP_S if one.ending in _RESETS else MUST_HAVE_S) and not case.unreadable_between(
            due, min(one.next_s, due + MUST_HAVE_S)
        ):
            silent.append((due, waited))
    if not silent:
        return
    there_v = came_all_the_same(case, stop.negotiation) if len(silent) == 1 else None
    if there_v is not None:
        yield unseen(
            silent[0][0], Step.ACCEPT,
            f"The charger acknowledged the Request and no answer is in the capture; but VBUS reads {there_v:.2f} V as "
            f"asked for, and the device, which owes a reset, sends none in {span(silent[0][1])}: the answer may have "
            "been sent where the capture has a hole.",
        )
        return
    yield Claim(
        Who.SOURCE, silent[-1][0],
        f"The charger acknowledged the Request {times(len(silent))} and then sent neither Accept nor Reject "
        f"for up to {span(max(w for _, w in silent))} (at most {timers.RECEIVER_RESPONSE.max:g} ms are allowed).",
        stops_at=Step.ACCEPT,
    )


@rule(
    id="valid-request-rejected", family="answer", severity=Severity.FAIL,
    title="The charger refuses a request for something that it offered",
    checks="A Request for an offered object, within what that object offers, is accepted (or put off with Wait).",
    why="The charger goes back on its offer: overheated, overloaded by another port, or faulty. The device did right.",
    reference=_REF_REJECT, next=todo.SOURCE_SILENT,
)
def valid_request_rejected(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT or stop.negotiation.ending is not Ending.REJECT:
        return
    one = stop.negotiation
    if one.answer is None or one.requested is None or not _request_is_valid(one) or too_high_a_maximum(one):
        return
    refused = sum(n.ending is Ending.REJECT for n in stop.alike)
    yield Claim(
        Who.SOURCE, one.answer.start_s,
        f"The charger refused a Request that its own offer allows ({request_object(one.requested)}), "
        f"{times(refused)}.",
        stops_at=Step.ACCEPT,
    )


@rule(
    id="endless-wait", family="answer", severity=Severity.INFO,
    title="The charger puts the device off again and again",
    checks="How often the source answers Wait without ever accepting.",
    why="Wait may be said as often as it must; who hears nothing else never charges. Often a charger whose other "
    "ports take its power. Nobody has broken the standard.",
    reference="USB PD, section 6.3.12 (Wait message)", next=todo.SOURCE_SILENT,
)
def endless_wait(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT:
        return
    waits = [n for n in stop.alike if n.ending is Ending.WAIT and _request_is_valid(n)]
    if len(waits) < _ENDLESS_WAITS or stop.negotiation.ending not in (Ending.WAIT, Ending.CAPTURE_END):
        return
    yield Claim(
        None, waits[0].next_s, f"The charger answered {len(waits)} Requests with Wait and accepted none.",
        stops_at=Step.ACCEPT, effect=Effect.WITHHOLDS,
    )


@rule(
    id="no-ps-rdy", family="answer", severity=Severity.FAIL,
    title="The charger accepts but never says that the supply is ready",
    checks="After Accept the source sends PS_RDY within tPSTransition.",
    why="The charger could not bring its output to the promised voltage, or noticed a fault on the way. The device "
    "must not draw power before PS_RDY and resets when it does not come.",
    reference=_REF_READY, next=todo.SOURCE_NO_POWER,
)
def no_ps_rdy(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.READY:
        return
    silent = []
    there_v: float | None = None
    for one in stop.alike:
        if one.ready is not None or trips(case, one) is not None:
            continue
        limit = _transition(one).max_s
        if one.ending is Ending.CAPTURE_END and not case.plugged_in_at_end:
            continue
        due = due_from(one, Step.READY)
        waited = one.next_s - due
        by_source = one.reset is not None and one.reset.sender is Party.SOURCE
        enough = NOT_READY_S if one.ending in _RESETS else limit + READY_SLACK_S
        if (waited >= enough or by_source) and not case.unreadable_between(due, min(one.next_s - 1e-3, due + limit)):
            silent.append((due, waited))
            there_v = came_all_the_same(case, one)
    if not silent:
        return
    if there_v is not None and len(silent) == 1:
        yield unseen(
            silent[0][0], Step.READY,
            f"The charger accepted and no PS_RDY is in the capture; but VBUS reads {there_v:.2f} V as asked for, and "
            f"the device, which owes a reset after {_transition(stop.negotiation).words()}, sends none in "
            f"{span(silent[0][1])}: it may have been sent where the capture has a hole.",
        )
        return
    yield Claim(
        Who.SOURCE, silent[-1][0],
        f"The charger accepted {times(len(silent))} and then sent no PS_RDY for up to "
        f"{span(max(w for _, w in silent))} (the device waits {_transition(stop.negotiation).words()} for it).",
        stops_at=Step.READY,
    )


def _transition(one: Negotiation) -> Limit:
    epr = one.request is not None and one.request.name == LONG_REQUEST
    return timers.PS_TRANSITION_EPR if epr else timers.PS_TRANSITION_SPR


@rule(
    id="invalid-request-accepted", family="answer", severity=Severity.WARN,
    title="The charger accepts a request for what it did not offer",
    checks="A Request that goes beyond the offer is refused.",
    why="What such a contract is worth nobody knows: the charger may give what was asked, what it offered, or nothing.",
    reference=_REF_REJECT, next=(todo.OTHER_CHARGER, todo.VBUS_LOAD),
)
def invalid_request_accepted(case: Case) -> Iterator[Claim]:
    for one in case.conversation.negotiations:
        if one.accepted and one.answer is not None and faults_of(one) and case.offer_is_certain(one):
            yield Claim(Who.SOURCE, one.answer.start_s, "The charger accepted a Request that goes beyond its offer.")
            return


def _transitions(case: Case) -> Iterator[tuple[Negotiation, float]]:
    """Every accepted try that became ready, and the seconds from Accept to PS_RDY."""
    for one in case.conversation.negotiations:
        if one.accepted and one.answer is not None and one.ready is not None and not case.unreadable_between(
            one.answer.settled_s, one.ready.start_s - 1e-6
        ):
            yield one, one.ready.start_s - one.answer.settled_s


@rule(
    id="ps-rdy-early", family="answer", severity=Severity.WARN,
    title="The charger says ready before it can be",
    checks="Between Accept and PS_RDY lie at least tSrcTransition (25 ms) where a fixed supply changes its voltage.",
    why="The device needs that time to lower its draw. One that goes on drawing while VBUS moves may drop out.",
    reference="USB PD, section 7.1.4 and 6.6.3 (tSrcTransition)", next=(todo.OTHER_CHARGER, todo.VBUS_LOAD),
)
def ps_rdy_early(case: Case) -> Iterator[Claim]:
    for one, took in _transitions(case):
        if took >= timers.SRC_TRANSITION.min_s - 1e-3:
            continue
        contract = contract_of(one)
        if contract is not None and contract.kind == "fixed" and contract.voltage_mv != _level_before(case, one):
            assert one.ready is not None
            yield Claim(
                Who.SOURCE, one.ready.start_s,
                f"The charger sent PS_RDY {span(took)} after its Accept; it has to wait "
                f"{timers.SRC_TRANSITION.min:g} ms before it even begins to change the voltage.",
            )
            return


def _level_before(case: Case, one: Negotiation) -> int | None:
    """The voltage in force before a try; that without a contract where there was none. mV."""
    assert one.ready is not None
    contracts = case.conversation.contracts
    place = bisect_left(contracts, one.ready.start_s, key=lambda contract: contract.since_s)
    if place == 0:
        return FIRST_OBJECT_MV
    before = contracts[place - 1]
    in_force = before.ended_by is None or before.ended_by.start_s > one.start_s
    return before.voltage_mv if in_force else FIRST_OBJECT_MV


@rule(
    id="ps-rdy-late", family="answer", severity=Severity.WARN,
    title="The charger says ready later than devices wait",
    checks="PS_RDY follows the Accept before the shortest tPSTransition (450 ms, 830 ms in EPR mode) is over.",
    why="A device may give up from then on and reset. It went well with this one.",
    reference=_REF_READY, next=todo.SOURCE_NO_POWER,
)
def ps_rdy_late(case: Case) -> Iterator[Claim]:
    for one, took in _transitions(case):
        limit = _transition(one)
        if took > limit.min_s + 5e-3:
            assert one.ready is not None
            yield Claim(
                Who.SOURCE, one.ready.start_s,
                f"The charger sent PS_RDY {span(took)} after its Accept (a device waits {limit.words()}).",
            )
            return


@rule(
    id="asked-to-wait", family="answer", severity=Severity.INFO,
    title="The charger asked the device to wait",
    checks="Whether a Request was answered with Wait.",
    why="Allowed: the device asks again after at least tSinkRequest. Worth knowing when charging starts late.",
    reference="USB PD, section 6.3.12 (Wait message)",
)
def asked_to_wait(case: Case) -> Iterator[Claim]:
    waits = [n for n in case.conversation.negotiations if n.ending is Ending.WAIT]
    if waits:
        yield Claim(None, waits[0].next_s, f"The charger answered {count(len(waits), 'Request')} with Wait.")


@rule(
    id="refused-under-contract", family="answer", severity=Severity.INFO,
    title="A request was refused, the earlier or a later contract holds",
    checks="Rejects that did not stop charging.",
    why="The device asked for more or other than it got. Charging goes on, perhaps slower.",
    reference=_REF_REJECT,
)
def refused_under_contract(case: Case) -> Iterator[Claim]:
    if case.stop is not None or case.conversation.standing is None:
        return
    for one in case.conversation.negotiations:
        if one.ending is Ending.REJECT and one.answer is not None:
            yield Claim(None, one.answer.start_s, "The charger refused a Request; a contract holds all the same.")
            return


RULES: tuple[Rule, ...] = (
    request_not_answered, valid_request_rejected, invalid_request_accepted, endless_wait, no_ps_rdy, ps_rdy_early,
    ps_rdy_late, asked_to_wait, refused_under_contract,
)
