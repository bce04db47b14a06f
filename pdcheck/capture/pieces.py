"""Text that is made piece by piece, dealt out in the sizes that its reader asks for.

Why it is: whoever rewrites a text on its way (another code, other cells) makes pieces of a size of their own.
"""

from __future__ import annotations

from collections.abc import Iterator


class Dealt:
    """Pieces as a stream.

    :param pieces: made one after another, when they are needed.
    """

    def __init__(self, pieces: Iterator[bytes]) -> None:
        self._pieces = pieces
        self._left = b""

    def readinto(self, target: memoryview) -> int:
        """Fill ``target`` as far as the pieces go; fewer bytes than asked means that they have ended."""
        got = 0
        while got < len(target):
            if not self._left:
                piece = next(self._pieces, None)
                if piece is None:
                    break
                self._left = piece
                continue
            now = self._left[: len(target) - got]
            target[got : got + len(now)] = now
            self._left = self._left[len(now) :]
            got += len(now)
        return got
