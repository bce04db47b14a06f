"""Where the frames of a zstd file begin and end (RFC 8878, section 3.1).

Why it is: the module that unpacks them ends quietly where the file does, in the middle of a frame as well as behind
the last one. Only the lengths in the file tell a file that was cut from a whole one.
"""

from __future__ import annotations

from collections.abc import Generator

FRAME = b"\x28\xb5\x2f\xfd"
SKIPPED_FRAMES = tuple(bytes([0x50 + n]) + b"\x2a\x4d\x18" for n in range(16))
"""The first bytes of frames that hold nothing of the content; some packers put one before the others."""

_DICTIONARY_ID_BYTES = (0, 1, 2, 4)
_CONTENT_SIZE_BYTES = (0, 2, 4, 8)
_RLE, _CHECKSUM_BYTES = 1, 4


class Frames:
    """Follows the packed bytes as they are read, a piece at a time; keeps none of them."""

    def __init__(self) -> None:
        self._walk = _walk()
        self._wanted = next(self._walk)
        self._got = b""
        self._known = True

    @property
    def whole(self) -> bool:
        """Whether the bytes so far end with a frame, or in what is no frame at all."""
        return not self._known or (self._wanted == 0 and not self._got)

    def follow(self, piece: bytes) -> None:
        """The next bytes of the file."""
        at = 0
        while self._known and at < len(piece):
            if self._wanted < 0:
                step = min(-self._wanted, len(piece) - at)
                self._wanted += step
                at += step
                if self._wanted < 0:
                    return
                self._go_on(b"")
                continue
            need = (self._wanted or len(FRAME)) - len(self._got)
            self._got += piece[at : at + need]
            at += need
            if at > len(piece):
                return
            got, self._got = self._got, b""
            self._go_on(got)

    def _go_on(self, got: bytes) -> None:
        try:
            self._wanted = self._walk.send(got)
        except StopIteration:
            self._known = False


def _walk() -> Generator[int, bytes, None]:
    """Asks for a number of bytes, or to pass over some (below 0), or for the start of a frame (0)."""
    while True:
        start = yield 0
        if start in SKIPPED_FRAMES:
            length = int.from_bytes((yield 4), "little")
            if length:
                yield -length
            continue
        if start != FRAME:
            return
        flags = (yield 1)[0]
        one_segment = flags >> 5 & 1
        content_size = _CONTENT_SIZE_BYTES[flags >> 6] or one_segment
        rest = (1 - one_segment) + _DICTIONARY_ID_BYTES[flags & 3] + content_size
        if rest:
            yield -rest
        last = 0
        while not last:
            header = int.from_bytes((yield 3), "little")
            last, kind, length = header & 1, header >> 1 & 3, header >> 3
            if kind == _RLE:
                length = 1
            if length:
                yield -length
        if flags & 4:
            yield -_CHECKSUM_BYTES
