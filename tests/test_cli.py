"""The command as a user meets it: what is printed, where, with which exit status."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pdcheck.capture import open_capture
from pdcheck.cli import main
from pdcheck.pipeline import check, decode
from pdcheck.report.as_json import dumps, pieces, report_json

DEMO = Path(__file__).parents[1] / "captures" / "demo"
GOOD = str(DEMO / "scanner_charges_at_9v.csv")
BAD = str(DEMO / "tablet_never_asks.csv")
DOUBTFUL = str(DEMO / "nothing_on_the_line.csv")


def run(*arguments: str, **options: object) -> Result:
    result = CliRunner().invoke(main, list(arguments), **options)  # type: ignore[arg-type]
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.mark.parametrize(("path", "status", "first"), [
    (GOOD, 0, "PASS"), (BAD, 1, "FAIL - stopped before: device asks"), (DOUBTFUL, 3, "INCONCLUSIVE"),
])
def test_the_first_line_is_the_verdict(path: str, status: int, first: str) -> None:
    result = run("decode", path)
    assert result.exit_code == status
    assert result.stdout.startswith(first)
    assert result.stderr == ""


@pytest.mark.parametrize("path", [GOOD, BAD, DOUBTFUL])
def test_the_report_fits_80_columns_and_has_no_colour_when_piped(path: str) -> None:
    text = run("decode", path).stdout
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "\x1b" not in text
    for part in ("Measure next", "Signal", "Cautions"):
        assert part in text


def test_the_lines_before_the_ladder_say_who_and_what_next() -> None:
    head = run("decode", BAD).stdout.split("\n\n")[0]
    assert "the device (sink)" in head
    assert "First: " in head


def test_json_is_one_object_with_the_agreed_keys() -> None:
    result = run("decode", "--json", BAD)
    report = json.loads(result.stdout)
    assert result.exit_code == 1
    assert report["format"] == "pdcheck-report"
    assert report["version"] == 1
    assert {"path", "kind", "duration_s", "sample_period_s", "lines"} <= set(report["capture"])
    assert (report["verdict"], report["stopped_at"], report["suspect"]) == ("fail", "request", "sink")
    assert [s["step"] for s in report["steps"]] == [
        "attach", "offer", "offer_acknowledged", "request", "accept", "ready", "delivery",
    ]
    assert {s["state"] for s in report["steps"]} <= {"reached", "not_reached", "not_judged"}
    for finding in report["findings"]:
        assert set(finding) == {"rule", "severity", "who", "t_s", "summary", "why", "reference", "next"}
    for message in report["messages"]:
        assert {"t_s", "end_s", "sop", "from", "name", "class", "message_id", "revision", "objects", "crc", "raw",
                "acknowledged"} <= set(message)
        assert message["crc"] in ("ok", "bad", "none")
    assert {"packets", "crc_errors", "bit_rate_bps", "duty_skew_s", "jitter_s"} <= set(report["signal"])


def test_the_same_capture_gives_the_same_report() -> None:
    assert run("decode", "--json", GOOD).stdout == run("decode", "--json", GOOD).stdout


def test_of_several_files_the_worst_decides() -> None:
    assert run("decode", "--quiet", GOOD, DOUBTFUL).exit_code == 3
    assert run("decode", "--quiet", GOOD, DOUBTFUL, BAD).exit_code == 1
    result = run("decode", "--quiet", GOOD, "no such file.csv", BAD)
    assert result.exit_code == 2
    assert len(result.stdout.splitlines()) == 2, "the others are judged all the same"
    assert len(json.loads(run("decode", "--json", GOOD, BAD).stdout)) == 2


def test_standard_input() -> None:
    done = subprocess.run([sys.executable, "-m", "pdcheck.cli", "decode", "--quiet", "-"], capture_output=True,
                          input=Path(BAD).read_bytes(), cwd=Path(__file__).parents[1], check=False)
    assert done.returncode == 1
    assert done.stdout.startswith(b"-: fail at request, sink")


@pytest.mark.parametrize("arguments", [
    ["decode"], ["decode", "--nonsense", GOOD], ["nonsense"], ["decode", "--rate", "x", GOOD],
])
def test_a_mistyped_command_is_one_line_and_status_2(arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1


def test_a_terminal_of_another_encoding(tmp_path: Path) -> None:
    odd = tmp_path / "f\u00e4hre \u65e5.csv"
    odd.write_bytes(Path(GOOD).read_bytes())
    done = subprocess.run([sys.executable, "-m", "pdcheck.cli", "decode", str(odd)], capture_output=True, check=False,
                          cwd=Path(__file__).parents[1], env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0
    assert done.stderr == b""


def test_a_full_disk_is_one_line() -> None:
    done = subprocess.run(["bash", "-c", f"{sys.executable} -m pdcheck.cli decode {GOOD} > /dev/full"],
                          capture_output=True, text=True, cwd=Path(__file__).parents[1], check=False)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


def test_messages_are_listed_on_demand() -> None:
    assert "Source_Capabilities: 5 V" in run("decode", "--messages", GOOD).stdout
    assert "Source_Capabilities: 5 V" not in run("decode", GOOD).stdout


@pytest.mark.parametrize("arguments", [
    ["decode", "no such file.csv"], ["decode", str(DEMO)], ["decode", "--cc", "no such column", GOOD],
    ["rules", "no-such-rule"], ["explain", "xyz"], ["synth", "no such scenario.talk"],
])
def test_what_cannot_be_used_is_one_line_and_status_2(arguments: list[str]) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert result.stderr.startswith("pdcheck: ")


def test_a_file_name_cannot_steer_the_terminal(tmp_path: Path) -> None:
    odd = tmp_path / "a\x1b[31mb.csv"
    odd.write_bytes(Path(GOOD).read_bytes())
    text = run("decode", str(odd)).stdout + run("decode", "--quiet", str(odd)).stdout
    assert "\x1b" not in text
    missing = run("decode", str(tmp_path / "c\x1bd\n.csv"))
    assert "\x1b" not in missing.stderr
    assert len(missing.stderr.splitlines()) == 1


def test_rules_are_listed_and_explained() -> None:
    assert "no-request" in run("rules").stdout
    assert "Why it stops charging" in run("rules", "no-request").stdout


def test_a_closed_pipe_is_no_traceback() -> None:
    code = f"{sys.executable} -m pdcheck.cli decode --messages {GOOD} {GOOD} {GOOD} | head -n 1"
    done = subprocess.run(["bash", "-c", code], capture_output=True, text=True, env={**os.environ, "PYTHONPATH": "."},
                          cwd=Path(__file__).parents[1], check=False)
    assert done.stdout.startswith("PASS")
    assert "Traceback" not in done.stderr


def test_three_lines_of_python() -> None:
    from pdcheck import check, decode, open_capture

    report = check(decode(open_capture(BAD)))
    assert report.verdict.outcome == "fail"
    assert report.verdict.suspect == "sink"


@pytest.mark.parametrize("count", [0, 1, 255, 256, 257, 700])
def test_json_comes_out_in_pieces_as_it_would_in_one(count: int) -> None:
    report = check(decode(open_capture(DEMO / "scanner_charges_at_9v.csv")))
    sent = report.conversation.transmissions
    many = tuple(sent[place % len(sent)] for place in range(count))
    report = replace(report, conversation=replace(report.conversation, transmissions=many))
    expected = json.dumps(report_json(report), indent=1, ensure_ascii=False, allow_nan=False)
    assert dumps(report) == expected
    assert max(map(len, pieces(report))) < 400_000


def test_a_column_is_cc_because_the_user_says_so_and_the_report_says_what_that_leaves_out() -> None:
    result = run("decode", "--cc", "VBUS [V]", GOOD)
    assert result.exit_code == 3
    said = " ".join(result.stdout.split())
    assert 'column chosen as CC ("VBUS [V]"), but from "CC1"' in said
    assert "No column is called CC" not in said


@pytest.mark.parametrize("options", [
    ("--cc", "CC1", "--vbus", "CC1"), ("--vbus", "2", "--cc", "cc1"), ("--cc", "VBUS", "--vbus", "VBUS [V]"),
])  # fmt: skip
def test_one_column_cannot_be_two_things(options: tuple[str, ...]) -> None:
    result = run("decode", *options, GOOD)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert "--cc and --vbus both name the column '" in result.stderr


def test_of_several_files_the_end_says_which_were_passed_over() -> None:
    """What cannot be used was complained of before the reports of the others, and has scrolled away."""
    names = ["charger_refuses.csv", "index.csv", "scanner_charges_at_9v.csv"]
    result = run("decode", "--quiet", *(str(DEMO / n) for n in names))
    assert result.exit_code == 2
    assert len(result.stdout.splitlines()) == 2
    assert result.stderr.splitlines()[-1] == (
        f"pdcheck: 2 of 3 files judged; no capture that can be used: {DEMO / 'index.csv'}"
    )
    assert len(run("decode", "--quiet", str(DEMO / "index.csv")).stderr.splitlines()) == 1


def test_a_scenario_is_not_taken_for_a_broken_table() -> None:
    result = run("decode", str(DEMO / "charger_refuses.talk"))
    assert result.exit_code == 2
    assert "is a scenario, no capture; pdcheck synth makes a capture of it" in result.stderr


@pytest.mark.parametrize(("name", "first"), [
    ("tablet_told_to_wait.csv", "First: Measure VBUS at the port under load"),
    ("tablet_plug_label_up.csv", "First: Still not charging?"),
    ("scanner_charges_at_9v.csv", None),
])
def test_a_pass_that_does_not_show_the_device_charging_says_what_is_first(name: str, first: str | None) -> None:
    """The device that lies on the bench does not charge, or it would not be there."""
    head = run("decode", str(DEMO / name)).stdout.split("\n\n")[0]
    assert (first in head) if first is not None else ("First:" not in head)
