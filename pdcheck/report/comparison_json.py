"""A comparison, or a flip test, as JSON, with the keys that scripts rest on.

Why it is: other programs read this. Keys stay; new ones may be added.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from pdcheck.comparison.flipped import Pair
from pdcheck.comparison.model import (
    Allowed,
    Comparison,
    Content,
    Doubt,
    Heard,
    Judged,
    Measure,
    Move,
    Parting,
    Row,
    Values,
)
from pdcheck.messages import object_json
from pdcheck.report.as_json import report_json
from pdcheck.report.model import Report


def comparison_json(found: Comparison) -> dict[str, Any]:
    """The comparison as an object for :func:`json.dumps`. Times in seconds, levels in the measure's unit."""
    return {
        "format": "pdcheck-comparison",
        "version": 1,
        "outcome": found.outcome.value,
        "summary": found.summary,
        "good": _side(found.good),
        "bad": _side(found.bad),
        "swapped": found.swapped,
        "first": _parting(found.first) if found.first is not None else None,
        "partings": [_parting(p) for p in found.partings],
        "moves": [_row(r) for r in found.rows],
        "contents": [_content(c) for c in found.contents],
        "measures": [_measure(m) for m in found.measures],
        "notes": list(found.notes),
        "next": list(found.next),
        "not_compared": list(found.not_compared),
    }


def pair_json(reports: Sequence[Report], pair: Pair | None) -> dict[str, Any]:
    """The reports of a flip test and what it proves; ``pair`` is null where a file could not be used."""
    return {
        "format": "pdcheck-pair",
        "version": 1,
        "reports": [report_json(r) for r in reports],
        "pair": None if pair is None else {
            "how": "flipped",
            "proof": pair.proof.value,
            "works": pair.works,
            "summary": pair.summary,
            "cleared": list(pair.cleared),
            "suspect": list(pair.suspect),
            "next": list(pair.next),
            "notes": list(pair.notes),
        },
    }


def dumps(value: dict[str, Any]) -> str:
    """JSON text without a final line end."""
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False)


def _time(seconds: float | None) -> float | None:
    return None if seconds is None else round(seconds, 9)


def _side(side: Judged) -> dict[str, Any]:
    verdict = side.verdict
    return {
        "path": side.path,
        "verdict": verdict.outcome.value,
        "stopped_at": verdict.stopped_at.value if verdict.stopped_at is not None else None,
        "suspect": verdict.suspect.value if verdict.suspect is not None else None,
        "summary": verdict.summary,
        "duration_s": _time(side.conversation.duration_s),
        "time_step_s": side.reading.quality.time_step_s,
    }


def _parting(one: Parting) -> dict[str, Any]:
    return {
        "row": one.row,
        "again": one.again,
        "whose": one.whose.value if one.whose is not None else None,
        "headline": one.headline,
        "good": {"did": one.did_good, "t_s": _time(one.good_s)},
        "bad": {"did": one.did_bad, "t_s": _time(one.bad_s)},
        "doubt": one.doubt.value if one.doubt is not Doubt.NONE else None,
    }


def _row(row: Row) -> dict[str, Any]:
    return {"kind": row.kind.value, "good": _move(row.good), "bad": _move(row.bad)}


def _move(move: Move | None) -> dict[str, Any] | None:
    if move is None:
        return None
    return {
        "from": move.by.value,
        "name": move.what.name,
        "sop": move.what.sop.value if move.what.sop is not None else move.what.name,
        "detail": move.what.detail,
        "acknowledged": move.what.answered if move.sure or not move.what.answered else None,
        "wrong_message_id": move.what.heard is Heard.WRONG_ID,
        "t_s": _time(move.start_s),
        "settled_s": _time(move.settled_s),
        "last_s": _time(move.last_s),
        "times": move.times,
        "packets": move.sent,
        "objects": [object_json(o) for o in move.objects],
    }


def _content(one: Content) -> dict[str, Any]:
    return {
        "topic": one.topic, "counts": one.counts,
        "good": {"value": one.good, "t_s": _time(one.good_s)}, "bad": {"value": one.bad, "t_s": _time(one.bad_s)},
    }


def _measure(one: Measure) -> dict[str, Any]:
    return {
        "id": one.id, "label": one.label, "unit": one.unit,
        "good": _values(one.good), "bad": _values(one.bad),
        "allowed": _allowed(one.allowed),
        "differs": one.differs, "counts": one.counts, "placed": one.placed.value, "why": one.why,
    }


def _allowed(one: Allowed | None) -> dict[str, Any] | None:
    return None if one is None else {"low": one.low, "high": one.high, "words": one.words}


def _values(one: Values | None) -> dict[str, Any] | None:
    if one is None:
        return None
    numbers = {"typical": one.typical, "low": one.low, "high": one.high, "least": one.least,
               "most": one.most, "resolution": one.resolution}
    return {"count": one.count, **{name: round(value, 9) for name, value in numbers.items()}}
