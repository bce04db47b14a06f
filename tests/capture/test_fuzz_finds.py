"""What the fuzzer found (tests/bench/fuzz_capture.py), each as the smallest file that shows it."""

from __future__ import annotations

import os
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import AnalogLine, Capture, DigitalLine, open_capture
from pdcheck.capture.csv_buffer import BLOCK
from pdcheck.capture.csv_even import EvenReader
from pdcheck.capture.csv_fixed import FixedReader
from pdcheck.capture.csv_plain import PlainReader
from pdcheck.capture.csv_quiet import QuietReader
from pdcheck.capture.csv_uneven import UnevenReader
from pdcheck.capture.csv_varying import VaryingReader
from pdcheck.errors import CaptureError
from tests.capture.test_fast_readers import never, outcome

READERS = (EvenReader, QuietReader, UnevenReader, FixedReader, VaryingReader, PlainReader)


def carefully(path: Path, monkeypatch: pytest.MonkeyPatch) -> object:
    with monkeypatch.context() as patch:
        for reader in READERS:
            patch.setattr(reader, "read", never)
        return outcome(path)


def test_a_vcd_variable_without_bits_is_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "a.vcd"
    path.write_text(
        "$timescale 1 us $end $var string 1 s note $end $var wire 1 ! CC1 $end $enddefinitions $end\n"
        "#0\n0!\n1s\n#5\n1!\n$comment so that it is read word by word $end\n0s\n#9\n"
    )
    (line,) = open_capture(path).lines
    assert isinstance(line, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx([5e-6])


@pytest.mark.parametrize("cell", ['"002', "0;02", "#002", "00\n2", "%002", "0,02", "0 02", "00\r2", "!002", " #02"])
@pytest.mark.parametrize("delimiter", [",", ";"])
def test_what_is_wrong_with_a_cell_that_nobody_reads_is_seen_in_rows_of_one_width(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cell: str, delimiter: str
) -> None:
    rows = [f"{1000 + i}{delimiter}{i // 50 % 2}" for i in range(1500)]
    rows[1002] = f"{cell}{delimiter}{rows[1002][-1]}"
    path = tmp_path / "a.csv"
    path.write_bytes("\n".join(["# sample rate 1 MHz", f"Index{delimiter}CC1", *rows, ""]).encode())
    careful, found = carefully(path, monkeypatch), outcome(path)
    if isinstance(careful, tuple):
        assert found == careful
    else:
        assert not isinstance(found, tuple)
        assert found.duration_s == careful.duration_s  # type: ignore[attr-defined]


@pytest.mark.parametrize("row", ["0,00001002,0,5.02", "0.00001002,0,5,02", "00000010,2,0,5.02"])
@pytest.mark.parametrize("at", [1002, 1499])
def test_a_comma_for_a_point_makes_another_cell_where_commas_separate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, row: str, at: int
) -> None:
    rows = [f"{i * 1e-8:.8f},{i // 50 % 2},{5 + i % 3 / 100:.2f}" for i in range(1500)]
    rows[at] = row.replace("1002", str(at))
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    error = carefully(path, monkeypatch)
    assert error == ("the row has 4 columns where 3 are expected", at + 2)
    assert outcome(path) == error


@pytest.mark.parametrize("at", [1002, 1499])
def test_a_comma_inside_a_whole_number_makes_another_cell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int
) -> None:
    rows = [f"{100_000 + i},{i // 50 % 2}" for i in range(1500)]
    rows[at] = f"10,{at},{rows[at][-1]}"
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [ns],CC1", *rows, ""]))
    assert outcome(path) == carefully(path, monkeypatch) == ("the row has 3 columns where 2 are expected", at + 2)


@pytest.mark.parametrize("character", ["\0", "\x01", "\x08", "\x0e", "\x1a", "\x1f"])
def test_a_control_character_in_a_vcd_is_no_blank(tmp_path: Path, character: str) -> None:
    changes = [f"#{i}\n{i % 2}!" for i in range(1, 2000)]
    changes[1500] += character
    path = tmp_path / "a.vcd"
    path.write_text("\n".join(["$timescale 1 us $end $var wire 1 ! CC1 $end $enddefinitions $end", *changes, ""]))
    found = outcome(path)
    assert isinstance(found, tuple)
    assert found[0].endswith("is not a declared variable")
    assert found[1] == 3003


@pytest.mark.parametrize("left", [0, 100_000, 300_007])
def test_a_file_that_became_shorter_while_it_was_read_carries_no_verdict(tmp_path: Path, left: int) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Time [s],CC1\n" + "".join(f"{i * 1e-6:.6f},{i // 50 % 2}\n" for i in range(200_000)))

    def shrink(taken: int, total: int | None) -> None:
        if taken >= 1 << 16:
            os.truncate(path, left)

    with pytest.raises(CaptureError, match="became shorter while it was read"):
        open_capture(path, progress=shrink)


@pytest.mark.parametrize("more", [0, 15, 30, 45])
def test_a_row_twice_among_times_that_lose_their_zeros_is_no_steady_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: int
) -> None:
    # However many rows the careful reader takes first: the next one may be printed coarsely.
    rows = [f"{i * 2.5e-7:.8g},{0.4 + i % 7 / 1000:.3g}" + "0" * (0 < i <= more) for i in range(1200)]
    rows.insert(342, rows[342])
    head = ["Time [s],CC1 [V]"]
    path = tmp_path / "a.csv"
    path.write_text("\n".join([*head, *rows, ""]))
    careful, found = carefully(path, monkeypatch), outcome(path)
    assert isinstance(careful, Capture)
    assert isinstance(found, Capture)
    assert found.kind == careful.kind == "csv-edges"
    del rows[342]
    path.write_text("\n".join([*head, *rows, ""]))
    assert open_capture(path).kind == "csv-samples"


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_something_behind_the_last_separator_is_another_cell(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, end: str
) -> None:
    rows = [f"{i * 2.5e-7:.9e},{i // 50 % 2}," for i in range(1200)]
    rows[853] += "E"
    path = tmp_path / "a.csv"
    path.write_bytes(end.join(["Time [s],CC1,", *rows, ""]).encode())
    assert outcome(path) == carefully(path, monkeypatch) == ("the row has 3 columns where 2 are expected", 855)
    rows[853] = rows[853][:-1]
    path.write_bytes(end.join(["Time [s],CC1,", *rows, ""]).encode())
    assert isinstance(outcome(path), Capture)


@pytest.mark.parametrize("shown", ["{:.0e}", "{:g}e0", "{:g}E1"])
def test_an_exponent_without_a_point_is_an_exponent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shown: str
) -> None:
    # "1E1" is 10 V, and was read as 1.1 V where times vary in width.
    steps = [shown.format([1, 2, 12, 2][i // 400 % 4]).replace("e+0", "e") for i in range(3000)]
    path = tmp_path / "a.csv"
    rows = [f"{1 + i * 2.5e-7:.12g},{i // 50 % 2},{step}" for i, step in enumerate(steps)]
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    careful, found = carefully(path, monkeypatch), outcome(path)
    assert isinstance(careful, Capture)
    assert isinstance(found, Capture)
    vbus, expected = found.lines[1], careful.lines[1]
    assert isinstance(vbus, AnalogLine)
    assert isinstance(expected, AnalogLine)
    assert sorted(set(vbus.values.tolist())) == sorted(set(expected.values.tolist())) == sorted(set(map(float, steps)))


def test_a_comma_inside_a_level_makes_another_cell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [f"{i * 2.5e-7:.9f},{i // 50 % 2}.0" for i in range(1500)]
    rows[1002] = rows[1002].replace(".0", ",0").replace("0,0", "0.0", 1)
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    assert outcome(path) == carefully(path, monkeypatch) == ("the row has 3 columns where 2 are expected", 1004)


@pytest.mark.parametrize("at", [256, 560, 1000, 1499])
@pytest.mark.parametrize("cell", ["0.0022e937", "0.0022E+99", "-0.002E999", "9.99999e99"])
def test_a_time_beyond_any_number_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, at: int, cell: str
) -> None:
    rows = [f"{i * 2.5e-6:.8f},{i // 50 % 2}" for i in range(1500)]
    rows[at] = f"{cell},{rows[at][-1]}"
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    error = carefully(path, monkeypatch)
    assert isinstance(error, tuple)
    assert outcome(path) == error
    assert error[1] == at + 2


def test_one_value_beyond_reason_does_not_hide_the_others(tmp_path: Path) -> None:
    volts = np.random.default_rng(4).normal(5.0, 0.02, 3_000).round(3)
    volts[2_000] = 5e8
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1,VBUS [V]\n" + "".join(f"{i * 2.5e-7:.9f},0,{v:.10g}\n" for i, v in enumerate(volts)))
    (vbus,) = [line for line in open_capture(path).lines if isinstance(line, AnalogLine)]
    held = vbus.values[np.searchsorted(vbus.times_s, np.arange(3_000) * 2.5e-7 + 1e-9, side="right") - 1]
    assert np.abs(held - volts).max() <= 0.0201


@pytest.mark.parametrize("cell", ["0.e99006", "1E00001", "5.0e-00003"])
def test_an_exponent_of_five_digits_is_no_number_anywhere(tmp_path: Path, cell: str) -> None:
    rows = [f"{i * 2.5e-7:.9f},0,{-1.0 ** i * 0.001234:.4e}" for i in range(300)]
    rows[200] = f"{200 * 2.5e-7:.9f},0,{cell}"
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    with pytest.raises(CaptureError, match="is not a number") as caught:
        open_capture(path)
    assert caught.value.line == 202


@pytest.mark.parametrize("before", [0, 100, 1 << 18, (1 << 18) - 14])
def test_a_last_declaration_that_does_not_end_is_said(tmp_path: Path, before: int) -> None:
    path = tmp_path / "a.vcd"
    head = "$timescale 1 ns $end $var wire 1 ! CC1 $end "
    path.write_text(head + " " * max(0, before - len(head)) + "$enddefinitions " + "#0 1! " * 120_000)
    with pytest.raises(CaptureError, match="declarations do not end"):
        open_capture(path)


@pytest.mark.parametrize("long", ["[" * 500_000, "(s " * 200_000])
def test_a_name_of_brackets_that_none_closes_ends(tmp_path: Path, long: str) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(f"Time [s],{long}\n" + "".join(f"{row / 4e6:.8f},{row // 7 % 2}\n" for row in range(300)))
    line = open_capture(path).lines[0]
    assert isinstance(line, DigitalLine)
    assert len(line.edges_s) == 299 // 7


@pytest.mark.parametrize("wide", [252, 900])
def test_empty_lines_at_the_end_of_the_buffer_under_wide_ones(tmp_path: Path, wide: int) -> None:
    rows = (BLOCK - 20_000) // (wide + 1)
    some = "".join(f"{row // 9 % 2:>{wide}}\n" for row in range(rows))
    path = tmp_path / "capture.csv"
    path.write_text(some + "\n" * 90_000 + some[: 600 * (wide + 1)])
    line = open_capture(path, rate_hz=1e6).lines[0]
    assert isinstance(line, DigitalLine)
    assert len(line.edges_s) == sum(a // 9 % 2 != b // 9 % 2 for a, b in pairwise([*range(rows), *range(600)]))


@pytest.mark.parametrize("mark", ["-", "=", "-+", "- "])
def test_a_long_line_of_dashes_ends(tmp_path: Path, mark: str) -> None:
    rows = "".join(f"{row / 4e6:.8f},{row // 7 % 2}\n" for row in range(300))
    path = tmp_path / "capture.csv"
    path.write_text(f"Time [s],CC1\n{rows}{mark * 200_000}x\n")
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == 302
