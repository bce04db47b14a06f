"""Families judged as packets, without a waveform: thousands a minute.

Why it is: rare combinations of delays need many conversations. A packet here is what the line room would have made of
it (`tests/conversation/told.py`); VBUS and the current are the world's own.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.conversation.follow import follow_packets
from pdcheck.line.model import Crc, Packet, Problem
from pdcheck.rules import Case
from pdcheck.verdict import Verdict, judge_case
from tests.conversation.told import (
    Told,
    acknowledged_places,
    cut,
    late,
    mended,
    moments,
    reading_of,
    sampled,
    told,
)
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
            packets[place] = packets[place]._replace(start_s=start, preamble_bits=packets[place].preamble_bits - cut)
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


#: Healthy rows in which one side is deaf for a while: cut before it wakes, naming it is right.
DEAF_AT_FIRST = {
    "offers_find_nobody_first": "sink", "battery_was_dead": "sink", "cable_between_offers": "sink",
    "offers_retried_too_often": "sink", "offers_too_fast": "sink", "offers_too_slow": "sink",
}  # fmt: skip


def accusations(drawn: Drawn, one: Told) -> list[str]:
    """Which innocent parties the checker names when only `one`, a part of the conversation, was captured."""
    verdict = verdict_on(one)
    report = said(verdict)
    innocent = set(drawn.innocent) - {DEAF_AT_FIRST.get(drawn.name)}
    named = [
        f"{f['severity']} {f['rule']} names {f['who']}"
        for f in report["findings"] if f["severity"] in ("warn", "fail") and f["who"] in innocent
    ]  # fmt: skip
    if report["verdict"] == "fail" and report["suspect"] in innocent:
        named.insert(0, f"fail at {report['stopped_at']} of {report['suspect']}")
    return named


def partial(name: str, seed: int, places: int = 40) -> Iterator[tuple[Told, str]]:
    """The conversation with its end cut off, or its beginning, at up to `places` moments, and the wrong accusations."""
    drawn = draw(name, seed)
    whole = as_told(drawn)
    rng = random.Random(f"partial/{name}/{seed}")
    cuts = list(moments(whole, rng))
    for at in rng.sample(cuts, min(places, len(cuts))):
        one = cut(whole, min(at, whole.duration_s))
        yield one, "; ".join(f"cut at {at:.6f}: {text}" for text in accusations(drawn, one))
    for _ in range(places // 4):
        at = rng.uniform(0.0, whole.duration_s * 0.98)
        one = late(whole, at)
        yield one, "; ".join(f"from {at:.6f} on: {text}" for text in accusations(drawn, one))


def retried(name: str, seed: int, places: int = 8) -> Iterator[tuple[Told, str]]:
    """A healthy conversation with one message lost once or twice and mended by a retry, and what is wrong then."""
    drawn = draw(name, seed)
    whole = as_told(drawn)
    rng = random.Random(f"retried/{name}/{seed}")
    where = acknowledged_places(whole)
    for place in rng.sample(where, min(places, len(where))):
        how = rng.choice(("message", "ack", "no ack"))
        one = mended(whole, place, how, rng.randint(1, 2), rng)
        result = said(verdict_on(one))["verdict"]
        wrong = accusations(drawn, one)
        if result not in drawn.row.expect.verdicts:
            wrong.insert(0, f"verdict {result}")
        yield one, "; ".join(f"{whole.names[place]} {how}: {text}" for text in wrong)


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
