"""The main job from outside: files by the second encoder in, verdicts of the finished command out.

The table of what must come out for what is seen stands in `faulty_talks.py`; here every row of it meets every
way the line can behave. Formats take turns.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import product
from pathlib import Path

import pytest

from tests.reference.cases import (
    FAST_ROWS,
    NO_TALK,
    RATE_SETS,
    ROWS,
    SKEWS,
    Way,
    draw_case,
    make_case,
    write_case,
)
from tests.reference.doubtful import DOUBTFUL, doubtful_case
from tests.reference.faulty_talks import FAULTY
from tests.reference.healthy_talks import HEALTHY
from tests.reference.judge import judge, mismatch
from tests.reference.real_logs import LOGS, log_capture
from tests.reference.second_encoder import LineManners
from tests.reference.sloppy_talks import SLOPPY
from tests.reference.wave_files import DIALECTS, PLAIN_DIALECTS, Dialect, write_edges, write_vcd

FORMS = ("edges", "vcd", "edges", "pyvcd")
WAYS = tuple(product((0, 1), RATE_SETS, SKEWS, ("", "strays")))


def table() -> Iterator[tuple[str, int, Way, str]]:
    """Every row with every way; one in twelve is written with every sample where the row is short enough."""
    turn = 0
    for row in ROWS:
        ways = WAYS if row not in NO_TALK or row == "too_slow" else WAYS[::6]
        for place, (idle, rates, skew, strays) in enumerate(ways):
            turn += 1
            kind = ("toggles", "hum")[turn % 2] if strays else ""
            form = FORMS[turn % len(FORMS)]
            if row in FAST_ROWS and not strays and place in (4, 22):
                form = "samples" if turn % 2 else "volts"
            yield row, place, Way(idle, rates, skew, random.Random(turn).uniform(0.0, 60e-9), kind), form


@pytest.mark.parametrize(("row", "seed", "way", "form"), list(table()))
def test_every_row_in_every_way(row: str, seed: int, way: Way, form: str, tmp_path: Path) -> None:
    case = make_case(row, seed, way, fast=form in ("samples", "volts"))
    path = write_case(case, tmp_path, form, row)
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {way.text()}, {path.name}"


@pytest.mark.parametrize("seed", range(60))
def test_healthy_conversations(seed: int, tmp_path: Path) -> None:
    names = sorted(HEALTHY)
    rng = random.Random(f"healthy {seed}")
    way = Way(rng.randint(0, 1), rng.choice(RATE_SETS), rng.choice(SKEWS), rng.uniform(0.0, 60e-9))
    case = make_case("healthy", seed, way, story=names[seed % len(names)])
    path = write_case(case, tmp_path, FORMS[seed % len(FORMS)], "healthy")
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {way.text()}, {path.name}"


@pytest.mark.parametrize("form", ["samples", "volts"])
@pytest.mark.parametrize("seed", range(5))
def test_every_sample_in_the_table(seed: int, form: str, tmp_path: Path) -> None:
    case = make_case("healthy", seed, Way(idle=seed % 2, jitter_s=20e-9), fast=True)
    path = write_case(case, tmp_path, form, f"all_{seed}")
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {path.name}"


@pytest.mark.parametrize("dialect", DIALECTS, ids=lambda dialect: dialect.name)
def test_every_look_of_a_table(dialect: Dialect, tmp_path: Path) -> None:
    case = make_case("healthy", 1, Way(idle=1), story="plain")
    path = write_edges(tmp_path / "look.csv", case.capture, dialect, random.Random(1))
    assert mismatch(case, *judge(path)) == ""


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("with_goodcrc", [True, False], ids=["with GoodCRC", "as logged"])
@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("rate", [270e3, 300e3, 330e3])
@pytest.mark.parametrize("form", ["csv", "vcd"])
def test_real_negotiations_pass(
    log: str, with_goodcrc: bool, idle: int, rate: float, form: str, tmp_path: Path
) -> None:
    manners = LineManners(idle=idle, jitter_s=20e-9)
    capture = log_capture(log, with_goodcrc=with_goodcrc, seed=1, manners=manners, rate_bps=rate)
    path = tmp_path / f"log.{form}"
    if form == "vcd":
        capture.cc = capture.cc.shifted(-capture.cc.start_s)
        write_vcd(path, capture, random.Random(1))
    else:
        write_edges(path, capture, PLAIN_DIALECTS[0], random.Random(1))
    status, report = judge(path)
    assert (status, report["verdict"], report["stopped_at"], report["suspect"]) == (0, "pass", None, None)
    assert report["contract"]["voltage_mv"] == {"real_log_1": 5000, "real_log_2": 5500}[log]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("name", SLOPPY)
def test_ports_that_work_but_not_to_the_letter(name: str, seed: int, tmp_path: Path) -> None:
    case = make_case("sloppy", seed, Way(idle=seed % 2, jitter_s=20e-9), story=name)
    path = write_case(case, tmp_path, FORMS[seed], "sloppy")
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {path.name}"


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("row", DOUBTFUL)
def test_no_port_is_accused_for_what_a_capture_does_not_show(row: str, seed: int, tmp_path: Path) -> None:
    case = doubtful_case(row, seed)
    path = write_case(case, tmp_path, FORMS[seed % len(FORMS)], row)
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {path.name}"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100))
@pytest.mark.parametrize("row", DOUBTFUL)
def test_no_port_is_accused_in_many_doubtful_captures(row: str, seed: int, tmp_path: Path) -> None:
    case = doubtful_case(row, seed + 100)
    path = write_case(case, tmp_path, FORMS[seed % len(FORMS)], row)
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {path.name}"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(600))
def test_many_healthy_conversations(seed: int, tmp_path: Path) -> None:
    case, form = draw_case("healthy", seed, wide=seed % 2 == 0)
    path = write_case(case, tmp_path, form, "healthy")
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {case.way.text()}, {path.name}"


@pytest.mark.long
@pytest.mark.parametrize("row", [*FAULTY, *NO_TALK])
@pytest.mark.parametrize("seed", range(40))
def test_many_faults(row: str, seed: int, tmp_path: Path) -> None:
    case, form = draw_case(row, seed, wide=seed % 2 == 0)
    path = write_case(case, tmp_path, form, row)
    assert mismatch(case, *judge(path)) == "", f"{case.variant}, {case.way.text()}, {path.name}"
