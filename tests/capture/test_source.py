"""Files, pipes and standard input, and the registry with formats of other packages."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest

from pdcheck.capture import Capture, open_capture
from pdcheck.capture.model import DigitalLine, Role
from pdcheck.capture.registry import ENTRY_POINT_GROUP, Format, ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

TEXT = "Time [s],CC1\n" + "".join(f"{i * 1e-6:.6f},{i // 9 % 2}\n" for i in range(30_000))
PROGRAM = (
    "import sys; from pdcheck.capture import open_capture; from pdcheck.errors import CaptureError\n"
    "try:\n    print(len(open_capture('-').lines[0].edges_s))\n"
    "except CaptureError as error:\n    print(error.one_line()); sys.exit(2)\n"
)


def run(**options: object) -> tuple[int, str]:
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, check=False, **options)  # type: ignore[call-overload]
    assert done.stderr == b""
    return done.returncode, done.stdout.decode().strip()


def test_standard_input_as_pipe_and_as_file(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(TEXT)
    expected = str(len(open_capture(path).lines[0].edges_s))  # type: ignore[union-attr]
    assert run(input=TEXT.encode()) == (0, expected)
    with path.open("rb") as stream:
        assert run(stdin=stream) == (0, expected)


def test_standard_input_with_nothing() -> None:
    status, said = run(stdin=subprocess.DEVNULL)
    assert status == 2 and said.startswith("-: is empty")


def test_a_pipe_gives_what_the_file_gives_however_it_is_chopped(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(TEXT)
    chopper = (
        "import sys, time; data = open(sys.argv[1], 'rb').read()\n"
        "for at in range(0, len(data), 7777):\n    sys.stdout.buffer.write(data[at:at+7777]); sys.stdout.flush()\n"
    )
    with subprocess.Popen([sys.executable, "-c", chopper, str(path)], stdout=subprocess.PIPE) as writer:
        status, said = run(stdin=writer.stdout)
    assert (status, said) == (0, str(len(open_capture(path).lines[0].edges_s)))  # type: ignore[union-attr]


def test_progress_goes_from_nothing_to_all(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text(TEXT)
    seen: list[tuple[int, int | None]] = []
    open_capture(path, progress=lambda done, total: seen.append((done, total)))
    size = path.stat().st_size
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1] == (size, size)


def test_a_file_that_shrinks_while_it_is_read_is_not_judged(tmp_path: Path) -> None:
    path = tmp_path / "capture.csv"
    path.write_text("Time [s],CC1\n" + "".join(f"{i * 1e-6:.6f},{i // 9 % 2}\n" for i in range(200_000)))

    def shrink(done: int, _total: int | None) -> None:
        if done > 100_000:
            with path.open("r+b") as out:
                out.truncate(150_000)

    with pytest.raises(CaptureError, match="became shorter while it was read"):
        open_capture(path, progress=shrink)


def test_source_fills_what_it_is_given(tmp_path: Path) -> None:
    path = tmp_path / "bytes"
    data = bytes(range(256)) * 1000
    path.write_bytes(data)
    with ByteSource(str(path)) as source:
        assert source.head == data[:65536]
        room = bytearray(len(data) + 5)
        assert source.readinto(memoryview(room)[:70_000]) == 70_000
        assert source.readinto(memoryview(room)[70_000:]) == len(data) - 70_000
    assert bytes(room[: len(data)]) == data


def _read_tally(source: ByteSource, options: ReadOptions) -> Capture:
    """A format of somebody else: a magic number, then a byte an edge, in milliseconds."""
    room = bytearray(100)
    got = source.readinto(memoryview(room))
    edges = np.array([byte * 1e-3 for byte in room[4:got]])
    assert options.rate_hz is None
    return Capture(source.path, "tally", 0.0, 1.0, None, (DigitalLine("tally", Role.OTHER, False, edges),))


TALLY = Format(lambda head, _: head.startswith(b"\x07TLY"), (".tly",), _read_tally)


def test_a_format_from_another_package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def installed(*, group: str) -> Iterable[EntryPoint]:
        assert group == ENTRY_POINT_GROUP
        return [EntryPoint("tally", f"{__name__}:TALLY", group)]

    monkeypatch.setitem(sys.modules, __name__, sys.modules.get(__name__) or type(sys)(__name__))
    monkeypatch.setattr(sys.modules[__name__], "TALLY", TALLY, raising=False)
    monkeypatch.setattr("importlib.metadata.entry_points", installed)
    path = tmp_path / "count.tly"
    path.write_bytes(b"\x07TLY\x01\x05")
    capture = open_capture(path)
    assert capture.kind == "tally"
    path.write_bytes(b"\x07TXX\x01\x05")
    with pytest.raises(CaptureError, match="not a known capture format"):
        open_capture(path)
