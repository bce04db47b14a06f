"""The questions as a technician meets them: on a terminal (a pty), and fed from a file."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.readings.tool import run

ROOT = Path(__file__).parents[2]
_PATIENCE_S = 60.0


class Terminal:
    """``pdcheck measure`` on a pty of 80 columns; what it printed so far."""

    def __init__(self) -> None:
        self.master, slave = pty.openpty()
        environment = {**os.environ, "COLUMNS": "80", "LINES": "24", "TERM": "dumb", "PYTHONPATH": str(ROOT)}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "pdcheck.cli", "measure"], stdin=slave, stdout=slave, stderr=slave, cwd=ROOT,
            env=environment, start_new_session=True,
        )
        os.close(slave)
        self.text = ""

    def until(self, wanted: str) -> str:
        """Read until ``wanted`` has come; what came since the last call."""
        start = len(self.text)
        while wanted not in self.text[start:]:
            if not self._more():
                raise AssertionError(f"{wanted!r} did not come: {self.text[start:]!r}")
        return self.text[start:]

    def type(self, line: str) -> None:
        os.write(self.master, line.encode() + b"\n")

    def end(self) -> int:
        """The exit status, everything printed till then in ``text``."""
        while self._more():
            pass
        status = self.process.wait(_PATIENCE_S)
        os.close(self.master)
        return status

    def _more(self) -> bool:
        ready, _, _ = select.select([self.master], [], [], _PATIENCE_S)
        if not ready:
            return False
        try:
            data = os.read(self.master, 65536)
        except OSError:
            # Linux says so when the other side of a pty has gone.
            return False
        self.text += data.decode("utf-8", "replace").replace("\r\n", "\n")
        return bool(data)


def test_on_a_terminal() -> None:
    terminal = Terminal()
    opening = terminal.until("Where are the probes")
    assert "48 V" in opening, "the caution comes before the first reading"
    terminal.type("device")
    terminal.until("other end")
    terminal.type("")
    assert "Plugged in" in terminal.until("CC1 (contact A5), volts:")
    terminal.type("?")
    assert "fifth contact of row A" in terminal.until("CC1 (contact A5), volts:")
    terminal.type("0,4q")
    again = terminal.until("CC1 (contact A5), volts:")
    assert "is no reading" in again
    terminal.type("410 mV")
    terminal.until("CC2 (contact B5), volts:")
    terminal.type("0")
    terminal.until("VBUS")
    terminal.type("5.05")
    terminal.until("Input current")
    terminal.type("30 mA")
    terminal.until("Contract")
    terminal.type("q")
    assert terminal.end() == 3
    assert "INCONCLUSIVE" in terminal.text
    assert "30 mA" in terminal.text
    assert "Traceback" not in terminal.text


def test_end_of_input_on_a_terminal_judges_what_is_there() -> None:
    terminal = Terminal()
    terminal.until("Where are the probes")
    terminal.type("device")
    terminal.until("other end")
    terminal.type("charger")
    terminal.until("CC1 (contact A5), volts:")
    terminal.type("3.3")
    terminal.until("CC2 (contact B5), volts:")
    terminal.type("0")
    terminal.until("VBUS")
    os.write(terminal.master, b"\x04")
    assert terminal.end() == 1
    assert "nothing pulls it down" in terminal.text.replace("\n", " ")


def test_ctrl_c_stops_in_one_line() -> None:
    terminal = Terminal()
    terminal.until("Where are the probes")
    os.killpg(terminal.process.pid, signal.SIGINT)
    assert terminal.end() == 130
    assert terminal.text.rstrip().endswith("pdcheck: stopped")
    assert "Traceback" not in terminal.text


def test_answers_from_a_file() -> None:
    answers = "device\ncharger\n3.3\n0\n\n\n\n0\n1.7\n" + "\n" * 20
    result = run("measure", stdin=answers)
    assert result.exit_code == 1
    assert "one-orientation-dead" in result.stdout
    assert result.stdout.index("DISCONNECT THE BATTERY") < result.stdout.index("CC1 (A5) to ground")


@pytest.mark.parametrize("stdin", ["", "\n" * 40, "q\n", "device\n", b"\xff\xfe\x00\xff\n"])
def test_no_reading_at_all(stdin: str | bytes) -> None:
    result = run("measure", stdin=stdin)
    assert result.exit_code == 2
    assert "there is no reading" in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_questions_that_do_not_apply_are_not_asked() -> None:
    asked = run("measure", stdin="\n" * 40).stdout
    assert "turned over" not in asked, "nothing was measured with the plug the one way"
    asked = run("measure", stdin="cable\n\n" + "\n" * 40).stdout
    assert "VBUS to ground" not in asked


def test_a_wrong_answer_is_asked_again_in_one_clear_line() -> None:
    result = run("measure", stdin="kettle\ndevice\n\n5k1\n0.41\n0\nq\n")
    lines = result.stdout.splitlines()
    assert any("'kettle' is none of them; say device, charger, cable." in line for line in lines)
    assert any("'5k1' is no reading in V; type for example 0.41 or 410 mV." in line for line in lines)
    assert result.exit_code == 0


@pytest.mark.parametrize(("arguments", "words"), [
    (("--cc1", "OL"), "--cc1: 'OL' is no reading in V"),
    (("--current", "0.5"), "is that mA or A?"),
    (("--ohm-cc1", "1,200"), "can mean two numbers"),
    (("--side", "roof"), "--side: 'roof' is none of them"),
    (("--contract", "lots"), "--contract: 'lots' is no contract"),
    (("--accuracy", "-1"), "--accuracy: '-1' is no accuracy"),
    (("--meter-ohms", "10"), "--meter-ohms: '10' is too little"),
    (("--cc1",), "--cc1"),
    (("--json",), "there is no reading"),
    (("--side", "device"), "there is no reading"),
    (("0.41",), "unexpected extra argument"),
])
def test_options_that_cannot_be_used(arguments: tuple[str, ...], words: str) -> None:
    result = run("measure", *arguments)
    assert result.exit_code == 2
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1
    assert result.stdout == ""


def test_the_first_lines_say_what_to_do_next() -> None:
    one_way, other_way = ("--cc1", "3.3", "--cc2", "0"), ("--flipped-cc1", "0", "--flipped-cc2", "1.7")
    result = run("measure", "--side", "device", *one_way, *other_way)
    head = result.stdout.split("\n\n")[0]
    assert head.startswith("FAIL")
    assert "First: " in head and "Cleared: " in head
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    for part in ("Readings", "Charging path", "Measure next", "Cautions"):
        assert f"\n{part}" in result.stdout


def test_the_output_may_not_fit() -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "pdcheck.cli", "measure", "--cc1", "0.41", "--cc2", "0"], stdout=full,
            stderr=subprocess.PIPE, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, check=False,
        )
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


def test_the_readme_shows_what_the_command_prints() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    example = text.split("$ pdcheck measure ")[1].split("```")[0]
    arguments, _, shown = example.partition("\n")
    printed = run("measure", *arguments.split()).stdout
    assert printed.startswith(shown.removesuffix("...\n"))
