"""The conversation (and VBUS, CC level, current where captured) to findings. One rule, one function, one entry.

Why it is: the verdict is what the technician pays for, and it is made of these. A new rule is a function in one of
the modules here and its name in that module's RULES.
"""

from pdcheck.rules import (
    acknowledgement,
    advertisement,
    answer,
    both_ways,
    cable,
    contract,
    counting,
    current,
    delivery,
    epr,
    notes,
    offer,
    request,
    resets,
    revision,
    signal,
    swaps,
    vbus,
    vbus_cycle,
    windows,
)
from pdcheck.rules.model import Case, Effect, Finding, Rule, Severity, Who

ALL_RULES: tuple[Rule, ...] = (
    *acknowledgement.RULES, *counting.RULES, *offer.RULES, *request.RULES, *answer.RULES, *windows.RULES,
    *delivery.RULES,
    *vbus.RULES,
    *vbus_cycle.RULES,
    *current.RULES,
    *contract.RULES, *epr.RULES, *resets.RULES, *swaps.RULES, *revision.RULES, *cable.RULES,
    *both_ways.RULES, *signal.RULES, *notes.RULES,
    *advertisement.RULES,
)


def check_all(case: Case) -> list[Finding]:
    """Every finding of every rule on a case, in the rules' order."""
    return [finding for rule in ALL_RULES for finding in rule.findings(case)]


__all__ = ["ALL_RULES", "Case", "Effect", "Finding", "Rule", "Severity", "Who", "check_all"]
