"""``watch --html`` keeps a page beside each capture, and a page that cannot be written costs no verdict."""

from __future__ import annotations

import shutil
from pathlib import Path

from click.testing import CliRunner

from pdcheck.cli import main

DEMO = Path(__file__).parents[2] / "captures" / "demo"


def test_a_page_lies_beside_each_capture(tmp_path: Path) -> None:
    for name in ("tablet_never_asks.csv", "only_toggling.vcd"):
        shutil.copy(DEMO / name, tmp_path)
    (tmp_path / "broken.csv").write_bytes(b"\0\1\2")
    done = CliRunner().invoke(main, ["watch", str(tmp_path), "--once", "--html"])
    assert done.exit_code == 2
    assert "FAIL" in done.stdout and "INCONCLUSIVE" in done.stdout
    assert sorted(p.name for p in tmp_path.glob("*.html")) == ["only_toggling.vcd.html", "tablet_never_asks.csv.html"]


def test_what_is_no_page_is_left_alone(tmp_path: Path) -> None:
    shutil.copy(DEMO / "tablet_never_asks.csv", tmp_path)
    own = tmp_path / "tablet_never_asks.csv.html"
    own.write_text("my notes")
    done = CliRunner().invoke(main, ["watch", str(tmp_path), "--once", "--html"])
    assert done.exit_code == 1 and "FAIL" in done.stdout
    assert own.read_text() == "my notes" and "is no page" in done.stderr
