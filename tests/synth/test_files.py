"""The looks of the files, read back with the standard library and with pyvcd, not with the checker's readers."""

from __future__ import annotations

import csv
import gzip
import io
from itertools import pairwise
from pathlib import Path

import pytest

from pdcheck.errors import ScenarioError
from pdcheck.synth import Performance, file_bytes, parse_scenario, play, write_scenario

TALK = """
{settings}
jitter 10ns
noise vbus 10mV
1ms vbus 5V
+1ms source Source_Capabilities: 5V 3A; 9V 2A
+3ms sink Request: object 2 1A
+1ms current 1.5A
+1ms source Accept
+5ms capture ends
"""


def _write(settings: str, name: str = "talk.csv") -> tuple[bytes, Performance]:
    scenario = parse_scenario(TALK.format(settings=settings), out=name)
    performance = play(scenario)
    return file_bytes(scenario, performance), performance


def _rows(data: bytes, separator: str = ",") -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig")), delimiter=separator))


def test_columns_of_a_file_of_changes() -> None:
    data, performance = _write(
        'every 1ms\ncolumn time "t" in ms\ncolumn low "A, B"\ncolumn cc "C"\ncolumn high "D"\n'
        "column vbus\ncolumn current"
    )
    header, *rows = _rows(data)
    assert header == ["t", "A, B", "C", "D", "VBUS [V]", "Current [A]"]
    assert {(row[1], row[3]) for row in rows} == {("0", "1")}
    times = [float(row[0]) for row in rows]
    assert times == sorted(times)
    assert times[-1] == pytest.approx(1e3 * performance.duration_s, abs=1e-6)
    assert max(b - a for a, b in pairwise(times)) <= 1.0001
    changes = [float(row[0]) / 1e3 for before, row in pairwise(rows) if before[2] != row[2]]
    assert changes == pytest.approx([time for time, _ in performance.wave.edges], abs=6e-10)
    late = [row for row, time in zip(rows, times, strict=True) if time > 8]
    assert all(abs(float(row[4]) - 5) < 0.05 for row in late)
    assert {row[5] for row in late[-5:]} == {"1.500"}


def test_looks() -> None:
    data, _ = _write('table semicolon, decimal comma, crlf, byte order mark\nabove "# one"\nabove "two"\nzero 1ms')
    assert data.startswith(b"\xef\xbb\xbf# one\r\ntwo\r\nTime [s];CC1\r\n-0,001000000;0\r\n")
    assert b"." not in data
    assert data.count(b"\n") == data.count(b"\r\n")
    bare, _ = _write("table tab, no header\ncolumn time in ns\ncolumn cc")
    assert bare.startswith(b"0\t0\n")


def test_edges_on_an_analyzers_grid() -> None:
    data, performance = _write("format edges at 4MS/s")
    ticks = [float(row[0]) * 4e6 for row in _rows(data)[2:-1]]
    assert ticks == pytest.approx([round(tick) for tick in ticks], abs=1e-3)
    exact = [time for time, _ in performance.wave.edges]
    assert len(ticks) == len(exact)
    assert all(0 <= tick / 4e6 - time < 0.2501e-6 for tick, time in zip(ticks, exact, strict=True))


def test_samples_with_and_without_times() -> None:
    with_times, performance = _write("format samples at 4MS/s\ncolumn time\ncolumn cc")
    without, _ = _write("format samples at 4MS/s\ncolumn cc")
    timed = _rows(with_times)[1:]
    plain = _rows(without)
    assert plain[0] == ["# Sample rate: 4000000 Hz"]
    assert plain[1] == ["CC1"]
    assert [row[1] for row in timed] == [row[0] for row in plain[2:]]
    assert len(timed) == int(performance.duration_s * 4e6) + 1
    assert float(timed[1000][0]) == pytest.approx(250e-6)
    wave = performance.wave
    for index in range(0, len(timed), 997):
        seen = [level for time, level in wave.edges if time <= index / 4e6]
        assert int(timed[index][1]) == (seen[-1] if seen else wave.initial)


@pytest.mark.parametrize(("unit", "seconds"), [("1ns", 1e-9), ("10ns", 1e-8), ("100ns", 1e-7)])
def test_value_change_dump_as_pyvcd_reads_it(unit: str, seconds: float) -> None:
    from vcd.reader import TokenKind, tokenize

    data, performance = _write(
        f'format vcd in {unit}\ncolumn cc "CC 1"\ncolumn low "idle"\ncolumn vbus\nevery 2ms', "talk.vcd"
    )
    names: dict[str, str] = {}
    now = 0
    values: list[tuple[str, float, object]] = []
    for token in tokenize(io.BytesIO(data)):
        if token.kind is TokenKind.TIMESCALE:
            scale = token.timescale
            assert int(scale.magnitude) * {"ns": 1e-9, "us": 1e-6}[scale.unit.value] == pytest.approx(seconds)
        elif token.kind is TokenKind.VAR:
            names[token.var.id_code] = token.var.reference
        elif token.kind is TokenKind.CHANGE_TIME:
            assert token.time_change >= now
            now = token.time_change
        elif token.kind is TokenKind.CHANGE_SCALAR:
            values.append((names[token.scalar_change.id_code], now * seconds, token.scalar_change.value))
        elif token.kind is TokenKind.CHANGE_REAL:
            values.append((names[token.real_change.id_code], now * seconds, token.real_change.value))
    assert set(names.values()) == {"CC_1", "idle", "VBUS_V"}
    line = [(time, int(str(value))) for name, time, value in values if name == "CC_1"]
    assert line[0] == (0.0, 0)
    assert [level for _, level in line[1:]] == [level for _, level in performance.wave.edges]
    exact = [time for time, _ in performance.wave.edges]
    assert [time for time, _ in line[1:]] == pytest.approx(exact, abs=0.51 * seconds)
    volts = [(time, value) for name, time, value in values if name == "VBUS_V"]
    assert all(abs(float(str(value)) - 5.0) < 0.05 for time, value in volts if time > 2e-3)
    assert len(volts) >= 5
    assert now * seconds == pytest.approx(performance.duration_s, abs=seconds)


def test_suffix_decides_and_gz_zips(tmp_path: Path) -> None:
    talk = tmp_path / "a talk.talk"
    talk.write_text(TALK.format(settings="format vcd"), encoding="utf-8")
    assert write_scenario(str(talk)) == [str(tmp_path / "a talk.csv")]
    assert (tmp_path / "a talk.csv").read_text().startswith("Time [s],CC1\n")
    named = tmp_path / "other.VCD.gz"
    assert write_scenario(str(talk), str(named)) == [str(named)]
    assert gzip.decompress(named.read_bytes()).startswith(b"$comment")
    first = named.read_bytes()
    write_scenario(str(talk), str(named))
    assert named.read_bytes() == first
    talk.write_text(TALK.format(settings="file wave.csv"), encoding="utf-8")
    folder = tmp_path / "folder"
    folder.mkdir()
    assert write_scenario(str(talk), str(folder)) == [str(folder / "wave.csv")]


def test_places_that_cannot_be_written(tmp_path: Path) -> None:
    talk = tmp_path / "x.csv"
    talk.write_text(TALK.format(settings=""), encoding="utf-8")
    before = talk.read_bytes()
    with pytest.raises(ScenarioError, match="overwrite the scenario"):
        write_scenario(str(talk))
    assert talk.read_bytes() == before
    bad = ("x.txt", "-", "no/such/folder/x.csv", "nul\0.csv", "y" * 300 + ".csv", "noname")
    for name in bad:
        with pytest.raises(ScenarioError) as caught:
            write_scenario(str(talk), str(tmp_path / name))
        assert caught.value.remedy
    (tmp_path / "dir.csv").mkdir()
    assert write_scenario(str(talk), str(tmp_path / "dir.csv")) == [str(tmp_path / "dir.csv" / "x.csv")]


def test_too_many_rows() -> None:
    with pytest.raises(ScenarioError, match="rows"):
        scenario = parse_scenario("format samples at 100MS/s\ncolumn cc\n10s capture ends")
        file_bytes(scenario, play(scenario))
