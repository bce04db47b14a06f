"""The part of a text file that is being looked at, in one place of memory.

Why it is: rows are read where they lie, by several readers in turn, some of which look a few bytes before or behind
a row; so the bytes stay in one buffer with a margin on both sides, and what is done with is dropped from its front.
"""

from __future__ import annotations

import numpy as np

from pdcheck.capture.csv_dressed import HEAD, undressed
from pdcheck.capture.source import ByteSource
from pdcheck.capture.text import text_reader
from pdcheck.errors import CaptureError

BLOCK = 1 << 22
MARGIN = 64


class LineBuffer:
    """A buffer of whole lines.

    :ivar room: the buffer, and ``data`` the same as an array; the text begins at ``MARGIN``.
    :ivar stop: where the text in it ends.
    :ivar ended: nothing follows.
    """

    def __init__(self, source: ByteSource) -> None:
        self._path = source.path
        self._fill = text_reader(source)
        self.room = bytearray(max(BLOCK, HEAD) + 2 * MARGIN)
        self.data = np.frombuffer(self.room, np.uint8)
        self._view = memoryview(self.room)
        self.stop = MARGIN
        self._ahead = self._look_at_cells()
        self.ended = False
        self._last_line = b""

    def _look_at_cells(self) -> int:
        """Have cells made plain where they need it; how many bytes behind ``stop`` are there already.

        To look, the first of them were read to where they belong: untouched memory is dear, and most cells are plain.
        """
        head = self._view[MARGIN : MARGIN + HEAD]
        got = self._fill(head)
        plain = undressed(head[:got], self._fill, ended=got < HEAD)
        if plain is None:
            return got
        self._fill = plain
        return 0

    @property
    def full(self) -> bool:
        """No more fits."""
        return self.stop == MARGIN + BLOCK

    def more(self, size: int = BLOCK) -> None:
        """Read on, until ``size`` bytes are there."""
        there = max(0, min(self._ahead, MARGIN + size - self.stop))
        self._ahead -= there
        self.stop += there
        if self._ahead:
            return
        room = self._view[self.stop : MARGIN + size]
        got = self._fill(room)
        self.ended = got < len(room)
        self.stop += got

    def lines_end(self) -> int:
        """Where the last whole line ends; at the end of the file any line is whole. ``MARGIN`` where there is none."""
        return self.stop if self.ended else max(self.room.rfind(b"\n", MARGIN, self.stop) + 1, MARGIN)

    def drop(self, before: int) -> None:
        """Let go of everything before this place."""
        if before > MARGIN:
            self._last_line = self.line_before(before)
        gone = before - MARGIN
        end = self.stop + self._ahead
        self._view[MARGIN : end - gone] = self._view[before:end]
        self.stop -= gone

    def line_before(self, start: int) -> bytes:
        """The line that ends at ``start``, without its line end; it may have been dropped."""
        if start == MARGIN:
            return self._last_line
        begin = self.room.rfind(b"\n", MARGIN, start - 1) + 1
        return bytes(self._view[max(begin, MARGIN) : start - 1])

    def line_end(self, start: int, limit: int) -> int:
        """Where the line around ``start`` ends; ``limit`` where that is sooner."""
        return (self.room.find(b"\n", start, limit) + 1) or limit

    def text(self, start: int, end: int) -> bytes:
        """Some of the text."""
        return bytes(self._view[start:end])

    def first_lines(self) -> list[str]:
        """The lines in it; without the last one where it may go on.

        :raises CaptureError: not even one line fits.
        """
        text = self.text(MARGIN, self.stop)
        try:
            shown = text.decode()
        except UnicodeDecodeError as error:
            cut_at_end = not self.ended and error.start >= len(text) - 4
            shown = text[: error.start].decode() if cut_at_end else text.decode("latin-1")
        lines = shown.split("\n")
        if "\r" in shown:
            lines = [line.rstrip("\r") for line in lines]
        if not self.ended or not lines[-1]:
            lines.pop()
        if not lines and self.full:
            raise self.too_long(1)
        return lines

    def too_long(self, line: int) -> CaptureError:
        """What is wrong where no line end comes."""
        return CaptureError(
            f"the line is longer than {BLOCK:,} bytes", "this is no export of rows; export as CSV or VCD",
            path=self._path, line=line,
        )  # fmt: skip
