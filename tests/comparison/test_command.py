"""``pdcheck compare`` and ``pdcheck decode --pair flipped`` as a user meets them."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.cli import main
from pdcheck.commands.terminal import EXIT_FAIL, EXIT_INCONCLUSIVE, EXIT_PASS, EXIT_UNUSABLE

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "captures" / "demo"
BEFORE = str(DEMO / "handheld_before_repair.csv")
AFTER = str(DEMO / "handheld_after_repair.csv")
UP = str(DEMO / "tablet_plug_label_up.csv")
DOWN = str(DEMO / "tablet_plug_label_down.csv")
SILENT = str(DEMO / "nothing_on_the_line.csv")
MIDWAY = str(DEMO / "started_too_late.csv.gz")
ALL = sorted(str(p) for p in DEMO.iterdir() if p.suffix != ".talk" and p.name != "index.csv")


def run(*arguments: str, **options: object) -> Result:
    result = CliRunner().invoke(main, list(arguments), **options)  # type: ignore[arg-type]
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def test_before_and_after() -> None:
    result = run("compare", AFTER, BEFORE)
    assert result.exit_code == EXIT_FAIL
    head = result.stdout.split("\n\n")[0]
    assert head.startswith("THEY PART\nThe two part at: the device asks for 9 V (Request).")
    assert "It was the move of: the device." in head
    assert "6 ms after" in head
    assert "28 ms after" in head
    assert "! input current: good 1.42" in result.stdout
    assert result.stderr == ""


def test_the_readme_shows_what_is_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    pair = "captures/demo/handheld_after_repair.csv captures/demo/handheld_before_repair.csv"
    shown = (ROOT / "README.md").read_text(encoding="utf-8").split(f"$ pdcheck compare {pair}\n")[1].split("\n...\n")[0]
    assert run("compare", *pair.split()).stdout.startswith(shown + "\n\nWhat was offered")


@pytest.mark.parametrize(("good", "bad", "status", "first"), [
    (AFTER, AFTER, EXIT_PASS, "ALIKE"), (BEFORE, BEFORE, EXIT_PASS, "ALIKE"), (AFTER, BEFORE, EXIT_FAIL, "THEY PART"),
    (BEFORE, AFTER, EXIT_FAIL, "THEY PART"), (AFTER, SILENT, EXIT_INCONCLUSIVE, "CANNOT TELL"),
    (SILENT, SILENT, EXIT_INCONCLUSIVE, "CANNOT TELL"), (AFTER, MIDWAY, EXIT_INCONCLUSIVE, "CANNOT TELL"),
])
def test_exit_status_and_first_line(good: str, bad: str, status: int, first: str) -> None:
    result = run("compare", good, bad)
    assert result.exit_code == status
    assert result.stdout.startswith(first)
    quiet = run("compare", "--quiet", good, bad)
    assert quiet.exit_code == status
    assert len(quiet.stdout.splitlines()) == 1


def test_a_swapped_order_is_one_line() -> None:
    text = " ".join(run("compare", BEFORE, AFTER).stdout.split())
    assert "The one given as good fails and the one given as bad passes: is the order swapped?" in text
    assert json.loads(run("compare", "--json", BEFORE, AFTER).stdout)["swapped"] is True


def _keys(value: object) -> object:
    if isinstance(value, dict):
        return {key: _keys(one) for key, one in value.items()}
    return None


@pytest.mark.parametrize("bad", ALL)
def test_every_demo_against_a_good_one(bad: str) -> None:
    """Every demo capture: the text fits, the JSON has its keys, and both say the same."""
    result = run("compare", AFTER, bad)
    assert result.exit_code in (EXIT_PASS, EXIT_FAIL, EXIT_INCONCLUSIVE)
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "\x1b" not in result.stdout
    assert "None" not in result.stdout
    printed = run("compare", "--json", AFTER, bad)
    assert printed.exit_code == result.exit_code
    found = json.loads(printed.stdout)
    assert (found["format"], found["version"]) == ("pdcheck-comparison", 1)
    assert set(found) == {
        "format", "version", "outcome", "summary", "good", "bad", "swapped", "first", "partings", "moves", "contents",
        "measures", "notes", "next", "not_compared",
    }
    assert found["outcome"] == {0: "alike", 1: "part", 3: "cannot_tell"}[result.exit_code]
    for side in ("good", "bad"):
        assert {"path", "verdict", "stopped_at", "suspect", "summary"} <= set(found[side])
        report = json.loads(run("decode", "--json", found[side]["path"]).stdout)
        assert found[side]["verdict"] == report["verdict"]
    for parting in found["partings"]:
        assert set(parting) == {"row", "again", "whose", "headline", "good", "bad", "doubt"}
        assert parting["doubt"] is None or parting["whose"] is None
    for row in found["moves"]:
        assert row["kind"] in ("same", "good_only", "bad_only", "otherwise", "not_compared")
        assert row["good"] is not None or row["bad"] is not None
    for measure in found["measures"]:
        assert {"id", "label", "unit", "good", "bad", "allowed", "differs", "counts", "placed", "why"} == set(measure)
        assert not measure["counts"] or measure["differs"]


@pytest.mark.parametrize("columns", [40, 60, 100])
def test_narrow_and_wide_terminals(columns: int) -> None:
    from pdcheck.commands.decode import judge
    from pdcheck.comparison import compare, flipped
    from pdcheck.report.comparison_text import comparison_text, pair_text

    nobody: dict[str, str | None] = {}
    after, before = judge(AFTER, nobody, None), judge(BEFORE, nobody, None)
    for text in (comparison_text(compare(after, before), width=columns, moves=True),
                 pair_text(flipped(after, before), width=columns)):
        long = [line for line in text.splitlines() if len(line) > columns]
        # Only a word that is longer than the line may stand out: a path.
        assert all("/" in line for line in long), long


def test_all_moves_on_demand() -> None:
    few, every = run("compare", AFTER, AFTER).stdout, run("compare", "--moves", AFTER, AFTER).stdout
    assert len(every) >= len(few)


def test_the_same_pair_gives_the_same_comparison() -> None:
    assert run("compare", "--json", AFTER, BEFORE).stdout == run("compare", "--json", AFTER, BEFORE).stdout


@pytest.mark.parametrize("arguments", [
    ["compare"], ["compare", AFTER], ["compare", AFTER, BEFORE, UP], ["compare", AFTER, "no such file.csv"],
    ["compare", str(DEMO), AFTER], ["compare", "--cc", "nothing", AFTER, BEFORE], ["compare", "-", "-"],
    ["compare", "--rate", "x", AFTER, BEFORE], ["decode", "--pair", "flipped", UP],
    ["decode", "--pair", "flipped", UP, DOWN, UP], ["decode", "--pair", "sideways", UP, DOWN],
])
def test_what_cannot_be_used_is_one_line_and_status_2(arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == EXIT_UNUSABLE
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert result.stderr.startswith("pdcheck: ")


def test_one_side_from_standard_input() -> None:
    done = subprocess.run([sys.executable, "-m", "pdcheck.cli", "compare", AFTER, "-"], capture_output=True, cwd=ROOT,
                          input=Path(BEFORE).read_bytes(), check=False)
    assert done.returncode == EXIT_FAIL
    assert b"Bad file:  - (fail" in done.stdout


def test_half_a_file_is_compared_as_far_as_it_goes(tmp_path: Path) -> None:
    data = Path(AFTER).read_bytes()
    rng = random.Random(7)
    for part in (1, 40, *(rng.randrange(len(data)) for _ in range(12))):
        half = tmp_path / "half.csv"
        half.write_bytes(data[:part])
        for pair in ((AFTER, str(half)), (str(half), AFTER)):
            result = run("compare", *pair)
            assert result.exit_code in (EXIT_PASS, EXIT_UNUSABLE, EXIT_INCONCLUSIVE), result.stdout
            assert "Traceback" not in result.stderr


def test_a_full_disk_and_a_closed_pipe() -> None:
    for command in (f"compare {AFTER} {BEFORE}", f"decode --pair flipped {UP} {DOWN}"):
        full = subprocess.run(["bash", "-c", f"{sys.executable} -m pdcheck.cli {command} > /dev/full"],
                              capture_output=True, text=True, cwd=ROOT, check=False)
        assert full.returncode == EXIT_UNUSABLE
        assert len(full.stderr.splitlines()) == 1
        piped = subprocess.run(["bash", "-c", f"{sys.executable} -m pdcheck.cli {command} | head -n 1"],
                               capture_output=True, text=True, cwd=ROOT, env={**os.environ, "PYTHONPATH": "."},
                               check=False)
        assert "Traceback" not in piped.stderr


def test_a_file_name_cannot_steer_the_terminal(tmp_path: Path) -> None:
    odd = tmp_path / "a\x1b[31mb.csv"
    odd.write_bytes(Path(BEFORE).read_bytes())
    for flags in ([], ["--quiet"]):
        assert "\x1b" not in run("compare", *flags, AFTER, str(odd)).stdout


# -- the flip test ---------------------------------------------------------------------------------


def test_a_flip_that_proves_something() -> None:
    result = run("decode", "--pair", "flipped", UP, DOWN)
    assert result.exit_code == EXIT_FAIL
    proof, _, reports = result.stdout.partition("=" * 72 + "\n")
    assert reports == run("decode", UP, DOWN).stdout
    flat = "".join(proof.split())
    assert f"A:{UP}B:{DOWN}" in flat
    assert proof.startswith("PLUG TURNED OVER: WORKS ONE WAY ONLY")
    assert "probed as CC2" in " ".join(proof.split())
    assert "moved from CC1 to CC2" in " ".join(proof.split())
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_a_flip_as_one_object() -> None:
    result = run("decode", "--json", "--pair", "flipped", UP, DOWN)
    assert result.exit_code == EXIT_FAIL
    found = json.loads(result.stdout)
    assert (found["format"], found["version"]) == ("pdcheck-pair", 1)
    assert set(found) == {"format", "version", "reports", "pair"}
    assert found["reports"] == json.loads(run("decode", "--json", UP, DOWN).stdout), "a plain list without --pair"
    assert set(found["pair"]) == {"how", "proof", "works", "summary", "cleared", "suspect", "next", "notes"}
    assert (found["pair"]["how"], found["pair"]["proof"], found["pair"]["works"]) == ("flipped", "one_way", 0)


def test_a_flip_with_a_file_that_cannot_be_used() -> None:
    result = run("decode", "--json", "--pair", "flipped", UP, "no such file.csv")
    assert result.exit_code == EXIT_UNUSABLE
    assert len(result.stderr.splitlines()) == 1
    found = json.loads(result.stdout)
    assert found["pair"] is None
    assert len(found["reports"]) == 1
    text = run("decode", "--pair", "flipped", UP, "no such file.csv")
    assert "PLUG TURNED OVER" not in text.stdout


def test_a_quiet_flip_is_three_lines() -> None:
    lines = run("decode", "--quiet", "--pair", "flipped", UP, DOWN).stdout.splitlines()
    assert len(lines) == 3
    assert lines[2].startswith("plug turned over: one way: Works one way (A)")


@pytest.mark.parametrize(("a", "b", "proof"), [
    (UP, SILENT, "no_proof"), (SILENT, DOWN, "no_proof"), (UP, AFTER, "both_work"), (DOWN, UP, "one_way"),
    (BEFORE, DOWN, "both_fail_differently"), (UP, UP, "no_proof"),
])
def test_what_flips_prove(a: str, b: str, proof: str) -> None:
    assert json.loads(run("decode", "--json", "--pair", "flipped", a, b).stdout)["pair"]["proof"] == proof
