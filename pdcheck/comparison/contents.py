"""What was offered, asked for and agreed, side by side.

Why it is: two units that make the same moves may still be offered other things, ask for other things, and end at
another contract; that is where the power goes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pdcheck.comparison.model import Content, Judged, Move, Row
from pdcheck.conversation.model import Contract, Party
from pdcheck.conversation.names import OFFERS, REQUESTS
from pdcheck.messages.model import DataObject
from pdcheck.rules.held import PROGRAMMABLE
from pdcheck.rules.words import power_object, request_object
from pdcheck.verdict import Outcome, contract_words

CHARGER_OFFERS = "charger offers"
_ABSENT = "not there"


def find_contents(rows: Sequence[Row], good: Judged, bad: Judged) -> tuple[Content, ...]:
    """Differences in the contents of moves that both sides made, and in the contract they came to."""
    found: list[Content] = []
    seen: set[tuple[str, str, str]] = set()
    for row in rows:
        if row.good is None or row.bad is None:
            continue
        for content in _of_moves(row.good, row.bad):
            key = (content.topic, content.good, content.bad)
            if key not in seen:
                seen.add(key)
                found.append(content)
    found += _of_contracts(good, bad)
    return tuple(found)


def _of_moves(good: Move, bad: Move) -> Iterator[Content]:
    name = good.what.name
    if name in OFFERS or name == "Sink_Capabilities":
        offers = good.what.sender is Party.SOURCE and name in OFFERS
        who = "charger" if good.what.sender is Party.SOURCE else "device"
        topic = CHARGER_OFFERS if offers else f"{who}'s {name}"
        left, right = ([o for o in m.objects if o.raw] for m in (good, bad))
        for place in range(max(len(left), len(right))):
            a = power_object(left[place]) if place < len(left) else _ABSENT
            b = power_object(right[place]) if place < len(right) else _ABSENT
            if a != b:
                yield Content(f"{topic}, object {place + 1}", a, b, True, good.start_s, bad.start_s)
        if left and right and left[0].kind == right[0].kind == "fixed" and name in OFFERS:
            yield from _of_flags(left[0], right[0], good, bad)
    elif name in REQUESTS and good.objects and bad.objects:
        # What a programmable supply is asked for varies while it charges.
        counts = "voltage_mv" not in good.objects[0].fields and "voltage_mv" not in bad.objects[0].fields
        a, b = request_object(good.objects[0]), request_object(bad.objects[0])
        if a != b:
            yield Content("device asks for", a, b, counts, good.start_s, bad.start_s)
        for flag, words in (("capability_mismatch", "device says that it needs more (capability mismatch)"),):
            if good.objects[0].get(flag) != bad.objects[0].get(flag):
                yield Content(words, *_yes_no(good, bad, flag), True, good.start_s, bad.start_s)


_FLAGS = ("dual_role_power", "unconstrained_power", "usb_communications_capable", "epr_capable")


def _of_flags(left: DataObject, right: DataObject, good: Move, bad: Move) -> Iterator[Content]:
    for flag in _FLAGS:
        if left.get(flag) != right.get(flag):
            words = f"charger says: {flag.replace('_', ' ')}"
            yield Content(words, *_yes_no(good, bad, flag), False, good.start_s, bad.start_s)


def _yes_no(good: Move, bad: Move, flag: str) -> tuple[str, str]:
    left, right = ("yes" if m.objects[0].get(flag) else "no" for m in (good, bad))
    return left, right


def _of_contracts(good: Judged, bad: Judged) -> Iterator[Content]:
    left, right = (s.conversation.contracts[-1] if s.conversation.contracts else None for s in (good, bad))
    if left is None and right is None:
        return
    if any(c is None and s.verdict.outcome is Outcome.INCONCLUSIVE for c, s in ((left, good), (right, bad))):
        return
    a, b = _words(left), _words(right)
    if a == b:
        return
    # What a device that charges from such a supply asks for changes all the time.
    counts = left is None or right is None or left.kind != right.kind or left.kind not in PROGRAMMABLE or (
        (left.ended_s is None) is not (right.ended_s is None)
    )
    yield Content("contract", a, b, counts, left.since_s if left else None, right.since_s if right else None)


def _words(contract: Contract | None) -> str:
    if contract is None:
        return "none"
    programmable = {"spr_pps": " (PPS)", "spr_avs": " (AVS)", "epr_avs": " (AVS)"}.get(contract.kind, "")
    ended = ", lost" if contract.ended_s is not None else ""
    return contract_words(contract) + programmable + ended
