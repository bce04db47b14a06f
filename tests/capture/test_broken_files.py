"""Whatever a file holds, the answer is a capture or one clear line that names file, line and remedy."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import os
import tarfile
import threading
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdcheck.capture import AnalogLine, DigitalLine, Role, open_capture
from pdcheck.errors import CaptureError

GOOD = b"Time [s],CC1,CC2\n" + b"".join(b"%.6f,%d,%d\n" % (i * 1e-5, i % 2, i // 2 % 2) for i in range(200))


def failure(folder: Path, data: bytes, name: str = "capture.csv", **options: object) -> CaptureError:
    path = folder / name
    path.write_bytes(data)
    with pytest.raises(CaptureError) as caught:
        open_capture(path, **options)  # type: ignore[arg-type]
    error = caught.value
    assert error.path == str(path)
    assert error.what and error.remedy
    assert "\n" not in error.one_line()
    return error


def with_line(number: int, text: bytes) -> bytes:
    lines = GOOD.split(b"\n")
    lines[number - 1] = text
    return b"\n".join(lines)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (b"0.000280,1", "2 columns where 3"),
        (b"0.000280,1,1,0", "4 columns where 3"),
        (b"0.000280", "1 column where 3"),
        (b"0.0002x0,1,1", "not a number"),
        (b"nan,1,1", "not a number"),
        (b"inf,1,1", "not a number"),
        (b"1e999,1,1", "not a usable number"),
        (b"1_0,1,1", "not a number"),
        (b",1,1", "empty"),
        (b"0.000280,,1", "empty"),
        (b"0.000280,2,1", "not a level"),
        (b"0.000280,x,1", "not a level"),
        (b"0.000280,nan,1", "not a level"),
        (b"0.000280,0.5,1", "not a level"),
        (b"0.000280,-1,1", "not a level"),
        (b"0.000100,1,1", "backwards"),
        (b"-0.000280,1,1", "backwards"),
        (b"<<<<<<< left over", "1 column where 3"),
        (b"Time [s],CC1,CC2", "not a number"),
        (b"0.000280,1,\xff", "not a level"),
    ],
)
@pytest.mark.parametrize("number", [30, 199])
def test_a_broken_row_is_named(tmp_path: Path, row: bytes, said: str, number: int) -> None:
    if number == 199 and row.startswith(b"0.0002"):
        row = row.replace(b"0.00028", b"0.00198").replace(b"0.0002x0", b"0.0019x0")
    error = failure(tmp_path, with_line(number, row))
    assert error.line == number
    assert said in error.what


@pytest.mark.parametrize("row", [b"0.000010,x,1", b"x,0,1", b"0.000010,0", b"0.000010,2,0"])
def test_a_broken_row_right_below_the_header_is_no_header(tmp_path: Path, row: bytes) -> None:
    assert failure(tmp_path, with_line(2, row)).line == 2
    assert failure(tmp_path, with_line(3, row)).line == 3


def test_a_broken_number_in_a_voltage_column(tmp_path: Path) -> None:
    rows = [b"%.6f,%d,5.0%d" % (i * 1e-5, i % 2, i % 10) for i in range(50)]
    for cell in (b"", b"nan", b"5.0.1", b"five", b"1e40"):
        rows[20] = b"0.000200,0," + cell
        error = failure(tmp_path, b"Time [s],CC1,VBUS [V]\n" + b"\n".join(rows) + b"\n")
        assert error.line == 22
        assert "VBUS" in error.what


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\n\n\n",
        b"\0" * 5000,
        bytes(range(256)) * 20,
        b"\x89PNG\r\n\x1a\n" + b"\0" * 100,
        b"%PDF-1.7\n1 0 obj\n",
        b"\xff\xd8\xff\xe0\0\x10JFIF" + b"\x01" * 50,
        b"Dear all,\nthe ferry leaves at 7, as always, and at 9.\nBest, nobody\n",
        b"Time [s],CC1\n",
        b"Time [s],CC1\n0.0",
        b"0\n1\n0\n1\n",
        b"1.5\n2.5\n3.5\n",
        b",".join(b"channel %d" % i for i in range(5000)) + b"\n" + b",".join([b"0"] * 5000) + b"\n",
        b"0,1," * 2_500_000,
        b"Time [s],CC1\n0,1\n" + b"1" * 10_000_000 + b"\n",
        b"x" * 10_000_000,
        b"Time [s]\n0.1\n0.2\n0.3\n",
        b"<html><body>not here</body></html>",
        b"{\"time\": 0, \"cc\": 1}\n",
        "Time [s],CC1\n0,1\n1,0\n".encode("utf-16-le")[:-1].replace(b"1", b"\xd8"),
        b"$timescale 1 ns $end",
        b"$timescale 1 ns $end $enddefinitions $end #0",
        b"$timescale 1 ly $end $var wire 1 ! a $end $enddefinitions $end #0 1!\n",
        b"$var wire 1 ! a $end $enddefinitions $end\n",
        b"$var wire 1 ! a $end $enddefinitions $end\n#0\n1!\n#5\n0?\n#6\n",
        b"$var wire 1 ! a $end $enddefinitions $end\n#9\n1!\n#5\n0!\n#6\n",
        b"$var wire 1 ! a $end $enddefinitions $end\n#9\nb0011 !\n#10\n",
        b"$var wire 99999 ! a $end $enddefinitions $end\n#9\nb0011 !\n#10\n",
        b"$var real 64 ! a $end $enddefinitions $end\n#9\nrnan !\n#10\n",
        b"\x1f\x8b\x08\0garbage that is no gzip at all",
        gzip.compress(GOOD)[:-20],
        gzip.compress(b""),
        gzip.compress(b"\0" * 1_000_000),
        bz2.compress(GOOD)[:-10],
        lzma.compress(GOOD)[:-10],
        gzip.compress(gzip.compress(GOOD)),
    ],
)
def test_files_that_are_no_captures(tmp_path: Path, data: bytes) -> None:
    failure(tmp_path, data)


def test_a_file_that_is_not_there_or_not_a_file(tmp_path: Path) -> None:
    missing = tmp_path / "nowhere.csv"
    for name, said in ((tmp_path, "directory"), (missing, "no such file"), ("a\0b", "cannot be opened")):
        with pytest.raises(CaptureError, match=said):
            open_capture(name)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may read everything")
def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_bytes(GOOD)
    path.chmod(0)
    with pytest.raises(CaptureError, match="permissions"):
        open_capture(path)


def test_a_name_with_control_characters_stays_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a\nb\x1b[31m.csv"
    path.write_bytes(b"")
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.one_line().isprintable()


@pytest.mark.skipif(not Path("/dev/zero").is_char_device(), reason="no such device here")
def test_a_device_has_no_end_and_is_not_begun() -> None:
    with pytest.raises(CaptureError, match="is a device and no file; name the file"):
        open_capture("/dev/zero", rate_hz=4e6)
    with pytest.raises(CaptureError, match="is empty"):
        open_capture(os.devnull)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs here")
def test_a_fifo_works_as_a_file_does(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)

    def write() -> None:
        with path.open("wb") as out:
            out.write(GOOD)

    writer = threading.Thread(target=write)
    writer.start()
    capture = open_capture(path)
    writer.join()
    assert len(capture.lines) == 2


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no FIFOs here")
def test_a_fifo_with_nothing_is_not_waited_for_for_ever(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pdcheck.capture.source._FIFO_WAIT_S", 0.05)
    path = tmp_path / "pipe"
    os.mkfifo(path)
    with pytest.raises(CaptureError, match="FIFO"):
        open_capture(path)

    def write_nothing() -> None:
        path.open("wb").close()

    writer = threading.Thread(target=write_nothing)
    writer.start()
    with pytest.raises(CaptureError, match=r"empty|FIFO"):
        open_capture(path)
    writer.join()




def test_a_bomb_of_empty_lines_is_cut(tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    parts = [packer.compress(GOOD)]
    blank = b"\n" * (1 << 20)
    parts.extend(packer.compress(blank) for _ in range(64))
    parts.append(packer.flush())
    assert "without data" in failure(tmp_path, b"".join(parts), "bomb.csv.gz").what


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_damage_gives_a_capture_or_a_clear_line(tmp_path: Path, data: st.DataObject) -> None:
    base = data.draw(st.sampled_from([
        GOOD,
        b"$timescale 1 us $end $var wire 1 ! CC1 $end $var real 64 r VBUS $end $enddefinitions $end\n"
        b"#0\n1!\nr5.0 r\n#10\n0!\n#12\n1!\nr9.0 r\n#20\n",
        b"Zeit [ms];CC1;VBUS [mV]\n0,0;1;5000\n0,5;0;5010\n1,0;1;9000\n",
        b"# Sample rate: 1 MHz\nSample,Port\n0,0x1F\n1,0x1E\n2,0x1F\n",
        gzip.compress(GOOD),
    ]))  # fmt: skip
    bytes_ = bytearray(base)
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, max(0, len(bytes_) - 1)))
        how = data.draw(st.sampled_from(["set", "cut", "double", "insert"]))
        if how == "set" and bytes_:
            bytes_[place] = data.draw(st.integers(0, 255))
        elif how == "cut":
            del bytes_[place : place + data.draw(st.integers(1, 30))]
        elif how == "double":
            bytes_[place:place] = bytes_[place : place + 40]
        else:
            bytes_[place:place] = data.draw(st.binary(max_size=6))
    path = tmp_path / "damaged"
    path.write_bytes(bytes(bytes_))
    rate = data.draw(st.sampled_from([None, 1e6]))
    try:
        capture = open_capture(path, rate_hz=rate)
    except CaptureError as error:
        assert error.one_line().isprintable()
    else:
        assert capture.duration_s >= 0


def test_digits_of_other_scripts_are_no_digits(tmp_path: Path) -> None:
    # Found by the test above: a superscript two counts as a digit to str.isdigit, and int() does not read it.
    for digit in ("²", "٣"):
        error = failure(tmp_path, f"Time [s],CC1\n0.1,1\n0.{digit},0\n0.3,1\n".encode())
        assert error.line == 3


def test_times_beyond_any_clock(tmp_path: Path) -> None:
    # Found by fuzzing: a first time of thirty digits, and exponents that no float holds.
    for cell in ("9" * 30, "1e29", "1e309", "1e9999"):
        rows = "".join(f"{i * 1e-6:.6f},{i // 7 % 2}\n" for i in range(5000))
        assert failure(tmp_path, f"Time [s],CC1\n{cell},1\n{rows}".encode()).line in (2, 3)
        assert failure(tmp_path, f"Time [s],CC1\n{rows}{cell},1\n0.1,1\n".encode()).line == 5002


def test_numbers_of_thousands_of_digits(tmp_path: Path) -> None:
    # Python refuses to turn more than 4,300 digits into an integer; none of its words about that may get out.
    many = b"7" * 5000
    assert failure(tmp_path, GOOD + b"0." + many + b",1,1\n").line == 202
    assert failure(tmp_path, b"0,1,1\n1,0,1\n" + many + b",1,1\n").line == 3
    failure(tmp_path, b"$var wire " + many + b" ! a $end $enddefinitions $end\n#1\n1!\n#2\n")
    failure(tmp_path, b"$timescale " + many + b" ns $end $var wire 1 ! a $end $enddefinitions $end\n#1\n1!\n#2\n")
    failure(tmp_path, b"$var wire 1 ! a [" + many + b":0] $end $enddefinitions $end\n#1\n1!\n#" + many + b"\n")


def rows_of(*columns: list[str]) -> bytes:
    return "".join(",".join(row) + "\n" for row in zip(*columns, strict=True)).encode()


TIMES = [f"{i * 1e-5:.6f}" for i in range(300)]
CC = [str(i % 2) for i in range(300)]


@pytest.mark.parametrize("name", ["VBUS [V]", "VBUS", "VBUS (mV)", "Current [A]", "I [A]"])
@pytest.mark.parametrize("cell", ["OL", "O.L", "Over", "-inf", "----", "overload"])
def test_a_column_of_nothing_but_readings_out_of_range(tmp_path: Path, name: str, cell: str) -> None:
    data = f"Time [s],CC1,{name}\n".encode() + rows_of(TIMES, CC, [cell] * 300)
    error = failure(tmp_path, data, roles={Role.VBUS: name})
    assert "a reading out of its range" in error.what
    assert cell in error.what
    assert "without this column" in error.remedy
    # Nobody asked for it: the others can be read, and the report says what is missing.
    capture = open_capture(tmp_path / "capture.csv")
    assert [line.name for line in capture.lines] == ["CC1"]
    assert len(capture.notes) == 1 and cell in capture.notes[0] and "the whole column was left out" in capture.notes[0]


@pytest.mark.parametrize("cell", ["OL", "9.9E+37", "-9.91E37", "\u221e", "+OVER", "****"])
@pytest.mark.parametrize("rows", [300, 9000])
def test_one_reading_out_of_range_takes_its_column_and_no_other(tmp_path: Path, cell: str, rows: int) -> None:
    times = [f"{i * 1e-6:.6f}" for i in range(rows)]
    levels = [str(i // 7 % 2) for i in range(rows)]
    volts = [f"{5 + i % 3 / 10:.1f}" for i in range(rows)]
    amps = [f"{i % 5 / 10:.1f}" for i in range(rows)]
    path = tmp_path / "capture.csv"
    path.write_bytes(b"Time [s],CC1,VBUS [V],I [A]\n" + rows_of(times, levels, volts, amps))
    whole = {line.name: line for line in open_capture(path).lines}
    volts[rows * 2 // 3] = cell
    path.write_text("Time [s],CC1,VBUS [V],I [A]\n" + rows_of(times, levels, volts, amps).decode())
    capture = open_capture(path)
    assert [line.name for line in capture.lines] == ["CC1", "I [A]"]
    assert f"From line {rows * 2 // 3 + 2:,} on" in capture.notes[0]
    for line in capture.lines:
        same = whole[line.name]
        if isinstance(line, DigitalLine) and isinstance(same, DigitalLine):
            assert line.edges_s.tolist() == same.edges_s.tolist()
        elif isinstance(line, AnalogLine) and isinstance(same, AnalogLine):
            assert (line.times_s.tolist(), line.values.tolist()) == (same.times_s.tolist(), same.values.tolist())
    # A number that no instrument prints is damage, and CC out of range is of no use.
    volts[rows * 2 // 3] = "1e40"
    assert "not a usable number" in failure(
        tmp_path, b"Time [s],CC1,VBUS [V],I [A]\n" + rows_of(times, levels, volts, amps)
    ).what
    volts[rows * 2 // 3] = cell
    text = "Time [s],CC1 [V],I [A]\n" + rows_of(times, volts, amps).decode()
    assert "out of its range" in failure(tmp_path, text.encode()).what


def test_three_columns_of_which_none_names_channels(tmp_path: Path) -> None:
    words = ["ok", "bad", "ok", "ok"] * 75
    volts = [f"{5 + i % 3 / 10:.1f}" for i in range(300)]
    for header, columns in (
        ("Time [s],Signal,VBUS [V]", (TIMES, CC, volts)), ("Time [s],CC1,Note", (TIMES, CC, words)),
        ("Time [s],Channel,VBUS [V]", (TIMES, CC, volts)), ("Time [s],Note,CC1", (TIMES, words, CC)),
    ):  # fmt: skip
        path = tmp_path / "capture.csv"
        path.write_bytes(header.encode() + b"\n" + rows_of(*columns))
        capture = open_capture(path)
        level = next(line for line in capture.lines if isinstance(line, DigitalLine))
        assert len(level.edges_s) == 299, header


def test_the_end_of_rows_that_end_where_nothing_has_changed(tmp_path: Path) -> None:
    text = "Time [s],CC1,VBUS [V]\n0.0,0,5.02\n" + "".join(f"{i * 1e-6:.6f},{i % 2}\n" for i in range(1, 200))
    path = tmp_path / "capture.csv"
    for cut in range(1, 11):
        path.write_text(text[:-cut])
        capture = open_capture(path)
        assert [line.name for line in capture.lines] == ["CC1", "VBUS [V]"]
        level = capture.lines[0]
        # What lacks its line end may lack more: it is not taken.
        assert isinstance(level, DigitalLine) and len(level.edges_s) == 198
    path.write_text(text + "0.0002\n")
    assert open_capture(path).duration_s == pytest.approx(200e-6)


def test_a_level_that_is_none_is_no_reading(tmp_path: Path) -> None:
    assert "not a level" in failure(tmp_path, b"Time [s],CC1\n" + rows_of(TIMES, CC[:250] + ["OL"] * 50)).what


@pytest.mark.parametrize("header", ["Delta [us],CC1", "Time delta (us),CC1", "dt [us],CC1", "Δt [us],CC1",
                                    "Width [us],CC1", "Duration_us,CC1", "Time [us],CC1", "time,CC1"])  # fmt: skip
def test_durations_are_not_times(tmp_path: Path, header: str) -> None:
    apart = [("3.3", "1.6", "1.7")[i * i % 7 % 3] for i in range(300)]
    apart[40] = "1022.1"
    error = failure(tmp_path, header.encode() + b"\n" + rows_of(apart, CC))
    assert "backwards" in error.what
    assert "may hold durations" in error.what
    assert "counted from the start" in error.remedy


@pytest.mark.parametrize("moved", [[50], [60, 200], range(100, 103)])
def test_rows_in_disorder_are_no_durations(tmp_path: Path, moved: list[int]) -> None:
    times = [*TIMES]
    for row in moved:
        times[row] = TIMES[row - 30]
    error = failure(tmp_path, b"Time [s],CC1\n" + rows_of(times, CC))
    assert "durations" not in error.one_line()
    assert "out of order or edited" in error.remedy


@pytest.mark.parametrize("rate_hz", [1e-300, 1e-9, 0.5, 0.0, -4e6, float("nan"), float("inf"), 1e15])
def test_what_is_no_sample_rate(tmp_path: Path, rate_hz: float) -> None:
    error = failure(tmp_path, b"CC1\n" + b"0\n1\n" * 300, rate_hz=rate_hz)
    assert "is no sample rate" in error.what
    assert len(error.what) < 60


@pytest.mark.parametrize("style", [tarfile.USTAR_FORMAT, tarfile.GNU_FORMAT, tarfile.PAX_FORMAT])
@pytest.mark.parametrize("pack", [bytes, gzip.compress, lzma.compress])
@pytest.mark.parametrize("rate_hz", [None, 4e6])
def test_a_tar_archive(
    tmp_path: Path, style: int, pack: Callable[[bytes], bytes], rate_hz: float | None
) -> None:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=style) as archive:
        member = tarfile.TarInfo("capture.csv")
        member.size = len(GOOD)
        archive.addfile(member, io.BytesIO(GOOD))
    error = failure(tmp_path, pack(out.getvalue()), rate_hz=rate_hz)
    assert "is a tar archive" in error.what
    assert "unpack it" in error.remedy


@pytest.mark.parametrize("rate_hz", [None, 4e6])
@pytest.mark.parametrize(("at", "zeros"), [(1000, 1), (1000, 40), (20, 1), (2500, 4000)])
def test_zero_bytes_in_a_text(tmp_path: Path, at: int, zeros: int, rate_hz: float | None) -> None:
    error = failure(tmp_path, GOOD[:at] + b"\0" * zeros + GOOD[at:], rate_hz=rate_hz)
    assert "holds zero bytes among its text" in error.what
    assert "export the capture again" in error.remedy
    assert error.line == GOOD[:at].count(b"\n") + 1


@pytest.mark.parametrize("levels", [(0x20, 0x00), (0x30, 0x00), (0x0A, 0x00), (0x0A, 0x30, 0x00)])
def test_samples_that_happen_to_be_characters_are_samples(tmp_path: Path, levels: tuple[int, ...]) -> None:
    path = tmp_path / "capture.bin"
    path.write_bytes(bytes(levels[i * i % 25 % len(levels)] for i in range(5000)))
    assert open_capture(path, rate_hz=4e6).kind == "raw"
