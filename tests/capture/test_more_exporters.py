"""More ways to write one conversation: what exporters write that is read, and what ends in one clear line.

The styles are common practice, without a source; the conversation is that of ``test_exporters``.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from pdcheck.capture import AnalogLine, Capture, Role
from pdcheck.capture.names import read_name
from pdcheck.errors import CaptureError
from pdcheck.line import read_capture
from tests.capture.test_exporters import (
    CHANGES,
    ROWS,
    STEP,
    VOLTS,
    bears_the_conversation,
    changes,
    lines,
    opened,
    samples,
)

TURN = len(ROWS) // 2


def vbus(row: int) -> float:
    """Volts that rise from 5 to 9 V in the middle, so that a column of them cannot be lost unseen."""
    return 5.02 if row < TURN else 9.04


def has_vbus(capture: Capture) -> None:
    [line] = [line for line in capture.lines if line.role is Role.VBUS]
    assert isinstance(line, AnalogLine)
    for start, volts in ((0.1, 5.02), (0.6, 9.04)):
        seen = line.during(start * capture.duration_s, (start + 0.3) * capture.duration_s)
        assert seen is not None
        assert seen.typical == pytest.approx(volts, abs=0.05)


def point(text: str) -> str:
    return text.replace(".", ",")


LANGUAGES = {
    "German, unit as a word": samples(
        "Zeit in Mikrosekunden;CC1;VBUS in Volt", lambda i, t, cc: point(f"{t * 1e6:.2f};{cc};{vbus(i):.2f}")
    ),
    "French, rate": samples(
        "Fréquence d'échantillonnage : 4 MHz\nÉchantillon;CC1;VBUS (V)",
        lambda i, t, cc: point(f"{i};{cc};{vbus(i):.2f}"),
    ),
    "Spanish, rate": samples(
        "Frecuencia de muestreo: 4 MHz\nMuestra;CC1;VBUS", lambda i, t, cc: f"{i};{cc};{vbus(i):.2f}"
    ),
    "Chinese, units": samples("时间(微秒),CC1,VBUS(伏)", lambda i, t, cc: f"{t * 1e6:.2f},{cc},{vbus(i):.2f}"),
    "Chinese, wide brackets": samples("时间（us）,CC1,VBUS（V）", lambda i, t, cc: f"{t * 1e6:.2f},{cc},{vbus(i):.2f}"),
    "Chinese, rate": samples("采样率：4MHz\n序号,CC1,VBUS", lambda i, t, cc: f"{i},{cc},{vbus(i):.2f}"),
    "Chinese, interval": samples("采样间隔,250,ns\n序号,CC1,VBUS", lambda i, t, cc: f"{i},{cc},{vbus(i):.2f}"),
    "Japanese, rate": samples(
        "サンプリング周波数,4,MHz\n番号,CC1,VBUS電圧[V]", lambda i, t, cc: f"{i},{cc},{vbus(i):.2f}"
    ),
    "Russian": samples(
        "Время (мкс);CC1;Напряжение VBUS (В)", lambda i, t, cc: point(f"{t * 1e6:.2f};{cc};{vbus(i):.2f}")
    ),
}  # fmt: skip


@pytest.mark.parametrize("style", sorted(LANGUAGES))
def test_other_languages(tmp_path: Path, style: str) -> None:
    capture = opened(tmp_path, LANGUAGES[style], "capture.csv")
    assert capture.time_unit_stated
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-3)
    bears_the_conversation(capture)
    has_vbus(capture)


def test_letters_that_are_units_are_names_too() -> None:
    for name in ("Канал А", "Канал С", "CC_A", "C"):
        named = read_name(name)
        assert (named.is_time, named.role is Role.CURRENT) == (False, False), name
    assert read_name("Ток, мА").role is Role.CURRENT
    assert read_name("电流").role is Role.CURRENT


@pytest.mark.parametrize("said", [
    "fs=4e6", "Fs: 4000000", "4 MHz", "Ts,2.5e-07", "Tsample: 250ns", "time/sample: 250 ns", "1 sample = 250 ns",
    "Taux d'échantillonnage : 4 MHz", "Période d'échantillonnage : 250 ns",
])  # fmt: skip
@pytest.mark.parametrize("mark", ["", "# "])
def test_the_rate_above(tmp_path: Path, said: str, mark: str) -> None:
    data = samples(f"{mark}{said}\nSample,CC1", lambda i, t, cc: f"{i},{cc}")
    capture = opened(tmp_path, data, "capture.csv")
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-6)
    bears_the_conversation(capture)


@pytest.mark.parametrize(("said", "tick_s"), [
    ("Time (10 ns)", 1e-8), ("Time (100ns)", 1e-7), ("Ticks (48 MHz)", 1 / 48e6), ("cycles @ 24MHz", 1 / 24e6),
    ("Sample (4 MS/s)", 2.5e-7), ("Sample number at 4 MSa/s", 2.5e-7), ("Time [10^-9 s]", 1e-9),
    ("Time (x1e-6 s)", 1e-6),
])  # fmt: skip
def test_a_name_that_says_how_long_one_is(tmp_path: Path, said: str, tick_s: float) -> None:
    data = changes(f"{said};CC1", lambda t, cc: f"{round(t / tick_s)};{cc}")
    capture = opened(tmp_path, data, "capture.csv")
    assert capture.time_unit_stated
    assert capture.duration_s == pytest.approx(CHANGES[-1][0], abs=2 * tick_s)
    if tick_s < 3e-7:
        bears_the_conversation(capture)


def test_decimals_are_not_counts(tmp_path: Path) -> None:
    """"Time (10 ns)" above 0.00000250 may say how fine the times are; nothing is multiplied then."""
    data = changes("Time (10 ns),CC1", lambda t, cc: f"{t:.9f},{cc}")
    capture = opened(tmp_path, data, "capture.csv")
    assert not capture.time_unit_stated
    bears_the_conversation(capture)


@pytest.mark.parametrize("header", ["Ticks,CC1", "Échantillon,CC1", "Mesure,CC1", ",CC1"])
def test_counts_without_a_rate(tmp_path: Path, header: str) -> None:
    data = samples(header, lambda i, t, cc: f"{i},{cc}")
    with pytest.raises(CaptureError, match=r"counts samples .*--rate HZ"):
        opened(tmp_path, data, "capture.csv")
    bears_the_conversation(opened(tmp_path, data, "capture.csv", rate_hz=1 / STEP))


def three(i: int, t: float, cc: int) -> str:
    return f"{t:.9f},{cc},{vbus(i):.2f}"


NAMES = "Time [s],CC1,VBUS [V]"
HEADERS = {
    "a name for the row numbers is missing, as of an index": samples(
        "," + NAMES, lambda i, t, cc: f"{i},{three(i, t, cc)}"
    ),
    "the row numbers have no column in the header": samples(
        '"Time [s]" "CC1" "VBUS [V]"', lambda i, t, cc: f'"{i + 1}" {three(i, t, cc)}'.replace(",", " ")
    ),
    "row numbers with a colon": samples(
        "Time(s) CC1 VBUS(V)", lambda i, t, cc: f"{i}: {three(i, t, cc)}".replace(",", " ")
    ),
    "an empty first column": samples("," + NAMES, lambda i, t, cc: "," + three(i, t, cc)),
    "a table with rules": samples(
        "| Time [s] | CC1 | VBUS [V] |\n|---|---|---|", lambda i, t, cc: f"| {three(i, t, cc)} |".replace(",", " | ")
    ),
    "a table in a box": samples(
        "+------+-----+-----+\n| Time [s] | CC1 | VBUS [V] |\n+------+-----+-----+",
        lambda i, t, cc: f"| {three(i, t, cc)} |".replace(",", " | "),
    ) + b"+------+-----+-----+\n",
    "the header is one quoted cell": samples(f'"{NAMES}"', three),
    "a rule of dashes": samples(
        "Time [s]   CC1   VBUS [V]\n---------- ----- --------", lambda i, t, cc: three(i, t, cc).replace(",", "   ")
    ),
    "no unit, written as a dash": samples(
        "Time,CC1,VBUS\n[us],[-],[mV]", lambda i, t, cc: f"{t * 1e6:.2f},{cc},{vbus(i) * 1e3:.0f}"
    ),
    "names, then words about them": samples(
        "Channel,A,B\nName,CC1,VBUS\nUnit,V,V\nTime [s],,", lambda i, t, cc: three(i, t, cc)
    ),
    "words about the file beside the first rows": samples(
        NAMES + ",,Model,Quay 4", lambda i, t, cc: three(i, t, cc) + (f",,Key {i},{i * 3}" if i < 12 else "")
    ),
    "the header again on every page": samples(
        NAMES, lambda i, t, cc: three(i, t, cc) + ("\n" + NAMES if i % 1000 == 999 else "")
    ),
    "the header again on every page, with form feeds": samples(
        NAMES, lambda i, t, cc: three(i, t, cc) + ("\n\f" + NAMES if i % 1000 == 999 else ""), "\r\n"
    ),
}  # fmt: skip


@pytest.mark.parametrize("style", sorted(HEADERS))
def test_headers(tmp_path: Path, style: str) -> None:
    capture = opened(tmp_path, HEADERS[style], "capture.csv")
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-3)
    bears_the_conversation(read_capture(capture).capture)
    has_vbus(capture)


LOST = {
    "fewer names than columns": samples("Time [s],VBUS [V]", three),
    "decimal commas between commas": samples(NAMES, lambda i, t, cc: point(f"{t:.9f},{cc},{vbus(i):.2f}")),
    "another line end": NAMES.encode() + b"\r" + samples("", three).lstrip(),
    "a name over two lines": samples('"Time\n[s]","CC1","VBUS\n[V]"', three),
}


@pytest.mark.parametrize("style", sorted(LOST))
def test_a_header_that_does_not_fit_is_not_passed_over(tmp_path: Path, style: str) -> None:
    """It was, and with it the name of VBUS."""
    with pytest.raises(CaptureError, match=r"line 1: .*--vbus 3") as error:
        opened(tmp_path, LOST[style], "capture.csv")
    assert str(error.value).isprintable()


def test_rows_that_begin_without_values(tmp_path: Path) -> None:
    """Many of them hid the header, and with it the name of VBUS; nothing was said of the rows."""
    for word in ("x", "?"):
        data = samples(NAMES, lambda i, t, cc, w=word: f"{t:.9f},{w if i < 400 else cc},{vbus(i):.2f}")  # type: ignore[misc]
        with pytest.raises(CaptureError, match=r"line 2: .* in column 2 \(CC1\) is not a level"):
            opened(tmp_path, data, "capture.csv")


@pytest.mark.parametrize("between", ["\nCH2\nTime [s],Volt", "\nTime [us],Volt", "CH2"])
def test_another_table_below(tmp_path: Path, between: str) -> None:
    rows = [f"{t:.9f},{v:.4f}" for t, v in zip(VOLTS.times_s, VOLTS.values, strict=True)]
    data = lines("CH1\nTime [s],Volt", [*rows, between, *rows])
    with pytest.raises(CaptureError, match="if another table begins here, export it to a file of its own"):
        opened(tmp_path, data, "capture.csv")


WIDE = str.maketrans("0123456789.-,", "０１２３４５６７８９．－，")
MINUS = str.maketrans("-", "\u2212")
CELLS = {
    "wide digits": samples(
        "時間(us),CC1,VBUS(V)", lambda i, t, cc: f"{t * 1e6:.2f},{cc},{vbus(i):.2f}".translate(WIDE)
    ),
    "wide commas": samples("时间(us)，CC1，VBUS(V)", lambda i, t, cc: f"{t * 1e6:.2f}，{cc}，{vbus(i):.2f}"),
    "a typesetter's minus": samples(
        "Time [s];CC1;VBUS [V]", lambda i, t, cc: f"{t - 0.01:.9f};{cc};{vbus(i):.2f}".translate(MINUS)
    ),
    "missing values are NaN": samples(
        NAMES, lambda i, t, cc: f"{t:.9f},{cc},{f'{vbus(i):.2f}' if i % 50 == 0 else 'NaN'}"
    ),
    "missing values are null": samples(
        NAMES, lambda i, t, cc: f"{t:.9f},{cc},{f'{vbus(i):.2f}' if i % 50 == 0 else 'null'}"
    ),
    "N/A at first": samples(NAMES, lambda i, t, cc: f"{t:.9f},{cc},{'N/A' if i < 100 else f'{vbus(i):.2f}'}"),
    "levels as words of a German table": samples(
        "Zeit [s];CC1;VBUS [V]", lambda i, t, cc: point(f"{t:.9f};{('FALSCH', 'WAHR')[cc]};{vbus(i):.2f}")
    ),
    "levels as two words": samples(NAMES, lambda i, t, cc: f"{t:.9f},Logic {cc},{vbus(i):.2f}"),
}  # fmt: skip


@pytest.mark.parametrize("style", sorted(CELLS))
def test_cells(tmp_path: Path, style: str) -> None:
    capture = opened(tmp_path, CELLS[style], "capture.csv")
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-3)
    bears_the_conversation(capture)
    has_vbus(capture)


@pytest.mark.parametrize("encoding", ["utf-8", "gbk", "shift_jis"])
def test_wide_characters_may_be_anything(tmp_path: Path, encoding: str) -> None:
    """Text that is no UTF-8 comes through as it is."""
    header = "时间(us),CC1,VBUS(V)" if encoding == "gbk" else "時間(us),CC1,VBUS(V)"
    data = samples(header, lambda i, t, cc: f"{t * 1e6:.2f},{cc},{vbus(i):.2f}").decode().encode(encoding)
    capture = opened(tmp_path, data, "capture.csv")
    bears_the_conversation(read_capture(capture).capture)
    has_vbus(capture)


def test_edges_as_two_words(tmp_path: Path) -> None:
    words = ("falling edge", "rising edge")
    bears_the_conversation(opened(tmp_path, changes("Time [s],CC1", lambda t, cc: f"{t:.9f},{words[cc]}"), "a.csv"))


def test_no_reading_for_once(tmp_path: Path) -> None:
    """Where it is no habit it is damage."""
    for header in (NAMES, "Time [s],D0,CC1 [V]"):
        data = samples(header, lambda i, t, cc: f"{t:.9f},{cc},{'NaN' if i == 9000 else cc * 1.1:.5}")
        with pytest.raises(CaptureError, match=r"line 9002: 'NaN' in column 3 .* export a value in each row"):
            opened(tmp_path, data, "capture.csv")


def test_alternating_rows_of_numbered_channels(tmp_path: Path) -> None:
    rows = [f"{t:.9f},1,{v:.4f}\n{t:.9f},2,{vbus(i):.2f}"
            for i, (t, v) in enumerate(zip(VOLTS.times_s, VOLTS.values, strict=True))]  # fmt: skip
    bears_the_conversation(opened(tmp_path, lines("Time [s],CH,V", rows), "capture.csv"))


def test_a_time_every_tenth_row(tmp_path: Path) -> None:
    """Nine of ten changes would have been at a wrong time."""
    data = samples("Time [s],CC1", lambda i, t, cc: f"{t:.9f},{cc}" if i % 10 == 0 else f",{cc}")
    with pytest.raises(CaptureError, match=r"line 3: column 1 \(Time \[s\]\) is empty"):
        opened(tmp_path, data, "capture.csv")


def test_rows_that_are_more_than_a_sample(tmp_path: Path) -> None:
    rows = [f"{level},{1 + i % 7}" for i, (_, level) in enumerate(CHANGES)]
    with pytest.raises(CaptureError, match=r"column 2 \(Repeat\) says how often a row is repeated"):
        opened(tmp_path, lines("# Sample rate: 4 MHz\nCC1,Repeat", rows), "capture.csv")
    levels = [cc for _, cc in ROWS]
    eight = [",".join(map(str, [i, *levels[i : i + 8]])) for i in range(0, len(levels) - 8, 8)]
    with pytest.raises(CaptureError, match="each row holds 8 samples"):
        opened(tmp_path, lines("# Sample rate: 4 MHz\nSample,0,1,2,3,4,5,6,7", eight), "capture.csv")
    # But of channels that have names one sample in so many may have been kept.
    data = samples("# Sample rate: 16 MHz\nSample,CC1,D1,D2,D3", lambda i, t, cc: f"{4 * i},{cc},0,1,0")
    bears_the_conversation(opened(tmp_path, data, "capture.csv"))


def test_starts_and_widths_are_no_volts(tmp_path: Path) -> None:
    rows = [f"{t * 1e6:.2f},{(end - t) * 1e6:.2f}" for (t, cc), (end, _) in pairwise(CHANGES) if cc]
    with pytest.raises(CaptureError, match="has a time column and no other that holds levels or volts"):
        opened(tmp_path, lines("Start [us],Width [us]", rows), "capture.csv")


@pytest.mark.parametrize("unit", ["(ADC)", "[counts]", "raw", "(div)", "(dBV)", "(%)"])
def test_codes_are_no_volts(tmp_path: Path, unit: str) -> None:
    data = samples(f"Time [s],CC1,VBUS {unit},IBUS {unit}", lambda i, t, cc: f"{t:.9f},{cc},{int(vbus(i) * 124)},40")
    capture = opened(tmp_path, data, "capture.csv")
    bears_the_conversation(capture)
    assert capture.left_out == {Role.VBUS, Role.CURRENT}
    assert [line.name for line in capture.lines] == ["CC1"]
    assert f'"VBUS {unit}" does not hold volts' in capture.notes[0]
    chosen = opened(tmp_path, data, "capture.csv", roles={Role.VBUS: "3"})
    assert {line.role for line in chosen.lines} == {Role.CC1, Role.VBUS}


@pytest.mark.parametrize("header", [
    "sec,usec,CC1,VBUS", "seconds;microseconds;CC1;VBUS", "tv_sec,tv_nsec,CC1,VBUS", "CC1,VBUS,s,ms"
])  # fmt: skip
@pytest.mark.parametrize("start", [0, 1_764_072_000])
def test_a_time_in_two_columns(tmp_path: Path, header: str, start: int) -> None:
    """Of which the first alone stands still; the second turns over."""
    digits = 9 if "nsec" in header else 3 if "ms" in header else 6
    mark = ";" if ";" in header else ","

    def row(i: int, t: float, cc: int) -> str:
        ns = round(t * 1e9) + 990_000_000
        whole, rest = start + ns // 10**9, ns % 10**9
        time = [str(whole), f"{rest // 10 ** (9 - digits)}.{rest % 10 ** (9 - digits):0{max(1, 9 - digits)}}"]
        values = [str(cc), f"{vbus(i):.2f}"]
        return mark.join(values + time if header.startswith("CC1") else time + values)

    capture = opened(tmp_path, samples(header.replace(",s,", ",sec,"), row), "capture.csv")
    assert capture.time_unit_stated
    assert capture.start_s == pytest.approx(start + 0.99)
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-3)
    bears_the_conversation(capture)
    has_vbus(capture)


def test_two_whole_times_are_no_halves(tmp_path: Path) -> None:
    data = samples("Time [s],Time [us],CC1", lambda i, t, cc: f"{round(t + 3)},{(t + 3) * 1e6:.2f},{cc}")
    with pytest.raises(CaptureError, match="too coarse"):
        opened(tmp_path, data, "capture.csv")


@pytest.mark.parametrize("header", ["Time,CC1,VBUS", "Time [s],CC1 [V],VBUS [V]"])
def test_engineering_suffixes(tmp_path: Path, header: str) -> None:
    def short(value: float) -> str:
        for suffix, size in (("", 1.0), ("m", 1e-3), ("u", 1e-6), ("n", 1e-9)):
            if value >= size:
                return f"{value / size:.7g}{suffix}"
        return "0"

    data = samples(header, lambda i, t, cc: f"{short(t)},{short(0.033 + cc)},{short(vbus(i))}")
    capture = opened(tmp_path, data, "capture.csv")
    bears_the_conversation(capture)
    has_vbus(capture)


@pytest.mark.parametrize("header", ["micros(),CC1", "Time in Sec.,CC1", "Horizontal Units,us\nVertical Units,V\nX,CC1"])
def test_units_worded_otherwise(tmp_path: Path, header: str) -> None:
    factor = 1.0 if "Sec" in header else 1e6
    capture = opened(tmp_path, samples(header, lambda i, t, cc: f"{t * factor:.9f},{cc}"), "capture.csv")
    assert capture.time_unit_stated
    bears_the_conversation(capture)


def test_sections(tmp_path: Path) -> None:
    header = "[Header]\nSampleRate=4000000\nChannels=CC1,VBUS\n[Data]"
    capture = opened(tmp_path, samples(header, lambda i, t, cc: f"{cc},{vbus(i):.2f}"), "capture.csv")
    bears_the_conversation(read_capture(capture).capture)
    has_vbus(capture)


@pytest.mark.parametrize("magic", [
    b"RIFF\x24\x08\0\0WAVEfmt ", b"\x93NUMPY\x01\0v\0", b"\x89HDF\r\n\x1a\n", b"PAR1\x15\x04",
])  # fmt: skip
def test_containers_are_no_raw_samples(tmp_path: Path, magic: bytes) -> None:
    """With a rate they would be read as such, header and all."""
    with pytest.raises(CaptureError, match="not a capture"):
        opened(tmp_path, magic + bytes(range(256)) * 40, "capture.bin", rate_hz=4e6)


def test_a_voltage_in_bits_is_mentioned(tmp_path: Path) -> None:
    variables = "$var wire 1 ! CC1 $end $var integer 32 v VBUS_mV $end"
    text = f"$timescale 1 ns $end {variables} $enddefinitions $end\n#0\nb1001110011100 v\n"
    text += "".join(f"#{round(t * 1e9)}\n{cc}!\n" for t, cc in CHANGES)
    capture = opened(tmp_path, text.encode(), "capture.vcd")
    bears_the_conversation(capture)
    assert any('"VBUS_mV" is declared as 32 bits' in note for note in capture.notes)


@pytest.mark.parametrize("above", [
    "Y Increment,3.9e-4\nX Increment,2.5e-07", "Vertical increment: 0.0004\nHorizontal increment: 2.5e-7",
    "Volts per step: 0.0004\ndt: 2.5e-7", "Trigger interval: 10 us\nSample interval: 250 ns",
    "Frequency,F=300.1KHz\nPeriod,T=3.332us\nSample interval: 250 ns", "Period: 250 ns",
    "Interval: 250 ns\nTrigger: rise", "Measurement interval: 250 ns",
])  # fmt: skip
def test_the_step_of_samples_and_no_other(tmp_path: Path, above: str) -> None:
    data = samples(f"{above}\nSample,CC1", lambda i, t, cc: f"{i},{cc}")
    capture = opened(tmp_path, data, "capture.csv")
    assert capture.sample_period_s == pytest.approx(STEP, rel=1e-6)
    bears_the_conversation(capture)


@pytest.mark.parametrize("above", [
    "Frequency,F=300.1KHz\nPeriod,T=3.332us\nPK-PK,Vp=1.1", "Y Increment,3.9e-4", "Interval between segments: 1 ms",
])  # fmt: skip
def test_steps_of_something_else(tmp_path: Path, above: str) -> None:
    """The period that a scope measured of the signal is no step between samples."""
    with pytest.raises(CaptureError, match="counts samples"):
        opened(tmp_path, samples(f"{above}\nSample,CC1", lambda i, t, cc: f"{i},{cc}"), "capture.csv")
