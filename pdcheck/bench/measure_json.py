"""A judgement on readings as JSON.

Why it is: other programs read it. Keys stay; new ones may be added. Findings and blocks have the shape of the report.
"""

from __future__ import annotations

import json
import math
from typing import Any

from pdcheck.bench.attach import Attach
from pdcheck.bench.judge import Judgement
from pdcheck.bench.levels import Level, sink_sees, source_terms
from pdcheck.bench.ohm_rules import off_by_pct, pull_of
from pdcheck.bench.readings import Advertisement, Readings, Volts
from pdcheck.report.as_json import blocks_json, finding_json
from pdcheck.triage.currents import bands_of


def measure_json(judged: Judgement) -> dict[str, Any]:
    """The judgement as an object for :func:`json.dumps`. Volts and ohms as they were typed, ``"OL"`` for open."""
    readings = judged.readings
    first = _attach(judged.attach or judged.flipped)
    leading = judged.leading
    return {
        "format": "pdcheck-measure",
        "version": 1,
        "verdict": judged.outcome.value,
        "suspect": leading.who.value if leading is not None and leading.who is not None else None,
        "summary": judged.summary,
        **first,
        "terminations": _terminations(readings),
        "orientations": {
            "as_plugged": _attach(judged.attach) if judged.attach is not None else None,
            "flipped": _attach(judged.flipped) if judged.flipped is not None else None,
        },
        "current": _current(readings),
        "readings": _readings(readings),
        "findings": [finding_json(f) for f in judged.findings],
        "blocks": blocks_json(judged.blocks),
        "next": list(judged.next),
    }


def dumps(judged: Judgement) -> str:
    """The judgement as JSON text, without a final line end."""
    return json.dumps(measure_json(judged), indent=1, ensure_ascii=False, allow_nan=False)


def _attach(attach: Attach | None) -> dict[str, Any]:
    if attach is None:
        return {
            "state": "not_judged", "between": [], "orientation": None, "advertisement": None,
            "advertisement_between": [], "also_possible": [],
        }
    single = attach.advertisement
    return {
        "state": attach.state.value,
        "between": [s.value for s in attach.between],
        "orientation": attach.orientation,
        "advertisement": single.value if single is not None else None,
        "advertisement_between": [a.value for a in attach.advertisements] if single is None else [],
        "also_possible": [{"state": state.value, "if": why} for state, why in attach.also],
    }


def _terminations(readings: Readings) -> dict[str, Any]:
    """For each contact what a source takes it for under each advertisement, what a sink reads, and what ohms say."""
    out: dict[str, Any] = {}
    for name in ("cc1", "cc2"):
        one: dict[str, Any] = {}
        for key, volts in (("as_plugged", readings.volts), ("flipped", readings.flipped)):
            value = getattr(volts, name)
            if value is not None:
                one[key] = _level(Level.of(value, readings.meter))
        ohms = getattr(readings.ohms, name)
        if ohms is not None:
            off = off_by_pct(ohms)
            one["to_ground"] = {
                "ohms": _ohms(ohms), "reads_as": pull_of(ohms).value,
                "off_rd_pct": None if off is None else round(off, 1),
            }
        out[name] = one or None
    return out


def _level(level: Level) -> dict[str, Any]:
    return {
        "volts": level.volts,
        "sink_reads": [s.value for s in sink_sees(level)],
        "source_reads": {a.value: [t.value for t in source_terms(level, a)] for a in Advertisement},
    }


def _current(readings: Readings) -> dict[str, Any] | None:
    if readings.current_ma is None:
        return None
    found = bands_of(abs(readings.current_ma))
    return {"current_ma": readings.current_ma, "means": [band.draw.value for band in found]}


def _volts(volts: Volts) -> dict[str, float | None]:
    return {"cc1_v": volts.cc1, "cc2_v": volts.cc2, "vbus_v": volts.vbus}


def _readings(readings: Readings) -> dict[str, Any]:
    ohms = readings.ohms
    return {
        "side": readings.side.value if readings.side is not None else None,
        "partner": readings.partner.value if readings.partner is not None else None,
        "advertises": readings.advertises.value if readings.advertises is not None else None,
        "as_plugged": _volts(readings.volts),
        "flipped": _volts(readings.flipped),
        "ohms": {
            "cc1": _ohms(ohms.cc1), "cc2": _ohms(ohms.cc2), "cc1_cc2": _ohms(ohms.between_cc),
            "cc1_vbus": _ohms(ohms.cc1_vbus), "cc2_vbus": _ohms(ohms.cc2_vbus), "vbus": _ohms(ohms.vbus),
        },
        "current_ma": readings.current_ma,
        "contract": None if readings.contract is None else {
            "voltage_mv": readings.contract.voltage_mv, "current_ma": readings.contract.current_ma,
        },
    }


def _ohms(value: float | None) -> float | str | None:
    return "OL" if value is not None and math.isinf(value) else value
