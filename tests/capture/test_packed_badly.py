"""Packed files that would take all memory, or that are no capture yet: one clear line each."""

from __future__ import annotations

import gc
import gzip
import io
import lzma
import tracemalloc
import weakref
import zipfile
from pathlib import Path

import pytest

from pdcheck.capture import open_capture
from pdcheck.capture.model import DigitalLine
from pdcheck.capture.source import ByteSource
from pdcheck.capture.zstd_frames import Frames
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


def zstd(data: bytes, *, checksum: bool = True, streamed: bool = False, finished: bool = True) -> bytes:
    zstandard = pytest.importorskip("zstandard")
    packer = zstandard.ZstdCompressor(write_checksum=checksum)
    if not streamed:
        return bytes(packer.compress(data))
    stream = packer.compressobj()
    end = zstandard.COMPRESSOBJ_FLUSH_FINISH if finished else zstandard.COMPRESSOBJ_FLUSH_BLOCK
    return bytes(stream.compress(data) + stream.flush(end))


def skipped(content: bytes, number: int = 0) -> bytes:
    # RFC 8878, 3.1.2: 0x184D2A50 to 0x184D2A5F, the size, the content.
    return (0x184D2A50 + number).to_bytes(4, "little") + len(content).to_bytes(4, "little") + content


@pytest.mark.parametrize("streamed", [False, True])
@pytest.mark.parametrize("checksum", [False, True])
@pytest.mark.parametrize("keep", [5, 6, 12, "half", -9, -4, -1])
def test_a_zstd_file_that_was_cut_is_not_judged(
    tmp_path: Path, keep: int | str, checksum: bool, streamed: bool
) -> None:
    data = zstd(ROWS, checksum=checksum, streamed=streamed)
    cut = data[: len(data) // 2] if keep == "half" else data[: int(keep)]
    said = complaint(tmp_path / "a.csv.zst", cut)
    assert "its zstd data ends early" in said
    assert "copy the file again" in said


@pytest.mark.parametrize("data", [b"Time [s],CC1\n0.0,1\n1.0,0\n", ROWS])
def test_a_zstd_stream_that_nobody_finished_is_not_judged(tmp_path: Path, data: bytes) -> None:
    assert "its zstd data ends early" in complaint(tmp_path / "a.csv.zst", zstd(data, streamed=True, finished=False))


def test_a_zstd_file_cut_in_its_second_frame_is_not_judged(tmp_path: Path) -> None:
    whole, second = zstd(ROWS[:20_000]), zstd(ROWS[20_000:])
    assert "its zstd data ends early" in complaint(tmp_path / "a.csv.zst", whole + second[:-6])
    assert "its zstd data ends early" in complaint(tmp_path / "b.csv.zst", whole + skipped(b"abcdef")[:-2])
    assert "its zstd data ends early" in complaint(tmp_path / "c.csv.zst", whole + second[:3])


def test_something_else_behind_a_zstd_frame_is_not_passed_over(tmp_path: Path) -> None:
    assert "its zstd data is damaged" in complaint(tmp_path / "a.csv.zst", zstd(ROWS) + b"0.1,1\n0.2,0\n")


def test_a_zstd_file_of_several_frames_is_read_whole(tmp_path: Path) -> None:
    plain, packed = tmp_path / "a.csv", tmp_path / "a.csv.zst"
    plain.write_bytes(ROWS)
    packed.write_bytes(
        skipped(b"", 15) + zstd(ROWS[:9], streamed=True) + zstd(b"") + skipped(b"x" * 300_000, 3)
        + zstd(ROWS[9:20_000], checksum=False) + zstd(ROWS[20_000:], streamed=True) + skipped(b"abc", 1)
    )  # fmt: skip
    one, other = open_capture(plain), open_capture(packed)
    assert one.duration_s == other.duration_s
    (line,), (same,) = one.lines, other.lines
    assert isinstance(line, DigitalLine)
    assert isinstance(same, DigitalLine)
    assert len(line.edges_s) > 50
    assert line.edges_s.tolist() == same.edges_s.tolist()


@pytest.mark.parametrize("piece", [1, 2, 3, 7, 1000])
def test_frames_are_followed_in_pieces_of_any_size(piece: int) -> None:
    frames = Frames()
    ends = []
    at = 0
    for part in (zstd(ROWS), skipped(b"abcde"), zstd(ROWS * 30, streamed=True, checksum=False), zstd(b"x")):
        for start in range(0, len(part), piece):
            frames.follow(part[start : start + piece])
            at += len(part[start : start + piece])
            if frames.whole:
                ends.append(at)
        assert ends[-1] == at
    assert len(ends) == 4


def test_a_zstd_source_goes_when_it_is_closed(tmp_path: Path) -> None:
    (tmp_path / "a.csv.zst").write_bytes(zstd(ROWS))
    source = ByteSource(str(tmp_path / "a.csv.zst"))
    gone = weakref.ref(source)
    source.readinto(memoryview(bytearray(1000)))
    source.close()
    del source
    gc.collect()
    assert gone() is None


def test_silence_in_zstd_takes_no_memory(tmp_path: Path) -> None:
    data = zstd(ROWS + b"\n" * (64 << 20), streamed=True)
    tracemalloc.start()
    try:
        assert "lines without data" in complaint(tmp_path / "a.csv.zst", data)
        assert tracemalloc.get_traced_memory()[1] < 16 << 20
    finally:
        tracemalloc.stop()
