"""Two CC columns that both talk: a plug that was turned over within one capture, or two ports in one file.

Why it is: what fails on one CC contact and goes through on the other is no fault of the charger, the cable or what
decides in the device. Of two columns the one with more packets is read, and that is most often the one that fails.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pdcheck.conversation import Conversation, follow
from pdcheck.conversation.model import Step
from pdcheck.conversation.steps import UNHEARD_OFFERS, Stop, find_stop
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, rule

_THROUGH = "goes through"
_WORDS = {
    Step.OFFER: "comes to no offer", Step.OFFER_ACKNOWLEDGED: "stops with the offer unheard",
    Step.REQUEST: "stops before a Request that is heard", Step.ACCEPT: "stops before an Accept",
    Step.READY: "stops before PS_RDY",
}


@dataclass(frozen=True)
class BothWays:
    """How far the talk came on the column that was read (``first``) and on the other one, in words."""

    first: str
    second: str


def both_ways(case: Case) -> BothWays | None:
    """What the two columns say, where they are known to differ; None otherwise."""
    return case.once(_both_ways)


def _both_ways(case: Case) -> BothWays | None:
    other = case.reading.second
    if other is None:
        return None
    talk = follow(other)
    first, second = _came_to(case.conversation, case.stop), _came_to(talk, find_stop(talk))
    return None if first is None or second is None or first == second else BothWays(first, second)


def _came_to(talk: Conversation, stop: Stop | None) -> str | None:
    if stop is None:
        return _THROUGH if talk.standing is not None else None
    unheard = stop.step is Step.OFFER_ACKNOWLEDGED and len(stop.negotiation.offers) >= UNHEARD_OFFERS
    return None if stop.open_end and not unheard else _WORDS.get(stop.step)


@rule(
    id="cc-columns-differ", family="capture", severity=Severity.INFO,
    title="Both CC columns talk, and not alike",
    checks="Whether the other CC column bears packets at other times, and how far its talk comes.",
    why="A plug that was turned over while the capture ran: what fails one way only is a contact or one CC path of the "
    "device and no chip. Or two ports in one file. Either way the fault of one column convicts nobody.",
    reference="USB Type-C, section 3.2 and 4.5.1 (a plug joins one CC contact)",
    next=(
        "Judge each alone, with --cc and the column's name. A plug that was turned over: capture each way into a file "
        "of its own and give both with --pair flipped.",
    ),
)
def cc_columns_differ(case: Case) -> Iterator[Claim]:
    found, other = both_ways(case), case.reading.second
    if found is not None and other is not None:
        yield Claim(
            None, other.packets[0].start_s if other.packets else None,
            f'On "{case.reading.cc}" negotiation {found.first}, on "{other.cc}" it {found.second}: a plug that was '
            "turned over in this capture, or two ports in one file.",
            effect=Effect.UNSETTLES,
        )


RULES: tuple[Rule, ...] = (cc_columns_differ,)
