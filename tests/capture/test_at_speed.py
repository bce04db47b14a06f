"""Sample files deep inside, where rows are passed over: what comes out is what the careful reader says.

The careful reader shares no code with these readers but the meaning of a single cell.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from pdcheck.capture import (
    AnalogLine,
    Capture,
    DigitalLine,
    Role,
    csv_bits,
    csv_even,
    csv_noisy,
    csv_quiet,
    csv_reader,
    csv_uneven,
    open_capture,
)
from pdcheck.capture import lines as lines_module
from pdcheck.capture.csv_even import EvenReader
from pdcheck.capture.csv_fixed import FixedReader
from pdcheck.capture.csv_noisy import NoisyReader
from pdcheck.capture.csv_plain import PlainReader
from pdcheck.capture.csv_quiet import QuietReader
from pdcheck.capture.csv_uneven import UnevenReader
from pdcheck.capture.csv_varying import VaryingReader
from pdcheck.errors import CaptureError
from tests.capture.test_fast_readers import LONG_VOLTS, POWER_STYLES, POWERS, never, outcome, render

READERS = (EvenReader, QuietReader, NoisyReader, UnevenReader, FixedReader, VaryingReader, PlainReader)


def everywhere(patch: pytest.MonkeyPatch) -> None:
    """Let rows be passed over from the first line on and in short stretches."""
    patch.setattr(csv_reader, "FIRST_LINE", 0)
    patch.setattr(csv_reader, "CAREFUL", 1 << 10)
    patch.setattr(csv_even, "LEAST_BYTES", 300)
    patch.setattr(csv_quiet, "LEAST_BYTES", 300)
    patch.setattr(csv_uneven, "LEAST_ROWS", 4)
    patch.setattr(csv_noisy, "LEAST_ROWS", 4)


def taken_by(reader: type, patch: pytest.MonkeyPatch) -> list[int]:
    """Let rows be passed over from the first line on; how many this reader takes at a time is written down."""
    taken: list[int] = []
    read = reader.read  # type: ignore[attr-defined]

    def counted(self: object, *where: object) -> object:
        found = read(self, *where)
        taken.append(found[0].rows if found else 0)
        return found

    everywhere(patch)
    patch.setattr(reader, "read", counted)
    if reader is UnevenReader:
        patch.setattr(QuietReader, "read", never)
    return taken


Outcome = Capture | tuple[str, int | None]


def outcomes(path: Path, *left_out: tuple[type, ...]) -> tuple[list[Outcome], Outcome]:
    """What comes out with some readers left out, one more group each time, and what the careful reader says."""
    found: list[Outcome] = []
    with pytest.MonkeyPatch.context() as patch:
        everywhere(patch)
        for group in left_out:
            for reader in group:
                patch.setattr(reader, "read", never)
            found.append(outcome(path))
        for reader in READERS:
            patch.setattr(reader, "read", never)
        return found, outcome(path)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 32))
@example(seed=457)  # a time without its leading zero
@example(seed=1910)  # the minus of the times goes
@example(seed=887)  # many rows of one time
@example(seed=30866)  # a letter behind the trailing separator
@example(seed=203)  # one time wrong in silence: not noticed, and nothing else is
def test_rows_passed_over_and_rows_read_agree(tmp_path: Path, seed: int) -> None:
    agree(tmp_path / "capture.csv", render(random.Random(seed)))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 32))
def test_rows_with_long_numbers_agree(tmp_path: Path, seed: int) -> None:
    agree(tmp_path / "capture.csv", render(random.Random(seed), LONG_VOLTS))


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 32))
def test_rows_with_powers_of_ten_agree(tmp_path: Path, seed: int) -> None:
    agree(tmp_path / "capture.csv", render(random.Random(seed), POWERS, POWER_STYLES))


def agree(path: Path, content: bytes) -> None:
    """The same lines whether rows are passed over or read, or the same error."""
    path.write_bytes(content)
    found, careful = outcomes(
        path, (), (EvenReader,), (QuietReader,), (FixedReader, VaryingReader, UnevenReader, NoisyReader)
    )
    for other in found:
        if not isinstance(careful, Capture):
            # One time that goes back and forth again may go unnoticed in silence; nothing else that is wrong may.
            assert other == careful or "backwards" in careful[0]
            continue
        assert isinstance(other, Capture)
        assert other.start_s == careful.start_s
        assert other.duration_s == pytest.approx(careful.duration_s, rel=1e-12)
        assert other.kind == careful.kind or careful.kind == "csv-edges"
        for line, expected in zip(other.lines, careful.lines, strict=True):
            assert (type(line), line.name, line.role) == (type(expected), expected.name, expected.role)
            if isinstance(line, DigitalLine) and isinstance(expected, DigitalLine):
                assert line.initial == expected.initial
                assert line.edges_s.shape == expected.edges_s.shape
                if other.kind == careful.kind:
                    assert np.allclose(line.edges_s, expected.edges_s, rtol=1e-9, atol=1e-13)


BUS_WORDS = (("0x1E", "0x1F"), ("1eh", "1Fh"), ("0b0110", "0b0111"), ("00011110", "00011111"), ("0x6", "0x107"))


def with_a_bus(text: bytes, words: tuple[str, str]) -> bytes:
    """The same file with the values of a bus in place of the second level."""
    lines = text.decode().split("\n")
    delimiter = next(mark for mark in ";\t," if mark in lines[0])
    for place, line in enumerate(lines[1:], 1):
        cells = line.split(delimiter)
        if len(cells) > 2 and cells[2].strip() in ("0", "1"):
            cells[2] = cells[2].replace("0", words[0]) if "0" in cells[2] else cells[2].replace("1", words[1])
        lines[place] = delimiter.join(cells)
    return "\n".join(lines).replace("CC2", "Bus").encode()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 1 << 32))
def test_rows_with_a_bus_agree(tmp_path: Path, seed: int) -> None:
    path = tmp_path / "capture.csv"
    path.write_bytes(with_a_bus(render(random.Random(seed)), random.Random(seed).choice(BUS_WORDS)))
    found, careful = outcomes(path, (), (EvenReader,))
    for other in found:
        if not isinstance(careful, Capture):
            assert other == careful or "backwards" in careful[0]
            continue
        assert isinstance(other, Capture)
        assert [line.name for line in other.lines] == [line.name for line in careful.lines]
        for line, expected in zip(other.lines, careful.lines, strict=True):
            if isinstance(line, DigitalLine) and isinstance(expected, DigitalLine):
                assert line.initial == expected.initial
                assert line.edges_s.shape == expected.edges_s.shape


SHAPES: dict[str, tuple[type, Callable[[int, int, float], str]]] = {
    "even": (EvenReader, lambda i, level, volts: f"{i * 2.5e-7:.9f},{level}"),
    "even volts": (EvenReader, lambda i, level, volts: f"{i * 2.5e-7:.9f},{level},{abs(volts):.4f}"),
    "even, a bus": (EvenReader, lambda i, level, volts: f"{i * 2.5e-7:.9f},0x{0x1E + level:02X}"),
    "a bus": (VaryingReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{0x1E + level:08b},{round(volts, 4):g}"),
    "even, exponents": (EvenReader, lambda i, level, volts: f"{i * 2.5e-7:.9f},{level},{abs(volts):.18e}"),
    "even, wide and signed": (EvenReader, lambda i, level, volts: f"{i * 2.5e-7:.9f},{level},{abs(volts):+.9f}"),
    "even, volts first": (EvenReader, lambda i, level, volts: f"{abs(volts):.3f};{i * 2.5e-7:.9f};{level}"),
    "quiet": (QuietReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level}"),
    "uneven": (UnevenReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level}"),
    "noisy": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level},{round(volts, 4):g}"),
    "noisy, volts inside": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},0,{volts:.3f},{level}"),
    "noisy, volts next to the time": (
        NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{round(volts, 4):g},{level},1"
    ),
    "noisy, wide": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level},{volts:.9f}"),
    "noisy, all digits": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level},{volts!r}"),
    "noisy, all digits inside": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},0,{volts!r},{level}"),
    "noisy, semicolons": (NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g};{volts:.5g};{level}"),
    "noisy, two of them": (
        NoisyReader, lambda i, level, volts: f"{i * 2.5e-7:.12g},{level},{volts:.9f},{round(volts / 10, 4):g}"
    ),
}  # fmt: skip
OWN_HEADERS = {
    "even, a bus": "Time [s],D", "a bus": "Time [s],D,VBUS [V]",
    "even, volts first": "VBUS [V];Time [s];CC1", "noisy, volts next to the time": "Time [s],VBUS [V],CC1,CC2",
    "noisy, semicolons": "Time [s];VBUS [V];CC1", "noisy, two of them": "Time [s],CC1,VBUS [V],Current [A]",
}  # fmt: skip
HEADERS = {2: "Time [s],CC1", 3: "Time [s],CC1,VBUS [V]", 4: "Time [s],CC2,VBUS [V],CC1"}


@pytest.mark.parametrize("shape", sorted(SHAPES))
def test_each_shape_takes_its_way_and_says_what_was_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, shape: str
) -> None:
    reader, row = SHAPES[shape]
    count = 40_000
    rng = np.random.default_rng(3)
    flips = np.zeros(count, np.intp)
    flips[20_000 + np.cumsum(rng.choice([6, 7, 13], 200))] = 1
    levels = np.cumsum(flips) & 1
    volts = np.where(np.arange(count) < 25_000, 0.0, 5.0) + rng.normal(0, 0.006, count)
    rows = [row(i, int(levels[i]), float(volts[i])) for i in range(count)]
    header = OWN_HEADERS.get(shape) or HEADERS[rows[0].count(",") + 1]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join([header, *rows, ""]))
    taken = taken_by(reader, monkeypatch)
    capture = open_capture(path)
    assert sum(taken) > 0.3 * count
    by_name = {line.name.split(" ")[0]: line for line in capture.lines}
    cc = by_name["D[0]" if "bus" in shape else "CC1"]
    assert isinstance(cc, DigitalLine)
    assert cc.edges_s.tolist() == pytest.approx((np.flatnonzero(flips) * 2.5e-7).tolist(), abs=1e-12)
    if "VBUS" in by_name:
        vbus = by_name["VBUS"]
        assert isinstance(vbus, AnalogLine)
        truth = np.abs(volts) if shape[:4] == "even" else volts
        held = vbus.values[np.searchsorted(vbus.times_s, np.arange(count) * 2.5e-7 + 1e-9, side="right") - 1]
        assert np.abs(held - truth).max() <= 0.0201 + 0.0005
    if "Current" in by_name:
        current = by_name["Current"]
        assert isinstance(current, AnalogLine)
        held = current.values[np.searchsorted(current.times_s, np.arange(count) * 2.5e-7 + 1e-9, side="right") - 1]
        assert np.abs(held - volts / 10).max() <= 0.0051 + 0.00005


@pytest.mark.parametrize("row", [150_001, 190_000])
@pytest.mark.parametrize(
    "bad", ["{t},1,1,1", "{t}", "{t},", "{t},2,5", "{t},x,5", "nan,0,5", "{t}x,0,5", "-{t},0,5", "{t}+,0,5",
            "{t},0,5.0.1", "{t},0,-", "{t},0,nan", "{t},0,", "{m},0,5", "{t},0, 5 0", "{t};0,5"],
)  # fmt: skip
@pytest.mark.parametrize("look", ["even", "short", "wide"])
def test_a_broken_row_in_long_silence_with_volts_is_named(tmp_path: Path, row: int, bad: str, look: str) -> None:
    noise = random.Random(1)
    if look == "even":
        rows = [f"{i * 2.5e-7:.9f},0,5.0{noise.randrange(100):02d}" for i in range(200_000)]
    else:
        form = ".4g" if look == "short" else ".11g"
        rows = [f"{i * 2.5e-7:.12g},0,{noise.gauss(5, 0.01):{form}}" for i in range(200_000)]
    time = rows[row].split(",")[0]
    rows[row] = bad.format(t=time, m=time.replace(".", "-"))
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == row + 2


@pytest.mark.parametrize(
    "bad", ["{t},0,5", "{t},0,5,", "{t},0,,0.1", "{t},0,5,0.1,1", "{t},0,5.0.1,0.1", "{t},0,5,0.1.0", "{t},05,0.1,0",
            "{t},0,5,-", "{t},2,5,0.1", "{t},0,5;0.1,1", "{m},0,5,0.1", "{t},0,50,.,1"],
)  # fmt: skip
def test_a_broken_row_in_long_silence_with_volts_and_current_is_named(tmp_path: Path, bad: str) -> None:
    noise = random.Random(1)
    rows = [f"{i * 2.5e-7:.12g},0,{noise.gauss(5, 0.01):.4g},{noise.gauss(0, 0.01):.4f}" for i in range(160_000)]
    time = rows[150_001].split(",")[0]
    rows[150_001] = bad.format(t=time, m=time.replace(".", "-"))
    # What makes up for the damage where one only counts, in a row that is as wrong.
    rows[150_020] += ","
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V],Current [A]", *rows, ""]))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == 150_003


@pytest.mark.parametrize("row", [1_000, 1_001, 150_001])
@pytest.mark.parametrize("bad", [":.000000000E-03", "1.00000000,E-03", "1.000000000E:03", "1.000000000E-0x"])
def test_a_broken_time_with_an_exponent_is_named(tmp_path: Path, row: int, bad: str) -> None:
    rows = [f"{1 + i * 2.5e-7:.9E},0" for i in range(200_000)]
    rows[row] = bad + ",0"
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == row + 2


def test_rows_left_out_in_silence_are_no_steady_step(tmp_path: Path) -> None:
    rows = [f"{i * 2.5e-7:.9f},{i // 90_000 % 2}" for i in range(400_000)]
    del rows[200_000:200_300]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    capture = open_capture(path)
    assert capture.kind == "csv-edges"
    line = capture.lines[0]
    assert isinstance(line, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx([0.0225, 0.045, 0.0675, 0.09])


def test_two_rows_exchanged_deep_inside_leave_a_waveform_in_order(tmp_path: Path) -> None:
    rows = [f"{i * 2.5e-7:.9f},{i // 90_000 % 2},{i % 500 / 100:.2f}" for i in range(200_000)]
    rows[150_003], rows[150_020] = rows[150_020], rows[150_003]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1,VBUS [V]", *rows, ""]))
    vbus = open_capture(path).lines[1]
    assert isinstance(vbus, AnalogLine)
    assert (np.diff(vbus.times_s) > 0).all()
    assert len(vbus.times_s) > 10_000


def test_a_clock_beside_cc_is_given_up_and_cc_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines_module, "MOST_BESIDE", 1000)
    rows = [f"{i * 1e-6:.6f},{i // 70 % 2},{i % 2},{i // 100 % 2}" for i in range(20_000)]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1,clock,button", *rows, ""]))
    capture = open_capture(path)
    assert [line.name for line in capture.lines] == ["CC1", "button"]
    path.write_text("\n".join(["Time [s],one,two,three", *rows, ""]))
    assert len(open_capture(path).lines) == 3
    assert len(open_capture(path, roles={Role.CC1: "one"}).lines) == 2


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 1 << 32), lanes=st.integers(1, 3), tail=st.sampled_from(["\n", "\r\n", ";\n"]),
    shown=st.sampled_from([lambda x: f"{x:.9g}", lambda x: repr(round(x, 10)), lambda x: f"{x:.7f}"]),
)  # fmt: skip
def test_silence_is_read_as_the_careful_reader_does(
    tmp_path: Path, seed: int, lanes: int, tail: str, shown: Callable[[float], str]
) -> None:
    rng = random.Random(seed)
    levels = [rng.randrange(2) for _ in range(lanes)]
    rows = []
    for row in range(3000):
        if rng.random() < rng.choice([0.0, 0.001]):
            levels[rng.randrange(lanes)] ^= 1
        rows.append(";".join([shown(0.5 + row * 2.5e-7), *map(str, levels)]) + tail)
    path = tmp_path / "capture.csv"
    path.write_bytes(("Time [s];" + ";".join(f"D{lane}" for lane in range(lanes)) + "\n" + "".join(rows)).encode())
    with pytest.MonkeyPatch.context() as patch:
        everywhere(patch)
        patch.setattr(FixedReader, "read", never)
        quiet = open_capture(path)
        for reader in READERS:
            patch.setattr(reader, "read", never)
        careful = open_capture(path)
    assert (quiet.kind, quiet.duration_s) == (careful.kind, careful.duration_s)
    for line, expected in zip(quiet.lines, careful.lines, strict=True):
        assert isinstance(line, DigitalLine) and isinstance(expected, DigitalLine)
        assert line.initial == expected.initial
        assert line.edges_s.tolist() == pytest.approx(expected.edges_s.tolist(), rel=1e-9, abs=1e-13)


@pytest.mark.parametrize("row", [150_001, 190_000])
@pytest.mark.parametrize("bad", ["{t},1,1", "{t}", "{t},", "{t},2", "{t},x", "nan,0", "{t}x,0", "-{t},0", "{t}+,0"])
def test_a_broken_row_in_long_silence_is_named(tmp_path: Path, row: int, bad: str) -> None:
    rows = [f"{i * 2.5e-7:.12g},0" for i in range(200_000)]
    rows[row] = bad.format(t=rows[row].split(",")[0])
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == row + 2


@pytest.mark.parametrize(("off", "named"), [(1.0, 150_003), (-0.03, 150_002), (0.01, 150_003)])
def test_one_time_far_off_in_long_silence_is_named(tmp_path: Path, off: float, named: int) -> None:
    rows = [f"{i * 2.5e-7:.9f},0" for i in range(200_000)]
    rows[150_000] = f"{150_000 * 2.5e-7 + off:.9f},0"
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, ""]))
    with pytest.raises(CaptureError, match="time goes backwards") as caught:
        open_capture(path)
    assert caught.value.line == named


def test_times_that_begin_again_in_long_silence_are_named(tmp_path: Path) -> None:
    rows = [f"{i * 2.5e-7:.12g},0" for i in range(200_000)]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s],CC1", *rows, *rows[10:], ""]))
    with pytest.raises(CaptureError, match="backwards") as caught:
        open_capture(path)
    assert caught.value.line == 200_002


@pytest.mark.parametrize(
    ("bad", "fine"), [("{n},{t},1,1", False), ("{n},{t}", False), ("{n},{t},2", False), ("{n},,{t},1", False),
                      ('"{n},{t},1', False), ("{n}\n,{t},1", False), ("# {n},{t},1", True), ("x,{t},1", True),
                      ("-5,{t},1", True), ("{n}.5,{t},1", True), ("99999999,{t},1", True)],
)  # fmt: skip
@pytest.mark.parametrize("form", ["{n:08d}", "{n}", "{n:8d}"])
@pytest.mark.parametrize("timed", [True, False])
@pytest.mark.parametrize("every_row_before", [0, csv_reader.FIRST_LINE])
def test_a_column_that_counts_rows_is_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bad: str, fine: bool, form: str, timed: bool, every_row_before: int
) -> None:
    """At speed as cell by cell: whatever stands in it that does not hide a cell or a row is nobody's concern.

    The row is met where rows are passed over as well as where each is looked at, as it is near the beginning of a file.
    """
    if not timed:
        bad = bad.replace("{t},", "").replace(",{t}", "")

    def row(n: int, shape: str) -> str:
        return shape.format(n=form.format(n=n), t=f"{n * 2.5e-7:.9f}")

    monkeypatch.setattr(csv_reader, "FIRST_LINE", every_row_before)
    shape = "{n},{t},1" if timed else "{n},1"
    rows = [row(n, shape)[:-1] + str(n // 1000 % 7 // 6) for n in range(12_000)]
    rows[9_001] = row(9_001, bad)
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Sample,Time [s],CC1" if timed else "Sample,CC1", *rows, ""]))
    rate_hz = None if timed else 4e6
    try:
        found: Capture | CaptureError = open_capture(path, rate_hz=rate_hz)
    except CaptureError as error:
        found = error
    for reader in READERS:
        monkeypatch.setattr(reader, "read", lambda *_: None)
    if isinstance(found, CaptureError):
        with pytest.raises(CaptureError) as caught:
            open_capture(path, rate_hz=rate_hz)
        assert not fine
        assert (found.what, found.line) == (caught.value.what, caught.value.line)
        return
    careful = open_capture(path, rate_hz=rate_hz)
    (line,), (expected,) = found.lines, careful.lines
    assert isinstance(line, DigitalLine) and isinstance(expected, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx(expected.edges_s.tolist(), rel=1e-9, abs=1e-13)
    assert found.duration_s == pytest.approx(careful.duration_s)


def trimmed(value: float, decimals: int) -> str:
    """A number without trailing zeros, and without a point where it is a whole one."""
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".")


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    seed=st.integers(0, 1 << 32), lanes=st.integers(1, 3), volts=st.sampled_from([None, ".3f", ".4g"]),
    per_us=st.sampled_from([2, 8, 10, 24]), decimals=st.sampled_from([1, 3]), marks=st.sampled_from([",.", ";.", ";,"]),
    tail=st.sampled_from(["\n", "\r\n", ";\n", ";\r\n"]), quote=st.sampled_from(["", "", '"']),
    damages=st.integers(0, 2),
)  # fmt: skip
def test_times_without_a_point_here_and_there_agree(
    tmp_path: Path, seed: int, lanes: int, volts: str | None, per_us: int, decimals: int, marks: str, tail: str,
    quote: str, damages: int,
) -> None:  # fmt: skip
    rng = random.Random(seed)
    delimiter, point = marks
    levels = [rng.randrange(2) for _ in range(lanes)]
    first = rng.choice([0, 5000, 99_900, 10**7])
    rows = []
    for row in range(1500):
        if rng.random() < rng.choice([0.0, 0.002]):
            levels[rng.randrange(lanes)] ^= 1
        cells = [trimmed(first + row / per_us, decimals), *map(str, levels)]
        if volts is not None:
            cells.append(format(rng.gauss(5, 0.01), volts))
        rows.append(delimiter.join(quote + cell.replace(".", point) + quote for cell in cells))
    for _ in range(damages):
        at = rng.randrange(100, len(rows))
        place = rng.randrange(len(rows[at]) + 1)
        bit = rng.choice([*'":;,.,.-+ \r', "0", "x", "9", "..", ".0.", ",,"])
        rows[at] = rng.choice([
            rows[at][:place] + bit + rows[at][place + 1 :], rows[at][:place] + bit + rows[at][place:],
            rows[at][:place] + rows[at][place + 1 :],
        ])  # fmt: skip
    names = ["Time [us]", *(f"D{lane}" for lane in range(lanes)), *(["VBUS [V]"] if volts else [])]
    agree(tmp_path / "capture.csv", (delimiter.join(names) + "\n" + tail.join([*rows, ""])).encode())


WHOLE: dict[str, tuple[type, int, Callable[[str, int, int], str]]] = {
    "quiet": (QuietReader, 8, lambda t, i, level: f"{t},{level}"),
    "quiet, decimal comma": (QuietReader, 8, lambda t, i, level: f"{t};{level}".replace(".", ",")),
    "quiet, two and a carriage return": (QuietReader, 24, lambda t, i, level: f"{t};{level};0\r"),
    "quiet, letters": (QuietReader, 10, lambda t, i, level: f"{t};{'LH'[level]};L"),
    "uneven": (UnevenReader, 10, lambda t, i, level: f"{t},{level}"),
    "noisy": (NoisyReader, 8, lambda t, i, level: f"{t},{level},{5 + i % 7 / 1000:.3f}"),
    "noisy, volts first": (NoisyReader, 10, lambda t, i, level: f"{t};{5 + i % 7 / 1000:.4g};{level}"),
}


@pytest.mark.parametrize("look", sorted(WHOLE))
def test_times_without_a_point_take_their_way(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, look: str) -> None:
    reader, per_us, row = WHOLE[look]
    count = 40_000
    flips = np.zeros(count, np.intp)
    flips[20_000 + np.cumsum(np.random.default_rng(3).choice([6, 7, 13], 200))] = 1
    levels = np.cumsum(flips) & 1
    rows = [row(trimmed(i / per_us, 3), i, int(levels[i])) for i in range(count)]
    header = ["Time [us]", "CC1", "VBUS [V]" if "noisy" in look else "D2"]
    if "first" in look:
        header[1:] = "VBUS [V]", "CC1"
    mark = ";" if ";" in rows[0] else ","
    path = tmp_path / "capture.csv"
    path.write_bytes("\n".join([mark.join(header[: rows[0].count(mark) + 1]), *rows, ""]).encode())
    taken = taken_by(reader, monkeypatch)
    line = next(line for line in open_capture(path).lines if line.name == "CC1")
    assert sum(taken) > 0.3 * count
    assert isinstance(line, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx((np.flatnonzero(flips) / per_us * 1e-6).tolist(), abs=2e-9)


@pytest.mark.parametrize("row", [150_001, 190_000])
@pytest.mark.parametrize(
    "bad", ["{t}.5.5,0", "1.{t},0,", ".,0", ",0", "{t}..,0", "{t}.,,0", "{t},30", "{t},.", "{t},", "{t}", "0",
            ".{t}.,0", "{t}.-5,0", "{t}.5x,0", "{t}.5:,0", "{t}.5,0.5", "{t};0"],
)  # fmt: skip
@pytest.mark.parametrize("volts", ["", ",5.013"])
def test_a_broken_row_among_times_without_a_point_is_named(tmp_path: Path, row: int, bad: str, volts: str) -> None:
    rows = [f"{trimmed(i / 8, 3)},0{volts}" for i in range(200_000)]
    rows[row] = bad.format(t=row // 8) + volts
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [us],CC1" + (",VBUS [V]" if volts else ""), *rows, ""]))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == row + 2


@settings(max_examples=200, deadline=None)
@given(rows=st.lists(st.text("1.", max_size=80), min_size=1, max_size=30))
def test_points_are_parted_by_what_stands_between(rows: list[str]) -> None:
    text = np.frombuffer("".join(row + "," for row in rows).encode(), np.uint8)
    bits = csv_bits.Bits()
    points, marks = bits.where(np.equal, text, ord(".")), bits.where(np.equal, text, ord(","))
    parted = csv_bits.are_parted(points, marks)
    assert not parted if any(row.count(".") > 1 for row in rows) else parted or not marks.all()


def test_more_channels_than_lie_before_the_first_row_of_a_block(tmp_path: Path) -> None:
    # What is behind the time is wider than the margin in front of a block.
    rows = [f"{i * 2.5e-7:.12g}" + ",0" * 39 + f",{i // 90_000 % 2}" for i in range(180_100)]
    path = tmp_path / "capture.csv"
    path.write_text("\n".join(["Time [s]," + ",".join(f"D{lane}" for lane in range(40)), *rows, ""]))
    last = open_capture(path).lines[-1]
    assert isinstance(last, DigitalLine)
    assert last.edges_s.tolist() == pytest.approx([0.0225, 0.045])
