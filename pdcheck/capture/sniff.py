"""What a file is, by its first bytes.

Why it is: suffixes lie (``.csv`` for anything, ``.txt`` for everything); contents seldom do.
"""

from __future__ import annotations

import codecs
import re

_OTHERWISE: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n", "a picture (PNG)"),
    (b"GIF87a", "a picture (GIF)"),
    (b"GIF89a", "a picture (GIF)"),
    (b"\xff\xd8\xff\xe0", "a picture (JPEG)"),
    (b"\xff\xd8\xff\xe1", "a picture (JPEG)"),
    (b"\xff\xd8\xff\xdb", "a picture (JPEG)"),
    (b"%PDF-", "a PDF document"),
    (b"\x7fELF", "a program"),
    (b"SQLite format 3\0", "a database"),
    (b"\x93NUMPY", "an array of a numerical library"),
    (b"\x89HDF\r\n", "a container of arrays (HDF5)"),
    (b"PAR1", "a table in columns (Parquet)"),
    (b"\xd4\xc3\xb2\xa1", "a capture of network packets"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an office document"),
)

_VCD_START = re.compile(
    rb"\s*\$(?:date|version|comment|timescale|scope|var|upscope|enddefinitions|dumpvars|attrbegin)\b"
)
#: How much of a file's beginning must be text, or of how many bytes, for it to be a text in spite of zero bytes. Our
#: own choice.
_MOSTLY, _MUCH_TEXT = 0.95, 200
_KINDS = 8  # of characters in a text with times; samples of a few channels take few values
_ROW_START = re.compile(rb"\s*[\"']?[+-]?[.,]?[0-9]")
# Control characters that no text export holds; tab, line ends, form feed and the old end-of-file mark may stand.
_NOT_TEXT = bytes(c for c in range(32) if c not in b"\t\n\r\f\x1a\x1b") + b"\x7f"


def known_otherwise(head: bytes) -> str | None:
    """What well-known thing this is that is no capture."""
    for magic, name in _OTHERWISE:
        if head.startswith(magic):
            return name
    if head[:4] == b"RIFF" and head[8:12] == b"WAVE":
        return "a sound file (WAV)"
    start = head[:200].lstrip().lower()
    if start.startswith((b"<!doctype html", b"<html")):
        return "a web page"
    return None


def is_tar(head: bytes) -> bool:
    """Is it a tar archive (POSIX.1-1988 and later; what is older has no mark)?"""
    return head[257:262] == b"ustar"


def utf16_codec(head: bytes) -> str | None:
    """The codec of a UTF-16 text, with a byte-order mark or plainly recognisable without."""
    if head.startswith(codecs.BOM_UTF16_LE):
        return "utf-16-le"
    if head.startswith(codecs.BOM_UTF16_BE):
        return "utf-16-be"
    sample = head[: min(len(head), 256) & ~1]
    if len(sample) >= 8:
        even, odd = sample[0::2], sample[1::2]
        for codec, letters, zeros in (("utf-16-le", even, odd), ("utf-16-be", odd, even)):
            if not any(zeros) and letters.translate(None, _NOT_TEXT) == letters:
                return codec
    return None


def looks_like_text(head: bytes) -> bool:
    """Could this be lines of text?"""
    if utf16_codec(head) is not None:
        return True
    return head.translate(None, _NOT_TEXT) == head


def looks_like_rows(head: bytes) -> bool:
    """Is it lines, and one of the first begins as a number does? Bytes of samples can happen to be characters."""
    start = _plain_start(head)
    if b"\n" not in start and b"\r" not in start:
        return False
    return any(_ROW_START.match(line) for line in start.splitlines())


def zero_byte_in_text(head: bytes) -> int | None:
    """The line of the first zero byte in what is rows of text otherwise; None where there is none, or no such text.

    A disk or a writer that failed leaves them, a few or all to the end. Samples are no rows, whatever their bytes.
    """
    first = head.find(b"\0")
    if first < 0 or utf16_codec(head) is not None or not looks_like_rows(head):
        return None
    text = head.replace(b"\0", b"")
    if not looks_like_text(text) or len(set(text)) < _KINDS or (len(text) < _MOSTLY * len(head) and first < _MUCH_TEXT):
        return None
    return head.count(b"\n", 0, first) + 1


def looks_like_vcd(head: bytes) -> bool:
    """Does it begin as IEEE 1364 value change dumps do?"""
    return _VCD_START.match(_plain_start(head)) is not None


def _plain_start(head: bytes) -> bytes:
    """The first bytes as UTF-8 or a single-byte code, without a byte-order mark."""
    codec = utf16_codec(head)
    start = head[: 1 << 14]
    if codec is not None:
        start = start[: len(start) & ~1].decode(codec, "replace").lstrip("\ufeff").encode("utf-8", "replace")
    return start.removeprefix(codecs.BOM_UTF8)
