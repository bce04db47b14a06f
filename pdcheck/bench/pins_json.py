"""A judgement on contact readings as JSON.

Why it is: other programs read it. Keys stay; new ones may be added. Findings and blocks have the shape of the report.
"""

from __future__ import annotations

import json
import math
from typing import Any

from pdcheck.bench.levels import LOW_VBUS_OHM, SHORT_OHM
from pdcheck.bench.pin_file import PinReading
from pdcheck.bench.pin_rules import DIFFER_FACTOR, DIFFER_SHARE, DIFFER_V, SHORT_V
from pdcheck.bench.pins import PinJudgement
from pdcheck.report.as_json import blocks_json, finding_json


def pins_json(judged: PinJudgement) -> dict[str, Any]:
    """The judgement as an object for :func:`json.dumps`; ``"OL"`` for open."""
    return {
        "format": "pdcheck-pins",
        "version": 1,
        "path": judged.readings.path,
        "known_good": judged.good.path if judged.good is not None else None,
        "verdict": judged.outcome.value,
        "summary": judged.summary,
        "port": judged.port,
        "contacts": [
            {
                "contact": one.contact.name, "signal": one.contact.signal, "like": one.contact.like,
                "state": one.state.value, **_reading(one.reading),
                "known_good": _reading(one.good) if one.good is not None else None,
            }
            for one in judged.contacts
        ],
        "limits": {
            "short_v": SHORT_V, "short_ohm": SHORT_OHM, "low_vbus_ohm": LOW_VBUS_OHM,
            "differs_v": DIFFER_V, "differs_share": DIFFER_SHARE,
            "differs_factor": DIFFER_FACTOR, "source": "our own choice",
        },
        "findings": [finding_json(f) for f in judged.findings],
        "blocks": blocks_json(judged.blocks),
        "next": list(judged.next),
    }


def dumps(judged: PinJudgement) -> str:
    """The judgement as JSON text, without a final line end."""
    return json.dumps(pins_json(judged), indent=1, ensure_ascii=False, allow_nan=False)


def _reading(reading: PinReading | None) -> dict[str, float | str | None]:
    return {
        "diode_v": _number(reading.diode_v) if reading is not None else None,
        "ohms": _number(reading.ohms) if reading is not None else None,
    }


def _number(value: float | None) -> float | str | None:
    return "OL" if value is not None and math.isinf(value) else value
