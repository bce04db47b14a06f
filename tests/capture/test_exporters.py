"""One conversation, written as many invented exporters would write it: the same packets come out of each file.

The conversation is made by the second encoder, which shares no code with the reader; packing by the standard
library and VCD in one case by pyvcd.
"""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import random
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import vcd

from pdcheck.capture import AnalogLine, Capture, Role, open_capture
from pdcheck.line import read_capture
from pdcheck.pipeline import check, decode
from tests.line.analog import Scope, scope_line
from tests.line.waves import PLAIN, came_through, made_up, talk, wave_of

RATE = 4_000_000
STEP = 1 / RATE
PACKETS = talk(8, random.Random(4), gap_s=(60e-6, 200e-6))
WAVE = wave_of(PACKETS, PLAIN)
EDGES = np.array([time for time, _ in WAVE.changes])
COUNT = int(WAVE.end_s * RATE)
TIMES = np.arange(COUNT) / RATE
LEVELS: list[int] = ((np.searchsorted(EDGES, TIMES, side="right") + WAVE.initial) & 1).tolist()
ROWS = list(zip(TIMES.tolist(), LEVELS, strict=True))
CHANGES = [(0.0, WAVE.initial), *((float(time), level) for time, level in WAVE.changes)]
VOLTS = scope_line(PACKETS, Scope(idle_v=0.4, rate_hz=RATE), end_s=COUNT / RATE)
RATED = {"rate_hz": float(RATE)}


def lines(header: str, rows: list[str], end: str = "\n") -> bytes:
    return (header + end + end.join(rows) + end).encode()


def samples(header: str, row: Callable[[int, float, int], str], end: str = "\n") -> bytes:
    return lines(header, [row(i, time, level) for i, (time, level) in enumerate(ROWS)], end)


def changes(header: str, row: Callable[[float, int], str], end: str = "\n") -> bytes:
    return lines(header, [row(time, level) for time, level in CHANGES], end)


SCOPE_HEAD = """\
Instrument,Quay Scope 4
Serial,0001 (invented)
Record Length,{count}
Sample Interval,2.5e-07,s
Vertical Units,V
Trigger Time,-0.001

TIME,CH1,CH2
s,V,V"""

PLAIN_CSV = samples("Time [s],CC1", lambda i, t, cc: f"{t:.9f},{cc}")

CSV: dict[str, bytes] = {
    "row a sample": PLAIN_CSV,
    "row a change": changes("Time [s],CC1", lambda t, cc: f"{t:.9f},{cc}"),
    "scientific notation": samples("Time [s],CC1", lambda i, t, cc: f"{t:.9E},{cc}"),
    "small exponents": changes("Time (s);CC1", lambda t, cc: f"{t:.6e};{cc}"),
    "quoted cells": samples('"Time [s]","CC1"', lambda i, t, cc: f'"{t:.9f}","{cc}"', "\r\n"),
    "trailing separator": samples("Time [s],CC1,", lambda i, t, cc: f"{t:.9f},{cc},"),
    "decimal comma": samples("Zeit [ms];CC1", lambda i, t, cc: f"{t * 1e3:.6f};{cc}".replace(".", ",")),
    "shortest numbers": samples("t [us]\tCC1", lambda i, t, cc: f"{t * 1e6:.10g}\t{cc}"),
    "shortest, decimal comma": samples("t [us];CC1", lambda i, t, cc: f"{t * 1e6:.10g};{cc}".replace(".", ",")),
    "shortest, quoted": samples('"t [us]","CC1"', lambda i, t, cc: f'"{t * 1e6:.10g}","{cc}"', "\r\n"),
    "shortest, words": samples("t [us],CC1", lambda i, t, cc: f"{t * 1e6:.10g},{('Low', 'High')[cc]}"),
    "shortest, volts": samples(
        "t [us],CC1,VBUS [V]", lambda i, t, cc: f"{t * 1e6:.10g},{cc},{5 + i % 7 / 1000:.4g}"
    ),
    "whole nanoseconds": samples("time_ns CC1", lambda i, t, cc: f"{round(t * 1e9)} {cc}"),
    "times too coarse": samples("Time [s],CC1", lambda i, t, cc: f"{t:.6f},{cc}"),
    "before zero": samples("Time [s],CC1", lambda i, t, cc: f"{t - 0.001:.9f},{cc}"),
    "from a clock": samples("Time [s],CC1", lambda i, t, cc: f"{t + 86_000:.9f},{cc}"),
    "index and interval": samples(
        "# Sample interval: 250 ns\nSample,CC1", lambda i, t, cc: f"{i},{cc}"
    ),
    "index and rate above": samples(
        "; Sample rate = 4 MHz\n; exported by nobody\nIndex;CC1", lambda i, t, cc: f"{i};{cc}"
    ),
    "two time columns": samples("Sample,Time [ms],CC1", lambda i, t, cc: f"{i},{t * 1e3:.6f},{cc}"),
    "time of day and time": samples("Time [s],Time [us],CC1", lambda i, t, cc: f"{t:.9f},{t * 1e6:.3f},{cc}"),
    "hexadecimal bus": samples("Time [s],Port A", lambda i, t, cc: f"{t:.9f},0x{0xA0 | cc << 3:02X}"),
    "hexadecimal bus of changes": changes("Time [s],Port A", lambda t, cc: f"{t:.9f},{0x10 | cc:02X}h"),
    "binary bus": samples("Time [s],D7-D0", lambda i, t, cc: f"{t:.9f},{'1010' + str(cc) + '011'}"),
    "words": samples("Time [s],CC1", lambda i, t, cc: f"{t:.9f},{('Low', 'High')[cc]}"),
    "levels as numbers": samples("Time [s],CC1", lambda i, t, cc: f"{t:.9f},{cc:.1f}"),
    "unnamed channels": samples("Time [s],Channel 0,Channel 1", lambda i, t, cc: f"{t:.9f},0,{cc}"),
    "no header": samples("0.000000000,0,0", lambda i, t, cc: f"{t + STEP:.9f},{cc},0"),
    "last row cut": PLAIN_CSV[:-4],
    "BOM": b"\xef\xbb\xbf" + PLAIN_CSV,
    "UTF-16": PLAIN_CSV.decode().encode("utf-16"),
    "lone CR": PLAIN_CSV.replace(b"\n", b"\r"),
    "blanks for alignment": samples("  Time [s] ,  CC1", lambda i, t, cc: f"{t:14.9f} , {cc:4d}"),
    "other columns": samples(
        "Time [s],CC1,VBUS [V],Temp,Note", lambda i, t, cc: f"{t:.9f},{cc},{5 + i % 3 / 100:.2f},{20 + i % 5},ok"
    ),
    "millivolts": samples("Time [s];CC1;VBUS [mV]", lambda i, t, cc: f"{t:.9f};{cc};{5000 + i % 30}"),
    "minus about zero": samples("Time [s],CC1,VBUS [V]", lambda i, t, cc: f"{t:.9g},{cc},{(i % 7 - 3) / 1000:g}"),
    "scope in volts": lines(
        SCOPE_HEAD.format(count=COUNT),
        [f"{t - 0.001:.8e},{v:.4f},{5.02:.3f}" for t, v in zip(VOLTS.times_s, VOLTS.values, strict=True)],
    ),
    "scope, shortest": lines(
        "x-axis,1\nsecond,Volt", [f"{t:.8g},{v:.3g}" for t, v in zip(VOLTS.times_s, VOLTS.values, strict=True)]
    ),
}  # fmt: skip

TREMBLING = random.Random(5)
CSV |= {
    "a key and a value a line, then units": lines(
        "Record Length,Analog:9\nSample Interval,2.5e-07\nVertical Units,V\nVertical Scale,0.2\nModel,Quay 4\n"
        "Source,CH1\nSecond,Volt",
        [f"{t - 0.001:.9f},{v:.5f}" for t, v in zip(VOLTS.times_s, VOLTS.values, strict=True)],
    ),
    "start and increment beside the names": lines(
        "X,CH1,Start,Increment\nSequence,Volt,-1.0e-03,2.5e-07", [f"{i},{v:.3e},," for i, v in enumerate(VOLTS.values)]
    ),
    "one column, units in its cells, the clock's period": lines(
        "#CHANNEL:CH1\n#CLOCK=0.25uS\n#SIZE=9\n#UNITS:V",
        [f" {v * 1e3:.2f}mV" if abs(v) < 1 else f" {v:.3f}V" for v in VOLTS.values],
    ),
    "powers of ten about zero": samples(
        "Time [s],CC1,VBUS [V]", lambda i, t, cc: f"{t:.9e},{cc},{TREMBLING.gauss(0, 0.012):.5e}"
    ),
    "millivolts about zero": samples(
        "Time [us];CC1;VBUS [mV]", lambda i, t, cc: f"{t * 1e6:.2f};{cc};{TREMBLING.gauss(0, 12):.1f}"
    ),
    "a bus in decimal": samples("Time [s],Port A", lambda i, t, cc: f"{t:.9f},{160 + 8 * (i // 900 % 2) + cc}"),
    "a bus in decimal that begins with zeros": samples(
        "; Sampling rate: 4 MHz\nSample;D[7:0]", lambda i, t, cc: f"{i};{cc + (2 if i > 900 else 0)}"
    ),
    "row a change, rows that end where nothing has changed": changes(
        "Time [s],CC1,CC2,VBUS [V]", lambda t, cc: f"{t:.9f},{cc}" + (",0,5.02" if t == 0 else ",1" if cc else "")
    ),
    "row a change of one channel": lines(
        "Time [s],Channel,Value",
        ["0.0,VBUS [V],5.02", *(f"{t:.9f},CC1,{cc}\n{t:.9f},VBUS [V],{5.0 + n % 9 / 100:.2f}"
                                for n, (t, cc) in enumerate(CHANGES))],
    ),
    "row a change of one channel, numbered": lines(
        "Channel;Time [us];State",
        [f"{line};{t * 1e6:.3f};{level}".replace(".", ",") for n, (t, cc) in enumerate(CHANGES)
         for line, level in ([(0, cc), (7, n // 9 % 2)] if n % 9 == 0 else [(0, cc)])],
    ),
    "a reading out of range beside CC": samples(
        "Time (ms),Channel A,Channel B\n(ms),(mV),(V)\n",
        lambda i, t, cc: f"{t * 1e3:.8f},{40 + 1060 * cc},{chr(0x221E) if i % 50_000 < 30 else '5.0312'}",
    ),
}  # fmt: skip

WITH_VOLTS = {
    "a key and a value a line, then units", "start and increment beside the names", "shortest, volts", "other columns",
    "one column, units in its cells, the clock's period", "millivolts", "minus about zero", "scope in volts",
    "scope, shortest", "powers of ten about zero", "millivolts about zero",
}  # fmt: skip


def vcd_by_hand(scale: str, ticks: float, code: str = "!", vector: bool = False, real: bool = False) -> bytes:
    kind = f"$var {'reg 4' if vector else 'wire 1'} {code} CC1 $end"
    extra = "$var real 64 v VBUS $end" if real else ""
    out = [
        f"$date today $end $timescale {scale} $end $scope module top $end $scope module probe $end {kind} {extra} "
        "$upscope $end $upscope $end $enddefinitions $end",
        "#0", "$dumpvars", f"bx {code}" if vector else f"x{code}", "$end",
    ]  # fmt: skip
    for number, (time, level) in enumerate(CHANGES):
        out.append(f"#{round(time / ticks)}")
        out.append(f"b{'x' if number % 5 == 0 else 'z'}1{level} {code}" if vector else f"{level}{code}")
        if real and number % 50 == 0:
            out.append(f"r{5 + number / 1e4:.6g} v")
    return "\n".join([*out, f"#{round(WAVE.end_s / ticks)}", ""]).encode()


def vcd_by_pyvcd() -> bytes:
    out = io.StringIO()
    with vcd.VCDWriter(out, timescale="10 ns", date="today") as writer:
        line = writer.register_var("board.port", "CC1", "wire", size=1, init="x")
        other = writer.register_var("board", "bus", "wire", size=8, init=0)
        for number, (time, level) in enumerate(CHANGES):
            writer.change(line, round(time * 1e8), level)
            if number % 100 == 7:
                writer.change(other, round(time * 1e8), number % 256)
    return out.getvalue().encode()


VCD: dict[str, bytes] = {
    "1 ns": vcd_by_hand("1 ns", 1e-9), "10ns": vcd_by_hand("10ns", 1e-8), "100 ps": vcd_by_hand("100 ps", 1e-10),
    "1 fs": vcd_by_hand("1 fs", 1e-15), "long code": vcd_by_hand("1 ns", 1e-9, "xyz#1"),
    "vector": vcd_by_hand("1 ns", 1e-9, vector=True), "real": vcd_by_hand("1 ns", 1e-9, real=True),
    "pyvcd": vcd_by_pyvcd(),
}  # fmt: skip


def zipped(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("capture.csv", data)
    return out.getvalue()


def zstandard(data: bytes) -> bytes:
    return pytest.importorskip("zstandard").ZstdCompressor().compress(data)  # type: ignore[no-any-return]


def bears_the_conversation(capture: Capture) -> None:
    got = read_capture(capture).packets
    assert all(came_through(PACKETS, got))
    assert not made_up(PACKETS, got)


def opened(folder: Path, data: bytes, name: str, **options: object) -> Capture:
    path = folder / name
    path.write_bytes(data)
    return open_capture(path, **options)  # type: ignore[arg-type]


@pytest.mark.parametrize("exporter", sorted(CSV))
def test_csv(tmp_path: Path, exporter: str) -> None:
    capture = opened(tmp_path, CSV[exporter], "capture.csv")
    bears_the_conversation(capture)
    if "change" not in exporter and exporter != "small exponents":
        assert capture.kind == "csv-samples"
        assert capture.sample_period_s == pytest.approx(STEP, rel=1e-3)


@pytest.mark.parametrize("exporter", sorted(set(CSV) - WITH_VOLTS))
def test_csv_is_judged_as_the_plain_file_is(tmp_path: Path, exporter: str) -> None:
    plain = check(decode(opened(tmp_path, PLAIN_CSV, "plain.csv"))).verdict
    verdict = check(decode(opened(tmp_path, CSV[exporter], "capture.csv"))).verdict
    assert (verdict.outcome, verdict.stopped_at, verdict.suspect) == (plain.outcome, plain.stopped_at, plain.suspect)


@pytest.mark.parametrize("exporter", sorted(VCD))
def test_vcd(tmp_path: Path, exporter: str) -> None:
    bears_the_conversation(opened(tmp_path, VCD[exporter], "capture.vcd"))


@pytest.mark.parametrize("size", [1, 2])
@pytest.mark.parametrize("bit", [0, 3, 7])
def test_raw(tmp_path: Path, size: int, bit: int) -> None:
    dtype = "u1" if size == 1 else "<u2"
    words = (np.array(LEVELS, dtype) << (bit + (8 if size == 2 and bit else 0))).astype(dtype)
    bears_the_conversation(opened(tmp_path, words.tobytes(), "capture.bin", **RATED))


def test_one_column_and_a_rate(tmp_path: Path) -> None:
    bears_the_conversation(opened(tmp_path, lines("CC1", [str(level) for level in LEVELS]), "capture.csv", **RATED))


def test_index_and_a_rate(tmp_path: Path) -> None:
    data = samples("Sample,CC1,other", lambda i, t, cc: f"{i},{cc},0")
    bears_the_conversation(opened(tmp_path, data, "capture.csv", **RATED))


def test_volts_by_index(tmp_path: Path) -> None:
    data = lines("Sample,CC1 [V]", [f"{i},{v:.3f}" for i, v in enumerate(VOLTS.values)])
    capture = opened(tmp_path, data, "capture.csv", **RATED)
    bears_the_conversation(capture)
    assert isinstance(capture.lines[0], AnalogLine)


@pytest.mark.parametrize("pack", [gzip.compress, lzma.compress, bz2.compress, zipped, zstandard])
@pytest.mark.parametrize("name", ["capture.csv", "capture"])
def test_packed(tmp_path: Path, pack: Callable[[bytes], bytes], name: str) -> None:
    bears_the_conversation(opened(tmp_path, pack(CSV["row a change"]), name))
    bears_the_conversation(opened(tmp_path, pack(VCD["1 ns"]), name))


def test_the_unit_nobody_stated(tmp_path: Path) -> None:
    for scale in (1.0, 1e3, 1e6, 1e9):
        rows = [f"{time * scale:.12g},{level},0" for time, level in CHANGES]
        bears_the_conversation(opened(tmp_path, lines("time,CC1,CC2", rows), "capture.csv"))


def test_the_column_nobody_named(tmp_path: Path) -> None:
    rows = [f"{t:.9f},{i // 1000 % 2},{cc},{i % 2}" for i, (t, cc) in enumerate(ROWS)]
    data = lines("Time [s],Channel 1,Channel 2,Channel 3", rows)
    bears_the_conversation(opened(tmp_path, data, "capture.csv"))
    bears_the_conversation(opened(tmp_path, data, "capture.csv", roles={Role.CC1: "Channel 2"}))
    bears_the_conversation(opened(tmp_path, data, "capture.csv", roles={Role.CC1: "3"}))
