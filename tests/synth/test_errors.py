"""A mistake in a scenario is named with its line and what to write instead, and never comes as anything else."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.errors import ScenarioError
from pdcheck.synth import file_bytes, parse_scenario, play, read_scenario, write_scenario
from pdcheck.synth.form import EXAMPLE
from pdcheck.synth.settings import SETTING_NAMES
from pdcheck.synth.steps import MANNER_PATTERNS

DEMO = Path(__file__).parents[2] / "captures" / "demo"
STEP = "\n1ms source Accept"

MISTAKES = [
    ("titel Hello" + STEP, 1, "'titel'", "did you mean title?"),
    ("title" + STEP, 1, "says nothing", "title"),
    ("\n\nskew 3V" + STEP, 3, "'3V'", "+0.2us"),
    ("skew 1s" + STEP, 1, "out of range", "from"),
    ("jitter -20ns" + STEP, 1, "no usable time", "between"),
    ("idle middle" + STEP, 1, "no level", "low, high"),
    ("rate pier 300k" + STEP, 1, "no party", "source, sink, cable"),
    ("rate source 300" + STEP, 1, "'300'", "300k"),
    ("rate 5k" + STEP, 1, "out of range", "50000"),
    ("revision 4.0" + STEP, 1, "no revision", "2.0"),
    ("format samples" + STEP, 1, "rate", "format samples at 4MS/s"),
    ("format pictures" + STEP, 1, "no format", "edges"),
    ("format vcd in 3ns" + STEP, 1, "timescale", "10ns"),
    ("file ../x.csv" + STEP, 1, "bare file name", "-o"),
    ("file x.doc" + STEP, 1, "'x.doc'", ".csv"),
    ("column time in hours" + STEP, 1, "in hours", "column time in us"),
    ("column cc\ncolumn cc" + STEP, 2, "already", "once"),
    ('column cc "X' + STEP, 1, "quotation mark", "close it"),
    ("table pretty" + STEP, 1, "'pretty'", "semicolon"),
    ("noise cc 3V" + STEP, 1, "no noise", "noise vbus 10mV"),
    ("every 0s" + STEP, 1, "out of range", "from"),
    ("", None, "nothing happens", "capture ends"),
    ("# only a comment", None, "nothing happens", "capture ends"),
    ("1ms", 1, "stands alone", "source Accept"),
    ("1 source Accept", 1, "no time", "0.2s"),
    ("2h source Accept", 1, "no time", "+3ms"),
    ("9000s source Accept", 1, "no usable time", "3600s"),
    ("1ms charger Accept", 1, "party or line", "source"),
    ("1ms source", 1, "says nothing", "name a message"),
    ("1ms source Acept", 1, "'Acept'", "did you mean Accept?"),
    ("1ms source Source_Capabilities", 1, "0 objects", "colon"),
    ("1ms source Source_Capabilities: " + "; ".join(["5V 3A"] * 8), 1, "8 objects", "1 to 7"),
    ("1ms source Source_Capabilities: 5V", 1, "no object", "5V 3A"),
    ("1ms source Accept: 5V 3A", 1, "no objects", "leave out"),
    ("1ms source Hard_Reset: 1", 1, "carries nothing", "leave out"),
    ("1ms source Hard_Reset [unacknowledged]", 1, "signal", "leave out"),
    ("1ms cable Hard_Reset", 1, "cable", "source or the sink"),
    ("1ms cable Accept [on SOP]", 1, "does not speak on SOP", "source or the sink"),
    ("1ms source Accept [unheard]", 1, "'unheard'", "unacknowledged"),
    ("1ms source Accept [corrupt, unacknowledged]", 1, "two things", "one of them"),
    ("1ms source Accept [id 9]", 1, "MessageID", "0 to 7"),
    ("1ms source Accept [tries 0]", 1, "number of tries", "from 1"),
    ("1ms source Accept [corrupt", 1, "not closed", "]"),
    ("1ms source Accept corrupt]", 1, "not opened", "[...]"),
    ("1ms source Accept [on SOP']\n+1ms source Accept [on SOP3]", 2, "ordered set", "SOP"),
    ("1ms source Accept [first 200 bits missing]", 1, "nothing is left", "fewer"),
    ("1ms source bytes: 6", 1, "no bytes", "two hexadecimal"),
    ("1ms source bytes: 61", 1, "1 bytes", "header"),
    ("1ms source bytes: 61 11 [id 3]", 1, "themselves", "leave them out"),
    ("1ms source Status: " + "00 " * 27, 1, "27 bytes", "bytes:"),
    ("1ms vbus high", 1, "'high'", "9V over 30ms"),
    ("1ms vbus 5A", 1, "'5A'", "9V over 30ms"),
    ("1ms line waves", 1, "'waves'", "toggles"),
    ("1ms line toggles", 1, "'toggles'", "line toggles 40Hz for 0.3s"),
    ("1ms line toggles 2000Hz for 100s", 1, "too often", "at most"),
    ("1ms capture pauses", 1, "'pauses'", "starts"),
    ("1ms source Accept\ntitle Late", 2, "'title'", "above all steps"),
    ("repeat 3\n1ms source Accept", 1, "no end", "write end"),
    ("1ms source Accept\nend", 2, "closes nothing", "repeat"),
    ("repeat often\n1ms source Accept\nend", 1, "number of times", "whole number"),
    ("repeat\n1ms source Accept\nend", 1, "how often", "repeat 10 every 150ms"),
    ("repeat 2\n1ms source Accept\nend", 2, "starts at", "+..."),
    ("repeat 10000\n+1ms source Accept\nend", 2, "packets", "repeat less"),
    ("repeat 10000\nrepeat 10000\n+0s vbus 5V\nend\nend", None, "steps", "repeat less"),
    ("repeat 10\n+3000s source Accept\nend", 2, "goes on for more", "wait less"),
    ("1ms capture ends\n+1ms capture starts", None, "ends at", "after it starts"),
]  # fmt: skip


def _make(text: str) -> bytes:
    scenario = parse_scenario(text, "x.talk")
    return file_bytes(scenario, play(scenario))


@pytest.mark.parametrize(("text", "line", "what", "remedy"), MISTAKES, ids=[repr(case[0][:50]) for case in MISTAKES])
def test_mistakes_are_named(text: str, line: int | None, what: str, remedy: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        _make(text)
    error = caught.value
    assert error.path == "x.talk"
    assert what in error.what
    assert remedy in error.remedy
    if line is not None:
        assert error.line == line
    assert "\n" not in error.one_line()


def test_files_that_are_no_scenario(tmp_path: Path) -> None:
    for name in ("missing.talk", ".", "nul\0", "x" * 300):
        with pytest.raises(ScenarioError, match="cannot be read"):
            read_scenario(str(tmp_path / name))
    binary = tmp_path / "binary.talk"
    binary.write_bytes(b"title x\n\xff\xfe\n")
    with pytest.raises(ScenarioError, match=r"line 2: is not UTF-8"):
        write_scenario(str(binary))
    huge = tmp_path / "huge.talk"
    huge.write_bytes(b"#" * 1_000_001)
    with pytest.raises(ScenarioError, match="too large"):
        write_scenario(str(huge))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["binary.talk", "huge.talk"]


def test_byte_order_mark_and_line_ends_do_not_matter(tmp_path: Path) -> None:
    talk = tmp_path / "x.talk"
    talk.write_bytes(b"\xef\xbb\xbftitle x\r\nidle\thigh\r\n1ms\tsource\tAccept [corrupt]\r\n")
    assert read_scenario(str(talk)).manners.idle == 1
    assert file_bytes(read_scenario(str(talk)), play(read_scenario(str(talk)))) == _make(
        "title x\nidle high\n1ms source Accept [corrupt]"
    )


def test_the_example_can_be_played_and_leaves_nothing_out() -> None:
    scenario = parse_scenario(EXAMPLE, "everything.talk")
    assert len(play(scenario).packets) > 30
    lines = [line.split("#")[0].strip() for line in EXAMPLE.split("\n")]
    assert set(SETTING_NAMES) <= {line.split()[0] for line in lines if line}
    manners = [piece.strip() for line in lines for inside in re.findall(r"\[([^\]\"]*)\]$", line)
               for piece in inside.split(",")]  # fmt: skip
    for pattern in MANNER_PATTERNS:
        assert any(pattern.fullmatch(manner) for manner in manners), pattern.pattern


def _only_scenario_errors(text: str) -> None:
    try:
        scenario = parse_scenario(text, "x.talk")
        file_bytes(scenario, play(scenario))
    except ScenarioError as error:
        assert error.path == "x.talk"
        assert error.what
        assert error.remedy


@settings(deadline=None)
@given(st.text(max_size=300))
def test_any_text(text: str) -> None:
    _only_scenario_errors(text)


WORDS = sorted({word for path in DEMO.glob("*.talk") for word in path.read_text(encoding="utf-8").split()}
               | set(EXAMPLE.replace("[", " [ ").replace("]", " ] ").split()))  # fmt: skip
some_words = st.lists(st.sampled_from(WORDS) | st.text(max_size=4), min_size=1, max_size=7).map(" ".join)
step = st.builds("{} {}".format, st.sampled_from(["1ms", "+1ms", "+0s", "0.05s", "+2"]), some_words)
party_step = st.builds("+1ms {} {}: {} [{}]".format, st.sampled_from(["source", "sink", "cable"]),
                       some_words, some_words, some_words)  # fmt: skip


@settings(max_examples=300, deadline=None)
@given(st.lists(some_words | step | party_step, max_size=8).map("\n".join))
def test_any_words_of_the_form(text: str) -> None:
    _only_scenario_errors(text)


EXAMPLE_LINES = EXAMPLE.split("\n")


@settings(max_examples=60, deadline=None)
@given(st.integers(0, len(EXAMPLE_LINES) - 1), st.integers(0, 80), st.text(max_size=6), st.booleans())
def test_any_change_of_the_example(line: int, place: int, piece: str, instead: bool) -> None:
    lines = list(EXAMPLE_LINES)
    old = lines[line]
    lines[line] = old[:place] + piece + old[place + (len(piece) if instead else 0) :]
    _only_scenario_errors("\n".join(lines))


def test_the_longest_message_can_be_written() -> None:
    """Two headers and 260 bytes (MaxExtendedMsgLen; USB PD, section 6.13, from memory), and no byte more."""
    for size, fits in ((264, True), (265, False)):
        text = "1ms source bytes: " + "00 " * size
        try:
            parse_scenario(text, "x.talk")
        except ScenarioError:
            assert not fits
        else:
            assert fits
