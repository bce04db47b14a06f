"""Rules on the cable: what it says of itself against what is offered through it.

Why it is: a cable carries 3 A unless its chip says more; a charger that offers more overheats it, and one that holds
back because of a cable looks like a weak charger.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.conversation.model import Exchange, Party
from pdcheck.conversation.names import LONG_OFFER
from pdcheck.conversation.questions import topic
from pdcheck.messages.cable import CableSummary, cable_summary
from pdcheck.messages.model import DataObject
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.offer import offers
from pdcheck.rules.words import amps, power_object
from pdcheck.standard.dialogues import VENDOR_ANSWER, VENDOR_REQUEST
from pdcheck.standard.sizes import SPR_PLACES
from pdcheck.standard.vbus_levels import UNMARKED_CABLE

_REF = "USB Type-C, section 4.6 and table of cable currents; USB PD, section 6.4.4.3.1 (Discover Identity)"


def what_the_cable_said(case: Case) -> tuple[float, CableSummary] | None:
    """The cable's answer to Discover Identity and when it came; None where the capture shows none."""
    for one in case.conversation.exchanges:
        if one.sender is Party.CABLE and topic(one.message) == VENDOR_ANSWER:
            said = cable_summary(one.message)
            if said is not None:
                return one.start_s, said
    return None


def _asked_in_vain(case: Case) -> Exchange | None:
    """A Discover Identity that no cable acknowledged, where none of them was."""
    asked = [
        e for e in case.conversation.exchanges
        if e.sop.to_cable and e.sender is not Party.CABLE and topic(e.message) == VENDOR_REQUEST
    ]
    if not asked or any(e.acknowledged is not False for e in asked):
        return None
    return asked[0]


def _over(objects: tuple[DataObject, ...], limit_ma: int) -> DataObject | None:
    for one in objects:
        for name in ("current_ma", "current_9v_to_15v_ma", "current_15v_to_20v_ma"):
            if (one.integer(name) or 0) > limit_ma:
                return one
    return None


@rule(
    id="offer-over-cable", family="cable", severity=Severity.WARN,
    title="More current is offered than the cable carries",
    checks="More than 3 A is offered only through a cable whose chip says 5 A, or through a charger's own fixed one.",
    why="A plain cable heats up at its contacts. The device may charge all the same; the contacts of its port suffer.",
    reference=_REF, next=("Use a cable marked for 5 A, and look at port and plug for heat marks.",),
)
def offer_over_cable(case: Case) -> Iterator[Claim]:
    said = what_the_cable_said(case)
    silent = _asked_in_vain(case) if said is None else None
    carries = int(UNMARKED_CABLE.most) if said is None or said[1].current_ma is None else said[1].current_ma
    for one in offers(case):
        big = _over(one.message.objects, carries)
        if big is None:
            continue
        if said is not None and said[0] < one.start_s:
            if said[1].current_ma is not None:
                yield Claim(
                    Who.SOURCE, one.start_s,
                    f"The charger offers {power_object(big)}; the cable says {amps(carries)}.",
                )
        elif silent is not None and silent.start_s < one.start_s:
            yield Claim(
                Who.SOURCE, one.start_s,
                f"The charger offers {power_object(big)} though the cable that it asked did not answer.",
            )
        elif said is None:
            yield Claim(
                None, one.start_s,
                f"The charger offers {power_object(big)} and the capture does not show that it asked the cable: right "
                "for a charger whose cable is fixed to it.",
                severity=Severity.INFO,
            )
        return


@rule(
    id="epr-over-cable", family="cable", severity=Severity.WARN,
    title="More than 20 V is offered through a cable that is not made for it",
    checks="EPR voltages are offered only through a cable whose chip says that it is fit for EPR.",
    why="A cable that is not made for it may arc at its contacts when it is pulled at 28 V and more.",
    reference="USB PD, section 6.4.10 (EPR_Mode) and the cable VDO's EPR capable bit",
    next=("Take the cable away and use one marked 240 W.", todo.OTHER_CHARGER),
)
def epr_over_cable(case: Case) -> Iterator[Claim]:
    said = what_the_cable_said(case)
    if said is None or said[1].epr is not False:
        return
    for one in case.conversation.exchanges:
        if one.name == LONG_OFFER and one.sender is Party.SOURCE and any(
            thing.raw for thing in one.message.objects[SPR_PLACES:]
        ) and one.start_s > said[0]:
            yield Claim(
                Who.SOURCE, one.start_s,
                "The charger offers EPR voltages though the cable does not say that it is fit for EPR.",
            )
            return


RULES: tuple[Rule, ...] = (offer_over_cable, epr_over_cable)
