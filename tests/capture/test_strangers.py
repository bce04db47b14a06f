"""Exports and command lines as a stranger has them, each invented (common practice, no source)."""

from __future__ import annotations

import io
import random
import zipfile
from importlib import import_module
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pdcheck.capture import Capture, open_capture
from pdcheck.errors import CaptureError
from pdcheck.line import read_capture
from tests.line.waves import PLAIN, came_through, made_up, talk, wave_of

PACKETS = talk(4, random.Random(8), gap_s=(60e-6, 200e-6))
WAVE = wave_of(PACKETS, PLAIN)
CHANGES = [(0.0, int(WAVE.initial)), *((float(time), int(level)) for time, level in WAVE.changes)]


def sampled(rate_hz: float) -> list[int]:
    levels, place = [], 0
    for number in range(int(WAVE.end_s * rate_hz)):
        while place + 1 < len(CHANGES) and CHANGES[place + 1][0] <= number / rate_hz:
            place += 1
        levels.append(CHANGES[place][1])
    return levels


LEVELS = sampled(4e6)


def bears_the_conversation(capture: Capture) -> None:
    packets = read_capture(capture).packets
    assert came_through(PACKETS, packets) == [True] * len(PACKETS)
    assert not made_up(PACKETS, packets)


@pytest.mark.parametrize("words", [
    ("H->L", "L->H"), ("h\u2192l", "l\u2192h"), ("1->0", "0->1"), ("\u2193", "\u2191"),
])  # fmt: skip
def test_edges_as_arrows(tmp_path: Path, words: tuple[str, str]) -> None:
    path = tmp_path / "capture.csv"
    rows = "".join(f"{time:.9f},{words[level]}\n" for time, level in CHANGES)
    path.write_text("Time [s],CC1\n" + rows, encoding="utf-8")
    bears_the_conversation(open_capture(path))


@pytest.mark.parametrize("above", [
    "Device: bench analyzer\nFirmware: 1.2.3\nSample rate: 100 MHz\nDate: 2026-03-04 10:11:12\n",
    "Model,LA-8\nSerial,000123\nChannels,CC1\nSampling,24000000\n",
    '"Model","LA-8"\n"Points","1000"\n',
    "Record Length,1000,\nTrigger,0.0,\n,,\n",
])  # fmt: skip
def test_keys_and_values_above_rows_without_a_header(tmp_path: Path, above: str) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(above + "".join(f"{time:.9f},{level}\n" for time, level in CHANGES))
    bears_the_conversation(open_capture(path))


@pytest.mark.parametrize("said", [
    "Rate (Hz): 4e6", "rate [MHz]=4", "fs = 4000 kHz", "Sampled at 4 MHz", "# Sampling: 4 MHz", "Sample clock: 4MHz",
    "#CLOCK=4.0MHz", "Fs: 4MHz", "; rate 4000 kHz",
])  # fmt: skip
def test_a_rate_by_its_unit(tmp_path: Path, said: str) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(said + "\nSample,CC1\n" + "".join(f"{number},{level}\n" for number, level in enumerate(LEVELS)))
    bears_the_conversation(open_capture(path))


@pytest.mark.parametrize("said", ["Frequency: 300 kHz", "CC clock divider 4", "Baud rate: 300000", "Update rate 4",
                                  "I2C clock: 400 kHz", "Data rate: 300 kHz"])
def test_what_is_no_rate(tmp_path: Path, said: str) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(said + "\nSample,CC1\n" + "".join(f"{number},{level}\n" for number, level in enumerate(LEVELS)))
    with pytest.raises(CaptureError, match="give the sample rate"):
        open_capture(path)


@pytest.mark.parametrize("typed", ["4000000", "4e6", "4M", "4MHz", "4 MS/s", "4MSa/s", "4,0M", "4000k", "4000 kHz"])
def test_a_rate_as_it_is_typed(tmp_path: Path, typed: str) -> None:
    path = tmp_path / "capture.bin"
    path.write_bytes(bytes(LEVELS))
    command: click.Command = import_module("pdcheck.cli").main
    result = CliRunner().invoke(command, ["decode", "--json", "--rate", typed, str(path)])
    assert f'"packets": {len(PACKETS)}' in result.stdout


@pytest.mark.parametrize("typed", ["fast", "4X", "4 apples", "M", ""])
def test_what_is_no_rate_to_type(tmp_path: Path, typed: str) -> None:
    path = tmp_path / "capture.bin"
    path.write_bytes(bytes(LEVELS))
    command: click.Command = import_module("pdcheck.cli").main
    result = CliRunner().invoke(command, ["decode", "--rate", typed, str(path)])
    assert result.exit_code == 2
    assert "samples a second" in result.output


@pytest.mark.parametrize("inside", ["xl/workbook.xml", "content.xml"])
def test_a_workbook_is_to_be_saved_as_csv(tmp_path: Path, inside: str) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("mimetype", "x")
        archive.writestr(inside, "<x/>")
    path = tmp_path / "capture.xlsx"
    path.write_bytes(packed.getvalue())
    with pytest.raises(CaptureError, match="save the sheet as CSV"):
        open_capture(path)
