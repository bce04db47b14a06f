"""What the README shows is what the program prints: the example and the table of demo captures.

``python -m tests.test_readme`` writes both anew.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from pdcheck.cli import COMMANDS, main
from pdcheck.commands.casebook import casebook

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
EXAMPLE = "captures/demo/tablet_never_asks.csv"
_TABLE = re.compile(r"(?<=<!-- demo table -->\n).*?(?=<!-- end of demo table -->)", re.DOTALL)
_EXAMPLE = re.compile(rf"(?<=\$ pdcheck decode {re.escape(EXAMPLE)}\n).*?(?=```)", re.DOTALL)


def demo_table() -> str:
    """The table of the demo captures, from the list beside them."""
    with (ROOT / "captures/demo/index.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    lines = ["| capture | what it shows | verdict |", "| --- | --- | --- |"]
    for row in rows:
        verdict = ", ".join(x for x in (row["verdict"], row["stopped_at"], row["suspect"]) if x)
        lines.append(f"| `{row['file']}` | {row['shows']} | {verdict} |")
    return "\n".join(lines) + "\n"


def example() -> str:
    """The first part of the example's report: to the end of the ladder and what was offered."""
    text = CliRunner().invoke(main, ["decode", EXAMPLE]).stdout
    return text.split("\nWhy\n")[0].rstrip() + "\n...\n"


def test_the_table_of_demo_captures() -> None:
    found = _TABLE.search(README.read_text(encoding="utf-8"))
    assert found is not None
    assert found.group() == demo_table()


def test_the_example() -> None:
    found = _EXAMPLE.search(README.read_text(encoding="utf-8"))
    assert found is not None
    assert found.group() == example()


def _shown() -> list[tuple[str, str]]:
    """Each command that is shown with what it prints, to where the README says no more. What a casebook says depends on
    what is in it."""
    blocks = re.compile(r"^```text\n\$ pdcheck (.*)\n((?:.*\n)*?)\.\.\.\n```", re.MULTILINE)
    found = blocks.findall(README.read_text(encoding="utf-8"))
    return [(command, text) for command, text in found if not command.startswith("casebook")]


@pytest.mark.parametrize(("command", "text"), _shown())
def test_what_is_shown_is_what_is_printed(command: str, text: str) -> None:
    assert CliRunner().invoke(main, command.split()).stdout.startswith(text)


def test_every_kind_of_report_is_shown() -> None:
    assert [command.split()[0] for command, _ in _shown()] == ["decode", "measure", "compare"]


def test_every_option_that_is_named_is_there() -> None:
    helps = " ".join(
        CliRunner().invoke(main, [*command, "--help"]).stdout
        for command in [[name] for name in COMMANDS] + [["casebook", name] for name in casebook.commands]
    )
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z0-9-]*", README.read_text(encoding="utf-8")))
    assert named - set(re.findall(r"--[a-z][a-z0-9-]*", helps)) == set()


def test_the_first_two_blocks_are_one_line_each() -> None:
    blocks = re.findall(r"^```sh\n(.*?)^```", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    assert len(blocks) == 2
    assert all(len(block.splitlines()) == 1 for block in blocks)


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    text = _TABLE.sub(lambda _: demo_table(), text)
    README.write_text(_EXAMPLE.sub(lambda _: example(), text), encoding="utf-8")
