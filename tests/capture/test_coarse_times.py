"""Times too coarse to tell one change from the next: no line at rest, but a file that cannot be used."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.errors import CaptureError
from pdcheck.line import read_capture
from tests.reference.bench_waves import talk

BUS, END_S = talk(6, 2, idle=0)
ROWS = [(0.0, 0), *BUS.changes, (END_S, BUS.changes[-1][1])]


def complaint(path: Path, text: str) -> CaptureError:
    path.write_text(text)
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.path == str(path)
    return caught.value


def edges(decimals: int, header: str = "Time [s],CC1", more: str = "") -> str:
    return f"{header}\n" + "".join(f"{at:.{decimals}f},{level}{more}\n" for at, level in ROWS)


@pytest.mark.parametrize("decimals", [2, 3, 4])
@pytest.mark.parametrize(("header", "more"), [
    ("Time [s],CC1", ""), ("Time [s],CC1,VBUS [V]", ",5.0"), ("Time [s],CC1,VBUS [V],A0 [V]", ",5.0,0.2"),
    ("Time [s],Channel 0", ""),
])  # fmt: skip
def test_changes_that_fall_on_few_times(tmp_path: Path, decimals: int, header: str, more: str) -> None:
    error = complaint(tmp_path / "a.csv", edges(decimals, header, more))
    assert "too coarse" in error.what
    assert f'changes of "{header.split(",")[1]}" fall on' in error.what
    assert "more decimals" in error.remedy
    assert "--rate" in error.remedy


@pytest.mark.parametrize("cell", ["0", "0.000", "12.5"])
@pytest.mark.parametrize("header", ["Time [s],CC1", "Time [s],CC1 [V]"])
def test_one_time_for_all_rows(tmp_path: Path, cell: str, header: str) -> None:
    text = f"{header}\n" + "".join(f"{cell},{level}\n" for _, level in ROWS)
    error = complaint(tmp_path / "a.csv", text)
    assert f"all its {len(ROWS):,} rows have one and the same time" in error.what or "fall on one time" in error.what
    assert "more decimals" in error.remedy


def test_a_dump_with_too_long_a_tick(tmp_path: Path) -> None:
    changes = "".join(f"#{round(at * 1e3)}\n{level}!\n" for at, level in ROWS)
    head = "$timescale 1 ms $end\n$var wire 1 ! CC1 $end\n$enddefinitions $end\n"
    error = complaint(tmp_path / "a.vcd", head + changes)
    assert "too coarse" in error.what
    assert "timescale" in error.remedy


def test_what_is_fine_enough_is_read(tmp_path: Path) -> None:
    for decimals in (6, 7, 9):
        path = tmp_path / f"{decimals}.csv"
        path.write_text(edges(decimals))
        assert len(open_capture(path).lines) == 1
    assert sum(packet.intact for packet in read_capture(open_capture(path)).packets) == len(BUS.sent)


def test_a_fast_clock_beside_cc_does_not_condemn_the_file(tmp_path: Path) -> None:
    chance = random.Random(3)
    rows = sorted([*((at, "cc", level) for at, level in ROWS),
                   *((chance.random() * END_S, "clock", 0) for _ in range(40_000))])  # fmt: skip
    cc, clock, out = 0, 0, ["Time [s],CC1,clock"]
    for at, what, level in rows:
        cc, clock = (level, clock) if what == "cc" else (cc, 1 - clock)
        out.append(f"{at:.6f},{cc},{clock}")
    (tmp_path / "a.csv").write_text("\n".join(out) + "\n")
    assert len(open_capture(tmp_path / "a.csv").lines) == 2


def test_a_clock_beside_cc_in_volts_does_not_condemn_the_file(tmp_path: Path) -> None:
    text = "Time [s],CC1 [V],clock\n" + "".join(f"{i // 50 * 1e-4:.4f},{i % 7 * 0.1:.1f},{i % 2}\n" for i in range(900))
    (tmp_path / "a.csv").write_text(text)
    assert open_capture(tmp_path / "a.csv").lines
