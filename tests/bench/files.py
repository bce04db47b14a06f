"""Captures of any size for the timing runs, as an analyzer would export them.

Why it is: a timing is worth what its file is like. These hold the conversation of a demo capture, sampled, with the
long silence before, between and after that a real capture has; or one burst after another, which is the worst case.
Rows are made by numpy, so that a gigabyte takes seconds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from pdcheck.capture import DigitalLine, open_capture

DEMO = Path(__file__).parents[2] / "captures" / "demo"
_ROWS = 1 << 19
Floats = NDArray[np.float64]
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Signal:
    """A line's edges in seconds, and VBUS as steps of (second, volts)."""

    edges_s: Floats
    initial: int
    vbus: tuple[tuple[float, float], ...] = ((0.0, 0.0),)

    def levels(self, times: Floats) -> Bytes:
        """The level at each time: 0 or 1."""
        return ((np.searchsorted(self.edges_s, times, side="right") + self.initial) & 1).astype(np.uint8)

    def volts(self, times: Floats, rng: np.random.Generator, noise_v: float) -> Floats:
        """VBUS at each time, with noise."""
        moments, values = (np.array(column) for column in zip(*self.vbus, strict=True))
        steady = values[np.searchsorted(moments, times, side="right") - 1]
        noisy: Floats = steady + rng.normal(0.0, noise_v, len(times))
        return noisy


def demo_edges(name: str = "scanner_charges_at_9v.csv") -> Signal:
    """The conversation of a demo capture."""
    for line in open_capture(DEMO / name).lines:
        if isinstance(line, DigitalLine) and len(line.edges_s):
            return Signal(line.edges_s, int(line.initial))
    raise ValueError(f"{name} bears no traffic")


def quiet_signal(length_s: float, every_s: float = 5.0) -> Signal:
    """A negotiation, and a part of one again every ``every_s`` seconds; silence else."""
    whole = demo_edges()
    moments = whole.edges_s - whole.edges_s[0]
    talk = moments[moments < 0.3]
    talk = talk[: len(talk) // 2 * 2]
    starts = np.arange(min(0.1, length_s / 4), length_s, every_s)
    edges = np.concatenate([talk + start for start in starts])
    return Signal(edges[edges < length_s], whole.initial, ((0.0, 5.0), (length_s / 3, 9.0)))


def busy_signal(length_s: float, rng: np.random.Generator, every_s: float = 0.015) -> Signal:
    """One packet of the demo capture after another, with silence between."""
    whole = demo_edges()
    edges = whole.edges_s[whole.edges_s > whole.edges_s[0] + 0.01]
    cuts = np.flatnonzero(np.diff(edges) > 11e-6) + 1
    packets = [part - part[0] for part in np.split(edges, cuts) if len(part) > 150]
    packets = [part[: len(part) // 2 * 2] for part in packets]
    starts = np.arange(0.004, length_s - 0.003, every_s)
    bursts = [start + packets[rng.integers(len(packets))] for start in starts]
    return Signal(np.concatenate(bursts), whole.initial, ((0.0, 0.0), (length_s / 4, 5.0)))


def digits(values: NDArray[np.int64], width: int) -> Bytes:
    """Whole numbers as rows of ``width`` digits."""
    out = np.empty((len(values), width), np.uint8)
    rest = values.copy()
    for place in range(width - 1, -1, -1):
        rest, digit = np.divmod(rest, 10)
        out[:, place] = digit + 48
    return out


def cells(values: Floats, whole: int, decimals: int, trim: bool) -> tuple[Bytes, NDArray[np.bool_]]:
    """Decimals as characters, and which of these are printed: no leading zeros; trailing ones unless ``trim``."""
    scaled = np.rint(np.abs(values) * 10.0**decimals).astype(np.int64)
    minus = ((values < 0) & (scaled > 0))[:, None]
    shown = digits(scaled, whole + decimals)
    point = np.full((len(values), 1), 46, np.uint8)
    text = np.hstack([np.full((len(values), 1), 45, np.uint8), shown[:, :whole], point, shown[:, whole:]])
    leading = np.logical_or.accumulate(shown[:, :whole] != 48, axis=1)
    leading[:, -1] = True
    kept = np.ones((len(values), decimals), bool)
    if trim:
        kept = np.logical_or.accumulate((shown[:, whole:] != 48)[:, ::-1], axis=1)[:, ::-1]
    return text, np.hstack([minus, leading, kept.any(axis=1)[:, None], kept])


def rows(parts: list[tuple[Bytes, NDArray[np.bool_]]]) -> bytes:
    """Rows of cells, as text."""
    count = len(parts[0][0])
    comma, line_end = np.full((count, 1), 44, np.uint8), np.full((count, 1), 10, np.uint8)
    yes = np.ones((count, 1), bool)
    text, shown = [], []
    for place, (chars, kept) in enumerate(parts):
        text += [chars, line_end if place == len(parts) - 1 else comma]
        shown += [kept, yes]
    return np.hstack(text)[np.hstack(shown)].tobytes()


def sample_blocks(
    signal: Signal, rate_hz: float, count: int, *, trim: bool, volts: bool = False, decimals: int = 9, seed: int = 1,
    noise_v: float = 0.006,
) -> Iterator[bytes]:
    """Rows of a capture at ``rate_hz``, a block at a time, the header first."""
    yield b"Time [s],CC1,VBUS [V]\n" if volts else b"Time [s],CC1\n"
    rng = np.random.default_rng(seed)
    for start in range(0, count, _ROWS):
        times = np.arange(start, min(count, start + _ROWS)) / rate_hz
        level = (signal.levels(times) + 48)[:, None]
        parts = [cells(times, 2, decimals, trim), (level, np.ones_like(level, bool))]
        if volts:
            parts.append(cells(signal.volts(times, rng, noise_v), 2, 4, trim))
        yield rows(parts)


def written_blocks(
    signal: Signal, rate_hz: float, count: int, header: str, form: str, noise_v: float = 0.012
) -> Iterator[bytes]:
    """The same with rows as Python's own formatting writes them.

    :param form: of a row, with ``{t}`` for its time, ``{level}`` and ``{v}`` for VBUS.
    """
    yield header.encode() + b"\n"
    rng = np.random.default_rng(1)
    for start in range(0, count, _ROWS):
        times = np.arange(start, min(count, start + _ROWS)) / rate_hz
        columns = times.tolist(), signal.levels(times).tolist(), signal.volts(times, rng, noise_v).tolist()
        yield "".join(form.format(t=t, level=level, v=v) + "\n" for t, level, v in zip(*columns, strict=True)).encode()


def edge_blocks(signal: Signal, *, decimals: int = 9, trim: bool = False) -> Iterator[bytes]:
    """A row a change."""
    yield b"Time [s],CC1\n"
    levels = ((np.arange(len(signal.edges_s)) + 1 + signal.initial) & 1).astype(np.uint8)
    for start in range(0, len(levels), _ROWS):
        level = (levels[start : start + _ROWS] + 48)[:, None]
        times = cells(signal.edges_s[start : start + _ROWS], 4, decimals, trim)
        yield rows([times, (level, np.ones_like(level, bool))])


def write(path: Path, blocks: Iterator[bytes], most: int | None = None) -> Path:
    """Write blocks to a file, at most about ``most`` bytes."""
    with path.open("wb") as file:
        pour(file, blocks, most)
    return path


def pour(file: BinaryIO, blocks: Iterator[bytes], most: int | None = None) -> None:
    """Write blocks; after ``most`` bytes end with the block."""
    done = 0
    for block in blocks:
        file.write(block)
        done += len(block)
        if most is not None and done >= most:
            break
