"""A performance to the bytes of a waveform file: CSV of changes, CSV of samples, or VCD (IEEE 1364).

Why it is: exports differ in everything but the waveform, and a demo or a test wants any of their looks. The same
performance and output give the same bytes.
"""

from __future__ import annotations

import gzip
import re
from collections.abc import Iterator

from pdcheck.errors import ScenarioError
from pdcheck.synth.model import Column, ColumnKind, Form, Manners, Output, Scenario
from pdcheck.synth.player import Performance
from pdcheck.synth.wave import Chance, Wave

_MOST_ROWS = 12_000_000
_SLOW = (ColumnKind.VBUS, ColumnKind.CURRENT)
_DECIMALS = {1.0: 9, 1e-3: 6, 1e-6: 3, 1e-9: 0}
#: Characters that mean something else in a value change dump, a bit range for example.
_NO_NAME = re.compile(r"[^\w.]+")
_TICK_NAMES = {1e-9: "1 ns", 1e-8: "10 ns", 1e-7: "100 ns", 1e-6: "1 us"}


def file_bytes(scenario: Scenario, performance: Performance) -> bytes:
    """The file's bytes. :raises ScenarioError: it would have too many rows."""
    output = scenario.output
    if output.rate_hz is not None and output.form is Form.SAMPLES:
        rows = performance.duration_s * output.rate_hz
    else:
        rows = len(performance.wave.edges) + performance.duration_s / output.every_s
    if rows > _MOST_ROWS:
        raise ScenarioError(
            f"the file would have {rows:,.0f} rows", "end the capture sooner, or take fewer samples", path=scenario.path
        )
    slow = _SlowValues(performance, scenario.manners, scenario.seed)
    lines = _vcd(output, performance, slow) if output.form is Form.VCD else _csv(output, performance, slow)
    data = "".join(lines).encode()
    if output.table.byte_order_mark and output.form is not Form.VCD:
        data = b"\xef\xbb\xbf" + data
    return gzip.compress(data, 9, mtime=0) if output.zipped else data


class _SlowValues:
    """VBUS and current as a meter reads them, with its noise."""

    def __init__(self, performance: Performance, manners: Manners, seed: str) -> None:
        self._traces = performance.traces
        self._noise = {ColumnKind.VBUS: manners.vbus_noise_v, ColumnKind.CURRENT: manners.current_noise_a}
        self._chance = {kind: Chance(seed, kind.value) for kind in _SLOW}

    def at(self, kind: ColumnKind, time_s: float) -> str:
        value = self._traces[kind].at(time_s)
        noise = self._noise[kind]
        if noise:
            value += self._chance[kind].spread(noise)
        text = f"{value:.3f}"
        return text[1:] if text == "-0.000" else text


def _csv(output: Output, performance: Performance, slow: _SlowValues) -> Iterator[str]:
    table, columns = output.table, output.columns
    end = table.line_end
    for line in table.above:
        yield line + end
    if not any(column.kind is ColumnKind.TIME for column in columns):
        yield f"# Sample rate: {output.rate_hz:.0f} Hz{end}"
    if table.header:
        yield table.separator.join(_quoted(column.name, table.separator) for column in columns) + end
    rows = _samples(output, performance) if output.form is Form.SAMPLES else _changes(output, performance)
    if _only_levels(columns):
        zero, one = (_level_cells(columns, table.separator, level) + end for level in (0, 1))
        yield from (one if level else zero for _, level in rows)
        return
    for time_s, level in rows:
        cells = [_cell(column, time_s, level, output, slow) for column in columns]
        yield table.separator.join(cells) + end


def _only_levels(columns: tuple[Column, ...]) -> bool:
    return not any(column.kind in (ColumnKind.TIME, *_SLOW) for column in columns)


def _level_cells(columns: tuple[Column, ...], separator: str, level: int) -> str:
    fixed = {ColumnKind.LOW: "0", ColumnKind.HIGH: "1"}
    return separator.join(fixed.get(column.kind, str(level)) for column in columns)


def _cell(column: Column, time_s: float, level: int, output: Output, slow: _SlowValues) -> str:
    kind = column.kind
    if kind is ColumnKind.CC:
        return "1" if level else "0"
    if kind is ColumnKind.LOW:
        return "0"
    if kind is ColumnKind.HIGH:
        return "1"
    if kind is ColumnKind.TIME:
        text = f"{(time_s - output.zero_s) / column.unit_s:.{_DECIMALS[column.unit_s]}f}"
        if text[0] == "-" and not text.strip("-0."):
            text = text[1:]
    else:
        text = slow.at(kind, time_s)
    return text.replace(".", ",") if output.table.decimal == "," else text


def _quoted(name: str, separator: str) -> str:
    return '"' + name.replace('"', '""') + '"' if separator in name or '"' in name else name


def _on_grid(output: Output, performance: Performance) -> Wave:
    return performance.wave if output.rate_hz is None else performance.wave.sampled(output.rate_hz)


def _changes(output: Output, performance: Performance) -> Iterator[tuple[float, int]]:
    """Time and level of each row: the start, every change, the end; slow columns get rows in between."""
    wave = _on_grid(output, performance)
    level = wave.initial
    every = output.every_s if any(column.kind in _SLOW for column in output.columns) else None
    due, turn = every, 1
    yield 0.0, level
    for time_s, new in (*wave.edges, (performance.duration_s, -1)):
        while every is not None and due is not None and due < time_s:
            yield due, level
            turn += 1
            due = turn * every
        if new >= 0:
            level = new
        if time_s <= performance.duration_s:
            yield time_s, level


def _samples(output: Output, performance: Performance) -> Iterator[tuple[float, int]]:
    assert output.rate_hz is not None
    rate = output.rate_hz
    wave = performance.wave
    level, place, edges = wave.initial, 0, wave.edges
    for index in range(int(performance.duration_s * rate) + 1):
        time_s = index / rate
        while place < len(edges) and edges[place][0] <= time_s:
            level = edges[place][1]
            place += 1
        yield time_s, level


def _vcd(output: Output, performance: Performance, slow: _SlowValues) -> Iterator[str]:
    columns = [column for column in output.columns if column.kind is not ColumnKind.TIME]
    marks = {column.name: chr(ord("!") + place) for place, column in enumerate(columns)}
    yield "$comment\n    Written by pdcheck synth; not a capture of any device.\n$end\n"
    yield f"$timescale {_TICK_NAMES[output.tick_s]} $end\n$scope module bench $end\n"
    for column in columns:
        kind = "real 64" if column.kind in _SLOW else "wire 1"
        name = _NO_NAME.sub("_", column.name).strip("_") or f"line_{marks[column.name]}"
        yield f"$var {kind} {marks[column.name]} {name} $end\n"
    yield "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n"
    levels = [column for column in columns if column.kind is ColumnKind.CC]
    slow_columns = [column for column in columns if column.kind in _SLOW]
    fixed = {ColumnKind.LOW: "0", ColumnKind.HIGH: "1", ColumnKind.CC: str(performance.wave.initial)}
    for column in columns:
        if column.kind in _SLOW:
            yield f"r{slow.at(column.kind, 0.0)} {marks[column.name]}\n"
        else:
            yield fixed[column.kind] + marks[column.name] + "\n"
    yield "$end\n"
    last_tick, last_level = 0, performance.wave.initial
    next_slow = output.every_s
    for time_s, level in _changes(output, performance):
        changed: list[str] = []
        if level != last_level:
            changed += [f"{level}{marks[column.name]}\n" for column in levels]
            last_level = level
        if slow_columns and time_s >= next_slow:
            changed += [f"r{slow.at(column.kind, time_s)} {marks[column.name]}\n" for column in slow_columns]
            next_slow = time_s + output.every_s
        if changed:
            tick = round(time_s / output.tick_s)
            if tick != last_tick:
                yield f"#{tick}\n"
                last_tick = tick
            yield from changed
    yield f"#{max(last_tick + 1, round(performance.duration_s / output.tick_s))}\n"
