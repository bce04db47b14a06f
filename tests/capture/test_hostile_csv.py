"""Inputs that nobody means well with, or that went wrong on the way: one clear line each."""

from __future__ import annotations

import gzip
import os
import random
import zlib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pdcheck.capture import Capture, Role, open_capture
from pdcheck.capture.csv_buffer import BLOCK
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

ROWS = [f"{i * 1e-6:.6f},{i // 50 % 2}" for i in range(60_000)]
GOOD = ("Time [s],CC1\n" + "\n".join(ROWS) + "\n").encode()


def failure(path: Path, data: bytes, **options: object) -> CaptureError:
    path.write_bytes(data)
    with pytest.raises(CaptureError) as caught:
        open_capture(path, **options)  # type: ignore[arg-type]
    assert caught.value.path == str(path)
    assert caught.value.remedy
    assert caught.value.one_line().isprintable()
    return caught.value


@pytest.mark.parametrize(
    "row", ["nan,1", "inf,1", "-inf,1", "0.000001,1", "0.04,x", "0.04", "0.04,1,1", "0.04,1\0", "0.04,\0", "0.0\x004,1"]
)
@pytest.mark.parametrize("at", [40_001, 59_990])
def test_a_broken_row_deep_in_a_file_of_equal_rows(tmp_path: Path, row: str, at: int) -> None:
    rows = [*ROWS]
    rows[at] = row.replace("0.04", f"{at * 1e-6:.6f}")
    error = failure(tmp_path / "a.csv", ("Time [s],CC1\n" + "\n".join(rows) + "\n").encode())
    assert error.line == at + 2


@pytest.mark.parametrize("codec", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf16_with_and_without_a_mark_is_read(tmp_path: Path, codec: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(GOOD.decode().encode(codec))
    assert open_capture(path).duration_s == pytest.approx(0.059999)


def test_a_column_that_is_not_there(tmp_path: Path) -> None:
    error = failure(tmp_path / "a.csv", GOOD, roles={Role.CC1: "CC9"})
    assert "CC9" in error.what
    assert "CC1" in error.one_line()


def test_one_column_without_a_rate(tmp_path: Path) -> None:
    assert "--rate" in failure(tmp_path / "a.csv", b"0\n1\n" * 500).remedy


def test_a_gzip_bomb_of_one_line_is_cut_early(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read = 0
    readinto = ByteSource.readinto

    def counted(self: ByteSource, target: memoryview) -> int:
        nonlocal read
        got = readinto(self, target)
        read += got
        return got

    monkeypatch.setattr(ByteSource, "readinto", counted)
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    data = packer.compress(GOOD) + b"".join(packer.compress(b"1" * (1 << 20)) for _ in range(200)) + packer.flush()
    error = failure(tmp_path / "a.csv.gz", data)
    assert error.line == 60_002
    assert read < 2 * BLOCK, "of 200 MB"


def test_a_gzip_cut_in_the_middle(tmp_path: Path) -> None:
    assert "ends early" in failure(tmp_path / "a.csv.gz", gzip.compress(GOOD)[:5000]).what


def test_a_file_that_shrinks_while_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(GOOD * 8)  # longer than the first block; its times go back only behind where it is cut
    shrunk = False

    def shrink(taken: int, _total: int | None) -> None:
        nonlocal shrunk
        if taken >= 1 << 16 and not shrunk:
            shrunk = True
            os.truncate(path, 300_000)

    try:
        capture = open_capture(path, progress=shrink)
    except CaptureError as error:
        assert error.remedy
    else:
        assert 0 < capture.duration_s < 0.06
    assert shrunk


def openly(path: Path, data: bytes, rate: float | None) -> None:
    path.write_bytes(data)
    try:
        capture = open_capture(path, rate_hz=rate)
    except CaptureError as error:
        assert error.path == str(path)
        assert error.one_line().isprintable()
    else:
        assert isinstance(capture, Capture)
        assert capture.lines
        assert capture.duration_s >= 0


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.binary(max_size=600), rate=st.sampled_from([None, 1e6]))
def test_random_bytes(tmp_path: Path, data: bytes, rate: float | None) -> None:
    openly(tmp_path / "a", data, rate)


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    text=st.text(st.sampled_from("01289.,;\t\n\r \"'-+eExnaTimesC[]#µ\0"), max_size=300),
    rate=st.sampled_from([None, 1e6]),
)
def test_random_rows(tmp_path: Path, text: str, rate: float | None) -> None:
    openly(tmp_path / "a.csv", text.encode(), rate)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 32))
def test_mutated_files_long_enough_for_the_fast_readers(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    shown = rng.choice(["%.6f", "%.9g", "%.5e"])
    data = bytearray(("Time [s],CC1,VBUS [V]\n" + "".join(
        f"{shown % (i * 1e-6)},{i // 50 % 2},{rng.gauss(0, 0.01):.3f}\n" for i in range(1500)
    )).encode())  # fmt: skip
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(data))
        if rng.random() < 0.5:
            data[at] = rng.randrange(256)
        else:
            data[at : at + rng.randrange(40)] = rng.randbytes(rng.randrange(4))
    openly(tmp_path / "a.csv", bytes(data), rng.choice([None, 1e6]))


@pytest.mark.parametrize(
    "cell", ["9.9E+37", "9.91e37", "-9.9E+37", "OL", "-OL", "ovld", "Overload", "inf", "----", "***"]
)
@pytest.mark.parametrize("form", ["{v:.3f}", "{v:.1E}", "{v!r}"])
def test_a_reading_out_of_range_is_named_and_never_judged(tmp_path: Path, cell: str, form: str) -> None:
    """What instruments print for it: SCPI 1999, volume 1, section 7.2.1.5 (9.9E37; from memory); meters' displays."""
    volts = [cell if i >= 130_000 else form.format(v=5 + i % 7 / 1000) for i in range(140_000)]
    rows = [f"{i * 1e-6:.6f},{i // 50 % 2},{said}" for i, said in enumerate(volts)]
    path = tmp_path / "a.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    capture = open_capture(path)
    assert [line.name for line in capture.lines] == ["CC1"] and capture.left_out == {Role.VBUS}
    assert "From line 130,002 on" in capture.notes[0] and "out of its range" in capture.notes[0]
    with pytest.raises(CaptureError) as caught:
        open_capture(path, roles={Role.VBUS: "VBUS [V]"})
    assert caught.value.line == 130_002
    assert "VBUS" in caught.value.what and "out of its range" in caught.value.what
    assert "larger range" in caught.value.remedy
