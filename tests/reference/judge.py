"""The finished command as a black box: a file in, exit status and report out, and whether that is right."""

from __future__ import annotations

import json
import traceback
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner

from tests.reference.cases import Case
from tests.reference.faulty_talks import Expect
from tests.reference.offers import Demand

STATUS = {"pass": 0, "fail": 1, "inconclusive": 3}


def judge(path: Path, *options: str) -> tuple[int, dict[str, Any]]:
    """Exit status and JSON report of `pdcheck decode --json`; an escaped error is raised again."""
    command: click.Command = import_module("pdcheck.cli").main
    result = CliRunner().invoke(command, ["decode", "--json", str(path), *options])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise AssertionError("".join(traceback.format_exception(result.exception)))
    if result.exit_code == 2:
        return 2, {"verdict": None, "stopped_at": None, "suspect": None, "summary": result.output}
    report: dict[str, Any] = json.loads(result.stdout)
    return result.exit_code, report


def mismatch(case: Case, status: int, report: dict[str, Any]) -> str:
    """What is wrong with a report, or an empty string."""
    expect = case.expect
    verdict, stopped, suspect = report["verdict"], report["stopped_at"], report["suspect"]
    wrong = []
    if verdict not in expect.verdicts:
        wrong.append(f"verdict {verdict}, not {'/'.join(expect.verdicts)}")
    elif status != STATUS[verdict]:
        wrong.append(f"exit status {status} with verdict {verdict}")
    if expect.stopped_at and stopped not in expect.stopped_at:
        wrong.append(f"stopped_at {stopped}, not {'/'.join(map(str, expect.stopped_at))}")
    if expect.suspects and suspect not in expect.suspects:
        wrong.append(f"suspect {suspect}, not {'/'.join(map(str, expect.suspects))}")
    if suspect in expect.not_suspects:
        wrong.append(f"suspect {suspect}")
    findings = [(f["rule"], f["severity"], f["who"], f["summary"]) for f in report.get("findings", [])]
    wrong += finding_missing(expect, findings)
    wrong += _packets_lost(case, report)
    wrong += _contract(case, report)
    if wrong:
        wrong.append(f"[{report.get('summary', '')}]")
    return "; ".join(wrong)


def finding_missing(expect: Expect, findings: Sequence[tuple[str, str, str | None, str]]) -> list[str]:
    """What the findings (rule, severity, who, summary) lack of what is expected of them."""
    if not expect.finding_who and not expect.finding_words:
        return []
    for rule, severity, who, summary in findings:
        if severity not in ("warn", "fail") or (expect.finding_who and who not in expect.finding_who):
            continue
        if not expect.finding_words or any(word in f"{rule} {summary}" for word in expect.finding_words):
            return []
    return [f"no warning about {'/'.join(expect.finding_who) or 'anybody'}"]


def _packets_lost(case: Case, report: dict[str, Any]) -> list[str]:
    """Whether every intact packet but GoodCRC was read, in order, and nothing else was taken for intact."""
    talk = case.talk
    if talk is None or talk.cut_s or "messages" not in report:
        return []
    sent = [p for p in talk.packets if not p.flaws.flip_bits and p.label != "GoodCRC"]
    due = [(p.sop, p.payload.hex()) for p in sent]
    got = [
        (m["sop"], "" if m["class"] == "signal" else m["raw"].lower())
        for m in report["messages"]
        if m["crc"] != "bad" and m["name"] != "GoodCRC"
    ]
    if due == got:
        return []
    return [f"{len(due)} intact packets sent, {len(got)} read" + (", not the same" if len(due) == len(got) else "")]


def _contract(case: Case, report: dict[str, Any]) -> list[str]:
    """Whether the last contract of a conversation that goes well is the one reported."""
    if case.expect.verdicts != ("pass",) or case.talk is None or case.talk.settled is None:
        return []
    return contract_wrong(case.talk.settled, report.get("contract"))


def contract_wrong(demand: Demand, contract: dict[str, Any] | None) -> list[str]:
    """How a reported contract differs from the one that was made."""
    if not contract:
        return ["no contract"]
    wrong = []
    if contract["position"] != demand.position:
        wrong.append(f"contract position {contract['position']}, not {demand.position}")
    if demand.kind in ("fixed", "pps", "avs") and contract["voltage_mv"] != demand.mv:
        wrong.append(f"contract {contract['voltage_mv']} mV, not {demand.mv}")
    return wrong
