"""Packed files, by their first bytes, as plain streams.

Why it is: packing is met once for all formats. Every unpacker here hands out a bounded piece at a time, so a
file that unpacks to terabytes costs time and no memory. How far it unpacks is no sign of malice (silence packs
a thousand to one); what is in it is judged by the readers, which refuse endless lines and endless nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from typing import Any, Protocol

from pdcheck.capture import zstd_frames
from pdcheck.errors import CaptureError

Read = Callable[[int], bytes]
_PIECE = 1 << 17
#: What the names of packed files end in; a zip may hold a file of any name.
SUFFIXES = (".gz", ".xz", ".bz2", ".zst", ".zip")
_MOST_MEMORY = 1 << 27  # of an unpacker; the room as a whole stays below a quarter of a gigabyte


class Packed(Protocol):
    """An unpacked stream.

    :ivar inner_name: the name without the packing suffix, or the name kept inside; empty where unknown.
    """

    inner_name: str

    def readinto(self, target: memoryview) -> int:
        """Put unpacked bytes into ``target``; 0 at the end."""
        ...


Unpacker = Callable[[Read, str, "int | None"], Packed]


class _Decompressor(Protocol):
    """What bz2 and lzma (and, behind :class:`_Zlib`, zlib) offer."""

    @property
    def eof(self) -> bool: ...
    @property
    def needs_input(self) -> bool: ...
    @property
    def unused_data(self) -> bytes: ...
    def decompress(self, data: bytes, max_length: int = -1) -> bytes: ...


class _Zlib:
    """zlib's decompressor with the manners of bz2's and lzma's."""

    def __init__(self, window_bits: int) -> None:
        import zlib

        self._inner = zlib.decompressobj(window_bits)

    @property
    def eof(self) -> bool:
        return self._inner.eof

    @property
    def needs_input(self) -> bool:
        return not self._inner.unconsumed_tail

    @property
    def unused_data(self) -> bytes:
        return self._inner.unused_data

    def decompress(self, data: bytes, max_length: int = -1) -> bytes:
        return self._inner.decompress(self._inner.unconsumed_tail + data, max_length)


class _Members:
    """Packed members one after another, as gzip, bzip2 and xz allow."""

    def __init__(self, read: Read, path: str, kind: str, make: Callable[[], _Decompressor]) -> None:
        self.inner_name = _without_suffix(path)
        self._read = read
        self._path = path
        self._kind = kind
        self._make = make
        self._now: _Decompressor | None = make()
        self._pushed = b""

    def readinto(self, target: memoryview) -> int:
        while self._now is not None:
            try:
                data = b""
                if self._now.needs_input:
                    data = self._more()
                    if not data:
                        raise _cut(self._kind, self._path)
                out = self._now.decompress(data, len(target))
            except CaptureError:
                raise
            except Exception as error:  # each module has errors of its own, and they only mean this
                raise _unusable(self._kind, self._path, error) from error
            if self._now.eof:
                self._next_member(self._now.unused_data)
            if out:
                target[: len(out)] = out
                return len(out)
        return 0

    def _next_member(self, rest: bytes) -> None:
        rest = (rest or self._read(_PIECE)).lstrip(b"\0")
        self._now = self._make() if rest else None
        self._pushed = rest

    def _more(self) -> bytes:
        if self._pushed:
            data, self._pushed = self._pushed, b""
            return data
        return self._read(_PIECE)


class _Zstandard:
    """A zstd stream by the module zstandard."""

    def __init__(self, module: Any, read: Read, path: str) -> None:
        self.inner_name = _without_suffix(path)
        self._path = path
        self._frames = zstd_frames.Frames()
        packer = module.ZstdDecompressor(max_window_size=_MOST_MEMORY)
        followed = _Followed(read, self._frames)
        self._stream: Any = packer.stream_reader(followed, read_size=_PIECE, read_across_frames=True)

    def readinto(self, target: memoryview) -> int:
        try:
            got = int(self._stream.readinto(target))
        except CaptureError:
            raise
        except Exception as error:  # the module has errors of its own, and they only mean this
            raise _unusable("zstd", self._path, error) from error
        if not got and not self._frames.whole:
            raise _cut("zstd", self._path)
        return got


class _Followed:
    """A function as an object with ``read``; what it reads is followed."""

    def __init__(self, read: Read, frames: zstd_frames.Frames) -> None:
        self._read = read
        self._frames = frames

    def read(self, size: int) -> bytes:
        piece = self._read(size)
        self._frames.follow(piece)
        return piece


def _cut(kind: str, path: str) -> CaptureError:
    return CaptureError(f"its {kind} data ends early", "copy the file again from where it came", path=path)


def _unusable(kind: str, path: str, error: Exception) -> CaptureError:
    # Both libraries say it in these words; neither has an error of its own for it.
    if "memory" in str(error).lower():
        return CaptureError(f"its {kind} data wants more memory than {_MOST_MEMORY >> 20} MB to unpack",
                            "unpack it first", path=path)  # fmt: skip
    return CaptureError(f"its {kind} data is damaged", "copy the file again from where it came", path=path)


def _without_suffix(path: str) -> str:
    stem, dot, suffix = path.rpartition(".")
    return stem if dot + suffix.lower() in SUFFIXES else path


def _gzip(read: Read, path: str, _fd: int | None) -> Packed:
    return _Members(read, path, "gzip", lambda: _Zlib(31))


def _bz2(read: Read, path: str, _fd: int | None) -> Packed:
    import bz2

    return _Members(read, path, "bzip2", bz2.BZ2Decompressor)


def _xz(read: Read, path: str, _fd: int | None) -> Packed:
    import lzma

    return _Members(read, path, "xz", lambda: lzma.LZMADecompressor(memlimit=_MOST_MEMORY))


def _zstd(read: Read, path: str, _fd: int | None) -> Packed:
    module: Any  # neither is there everywhere: the first from Python 3.14 on, the second where it is installed
    try:
        module = import_module("compression.zstd")
    except ImportError:
        try:
            module = import_module("zstandard")
        except ImportError:
            raise CaptureError(
                "is packed with zstd, for which Python has no module here",
                "install one (pip install zstandard) or unpack the file first (zstd -d)", path=path,
            ) from None  # fmt: skip
        return _Zstandard(module, read, path)
    return _Members(read, path, "zstd", module.ZstdDecompressor)


def _zip(read: Read, path: str, fd: int | None) -> Packed:
    from pdcheck.capture.zipped import Zipped

    return Zipped(read, fd, path)


_MAGIC: dict[bytes, Unpacker] = {
    b"\x1f\x8b\x08": _gzip,
    b"BZh": _bz2,
    b"\xfd7zXZ\0": _xz,
    zstd_frames.FRAME: _zstd,
    **dict.fromkeys(zstd_frames.SKIPPED_FRAMES, _zstd),
    b"PK\x03\x04": _zip,
    b"PK\x05\x06": _zip,
}


def unpacker_for(head: bytes) -> Unpacker | None:
    """The unpacker whose magic bytes stand at the start of ``head``."""
    for magic, unpacker in _MAGIC.items():
        if head.startswith(magic):
            return unpacker
    return None
