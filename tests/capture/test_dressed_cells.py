"""Exports whose cells say more than their value, and files that count samples: the packets sent come out of each.

The waves are those of ``tests.reference.bench_waves``, which shares no code with the package. The spellings are
common practice of spreadsheets, analyzers and simulators; no source.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdcheck.capture import Capture, DigitalLine, csv_dressed, open_capture
from pdcheck.capture.csv_same_dress import SameDress
from pdcheck.errors import CaptureError
from pdcheck.line import read_capture
from pdcheck.pipeline import check, decode
from tests.capture.test_fast_readers import never, outcome
from tests.reference import bench_waves

RATE = 4_000_000
BUS, END_S = bench_waves.talk(11, before_s=1.2e-3, after_s=1e-3)
SENT = [one.message for one in BUS.sent]
CHANGES = [(0.0, BUS.idle), *bench_waves.edges(BUS), (END_S, BUS.idle)]
LEVELS = bench_waves.sample(CHANGES[1:-1], BUS.idle, RATE, END_S, 0.3).tolist()
ROWS = [(row, *pair) for row, pair in enumerate(zip(LEVELS, [None, *LEVELS], strict=False)) if pair[0] != pair[1]]
VOLTS = bench_waves.volts(BUS, END_S, RATE, noise_v=0.01, seed=3).tolist()

Row = Callable[[float, int], str]


def changes(header: str, row: Row) -> str:
    return "\n".join([header, *(row(time, level) for time, level in CHANGES)]) + "\n"


def samples(header: str, row: Callable[[int, int], str]) -> str:
    return "\n".join([header, *(row(number, level) for number, level in enumerate(LEVELS))]) + "\n"


def grouped(value: float, mark: str, point: str, decimals: int) -> str:
    return f"{value:,.{decimals}f}".replace(",", "\0").replace(".", point).replace("\0", mark)


def clock(time: float, start_s: int = 14 * 3600 + 59 * 60 + 59) -> str:
    whole = start_s + int(time)
    part = f"{time - int(time):.9f}".removeprefix("0")
    return f"{whole // 3600 % 24:02d}:{whole // 60 % 60:02d}:{whole % 60:02d}{part}"


def engineering(time: float) -> str:
    unit, factor = next((pair for pair in (("s", 1), ("ms", 1e3), ("us", 1e6)) if time * pair[1] >= 1), ("ns", 1e9))
    return f"{time * factor:.9g} {unit}"


def bus(level: int, bit: int = 5) -> int:
    return 0x0A & ~(1 << bit) | level << bit


FILES: dict[str, str] = {
    "units": changes("Time,CC1", lambda t, v: f"{t * 1e6:.3f} us,{v}"),
    "units without a blank": changes("Time;CC1", lambda t, v: f"{t * 1e3:.6f}ms;{v}".replace(".", ",")),
    "units of all sizes": changes("Time,CC1", lambda t, v: f"{engineering(t)},{v}"),
    "units in header and cells": changes("Time [ms],CC1", lambda t, v: f"{t * 1e6:.3f} us,{v}"),
    "volts with units": "\n".join(
        ["Time [us],CC1", *(f"{row / 4:.2f},{volts * 1e3:.1f} mV" for row, volts in enumerate(VOLTS))]
    ),
    "levels in volts with units": changes("Time [s],CC1", lambda t, v: f"{t:.9f},{('0 V', '3.3 V')[v]}"),
    "thousands, quoted": changes("Time [us],CC1", lambda t, v: f'"{grouped(t * 1e6, ",", ".", 3)}",{v}'),
    "thousands and a decimal comma": changes("t [us];CC1", lambda t, v: f"{grouped(t * 1e6, '.', ',', 3)};{v}"),
    "thousands of whole numbers": changes("Time [ns];CC1", lambda t, v: f"{grouped(t * 1e9, '.', ',', 0)};{v}"),
    "thousands by blanks": changes("Time [ns];CC1", lambda t, v: f"{grouped(t * 1e9, ' ', ',', 0)};{v}"),
    "thousands by no-break spaces": changes("Time [us];CC1", lambda t, v: f"{grouped(t * 1e6, chr(160), ',', 3)};{v}"),
    "thousands by apostrophes": changes("Time [us];CC1", lambda t, v: f"{grouped(t * 1e6, chr(39), '.', 3)};{v}"),
    "thousands, row a sample": samples("Time [us];CC1", lambda n, v: f"{grouped(n / 4, '.', ',', 2)};{v}"),
    "time of day": changes("Time,CC1", lambda t, v: f"{clock(t)},{v}"),
    "date and time": changes("Timestamp,CC1", lambda t, v: f"2026-03-05T{clock(t)}Z,{v}"),
    "day first": changes("Zeit;CC1", lambda t, v: f"05.03.2026 {clock(t).replace('.', ',')};{v}"),
    "a column of dates": changes("Date,Time,CC1", lambda t, v: f"2026-03-05,{clock(t)},{v}"),
    "past midnight": changes("Time,CC1", lambda t, v: f"{clock(t + 0.995, 86_399)},{v}"),
    "binary with a width": changes("Time [s],Port", lambda t, v: f"{t:.9f},6'b{bus(v):b}"),
    "binary with a letter": changes("Time [s],Port", lambda t, v: f"{t:.9f},b{bus(v):08b}"),
    "binary in groups": changes("Time [s],Port", lambda t, v: f'{t:.9f},"{bus(v) >> 4:04b} {bus(v) & 15:04b}"'),
    "hexadecimal with a width": changes("Time [s],Port", lambda t, v: f"{t:.9f},8'h{bus(v):X}"),
    "hexadecimal with a dollar": changes("Time [s],Port", lambda t, v: f"{t:.9f},${bus(v):02X}"),
    "bare hexadecimal": changes("Time [s],Port", lambda t, v: f"{t:.9f},{bus(v):02X}"),
    "0Bh is eleven": changes("Time [s],Port", lambda t, v: f"{t:.9f},{10 + v:02X}h"),
    "single quotes": changes("'Time [s]','CC1'", lambda t, v: f"'{t:.9f}','{v}'"),
    "cells as formulas": changes("Time [s],CC1", lambda t, v: f'="{t:.9f}",="{v}"'),
    "a loose exponent": changes("Time [s],CC1", lambda t, v: f"{t * 1e6:.3f} E-06,{v}"),
    "volts now and then": samples(
        "Time [us],CC1,VBUS [V]", lambda n, v: f"{n / 4:.2f},{v},{'' if n % 10 else f'{5 + n % 3 / 100:.2f}'}"
    ),
    "quoted volts now and then": samples(
        '"Time [us]","CC1","VBUS [V]"', lambda n, v: f'"{n / 4:.2f}","{v}","{"" if n % 10 else "5.0" + str(n % 3)}"'
    ),
    "levels at changes": samples(
        "Time [us];VBUS [V];CC1", lambda n, v: f"{n / 4:.2f};5.0{n % 9};{v if not n or LEVELS[n - 1] != v else ''}"
    ),
    "volts first, now and then": samples(
        "VBUS [V],Time [us],CC1", lambda n, v: f"{'' if n % 4 else f'{5 + n % 3 / 100:.2f}'},{n / 4:.2f},{v}"
    ),
    "channels in turn": samples(
        "Time [us],CC1,VBUS [V]", lambda n, v: f"{n / 4:.2f},{v},\n{n / 4 + 0.1:.2f},,5.0{n % 7}"
    ),
    "yes and no": changes("Time [s],CC1", lambda t, v: f"{t:.9f},{('no', 'yes')[v]}"),
}  # fmt: skip

ABOVE = (
    "# sample interval (ns): 250", "# Interval [us]: 0.25", "Sampling interval in ns: 250", "Sampling interval,ns,250",
    "Sample rate: 4,000,000 Hz", "Abtastrate;4.000.000 Hz", "# Sample rate: 4 000 000", "Sampling rate (MHz): 4",
    "# 4 MS/s", "Samples per second: 4000000", "HResolution,2.5E-07", "XINCR,2.5e-07", "Sample period: 1/4000000 s",
)  # fmt: skip


def packets(path: Path, text: str, rate_hz: float | None = None) -> list[bytes]:
    path.write_text(text, encoding="utf-8")
    return [bytes(packet.data) for packet in read_capture(open_capture(path, rate_hz=rate_hz)).packets if packet.intact]


@pytest.mark.parametrize("name", FILES)
def test_dressed_cells(tmp_path: Path, name: str) -> None:
    assert packets(tmp_path / "capture.csv", FILES[name]) == SENT


@pytest.mark.parametrize("above", ABOVE)
def test_the_step_above_the_header(tmp_path: Path, above: str) -> None:
    rows = samples(f"{above}\nSample,CC1", lambda number, level: f"{number},{level}")
    assert packets(tmp_path / "capture.csv", rows) == SENT


def test_the_step_below_its_name(tmp_path: Path) -> None:
    rows = "\n".join(f"{number},{volts:.3f}," for number, volts in enumerate(VOLTS))
    head = "X,CH1,Start,Increment,\nSequence,Volt,-5.0e-03,2.5e-07,\n"
    assert packets(tmp_path / "capture.csv", head + rows) == SENT


@pytest.mark.parametrize("header", ["Sample,CC1\n", "#,CC1\n", "Count;CC1\n", ""])
def test_a_row_a_change_numbered_by_samples(tmp_path: Path, header: str) -> None:
    mark = ";" if ";" in header else ","
    text = header + "\n".join(f"{row}{mark}{level}" for row, level, _ in ROWS) + "\n"
    assert packets(tmp_path / "capture.csv", text, rate_hz=RATE) == SENT


def test_whole_times_beside_a_told_rate_are_times(tmp_path: Path) -> None:
    head = "Sample rate: 4 MHz\nTime,CC1\n"
    rows = [f"{number * 250},{level}" for number, level in enumerate(LEVELS)]
    assert packets(tmp_path / "samples.csv", head + "\n".join(rows)) == SENT
    rows = [f"{row * 250},{level}" for row, level, _ in ROWS]
    assert packets(tmp_path / "changes.csv", head + "\n".join(rows)) == SENT
    assert packets(tmp_path / "changes.csv", "Time,CC1\n" + "\n".join(rows), RATE) == SENT
    rows = [f"{row},{level}" for row, level, _ in ROWS]
    assert packets(tmp_path / "counts.csv", head + "\n".join(rows)) == SENT
    # At a rate whose step is no whole number of nanoseconds.
    fast = bench_waves.sample(CHANGES[1:-1], BUS.idle, 24e6, END_S, 0.3)
    places = [0, *bench_waves.changed(fast).tolist()]
    rows = [f"{place / 24e6 * 1e9:.0f},{fast[place]}" for place in places]
    assert packets(tmp_path / "fast.csv", "Sample rate: 24 MHz\nTime,CC1\n" + "\n".join(rows)) == SENT
    rows = [f"{place},{fast[place]}" for place in places]
    assert packets(tmp_path / "fast.csv", "Sample rate: 24 MHz\nTime,CC1\n" + "\n".join(rows)) == SENT


def test_lines_keep_their_numbers(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    lines = FILES["units"].splitlines()
    lines[700] = "12.5 parsec,1"
    path.write_text("\n".join(lines))
    with pytest.raises(CaptureError) as said:
        open_capture(path)
    assert "line 701" in str(said.value)
    assert "'12.5 parsec'" in str(said.value)


def test_a_column_that_is_mostly_empty_and_has_a_name(tmp_path: Path) -> None:
    text = samples("Time [us],CC1,Note", lambda n, v: f"{n / 4:.2f},{v},{'trigger, at last' if n == 1500 else ''}")
    text = text.replace("trigger, at last", '"trigger, at last"')
    assert packets(tmp_path / "capture.csv", text) == SENT


def test_a_voltage_that_comes_late_is_not_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(samples("Time [us],CC1,VBUS", lambda n, v: f"{n / 4:.2f},{v},{'5.01' if n == 1500 else ''}"))
    with pytest.raises(CaptureError, match="line 1502: the row has 3 columns where 2 are expected"):
        open_capture(path)


@pytest.mark.parametrize("bad", ["{t},,5.00", "{t},1,", ",1,5.00"])
def test_a_few_empty_cells_are_no_habit(tmp_path: Path, bad: str) -> None:
    path = tmp_path / "capture.csv"
    lines = samples("Time [us],CC1,VBUS [V]", lambda n, v: f"{n / 4:.2f},{v},5.0{n % 3}").split("\n")
    for row in (300, 700):
        lines[row] = bad.format(t=lines[row].split(",")[0])
    path.write_text("\n".join(lines))
    with pytest.raises(CaptureError, match=r"line 301: column . .* is empty"):
        open_capture(path)


def test_what_cannot_be_read_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(changes("Time [s],CC1", lambda t, v: f"{t:.9f},{'-+'[v]}"))
    with pytest.raises(CaptureError, match=r"this line is '0[.]\d+,[+-]'; export times as plain numbers"):
        open_capture(path)


@pytest.mark.parametrize("by_change", [False, True])
def test_numbers_that_may_count_samples(tmp_path: Path, by_change: bool) -> None:
    path = tmp_path / "capture.csv"
    rows = [(row, level) for row, level, _ in ROWS] if by_change else list(enumerate(LEVELS))
    path.write_text("".join(f"{row},{level}\n" for row, level in rows))
    verdict = check(decode(open_capture(path))).verdict
    assert verdict.outcome.value == "inconclusive"
    assert "may count samples" in verdict.summary
    assert "--rate" in verdict.next[0]


@pytest.mark.parametrize("plain", ["0,5 100\n", "0.5,100.5\n", "1;0x1F\n", "1 000 001\n", "12,345 1\n"])
def test_plain_rows_are_left_alone(plain: str) -> None:
    from pdcheck.capture.csv_dressed import undressed

    text = (plain * 50).encode()
    assert undressed(memoryview(text), lambda _: 0, ended=True) is None


DAMAGE = (*" ,;.:-+'\"#\r", "us", "ms", "V", "8'h", "E-6", "12:", "1", "x")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(sorted(FILES)), piece=st.sampled_from([300, 2_000, 1 << 18]), seed=st.integers(0, 1 << 32),
    damaged=st.integers(0, 2), end=st.sampled_from(["\n", "\r\n"]), padded=st.booleans(),
)  # fmt: skip
def test_rows_that_wear_the_same_are_those_read_one_by_one(
    tmp_path: Path, name: str, piece: int, seed: int, damaged: int, end: str, padded: bool
) -> None:
    rng = random.Random(seed)
    lines = FILES[name].split("\n")
    if padded:
        lines = [line.replace(",", ", ").replace(";", " ; ") for line in lines]
    for _ in range(damaged):
        at = rng.randrange(1, len(lines))
        place = rng.randrange(len(lines[at]) + 1)
        lines[at] = rng.choice([
            lines[at][:place] + rng.choice(DAMAGE) + lines[at][place:], lines[at][:place] + lines[at][place + 1 :],
            "", "# a remark", lines[rng.randrange(1, len(lines))],
        ])  # fmt: skip
    path = tmp_path / "capture.csv"
    path.write_bytes(end.join(lines).encode())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_dressed, "_PIECE", piece)
        found = outcome(path)
        patch.setattr(SameDress, "of", never)
        careful = outcome(path)
    if not isinstance(found, Capture) or not isinstance(careful, Capture):
        assert found == careful
        return
    assert (found.kind, found.start_s, found.duration_s) == (careful.kind, careful.start_s, careful.duration_s)
    for line, expected in zip(found.lines, careful.lines, strict=True):
        assert (line.name, line.role) == (expected.name, expected.role)
        if isinstance(line, DigitalLine) and isinstance(expected, DigitalLine):
            assert (line.initial, line.edges_s.tolist()) == (expected.initial, expected.edges_s.tolist())


@pytest.mark.parametrize("name", ["units", "units without a blank", "time of day", "volts with units", "date and time"])
def test_rows_that_wear_the_same_are_not_read_one_by_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    count = 0
    plain = SameDress.plain

    def counted(self: SameDress, text: str) -> str | None:
        nonlocal count
        said = plain(self, text)
        count += 0 if said is None else said.count("\n")
        return said

    monkeypatch.setattr(SameDress, "plain", counted)
    monkeypatch.setattr(csv_dressed, "_PIECE", 5_000)
    assert packets(tmp_path / "capture.csv", FILES[name]) == SENT
    assert count > 0.5 * FILES[name].count("\n")


@pytest.mark.parametrize("spelled", ["5'h{:X}", "16'h{:02X}"])
def test_a_bus_whose_digits_are_fewer_than_its_width_tells(tmp_path: Path, spelled: str) -> None:
    # Of all zeros one cannot tell by the digits themselves which of them were put in front.
    rows = [(row, level if row else 0) for row, level in enumerate(LEVELS)]
    text = "\n".join(["Port,Time [us]", *(f"{spelled.format(level)},{row / 4:.2f}" for row, level in rows)]) + "\n"
    path = tmp_path / "capture.csv"
    path.write_text(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(csv_dressed, "_PIECE", 2_000)
        found = open_capture(path)
        patch.setattr(SameDress, "of", never)
        careful = open_capture(path)
    moving = [[line.name for line in one.lines if len(line.edges_s)] for one in (found, careful)]
    assert moving == [["Port[0]"], ["Port[0]"]]
    assert found.lines[0].edges_s.tolist() == careful.lines[0].edges_s.tolist()
