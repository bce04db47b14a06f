"""Rules on the sink's Request.

Why it is: after an acknowledged offer the next move is the device's, and the charger waits only some 27 ms for it.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.conversation.follow import object_at
from pdcheck.conversation.model import Ending, Negotiation, Party, Step
from pdcheck.conversation.names import LONG_REQUEST
from pdcheck.conversation.steps import due_from, received
from pdcheck.messages.model import DataObject
from pdcheck.rules import measure_next as todo
from pdcheck.rules.drawn import trips
from pdcheck.rules.granted import came_all_the_same, unseen
from pdcheck.rules.late import late_requests
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.offer import may_be_refused
from pdcheck.rules.powered import if_powered
from pdcheck.rules.words import NAME, amps, count, party_of, power_object, request_object, span, times, volts
from pdcheck.standard import timers
from pdcheck.standard.offers import SPR_AVS_STEP_MV
from pdcheck.standard.sizes import SPR_PLACES

_REF_WAIT = "USB PD, section 6.6.2 (SenderResponseTimer, tSenderResponse) and 8.3.3.2 (source policy engine)"
_REF_REQUEST = "USB PD, section 6.4.2 (Request message)"
#: A party that gives up may do so from the minimum of its timer on; two milliseconds for when it starts it.
GIVES_UP_S = timers.SENDER_RESPONSE_R2_0.min_s - 2e-3
MUST_HAVE_S = timers.SENDER_RESPONSE_R3_1.max_s + 2e-3
#: The same of the longer wait for PS_RDY, of whose beginning less is known. Our own choice.
READY_SLACK_S = 20e-3
NOT_READY_S = timers.PS_TRANSITION_SPR.min_s - READY_SLACK_S


def _waits(one: Negotiation) -> list[tuple[float, float]]:
    """From each acknowledged offer of a try to what came next: (due from, until)."""
    acked = [o for o in one.offers if received(o)]
    ends = [o.start_s for o in acked[1:]] + [one.next_s]
    return [(o.settled_s, end) for o, end in zip(acked, ends, strict=True)]


@rule(
    id="no-request", family="request", severity=Severity.FAIL,
    title="The device acknowledges the offer but never asks for power",
    checks="After its GoodCRC for Source_Capabilities the sink sends a Request within tReceiverResponse; the source "
    "waits tSenderResponse for it.",
    why="The charger resets when no Request comes, and the round starts over. The GoodCRC comes from the receiver "
    "hardware; the Request from the logic behind it. So port, CC contact and receiver work, and what decides does not.",
    reference=_REF_WAIT, next=todo.SINK_DEAF_LOGIC,
)
def no_request(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.REQUEST or late_requests(case):
        return
    silent = []
    for one in stop.alike:
        if one.request is not None:
            continue
        waits = _waits(one)
        for place, (due, until) in enumerate(waits):
            last = place == len(waits) - 1
            reset = last and one.ending in (Ending.HARD_RESET, Ending.SOFT_RESET)
            if last and one.ending is Ending.CAPTURE_END and not case.plugged_in_at_end:
                continue
            if until - due >= (GIVES_UP_S if reset else MUST_HAVE_S) and not case.unreadable_between(
                due, min(until, due + MUST_HAVE_S)
            ):
                silent.append((due, until - due, reset))
    if not silent:
        return
    there_v = came_all_the_same(case, stop.negotiation) if len(silent) == 1 else None
    if there_v is not None:
        yield unseen(
            silent[0][0], Step.REQUEST,
            f"The device acknowledged the offer and no Request is in the capture; but VBUS reads {there_v:.2f} V as "
            f"offered, and the charger, which owes a reset, sends none in {span(silent[0][1])}: the Request may have "
            "been sent where the capture has a hole, or the two agreed on D+ and D-.",
        )
        return
    resets = sum(reset for _, _, reset in silent)
    then = f"; the round ended in a reset {times(resets)}" if resets else ""
    # A device that takes nothing of an offer that it may not trust does no wrong; one that hangs looks the same.
    offer = stop.negotiation.offer
    odd = may_be_refused(offer) if offer is not None else None
    doubt = (
        f" But the offer breaks the standard ({odd}), and a careful device takes nothing then; this capture cannot "
        "tell whose fault it is." if odd else ""
    )
    yield if_powered(case, Claim(
        None if odd else Who.SINK, silent[-1][0],
        f"The device acknowledged the offer {times(len(silent))} and then sent no Request for up to "
        f"{span(max(wait for _, wait, _ in silent))} (at most {timers.RECEIVER_RESPONSE.max:g} ms are allowed){then}."
        f"{doubt}",
        stops_at=Step.REQUEST,
    ), [due + min(wait, timers.RECEIVER_RESPONSE.max_s) for due, wait, _ in silent])


@rule(
    id="late-request", family="request", severity=Severity.FAIL,
    title="The device asks only after the charger has given up",
    checks="The Request comes within tReceiverResponse after the offer's acknowledgement, and before a reset.",
    why="The charger resets after tSenderResponse; a Request that comes later meets a charger that has forgotten its "
    "offer. The device's logic works but is too slow: often a processor that starts up late, or waits for a supply.",
    reference=_REF_WAIT, next=todo.SINK_DEAF_LOGIC,
)
def late_request(case: Case) -> Iterator[Claim]:
    late = late_requests(case)
    if not late or case.stop is None:
        return
    request, waited = late[-1]
    yield Claim(
        Who.SINK, request.start_s,
        f"The device's Request came {span(waited)} after the offer was acknowledged, when the charger had given up "
        f"(it waits {timers.SENDER_RESPONSE_R2_0.words()}, at most {timers.SENDER_RESPONSE_R3_1.max:g} ms).",
        stops_at=Step.REQUEST,
    )


def faults_of_request(wanted: DataObject, offered: tuple[DataObject, ...]) -> list[str]:
    """What is wrong with a request, measured against the offer; empty for a valid one.

    :returns: sentences without a final stop.
    """
    position = wanted.integer("position")
    if position is None:
        return []
    given = object_at(offered, position)
    if given is None:
        return [f"it asks for object {position}, and the offer has {count(len(offered), 'object')}"]

    faults = []
    limit = _current_limit(given, wanted.integer("voltage_mv"))
    asked = wanted.integer("operating_current_ma")
    if limit is not None and asked is not None and asked > limit:
        faults.append(f"it asks for {amps(asked)}, and object {position} ({power_object(given)}) offers {amps(limit)}")
    power, asked_power = given.integer("power_mw"), wanted.integer("operating_power_mw")
    if power is not None and asked_power is not None and asked_power > power:
        faults.append(f"it asks for {asked_power / 1000:.3g} W, and object {position} offers {power / 1000:.3g} W")
    voltage = wanted.integer("voltage_mv")
    low, high = given.integer("min_voltage_mv"), given.integer("max_voltage_mv")
    if voltage is not None and low is not None and high is not None and not low <= voltage <= high:
        faults.append(
            f"it asks for {volts(voltage)}, and object {position} offers {volts(low)} to {volts(high)}"
        )
    return faults


def faults_of(one: Negotiation) -> list[str]:
    """What is wrong with the request of a try, measured against its offer; empty for a valid one, and where either
    is not known."""
    wanted = one.requested
    if wanted is None or one.request is None or one.offer is None:
        return []
    faults = faults_of_request(wanted, one.offered)
    position = wanted.integer("position")
    if one.request.name == "Request" and position is not None and position > SPR_PLACES:
        faults.append(f"it asks for object {position}, which only an EPR_Request may ask for")
    if one.request.name == LONG_REQUEST and position is not None and len(one.request.message.objects) > 1:
        given = object_at(one.offered, position)
        copy = one.request.message.objects[1]
        if given is not None and copy.raw != given.raw:
            faults.append(f"its copy of object {position} ({power_object(copy)}) is not what was offered "
                          f"({power_object(given)})")
    return faults


def too_high_a_maximum(one: Negotiation) -> str | None:
    """What a source may refuse in a request that is else within the offer: a maximum beyond it without the mismatch
    bit; None where there is no such thing. USB PD, section 6.4.2.3 (capability mismatch); from memory."""
    wanted = one.requested
    if wanted is None or one.offer is None or any(wanted.get(n) is True for n in ("capability_mismatch", "giveback")):
        return None
    position = wanted.integer("position")
    given = object_at(one.offered, position) if position is not None else None
    if given is None:
        return None
    for name, field in (("max_current_ma", "current_ma"), ("max_power_mw", "power_mw")):
        most, limit = wanted.integer(name), given.integer(field)
        if most is not None and limit is not None and most > limit:
            say = amps if field == "current_ma" else _watts
            return (
                f"it names a maximum of {say(most)} without saying that the offer is too small, and object {position} "
                f"offers {say(limit)}"
            )
    return None


def _watts(power_mw: int) -> str:
    return f"{power_mw / 1000:.3g} W"


def _current_limit(given: DataObject, voltage_mv: int | None) -> int | None:
    if given.kind == "spr_avs":
        high = voltage_mv is not None and voltage_mv > SPR_AVS_STEP_MV
        return given.integer("current_15v_to_20v_ma" if high else "current_9v_to_15v_ma")
    return given.integer("current_ma")


@rule(
    id="invalid-request", family="request", severity=Severity.FAIL,
    title="The device asks for something that was not offered, and is refused",
    checks="A Request names an offered object and asks for no more current, power or voltage than that object offers; "
    "the maximum that it names is above that only where it says so (capability mismatch).",
    why="A charger must refuse what it did not offer. The device misreads the offer, or its settings are wrong.",
    reference=_REF_REQUEST, next=todo.SINK_ASKS_WRONG,
)
def invalid_request(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.step is not Step.ACCEPT:
        return
    one = stop.negotiation
    if one.answer is not None and one.accepted:
        return
    faults = faults_of(one)
    if not faults and one.ending is Ending.REJECT and (most := too_high_a_maximum(one)) is not None:
        faults = [most]
    if faults and one.request is not None:
        refused = {Ending.REJECT: "The charger refused it (Reject)", Ending.WAIT: "The charger put it off (Wait)"}
        outcome = refused.get(one.ending, "The charger did not grant it")
        yield Claim(
            Who.SINK, one.request.start_s,
            f"The device's Request is wrong: {'; '.join(faults)}. {outcome}.",
            stops_at=Step.ACCEPT,
        )


@rule(
    id="request-beyond-offer", family="request", severity=Severity.WARN,
    title="The device asks for more than was offered, or than it says it needs",
    checks="A Request keeps to the offer: object, current, power, voltage, and the copied "
    "object of an EPR_Request.",
    why="A charger may refuse such a Request, and the device does not charge there or charges more slowly.",
    reference=_REF_REQUEST, next=todo.SINK_ASKS_WRONG,
)
def request_beyond_offer(case: Case) -> Iterator[Claim]:
    for one in case.conversation.negotiations:
        if one.request is None or not case.offer_is_certain(one):
            continue
        faults = faults_of(one)
        if one.accepted and faults:
            stopped = case.stop.step if case.stop is not None and one in case.stop.alike else None
            yield Claim(
                Who.SINK, one.request.start_s, f"The device's Request is wrong: {'; '.join(faults)}. It was accepted.",
                stops_at=stopped, severity=Severity.FAIL if stopped is not None else None,
            )
            return
        # Asking for more under a contract and being refused is allowed; a copy that is wrong is not.
        if faults and one.request.name == LONG_REQUEST and one.ending is Ending.REJECT and case.stop is None:
            yield Claim(
                Who.SINK, one.request.start_s,
                f"The device's Request is wrong: {'; '.join(faults)}. It was refused; a contract holds all the same.",
            )
            return
        if _above_its_maximum(one.requested):
            yield Claim(
                Who.SINK, one.request.start_s,
                "The device asks for an operating current above the maximum that it names itself.",
            )
            return


def _above_its_maximum(wanted: DataObject | None) -> bool:
    if wanted is None or wanted.get("giveback") is True:
        return False
    for now, most in (("operating_current_ma", "max_current_ma"), ("operating_power_mw", "max_power_mw")):
        asked, limit = wanted.integer(now), wanted.integer(most)
        if asked is not None and limit is not None and asked > limit:
            return True
    return False


@rule(
    id="given-up-early", family="request", severity=Severity.FAIL,
    title="A reset comes before the answer was due",
    checks="Nobody resets before the time that the other side has to answer is over.",
    why="Whoever owed the next message was not given its time. Often a supply that collapses, or a chip that restarts.",
    reference=_REF_WAIT, next=(todo.VBUS_LOAD, *todo.SOURCE_SILENT[:3], todo.CHIP_SUPPLY),
)
def given_up_early(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None or stop.negotiation.ending is not Ending.HARD_RESET or late_requests(case):
        return
    one = stop.negotiation
    least = {
        Step.REQUEST: GIVES_UP_S, Step.ACCEPT: GIVES_UP_S, Step.READY: NOT_READY_S,
    }.get(stop.step)
    waiting = (
        (stop.step is Step.REQUEST and one.request is None)
        or (stop.step is Step.ACCEPT and one.answer is None)
        or (stop.step is Step.READY and one.ready is None)
    )
    if least is None or not waiting or any(n.next_s - due_from(n, stop.step) >= least for n in stop.alike):
        return
    # Where something unread stands in the wait, what was owed may have come and broken on the way.
    ended = [n for n in stop.alike if n.ending is Ending.HARD_RESET]
    if all(case.unreadable_between(due_from(n, stop.step), n.next_s - 1e-6) for n in ended):
        return
    if len(stop.alike) < 2 or (one.answer is not None and one.answer.start_s in {e.start_s for e in case.reused}):
        # Whoever takes an Accept for a repeat does not wait for PS_RDY.
        return
    if trips(case, one) is not None:
        return
    sender = one.reset.sender if one.reset is not None else Party.UNKNOWN
    by = "One side" if sender is Party.UNKNOWN else NAME[sender]
    yield Claim(
        party_of(sender), one.next_s,
        f"{by} sent a Hard Reset {span(stop.waited_s)} into the wait, before the other's time to answer was over.",
        stops_at=stop.step,
    )


@rule(
    id="capability-mismatch", family="request", severity=Severity.INFO,
    title="The device says that the offer is less than it wants",
    checks="The capability mismatch bit of the Request.",
    why="The device takes what it can get and charges slower than it could, or not at all when its battery is low.",
    reference=_REF_REQUEST, next=(),
)
def capability_mismatch(case: Case) -> Iterator[Claim]:
    for one in reversed(case.conversation.negotiations):
        wanted = one.requested
        if wanted is not None and wanted.get("capability_mismatch") is True and one.request is not None:
            yield Claim(
                None, one.request.start_s,
                f"The device asks for {request_object(wanted)} and says that it would need more than is offered.",
                effect=Effect.NOTES,
            )
            return


RULES: tuple[Rule, ...] = (
    no_request, late_request, invalid_request, request_beyond_offer, given_up_early, capability_mismatch,
)
