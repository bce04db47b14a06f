"""Packed files, by their first bytes, as plain streams.

Why it is: packing is met once for all formats. Every unpacker here hands out a bounded piece at a time, so a
file that unpacks to terabytes costs time and no memory. How far it unpacks is no sign of malice (silence packs
a thousand to one); what is in it is judged by the readers, which refuse endless lines and endless nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from pdcheck.errors import CaptureError

Read = Callable[[int], bytes]
_PIECE = 1 << 17


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
        self._first = True

    def readinto(self, target: memoryview) -> int:
        while self._now is not None:
            try:
                data = b""
                if self._now.needs_input:
                    data = self._read(_PIECE)
                    if not data:
                        self._cut()
                out = self._now.decompress(data, len(target))
            except CaptureError:
                raise
            except Exception as error:  # each module has errors of its own, and they only mean this
                raise CaptureError(
                    f"its {self._kind} data is damaged", "copy the file again from where it came", path=self._path
                ) from error
            if self._now.eof:
                self._next_member(self._now.unused_data)
            if out:
                target[: len(out)] = out
                return len(out)
        return 0

    def _cut(self) -> None:
        raise CaptureError(
            f"its {self._kind} data ends early", "copy the file again from where it came", path=self._path
        )

    def _next_member(self, rest: bytes) -> None:
        rest = (rest or self._read(_PIECE)).lstrip(b"\0")
        self._now = None
        if not rest:
            return
        self._now = self._make()
        pushed, read = [rest], self._read

        def after(size: int) -> bytes:
            return pushed.pop() if pushed else read(size)

        self._read = after


def _without_suffix(path: str) -> str:
    stem, dot, suffix = path.rpartition(".")
    return stem if dot and suffix.lower() in ("gz", "xz", "bz2", "zst", "lzma") else path


def _gzip(read: Read, path: str, _fd: int | None) -> Packed:
    return _Members(read, path, "gzip", lambda: _Zlib(31))


def _bz2(read: Read, path: str, _fd: int | None) -> Packed:
    import bz2

    return _Members(read, path, "bzip2", bz2.BZ2Decompressor)


def _xz(read: Read, path: str, _fd: int | None) -> Packed:
    import lzma

    return _Members(read, path, "xz", lambda: lzma.LZMADecompressor(memlimit=160 << 20))


_MAGIC: dict[bytes, Unpacker] = {
    b"\x1f\x8b\x08": _gzip,
    b"BZh": _bz2,
    b"\xfd7zXZ\0": _xz,
}


def unpacker_for(head: bytes) -> Unpacker | None:
    """The unpacker whose magic bytes stand at the start of ``head``."""
    for magic, unpacker in _MAGIC.items():
        if head.startswith(magic):
            return unpacker
    return None
