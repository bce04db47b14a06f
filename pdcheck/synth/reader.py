"""A scenario's text to a :class:`Scenario`.

Why it is: the text form is for people who write it by hand, so every line is read by itself and a mistake is named
with its line and what to write instead. The form itself is shown, whole and commented, in :mod:`pdcheck.synth.form`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from pdcheck.errors import ScenarioError
from pdcheck.synth.model import Repeat, Scenario, Step
from pdcheck.synth.settings import Settings
from pdcheck.synth.steps import StepReader, is_step
from pdcheck.synth.words import Complaint, duration, shown, whole, without_comment

_LARGEST_BYTES = 1_000_000
_DEEPEST = 5
_MOST_TIMES = 10_000


@dataclass
class _Block:
    """A repeat that is still open (the outermost block is none)."""

    line: int = 0
    times: int = 1
    every_s: float = 0.0
    steps: list[Step] = field(default_factory=list)


def read_scenario(path: str, out: str | None = None) -> Scenario:
    """Read a scenario file.

    :param out: the file name to write instead of the scenario's own; its suffix decides the form.
    :raises ScenarioError: the file cannot be read or is no scenario.
    """
    try:
        with Path(path).open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ScenarioError(f"cannot be read ({reason})", "name a scenario file", path=path) from None
    if len(data) > _LARGEST_BYTES:
        raise ScenarioError("is too large for a scenario", "name a text file of less than 1 MB", path=path)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise ScenarioError("is not UTF-8 text", "save it as UTF-8", path=path, line=line) from None
    return parse_scenario(text, path, out)


def parse_scenario(text: str, path: str = "scenario", out: str | None = None) -> Scenario:
    """The scenario in a text. :raises ScenarioError: with path, line and remedy."""
    settings = Settings()
    reader = StepReader()
    open_blocks = [_Block()]
    stepped = False
    number = 0
    for number, raw in enumerate(text.split("\n"), 1):
        try:
            stepped = _take_line(raw.replace("\t", " "), number, settings, reader, open_blocks, stepped)
        except Complaint as complaint:
            raise complaint.at(path, number) from None
    if len(open_blocks) > 1:
        raise ScenarioError(
            "repeat has no end", "write end below the last line that is repeated", path=path, line=open_blocks[-1].line
        )
    name = out or settings.file or Path(path).stem + ".csv"
    try:
        output = settings.output(name)
    except Complaint as complaint:
        raise ScenarioError(complaint.what, complaint.remedy, path=path) from None
    if not stepped:
        raise ScenarioError("nothing happens in it", "write at least one step, like: 0.3s capture ends", path=path)
    return Scenario(path, settings.title, settings.seed, settings.manners, output, tuple(open_blocks[0].steps))


def _take_line(
    raw: str, number: int, settings: Settings, reader: StepReader, open_blocks: list[_Block], stepped: bool
) -> bool:
    """Read one line; returns whether a step has been read yet."""
    line = without_comment(raw).strip()
    if not line:
        return stepped
    word, _, rest = line.partition(" ")
    rest = rest.strip()
    lowered = word.lower()
    if lowered == "repeat":
        _open_block(number, rest, open_blocks)
        return True
    if lowered == "end" and not rest:
        if len(open_blocks) == 1:
            raise Complaint("end closes nothing", "write repeat 3 every 150ms above the lines to repeat")
        block = open_blocks.pop()
        open_blocks[-1].steps.append(Repeat(block.line, block.times, block.every_s, tuple(block.steps)))
        return True
    if is_step(word):
        open_blocks[-1].steps.append(reader.read(number, line))
        return True
    if stepped:
        raise Complaint(
            f"{shown(word)} begins no step", "begin the line with a time like +3ms; settings stand above all steps"
        )
    settings.take(word, rest)
    return stepped


def _open_block(number: int, rest: str, open_blocks: list[_Block]) -> None:
    words = rest.split()
    if len(words) not in (1, 3) or (len(words) == 3 and words[1] != "every"):
        raise Complaint("repeat does not say how often", "write: repeat 10 every 150ms")
    if len(open_blocks) > _DEEPEST:
        raise Complaint("repeats stand too deep in each other", f"nest at most {_DEEPEST}")
    times = whole(words[0], 1, _MOST_TIMES, "number of times")
    every = duration(words[2], "150ms") if len(words) == 3 else 0.0
    open_blocks.append(_Block(number, times, every))
