"""A source as plain text bytes with ``\\n`` line ends.

Why it is: UTF-16 and lone carriage returns are met here once, so that the readers of lines see one kind of text.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Callable, Iterator

from pdcheck.capture.pieces import Dealt
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
    return Dealt(_plain(lines)).readinto if wide else lines


def _lines_reader(source: ByteSource) -> Callable[[memoryview], int]:
    head = source.head
    codec = utf16_codec(head)
    if codec is not None:
        return Dealt(_recoded(source, codec)).readinto
    if head.startswith(codecs.BOM_UTF8):
        source.readinto(memoryview(bytearray(len(codecs.BOM_UTF8))))
    if b"\r" in head and b"\n" not in head:
        return _LoneReturns(source).readinto
    return source.readinto


def _recoded(source: ByteSource, codec: str) -> Iterator[bytes]:
    """UTF-16 as UTF-8."""
    decoder = codecs.getincrementaldecoder(codec)()
    room = memoryview(bytearray(_PIECE))
    first, ended, carriage = True, False, False
    while not ended:
        size = source.readinto(room)
        ended = size < len(room)
        try:
            text = decoder.decode(bytes(room[:size]))
        except UnicodeDecodeError as error:
            raise CaptureError(
                "is not proper UTF-16 text", "export it again as plain text", path=source.path
            ) from error
        if first:
            first = False
            text = text.removeprefix("\ufeff")
            carriage = "\r" in text and "\n" not in text
        if carriage:
            text = text.replace("\r", "\n")
        yield text.encode("utf-8", "replace")


def _plain(fill: Callable[[memoryview], int]) -> Iterator[bytes]:
    """Wide characters as the plain ones that they stand for."""
    decoder = codecs.getincrementaldecoder("utf-8")("surrogateescape")
    room = memoryview(bytearray(_PIECE))
    ended = False
    while not ended:
        size = fill(room)
        ended = size < len(room)
        text = decoder.decode(bytes(room[:size]), ended)
        yield (text if text.isascii() else text.translate(_PLAIN)).encode("utf-8", "surrogateescape")


class _LoneReturns:
    """CR as line end."""

    def __init__(self, source: ByteSource) -> None:
        self._source = source

    def readinto(self, target: memoryview) -> int:
        got = self._source.readinto(target)
        target[:got] = bytes(target[:got]).replace(b"\r", b"\n")
        return got
