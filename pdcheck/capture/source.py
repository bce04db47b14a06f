"""Where the bytes come from: a file, a pipe, standard input; plain or packed.

Why it is: every reader sees one object with ``head`` and ``readinto``, and need not know whether a FIFO, an
``.xz`` or a plain file is behind it. Everything that can go wrong with opening and reading is said here, once.

A plain file is read into the caller's buffer, never mapped: a mapped file that shrinks while it is read kills
the process, a read file only ends early. It is not judged then: what would be said of it is of no file that there is.
"""

from __future__ import annotations

import errno
import io
import os
import select
import stat
import sys
from collections.abc import Callable
from pathlib import Path

from pdcheck.capture.packed import unpacker_for
from pdcheck.errors import CaptureError

Progress = Callable[[int, int | None], None]

HEAD_BYTES = 1 << 16
_FIFO_WAIT_S = 5.0


class ByteSource:
    """A stream of bytes with a head that can be looked at before reading.

    :ivar path: as the user gave it.
    :ivar name: the file's name without a packing suffix; what suffix rules look at.
    """

    def __init__(self, path: str, progress: Progress | None = None) -> None:
        self.path = path
        self.name = path
        self._progress = progress
        self._taken = 0
        self._fd, own, self.total = _open(path)
        self._file = io.FileIO(self._fd, "rb", closefd=own)
        self._head = memoryview(b"")
        self._read: Callable[[memoryview], int] = self._read_fd
        try:
            self._fill_head(1 << 12)
            unpack = unpacker_for(bytes(self._head[:16]))
            if unpack is not None:
                raw_head, self._head = self._head, memoryview(b"")
                packed = unpack(self._packed_reader(raw_head), path, self._fd if self.total is not None else None)
                self._read = packed.readinto
                self.name = packed.inner_name or path
                self._fill_head(HEAD_BYTES)
                if unpacker_for(bytes(self._head[:16])) is not None:
                    raise CaptureError("holds another packed file", "unpack it once and name what comes out", path=path)
        except BaseException:
            self.close()
            raise

    @property
    def head(self) -> bytes:
        """Up to 64 KiB from the start of the (unpacked) stream, not yet consumed."""
        if len(self._head) < HEAD_BYTES:
            self._fill_head(HEAD_BYTES)
        return bytes(self._head)

    def readinto(self, target: memoryview) -> int:
        """Fill ``target`` as far as the stream goes; fewer bytes than asked means that it has ended."""
        got = 0
        if self._head:
            got = min(len(self._head), len(target))
            target[:got] = self._head[:got]
            self._head = self._head[got:]
        while got < len(target):
            more = self._read(target[got:])
            if more == 0:
                break
            got += more
        return got

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()
        # An unpacker written in C keeps hold of us where no collector sees it: a long watch would fill the memory.
        self._read, self._head = self._read_fd, memoryview(b"")

    def __enter__(self) -> ByteSource:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _fill_head(self, size: int) -> None:
        old = bytes(self._head)
        room = bytearray(size)
        got = len(old)
        room[:got] = old
        view = memoryview(room)
        while got < size:
            more = self._read(view[got:])
            if more == 0:
                break
            got += more
        self._head = view[:got]

    def _read_fd(self, target: memoryview) -> int:
        try:
            got = self._file.readinto(target) or 0
        except OSError as error:
            raise CaptureError(
                f"cannot be read ({error.strerror})", "check the file and the medium it is on", path=self.path
            ) from error
        self._taken += got
        if not got and self.total is not None and self._taken < self.total:
            raise CaptureError(
                "became shorter while it was read", "wait until nothing writes to it any more", path=self.path
            )
        if self._progress is not None:
            self._progress(self._taken, self.total)
        return got

    def _packed_reader(self, raw_head: memoryview) -> Callable[[int], bytes]:
        """A ``read(size)`` over the packed bytes, beginning with those already taken for sniffing."""
        rest = [bytes(raw_head)]

        def read(size: int) -> bytes:
            if rest:
                return rest.pop()
            room = bytearray(size)
            got = self._read_fd(memoryview(room))
            return bytes(memoryview(room)[:got])

        return read


def _open(path: str) -> tuple[int, bool, int | None]:
    """The descriptor, whether it is ours to close, and the size where there is one."""
    if path == "-":
        return _standard_input()
    try:
        fd = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except (OSError, ValueError) as error:
        raise CaptureError(*_why_not(error), path=path) from error
    try:
        mode = os.fstat(fd).st_mode
        if stat.S_ISDIR(mode):
            raise CaptureError("is a directory", "name a capture file in it", path=path)
        if _is_device(fd):
            raise CaptureError("is a device and no file", "name the file that the analyzer exported", path=path)
        if stat.S_ISFIFO(mode):
            _wait_for_writer(fd, path)
        if hasattr(os, "O_NONBLOCK"):
            os.set_blocking(fd, True)
        size = os.fstat(fd).st_size if stat.S_ISREG(mode) else None
    except BaseException:
        os.close(fd)
        raise
    return fd, True, size


def _is_device(fd: int) -> bool:
    """Whether bytes may come from it for ever; not so from the one that is always empty."""
    found = os.fstat(fd)
    return stat.S_ISCHR(found.st_mode) and found.st_rdev != Path(os.devnull).stat().st_rdev


def _why_not(error: OSError | ValueError) -> tuple[str, str]:
    if isinstance(error, FileNotFoundError):
        return "no such file", "check the name"
    if isinstance(error, PermissionError):
        return "may not be read", "check its permissions"
    if isinstance(error, OSError) and error.errno in (errno.ENXIO, errno.ENODEV):
        return "is not a file", "name a capture file"
    said = error.strerror if isinstance(error, OSError) else str(error)
    return f"cannot be opened ({said})", "check the name"


def _standard_input() -> tuple[int, bool, int | None]:
    try:
        fd = sys.stdin.fileno()
        mode = os.fstat(fd).st_mode
    except (AttributeError, OSError, ValueError) as error:
        raise CaptureError("standard input is closed", "pipe a capture into it or name a file", path="-") from error
    if os.isatty(fd):
        raise CaptureError("standard input is a terminal", "pipe a capture into it or name a file", path="-")
    if stat.S_ISDIR(mode):
        raise CaptureError("standard input is a directory", "pipe a capture into it or name a file", path="-")
    if _is_device(fd):
        raise CaptureError("standard input is a device", "pipe a capture into it or name a file", path="-")
    if stat.S_ISREG(mode):
        return fd, False, max(0, os.fstat(fd).st_size - os.lseek(fd, 0, os.SEEK_CUR))
    return fd, False, None


def _wait_for_writer(fd: int, path: str) -> None:
    """Opening a FIFO that nobody writes to would hang for ever; wait a little, then say so."""
    poll = select.poll()
    poll.register(fd, select.POLLIN)
    if not poll.poll(_FIFO_WAIT_S * 1000):
        raise CaptureError(
            f"is a FIFO into which nothing was written for {_FIFO_WAIT_S:.0f} s", "start the writer first", path=path
        )
