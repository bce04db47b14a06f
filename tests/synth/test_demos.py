"""Every demo capture is what its scenario gives, and its report says what the list of demos says."""

from __future__ import annotations

import csv
import gzip
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pdcheck.cli import main
from pdcheck.synth import write_scenario

DEMO = Path(__file__).parents[2] / "captures" / "demo"
LARGEST_BYTES = 300_000


def _rows() -> list[dict[str, str]]:
    with (DEMO / "index.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


ROWS = _rows()
NAMES = [row["file"] for row in ROWS]


def _talk(name: str) -> Path:
    return DEMO / (name.split(".")[0] + ".talk")


def _content(path: Path) -> bytes:
    """The bytes, unzipped: what a zip looks like depends on the library that packs it."""
    data = path.read_bytes()
    return gzip.decompress(data) if path.suffix == ".gz" else data


def test_every_file_in_the_folder_is_listed_once() -> None:
    waves = {path.name for path in DEMO.iterdir() if path.suffix != ".talk"} - {"index.csv"}
    assert sorted(NAMES) == sorted(waves)
    assert sorted(_talk(name).name for name in NAMES) == sorted(path.name for path in DEMO.glob("*.talk"))


@pytest.mark.parametrize("name", NAMES)
def test_demo_is_its_scenario(name: str, tmp_path: Path) -> None:
    written = write_scenario(str(_talk(name)), str(tmp_path))
    assert written == [str(tmp_path / name)]
    assert _content(tmp_path / name) == _content(DEMO / name)
    again = tmp_path / "again"
    again.mkdir()
    write_scenario(str(_talk(name)), str(again))
    assert (again / name).read_bytes() == (tmp_path / name).read_bytes()


@pytest.mark.parametrize("name", NAMES)
def test_demo_is_small_and_says_that_it_is_invented(name: str) -> None:
    assert (DEMO / name).stat().st_size < LARGEST_BYTES
    assert _talk(name).read_text(encoding="utf-8").startswith("# Invented data")


@pytest.mark.parametrize("row", ROWS, ids=NAMES)
def test_report_says_what_the_list_says(row: dict[str, str]) -> None:
    result = CliRunner().invoke(main, ["decode", "--json", str(DEMO / row["file"])])
    report = json.loads(result.stdout)
    assert report["verdict"] == row["verdict"]
    assert (report["stopped_at"] or "") == row["stopped_at"]
    assert (report["suspect"] or "") == row["suspect"]
    assert result.exit_code == {"pass": 0, "fail": 1, "inconclusive": 3}[row["verdict"]]


def test_a_port_that_looks_for_a_partner_is_told_from_noise() -> None:
    """It toggles 10 to 20 times a second (tDRP 50 to 100 ms, USB Type-C, section 4.11.2; from memory)."""
    result = CliRunner().invoke(main, ["decode", "--json", str(DEMO / "only_toggling.vcd")])
    assert "only toggles" in json.loads(result.stdout)["summary"]
