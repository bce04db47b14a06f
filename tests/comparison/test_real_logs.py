"""Real ports' logs as inputs: two rendered recordings of one log are alike, the two logs part."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck import check, decode, open_capture
from pdcheck.comparison import Alike, compare
from pdcheck.report.model import Report
from tests.reference.real_logs import LOGS, log_capture
from tests.reference.second_encoder import LineManners
from tests.reference.wave_files import DIALECTS, write_edges


def report(name: str, seed: int, folder: Path, *, with_goodcrc: bool, rate_bps: float, idle: int) -> Report:
    capture = log_capture(
        name, with_goodcrc=with_goodcrc, seed=seed, manners=LineManners(idle=idle, jitter_s=20e-9), rate_bps=rate_bps
    )
    path = write_edges(folder / f"{name}{seed}{with_goodcrc}.csv", capture, DIALECTS[0], random.Random(seed))
    return check(decode(open_capture(str(path))))


@pytest.mark.parametrize("name", LOGS)
def test_a_log_with_itself_at_other_rates(name: str, tmp_path: Path) -> None:
    good = report(name, 1, tmp_path, with_goodcrc=True, rate_bps=295e3, idle=0)
    bad = report(name, 2, tmp_path, with_goodcrc=True, rate_bps=312e3, idle=1)
    found = compare(good, bad)
    assert good.verdict.outcome == bad.verdict.outcome == "pass"
    assert found.outcome is Alike.ALIKE, found.summary
    assert {m.id for m in found.measures if m.differs} >= {"bit_rate_source", "bit_rate_sink"}
    assert not any(m.counts for m in found.measures)


@pytest.mark.parametrize("name", LOGS)
def test_goodcrcs_that_a_capture_does_not_show_are_no_difference(name: str, tmp_path: Path) -> None:
    good = report(name, 1, tmp_path, with_goodcrc=True, rate_bps=300e3, idle=0)
    bare = report(name, 1, tmp_path, with_goodcrc=False, rate_bps=300e3, idle=0)
    found = compare(good, bare)
    assert found.partings == (), found.first
    assert any(row.bad is not None and not row.bad.sure for row in found.rows)


def test_two_devices_part_at_what_they_ask_for(tmp_path: Path) -> None:
    """Log 1 takes the 5 V that it is offered; log 2 takes a programmable supply."""
    one, two = (report(name, 1, tmp_path, with_goodcrc=True, rate_bps=300e3, idle=0) for name in LOGS)
    found = compare(one, two)
    assert found.outcome is Alike.PART
    assert found.first is not None
    row = found.rows[found.first.row]
    assert row.good is not None
    assert row.bad is not None
    assert (row.good.what.name, row.bad.what.name) == ("Request", "Request")
    assert found.first.whose == "sink"
    assert any(c.topic == "contract" for c in found.contents)
