"""Which files are finished, told without a clock and without a disk."""

from __future__ import annotations

from pathlib import Path

import pytest

from pdcheck.capture.registry import FORMATS, Format
from pdcheck.watching import Settling, Stamp
from pdcheck.watching.folder import may_be_capture

A, B = Path("a.csv"), Path("b.csv")


def stamp(size: int = 9, modified: int = 1, inode: int = 1) -> Stamp:
    return Stamp(size, modified, 1, inode)


def test_a_file_is_ready_when_nothing_changed_for_a_while_and_only_once() -> None:
    settling = Settling(2.0)
    assert settling.ready({A: stamp()}, 0.0) == []
    assert settling.ready({A: stamp()}, 1.9) == []
    assert settling.ready({A: stamp()}, 2.0) == [A]
    assert settling.ready({A: stamp()}, 2.5) == [A], "until it is said to be done"
    settling.done(A, stamp())
    assert settling.ready({A: stamp()}, 9.0) == []


@pytest.mark.parametrize("change", [stamp(size=10), stamp(modified=2), stamp(inode=2)])
def test_every_change_begins_the_wait_anew(change: Stamp) -> None:
    settling = Settling(2.0)
    settling.ready({A: stamp()}, 0.0)
    assert settling.ready({A: change}, 1.9) == []
    assert settling.ready({A: change}, 3.8) == []
    assert settling.ready({A: change}, 3.9) == [A]


def test_written_again_is_judged_again() -> None:
    settling = Settling(2.0)
    settling.done(A, stamp())
    settling.ready({A: stamp(modified=5)}, 0.0)
    assert settling.ready({A: stamp(modified=5)}, 2.0) == [A]


def test_what_was_there_is_judged_only_when_it_changes() -> None:
    settling = Settling(2.0, {A: stamp()})
    assert settling.ready({A: stamp()}, 9.0) == []
    settling.ready({A: stamp(size=10)}, 10.0)
    assert settling.ready({A: stamp(size=10)}, 12.0) == [A]


def test_an_empty_file_is_not_finished() -> None:
    settling = Settling(2.0)
    settling.ready({A: stamp(size=0)}, 0.0)
    assert settling.ready({A: stamp(size=0)}, 99.0) == []


def test_a_new_name_is_no_new_file_and_a_copy_is() -> None:
    settling = Settling(2.0)
    settling.done(A, stamp())
    assert settling.ready({B: stamp()}, 0.0) == []
    assert settling.ready({B: stamp()}, 9.0) == []
    copy = stamp(inode=2)
    settling.ready({A: copy, B: stamp()}, 10.0)
    assert settling.ready({A: copy, B: stamp()}, 12.0) == [A]


def test_gone_and_come_back_is_new() -> None:
    settling = Settling(2.0)
    settling.done(A, stamp())
    settling.ready({}, 0.0)
    settling.ready({A: stamp()}, 1.0)
    assert settling.ready({A: stamp()}, 3.0) == [A]


def test_half_written_and_gone_starts_anew() -> None:
    settling = Settling(2.0)
    settling.ready({A: stamp()}, 0.0)
    settling.ready({}, 1.0)
    assert settling.ready({A: stamp()}, 2.0) == []


@pytest.mark.parametrize(("name", "may"), [
    ("a.csv", True), ("A.CSV", True), ("a.vcd", True), ("a.csv.gz", True), ("a.zip", True), ("a.txt", True),
    ("a.csv.part", False), ("a.tmp", False), ("a.csv.tmp", False), (".a.csv", False), ("~a.csv", False),
    ("a.csv~", False), ("a.csv.crdownload", False), ("a.talk", False), ("a.json", False), ("a.html", False),
    ("a.jpg", False), ("csv", False), ("a.part.csv", True), (".a.csv.swp", False), ("a", False),
])
def test_names(name: str, may: bool) -> None:
    assert may_be_capture(name) is may


def test_a_format_that_was_added_is_watched(monkeypatch: pytest.MonkeyPatch) -> None:
    """One entry in the table of formats is enough, packed or not."""
    assert not may_be_capture("a.wave")
    monkeypatch.setitem(FORMATS, "wave", Format(lambda head, options: False, (".wave",), "nowhere:reader"))
    assert may_be_capture("a.wave") and may_be_capture("A.WAVE.GZ") and not may_be_capture("a.wave.part")
