"""Packed files that would take all memory, or that are no capture yet: one clear line each."""

from __future__ import annotations

import gzip
import io
import lzma
import tracemalloc
import zipfile
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.errors import CaptureError

ROWS = b"Time [s],CC1\n" + b"".join(b"%.6f,%d\n" % (i * 1e-6, i // 50 % 2) for i in range(3000))


def complaint(path: Path, data: bytes) -> str:
    path.write_bytes(data)
    with pytest.raises(CaptureError) as caught:
        open_capture(path)
    assert caught.value.path == str(path)
    return caught.value.one_line()


def zipped(data: bytes, method: int = zipfile.ZIP_DEFLATED, name: str = "a.csv", more: int = 0) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as file, file.open(name, "w") as member:
        member.write(data)
        for _ in range(more):
            member.write(b"\n" * (1 << 20))
    return out.getvalue()


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_zip_whose_packing_cannot_be_unpacked_in_pieces_is_refused(tmp_path: Path, method: int) -> None:
    data = zipped(ROWS, method, more=64)
    tracemalloc.start()
    try:
        said = complaint(tmp_path / "a.zip", data)
        assert tracemalloc.get_traced_memory()[1] < 16 << 20
    finally:
        tracemalloc.stop()
    assert f"method {method}" in said
    assert "unpack it" in said


def test_a_zip_in_a_way_that_python_does_not_know_is_not_called_damaged(tmp_path: Path) -> None:
    # Method 9 (APPNOTE.TXT 4.4.5, "Enhanced Deflating") is what some systems use for large files.
    data = bytearray(zipped(ROWS))
    listed = data.find(b"PK\x01\x02")
    data[8] = data[listed + 10] = 9
    said = complaint(tmp_path / "a.zip", bytes(data))
    assert "method 9" in said
    assert "unpack it" in said


def test_xz_with_a_huge_dictionary_is_not_called_damaged(tmp_path: Path) -> None:
    data = lzma.compress(ROWS, filters=[{"id": lzma.FILTER_LZMA2, "preset": 0, "dict_size": 1 << 29}])
    said = complaint(tmp_path / "a.csv.xz", data)
    assert "more memory than 128 MB" in said
    assert "unpack it first" in said


def test_zstd_with_a_huge_window_is_not_called_damaged(tmp_path: Path) -> None:
    zstandard = pytest.importorskip("zstandard")
    settings = zstandard.ZstdCompressionParameters(window_log=28, chain_log=6, hash_log=6)
    packer = zstandard.ZstdCompressor(compression_params=settings).compressobj()  # a stream: it does not know its size
    data = b"".join([packer.compress(ROWS), packer.flush(zstandard.COMPRESSOBJ_FLUSH_BLOCK), packer.compress(ROWS),
                     packer.flush()])  # fmt: skip
    assert "more memory than 128 MB" in complaint(tmp_path / "a.csv.zst", data)


@pytest.mark.parametrize("data", [
    zipped(zipped(ROWS), name="inner.zip"), zipped(zipped(ROWS)), zipped(gzip.compress(ROWS), name="a.csv.gz"),
    gzip.compress(gzip.compress(ROWS)), gzip.compress(lzma.compress(ROWS)),
])  # fmt: skip
def test_what_is_packed_twice_is_to_be_unpacked_once(tmp_path: Path, data: bytes) -> None:
    assert "holds another packed file; unpack it once" in complaint(tmp_path / "a", data)
