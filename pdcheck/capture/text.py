"""A source as plain text bytes with ``\\n`` line ends.

Why it is: UTF-16 and lone carriage returns are met here once, so that the readers of lines see one kind of text.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable

from pdcheck.capture.sniff import utf16_codec
from pdcheck.capture.source import ByteSource
from pdcheck.errors import CaptureError

_PIECE = 1 << 16
#: Digits, signs and marks as wide as the characters of East Asia, and the minus of typesetters, as UTF-8.
_WIDE = re.compile(rb"\xef\xbc[\x8b-\x8e\x90-\x99\x9b]|\xe2\x88\x92")
_PLAIN = {0x2212: 0x2D, 0x3000: 0x20, **{code: code - 0xFEE0 for code in range(0xFF01, 0xFF5F)}}


def text_reader(source: ByteSource) -> Callable[[memoryview], int]:
    """A ``readinto`` over the source's text: UTF-8 or a single-byte code, no byte-order mark, no lone CR.

    Carriage returns before a line feed stay; they are white space to the readers. The function fills its
    target, and gives fewer bytes only at the end. Wide digits and marks, where the first bytes have them, are made
    plain.
    """
    lines = _lines_reader(source)
    wide = not source.head.isascii() and _WIDE.search(source.head) is not None
    return _Plain(lines).readinto if wide else lines


def _lines_reader(source: ByteSource) -> Callable[[memoryview], int]:
    head = source.head
    codec = utf16_codec(head)
    if codec is not None:
        return _Recoded(source, codec).readinto
    if head.startswith(codecs.BOM_UTF8):
        source.readinto(memoryview(bytearray(len(codecs.BOM_UTF8))))
    if b"\r" in head and b"\n" not in head:
        return _LoneReturns(source).readinto
    return source.readinto


class _Recoded:
    """UTF-16 as UTF-8."""

    def __init__(self, source: ByteSource, codec: str) -> None:
        self._source = source
        self._decode = codecs.getincrementaldecoder(codec)()
        self._piece = memoryview(bytearray(_PIECE))
        self._left = b""
        self._start = True
        self._ended = False
        self._carriage = False

    def readinto(self, target: memoryview) -> int:
        got = 0
        while got < len(target):
            if not self._left:
                if self._ended:
                    break
                self._more()
                continue
            now = self._left[: len(target) - got]
            target[got : got + len(now)] = now
            self._left = self._left[len(now) :]
            got += len(now)
        return got

    def _more(self) -> None:
        size = self._source.readinto(self._piece)
        self._ended = size < len(self._piece)
        try:
            text = self._decode.decode(bytes(self._piece[:size]))
        except UnicodeDecodeError as error:
            raise CaptureError(
                "is not proper UTF-16 text", "export it again as plain text", path=self._source.path
            ) from error
        if self._start:
            self._start = False
            text = text.removeprefix("\ufeff")
            self._carriage = "\r" in text and "\n" not in text
        if self._carriage:
            text = text.replace("\r", "\n")
        self._left = text.encode("utf-8", "replace")


class _Plain:
    """Wide characters as the plain ones that they stand for."""

    def __init__(self, fill: Callable[[memoryview], int]) -> None:
        self._fill = fill
        self._piece = memoryview(bytearray(_PIECE))
        self._decode = codecs.getincrementaldecoder("utf-8")("surrogateescape")
        self._left = b""
        self._ended = False

    def readinto(self, target: memoryview) -> int:
        got = 0
        while got < len(target):
            if not self._left:
                if self._ended:
                    break
                size = self._fill(self._piece)
                self._ended = size < len(self._piece)
                text = self._decode.decode(bytes(self._piece[:size]), self._ended)
                self._left = (text if text.isascii() else text.translate(_PLAIN)).encode("utf-8", "surrogateescape")
                continue
            now = self._left[: len(target) - got]
            target[got : got + len(now)] = now
            self._left = self._left[len(now) :]
            got += len(now)
        return got


class _LoneReturns:
    """CR as line end."""

    def __init__(self, source: ByteSource) -> None:
        self._source = source

    def readinto(self, target: memoryview) -> int:
        got = self._source.readinto(target)
        target[:got] = bytes(target[:got]).replace(b"\r", b"\n")
        return got
