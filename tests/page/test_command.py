"""``pdcheck decode --html``: where the page goes, and what happens when it cannot go there."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main
from tests.page.reports import DEMO

GOOD, BAD = str(DEMO / "scanner_charges_at_9v.csv"), str(DEMO / "tablet_never_asks.csv")


def run(*arguments: str) -> Result:
    result = CliRunner().invoke(main, list(arguments))
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def one_line(result: Result) -> str:
    assert result.exit_code == 2
    lines = result.stderr.splitlines()
    assert len(lines) == 1 and lines[0].startswith("pdcheck: ")
    return lines[0]


def test_the_page_is_written_and_the_report_still_printed(tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    result = run("decode", BAD, "--html", str(out), "--shop", "Pier 3")
    assert result.exit_code == 1
    assert result.stdout == run("decode", BAD).stdout
    page = out.read_text(encoding="utf-8")
    assert "Pier 3" in page and "tablet_never_asks.csv" in page
    assert hashlib.sha256(Path(BAD).read_bytes()).hexdigest() in page
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_json_stays_json(tmp_path: Path) -> None:
    result = run("decode", BAD, "--json", "--html", str(tmp_path / "r.html"))
    assert json.loads(result.stdout)["verdict"] == "fail"
    assert (tmp_path / "r.html").exists()


def test_several_captures_need_a_folder(tmp_path: Path) -> None:
    assert "no folder" in one_line(run("decode", GOOD, BAD, "--html", str(tmp_path / "r.html")))
    assert not (tmp_path / "r.html").exists()
    result = run("decode", GOOD, BAD, GOOD, "--quiet", "--html", f"{tmp_path}/pages/")
    assert result.exit_code == 1
    names = sorted(p.name for p in (tmp_path / "pages").iterdir())
    assert names == ["scanner_charges_at_9v.csv.2.html", "scanner_charges_at_9v.csv.html", "tablet_never_asks.csv.html"]
    assert run("decode", BAD, "--quiet", "--html", str(tmp_path)).exit_code == 1
    assert (tmp_path / "tablet_never_asks.csv.html").exists()


def test_a_capture_is_never_overwritten(tmp_path: Path) -> None:
    capture, other = tmp_path / "capture.csv", tmp_path / "other.csv"
    for path in (capture, other):
        path.write_bytes(Path(BAD).read_bytes())
    before = capture.read_bytes()
    link = tmp_path / "link.html"
    link.symlink_to(capture)
    hard = tmp_path / "hard.html"
    os.link(capture, hard)
    for out in (capture, link, hard, f"{tmp_path}/./capture.csv"):
        assert "would overwrite the capture" in one_line(run("decode", str(capture), "--html", str(out)))
    # Nor is any other file that is no page.
    assert "is no page" in one_line(run("decode", str(capture), "--html", str(other)))
    assert capture.read_bytes() == before == other.read_bytes()


def test_a_page_is_written_anew(tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    assert run("decode", BAD, "--quiet", "--html", str(out)).exit_code == 1
    assert run("decode", GOOD, "--quiet", "--html", str(out)).exit_code == 0
    assert "scanner_charges_at_9v.csv" in out.read_text(encoding="utf-8")


def test_a_place_that_cannot_be_written_to_is_one_line(tmp_path: Path) -> None:
    for out in ("/dev/full", str(tmp_path / "no" / "r.html"), str(tmp_path / ("x" * 300)), "/proc/x/", "a\0b"):
        assert "cannot be written" in one_line(run("decode", GOOD, "--quiet", "--html", out))
    assert "file of its own" in one_line(run("decode", GOOD, "--html", "-"))
    (tmp_path / "file").write_text("")
    assert "cannot be written" in one_line(run("decode", GOOD, "--html", f"{tmp_path}/file/"))


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission_is_one_line(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    assert "cannot be written" in one_line(run("decode", GOOD, "--quiet", "--html", str(tmp_path / "r.html")))


def test_a_failed_write_leaves_what_was_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "r.html"
    run("decode", BAD, "--quiet", "--html", str(out))
    before = out.read_bytes()

    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    assert "No space left" in one_line(run("decode", GOOD, "--quiet", "--html", str(out)))
    assert out.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["r.html"]


def test_words_for_the_page_without_a_page_are_a_mistake() -> None:
    for option in (("--for", "customer"), ("--shop", "x"), ("--done", "y")):
        assert "--html" in one_line(run("decode", GOOD, *option))
    assert "customer" in one_line(run("decode", GOOD, "--html", "x.html", "--for", "nobody"))


def test_standard_input_has_no_checksum(tmp_path: Path) -> None:
    out = tmp_path / "r.html"
    with Path(BAD).open("rb") as file:
        done = subprocess.run(
            [sys.executable, "-m", "pdcheck.cli", "decode", "-", "--quiet", "--html", str(out)], stdin=file,
            stdout=subprocess.DEVNULL, check=False, cwd=Path(__file__).parents[2],
        )
    assert done.returncode == 1
    page = out.read_text(encoding="utf-8")
    assert "not taken" in page and "standard input" in page


def test_a_plain_decode_does_not_import_what_pages_need() -> None:
    code = (
        "import sys; from pdcheck.cli import main\n"
        f"try: main(['decode', {GOOD!r}, '--quiet'])\nexcept SystemExit: pass\n"
        "print(sorted(m for m in sys.modules if m.startswith(('jinja2', 'pdcheck.report.page'))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2]
    )
    assert done.stdout.splitlines()[-1] == "[]"
