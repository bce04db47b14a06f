"""What the README shows is what the program prints: the example and the table of demo captures.

``python -m tests.test_readme`` writes both anew.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path

from click.testing import CliRunner

from pdcheck.cli import main

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


def test_the_first_two_blocks_are_one_line_each() -> None:
    blocks = re.findall(r"^```sh\n(.*?)^```", README.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    assert len(blocks) == 2
    assert all(len(block.splitlines()) == 1 for block in blocks)


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    text = _TABLE.sub(lambda _: demo_table(), text)
    README.write_text(_EXAMPLE.sub(lambda _: example(), text), encoding="utf-8")
