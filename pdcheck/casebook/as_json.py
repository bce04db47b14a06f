"""Cases, matches and counts as JSON, with the keys that scripts rest on.

Why it is: other programs read this. Keys stay; new ones may be added. It is for this shop's own eyes: what may leave
the shop is the business of :mod:`pdcheck.casebook.sharing`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pdcheck.casebook.likeness import Match
from pdcheck.casebook.model import KeptCase
from pdcheck.casebook.outcomes import CONFIDENCE, Outcomes
from pdcheck.casebook.sharing import export_json


def case_json(case: KeptCase) -> dict[str, Any]:
    """A case with all that is known of it here."""
    return export_json(case, whole=True)


def matches_json(matches: Iterable[Match]) -> dict[str, Any]:
    """What ``find`` found, the most alike first."""
    return {
        "format": "pdcheck-matches", "version": 1,
        "matches": [
            {
                "likeness": round(match.score, 4),
                "respects": [
                    {"respect": r.name, "weight": r.weight, "degree": round(r.degree, 4), "words": r.words}
                    for r in match.respects
                ],
                "case": case_json(match.case),
            }
            for match in matches
        ],
    }


def outcomes_json(outcomes: Outcomes) -> dict[str, Any]:
    """What ``stats`` counted."""
    return {
        "format": "pdcheck-outcomes", "version": 1, "looked_at": outcomes.looked_at, "held": outcomes.total,
        "confidence": CONFIDENCE, "interval": "Wilson score",
        "parts": [
            {"part": s.part.value, "count": s.count, "low": round(s.low, 4), "high": round(s.high, 4)}
            for s in outcomes.shares
        ],
        "did_not_hold": [{"part": part.value, "count": count} for part, count in outcomes.wrong],
        "not_known_yet": outcomes.undecided, "no_part_named": outcomes.unnamed,
    }
