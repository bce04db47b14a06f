"""Value change dumps (IEEE 1364-2005, clause 18).

Why it is: the second thing every analyzer can export, and the one whose meaning a standard says. The body is read
in blocks of whole lines; a level that is unknown (x) or not driven (z) leaves the line where it was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture.lines import EdgeBuilder, check_apart
from pdcheck.capture.model import AnalogLine, Capture, Line, Role
from pdcheck.capture.registry import ReadOptions
from pdcheck.capture.source import ByteSource
from pdcheck.capture.text import text_reader
from pdcheck.capture.vcd_header import Variable, read_header
from pdcheck.capture.vcd_words import HELD, HIGH, LOW, MARGIN, NO_LEVEL, Block, WordReader, real_number
from pdcheck.capture.waves import ReadValues, WaveBuilder, check_room
from pdcheck.errors import CaptureError

BLOCK = 1 << 18
_MOST_HEADER = 8 << 20
_LEVELS = {**dict.fromkeys(LOW, 0), **dict.fromkeys(HIGH, 1)}
#: Times no finer than this limit what the dump can show, as a sampling step does; finer ones hide it.
_COARSE_TICK_S = 0.9e-6


def read_vcd(source: ByteSource, options: ReadOptions) -> Capture:
    """Read a value change dump.

    :raises CaptureError: its declarations or a line of it cannot be used.
    """
    return _VcdFile(source, options).read()


class _Scalar:
    """A variable of one bit or of several: its lanes from the most significant down."""

    def __init__(self, variable: Variable) -> None:
        self.lanes = [EdgeBuilder(name, variable.role) for name in variable.bits]
        self.known = [False] * len(self.lanes)
        self.pending: list[list[float]] = [[] for _ in self.lanes]

    def set(self, values: bytes, now: float) -> None:
        """Set the lanes, one byte a lane."""
        for lane, value in enumerate(values):
            said = _LEVELS.get(value)
            if said is None:
                continue
            builder = self.lanes[lane]
            if not self.known[lane]:
                self.known[lane] = True
                builder.initial = builder.level = said
            elif said != builder.level:
                builder.level = said
                self.pending[lane].append(now)

    def take(self, times: NDArray[np.float64], values: NDArray[np.uint8]) -> None:
        """Take many values of each lane: a row a lane, and what is neither 0 nor 1 leaves the lane as it is."""
        for lane, row in enumerate(values):
            said = row < HELD
            if not said.all():
                row, at = row[said], times[said]
            else:
                at = times
            if len(row):
                self.known[lane] = True
                self.lanes[lane].add(at, row)

    def flush(self) -> None:
        """Hand the pending edges to the builders."""
        for builder, pending in zip(self.lanes, self.pending, strict=True):
            if pending and not builder.given_up:
                builder.edges.push(np.array(pending))
            pending.clear()


class _Real:
    """A real variable."""

    def __init__(self, variable: Variable, share: int) -> None:
        self.wave = WaveBuilder(variable.name, variable.role, variable.unit, variable.factor, share)
        self.times: list[float] = []
        self.values: list[float] = []

    def set(self, value: float, now: float) -> None:
        """Take a value."""
        self.times.append(now)
        self.values.append(value)

    def take(self, times: NDArray[np.float64], values: NDArray[np.float64]) -> None:
        """Take many values."""
        rows, kept = self.wave.select(ReadValues(values))
        self.wave.push(times[rows], kept)

    def flush(self) -> None:
        """Hand the pending values to the builder."""
        if self.values:
            self.take(np.array(self.times), np.array(self.values))
            self.times, self.values = [], []


class _VcdFile:
    """One dump being read."""

    def __init__(self, source: ByteSource, options: ReadOptions) -> None:
        self._path = source.path
        self._options = options
        self._fill = text_reader(source)
        self._buffer = bytearray(BLOCK + 2 * MARGIN)
        self._data = np.frombuffer(self._buffer, np.uint8)
        self._view = memoryview(self._buffer)[MARGIN : MARGIN + BLOCK]
        self._held = 0
        self._ended = False
        self._line = 1
        self._first: int | None = None
        self._now: int | None = None
        self._vector: bytes | None = None
        self._comment = False

    def read(self) -> Capture:
        """Read it all."""
        header = read_header(self._header_text(), self._path, self._options.roles)
        if not header.variables:
            raise CaptureError("declares no variables", "export the channels too", path=self._path)
        reals = sum(variable.real for variable in header.variables)
        self._scalars = {v.code: _Scalar(v) for v in header.variables if not v.real}
        self._reals = {v.code: _Real(v, reals) for v in header.variables if v.real}
        self._words = WordReader({v.code: len(v.bits) for v in header.variables if v.real or v.bits})
        while True:
            end = self._held if self._ended else self._whole()
            if end:
                self._body(end)
                self._drop(end)
            elif self._held == BLOCK:
                raise CaptureError(
                    f"the line is longer than {BLOCK:,} bytes without a blank", "export the capture again",
                    path=self._path, line=self._line,
                )  # fmt: skip
            if self._ended:
                break
            self._more()
        if self._now is None or self._first is None:
            raise CaptureError("holds no times, only declarations", "export the capture again", path=self._path)
        lines: list[Line] = []
        for variable in header.variables:
            if variable.real:
                wave = self._reals[variable.code].wave
                lines.extend(() if wave.given_up else (wave.line(header.tick_s),))
            else:
                lanes = reversed(self._scalars[variable.code].lanes)
                lines.extend(lane.line(header.tick_s) for lane in lanes if not lane.given_up)
        check_apart(
            [lane for scalar in self._scalars.values() for lane in scalar.lanes],
            (line.role for line in lines if isinstance(line, AnalogLine)), "export with a finer timescale", self._path,
        )  # fmt: skip
        tick = header.tick_s
        notes = (*(said for scalar in self._scalars.values() for lane in scalar.lanes for said in lane.notes()),
                 *(said for real in self._reals.values() for said in real.wave.notes()),
                 *(f'"{variable.name}" is declared as {len(variable.bits)} bits and not as a real number, and was not '
                   "read as a voltage or a current."
                   for variable in header.variables
                   if len(variable.bits) > 1 and variable.role in (Role.VBUS, Role.CURRENT)))  # fmt: skip
        return Capture(
            self._path, "vcd", self._first * tick, (self._now - self._first) * tick,
            tick if header.stated and tick >= _COARSE_TICK_S else None, tuple(lines), header.stated, notes,
        )  # fmt: skip

    def _more(self) -> None:
        room = self._view[self._held :]
        got = self._fill(room)
        self._ended = got < len(room)
        self._held += got

    def _drop(self, count: int) -> None:
        rest = self._held - count
        self._view[:rest] = bytes(self._view[count : self._held])
        self._held = rest

    def _whole(self) -> int:
        """Where the last whole line (or, failing that, word) ends."""
        for blank in (b"\n", b" "):
            end = self._buffer.rfind(blank, MARGIN, MARGIN + self._held) + 1
            if end:
                return end - MARGIN
        return 0

    def _header_text(self) -> str:
        """Everything up to ``$enddefinitions $end``."""
        parts: list[bytes] = []
        size = 0
        while True:
            self._more()
            start = self._buffer.find(b"$enddefinitions", MARGIN, MARGIN + self._held) - MARGIN
            end = self._buffer.find(b"$end", MARGIN + start + 15, MARGIN + self._held) - MARGIN if start >= 0 else -1
            if end >= 0:
                parts.append(bytes(self._view[: end + 4]))
                self._drop(end + 4)
                break
            stuck = start == 0 and self._held == BLOCK
            if self._ended or size > _MOST_HEADER or stuck:
                raise CaptureError(
                    "its declarations do not end ($enddefinitions is missing)", "export the capture again",
                    path=self._path,
                )  # fmt: skip
            keep = min(self._held, 64 if start < 0 else self._held - start)
            parts.append(bytes(self._view[: self._held - keep]))
            size += self._held - keep
            self._drop(self._held - keep)
        text = b"".join(parts)
        self._line = text.count(b"\n") + 1
        return text.decode("utf-8", "replace")

    def _body(self, end: int) -> None:
        """Read the words before ``end``, many at a time where they are plain."""
        terminated = self._view[end - 1] in b"\n\r\t "
        block = None
        if terminated and self._vector is None and not self._comment:
            block = self._words.read(self._data, MARGIN, MARGIN + end, self._first, self._now)
        if block is None:
            self._carefully(bytes(self._view[:end]), terminated)
        else:
            self._take(block)
            self._line += int(np.count_nonzero(self._data[MARGIN : MARGIN + end] == 10))
        lanes = [lane for scalar in self._scalars.values() for lane in scalar.lanes]
        check_room(lanes, [real.wave for real in self._reals.values()], self._path, self._line)

    def _take(self, block: Block) -> None:
        if block.last is not None:
            self._first = block.first if self._first is None else self._first
            self._now = block.last
        for change in block.changes:
            if change.values is not None:
                self._scalars[change.code].take(change.times, change.values)
            elif change.reals is not None:
                self._reals[change.code].take(change.times, change.reals)

    def _carefully(self, text: bytes, terminated: bool) -> None:
        lines = text.split(b"\n")
        for offset, line in enumerate(lines):
            last = not terminated and offset == len(lines) - 1
            words = line.split()
            for number, word in enumerate(words):
                try:
                    self._word(word, self._line + offset, cut=last and number == len(words) - 1)
                except CaptureError:
                    if last and number == len(words) - 1:
                        break  # the file ends inside this word
                    raise
        self._line += len(lines) - 1
        for scalar in self._scalars.values():
            scalar.flush()
        for real in self._reals.values():
            real.flush()

    def _word(self, word: bytes, line: int, *, cut: bool) -> None:
        if self._comment:
            self._comment = word != b"$end"
            return
        if self._vector is not None:
            value, self._vector = self._vector, None
            self._set(value, word, line)
            return
        first = word[0]
        if first == 35:  # '#'
            if not cut:
                self._time(word[1:], line)
        elif first in LOW + HIGH + NO_LEVEL:
            if len(word) < 2:
                raise self._bad(word, line, "a level without a variable")
            self._set_scalar(word[:1], word[1:], line)
        elif first in b"bBrRsS":
            self._vector = word
        elif first == 36:  # '$'
            self._comment = word == b"$comment"
        else:
            raise self._bad(word, line, "neither a time nor a change")

    def _time(self, digits: bytes, line: int) -> None:
        if not digits.isdigit() or len(digits) > 24:
            raise self._bad(b"#" + digits, line, "not a time")
        now = int(digits)
        if self._now is None or self._first is None:
            self._first = now
        elif now < self._now:
            raise CaptureError(
                f"time goes backwards, to #{now}", "export the capture again", path=self._path, line=line
            )
        self._now = now

    def _elapsed(self) -> float:
        return 0.0 if self._now is None or self._first is None else float(self._now - self._first)

    def _set_scalar(self, value: bytes, code: bytes, line: int) -> None:
        scalar = self._scalars.get(code)
        if scalar is None or len(scalar.lanes) != 1:  # an event has none
            self._set(b"b" + value, code, line)
            return
        scalar.set(value, self._elapsed())

    def _set(self, value: bytes, code: bytes, line: int) -> None:
        kind, digits = value[:1].lower(), value[1:]
        scalar, real = self._scalars.get(code), self._reals.get(code)
        if scalar is None and real is None:
            raise self._bad(code, line, "not a declared variable")
        if kind == b"s":
            return
        if real is not None:
            number = real_number(digits)
            if number is None:
                raise self._bad(value, line, "not a usable number")
            real.set(number, self._elapsed())
            return
        assert scalar is not None
        if kind == b"r":
            raise self._bad(value, line, "a number for a variable that is not real")
        width = len(scalar.lanes)
        if not width:
            return
        if not digits or digits.translate(None, LOW + HIGH + NO_LEVEL):
            raise self._bad(value, line, "not a value in bits")
        if len(digits) > width:
            if digits[: len(digits) - width].strip(b"0"):
                raise self._bad(value, line, f"wider than the {width} bits of its variable")
            digits = digits[-width:]
        fill = b"0" if digits[0] in LOW + HIGH else digits[:1]
        scalar.set(digits.rjust(width, fill), self._elapsed())

    def _bad(self, word: bytes, line: int, why: str) -> CaptureError:
        shown = word[:30].decode("utf-8", "replace")
        return CaptureError(f"{shown!r} is {why}", "export the capture again", path=self._path, line=line)
