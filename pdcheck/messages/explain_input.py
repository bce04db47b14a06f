"""Hex as people copy it, to bytes in wire order.

Why it is: logs, datasheets and other programs write the same word as ``0x2A01912C``, ``2C 91 01 2A`` or
``2c91012a``, with commas, colons or nothing between, and nobody should have to retype it.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from pdcheck.errors import InputError
from pdcheck.standard.sizes import CRC_BYTES, MOST_MESSAGE_BYTES

LONGEST = MOST_MESSAGE_BYTES + CRC_BYTES
"""Bytes of the longest message there can be, with both headers and CRC."""

_HOW = "write words such as 0x2A01912C, or bytes such as 2C 91 01 2A"
_BETWEEN = re.compile(r"[\s,;:|{}()\[\]\"'<>=./-]+")
_TOKEN = re.compile(r"(?:0x|\\x|#|\$|x)?([0-9a-f]+)h?", re.IGNORECASE)
_GLUED = re.compile(r"(?:\\x[0-9a-f]{2})+", re.IGNORECASE)


@dataclass(frozen=True)
class HexInput:
    """What was typed. ``data``: bytes in wire order. ``sizes``: how many bytes each piece had."""

    data: bytes
    sizes: tuple[int, ...]

    @property
    def words(self) -> tuple[int, ...]:
        """The data as 32-bit words; what does not fill one is left out."""
        whole = len(self.data) // 4 * 4
        return tuple(int.from_bytes(self.data[at : at + 4], "little") for at in range(0, whole, 4))


def read_hex(texts: Sequence[str], byte_order: str | None = None) -> HexInput:
    """The bytes that the texts mean.

    A piece of 3 to 4 or 5 to 8 digits is a 16-bit or 32-bit number, and after a 32-bit number any shorter
    piece is one too (``0`` among words). Single bytes before, and longer pieces, are bytes in the order they
    went over the wire.

    :param byte_order: ``"little"``: numbers too are written in wire order, lowest byte first. ``"big"``:
        single bytes and longer pieces too have the highest byte of each word first (a header of two bytes
        first, where the length says there is one).
    :raises InputError: something is not hexadecimal, or there is nothing, or too much.
    """
    if byte_order not in (None, "little", "big"):
        raise InputError(f"{_short(str(byte_order))} is no byte order", "use little or big")
    tokens = [_digits(token) for text in texts for token in _tokens(text)]
    if not tokens:
        raise InputError("there is nothing to explain", _HOW)
    if sum(len(token) for token in tokens) > 2 * LONGEST:
        raise InputError(f"more than {LONGEST} bytes, the longest message there is", "give one message at a time")
    pieces: list[bytes] = []
    sizes: list[int] = []
    loose = bytearray()

    def close() -> None:
        if loose:
            pieces.append(_swapped(bytes(loose)) if byte_order == "big" else bytes(loose))
            loose.clear()

    wide = False
    for token in tokens:
        if 2 < len(token) <= 8 or (wide and len(token) <= 2):
            close()
            wide = wide or len(token) > 4
            size = 4 if wide else 2
            number = int(token, 16).to_bytes(size, "big")
            pieces.append(number if byte_order == "little" else number[::-1])
            sizes.append(size)
        else:
            if len(token) % 2 and len(token) > 2:
                raise InputError(f"{_short(token)} has an odd number of digits", "give whole bytes")
            loose += bytes.fromhex(token.zfill(2))
            sizes.append(len(token.zfill(2)) // 2)
    close()
    return HexInput(b"".join(pieces), tuple(sizes))


def _tokens(text: str) -> list[str]:
    tokens: list[str] = []
    for token in _BETWEEN.split(text):
        glued = _GLUED.fullmatch(token)
        tokens.extend(token.replace("\\x", " ").replace("\\X", " ").split() if glued else [token])
    return [token for token in tokens if token]


def _digits(token: str) -> str:
    found = _TOKEN.fullmatch(token.replace("_", "")) if token.isascii() else None
    if found is None:
        raise InputError(f"'{_short(token)}' is not hexadecimal", _HOW)
    return found.group(1)


def _short(text: str) -> str:
    return text if len(text) <= 24 else text[:24] + "..."


def _swapped(data: bytes) -> bytes:
    """The bytes with each word turned round: a header of two bytes first where the length wants one."""
    head = len(data) % 4 if len(data) % 4 == 2 else 0
    swapped = data[:head][::-1]
    for at in range(head, len(data), 4):
        swapped += data[at : at + 4][::-1]
    return swapped


def split_crc(data: bytes, wanted: bool | None, message_bytes: int | None) -> tuple[bytes, str | None]:
    """The message without its CRC, and a note about it.

    :param wanted: True: there is a CRC; False: there is none; None: it is one if it is right, or if the
        header announces exactly four bytes less.
    :param message_bytes: how long the message is by its header; None where the header does not tell.
    :raises InputError: a CRC is said to be there and the bytes are too few for one.
    """
    if wanted is False or (wanted is None and len(data) < 6):
        return data, None
    if len(data) < 6:
        raise InputError("too short to end in a CRC", "a message with CRC has at least 6 bytes; or leave --crc out")
    body, last = data[:-4], int.from_bytes(data[-4:], "little")
    right = zlib.crc32(body)
    if last == right:
        return body, f"the last four bytes are the CRC of the rest, and right (0x{last:08X})"
    if wanted or (message_bytes is not None and message_bytes == len(body)):
        return body, f"the last four bytes, as CRC, are wrong: 0x{last:08X} instead of 0x{right:08X}"
    return data, None
