"""One message as a wave with its bits, symbols and meaning, set in lines like music.

Why it is: whoever doubts a verdict can follow it down to the edges. A message is some three hundred bits; in one line
they could not be read on paper.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from markupsafe import Markup

from pdcheck.capture.model import AnalogLine, DigitalLine
from pdcheck.line.closeup import Edges, bits_of, edges_around, samples_around
from pdcheck.line.model import Packet
from pdcheck.messages.model import Message
from pdcheck.report.page.fields import spans_of
from pdcheck.report.page.picture import Axis, Picture
from pdcheck.standard.line_code import DATA_SYMBOLS, EOP, K_CODES, ORDERED_SETS, SYMBOL_BITS, Sop
from pdcheck.standard.sizes import CRC_BYTES

_NAMES = {code: name for name, code in K_CODES.items()} | {code: f"{n:X}" for n, code in enumerate(DATA_SYMBOLS)}
_BITS_A_LINE = 70
_PREAMBLE_SHOWN = 8
_WIDTH = 960.0
_LEFT, _RIGHT = 10.0, 950.0
_SYSTEM = 96.0
_MOST_SAMPLES = 12_000


@dataclass(frozen=True)
class Cell:
    """A stretch of the wave and what it is."""

    start_s: float
    end_s: float
    words: str


@dataclass(frozen=True)
class Wave:
    """A packet's wave. ``first``: index of the bit with which the ordered set begins. ``bits`` is empty where they
    could not be read again. ``samples``: (seconds, volts) where the line was captured as volts."""

    edges: Edges
    samples: tuple[tuple[float, float], ...]
    bits: tuple[Cell, ...]
    first: int
    symbols: tuple[Cell, ...]
    meanings: tuple[Cell, ...]


def bits_after_preamble(sop: Sop, data: bytes) -> str:
    """An intact packet's bits from its ordered set to its EOP, in the order of the wire."""
    codes = list(ORDERED_SETS[sop])
    if not sop.is_reset:
        for octet in data + zlib.crc32(data).to_bytes(CRC_BYTES, "little"):
            codes += [DATA_SYMBOLS[octet & 15], DATA_SYMBOLS[octet >> 4]]
        codes.append(EOP)
    return "".join(f"{code:05b}"[::-1] for code in codes)


def grid_start_s(packet: Packet) -> float:
    """The moment at which an intact packet's first bit begins, by its end and its own clock.

    The first edge of a burst may be the driver's turning on, a little before the first bit.
    """
    after = 4 * SYMBOL_BITS
    if packet.sop is None or not packet.sop.is_reset:
        after += 10 * (len(packet.data) + CRC_BYTES) + SYMBOL_BITS
    return packet.end_s - (packet.preamble_bits + after) / packet.bit_rate_bps


def wave_of(line: DigitalLine, volts: AnalogLine | None, packet: Packet, message: Message | None) -> Wave:
    """The wave of a packet. What is written under an intact one is what its bytes say; under a broken one, the bits
    that were read."""
    edges = edges_around(line, packet.start_s, packet.end_s)
    samples = samples_around(volts, packet.start_s, packet.end_s, _MOST_SAMPLES) if volts is not None else ()
    if packet.intact and packet.sop is not None:
        after = bits_after_preamble(packet.sop, packet.data)
        before = "".join("01"[(n + packet.preamble_bits) % 2] for n in range(packet.preamble_bits))
        whole = before + after
        start_s, bit_s = grid_start_s(packet), 1.0 / packet.bit_rate_bps
        cells = tuple(Cell(start_s + n * bit_s, start_s + (n + 1) * bit_s, b) for n, b in enumerate(whole))
        first = len(before)
    else:
        read = bits_of(line, packet)
        if read is None:
            return Wave(edges, samples, (), 0, (), ())
        bit_s = 1.0 / packet.bit_rate_bps
        starts = [read.ends_s[0] - bit_s, *read.ends_s[:-1]] if read.ends_s else []
        cells = tuple(
            Cell(start, end, str(bit)) for start, end, bit in zip(starts, read.ends_s, read.bits, strict=True)
        )
        set_s = packet.start_s + packet.preamble_bits * bit_s
        first = min(range(len(cells)), key=lambda n: abs(cells[n].start_s - set_s), default=0)
        if packet.sop is None:
            first = len(cells)
    symbols = _symbols(cells, first)
    return Wave(edges, samples, cells, first, symbols, _meanings(cells, first, packet, message))


def _symbols(cells: tuple[Cell, ...], first: int) -> tuple[Cell, ...]:
    out = []
    for at in range(first, len(cells) - SYMBOL_BITS + 1, SYMBOL_BITS):
        five = cells[at : at + SYMBOL_BITS]
        code = int("".join(cell.words for cell in reversed(five)), 2)
        out.append(Cell(five[0].start_s, five[-1].end_s, _NAMES.get(code, "?")))
        if code == EOP:
            break
    return tuple(out)


def _meanings(cells: tuple[Cell, ...], first: int, packet: Packet, message: Message | None) -> tuple[Cell, ...]:
    """Preamble, ordered set, then the bytes by what they are."""
    spans: list[tuple[str, int]] = [("preamble", first)]
    if packet.sop is not None:
        spans.append((packet.sop.value, 4 * SYMBOL_BITS))
        if message is not None and packet.intact:
            spans += [(words, 10 * size) for words, size in spans_of(message)]
            spans += [("CRC", 40), ("EOP", SYMBOL_BITS)]
        elif packet.problem is not None:
            spans.append((f"not readable as a message: {packet.problem.value}", len(cells)))
    else:
        spans[0] = (packet.problem.value if packet.problem is not None else "", len(cells))
    out = []
    at = 0
    for words, size in spans:
        part = cells[at : at + size]
        if part and words:
            out.append(Cell(part[0].start_s, part[-1].end_s, words))
        at += size
    return tuple(out)


def wave_picture(wave: Wave, name: str, ident: str) -> Markup:
    """The wave from the end of the preamble on, in as many lines as it takes."""
    begin = max(0, wave.first - _PREAMBLE_SHOWN) if wave.first < len(wave.bits) else 0
    cells = wave.bits[begin:]
    if not cells:
        picture = Picture(_WIDTH, _SYSTEM, name, ident)
        _system(picture, wave, Axis(wave.edges.start_s, wave.edges.end_s, _LEFT, _RIGHT), 0.0)
        return picture.markup()
    lines = [cells[at : at + _BITS_A_LINE] for at in range(0, len(cells), _BITS_A_LINE)]
    if len(lines) > 1 and len(lines[-1]) < 12:
        # A few bits alone in the last line are joined to the line before.
        lines[-2:] = [lines[-2] + lines[-1]]
    picture = Picture(_WIDTH, _SYSTEM * len(lines), name, ident)
    bit_s = (cells[-1].end_s - cells[0].start_s) / len(cells)
    longest = max(len(line) for line in lines)
    for number, line in enumerate(lines):
        start = line[0].start_s
        _system(picture, wave, Axis(start, start + longest * bit_s, _LEFT, _RIGHT), number * _SYSTEM, line[-1].end_s)
    return picture.markup()


def _system(picture: Picture, wave: Wave, axis: Axis, top: float, end_s: float | None = None) -> None:
    end_s = axis.end_s if end_s is None else end_s
    picture.text(_RIGHT, top + 10, f"{axis.start_s:.6f} s", "t f", "end")
    _curve(picture, wave, axis, top + 14, 24.0, end_s)
    for cell in wave.bits:
        if axis.start_s <= cell.start_s < end_s - 1e-9:
            picture.line(axis.x(cell.start_s), top + 14, axis.x(cell.start_s), top + 44, "bitl")
            picture.text((axis.x(cell.start_s) + axis.x(cell.end_s)) / 2, top + 53, cell.words, "t f m", "middle")
    for cells, y, cls in ((wave.symbols, top + 60, "t m"), (wave.meanings, top + 76, "t")):
        for cell in cells:
            if cell.end_s <= axis.start_s + 1e-9 or cell.start_s >= end_s - 1e-9:
                continue
            x1, x2 = axis.x(cell.start_s), axis.x(min(cell.end_s, end_s))
            picture.path(((x1 + 1, y), (x1 + 1, y + 3), (x2 - 1, y + 3), (x2 - 1, y)), "brc")
            if cls == "t m":
                picture.text((x1 + x2) / 2, y + 13, cell.words, cls, "middle")
            else:
                picture.text(x1 + 2, y + 15, cell.words, cls, room=x2 - x1 if x2 - x1 > 24 else 0)


def _curve(picture: Picture, wave: Wave, axis: Axis, top: float, height: float, end_s: float) -> None:
    if wave.samples:
        values = [v for _, v in wave.samples]
        low, high = min(values), max(values)
        reach = max(high - low, 1e-6)
        points = [
            (axis.x(t), top + height - (v - low) / reach * height)
            for t, v in wave.samples if axis.start_s <= t <= end_s
        ]
        picture.path(points, "wv")
        return
    level = wave.edges.level
    points = []
    for t_s in wave.edges.times_s:
        if t_s <= axis.start_s:
            level = not level
            continue
        if t_s > end_s:
            break
        if not points:
            points.append((axis.left, top + (0 if level else height)))
        x = axis.x(t_s)
        points += [(x, top + (0 if level else height)), (x, top + (height if level else 0))]
        level = not level
    if not points:
        points.append((axis.left, top + (0 if level else height)))
    points.append((axis.x(end_s), top + (0 if level else height)))
    picture.path(points, "wv")
