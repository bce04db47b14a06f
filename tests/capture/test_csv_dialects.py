"""The same edges in any dialect give the same lines. Files are written by the csv module, by gzip, and by hand."""

from __future__ import annotations

import csv
import gzip
import io
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdcheck.capture import AnalogLine, Capture, DigitalLine, Role, open_capture
from pdcheck.errors import CaptureError

UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "ns": 1e-9}


def digital(capture: Capture, place: int = 0) -> DigitalLine:
    line = capture.lines[place]
    assert isinstance(line, DigitalLine)
    return line


def analog(capture: Capture, place: int) -> AnalogLine:
    line = capture.lines[place]
    assert isinstance(line, AnalogLine)
    return line


def read(folder: Path, text: str | bytes, name: str = "capture.csv", **options: object) -> Capture:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return open_capture(path, **options)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Dialect:
    """How an exporter might write the same thing."""

    delimiter: str
    comma: bool
    unit: str
    header: str
    line_end: str
    encoding: str
    quoted: bool
    trailing: bool
    metadata: tuple[str, ...]
    extra: bool
    number: str

    def time(self, seconds: float) -> str:
        value = seconds / UNITS[self.unit]
        shown = {"fixed": f"{value:.9f}", "short": f"{value:.12g}", "exponent": f"{value:.12e}"}[self.number]
        return shown.replace(".", ",") if self.comma else shown

    def render(self, rows: list[tuple[float, int, int]]) -> bytes:
        out = io.StringIO(newline="")
        for line in self.metadata:
            out.write(line + self.line_end)
        quoting = csv.QUOTE_ALL if self.quoted else csv.QUOTE_MINIMAL
        writer = csv.writer(out, delimiter=self.delimiter, lineterminator=self.line_end, quoting=quoting)
        tail = ["note"] if self.extra else []
        blank = [""] if self.trailing else []
        if self.header:
            names = [self.header.format(unit=self.unit), "CC1", "CC2"]
            writer.writerow(names + tail + blank)
        for seconds, one, two in rows:
            cells = [self.time(seconds), one, two]
            writer.writerow([*cells, *(["as seen"] if self.extra else []), *blank])
        return out.getvalue().encode(self.encoding)


dialects = st.builds(
    Dialect,
    delimiter=st.sampled_from([";", "\t"]),
    comma=st.booleans(),
    unit=st.sampled_from(list(UNITS)),
    header=st.sampled_from(["Time [{unit}]", "Time({unit})", "time_{unit}", "t/{unit}", "Timestamp ({unit})"]),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    quoted=st.booleans(),
    trailing=st.booleans(),
    metadata=st.sampled_from([(), ("# made on the slipway bench", "#"), ("Device: invented", "Rows: many", "")]),
    extra=st.booleans(),
    number=st.sampled_from(["fixed", "short", "exponent"]),
) | st.builds(
    Dialect,
    delimiter=st.just(","),
    comma=st.just(False),
    unit=st.sampled_from(list(UNITS)),
    header=st.sampled_from(["Time [{unit}]", "TIME ({unit})", "Time_{unit}"]),
    line_end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "latin-1"]),
    quoted=st.booleans(),
    trailing=st.booleans(),
    metadata=st.sampled_from([(), ("; a comment", "// and another"), ('"Sample rate","4 MHz"',)]),
    extra=st.booleans(),
    number=st.sampled_from(["fixed", "short", "exponent"]),
)


@st.composite
def changes(draw: st.DrawFn) -> list[tuple[float, int, int]]:
    steps = draw(st.lists(st.integers(1, 5_000), min_size=3, max_size=40))
    now, levels, rows = 0, [draw(st.integers(0, 1)), draw(st.integers(0, 1))], []
    for step in steps:
        rows.append((now * 1e-7, levels[0], levels[1]))
        now += step
        levels[draw(st.integers(0, 1))] ^= 1
    return rows


def edges_of(rows: list[tuple[float, int, int]], lane: int) -> list[float]:
    return [now[0] for before, now in pairwise(rows) if before[1 + lane] != now[1 + lane]]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(dialect=dialects, rows=changes())
def test_any_dialect_gives_the_same_edges(tmp_path: Path, dialect: Dialect, rows: list[tuple[float, int, int]]) -> None:
    capture = read(tmp_path, dialect.render(rows))
    assert [line.name for line in capture.lines] == ["CC1", "CC2"]
    assert [line.role for line in capture.lines] == [Role.CC1, Role.CC2]
    assert capture.time_unit_stated
    assert capture.duration_s == pytest.approx(rows[-1][0], abs=1e-12)
    for lane in (0, 1):
        line = digital(capture, lane)
        assert line.initial == bool(rows[0][1 + lane])
        assert line.edges_s.tolist() == pytest.approx(edges_of(rows, lane), abs=1e-12)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(rows=changes(), start=st.sampled_from([-0.25, 0.0, 12.5, 1_700_000_000.0]), name=st.sampled_from(["a.csv", "a"]))
def test_row_a_sample_and_row_a_change_agree(
    tmp_path: Path, rows: list[tuple[float, int, int]], start: float, name: str
) -> None:
    ticks = [round(row[0] * 1e7) for row in rows]
    if ticks[-1] > 60_000:
        ticks = [tick // 20 for tick in ticks]
    if sorted(set(ticks)) != ticks:
        return
    end = ticks[-1] + 200
    levels = np.zeros((end, 2), int)
    for tick, row in zip(ticks, rows, strict=True):
        levels[tick:] = row[1:]
    lines = ["Time [s],CC1,CC2"]
    base = round(start * 10_000_000)
    for tick in range(end):
        whole, part = divmod(abs(base + tick), 10_000_000)
        sign = "-" if base + tick < 0 else ""
        lines.append(f"{sign}{whole}.{part:07d},{levels[tick, 0]},{levels[tick, 1]}")
    capture = read(tmp_path, "\n".join(lines) + "\n", name)
    assert capture.kind == "csv-samples"
    assert capture.start_s == pytest.approx(start)
    assert capture.sample_period_s == pytest.approx(1e-7, rel=1e-6)
    for lane in (0, 1):
        found = digital(capture, lane).edges_s * 1e7
        steps = zip(ticks[1:], pairwise(rows), strict=True)
        wanted = [tick for tick, (old, new) in steps if old[1 + lane] != new[1 + lane]]
        assert found.tolist() == pytest.approx(wanted, abs=1e-3)


def test_times_printed_too_coarsely_are_taken_from_the_row_numbers(tmp_path: Path) -> None:
    # 4 MS/s with six decimals: four rows share a time, or nearly.
    level = [0] * 1000 + [1] * 7 + [0] * 5 + [1] * 988
    text = "Time [s],CC1\n" + "".join(f"{row * 0.25e-6:.6f},{bit}\n" for row, bit in enumerate(level))
    capture = read(tmp_path, text)
    assert capture.kind == "csv-samples"
    assert np.diff(digital(capture).edges_s).tolist() == pytest.approx([7 * 0.25e-6, 5 * 0.25e-6], rel=2e-3)


def test_a_change_file_with_a_steady_clock_is_still_a_change_file(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time [s],CC1\n" + "".join(f"{i * 1e-6:.6f},{i % 2}\n" for i in range(50)))
    assert capture.kind == "csv-edges"
    assert capture.sample_period_s is None
    assert len(digital(capture).edges_s) == 49


def test_no_header_no_unit(tmp_path: Path) -> None:
    capture = read(tmp_path, "1,0.000000\n0,0.000010\n1,0.000012\n")
    assert not capture.time_unit_stated
    assert capture.lines[0].name == "column 1"
    assert capture.lines[0].role is Role.OTHER
    assert digital(capture).edges_s.tolist() == pytest.approx([10e-6, 12e-6])
    assert digital(capture.rescaled(1e-3)).edges_s.tolist() == pytest.approx([10e-9, 12e-9])


def test_commented_header_and_blanks_as_delimiter(tmp_path: Path) -> None:
    capture = read(tmp_path, "# capture 7 (invented)\n# Time [us]  CC1  VBUS [mV]\n"
                   " 0  1  5012\n 3  0  5011\n 4  1  9020\n")  # fmt: skip
    assert [line.name for line in capture.lines] == ["CC1", "VBUS [mV]"]
    assert digital(capture).edges_s.tolist() == pytest.approx([3e-6, 4e-6])
    assert analog(capture, 1).values[-1] == pytest.approx(9.02)


def test_scope_export_with_metadata_two_header_rows_and_negative_times(tmp_path: Path) -> None:
    head = "Record Length,4\nSample Interval,1.0E-07\nProbe,10\n\nx-axis,CC1,VBUS\nsecond,Volt,Volt\n"
    capture = read(tmp_path, head + "-2.0E-07,0.02,5.01\n-1.0E-07,0.03,5.01\n0.0E+00,1.10,5.01\n1.0E-07,1.12,5.01\n")
    assert capture.start_s == pytest.approx(-2e-7)
    assert capture.time_unit_stated
    line = analog(capture, 0)
    assert (line.role, line.unit) == (Role.CC1, "V")
    assert line.times_s[line.values > 0.5][0] == pytest.approx(2e-7)


def test_columns_without_a_unit(tmp_path: Path) -> None:
    rows = "".join(f"{i}e-3,{i % 2},{4900 + i},{450 + i},{i % 2}\n" for i in range(20))
    capture = read(tmp_path, "Time [s],CC,VBUS,Current,VBUS_EN\n" + rows)
    assert analog(capture, 1).values[0] == pytest.approx(4.9, abs=0.02)
    assert analog(capture, 2).values[0] == pytest.approx(0.45, abs=0.005)
    assert analog(capture, 2).unit == "A"
    assert digital(capture, 3).role is Role.OTHER


def test_a_vbus_column_of_zeros_and_ones_is_digital(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time [s],CC1,VBUS\n0,1,0\n1e-3,0,1\n2e-3,1,1\n")
    assert digital(capture, 1).edges_s.tolist() == [1e-3]


def test_a_vbus_column_that_rises_late_keeps_what_came_before(tmp_path: Path) -> None:
    rows = "".join(f"{i * 1e-6:.6f},{i // 3 % 2},0\n" for i in range(30_000))
    capture = read(tmp_path, "Time [s],CC1,VBUS\n" + rows + "0.030000,0,5000\n0.030001,1,5000\n")
    line = analog(capture, 1)
    assert line.values[-1] == pytest.approx(5.0)
    assert line.values[0] == 0
    assert line.times_s[line.values > 1][0] == pytest.approx(0.03)


def test_equal_times_the_later_row_wins(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time [s],CC1,CC2\n0,0,0\n0,1,0\n1e-3,0,0\n1e-3,1,1\n2e-3,0,1\n")
    one, two = digital(capture, 0), digital(capture, 1)
    assert one.initial and one.edges_s.tolist() == [2e-3]
    assert not two.initial and two.edges_s.tolist() == [1e-3]


def test_last_row_cut(tmp_path: Path) -> None:
    whole = "Time [s],CC1,CC2\n0,1,0\n0.001,0,1\n0.002,1,1"
    for missing in range(9):
        capture = read(tmp_path, whole[: len(whole) - missing])
        assert digital(capture).edges_s[0] == 0.001


def test_index_with_interval_above_or_rate_given(tmp_path: Path) -> None:
    body = "Sample,CC1\n" + "".join(f"{i},{int(i > 5)}\n" for i in range(12))
    said = ("# Sample rate: 4 MHz\n", "Sampling rate = 4 MS/s\n", "# sample period: 250 ns\n", "Interval,2.5E-07\n")
    for above in said:
        capture = read(tmp_path, above + body)
        assert capture.sample_period_s == pytest.approx(0.25e-6)
        assert digital(capture).edges_s.tolist() == pytest.approx([6 * 0.25e-6])
    assert read(tmp_path, body, rate_hz=1e6).duration_s == pytest.approx(11e-6)
    with pytest.raises(CaptureError, match="--rate"):
        read(tmp_path, body)


def test_one_column_with_a_rate(tmp_path: Path) -> None:
    capture = read(tmp_path, "1\n1\n0\n0\n1\n", rate_hz=1e6)
    assert digital(capture).edges_s.tolist() == pytest.approx([2e-6, 4e-6])
    assert capture.kind == "csv-samples"


def test_two_time_columns(tmp_path: Path) -> None:
    rows = "".join(f"{i},{i * 2.5e-7:.8f},{int(i % 10 > 4)}\n" for i in range(40))
    capture = read(tmp_path, "Index,Time [s],CC1\n" + rows)
    assert [line.name for line in capture.lines] == ["CC1"]
    assert digital(capture).edges_s[0] == pytest.approx(5 * 2.5e-7)
    capture = read(tmp_path, "Time,Time [ms],CC1\n0.001,1,0\n0.002,2,1\n0.003,3,1\n")
    assert capture.time_unit_stated and capture.duration_s == pytest.approx(0.002)


def test_bus_columns(tmp_path: Path) -> None:
    capture = read(tmp_path, "Time [us],Port\n0,0x01\n1,0x03\n2,0x82\n")
    assert [line.name for line in capture.lines] == [f"Port[{bit}]" for bit in range(8)]
    assert digital(capture, 0).edges_s.tolist() == pytest.approx([2e-6])
    assert digital(capture, 7).edges_s.tolist() == pytest.approx([2e-6])
    capture = read(tmp_path, "Time [us],Port\n0,0101\n1,0100\n2,1100\n")
    assert digital(capture, 0).edges_s.tolist() == pytest.approx([1e-6])
    assert digital(capture, 3).edges_s.tolist() == pytest.approx([2e-6])


def test_level_words(tmp_path: Path) -> None:
    for low, high in (("L", "H"), ("low", "high"), ("False", "True"), ("0.0", "1.0"), ("0.000", "1.000")):
        capture = read(tmp_path, f"Time [s],CC1\n0,{low}\n1,{high}\n2,{low}\n")
        assert digital(capture).edges_s.tolist() == [1, 2]
        assert not digital(capture).initial


def test_gzip_by_content_not_by_name(tmp_path: Path) -> None:
    text = b"Time [s],CC1\n0,1\n1,0\n"
    capture = read(tmp_path, gzip.compress(text) + gzip.compress(b"2,1\n"), "no-suffix")
    assert digital(capture).edges_s.tolist() == [1, 2]


def test_roles_given_by_name_and_number(tmp_path: Path) -> None:
    text = "Time [s],Channel 0,Channel 1,CC1\n0,1,0,1\n1,0,1,0\n"
    by_name = read(tmp_path, text, roles={Role.CC1: "channel 1"})
    assert [line.role for line in by_name.lines] == [Role.OTHER, Role.CC1, Role.OTHER]
    by_number = read(tmp_path, text, roles={Role.CC2: "2"})
    assert [line.role for line in by_number.lines] == [Role.CC2, Role.OTHER, Role.CC1]
    with pytest.raises(CaptureError, match=r"Channel 0.*Channel 1"):
        read(tmp_path, text, roles={Role.CC1: "Channel 9"})


def test_hexadecimal_buses_without_leading_zeros_are_read(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],Bus\n" + "".join(f"{i * 1e-6:.6f},{0x1E if i % 3 else 0xF:#x}\n" for i in range(40)))
    lines = {line.name: line for line in open_capture(path).lines}
    assert isinstance(lines["Bus[0]"], DigitalLine) and isinstance(lines["Bus[1]"], DigitalLine)
    assert lines["Bus[0]"].initial and len(lines["Bus[0]"].edges_s) == 26
    assert lines["Bus[1]"].initial and len(lines["Bus[1]"].edges_s) == 0


def test_one_damaged_cell_does_not_turn_a_bus_into_a_number(tmp_path: Path) -> None:
    rows = [f"{i * 2.5e-7:.9f},1010001{i // 10 % 2}" for i in range(1_000)]
    rows[400] = rows[400][:-1]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],D7-D0", *rows, ""]))
    assert len(open_capture(path).lines) == 8
