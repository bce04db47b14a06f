"""The report as JSON, with the keys that scripts rest on.

Why it is: other programs read this. Keys stay; new ones may be added.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from pdcheck.conversation.model import Contract, Party, Transmission
from pdcheck.conversation.names import REVISIONS
from pdcheck.messages import object_json
from pdcheck.report.model import Report
from pdcheck.rules import Finding
from pdcheck.triage import Triage

#: No text within the report can hold this: its quotes and line ends are escaped there.
_NO_MESSAGES = '\n "messages": []'
_AT_ONCE = 256


def report_json(report: Report) -> dict[str, Any]:
    """The report as an object for :func:`json.dumps`."""
    return _report(report, [_message(t) for t in report.conversation.transmissions])


def _report(report: Report, messages: list[dict[str, Any]]) -> dict[str, Any]:
    capture, verdict, quality = report.reading.capture, report.verdict, report.reading.quality
    return {
        "format": "pdcheck-report",
        "version": 1,
        "capture": {
            "path": report.path,
            "kind": capture.kind,
            "duration_s": _time(capture.duration_s),
            "sample_period_s": capture.sample_period_s,
            "start_s": capture.start_s,
            "cc": report.reading.cc,
            "lines": [{"name": line.name, "role": line.role.value} for line in capture.lines],
            "notes": list(report.reading.notes),
        },
        "verdict": verdict.outcome.value,
        "stopped_at": verdict.stopped_at.value if verdict.stopped_at is not None else None,
        "suspect": verdict.suspect.value if verdict.suspect is not None else None,
        "summary": verdict.summary,
        "next": list(verdict.next),
        "steps": [{"step": s.step.value, "state": s.state.value, "t_s": _time(s.t_s)} for s in verdict.steps],
        "contract": _contract(verdict.contract),
        "findings": [finding_json(f) for f in verdict.findings],
        "blocks": blocks_json(report.blocks),
        "messages": messages,
        "signal": {
            "packets": quality.packets,
            "crc_errors": quality.crc_errors,
            "broken_packets": quality.broken_packets,
            "unreadable_bursts": quality.unreadable_bursts,
            "stray_edges": quality.stray_edges,
            "bit_rate_bps": _whole(quality.bit_rate_bps),
            "bit_rate_min_bps": _whole(quality.bit_rate_min_bps),
            "bit_rate_max_bps": _whole(quality.bit_rate_max_bps),
            "duty_skew_s": _time(quality.duty_skew_s),
            "jitter_s": _time(quality.jitter_s),
            "time_step_s": quality.time_step_s,
            "idle_high": report.reading.idle_high,
        },
        "revision": report.conversation.revision,
    }


def dumps(report: Report) -> str:
    """The report as JSON text, without a final line end."""
    return "".join(pieces(report))


def pieces(report: Report) -> Iterator[str]:
    """The same text a piece at a time: that of a long capture is many times what it was made from."""
    before, mark, after = _text(_report(report, [])).partition(_NO_MESSAGES)
    sent = report.conversation.transmissions
    if not sent:
        yield before + mark + after
        return
    yield before + mark[:-1]
    for start in range(0, len(sent), _AT_ONCE):
        texts = (_text(_message(one)).replace("\n", "\n  ") for one in sent[start : start + _AT_ONCE])
        yield ("," if start else "") + ",".join("\n  " + text for text in texts)
    yield "\n ]" + after


def _text(value: dict[str, Any]) -> str:
    return json.dumps(value, indent=1, ensure_ascii=False, allow_nan=False)


def _time(seconds: float | None) -> float | None:
    """Seconds to the nanosecond: more digits say nothing."""
    return None if seconds is None else round(seconds, 9)


def _whole(value: float | None) -> int | None:
    return None if value is None else round(value)


def _contract(contract: Contract | None) -> dict[str, Any] | None:
    if contract is None:
        return None
    out: dict[str, Any] = {"kind": contract.kind, "voltage_mv": contract.voltage_mv}
    if contract.voltage_mv is None:
        out["min_voltage_mv"], out["max_voltage_mv"] = contract.min_voltage_mv, contract.max_voltage_mv
    if contract.power_mw is not None:
        out["power_mw"] = contract.power_mw
    else:
        out["current_ma"] = contract.current_ma
    out["position"] = contract.position
    out["t_s"] = _time(contract.since_s)
    out["ended_s"] = _time(contract.ended_s)
    return out


def blocks_json(blocks: Triage) -> list[dict[str, Any]]:
    """The blocks of the charging path, each with its state and the evidence for it."""
    return [
        {
            "block": result.block.value,
            "state": result.state.value,
            "evidence": [
                {
                    "source": e.source.value,
                    "says": "clears" if result.block in e.clears else "suspects",
                    "strength": e.strength.value,
                    "text": e.text,
                }
                for e in result.evidence
            ],
        }
        for result in blocks.blocks
    ]


def finding_json(finding: Finding) -> dict[str, Any]:
    """A finding, of a capture or of readings."""
    return {
        "rule": finding.rule,
        "severity": finding.severity.value,
        "who": finding.who.value if finding.who is not None else None,
        "t_s": _time(finding.t_s),
        "summary": finding.summary,
        "why": finding.why,
        "reference": finding.reference,
        "next": list(finding.next),
    }


def _message(one: Transmission) -> dict[str, Any]:
    packet, message = one.packet, one.message
    out: dict[str, Any] = {
        "t_s": _time(packet.start_s),
        "end_s": _time(packet.end_s),
        "sop": packet.sop.value if packet.sop is not None else None,
        "from": one.sender.value if isinstance(one.sender, Party) else "unknown",
        "name": one.name,
        "class": message.message_class if message is not None else (
            "signal" if packet.sop is not None and packet.sop.is_reset else None
        ),
        "message_id": message.header.message_id if message is not None else None,
        "revision": REVISIONS.get(message.header.revision) if message is not None else None,
        "objects": [object_json(o) for o in message.objects] if message is not None else [],
        "crc": packet.crc.value,
        "raw": packet.data.hex(),
        "acknowledged": one.acknowledged,
    }
    if packet.problem is not None:
        out["problem"] = packet.problem.value
    if message is not None and message.problems:
        out["problems"] = list(message.problems)
    return out
