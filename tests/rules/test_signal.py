"""What the capture can carry, where the signal is too good to look like one."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.reference import bench_waves
from tests.reference.cases import draw_case, write_case
from tests.reference.judge import judge, mismatch


def test_a_very_clean_signal_is_not_taken_for_slow_sampling(tmp_path: Path) -> None:
    """All edges on half bits, every offer corrupt: the bit grid is not the sampling step."""
    case, form = draw_case("offers_corrupt", 31268)
    status, report = judge(write_case(case, tmp_path, form, "clean"))
    assert mismatch(case, status, report) == ""
    assert report["suspect"] == "link"


RESET_BITS = [0, 1] * 32 + [int(bit) for code in ("00111",) * 3 + ("11001",) for bit in reversed(code)]
"""Preamble, three RST-1 and RST-2 (USB PD, 5.4 and 5.6.4)."""


@pytest.mark.parametrize("seed", range(4))
def test_a_reset_alone_does_not_show_that_a_trembling_capture_is_good(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """A negotiation that the charger leaves unanswered, seen through a probe that shakes every edge by 0.4 us."""
    bus = bench_waves.Bus(random.Random(seed), 0, 5e-3)
    offer, asks, rate = [0x0801912C, 0x0002D0DE], [0x2002D0C8], 300e3
    for kind, source, words in ((1, True, offer), (2, False, asks)):
        message = bench_waves.header(kind, 0, source=source, objects=len(words))
        bus.send(message + b"".join(word.to_bytes(4, "little") for word in words), rate)
        bus.wait(80e-6)
        bus.send(bench_waves.header(bench_waves.GOOD_CRC, 0, source=not source), rate)
        bus.wait(3e-3 if source else 28.5e-3)
    monkeypatch.setattr(bench_waves, "line_bits", lambda _: RESET_BITS)
    bus.send(b"", rate)
    rows = bench_waves.edges(bus, jitter_s=0.4e-6, seed=seed)
    text = "".join(f"{at:.9f},{level}\n" for at, level in [(0.0, 0), *rows, (bus.now_s + 5e-3, 0)])
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n" + text)
    status, report = judge(path)
    assert report["signal"]["broken_packets"] == 4
    assert (status, report["verdict"]) == (3, "inconclusive")


@pytest.mark.parametrize(("unit", "text"), [("ms", "a thousand times longer"), ("us", "a million times longer")])
def test_a_wrong_unit_in_the_header_is_the_first_thing_to_look_at(tmp_path: Path, unit: str, text: str) -> None:
    """A capture in seconds whose header was changed by hand."""
    demo = Path(__file__).parents[2] / "captures" / "demo" / "scanner_charges_at_9v.csv"
    said = demo.read_text()
    assert said.count("Time [s]") == 1
    path = tmp_path / "a.csv"
    path.write_text(said.replace("Time [s]", f"Time [{unit}]"))
    status, report = judge(path)
    assert (status, report["suspect"]) == (3, "capture")
    assert text in report["summary"]
    assert report["findings"][0]["rule"] == "time-unit-unknown"


@pytest.mark.parametrize("silent", ["0", "1"])
def test_a_column_chosen_wrongly_is_the_first_thing_to_look_at(tmp_path: Path, silent: str) -> None:
    """Packets stand in another column than the one named with --cc: that goes before any advice on the capture."""
    demo = Path(__file__).parents[2] / "captures" / "demo" / "scanner_charges_at_9v.csv"
    rows = [line for line in demo.read_text().splitlines() if line and not line.startswith("#")]
    path = tmp_path / "a.csv"
    path.write_text("Time [s],left,right\n" + "".join(
        f"{cells[0]},{silent},{cells[1]}\n" for cells in (row.split(",") for row in rows[1:])
    ))
    status, report = judge(path, "--cc", "left")
    assert (status, report["suspect"], report["findings"][0]["rule"]) == (3, "capture", "wrong-column")
    assert report["summary"] == 'No packet can be read from the column chosen as CC ("left"); from "right" they can.'
    assert report["next"][0] == 'Decode again with --cc "right".'
    status, report = judge(path, "--cc", "right")
    assert (status, report["verdict"]) == (0, "pass")
