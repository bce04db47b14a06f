"""Numbers of the Linux kernel's include/linux/usb/pd.h, read with two regular expressions.

``python -m tests.standard.kernel_pd > tests/standard/kernel_pd_facts.csv`` writes the committed table anew from the
newest installed package, so that the comparison goes on where no headers are installed.
"""

from __future__ import annotations

import csv
import re
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

INSTALLED = "linux-headers-6.1*-common/include/linux/usb/pd.h"
FACTS = Path(__file__).with_name("kernel_pd_facts.csv")
COLUMNS = ("package", "name", "value", "comment")

_ENUM = re.compile(r"^\s+(PD_(?:CTRL|DATA|EXT)_\w+) = (\d+),", re.MULTILINE)
_DEFINE = re.compile(
    r"^#define[ \t]+(PD_(?:T|N|HEADER|EXT_HDR|REV\d+|MAX_PAYLOAD|EXT_MAX_CHUNK_DATA)\w*)"
    r"[ \t]+(BIT\((\d+)\)|0x[0-9a-f]+|\d+)[ \t]*(?:/\*[ \t]*(.*?)[ \t]*\*/)?[ \t]*$",
    re.MULTILINE,
)


@dataclass(frozen=True)
class Fact:
    """A name, its number and the comment behind it (empty where there is none)."""

    name: str
    value: int
    comment: str


def installed() -> list[Path]:
    """The headers of every installed package, by name."""
    return sorted(Path("/usr/src").glob(INSTALLED))


def package_of(header: Path) -> str:
    """Name and version of the package that holds it."""
    name = header.parents[3].name
    asked = subprocess.run(["dpkg-query", "-W", "-f", "${Version}", name], capture_output=True, text=True, check=True)
    return f"{name} {asked.stdout}"


def read_header(text: str) -> dict[str, Fact]:
    """Every enumerated message type and every plain number of the header."""
    facts = [Fact(name, int(value), "") for name, value in _ENUM.findall(text)]
    for name, value, bit, comment in _DEFINE.findall(text):
        facts.append(Fact(name, 1 << int(bit) if bit else int(value, 0), comment))
    return {fact.name: fact for fact in facts}


def read_facts() -> dict[str, Fact]:
    """The committed table."""
    with FACTS.open(newline="", encoding="utf-8") as file:
        return {row["name"]: Fact(row["name"], int(row["value"]), row["comment"]) for row in csv.DictReader(file)}


def write_facts(package: str, facts: Iterable[Fact]) -> None:
    """Write the table to standard output."""
    out = csv.writer(sys.stdout, lineterminator="\n")
    out.writerow(COLUMNS)
    out.writerows((package, fact.name, fact.value, fact.comment) for fact in facts)


if __name__ == "__main__":
    newest = max(installed(), key=lambda path: [int(part) for part in re.findall(r"\d+", str(path))])
    write_facts(package_of(newest), read_header(newest.read_text(encoding="utf-8")).values())
