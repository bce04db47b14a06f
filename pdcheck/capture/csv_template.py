"""Where the cells stand in one row, as a pattern for its neighbours.

Why it is: exporters print rows of one shape, often of one width. What one row looks like is what the fast readers
expect of the next thousand; where it does not hold, they step aside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pdcheck.capture.csv_cells import is_number, split_row
from pdcheck.capture.csv_layout import Kind, Layout

MOST_BITS = 62
_LOOK_AHEAD = 16


@dataclass(frozen=True)
class Span:
    """A cell: where its characters begin and end in the row.

    :ivar point: place in the cell of the decimal point, the cell's width where there is none.
    :ivar exponent: place in the cell of the ``E``, -1 where there is none.
    :ivar blanks: how many blanks stand in front that pad a number to the width of others.
    """

    start: int
    end: int
    point: int
    exponent: int
    blanks: int = 0

    @property
    def width(self) -> int:
        """How many characters."""
        return self.end - self.start


@dataclass(frozen=True)
class Template:
    """A row's shape.

    :ivar width: bytes, with the line end.
    :ivar time: the time cell; None where rows are counted.
    :ivar levels: the level cells in the order of the columns.
    :ivar numbers: the number cells likewise.
    :ivar buses: the bus cells likewise, each with its number of bits.
    :ivar ignored: cells that nobody reads.
    :ivar row: the row itself.
    """

    width: int
    time: Span | None
    levels: tuple[Span, ...]
    numbers: tuple[Span, ...]
    buses: tuple[tuple[Span, int], ...]
    ignored: tuple[Span, ...]
    row: bytes

    def fixed_places(self) -> list[int]:
        """The bytes outside all cells: separators, quotes, blanks, the line end."""
        inside: set[int] = set()
        for span in self.cells():
            inside.update(range(span.start, span.end))
        return [place for place in range(self.width) if place not in inside]

    def cells(self) -> list[Span]:
        """All cells, from left to right."""
        buses = (span for span, _ in self.buses)
        every = (*self.levels, *self.numbers, *buses, *self.ignored, *((self.time,) if self.time else ()))
        return sorted(every, key=lambda span: span.start)

    def lanes(self) -> list[tuple[Span, int]]:
        """The cells of levels and buses from left to right; with the bits of a bus, 0 for a level."""
        return sorted([*((span, 0) for span in self.levels), *self.buses], key=lambda lane: lane[0].start)


def template_of(row: bytes, layout: Layout) -> Template | None:
    """The shape of a row with its line feed, or None where it is not simple enough.

    Not simple: a very wide bus, a quote inside a cell, other than ASCII, cells that are not what the layout says.
    """
    if not row.isascii() or any(column.bits > MOST_BITS for column in layout.columns):
        return None
    text = row.decode()
    cells = split_row(text.rstrip("\r\n"), layout.delimiter)
    while len(cells) > len(layout.columns) and not cells[-1]:
        cells.pop()
    if len(cells) != len(layout.columns):
        return None
    time: Span | None = None
    buses: list[tuple[Span, int]] = []
    by_kind: dict[Kind, list[Span]] = {kind: [] for kind in Kind}
    at = 0
    for place, (cell, column) in enumerate(zip(cells, layout.columns, strict=True)):
        if place and layout.delimiter.strip(" "):
            at = text.index(layout.delimiter, at) + 1
        start = text.find(cell, at)
        if not cell or start < 0 or text[at:start].strip(' "') or (column.kind is Kind.IGNORED and '"' in text):
            return None
        span = _span(cell, start)
        if column.kind is Kind.NUMBER and span.exponent < 0 and '"' not in text:
            # Where blanks separate as well, the first of them does.
            span = replace(span, blanks=max(0, start - at - (layout.delimiter == " ")))
        at = span.end
        if column.kind in (Kind.TIME, Kind.NUMBER) and not is_number(cell):
            return None
        by_kind[column.kind].append(span)
        if column.kind is Kind.TIME:
            time = span
        elif column.kind is Kind.BUS:
            buses.append((span, column.bits))
    if text[at:].strip(' "\r\n' + layout.delimiter):
        return None
    return Template(
        len(row), time, tuple(by_kind[Kind.LEVEL]), tuple(by_kind[Kind.NUMBER]), tuple(buses),
        tuple(by_kind[Kind.IGNORED]), row,
    )  # fmt: skip


def template_ahead(room: bytearray, start: int, end: int, layout: Layout) -> Template | None:
    """The shape of the longest of the next rows: it shows most of what may be in one."""
    rows: list[bytes] = []
    for _ in range(_LOOK_AHEAD):
        after = room.find(b"\n", start, min(end, start + 4096)) + 1
        if after == 0:
            break
        rows.append(bytes(room[start:after]))
        start = after
    return template_of(max(rows, key=len), layout) if len(rows) == _LOOK_AHEAD else None


def _span(cell: str, start: int) -> Span:
    lower = cell.lower()
    exponent = lower.find("e") if is_number(cell) else -1
    mantissa = cell if exponent < 0 else cell[:exponent]
    point = max(mantissa.find("."), mantissa.find(","))
    return Span(start, start + len(cell), len(mantissa) if point < 0 else point, exponent)
