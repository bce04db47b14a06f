"""A CC line on which nothing is read, beside a VBUS column that shows a charger coming up."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main

TALK = """# Invented data.
title   No word on CC
file    silent.csv
seed    silent
format  edges
column  time "Time [s]"
column  cc "CC1"
column  vbus "VBUS [V]"
idle    low
0.080s  attach
{steps}
+5s     capture ends
"""


def decoded(folder: Path, *steps: str) -> Result:
    talk = folder / "silent.talk"
    talk.write_text(TALK.format(steps="\n".join(steps)))
    made = CliRunner().invoke(main, ["synth", str(talk), "-o", str(folder / "silent.csv")])
    assert made.exit_code == 0, made.output
    return CliRunner().invoke(main, ["decode", str(folder / "silent.csv")])


@pytest.mark.parametrize(("steps", "reads"), [
    (("+145ms  vbus 5.08V over 12ms",), "5.0"),
    (("+145ms  vbus 5.08V over 12ms", "+800ms  vbus 9.04V over 35ms"), "9.0"),
])
def test_vbus_that_comes_up_shows_that_the_plug_went_in(tmp_path: Path, steps: tuple[str, ...], reads: str) -> None:
    result = decoded(tmp_path, *steps)
    assert result.exit_code == 3
    head = " ".join(result.stdout.split("File:")[0].split())
    assert f"although VBUS comes up to {reads}" in head
    assert "First: Capture both CC contacts" in head, "it was started before the plug went in"


def test_without_vbus_the_start_is_asked_for_first(tmp_path: Path) -> None:
    for steps in (("+1s  vbus 0.1V over 2ms",), ()):
        head = " ".join(decoded(tmp_path, *steps).stdout.split("File:")[0].split())
        assert "VBUS" not in head
        assert "First: Start the capture first" in head


@pytest.mark.parametrize(("plugged_in_s", "first"), [
    (0.0, "First: Start the capture first"), (0.5, "First: Make sure that this charger"),
])
def test_a_cc_line_at_the_level_of_a_join_sends_nobody_to_the_other_contact(
    tmp_path: Path, plugged_in_s: float, first: str,
) -> None:
    """0.41 V: pull-up and pull-down are joined there (USB Type-C, section 4.11.3), so this is the contact in use."""
    file = tmp_path / "joined.csv"
    # A row a change, on a clock of 24 MHz.
    moments = [0.0, plugged_in_s, plugged_in_s + 0.20012345, plugged_in_s + 1.90054321, plugged_in_s + 3.1000417]
    rows = "".join(
        f"{t:.8f},{0.41 if t >= plugged_in_s else 0.0},{5.02 if t >= plugged_in_s + 0.2 else 0.0}\n"
        for t in dict.fromkeys(moments)
    )
    file.write_text("Time [s],CC1 [V],VBUS [V]\n" + rows)
    result = CliRunner().invoke(main, ["decode", str(file)])
    assert result.exit_code == 3
    head = " ".join(result.stdout.split("File:")[0].split())
    assert "Charger and device see each other on CC1 [V] (0.41 V), and the file holds no packet" in head
    assert first in head
    assert "Capture both CC contacts" not in result.stdout
    assert "threshold" not in result.stdout.split("Measure next")[1].split("Signal")[0]
