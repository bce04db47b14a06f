"""Rules on what the source offers, and how often.

Why it is: a device that does not know what to make of an odd offer takes 5 V or nothing; it did no wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise

from pdcheck.conversation.model import Exchange, Party, Silence
from pdcheck.conversation.names import LONG_OFFER, OFFERS
from pdcheck.conversation.questions import topic
from pdcheck.messages.model import DataObject
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.words import power_object, span
from pdcheck.standard import offers as limits
from pdcheck.standard import timers
from pdcheck.standard.sizes import SPR_PLACES

_REF = "USB PD, section 6.4.1 (Source_Capabilities) and 10.2 (power rules)"
_FLAGS = (
    "dual_role_power", "usb_suspend_supported", "unconstrained_power", "usb_communications_capable", "dual_role_data",
    "unchunked_extended_messages_supported", "epr_capable",
)
#: By which field objects of a kind are put in order.
_ORDER = {
    "fixed": "voltage_mv", "battery": "min_voltage_mv", "variable": "min_voltage_mv", "spr_pps": "max_voltage_mv",
}
#: Timers are kept to a few percent by a port's clock, and the moment at which one starts is not seen. Our own choice.
_TIMER_SLACK_S = 5e-3
#: Where offers pause longer than this the plug may have been out. Our own choice.
_PAUSE_S = 1.0


def _parts(one: Exchange) -> list[tuple[DataObject, ...]]:
    """The SPR and the EPR part of an offer, without empty places."""
    objects = one.message.objects
    parts = (objects[:SPR_PLACES], objects[SPR_PLACES:])
    return [tuple(thing for thing in part if thing.raw) for part in parts]


def offers(case: Case) -> list[Exchange]:
    """The first of all offers of the charger that hold the same objects, in the order of time."""
    return case.once(_offers)


def _offers(case: Case) -> list[Exchange]:
    first: dict[int, Exchange] = {}
    for one in case.conversation.exchanges:
        # A chunk of a long offer that completes nothing has no power objects of its own.
        objects = one.message.objects
        if one.name in OFFERS and one.sender is Party.SOURCE and objects and objects[0].kind != "chunk":
            first.setdefault(id(objects), one)
    return list(first.values())


def _first_odd(case: Case, check: Callable[[Exchange], str | None]) -> Iterator[Claim]:
    """A claim for the first offer that the check finds odd."""
    for one in offers(case):
        odd = check(one)
        if odd is not None:
            yield Claim(Who.SOURCE, one.start_s, f"The charger's offer is odd: {odd}.")
            return


@rule(
    id="offer-first-object", family="offer", severity=Severity.WARN,
    title="The first offered object is not 5 V",
    checks="The first object of every offer is a fixed supply of 5 V.",
    why="A device relies on it: 5 V is what it may always take. Some then take nothing.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def offer_first_object(case: Case) -> Iterator[Claim]:
    yield from _first_odd(case, _wrong_first)


def _wrong_first(one: Exchange) -> str | None:
    first = one.message.objects[0]
    if first.kind == "fixed" and first.integer("voltage_mv") == limits.FIRST_OBJECT_MV:
        return None
    return f"its first object is {power_object(first)}, not a fixed 5 V"


@rule(
    id="offer-order", family="offer", severity=Severity.WARN,
    title="The offered objects are out of order, or there twice",
    checks="Fixed supplies come first, from the lowest voltage up, each voltage once; battery, variable and "
    "programmable ones follow, each kind from the lowest voltage up.",
    why="Most devices do not mind. Some look for a voltage at a place, and ask for the wrong one.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def offer_order(case: Case) -> Iterator[Claim]:
    def check(one: Exchange) -> str | None:
        for part in _parts(one):
            for before, after in pairwise(part):
                if after.kind == "fixed" and before.kind != "fixed":
                    return f"{power_object(after)} comes after {power_object(before)}"
                field = _ORDER.get(after.kind)
                if field is None or before.kind != after.kind:
                    continue
                low, high = before.integer(field), after.integer(field)
                if before.raw == after.raw or (after.kind == "fixed" and low == high):
                    return f"{power_object(after)} is there twice"
                if low is not None and high is not None and low > high:
                    return f"{power_object(after)} comes after {power_object(before)}"
        return None

    yield from _first_odd(case, check)


@rule(
    id="offer-out-of-range", family="offer", severity=Severity.WARN,
    title="An offered object is beyond what the standard allows",
    checks="Fixed supplies up to 20 V and 5 A (28, 36 or 48 V in the EPR part); programmable ones from 3 V to 21 V; at "
    "most 100 W, 240 W in the EPR part; no range whose lower end is above its upper end.",
    why="A device that takes such an object at its word may come to harm, and a careful one refuses to charge.",
    reference=_REF, next=(todo.OTHER_CHARGER,),
)
def offer_out_of_range(case: Case) -> Iterator[Claim]:
    yield from _first_odd(case, _beyond)


def _beyond(one: Exchange) -> str | None:
    spr, epr = _parts(one)
    for thing in spr:
        if odd := _beyond_spr(thing):
            return odd
    for thing in epr:
        if odd := _beyond_epr(thing):
            return odd
    return None


def may_be_refused(one: Exchange) -> str | None:
    """What in an offer lets a careful device take nothing; None where there is no such thing."""
    objects = one.message.objects
    if not objects or objects[0].kind == "chunk":
        return None
    return _wrong_first(one) or _beyond(one)


def _beyond_spr(thing: DataObject) -> str | None:
    words = power_object(thing)
    low, high = thing.integer("min_voltage_mv"), thing.integer("max_voltage_mv")
    level, power = thing.integer("voltage_mv"), thing.integer("power_mw")
    currents = [thing.integer(n) for n in ("current_ma", "current_9v_to_15v_ma", "current_15v_to_20v_ma")]
    if low is not None and high is not None and low > high:
        return f"{words}: the range is upside down"
    if any(c is not None and c > limits.MOST_CURRENT_MA for c in currents):
        return f"{words}: more than 5 A"
    if thing.kind == "spr_pps":
        assert low is not None and high is not None
        outside = low < limits.PPS_LOWEST_MV or high > limits.PPS_HIGHEST_MV
        return f"{words}: outside of 3 to 21 V" if outside else None
    if power is not None and power > limits.SPR_MOST_MW:
        return f"{words}: more than 100 W"
    too_high = (level or 0) > limits.SPR_FIXED_HIGHEST_MV or (high or 0) > limits.SPR_RANGE_HIGHEST_MV
    return f"{words}: above 20 V without EPR" if too_high else None


def _beyond_epr(thing: DataObject) -> str | None:
    words = power_object(thing)
    current, level, power = (thing.integer(n) for n in ("current_ma", "voltage_mv", "pdp_mw"))
    low, high = thing.integer("min_voltage_mv"), thing.integer("max_voltage_mv")
    if thing.kind == "fixed":
        if level not in limits.EPR_FIXED_MV:
            return f"{words}: EPR has fixed supplies of 28, 36 and 48 V"
        return f"{words}: more than 5 A" if current is not None and current > limits.MOST_CURRENT_MA else None
    if thing.kind != "epr_avs":
        return f"{words} does not belong into the EPR part"
    assert low is not None and high is not None and power is not None
    if low > high or low < limits.EPR_AVS_LOWEST_MV or high > limits.EPR_HIGHEST_MV:
        return f"{words}: outside of 15 to 48 V"
    return f"{words}: more than 240 W" if power > limits.EPR_MOST_MW else None


@rule(
    id="offer-flags", family="offer", severity=Severity.WARN,
    title="Flags are set where they do not belong",
    checks="Dual role, unconstrained power and the other flags stand in the first object only.",
    why="Harmless to most devices; a sign of a charger whose settings were never tested.",
    reference=_REF,
)
def offer_flags(case: Case) -> Iterator[Claim]:
    def check(one: Exchange) -> str | None:
        for place, thing in enumerate(one.message.objects[1:], 2):
            odd = [name for name in _FLAGS if thing.kind == "fixed" and thing.get(name) is True]
            if odd:
                return f"object {place} carries {odd[0].replace('_', ' ')}"
        return None

    yield from _first_odd(case, check)


@rule(
    id="offer-pace", family="offer", severity=Severity.WARN,
    title="Unanswered offers are repeated too fast or too slowly",
    checks="A source whose offer nobody acknowledges sends it again after tTypeCSendSourceCap (100 to 200 ms).",
    why="Too fast: a device that starts up never gets to answer. Too slowly: charging begins late.",
    reference="USB PD, section 6.6.4.1 (SourceCapabilityTimer)",
)
def offer_pace(case: Case) -> Iterator[Claim]:
    limit = timers.TYPE_C_SEND_SOURCE_CAP
    for one, after in pairwise(case.conversation.exchanges):
        if not (one.name == after.name == "Source_Capabilities" and one.sender is after.sender is Party.SOURCE):
            continue
        if set(one.silences) != {Silence.NOTHING} or after.sop is not one.sop:
            continue
        # Where in a try and its retries the timer starts is seen in two ways; the more lenient one counts.
        gap = after.start_s - one.start_s
        if any(one.end_s < r.start_s < after.start_s for r in case.conversation.resets) or case.unreadable_between(
            one.end_s, after.start_s - 1e-6
        ):
            continue
        if gap < limit.min_s - _TIMER_SLACK_S:
            yield Claim(
                Who.SOURCE, after.start_s,
                f"The charger repeats its unanswered offer after {span(gap)} ({limit.words()} are usual).",
            )
            return
        gap = after.start_s - one.end_s
        if limit.max_s + 2 * _TIMER_SLACK_S < gap < _PAUSE_S:
            yield Claim(
                Who.SOURCE, after.start_s,
                f"The charger takes {span(gap)} to repeat its unanswered offer ({limit.words()} are usual).",
                # One that begins at 0 may be another plugging-in.
                severity=Severity.INFO if after.message.header.message_id == 0 else None,
            )
            return


@rule(
    id="epr-offer-in-spr", family="offer", severity=Severity.WARN,
    title="An EPR offer is made outside of EPR mode",
    checks="EPR_Source_Capabilities are sent in EPR mode, or when the device asked for them.",
    why="A device that has not entered EPR mode must not take what stands there.",
    reference="USB PD, section 6.5.15 (EPR_Source_Capabilities)",
)
def epr_offer_in_spr(case: Case) -> Iterator[Claim]:
    asked = {q.then.start_s for q in case.questions if q.then is not None}
    outside = False
    for one in case.conversation.exchanges:
        if one.name == "Source_Capabilities" and one.start_s not in asked:
            # In EPR mode nobody makes this offer unasked.
            outside = True
        elif topic(one.message) == "EPR_Mode Enter_Succeeded":
            outside = False
        elif topic(one.message) == "EPR_Mode Exit":
            outside = True
        head = one.message.extended_header
        begins = head is not None and head.chunk_number == 0 and not head.request_chunk
        if one.name != LONG_OFFER or not begins or not outside or one.start_s in asked:
            continue
        # The entry may be what the capture does not show.
        if not case.unreadable_between(0.0, one.start_s):
            yield Claim(Who.SOURCE, one.start_s, "The charger sent an EPR offer outside of EPR mode and unasked.")
        return


RULES: tuple[Rule, ...] = (
    offer_first_object, offer_order, offer_out_of_range, offer_flags, offer_pace, epr_offer_in_spr,
)
