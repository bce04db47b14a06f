"""A capture's fingerprint: what of its report is worth comparing with another's.

Why it is: a report holds a thousand messages and their microseconds; a case is recognised by how far it came, who
owed the missing move, which rules fired, what was on the table and how long things took. It holds no path, no name
and no text that a user typed, so that it may be shared.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from itertools import pairwise
from statistics import median
from typing import Any

from pdcheck.casebook.levels import Level, level_from_report
from pdcheck.casebook.shape import items, mapping, number, text, text_or_none, whole

REPORT_VERSION = 1
#: Rungs of the ladder between which time is compared: from, to, in words.
_SPANS = (
    ("offer", "offer_acknowledged", "offer to its acknowledgement"),
    ("offer_acknowledged", "request", "acknowledged offer to request"),
    ("request", "accept", "request to answer"),
    ("accept", "ready", "Accept to PS_RDY"),
)
_BETWEEN_OFFERS = "from offer to offer"
_CONTRACT = "contract to its end"


@dataclass(frozen=True)
class Fingerprint:
    """What is compared.

    :ivar verdict: ``"pass"``, ``"fail"``, ``"inconclusive"``; ``stopped_at`` and ``suspect`` as in the JSON report.
    :ivar leading: the id of the rule that decided, None where none did.
    :ivar rules: rule id and severity of all that fired, sorted.
    :ivar steps: step and state, in the order of the ladder.
    :ivar timings: what was timed, in words, and seconds.
    :ivar offers: how many offers and ``resets`` how many Hard Resets the capture shows.
    :ivar offered: the last offer's objects; ``asked`` the position of the last request; ``contract`` the last contract.
    :ivar current_ma: input current at the end, where it was captured or typed in.
    """

    verdict: str
    stopped_at: str | None
    suspect: str | None
    leading: str | None
    rules: tuple[tuple[str, str], ...]
    steps: tuple[tuple[str, str], ...]
    timings: tuple[tuple[str, float], ...]
    offers: int
    resets: int
    offered: tuple[Level, ...]
    asked: int | None
    contract: Level | None
    current_ma: int | None
    summary: str


def fingerprint_of(report: Mapping[str, Any], current_ma: int | None = None) -> Fingerprint:
    """The fingerprint of a JSON report (what ``pdcheck decode --json`` prints), with an input current in mA.

    :raises ValueError: it is not such a report, or of a newer kind; the message says what is wrong.
    """
    if report.get("format") != "pdcheck-report":
        raise ValueError("is not a report of pdcheck decode --json")
    version = whole(report, "version") or 0
    if version > REPORT_VERSION:
        raise ValueError(f"is a report of version {version} from a newer pdcheck (this one knows {REPORT_VERSION})")
    findings = [mapping(f, "a finding") for f in items(report, "findings")]
    steps = [mapping(s, "a step") for s in items(report, "steps")]
    sent = [mapping(m, "a message") for m in items(report, "messages")]
    talk = [m for m in sent if m.get("sop") == "SOP" and m.get("crc") == "ok"]
    verdict, summary = text(report, "verdict"), text(report, "summary")
    contract = mapping(report["contract"], "the contract") if report.get("contract") is not None else None
    offers = [m for m in talk if m.get("name") == "Source_Capabilities"]
    return Fingerprint(
        verdict=verdict,
        stopped_at=text_or_none(report, "stopped_at"),
        suspect=text_or_none(report, "suspect"),
        leading=_leading(verdict, summary, findings),
        rules=tuple(sorted({(text(f, "rule"), text(f, "severity")) for f in findings})),
        steps=tuple((text(s, "step"), text(s, "state")) for s in steps),
        timings=tuple(_timings(steps, offers, contract)),
        offers=len(offers),
        resets=sum(m.get("sop") == "Hard Reset" for m in sent),
        offered=_objects(offers[-1]) if offers else (),
        asked=_asked(talk),
        contract=level_from_report(contract) if contract is not None else None,
        current_ma=current_ma,
        summary=summary,
    )


def fingerprint_json(one: Fingerprint) -> dict[str, Any]:
    """The fingerprint as JSON holds it."""
    out = asdict(one)
    out["rules"] = [{"rule": rule, "severity": severity} for rule, severity in one.rules]
    out["steps"] = [{"step": step, "state": state} for step, state in one.steps]
    out["timings"] = [{"what": what, "seconds": seconds} for what, seconds in one.timings]
    out["offered"] = [asdict(level) for level in one.offered]
    return out


def fingerprint_from_json(one: Mapping[str, Any]) -> Fingerprint:
    """The inverse of :func:`fingerprint_json`. :raises ValueError: something in it is missing or of the wrong type."""
    rules = [mapping(r, "a rule") for r in items(one, "rules")]
    steps = [mapping(s, "a step") for s in items(one, "steps")]
    timings = [mapping(t, "a timing") for t in items(one, "timings")]
    contract = one.get("contract")
    return Fingerprint(
        verdict=text(one, "verdict"),
        stopped_at=text_or_none(one, "stopped_at"),
        suspect=text_or_none(one, "suspect"),
        leading=text_or_none(one, "leading"),
        rules=tuple((text(r, "rule"), text(r, "severity")) for r in rules),
        steps=tuple((text(s, "step"), text(s, "state")) for s in steps),
        timings=tuple((text(t, "what"), number(t, "seconds") or 0.0) for t in timings),
        offers=whole(one, "offers") or 0,
        resets=whole(one, "resets") or 0,
        offered=tuple(_level(level) for level in items(one, "offered")),
        asked=whole(one, "asked"),
        contract=_level(contract) if contract is not None else None,
        current_ma=whole(one, "current_ma"),
        summary=text(one, "summary"),
    )


def _level(value: Any) -> Level:
    one = mapping(value, "an offer")
    return Level(
        text(one, "kind"), whole(one, "min_mv"), whole(one, "max_mv"), whole(one, "current_ma"), whole(one, "power_mw"),
    )


def _leading(verdict: str, summary: str, findings: list[Mapping[str, Any]]) -> str | None:
    """The rule that decided stands first and lends the report its sentence."""
    if verdict == "pass" or not findings or findings[0].get("summary") != summary:
        return None
    return text(findings[0], "rule")


def _timings(
    steps: list[Mapping[str, Any]], offers: list[Mapping[str, Any]],
    contract: Mapping[str, Any] | None,
) -> Iterable[tuple[str, float]]:
    at = {text(s, "step"): number(s, "t_s") for s in steps}
    for first, last, words in _SPANS:
        start, end = at.get(first), at.get(last)
        if start is not None and end is not None and end >= start:
            yield words, round(end - start, 9)
    starts = [t for t in (number(m, "t_s") for m in offers) if t is not None]
    if len(starts) > 1:
        yield _BETWEEN_OFFERS, round(abs(median(b - a for a, b in pairwise(starts))), 9)
    if contract is not None:
        since, ended = number(contract, "t_s"), number(contract, "ended_s")
        if since is not None and ended is not None and ended >= since:
            yield _CONTRACT, round(ended - since, 9)


def _objects(offer: Mapping[str, Any]) -> tuple[Level, ...]:
    objects = (mapping(o, "an object") for o in items(offer, "objects"))
    return tuple(level_from_report(o) for o in objects if o.get("kind") != "padding")


def _asked(talk: list[Mapping[str, Any]]) -> int | None:
    for message in reversed(talk):
        if message.get("name") in ("Request", "EPR_Request"):
            for one in items(message, "objects")[:1]:
                return whole(mapping(one, "an object"), "position")
    return None
