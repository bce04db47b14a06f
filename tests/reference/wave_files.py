"""Captures as files, in the many shapes that exports of cheap analyzers and oscilloscopes come in.

Written apart from every reader in the project. A `Capture` is one CC waveform plus what else was on the
probes; a `Dialect` is one way a table of it can look.
"""

from __future__ import annotations

import gzip
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from io import StringIO
from pathlib import Path

from tests.reference.second_encoder import Edge, Wave


@dataclass
class Trace:
    """A slowly moving voltage or current: straight lines between breakpoints, plus gaussian noise."""

    points: list[tuple[float, float]]
    noise: float = 0.0

    def reader(self, rng: random.Random) -> _TraceReader:
        """Something that gives the value at rising times."""
        return _TraceReader(self, rng)


class _TraceReader:
    def __init__(self, trace: Trace, rng: random.Random) -> None:
        self._points, self._noise, self._rng, self._place = trace.points, trace.noise, rng, 0

    def at(self, time_s: float) -> float:
        points = self._points
        while self._place + 1 < len(points) and points[self._place + 1][0] <= time_s:
            self._place += 1
        t0, v0 = points[self._place]
        value = v0
        if self._place + 1 < len(points) and time_s > t0:
            t1, v1 = points[self._place + 1]
            value = v0 + (v1 - v0) * (time_s - t0) / (t1 - t0)
        return value + (self._rng.gauss(0.0, self._noise) if self._noise else 0.0)


@dataclass
class Capture:
    """What the probes saw: the CC line, and VBUS and current where they were connected."""

    cc: Wave
    vbus: Trace | None = None
    current: Trace | None = None
    other_cc_level: int = 0
    other_cc: Wave | None = None  # the second contact, where something is said on it too


@dataclass(frozen=True)
class Dialect:
    """One look of a table. `columns` are (header, kind) with kind cc, cc2, idle0, idle1, vbus or current."""

    name: str
    columns: tuple[tuple[str, str], ...] = (("CC1", "cc"),)
    time_header: str = "Time [s]"
    unit_s: float = 1.0
    decimals: int = 9
    delimiter: str = ","
    header: bool = True
    comments: tuple[str, ...] = ()
    decimal_comma: bool = False
    crlf: bool = False
    bom: bool = False
    zipped: bool = False
    zero_s: float = 0.0
    needs: frozenset[str] = field(default_factory=frozenset)

    @property
    def analog(self) -> bool:
        """Whether a column carries VBUS or current."""
        return any(kind in ("vbus", "current") for _, kind in self.columns)


_EIGHT = tuple((f"Channel {n}", "cc" if n == 3 else ("idle1" if n == 5 else "idle0")) for n in range(8))

DIALECTS = (
    Dialect("plain"),
    Dialect("semicolon-us", (("CC", "cc"),), "Time(us)", 1e-6, 3, ";"),
    Dialect("no-header", header=False),
    Dialect("eight-channels", _EIGHT),
    Dialect("both-cc", (("CC1", "cc"), ("CC2", "cc2"))),
    Dialect("both-cc-flipped", (("CC1", "cc2"), ("CC2", "cc"))),
    Dialect("ms-crlf-bom", (("CC1", "cc"),), "Time (ms)", 1e-3, 6, crlf=True, bom=True),
    Dialect("comments", comments=("# exported at the bench", "# sample rate 24 MHz", "#")),
    Dialect("comments-semicolon", comments=("; workshop logger", "; channels: 1"), delimiter=","),
    Dialect("decimal-comma", (("CC1", "cc"),), delimiter=";", decimal_comma=True),
    Dialect("gzip", zipped=True),
    Dialect("negative-start", zero_s=-0.25),
    Dialect("tab", (("CC", "cc"),), "time_s", 1.0, 9, "\t"),
    Dialect("vbus", (("CC1", "cc"), ("VBUS [V]", "vbus"))),
    Dialect("vbus-current", (("CC1", "cc"), ("CC2", "cc2"), ("VBUS [V]", "vbus"), ("Current [A]", "current"))),
    Dialect("vbus-first", (("VBUS [V]", "vbus"), ("CC1", "cc"))),
    Dialect("vbus-comma", (("CC1", "cc"), ("VBUS [V]", "vbus")), delimiter=";", decimal_comma=True, crlf=True),
    Dialect("vbus-gzip", (("CC1", "cc"), ("VBUS [V]", "vbus"), ("Current [A]", "current")), zipped=True),
    Dialect("vbus-ms", (("CC", "cc"), ("VBUS (V)", "vbus")), "Time (ms)", 1e-3, 6),
)
PLAIN_DIALECTS = tuple(d for d in DIALECTS if not d.analog)
VBUS_DIALECTS = tuple(d for d in DIALECTS if d.analog)


def _put(path: Path, text: str, dialect: Dialect) -> Path:
    data = text.replace("\n", "\r\n").encode() if dialect.crlf else text.encode()
    if dialect.bom:
        data = b"\xef\xbb\xbf" + data
    if dialect.zipped:
        path = path.with_name(path.name + ".gz")
        data = gzip.compress(data, 1, mtime=0)
    path.write_bytes(data)
    return path


def _head(dialect: Dialect) -> str:
    lines = list(dialect.comments)
    if dialect.header:
        lines.append(dialect.delimiter.join([dialect.time_header, *(name for name, _ in dialect.columns)]))
    return "".join(line + "\n" for line in lines)


def _row_times(capture: Capture, dialect: Dialect) -> Iterator[Edge]:
    """Times and levels of the rows: every change, and for slow columns a grid in between."""
    wave = capture.cc
    yield wave.start_s, wave.initial
    level = wave.initial
    step = max(1e-3, (wave.end_s - wave.start_s) / 1500) if dialect.analog else math.inf
    grid = wave.start_s + step
    for time_s, new in _changes(capture):
        while grid < time_s:
            yield grid, level
            grid += step
        level = level if new is None else new
        yield time_s, level
    while grid < wave.end_s:
        yield grid, level
        grid += step
    yield wave.end_s, level


def _changes(capture: Capture) -> list[tuple[float, int | None]]:
    """Changes of the first contact, and moments at which only the second one changes."""
    if capture.other_cc is None:
        return list(capture.cc.changes)
    return sorted([*capture.cc.changes, *((t, None) for t, _ in capture.other_cc.changes)], key=lambda edge: edge[0])


def _other_level(capture: Capture, time_s: float) -> int:
    return capture.other_cc_level if capture.other_cc is None else capture.other_cc.level_at(time_s)


def write_edges(path: Path, capture: Capture, dialect: Dialect, rng: random.Random) -> Path:
    """A table with a row for each change; returns the path, which has .gz added where zipped."""
    out = StringIO()
    out.write(_head(dialect))
    vbus = capture.vbus.reader(rng) if capture.vbus else None
    current = capture.current.reader(rng) if capture.current else None
    form, delimiter = f"%.{dialect.decimals}f", dialect.delimiter
    for time_s, level in _row_times(capture, dialect):
        cells = [form % ((time_s + dialect.zero_s) / dialect.unit_s)]
        for _, kind in dialect.columns:
            if kind == "cc":
                cells.append("1" if level else "0")
            elif kind == "cc2":
                cells.append("1" if _other_level(capture, time_s) else "0")
            elif kind in ("idle0", "idle1"):
                cells.append(kind[-1])
            elif kind == "vbus":
                cells.append("%.4f" % (vbus.at(time_s) if vbus else 0.0))
            else:
                cells.append("%.4f" % (current.at(time_s) if current else 0.0))
        row = delimiter.join(cells)
        out.write(row.replace(".", ",") if dialect.decimal_comma else row)
        out.write("\n")
    return _put(path, out.getvalue(), dialect)


def write_samples(path: Path, capture: Capture, rate_hz: float, dialect: Dialect, rng: random.Random) -> Path:
    """A table with a row for each sample of a digital line."""
    out = StringIO()
    out.write(_head(dialect))
    wave = capture.cc
    vbus = capture.vbus.reader(rng) if capture.vbus else None
    form = f"%.{dialect.decimals}f"
    changes, place, level = wave.changes, 0, wave.initial
    for tick in range(int((wave.end_s - wave.start_s) * rate_hz)):
        time_s = wave.start_s + tick / rate_hz
        while place < len(changes) and changes[place][0] <= time_s:
            level = changes[place][1]
            place += 1
        cells = [form % ((time_s + dialect.zero_s) / dialect.unit_s)]
        for _, kind in dialect.columns:
            if kind == "cc":
                cells.append("1" if level else "0")
            elif kind == "cc2":
                cells.append("1" if capture.other_cc_level else "0")
            elif kind == "vbus":
                cells.append("%.3f" % (vbus.at(time_s) if vbus else 0.0))
            else:
                cells.append("0")
        row = dialect.delimiter.join(cells)
        out.write(row.replace(".", ",") if dialect.decimal_comma else row)
        out.write("\n")
    return _put(path, out.getvalue(), dialect)


def write_volts(
    path: Path, capture: Capture, rate_hz: float, rng: random.Random, *, idle_v: float, noise_v: float = 0.015
) -> Path:
    """An oscilloscope's table of CC in volts: driven 0 V and 1.125 V (vSwing), rounded by 330 ns edges.

    `idle_v` is what Rp and Rd make of the line while nobody drives; the wave must have been rendered with the
    idle level that goes with it.
    """
    out = StringIO()
    names = ["Time [s]", "CC1 [V]"] + (["VBUS [V]"] if capture.vbus else [])
    out.write(",".join(names) + "\n")
    wave = capture.cc
    vbus = capture.vbus.reader(rng) if capture.vbus else None
    step, tau = 1 / rate_hz, 0.15e-6
    idle_edges = _idle_starts(wave)
    driven = False
    changes, place, level = wave.changes, 0, wave.initial
    volts = idle_v if level == wave.initial else 0.0
    for tick in range(int((wave.end_s - wave.start_s) * rate_hz)):
        time_s = wave.start_s + tick * step
        since = step
        while place < len(changes) and changes[place][0] <= time_s:
            target = (1.125 if level else 0.0) if driven else idle_v
            part = changes[place][0] - (time_s - since)
            volts += (target - volts) * (1 - math.exp(-max(0.0, part) / tau))
            since = time_s - changes[place][0]
            level = changes[place][1]
            driven = changes[place][0] not in idle_edges
            place += 1
        target = (1.125 if level else 0.0) if driven else idle_v
        volts += (target - volts) * (1 - math.exp(-since / tau))
        row = f"{time_s:.8f},{volts + rng.gauss(0, noise_v):.3f}"
        if vbus:
            row += f",{vbus.at(time_s):.3f}"
        out.write(row + "\n")
    path.write_text(out.getvalue())
    return path


def _idle_starts(wave: Wave) -> set[float]:
    """The changes after which nobody drives: those with more than 40 us of quiet behind them."""
    times = [t for t, _ in wave.changes]
    return {t for t, after in zip(times, [*times[1:], math.inf], strict=True) if after - t > 40e-6}


_SCALES = {"1 ns": 1e-9, "10 ns": 1e-8, "100 ns": 1e-7, "1ps": 1e-12, "100 ps": 1e-10}


def write_vcd(path: Path, capture: Capture, rng: random.Random, *, scale: str = "1 ns", name: str = "CC1") -> Path:
    """A value change dump (IEEE 1364 clause 18) as a small logger would write it, VBUS as a real variable."""
    unit = _SCALES[scale]
    wave = capture.cc
    out = StringIO()
    out.write(f"$date today $end\n$version workshop logger $end\n$timescale {scale} $end\n")
    out.write("$scope module logic $end\n")
    out.write(f"$var wire 1 ! {name} $end\n$var wire 1 \" spare $end\n")
    if capture.vbus:
        out.write("$var real 64 # VBUS $end\n")
    out.write("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n")
    out.write(f"{wave.initial}!\n0\"\n")
    vbus = capture.vbus.reader(rng) if capture.vbus else None
    if vbus:
        out.write(f"r{vbus.at(wave.start_s):.4f} #\n")
    out.write("$end\n")
    last_tick, last_level = 0, wave.initial
    grid_step = max(1e-3, (wave.end_s - wave.start_s) / 1500)
    next_grid = wave.start_s + grid_step
    for time_s, level in _row_times(capture, VBUS_DIALECTS[0] if vbus else PLAIN_DIALECTS[0]):
        tick = round((time_s - wave.start_s) / unit)
        lines = []
        if level != last_level:
            lines.append(f"{level}!")
            last_level = level
        if vbus and time_s >= next_grid:
            lines.append(f"r{vbus.at(time_s):.4f} #")
            next_grid += grid_step
        if lines:
            out.write((f"#{tick}\n" if tick != last_tick else "") + "\n".join(lines) + "\n")
            last_tick = tick
    out.write(f"#{max(last_tick, round((wave.end_s - wave.start_s) / unit))}\n")
    path.write_text(out.getvalue())
    return path


def write_vcd_pyvcd(path: Path, capture: Capture, rng: random.Random, *, name: str = "CC1") -> Path:
    """The same through the pyvcd package, which shares nothing with the writer above."""
    from vcd import VCDWriter  # here, so that only this writer needs the package

    wave = capture.cc
    with path.open("w") as file, VCDWriter(file, timescale="1 ns", date="today") as writer:
        cc = writer.register_var("probe", name, "wire", size=1, init=wave.initial)
        volts = None
        reader = capture.vbus.reader(rng) if capture.vbus else None
        if reader:
            volts = writer.register_var("probe", "VBUS", "real", init=reader.at(wave.start_s))
        level = wave.initial
        for time_s, new in _row_times(capture, VBUS_DIALECTS[0] if reader else PLAIN_DIALECTS[0]):
            tick = round((time_s - wave.start_s) * 1e9)
            if new != level:
                writer.change(cc, tick, new)
                level = new
            elif reader and volts is not None:
                writer.change(volts, tick, round(reader.at(time_s), 4))
        writer.close(round((wave.end_s - wave.start_s) * 1e9))
    return path
