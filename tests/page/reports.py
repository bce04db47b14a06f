"""Reports for the tests of the page: the demo captures', a hostile one, and ten minutes of a programmable supply."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np

from pdcheck import check, decode, open_capture
from pdcheck.capture.model import AnalogLine, Capture, DigitalLine, Role
from pdcheck.conversation.model import Conversation, Exchange, Transmission
from pdcheck.messages.model import Message
from pdcheck.report.model import Report
from tests.reference.second_encoder import LineManners, Packet, render

DEMO = Path(__file__).parents[2] / "captures" / "demo"
DEMOS = tuple(sorted(
    path.name for path in DEMO.iterdir() if path.suffix != ".talk" and path.name != "index.csv"
))
#: Text that would be markup, script, the end of either, a line end in old scripts, or turn the direction of writing.
HOSTILE = (
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>]]>&lt;{{7*7}}"
    "\u2028\u2029\u202egnp.\x00\x07\x1b[31m</style>"
)


@lru_cache(maxsize=32)
def demo(name: str) -> Report:
    """The report on a demo capture."""
    return check(decode(open_capture(str(DEMO / name))))


def hostile() -> Report:
    """A report in which every text that can come from outside is hostile."""
    good = demo("scanner_charges_at_9v.csv")
    reading = good.reading
    lines = tuple(replace(line, name=f"{HOSTILE}{n}") for n, line in enumerate(reading.capture.lines))
    cc = next(new.name for old, new in zip(reading.capture.lines, lines, strict=True) if old.name == reading.cc)
    capture = replace(reading.capture, path=HOSTILE, kind=HOSTILE, lines=lines)
    bad = demo("tablet_never_asks.csv").verdict
    findings = tuple(
        replace(f, summary=HOSTILE, why=HOSTILE, reference=HOSTILE, next=(HOSTILE,), rule=HOSTILE) for f in bad.findings
    )
    verdict = replace(
        good.verdict, outcome=bad.outcome, stopped_at=bad.stopped_at, suspect=bad.suspect, summary=HOSTILE,
        leading=findings[0], findings=findings, next=(HOSTILE,),
    )
    return Report(
        HOSTILE, replace(reading, capture=capture, cc=cc, notes=(HOSTILE,)), _hostile_talk(good.conversation), verdict
    )


def _hostile_talk(talk: Conversation) -> Conversation:
    """The conversation with names, problems and texts in its messages made hostile."""

    def spoil(message: Message) -> Message:
        objects = tuple(replace(o, fields={**o.fields, "vendor_text": HOSTILE}) for o in message.objects)
        return replace(message, name=HOSTILE if message.name == "Accept" else message.name, objects=objects,
                       problems=(HOSTILE,))

    def sent(one: Transmission) -> Transmission:
        return one._replace(message=spoil(one.message)) if one.message is not None else one

    def told(one: Exchange) -> Exchange:
        message = spoil(one.message)
        return replace(one, message=message, name=message.name)

    return replace(
        talk, transmissions=tuple(sent(t) for t in talk.transmissions),
        exchanges=tuple(told(e) for e in talk.exchanges), revision=HOSTILE,
    )


@lru_cache(maxsize=1)
def keep_alive(packets: int = 50_000, duration_s: float = 600.0) -> Report:
    """A programmable supply that is asked anew all the time: half of the packets are GoodCRCs.

    The edges are another encoder's (``tests/reference``), each distinct message drawn once and set where it belongs.
    """
    sent = packets_of(packets, duration_s)
    drawn: dict[bytes, np.ndarray] = {}
    parts = []
    for start_s, payload in sent:
        if payload not in drawn:
            one = Packet(1e-3, "source", payload)
            wave = render([one], LineManners(start="edge"), random.Random(1), end_s=one.end_s + 1e-3)
            drawn[payload] = np.array([t - wave.start_s - 1e-3 for t, _ in wave.changes])
        parts.append(drawn[payload] + start_s)
    edges = np.concatenate(parts)
    noise = np.random.default_rng(7)
    edges = edges + noise.normal(0.0, 10e-9, len(edges))
    times = np.arange(0.0, duration_s, 1e-3)
    volts = np.where(times < 0.35, 5.05, 8.6) + noise.normal(0.0, 0.01, len(times))
    amps = np.where(times < 0.35, 0.02, 1.9) + noise.normal(0.0, 0.01, len(times))
    lines = (
        DigitalLine("CC1", Role.CC1, False, edges), AnalogLine("VBUS [V]", Role.VBUS, "V", times, volts),
        AnalogLine("Current [A]", Role.CURRENT, "A", times, amps),
    )
    return check(decode(Capture("ten_minutes.csv", "csv-edges", 0.0, duration_s, None, lines)))


def packets_of(count: int, duration_s: float) -> list[tuple[float, bytes]]:
    """Start and bytes of each packet. Header fields by the message header table of USB PD."""
    out: list[tuple[float, bytes]] = []
    now = 0.3
    numbers = [0, 0]

    def say(role: int, kind: int, *objects: int) -> None:
        nonlocal now
        for who, type_, words in ((role, kind, objects), (1 - role, 1, ())):
            header = type_ | 2 << 6 | who << 8 | numbers[role] << 9 | len(words) << 12
            payload = b"".join([header.to_bytes(2, "little"), *(w.to_bytes(4, "little") for w in words)])
            out.append((now, payload))
            now = Packet(now, "source", payload).end_s + 100e-6
        numbers[role] = (numbers[role] + 1) % 8

    # Fixed 5 V 3 A, and a programmable supply of 3.3 to 11 V, 3 A.
    say(1, 1, 0x0A01912C, 0xC0000000 | 110 << 17 | 33 << 8 | 60)
    every = (duration_s - 1.0) / (count / 6)
    begin = now
    round_ = 0
    while len(out) < count:
        now = max(now + 3e-3, begin + round_ * every)
        say(0, 2, 2 << 28 | (420 + round_ % 40) << 9 | 40)
        now += 2e-3
        say(1, 3)
        now += 25e-3 if round_ == 0 else 12e-3
        say(1, 6)
        round_ += 1
    return out[:count]
