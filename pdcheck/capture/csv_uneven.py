"""Rows of varying width in sample files, from their ends.

Why it is: where times drop their trailing zeros a row's cells stand anywhere, but behind the time there is little: a
few levels. Counted from the line feed these stand still; so one word of eight bytes shows the rest of a row, and the
time need not be looked at. It is read where a level changes and at the ends of a stretch. That nothing else stands in a
row is told by counting: so many rows have so many separators and line feeds, so many times a point, which those that
are whole numbers may lack, and all else is digits.

As with rows of one width, only files with a row a sample are read this way, and a single time garbled into other
digits is not noticed where nothing happens.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pdcheck.capture.arrays import Bytes, Flags, Words
from pdcheck.capture.cell_numbers import MOST_WIDE, Cells, Shape
from pdcheck.capture.char_words import words_of
from pdcheck.capture.csv_flagging import Flagging
from pdcheck.capture.csv_layout import Layout
from pdcheck.capture.csv_rows import NO_ROWS, Place, RowBlock
from pdcheck.capture.csv_template import Template, template_ahead
from pdcheck.capture.csv_times import VaryingTimes

LEAST_ROWS = 64
_LEAST_STRETCH, _MOST_STRETCH = 1 << 16, 1 << 19
_LINE_FEED, _QUOTE, _ZERO, _NINE = 10, 0x22, 0x30, 0x39
_EIGHT = 8


@dataclass(frozen=True)
class _Tail:
    """What stands between the time and the line feed, the same in every row but for the levels.

    :ivar mask, pattern: for the word that ends with it: which bits are alike, and what they are.
    :ivar levels: for each level how far to shift that word to the right.
    """

    size: int
    mask: np.uint64
    pattern: np.uint64
    levels: tuple[np.uint64, ...]

    @staticmethod
    def of(template: Template, start: int) -> _Tail | None:
        """The bytes from ``start`` to before the line feed; None where they are too many."""
        end = template.width - 1
        if end - start > _EIGHT:
            return None
        cells = {span.start for span in template.levels}
        mask = pattern = 0
        for at in range(start, end):
            shift = 8 * (_EIGHT - end + at)
            bits = 0xFE if at in cells else 0xFF
            mask |= bits << shift
            pattern |= (template.row[at] & bits) << shift
        levels = tuple(np.uint64(8 * (_EIGHT - end + span.start)) for span in template.levels)
        return _Tail(end - start, np.uint64(mask), np.uint64(pattern), levels)


@dataclass(frozen=True)
class _Look:
    """What rows look like behind the time.

    :ivar quoted: whether a quote stands in front of it.
    :ivar low, high: how many characters of a row sort before the digits and behind them, the time apart.
    """

    template: Template
    shape: Shape
    tail: _Tail
    low: int
    high: int
    quoted: bool

    @staticmethod
    def of(template: Template) -> _Look | None:
        """The look of rows like this one; None where they are not simple enough."""
        row, time = template.row, template.time
        if time is None or row[: time.start] not in (b"", b'"'):
            return None
        if template.ignored or template.numbers or template.buses:
            return None
        if any(row[span.start : span.end] not in (b"0", b"1") for span in template.levels):
            return None
        shape, tail = Shape.of(row[time.start : time.end]), _Tail.of(template, time.end)
        if shape is None or tail is None:
            return None
        fixed = row[: time.start] + row[time.end : -1]
        low, high = sum(code < _ZERO for code in fixed), sum(code > _NINE for code in fixed)
        return _Look(template, shape, tail, low, high, time.start > 0)


class UnevenReader:
    """Reads rows of varying width in a file with a row a sample, a time and levels."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._look: _Look | None = None
        self._flagging = Flagging()
        self._stretch = _LEAST_STRETCH
        self._rows_before = 0

    def read(self, room: bytearray, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        """Read rows from ``start`` on; parameters and result are those of the reader of fixed rows."""
        # A packet is short, and silence is read sooner in another way; where it does not come the stretches grow.
        going_on = place.rows == self._rows_before
        self._stretch = min(2 * self._stretch, _MOST_STRETCH) if going_on else _LEAST_STRETCH
        end = room.rfind(b"\n", start, min(end, start + self._stretch)) + 1
        if self._layout.time_column != 0 or len(self._layout.delimiter.strip(" ")) != 1 or end <= start:
            return None
        if self._look is not None:
            found = self._read(self._look, data, start, end, place)
            if found is not None:
                return found
        template = template_ahead(room, start, end, self._layout)
        self._look = None if template is None else _Look.of(template)
        return None if self._look is None else self._read(self._look, data, start, end, place)

    def _read(self, look: _Look, data: Bytes, start: int, end: int, place: Place) -> tuple[RowBlock, int] | None:
        ends = self._flagging.places_of(data[start:end], _LINE_FEED)
        ends += start
        if len(ends) < LEAST_ROWS:
            return None
        tails = words_of(data)[ends - _EIGHT]
        if bool(((tails & look.tail.mask) != look.tail.pattern).any()):
            return None
        starts = np.empty_like(ends)
        starts[0] = start
        np.add(ends[:-1], 1, out=starts[1:])
        if look.quoted:
            if not bool((data.take(starts) == _QUOTE).all()):
                return None
            starts += 1
        widths = ends - starts
        widths -= look.tail.size
        if int(widths.min()) < look.shape.whole or int(widths.max()) > MOST_WIDE:
            return None
        pointed = data.take(starts + look.shape.whole) == look.shape.point
        points = int(np.count_nonzero(pointed))
        if points != len(ends) and not bool((pointed | (widths == look.shape.whole)).all()):
            return None
        if look.shape.first is not None and not bool((data.take(starts) == look.shape.first).all()):
            return None
        if not self._is_plain(look, data[start:end], len(ends), points):
            return None
        times = VaryingTimes(Cells(data, starts, widths), look.shape, place)
        changed = np.append(NO_ROWS.dtype.type(0), np.flatnonzero(_differs(tails, look.tail)) + 1)
        if not times.in_order(changed, place):
            return None
        block = RowBlock(
            rows=len(ends), lines=len(ends), changed=changed, levels=_levels(tails[changed], look.tail),
            numbers=(), times=times, quanta=times.quanta, spots=np.array([len(ends) - 1]), finest=times.finest(),
            last_time=times.last_time,
        )  # fmt: skip
        self._rows_before = place.rows + len(ends)
        return block, end

    def _is_plain(self, look: _Look, block: Bytes, rows: int, points: int) -> bool:
        """Whether so many rows account for everything that is no digit: each such byte was looked for in its place."""
        flags = self._flagging.room(len(block))
        signed = look.shape.first is not None
        if np.count_nonzero(np.less(block, _ZERO, out=flags)) != rows * (look.low + 1 + signed) + points:
            return False
        if not look.high:
            return int(block.max()) <= _NINE
        return bool(np.count_nonzero(np.greater(block, _NINE, out=flags)) == rows * look.high)


def _differs(tails: Words, look: _Tail) -> Flags:
    """Which rows but the first have other levels than the row above."""
    own = tails & np.uint64(sum(1 << int(shift) for shift in look.levels))
    differs: Flags = own[1:] != own[:-1]
    return differs


def _levels(tails: Words, look: _Tail) -> Bytes:
    """The levels, a row a level cell."""
    out = np.empty((len(look.levels), len(tails)), np.uint8)
    for lane, shift in enumerate(look.levels):
        out[lane] = (tails >> shift).astype(np.uint8) & 1
    return out
