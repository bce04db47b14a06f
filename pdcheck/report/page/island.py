"""What the page's script needs to draw: one JSON value in the page, as compact as its budget.

Why it is: fifty thousand messages as marked-up text are a page that no browser scrolls; as columns of small numbers
they are a megabyte that is drawn where one looks. What the budget leaves out is said where it is missing.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from pdcheck.capture.model import AnalogLine, DigitalLine
from pdcheck.conversation.model import Party, Transmission
from pdcheck.line.closeup import Edges, edges_around, samples_around
from pdcheck.report.as_text import printable
from pdcheck.report.model import Report
from pdcheck.report.page.fields import part_key, part_words, spans_of
from pdcheck.report.page.lines import columns, drawn_lines, tolerance_v
from pdcheck.report.page.talk import Kind, Row, Talk
from pdcheck.report.page.timing import Wait, WaitState
from pdcheck.report.page.wave import Wave, grid_start_s, wave_of
from pdcheck.report.page.words import PARTY_WORDS, packet_name
from pdcheck.standard.line_code import DATA_SYMBOLS, EOP, K_CODES, ORDERED_SETS
from pdcheck.verdict import contract_words

#: Times in the island are whole numbers of these.
TICK_S = 1e-7
_EDGE_TICK_S = 1e-8
_PARTIES = (Party.SOURCE, Party.SINK, Party.CABLE, Party.UNKNOWN)
# What the page may spend, so that an ordinary capture's stays well under a megabyte. Our own choice.
_MOST_EDGES = 70_000
_MOST_SAMPLES = 30_000
_SAMPLES_A_PACKET = 8_000
_MOST_KINDS = 2_000
_MOST_PARTS = 500
_MOST_BURSTS = 500
_EDGES_A_BURST = 6_000
_COLUMNS = 1_200
_BROKEN_BITS = 60


@dataclass
class _Table:
    """Distinct things in the order in which they were first met."""

    rows: list[Any] = field(default_factory=list)
    known: dict[Any, int] = field(default_factory=dict)


def island(
    report: Report, talk: Talk, waits: tuple[Wait, ...], line: DigitalLine | None, *, with_rows: bool
) -> Markup:
    """The JSON text, safe to stand in a script element.

    :param line: the CC line that was read, as two levels.
    :param with_rows: every row of the conversation with its fields as well, for a list that is drawn on scroll.
    """
    value = _value(report, talk, waits, with_rows) | _close(report, talk, line)
    return script_safe(json.dumps(value, separators=(",", ":"), ensure_ascii=False, allow_nan=False))


def script_safe(text: str) -> Markup:
    """JSON text without a character that could end a script element or a line of script."""
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def _value(report: Report, talk: Talk, waits: tuple[Wait, ...], with_rows: bool) -> dict[str, Any]:
    sent = report.conversation.transmissions
    tables = _Kinds(with_rows)
    numbers = [tables.number(one) for one in sent]
    # An intact packet begins with its first bit here, so that the script can set its bits under the wave.
    begins = [grid_start_s(one.packet) if one.packet.intact else one.packet.start_s for one in sent]
    starts = [round(begin / TICK_S) for begin in begins]
    value: dict[str, Any] = {
        "duration": max(report.conversation.duration_s, 1e-6),
        "focus": list(talk.focus),
        "broke": talk.break_s,
        "parties": [PARTY_WORDS[party] for party in _PARTIES],
        "start": _steps(starts),
        "length": [
            max(0, round((one.packet.end_s - begin) / TICK_S)) for one, begin in zip(sent, begins, strict=True)
        ],
        "kind": numbers,
        "unheard": [i for i, one in enumerate(sent) if one.acknowledged is False],
        "preamble": {i: one.packet.preamble_bits for i, one in enumerate(sent) if one.packet.preamble_bits != 64},
        "kinds": tables.kinds.rows,
        "bursts": [round(b.start_s / TICK_S) for b in report.conversation.bursts if b.like_traffic],
        "lines": list(_lines(report, talk)),
        "contracts": list(_contracts(report)),
        "waits": _waits(waits),
        "idle": {True: 1, False: 0, None: None}[report.reading.idle_high],
        "code": {
            "data": [f"{code:05b}"[::-1] for code in DATA_SYMBOLS],
            "k": {f"{code:05b}"[::-1]: name for name, code in K_CODES.items()},
            "sets": {sop.value: "".join(f"{c:05b}"[::-1] for c in codes) for sop, codes in ORDERED_SETS.items()},
            "eop": f"{EOP:05b}"[::-1],
        },
    }
    if with_rows:
        value |= _rows(talk, tables)
    return value


def _steps(times: list[int]) -> list[int]:
    """The first time, then each as the distance from the one before."""
    return [now - before for before, now in zip([0, *times], times, strict=False)]


class _Kinds:
    """The distinct messages and the distinct objects in them."""

    def __init__(self, with_parts: bool) -> None:
        self.kinds = _Table()
        self.parts = _Table()
        self._with_parts = with_parts

    def number(self, one: Transmission) -> int:
        """The number of a transmission's kind."""
        packet = one.packet
        key: tuple[object, ...] = (packet.data, packet.sop, one.sender, packet.problem, one.name)
        known = self.kinds.known.get(key)
        if known is not None:
            return known
        full = len(self.kinds.rows) < _MOST_KINDS
        if not full:
            key = (None, packet.sop, one.sender, packet.problem, one.name)
            known = self.kinds.known.get(key)
            if known is not None:
                return known
        number = self.kinds.known[key] = len(self.kinds.rows)
        self.kinds.rows.append(self._kind(one, full))
        return number

    def _kind(self, one: Transmission, full: bool) -> dict[str, Any]:
        packet, message = one.packet, one.message
        sop = packet.sop
        to_cable = sop is not None and sop.to_cable
        receiver = Party.CABLE if to_cable and one.sender is not Party.CABLE else one.sender.other
        if one.sender is Party.CABLE:
            receiver = Party.SOURCE
        kind: dict[str, Any] = {
            "name": printable(packet_name(one)), "from": _PARTIES.index(one.sender), "to": _PARTIES.index(receiver),
        }
        if sop is not None:
            kind["set"] = sop.value
        if packet.problem is not None:
            kind["problem"] = packet.problem.value
        if packet.intact and full:
            kind["hex"] = packet.data.hex()
            if message is not None:
                kind["spans"] = [[printable(words), size] for words, size in spans_of(message)]
        if self._with_parts and message is not None and full:
            from pdcheck.messages.header import layout_of

            header = layout_of(to_cable).parse_word(message.header.raw)
            kind["parts"] = [number for part in (header, *message.objects) if (number := self._part(part)) is not None]
        return kind

    def _part(self, one: Any) -> int | None:
        key = part_key(one)
        known = self.parts.known.get(key)
        if known is None and len(self.parts.rows) < _MOST_PARTS:
            words = part_words(one)
            known = self.parts.known[key] = len(self.parts.rows)
            self.parts.rows.append([
                printable(words.title), printable(words.raw), printable(words.gist),
                [[printable(c) for c in (f.bits, f.name, f.value, f.meaning)] for f in words.fields],
            ])
        return known


def _rows(talk: Talk, tables: _Kinds) -> dict[str, Any]:
    """Rows in columns: moment, first transmission (-1: none), tries, and the numbers of their words."""
    words = _Table()

    def number(text: str) -> int:
        known = words.known.get(text)
        if known is None:
            known = words.known[text] = len(words.rows)
            words.rows.append(printable(text))
        return known

    rows = talk.rows
    return {
        "parts": tables.parts.rows,
        "words": words.rows,
        "rows": {
            "t": _steps([round(row.start_s / TICK_S) for row in rows]),
            "i": [row.index for row in rows],
            "n": [row.tries for row in rows],
            "name": [number(row.name) for row in rows],
            "says": [number(_says(row)) for row in rows],
            "heard": [number(row.heard_words) for row in rows],
            "state": [_STATES.index(row.heard) if row.kind is not Kind.BREAK else 4 for row in rows],
        },
    }


_STATES = ("", "yes", "no", "unknown")


def _says(row: Row) -> str:
    return ": ".join(part for part in (row.does, row.gist) if part)


def _lines(report: Report, talk: Talk) -> Iterator[dict[str, Any]]:
    duration = max(report.conversation.duration_s, 1e-6)
    windows = [(0.0, duration)]
    for start, end in _windows(report, talk, duration):
        # A window that is nearly the whole says nothing new.
        if end - start < 0.7 * duration and end > start:
            windows.append((start, end))
    for drawn in drawn_lines(report):
        factor = 1000 if drawn.unit else 1
        layers = []
        for start, end in windows:
            seen = columns(drawn, start, end, _COLUMNS)
            layers.append([start, end, _COLUMNS, _runs(seen.low, seen.high, factor)])
        yield {
            "label": printable(drawn.label), "role": drawn.role, "unit": drawn.unit,
            "low": round(drawn.low * factor), "high": round(drawn.high * factor), "layers": layers,
        }


def _windows(report: Report, talk: Talk, duration: float) -> list[tuple[float, float]]:
    moments = [f.t_s for f in report.verdict.findings if f.t_s is not None][:3]
    out = [talk.focus]
    out += [(max(0.0, t - 0.1), min(duration, t + 0.1)) for t in moments]
    return out


def _runs(low: tuple[float | None, ...], high: tuple[float | None, ...], factor: int) -> list[int]:
    """Columns as (how many, least, greatest) in one flat list; where there is no value, least is above greatest."""
    flat: list[int] = []
    before: tuple[int, int] | None = None
    for a, b in zip(low, high, strict=True):
        pair = (1, 0) if a is None or b is None else (round(a * factor), round(b * factor))
        if a is None:
            pair = (10**7, -(10**7))
        if pair == before:
            flat[-3] += 1
        else:
            flat += [1, *pair]
            before = pair
    return flat


def _contracts(report: Report) -> Iterator[list[Any]]:
    """Contracts: from and to in ticks, the levels that are allowed, the agreed one, words."""
    for contract in report.conversation.contracts:
        band = tolerance_v(contract)
        end = contract.ended_s if contract.ended_s is not None else report.conversation.duration_s
        low, high = (round(band[0] * 1e3), round(band[1] * 1e3)) if band is not None else (None, None)
        yield [
            round(contract.since_s / TICK_S), round(end / TICK_S), low, high, contract.voltage_mv,
            contract_words(contract),
        ]


def _waits(waits: tuple[Wait, ...]) -> dict[str, Any]:
    """Waits in columns: start, length, and the numbers of their state and of what is waited for."""
    kinds = _Table()
    numbers = []
    for wait in waits:
        key = (wait.what, wait.limit.name)
        if key not in kinds.known:
            kinds.known[key] = len(kinds.rows)
            kinds.rows.append([wait.what, wait.limit_s, wait.allowed, wait.limit.name])
        numbers.append(kinds.known[key])
    return {
        "t": _steps([round(wait.start_s / TICK_S) for wait in waits]),
        "long": [round(wait.length_s / TICK_S) for wait in waits],
        "kind": numbers,
        "over": [int(wait.state in (WaitState.MISSING, WaitState.LATE)) for wait in waits],
        "kinds": kinds.rows,
    }


def by_weight(report: Report, talk: Talk) -> list[int]:
    """Indices of the transmissions, those that matter most first: the stretch that the verdict is about, what lies
    around each finding, then all from the start."""
    sent = report.conversation.transmissions
    marks = [f.t_s for f in report.verdict.findings if f.t_s is not None]

    def weight(index: int) -> tuple[int, int]:
        t_s = sent[index].packet.start_s
        if talk.focus[0] <= t_s <= talk.focus[1]:
            return 0, index
        return (1 if any(abs(t_s - mark) < 0.05 for mark in marks) else 2), index

    return sorted(range(len(sent)), key=weight)


def _close(report: Report, talk: Talk, line: DigitalLine | None) -> dict[str, Any]:
    """Edges, volts and, of broken packets, the bits: of the packets that matter most, as far as the budget goes."""
    if line is None:
        return {"edges": {}, "volts": {}, "read": {}, "unread": []}
    volts = next(
        (one for one in report.reading.capture.lines if one.name == report.reading.cc and isinstance(one, AnalogLine)),
        None,
    )
    sent = report.conversation.transmissions
    edges: dict[int, Any] = {}
    samples: dict[int, Any] = {}
    read: dict[int, Any] = {}
    spent = spent_samples = 0
    for index in by_weight(report, talk):
        if spent > _MOST_EDGES:
            break
        packet = sent[index].packet
        edges[index] = _edges(edges_around(line, packet.start_s, packet.end_s))
        spent += len(edges[index][3])
        if volts is not None and spent_samples < _MOST_SAMPLES:
            points = samples_around(volts, packet.start_s, packet.end_s, _SAMPLES_A_PACKET)
            times = [round(t / _EDGE_TICK_S) for t, _ in points]
            if points:
                samples[index] = [_steps(times), [round(v * 1000) for _, v in points]]
            spent_samples += len(points)
        if not packet.intact and len(read) < _BROKEN_BITS:
            bits = _bits(wave_of(line, None, packet, None))
            if bits is not None:
                read[index] = bits
    unread = []
    for burst in [b for b in report.conversation.bursts if b.like_traffic][:_MOST_BURSTS]:
        if spent > _MOST_EDGES:
            break
        if burst.edges <= _EDGES_A_BURST:
            unread.append(_edges(edges_around(line, burst.start_s, burst.end_s)))
            spent += len(unread[-1][3])
    return {"edges": edges, "volts": samples, "read": read, "unread": unread}


def _edges(around: Edges) -> list[Any]:
    """Start, length, level at the start, and the distance of each edge from the one before."""
    begin = round(around.start_s / _EDGE_TICK_S)
    places = [round(t / _EDGE_TICK_S) - begin for t in around.times_s]
    return [begin, round((around.end_s - around.start_s) / _EDGE_TICK_S), int(around.level), _steps(places)]


def _bits(wave: Wave) -> list[Any] | None:
    """A broken packet's bits: start, seconds a bit, the bits, where the ordered set begins."""
    if not wave.bits:
        return None
    first, last = wave.bits[0], wave.bits[-1]
    return [
        first.start_s, (last.end_s - first.start_s) / len(wave.bits), "".join(b.words for b in wave.bits), wave.first,
    ]
