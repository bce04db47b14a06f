"""What a case takes from a file: the capture itself, a saved report, or readings."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from pdcheck.casebook.fingerprint import fingerprint_from_json, fingerprint_json
from pdcheck.casebook.intake import readings_file, take
from pdcheck.errors import PdcheckError
from tests.casebook.books import DEMO, GOOD, NEVER_ASKS, fingerprint, report

ALL = sorted(p.name for p in DEMO.iterdir() if p.suffix in (".csv", ".vcd", ".gz") and p.name != "index.csv")


@pytest.mark.parametrize("name", ALL)
def test_a_saved_report_gives_what_the_capture_gives(tmp_path: Path, name: str) -> None:
    saved = tmp_path / "r.json"
    saved.write_text(report(name), encoding="utf-8")
    mine, theirs = fingerprint(name), take(str(saved)).fingerprint
    # A report does not hold the current that was captured.
    assert theirs == replace(mine, current_ma=None)
    assert fingerprint_from_json(json.loads(json.dumps(fingerprint_json(mine)))) == mine


def test_a_fingerprint_says_what_the_report_says() -> None:
    seen = fingerprint(NEVER_ASKS.name)
    assert (seen.verdict, seen.stopped_at, seen.suspect) == ("fail", "request", "sink")
    assert seen.leading == "no-request" and ("no-request", "fail") in seen.rules
    assert [o.words for o in seen.offered] == ["5 V 3 A", "9 V 3 A", "15 V 3 A", "20 V 2.25 A"]
    assert (seen.offers, seen.resets, seen.asked, seen.contract) == (4, 4, None, None)
    good = fingerprint(GOOD.name)
    assert good.contract is not None
    assert (good.contract.words, good.asked, good.leading) == ("9 V 1.8 A", 2, None)
    assert good.current_ma is not None and 1600 < good.current_ma < 1900, "the demo's device draws 1.7 A"
    assert fingerprint("tablet_pps_keep_alive.csv").offered[-1].words.endswith("(spr_pps)")


def test_a_meter_goes_before_a_captured_current() -> None:
    taken = take(str(GOOD), current_ma=33).fingerprint
    assert taken is not None and taken.current_ma == 33


def test_readings_keep_their_kind(tmp_path: Path) -> None:
    path = tmp_path / "m.json"
    path.write_text('{"format": "pdcheck-measure", "cc1_v": 0.41}', encoding="utf-8-sig")
    assert readings_file(str(path)).kind == "measure"
    taken = take(str(path))
    assert taken.fingerprint is None and taken.reading is not None
    assert (taken.reading.kind, taken.reading.data["cc1_v"]) == ("measure", 0.41)
    path.write_text("[1, 2]", encoding="utf-8")
    assert readings_file(str(path)).kind == "readings"


def broken_report(**changes: Any) -> bytes:
    whole = json.loads(report(NEVER_ASKS.name))
    return json.dumps({**whole, **changes}).encode()


@pytest.mark.parametrize("content", [
    b"{", b"[", b"{}", b"[]", b'{"format": "pdcheck-report"}', b'{"format": "pdcheck-report", "steps": []}',
    b'{"a": NaN}', b'{"a": 1e999}', b"[" * 100_000, b'{"a": "\xff"}', b'{"format": 3}', b'{"format": "pdcheck-"}',
    b'{"a": ' + b"9" * 5000 + b"}",
    broken_report(version=2), broken_report(version="x"), broken_report(steps=[1]), broken_report(findings={}),
    broken_report(messages=[None]), broken_report(contract=5), broken_report(contract={"kind": 1}),
    broken_report(verdict=None), broken_report(stopped_at=7), broken_report(summary=[]),
    broken_report(steps=[{"step": "offer", "state": "reached", "t_s": "soon"}]),
    broken_report(steps=[{"step": "offer", "state": "reached", "t_s": 10**400}]),
    broken_report(findings=[{"rule": "x"}]),
    broken_report(messages=[{"sop": "SOP", "crc": "ok", "name": "Source_Capabilities", "objects": [{"kind": "fixed",
                             "voltage_mv": 1e3}]}]),
])
def test_json_that_is_no_report_is_one_line(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "r.json"
    path.write_bytes(content)
    with pytest.raises(PdcheckError) as error:
        take(str(path))
    assert error.value.path == str(path)
    assert len(error.value.one_line().splitlines()) == 1


@pytest.mark.parametrize("cut_at", range(1, 4000, 397))
def test_half_a_report(tmp_path: Path, cut_at: int) -> None:
    path = tmp_path / "r.json"
    path.write_text(report(NEVER_ASKS.name)[:cut_at], encoding="utf-8")
    with pytest.raises(PdcheckError):
        take(str(path))


def test_two_reports_in_one_file(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    path.write_text(f"[{report(NEVER_ASKS.name)}]", encoding="utf-8")
    assert take(str(path)).fingerprint == fingerprint(NEVER_ASKS.name)
    path.write_text(f"[{report(NEVER_ASKS.name)}, {report(GOOD.name)}]", encoding="utf-8")
    with pytest.raises(PdcheckError, match="holds 2 things"):
        take(str(path))


@pytest.mark.parametrize("path", ["no such file.csv", str(DEMO), "a\0b", str(DEMO / "tablet_never_asks.talk")])
def test_what_is_no_capture(path: str) -> None:
    with pytest.raises(PdcheckError):
        take(path)
    with pytest.raises(PdcheckError):
        readings_file(path)
