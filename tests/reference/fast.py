"""Families judged as packets, without a waveform: thousands a minute.

Why it is: rare combinations of delays need many conversations. A packet here is what the line room would have made of
it (`tests/conversation/told.py`); VBUS and the current are the world's own.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.conversation.follow import follow_packets
from pdcheck.line.model import Crc, Packet, Problem
from pdcheck.rules import Case
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.told import Told, reading_of, sampled, told
from tests.reference.families import Drawn, draw, outcome


@dataclass(frozen=True)
class Judged:
    """What came of a conversation. kind: "right", "accuses" (an innocent party) or "misses"."""

    drawn: Drawn
    one: Told
    verdict: Verdict
    kind: str
    text: str

    def findings(self) -> str:
        """What the checker found, one line each."""
        return "\n".join(f"{f.severity} {f.rule} {f.who}: {f.summary}" for f in self.verdict.findings)


def as_told(drawn: Drawn, *, with_vbus: bool | None = None) -> Told:
    """The packets on the line, with VBUS two times in three or where the row needs it."""
    rng = random.Random(f"told/{drawn.name}/{drawn.seed}")
    vbus = drawn.row.vbus or drawn.row.current or drawn.seed % 3 != 0 if with_vbus is None else with_vbus
    tail = rng.choice((0.01, 0.3, 2.0))
    one = told(drawn.world, rng, tail_s=tail if drawn.world.cut_end_s is None else 0.0, with_vbus=vbus)
    packets, names = list(one.packets), list(one.names)
    for place, packet in enumerate(drawn.world.packets):
        if packet.flaws.cut_bits:
            cut = packet.flaws.cut_bits
            start = packets[place].start_s + cut / packet.rate_bps
            packets[place] = replace(packets[place], start_s=start, preamble_bits=packets[place].preamble_bits - cut)
    for start, length, rate in drawn.world.carriers:
        packets.append(Packet(start, start + length, None, b"", Crc.BAD, Problem.NO_START, rate, 0.0, 30e-9, 64))
        names.append("carrier")
    order = sorted(range(len(packets)), key=lambda n: packets[n].start_s)
    return replace(one, packets=tuple(packets[n] for n in order), names=tuple(names[n] for n in order))


def verdict_on(one: Told, amps: Sequence[tuple[float, float]] | None = None) -> Verdict:
    """The checker's verdict; amps: breakpoints of the current, where it was captured."""
    reading = reading_of(one)
    if amps is not None and (line := sampled(amps, one.duration_s)) is not None:
        current: AnalogLine = replace(line, name="Current [A]", role=Role.CURRENT, unit="A")
        reading = replace(reading, capture=replace(reading.capture, lines=(*reading.capture.lines, current)))
    return judge_case(Case.of(reading, follow_packets(one.packets, one.bursts, one.duration_s)))


def judge(name: str, seed: int) -> Judged:
    """Draw, tell and judge a row."""
    drawn = draw(name, seed)
    one = as_told(drawn)
    measured = drawn.row.current or (one.vbus is not None and seed % 2 == 0)
    verdict = verdict_on(one, drawn.world.amps if measured else None)
    kind, text = outcome(drawn, said(verdict))
    return Judged(drawn, one, verdict, kind, text)


def said(verdict: Verdict) -> dict[str, Any]:
    """The parts of a report that are judged, as the JSON report has them."""
    contract = verdict.contract
    return {
        "verdict": str(verdict.outcome), "stopped_at": _word(verdict.stopped_at), "suspect": _word(verdict.suspect),
        "summary": verdict.summary,
        "findings": [
            {"rule": f.rule, "severity": str(f.severity), "who": _word(f.who), "summary": f.summary}
            for f in verdict.findings
        ],
        "contract": None if contract is None else {
            "position": contract.position, "voltage_mv": contract.voltage_mv,
        },
    }  # fmt: skip


def _word(value: object) -> str | None:
    return None if value is None else str(value)
