"""``compare --html``: both conversations on one page, which never lands on a capture."""

from __future__ import annotations

import shutil
from pathlib import Path

from click.testing import CliRunner, Result

from pdcheck.cli import main

DEMO = Path(__file__).parents[2] / "captures" / "demo"
GOOD, BAD = DEMO / "handheld_after_repair.csv", DEMO / "handheld_before_repair.csv"


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, ["compare", *(str(a) for a in args)])


def test_the_page_names_both_and_the_parting(tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    done = run(GOOD, BAD, "--quiet", "--html", page)
    assert done.exit_code == 1
    text = page.read_text(encoding="utf-8")
    assert GOOD.name in text and BAD.name in text and "device asks for 9 V" in text


def test_a_capture_is_never_overwritten(tmp_path: Path) -> None:
    good, bad = shutil.copy(GOOD, tmp_path), shutil.copy(BAD, tmp_path)
    for place in (good, bad):
        before = Path(place).read_bytes()
        done = run(good, bad, "--quiet", "--html", place)
        assert done.exit_code == 2 and "would overwrite" in done.stderr
        assert Path(place).read_bytes() == before
