"""What of a file is too much to be kept: the report says so in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import lines as lines_module
from pdcheck.capture import open_capture
from pdcheck.capture import waves as waves_module
from pdcheck.errors import CaptureError
from pdcheck.pipeline import check, decode
from pdcheck.report.as_text import report_text

CLOCK = [f"{i * 1e-6:.6f},{i // 70 % 2},{i % 2}" for i in range(20_000)]


def said(path: Path) -> str:
    return " ".join(report_text(check(decode(open_capture(path))), width=80).split())


def test_a_column_beside_cc_that_was_given_up_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1,clock", *CLOCK, ""]))
    assert '"clock"' not in said(path)
    monkeypatch.setattr(lines_module, "MOST_BESIDE", 1000)
    assert 'The column "clock" changes so often beside CC that it was not kept.' in said(path)


def test_a_vcd_variable_that_was_given_up_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines_module, "MOST_BESIDE", 1000)
    path = tmp_path / "a.vcd"
    head = "$timescale 1 us $end $var wire 1 ! CC1 $end $var wire 1 # clock $end $enddefinitions $end\n"
    path.write_text(head + "#0 0! 0#\n" + "".join(f"#{i}\n{i % 2}#\n" for i in range(1, 5000)))
    assert 'The column "clock" changes so often beside CC that it was not kept.' in said(path)


def test_a_wave_that_was_kept_less_finely_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(8)
    volts = 5.0 + rng.normal(0, 0.06, 50_000)
    path = tmp_path / "a.csv"
    rows = [f"{i * 2.5e-7:.9f},0,{v * 1e3:.1f}" for i, v in enumerate(volts)]
    path.write_text("\n".join(["Time [s],CC1,VBUS [mV]", *rows, ""]))
    assert "was kept to within" not in said(path)
    monkeypatch.setattr(waves_module, "_SLOW_BUDGET", 5_000)
    # 20 mV is the band in which VBUS is kept; it is doubled until the points fit.
    assert 'The column "VBUS [mV]" moves so much that it was kept to within 0.' in said(path)


@pytest.mark.parametrize("header", ["Time [s],one,two", "Time,one,two"])
def test_more_changes_than_can_be_judged_end_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, header: str
) -> None:
    path = tmp_path / "a.csv"
    path.write_text("\n".join([header, *CLOCK, ""]))
    monkeypatch.setattr("pdcheck.capture.csv_reader.MOST_EDGES", 1000)
    monkeypatch.setattr("pdcheck.capture.csv_reader.MOST_UNSCALED", 900)
    most = "1,000" if "[s]" in header else "900"
    with pytest.raises(CaptureError, match=f"more than {most} level changes .*: more than can be judged") as caught:
        open_capture(path)
    assert caught.value.line is not None
    assert "shorter" in caught.value.remedy


def swinging(path: Path, header: str, cells: str) -> Path:
    rng = np.random.default_rng(3)
    volts = rng.integers(0, 2, (30_000, 2)) * 1.1
    rows = (f"{i * 2.5e-7:.9f},{cells.format(a=a, b=b)}" for i, (a, b) in enumerate(volts.tolist()))
    path.write_text("\n".join([header, *rows, ""]))
    return path


@pytest.mark.parametrize(("header", "cells"), [
    ("Time [s],CC1 [V]", "{a:.2f}"), ("Time [s],CC1 [V],VBUS [V]", "{a:.2f},5"),
    ("Time [s],CH1 [V],CH2 [V]", "{a:.2f},{b:.2f}"),
])  # fmt: skip
def test_volts_of_which_nothing_could_be_read_any_more_end_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, header: str, cells: str
) -> None:
    monkeypatch.setattr(waves_module, "_WAVE_BUDGET", 3000)
    with pytest.raises(CaptureError, match="CC moves more than can be kept") as caught:
        open_capture(swinging(tmp_path / "a.csv", header, cells))
    assert caught.value.line is not None
    assert "shorter" in caught.value.remedy


def test_of_two_contacts_the_one_that_only_swings_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waves_module, "_WAVE_BUDGET", 3000)
    path = swinging(tmp_path / "a.csv", "Time [s],CC1 [V],CC2 [V]", "0.41,{b:.2f}")
    assert [line.name for line in open_capture(path).lines] == ["CC1 [V]"]
    assert 'The column "CC2 [V]" moves more than can be kept, and was not read.' in said(path)


def test_a_vcd_number_that_only_swings_is_left_out_or_ends_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(waves_module, "_WAVE_BUDGET", 3000)
    changes = "".join(f"#{i}\nr{i % 2 * 1.1} c\n" for i in range(1, 20_000))
    path = tmp_path / "a.vcd"
    head = "$timescale 1 us $end $var wire 1 ! CC1 $end $var real 64 c other $end $enddefinitions $end\n#0 0!\n"
    path.write_text(head + changes)
    assert [line.name for line in open_capture(path).lines] == ["CC1"]
    path.write_text(head.replace("CC1", "VBUS").replace("other", "CC2") + changes)
    with pytest.raises(CaptureError, match="CC moves more than can be kept"):
        open_capture(path)
