"""Coverage-guided fuzzing of the way from a file to its report.

Whatever bytes a file holds, the answer is a report, or an error of our own family that says where and what to do. And
whatever is wrong with a row, the fast readers say what the careful one says, and nobody is accused for it.

Needs the ``bench`` and ``test`` extras. Run, from the root of the repository, for as long as there is time::

    python -m tests.bench.fuzz_capture seeds /tmp/corpus           # small files of every exporter to begin with
    python -m tests.bench.fuzz_capture bytes /tmp/corpus -max_len=6000 -timeout=10 -rss_limit_mb=600
    python -m tests.bench.fuzz_capture rows /tmp/rows -max_len=64 -timeout=20 -rss_limit_mb=600
    python -m tests.bench.fuzz_capture random 600 1                # rows by chance for ten minutes, from a seed: faster
    python -m tests.bench.fuzz_capture again finds/rows-0123       # one find once more, its file is written beside it

``bytes`` changes bytes anywhere: the first two choose suffix, rate, packing, pipe and how big a block is, the others
are the file. ``rows`` takes a whole export and damages some of its rows: which ones, where and how is what it changes.
The first find of each kind goes into the folder ``finds`` and the run goes on; a hang ends it.
"""

from __future__ import annotations

import bz2
import gzip
import hashlib
import io
import json
import lzma
import os
import random
import sys
import tempfile
import time
import traceback
import warnings
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from types import ModuleType
from typing import Any

import atheris
import numpy as np
import zstandard

_GUIDED = sys.argv[1:2] in (["bytes"], ["rows"])

with atheris.instrument_imports(include=["pdcheck.capture", "pdcheck.line"]) if _GUIDED else nullcontext():
    from pdcheck.capture import (
        AnalogLine,
        Capture,
        DigitalLine,
        Role,
        csv_buffer,
        csv_even,
        csv_noisy,
        csv_quiet,
        csv_reader,
        csv_uneven,
        open_capture,
        raw,
        vcd,
        vcd_words,
    )
    from pdcheck.capture.csv_even import EvenReader
    from pdcheck.capture.csv_fixed import FixedReader
    from pdcheck.capture.csv_noisy import NoisyReader
    from pdcheck.capture.csv_plain import PlainReader
    from pdcheck.capture.csv_quiet import QuietReader
    from pdcheck.capture.csv_uneven import UnevenReader
    from pdcheck.capture.csv_varying import VaryingReader
    from pdcheck.errors import PdcheckError
    from pdcheck.pipeline import check, decode
    from pdcheck.report.as_json import dumps
    from pdcheck.report.as_text import report_text
    from pdcheck.report.model import Report

_SUFFIXES = (".csv", ".vcd", ".bin", ".raw", ".txt", "", ".csv.gz", ".zip")
_RATES = (None, None, None, 4e6, 1e6, 1.0, 1e14, 2.4e7)
_MOST_MB = 150
_ROWS_PASSED_OVER = (EvenReader, QuietReader, NoisyReader, UnevenReader)
_ROWS_READ = (FixedReader, VaryingReader, PlainReader)
Packer = Callable[[bytes], bytes]


def _zipped(data: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("a.csv", data)
    return out.getvalue()


_PACKERS: tuple[Packer | None, ...] = (
    None, None, None, gzip.compress, lambda data: lzma.compress(data, preset=0), bz2.compress,
    zstandard.ZstdCompressor().compress, _zipped,
)  # fmt: skip


def never(*_: object) -> None:
    """A reader that never fits."""


@contextmanager
def changed(*changes: tuple[Any, str, Any]) -> Iterator[None]:
    """Attributes that are something else for a while."""
    before = [(where, name, getattr(where, name)) for where, name, _ in changes]
    for where, name, value in changes:
        setattr(where, name, value)
    try:
        yield
    finally:
        for where, name, value in reversed(before):
            setattr(where, name, value)


def small(block: int, *, first_line: int = 0) -> list[tuple[Any, str, Any]]:
    """Blocks and stretches so small that little files meet their borders and take every way."""
    modules: tuple[ModuleType, ...] = (csv_buffer, vcd)
    return [
        *((module, "BLOCK", block) for module in modules),
        (raw, "BLOCK", max(block, 1 << 14)),
        (csv_buffer.LineBuffer.more, "__defaults__", (block,)),
        (csv_reader, "FIRST_BLOCK", min(block, 1 << 12)), (csv_reader, "FIRST_LINE", first_line),
        (csv_reader, "CAREFUL", 1 << 8), (csv_reader, "_SHORT", 1 << 8),
        (csv_even, "LEAST_BYTES", 300), (csv_quiet, "LEAST_BYTES", 300), (csv_uneven, "LEAST_ROWS", 4),
        (csv_noisy, "LEAST_ROWS", 4),
    ]  # fmt: skip


def outcome(path: str, rate: float | None = None) -> Capture | PdcheckError:
    """What reading the file gives."""
    try:
        return open_capture(path, rate_hz=rate)
    except PdcheckError as error:
        line = error.one_line()
        assert line.isprintable(), f"not printable: {line!r}"
        assert error.path == path and error.what and error.remedy, f"says too little: {line!r}"
        return error


def reported(capture: Capture) -> Report:
    """The report on it, which can be shown in every way."""
    for line in capture.lines:
        times = line.edges_s if isinstance(line, DigitalLine) else line.times_s
        assert np.isfinite(times).all() and bool((np.diff(times) > 0).all()), "times that do not grow"
        if isinstance(line, AnalogLine):
            assert np.isfinite(line.values).all(), "values that are none"
    report = check(decode(capture))
    text = report_text(report, width=80, messages=True)
    assert text.replace("\n", "").isprintable(), "not printable: " + repr([c for c in text if not c.isprintable()][:5])
    json.loads(dumps(report), parse_constant=_no_number)
    return report


def _no_number(word: str) -> float:
    raise AssertionError(f"{word} in JSON")


def _peak_mb(which: str) -> int:
    """``VmRSS`` or ``VmHWM`` of this process, in megabytes; 0 where the system does not say."""
    try:
        status = Path("/proc/self/status").read_text()
    except OSError:
        return 0
    return int(status.split(which + ":")[1].split()[0]) >> 10


@contextmanager
def in_little_room() -> Iterator[None]:
    """No more memory than a capture may take, above what was taken before."""
    try:
        Path("/proc/self/clear_refs").write_text("5")
    except OSError:
        yield
        return
    before = _peak_mb("VmRSS")
    yield
    taken = _peak_mb("VmHWM") - before
    assert taken < _MOST_MB, f"more than {_MOST_MB} MB"


class Folder:
    """Where the files lie: in memory, where the system has such a place."""

    def __init__(self) -> None:
        base = "/dev/shm" if Path("/dev/shm").is_dir() else None
        self._folder = tempfile.TemporaryDirectory(dir=base)

    def put(self, data: bytes, suffix: str) -> str:
        path = f"{self._folder.name}/a{suffix}"
        Path(path).write_bytes(data)
        return path


FOLDER = Folder()


def bytes_file(data: bytes) -> tuple[bytes, str, float | None, bool, int]:
    """The file that the fuzzer's bytes mean: contents, suffix, rate, whether through a pipe, size of a block."""
    first, second = (*data[:2], 0, 0)[:2]
    content = data[2:]
    packer = _PACKERS[first >> 3 & 7]
    if packer is not None:
        content = packer(content)
    block = (0, 0, 1 << 9, 1 << 11)[second >> 3 & 3]
    return content, _SUFFIXES[first & 7], _RATES[second & 7], first >> 6 == 3, block


def try_bytes(data: bytes) -> None:
    """Any bytes: a report or an error of ours."""
    content, suffix, rate, piped, block = bytes_file(data)
    path = FOLDER.put(content, suffix)
    with changed(*(small(block) if block else [])):
        found = _through_a_pipe(content, rate) if piped and len(content) < 60_000 else outcome(path, rate)
        if isinstance(found, Capture):
            reported(found)


def _through_a_pipe(content: bytes, rate: float | None) -> Capture | PdcheckError:
    reading, writing = os.pipe()
    os.write(writing, content)
    os.close(writing)
    with os.fdopen(reading, "rb") as stream, changed((sys, "stdin", stream)):
        return outcome("-", rate)


def same(found: Capture | PdcheckError, careful: Capture | PdcheckError) -> None:
    """The same error, or the same lines."""
    if isinstance(found, PdcheckError) and found.what.startswith(("the line is longer than", "holds no rows")):
        return  # in the small blocks of this harness
    if isinstance(careful, PdcheckError) or isinstance(found, PdcheckError):
        one, other = (str(said).encode("ascii", "ignore") for said in (found, careful))
        assert one == other, f"{found!r} where the careful reader says {careful!r}"
        return
    assert (found.kind, found.start_s, len(found.lines)) == (careful.kind, careful.start_s, len(careful.lines))
    assert _near(found.duration_s, careful.duration_s, 1e-9)
    assert _near(found.sample_period_s or 0.0, careful.sample_period_s or 0.0, 1e-9)
    for line, expected in zip(found.lines, careful.lines, strict=True):
        assert (type(line), line.name, line.role) == (type(expected), expected.name, expected.role)
        if isinstance(line, DigitalLine) and isinstance(expected, DigitalLine):
            assert line.initial == expected.initial
            assert line.edges_s.shape == expected.edges_s.shape, f"{line.edges_s.shape} and {expected.edges_s.shape}"
            assert np.allclose(line.edges_s, expected.edges_s, rtol=1e-9, atol=1e-13), "edges elsewhere"
        elif isinstance(line, AnalogLine) and isinstance(expected, AnalogLine) and line.role is Role.VBUS:
            moments = np.concatenate([line.times_s, expected.times_s]) * (1 + 1e-12)
            one, other = (_held(each, moments) for each in (line, expected))
            assert bool((np.abs(one - other) <= 0.0401).all()), "other volts"


def _held(line: AnalogLine, moments: Any) -> Any:
    return line.values[np.maximum(np.searchsorted(line.times_s, moments, side="right") - 1, 0)]


def _near(one: float, other: float, share: float) -> bool:
    return abs(one - other) <= share * max(abs(one), abs(other))


_BITS = (*'":;,.-+/#eE \r\n\t', "0", "1", "9", "x", "nan", "e5", "e99", "-1", "\0", "é", ",,", "\ufeff", "1e309", "0x1")


def rows_file(data: bytes) -> tuple[bytes, str, float | None, bool, int]:
    """A damaged export: contents, suffix, rate, whether it passed before, and which readers to compare."""
    given = atheris.FuzzedDataProvider(data)
    every = exports()
    name = sorted(every)[given.ConsumeIntInRange(0, len(every) - 1)]
    content, rate, passes = every[name]
    way = given.ConsumeIntInRange(0, 17)
    end = b"\r" if b"\n" not in content else b"\n"
    rows = content.split(end)
    for _ in range(given.ConsumeIntInRange(0, 3)):
        at = given.ConsumeIntInRange(0, len(rows) - 1)
        rows[at : at + 1] = _damaged(rows, at, given)
    return end.join(rows), ".vcd" if name.startswith("vcd") else ".csv", rate, passes, way


def _damaged(rows: list[bytes], at: int, given: Any) -> list[bytes]:
    """What stands in a row's place."""
    row = rows[at]
    place = given.ConsumeIntInRange(0, len(row))
    bit = _BITS[given.ConsumeIntInRange(0, len(_BITS) - 1)].encode()
    byte = bytes([given.ConsumeIntInRange(0, 255)])
    other = rows[given.ConsumeIntInRange(0, len(rows) - 1)]
    kinds: tuple[list[bytes], ...] = (
        [row[:place] + bit + row[place + 1 :]], [row[:place] + bit + row[place:]], [row[:place] + row[place + 1 :]],
        [row[:place] + byte + row[place + 1 :]], [row[:place]], [row[place:]], [], [b""], [row, row], [other],
        [row, other], [row + b"\r"], [b"# a remark"], [row[:place] + row[place:][::-1]], [row + other],
        [row] + [b""] * place,
    )  # fmt: skip
    return kinds[given.ConsumeIntInRange(0, len(kinds) - 1)]


_EXPORTS: dict[str, tuple[bytes, float | None, bool]] = {}


def exports() -> dict[str, tuple[bytes, float | None, bool]]:
    """Whole exports, cut to some thousand rows: contents, rate, and whether their verdict is a pass."""
    if not _EXPORTS:
        from tests.capture.test_exporters import CSV, VCD

        for name, content in (*CSV.items(), *(("vcd " + name, content) for name, content in VCD.items())):
            _EXPORTS[name] = (_cut(content, 1200), None, False)
        for path in sorted((Path(__file__).parents[2] / "captures" / "demo").glob("*.[cv]*")):
            if path.suffix in (".csv", ".vcd") and path.stat().st_size < 70_000 and path.name != "index.csv":
                content = path.read_bytes()
                passes = check(decode(open_capture(path))).verdict.outcome.value == "pass"
                _EXPORTS[("vcd " if path.suffix == ".vcd" else "") + path.stem] = (content, None, passes)
    return _EXPORTS


def _cut(content: bytes, rows: int) -> bytes:
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content[: 40 * rows & ~1]
    end = b"\r" if b"\n" not in content else b"\n"
    return end.join(content.split(end)[:rows]) + end


def try_rows(data: bytes) -> None:
    """A damaged export: all readers agree, and nobody is accused who was not before."""
    content, suffix, rate, passes, way = rows_file(data)
    path = FOLDER.put(content, suffix)
    for_careful = [(reader, "read", never) for reader in (*_ROWS_PASSED_OVER, *_ROWS_READ)]
    if suffix == ".vcd":
        for_careful = [(vcd_words.WordReader, "read", never)]
    with changed(*for_careful):
        careful = outcome(path, rate)
    plain = outcome(path, rate)
    same(plain, careful)
    # Each find has its own way; to try one of them a run is much faster than all.
    left_out = ((), (FixedReader,), (FixedReader, VaryingReader))[way % 3]
    block = (1 << 12, 1 << 14)[way // 3 % 2]
    with changed(*small(block, first_line=1 << 30), *((reader, "read", never) for reader in left_out)):
        same(outcome(path, rate), careful)
    passed_over = ((), (EvenReader,), (EvenReader, QuietReader))[way // 6 % 3]
    with changed(*small(1 << 14), *((reader, "read", never) for reader in passed_over)):
        over = outcome(path, rate)
        # What is passed over in silence may go unnoticed there; but then the lines are those of the rest.
        if isinstance(over, PdcheckError):
            same(over, careful if "backwards" not in str(careful) else over)
    if isinstance(plain, Capture):
        verdict = reported(plain).verdict
        if passes and verdict.outcome.value == "fail":
            raise AssertionError(f"accuses {verdict.suspect} at {verdict.stopped_at}: {verdict.summary}")


def keeping_on(mode: str, attempt: Callable[[bytes], None]) -> Callable[[bytes], None]:
    """The same, but what is found is kept in a folder, the first of its kind, and does not end the run."""
    folder = Path("finds")
    folder.mkdir(exist_ok=True)

    def run(data: bytes) -> None:
        try:
            with in_little_room():
                attempt(data)
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)
            kind = f"{type(error).__name__} {frames[-1].filename} {frames[-1].lineno} {str(error)[:12]}"
            name = folder / f"{mode}-{hashlib.sha256(kind.encode()).hexdigest()[:8]}"
            if not name.exists():
                name.write_bytes(data)
                name.with_suffix(".txt").write_text(traceback.format_exc())

    return run


def by_chance(seconds: float, seed: int) -> None:
    """Damaged rows without guidance, many times as fast."""
    rng = random.Random(seed)
    run, end, count = keeping_on("rows", try_rows), time.monotonic() + seconds, 0
    while time.monotonic() < end:
        run(rng.randbytes(64))
        count += 1
    print(f"{count} runs in {seconds:.0f} s")


def again(find: Path) -> None:
    """One find once more."""
    data, by_rows = find.read_bytes(), find.name.startswith("rows")
    content, suffix = (rows_file(data) if by_rows else bytes_file(data))[:2]
    find.with_name(find.name + (suffix or ".file")).write_bytes(content)
    (try_rows if by_rows else try_bytes)(data)


def write_seeds(folder: Path) -> None:
    """Small files to begin with: the heads of every export, and packed ones."""
    from tests.capture.test_exporters import LEVELS

    folder.mkdir(parents=True, exist_ok=True)
    rng = random.Random(1)
    for number, (name, (content, _, _)) in enumerate(sorted(exports().items())):
        short = content[:3500] if name.startswith("vcd") else _cut(content, 160)[:4000]
        first = 1 if name.startswith("vcd") else 0
        (folder / f"{number:02}").write_bytes(bytes([first | rng.randrange(8) << 3, 8 * rng.randrange(3)]) + short)
        if number % 6 == 0:
            for packer in _PACKERS[3:]:
                assert packer is not None
                (folder / f"{number:02}p{rng.random()}").write_bytes(bytes([6, 0]) + packer(short))
    for size in ("u1", "<u2"):
        (folder / f"raw{size}").write_bytes(bytes([2, 3]) + np.array(LEVELS, size).tobytes()[:5000])


def main() -> None:
    """Run as the module says."""
    mode, rest = sys.argv[1], sys.argv[2:]
    if mode == "seeds":
        write_seeds(Path(rest[0]))
        return
    warnings.simplefilter("error")
    warnings.simplefilter("ignore", ResourceWarning)
    if mode == "again":
        again(Path(rest[0]))
        return
    if mode == "random":
        by_chance(float(rest[0]), int(rest[1]))
        return
    exports()
    attempt = {"bytes": try_bytes, "rows": try_rows}[mode]
    atheris.Setup([sys.argv[0], *rest], keeping_on(mode, attempt))
    atheris.Fuzz()


if __name__ == "__main__":
    main()
