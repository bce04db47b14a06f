"""Packed captures, packed by the standard library's own packers, by zstandard where it is there, and damaged."""

from __future__ import annotations

import bz2
import gc
import gzip
import io
import lzma
import subprocess
import sys
import weakref
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from pdcheck.capture import Capture, DigitalLine, open_capture
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

ROWS = b"".join(b"%.6f,%d\n" % (i * 1e-6, i // 7 % 2) for i in range(20_000))
TEXT = b"Time [s],CC1\n" + ROWS
EDGES = 19_999 // 7


def edges(capture: Capture) -> int:
    line = capture.lines[0]
    assert isinstance(line, DigitalLine)
    return len(line.edges_s)


def zipped(*members: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return out.getvalue()


def zstd(data: bytes) -> bytes:
    packed: bytes = pytest.importorskip("zstandard").ZstdCompressor().compress(data)
    return packed


PACKERS: list[Callable[[bytes], bytes]] = [
    gzip.compress, bz2.compress, lzma.compress, lambda data: zipped(("a/b.csv", data)), zstd,
]  # fmt: skip


@pytest.mark.parametrize("pack", PACKERS)
def test_packed_by_content_whatever_the_name(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "something"
    path.write_bytes(pack(TEXT))
    assert edges(open_capture(path)) == EDGES


@pytest.mark.parametrize("pack", PACKERS)
def test_what_was_read_is_let_go(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "something"
    path.write_bytes(pack(TEXT))
    with ByteSource(str(path)) as source:
        assert source.head.startswith(TEXT[:9])
    left = weakref.ref(source)
    del source
    gc.collect()
    assert left() is None, "a folder that is watched would fill the memory"


@pytest.mark.parametrize("pack", PACKERS)
def test_packed_through_a_pipe(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    program = "from pdcheck.capture import open_capture; print(len(open_capture('-').lines[0].edges_s))"
    done = subprocess.run([sys.executable, "-c", program], input=pack(TEXT), capture_output=True, check=False)
    assert (done.returncode, done.stdout.strip(), done.stderr) == (0, b"%d" % EDGES, b"")


@pytest.mark.parametrize("pack", PACKERS[:4])
def test_damage_inside_is_said_and_not_read_past(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "capture.csv"
    packed = bytearray(pack(TEXT))
    for place in range(len(packed) // 2, len(packed) // 2 + 40):
        packed[place] ^= 0x55
    path.write_bytes(bytes(packed))
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.remedy


@pytest.mark.parametrize("pack", PACKERS[:4])
def test_a_packed_file_cut_short(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "capture.csv"
    packed = pack(TEXT)
    path.write_bytes(packed[: len(packed) * 2 // 3])
    with pytest.raises(CaptureError, match=r"damaged|ends early"):
        open_capture(path)


@pytest.mark.parametrize("pack", [gzip.compress, bz2.compress, lzma.compress])
def test_very_many_members(tmp_path: Path, pack: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "capture.csv"
    pieces = [TEXT[start : start + 40] for start in range(0, 80_000, 40)]
    path.write_bytes(b"".join(map(pack, pieces)) + b"\0" * 512)
    rows = (80_000 - len("Time [s],CC1\n")) // len("0.000000,0\n")
    assert edges(open_capture(path)) == (rows - 1) // 7


def test_a_zip_of_more_or_less_than_one_capture(tmp_path: Path) -> None:
    path = tmp_path / "mail.zip"

    def failure(*members: tuple[str, bytes]) -> str:
        path.write_bytes(zipped(*members))
        with pytest.raises(CaptureError) as caught:
            open_capture(path)
        return caught.value.one_line()

    assert "without a capture" in failure()
    assert "without a capture" in failure(("readme.md", b"x"), ("notes.doc", b"y"))
    said = failure(("one.csv", TEXT), ("two.csv", TEXT))
    assert "one.csv" in said and "two.csv" in said and "unpack" in said
    path.write_bytes(zipped(("folder/", b""), ("__MACOSX/._c.csv", b"\0"), ("folder/c.csv", TEXT), ("photo.jpg", b"")))
    assert edges(open_capture(path)) == EDGES


@pytest.mark.parametrize("beside", ["readme.txt", "export/README.TXT", "Licence.txt", "notes.pdf"])
def test_a_zip_of_a_capture_and_words_about_it(tmp_path: Path, beside: str) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(zipped((beside, b"Captured at the pier."), ("export/capture.csv", TEXT)))
    assert edges(open_capture(path)) == EDGES


def test_a_zip_whose_list_is_endless(tmp_path: Path) -> None:
    path = tmp_path / "many.zip"
    path.write_bytes(zipped(*((f"{name:0200d}", b"") for name in range(20_000))))
    with pytest.raises(CaptureError, match="very many"):
        open_capture(path)


def test_zstd_without_a_module_for_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def nothing(name: str) -> object:
        raise ImportError(name)

    monkeypatch.setattr("pdcheck.capture.packed.import_module", nothing)
    path = tmp_path / "capture.csv.zst"
    path.write_bytes(b"\x28\xb5\x2f\xfd" + bytes(20))
    with pytest.raises(CaptureError, match=r"zstandard.*zstd -d"):
        open_capture(path)


def test_silence_packs_a_thousand_to_one_and_is_read_all_the_same(tmp_path: Path) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    row = b"0.000000,1\n"
    parts = [packer.compress(b"Time [s],CC1\n0.000000,0\n")]
    parts += [packer.compress(row * 50_000) for _ in range(40)]
    parts.append(packer.flush())
    path = tmp_path / "capture.csv.gz"
    path.write_bytes(b"".join(parts))
    assert path.stat().st_size < 22_000_000 // 500
    assert open_capture(path).duration_s == 0


@pytest.mark.parametrize("filler", [b"\0" * (1 << 20), b"7" * (1 << 20), b"\n" * (1 << 20), b"a,b\n" * (1 << 18)])
def test_a_bomb_is_cut(tmp_path: Path, filler: bytes) -> None:
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    parts = [packer.compress(b"Time [s],CC1\n0.0,0\n0.1,1\n"), *(packer.compress(filler) for _ in range(256))]
    parts.append(packer.flush())
    path = tmp_path / "bomb.csv.gz"
    path.write_bytes(b"".join(parts))
    taken: list[int] = []
    with pytest.raises(CaptureError):
        open_capture(path, progress=lambda done, total: taken.append(done))
    assert taken[-1] <= path.stat().st_size


def test_packers_are_not_imported_before_they_are_needed() -> None:
    program = (
        "import sys; import numpy; before = set(sys.modules); import pdcheck.capture; "
        "print(*sorted(set(sys.modules) - before))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert not {"zipfile", "lzma", "bz2", "gzip", "tempfile", "importlib.metadata"} & set(done.stdout.split())


