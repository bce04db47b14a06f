"""Value change dumps: written by pyvcd, by hand after IEEE 1364-2005 clause 18, and damaged.

Every dump is read the fast way and, as a check of that, word by word.
"""

from __future__ import annotations

import io
import random
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vcd import VCDWriter

from pdcheck.capture import AnalogLine, Capture, DigitalLine, Role, open_capture
from pdcheck.capture.vcd_words import WordReader
from pdcheck.errors import CaptureError

HEAD = (
    "$date today $end\n$version by hand $end\n$comment nothing # 1! here $end\n$timescale 10 ns $end\n"
    "$scope module bench $end\n$var wire 1 ! CC1 $end\n$var wire 1 \" CC2 $end\n$scope module supply $end\n"
    "$var real 64 # VBUS $end\n$var reg 4 $ port [3:0] $end\n$upscope $end\n$upscope $end\n$enddefinitions $end\n"
)


def read(folder: Path, text: str, **options: object) -> Capture:
    path = folder / "dump.vcd"
    path.write_text(text)
    return open_capture(path, **options)  # type: ignore[arg-type]


def line(capture: Capture, name: str) -> DigitalLine:
    found = next(line for line in capture.lines if line.name == name)
    assert isinstance(found, DigitalLine)
    return found


def wave(capture: Capture, name: str) -> AnalogLine:
    found = next(line for line in capture.lines if line.name == name)
    assert isinstance(found, AnalogLine)
    return found


def same(one: Capture, other: Capture) -> bool:
    if (one.start_s, one.duration_s, one.time_unit_stated) != (other.start_s, other.duration_s, other.time_unit_stated):
        return False
    for a, b in zip(one.lines, other.lines, strict=True):
        if isinstance(a, DigitalLine) and isinstance(b, DigitalLine):
            if a.initial != b.initial or not np.array_equal(a.edges_s, b.edges_s):
                return False
        elif isinstance(a, AnalogLine) and isinstance(b, AnalogLine):
            if not (np.array_equal(a.times_s, b.times_s) and np.array_equal(a.values, b.values)):
                return False
        else:
            return False
    return True


def word_by_word(monkeypatch: pytest.MonkeyPatch, path: Path) -> Capture:
    with monkeypatch.context() as patched:
        patched.setattr(WordReader, "read", lambda *_: None)
        return open_capture(path)


def test_by_hand(tmp_path: Path) -> None:
    body = "#100\n$dumpvars\n1!\nx\"\nr5.02 #\nb10x1 $\n$end\n#150\n0!\n1\"\n#160 1! 0\"\n#170\nr9.01 #\nb1 $\n#200\n"
    capture = read(tmp_path, HEAD + body)
    assert (capture.kind, capture.sample_period_s, capture.time_unit_stated) == ("vcd", None, True)
    assert capture.start_s == pytest.approx(1e-6) and capture.duration_s == pytest.approx(1e-6)
    assert [item.name for item in capture.lines] == ["CC1", "CC2", "VBUS", "port[0]", "port[1]", "port[2]", "port[3]"]
    assert [item.role for item in capture.lines[:4]] == [Role.CC1, Role.CC2, Role.VBUS, Role.OTHER]
    assert line(capture, "CC1").initial
    assert line(capture, "CC1").edges_s.tolist() == pytest.approx([0.5e-6, 0.6e-6])
    # Unknown at first: what it is when first known is what it was.
    assert line(capture, "CC2").initial
    assert line(capture, "CC2").edges_s.tolist() == pytest.approx([0.6e-6])
    assert wave(capture, "VBUS").times_s.tolist() == pytest.approx([0, 0.7e-6])
    assert wave(capture, "VBUS").values.tolist() == [5.02, 9.01]
    # 10x1 becomes 0001: bit 3 falls, bit 0 stays.
    assert line(capture, "port[3]").edges_s.tolist() == pytest.approx([0.7e-6])
    assert line(capture, "port[0]").initial and not len(line(capture, "port[0]").edges_s)


def test_short_vectors_are_filled_as_the_standard_says(tmp_path: Path) -> None:
    # IEEE 1364-2005, 18.2.1, table on left extension (from memory): 0 and 1 extend with 0, x with x, z with z.
    capture = read(tmp_path, HEAD + "#0\nb1111 $\n#1\nb1 $\n#2\nb1111 $\n#3\nbz1 $\n#4\nbx $\n#5\nb0 $\n#6\n")
    assert line(capture, "port[3]").edges_s.tolist() == pytest.approx([1e-8, 2e-8, 5e-8])
    assert line(capture, "port[0]").edges_s.tolist() == pytest.approx([5e-8])


def test_an_unknown_or_undriven_level_leaves_the_line(tmp_path: Path) -> None:
    capture = read(tmp_path, HEAD + "#0\n1!\n#5\nz!\n#6\n1!\n#7\nx!\n#8\n0!\n#9\nX!\n#10\nZ!\n#11\n")
    assert line(capture, "CC1").edges_s.tolist() == pytest.approx([8e-8])


def test_several_changes_at_one_time_the_last_counts(tmp_path: Path) -> None:
    capture = read(tmp_path, HEAD + "#0\n1!\n0\"\n#5\n0!\n1!\n1\"\n0\"\n1\"\n#6\n")
    assert not len(line(capture, "CC1").edges_s)
    assert line(capture, "CC2").edges_s.tolist() == pytest.approx([5e-8])


def test_no_timescale(tmp_path: Path) -> None:
    capture = read(tmp_path, "$var wire 1 ! CC $end $enddefinitions $end #0 1! #4 0! #5\n")
    assert not capture.time_unit_stated
    assert line(capture, "CC").edges_s.tolist() == [4.0]


@pytest.mark.parametrize(("scale", "tick"), [("1 s", 1.0), ("10us", 1e-5), ("100 ps", 1e-10), ("1\n fs", 1e-15)])
def test_timescales(tmp_path: Path, scale: str, tick: float) -> None:
    head = f"$timescale {scale} $end $var wire 1 ! a $end $enddefinitions $end\n"
    capture = read(tmp_path, head + "#7\n1!\n#9\n0!\n#10\n")
    assert capture.duration_s == pytest.approx(3 * tick)
    assert capture.start_s == pytest.approx(7 * tick)


def test_names(tmp_path: Path) -> None:
    text = (
        "$timescale 1 us $end $scope module left $end $var wire 1 ! d $end $var wire 1 ( CC1 [0] $end $upscope $end "
        "$scope module right $end $var wire 1 \" d $end $var wire 1 ( again $end $upscope $end $enddefinitions $end\n"
        "#0\n0!\n1\"\n1(\n#3\n1!\n0(\n#4\n"
    )
    capture = read(tmp_path, text)
    assert [item.name for item in capture.lines] == ["left.d", "CC1 [0]", "right.d"]
    assert capture.lines[1].role is Role.CC1
    chosen = read(tmp_path, text, roles={Role.CC1: "right.d", Role.CC2: "1"})
    assert [item.role for item in chosen.lines] == [Role.CC2, Role.OTHER, Role.CC1]
    with pytest.raises(CaptureError, match=r"left\.d"):
        read(tmp_path, text, roles={Role.CC1: "d9"})


def test_written_by_pyvcd(tmp_path: Path) -> None:
    out = io.StringIO()
    with VCDWriter(out, timescale="100 ns", date="a day in spring") as writer:
        cc = writer.register_var("bench", "CC1", "wire", size=1, init=1)
        port = writer.register_var("bench", "port", "wire", size=8, init=0)
        volts = writer.register_var("bench.supply", "VBUS_mV", "real", init=5000.0)
        for tick in range(1, 3000):
            writer.change(cc, tick * 10, tick & 1)
            writer.change(port, tick * 10 + 3, tick & 0xFF)
            if tick % 1000 == 0:
                writer.change(volts, tick * 10 + 5, 5000.0 + tick)
    capture = read(tmp_path, out.getvalue())
    # Set to 1 at the start and at tick 10 again: the first edge is at tick 20.
    assert line(capture, "CC1").edges_s.tolist() == pytest.approx([t * 1e-6 for t in range(2, 3000)])
    assert len(line(capture, "port[0]").edges_s) == 2999
    assert len(line(capture, "port[7]").edges_s) == 2999 // 128
    assert wave(capture, "VBUS_mV").values.tolist() == pytest.approx([5.0, 6.0, 7.0])


def test_a_dump_cut_short_is_read_up_to_there(tmp_path: Path) -> None:
    whole = HEAD + "#0\n1!\n#5\n0!\n#16\n1!\n#170\n"
    for end in range(len(HEAD) + 4, len(whole)):
        capture = read(tmp_path, whole[:end])
        assert line(capture, "CC1").edges_s.tolist() in ([], [5e-8], pytest.approx([5e-8, 16e-8]))


@st.composite
def dumps(draw: st.DrawFn) -> str:
    """Bodies as loose as the standard allows, and sometimes a little looser."""
    now, out = draw(st.integers(0, 10**9)), []
    blank = draw(st.sampled_from(["\n", " ", "\r\n", "  \n"]))
    for _ in range(draw(st.integers(0, 60))):
        what = draw(st.integers(0, 9))
        if what < 4:
            now += draw(st.integers(0, 400))
            out.append(f"#{now:0{draw(st.sampled_from([1, 12]))}d}")
        elif what < 8:
            out.append(draw(st.sampled_from("0101xzXZ")) + draw(st.sampled_from("!\"")))
        elif what == 8:
            out.append("b" + draw(st.text("01xz", min_size=1, max_size=4)) + " $")
        else:
            out.append(f"r{draw(st.floats(-30, 30)):.4g} #")
        if draw(st.integers(0, 30)) == 0:
            loose = ["$dumpoff", "$end", "$comment 1! #4 $end", "#x", "1?", "b2 $", "#1", "q", "b1", "r"]
            out.append(draw(st.sampled_from(loose)))
    return blank.join(out) + blank


@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=dumps())
def test_many_words_at_a_time_give_what_single_words_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, body: str
) -> None:
    path = tmp_path / "dump.vcd"
    path.write_bytes((HEAD + body).encode())
    try:
        slow = word_by_word(monkeypatch, path)
    except CaptureError as error:
        with pytest.raises(CaptureError) as caught:
            open_capture(path)
        assert caught.value.one_line() == error.one_line()
    else:
        assert same(open_capture(path), slow)


def test_many_blocks_and_long_codes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = [f"line{place}" for place in range(20)]
    codes = [chr(33 + place) + chr(60 + place) for place in range(20)]
    head = "$timescale 1 us $end\n" + "".join(
        f"$var wire 1 {code} {name} $end\n" for code, name in zip(codes, names, strict=True)
    )
    rng = np.random.default_rng(4)
    owners, values = rng.integers(0, 20, 200_000).tolist(), rng.integers(0, 2, 200_000).tolist()
    changes = zip(owners, values, strict=True)
    body = "".join(f"#{tick}\n{value}{codes[owner]}\n" for tick, (owner, value) in enumerate(changes))
    path = tmp_path / "dump.vcd"
    path.write_text(head + "$enddefinitions $end\n" + body)
    fast = open_capture(path)
    assert same(fast, word_by_word(monkeypatch, path))
    mine = [value for owner, value in zip(owners, values, strict=True) if owner == 7]
    assert len(line(fast, "line7").edges_s) == sum(a != b for a, b in pairwise(mine))
    broken = head + "$enddefinitions $end\n" + body + "#5\n"
    path.write_text(broken)
    with pytest.raises(CaptureError, match="backwards") as caught:
        open_capture(path)
    assert caught.value.line == broken.count("\n")


@pytest.mark.parametrize("filler", ["", "$comment so that each word is looked at $end\n"])
def test_an_event_among_the_variables(tmp_path: Path, filler: str) -> None:
    path = tmp_path / "capture.vcd"
    path.write_text(
        "$timescale 1 ns $end $var event 1 e tick $end $var wire 1 ! CC1 $end $enddefinitions $end\n"
        f"#0\n0!\n{filler}#10\n1!\n1e\n#30\n0!\n1e\n"
    )
    line = next(line for line in open_capture(path).lines if line.name == "CC1")
    assert isinstance(line, DigitalLine)
    assert line.edges_s.tolist() == pytest.approx([10e-9, 30e-9])


@pytest.mark.parametrize("filler", ["", "$comment so that each word is looked at $end\n"])
def test_weak_levels_are_levels(tmp_path: Path, filler: str) -> None:
    # IEEE 1164: L and H are the logic levels 0 and 1 driven weakly, as a pull-up or pull-down does (from memory).
    path = tmp_path / "capture.vcd"
    path.write_text(
        "$timescale 1 ns $end $var wire 1 ! CC1 $end $var wire 2 % bus $end $enddefinitions $end\n"
        f"#0\nL!\nbLL %\n{filler}#10\nH!\n#20\nbHL %\n#30\n0!\n"
    )
    lines = {line.name: line for line in open_capture(path).lines}
    cc, high = lines["CC1"], lines["bus[1]"]
    assert isinstance(cc, DigitalLine)
    assert isinstance(high, DigitalLine)
    assert cc.edges_s.tolist() == pytest.approx([10e-9, 30e-9])
    assert high.edges_s.tolist() == pytest.approx([20e-9])


@pytest.mark.parametrize(("scale", "step"), [("1 ns", None), ("100 ns", None), ("1 us", 1e-6), ("100 us", 1e-4)])
def test_a_coarse_tick_is_the_step_of_the_capture(tmp_path: Path, scale: str, step: float | None) -> None:
    path = tmp_path / "capture.vcd"
    path.write_text(f"$timescale {scale} $end $var wire 1 ! CC1 $end $enddefinitions $end\n#0\n0!\n#10\n1!\n")
    period = open_capture(path).sample_period_s
    assert period is None if step is None else period == pytest.approx(step)


@pytest.mark.parametrize("form", ["%r", "%.16g", "%.12f", "%.17f", "%.6e"])
def test_real_numbers_with_all_their_digits(tmp_path: Path, form: str) -> None:
    rng = random.Random(form)
    sent = [rng.choice([rng.gauss(5, 0.5), rng.gauss(0, 0.05), rng.uniform(-30, 60), 9.0]) for _ in range(3000)]
    path = tmp_path / "a.vcd"
    head = "$timescale 1 us $end $var wire 1 ! CC1 $end $var real 64 $ VBUS $end $enddefinitions $end\n#0\n0!\n"
    path.write_text(head + "".join(f"#{10 * n + 10}\nr{form % volts} $\n" for n, volts in enumerate(sent)))
    line = open_capture(path).lines[1]
    assert isinstance(line, AnalogLine)
    kept = dict(zip(np.rint(line.times_s * 1e5).astype(int).tolist(), line.values.tolist(), strict=True))
    assert len(kept) > 1500
    exact = [(volts, sent[at - 1]) for at, volts in kept.items() if at > 0 and abs(volts - sent[at - 1]) < 1e-5]
    assert len(exact) > 0.9 * len(kept)


@pytest.mark.parametrize("bad", ["5.0.123456789", "--5.123456789", "5.12345678x", "5.1234_56789", "nan", "1e400"])
def test_a_real_number_among_many_that_is_none_is_named(tmp_path: Path, bad: str) -> None:
    path = tmp_path / "a.vcd"
    head = "$timescale 1 us $end $var wire 1 ! CC1 $end $var real 64 $ VBUS $end $enddefinitions $end\n#0\n0!\n"
    said = [bad if n == 300 else f"{5 + n / 7000:.16g}" for n in range(600)]
    path.write_text(head + "".join(f"#{10 * n + 10}\nr{volts} $\n" for n, volts in enumerate(said)))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.line == 2 * 300 + 5


@pytest.mark.parametrize("short", ["h", "H", "l", "L", "1", "0", "x", "z", "-", "u", "w"])
def test_a_short_vector_is_filled_alike_by_both_readers(tmp_path: Path, short: str) -> None:
    """Zeros in front of a level (IEEE 1364-2005, clause 18, from memory); a comment leaves the block to the other
    reader."""
    found = []
    for behind in ("", "$comment read word by word $end\n"):
        path = tmp_path / "capture.vcd"
        path.write_text(
            "$timescale 1 ns $end\n$var wire 2 ! cc $end\n$enddefinitions $end\n"
            f"#0\nb11 !\n#10\nb{short} !\n#20\nb11 !\n#30\n{behind}"
        )
        lanes = [line for line in open_capture(path).lines if isinstance(line, DigitalLine)]
        found.append([(line.name, line.initial, line.edges_s.tolist()) for line in lanes])
    assert found[0] == found[1]
    if short in "hH1lL0":
        assert found[0][1][2] == [1e-8, 2e-8]  # the upper bit falls and rises again
