"""Pairs of conversations of the reference talks, judged: the same story with other delays, and with a fault in it.

The talks come from ``tests/reference``, which packs every word by its own arithmetic and shares no code with the
checker. What is said there is drawn with ``choice``, ``randint`` and ``random``, every delay with ``uniform``; two
streams of random numbers make the same conversation at other times.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from pdcheck.capture.model import Capture, Line
from pdcheck.conversation.follow import follow_packets
from pdcheck.report.model import Report
from pdcheck.rules import Case
from pdcheck.verdict import judge_case
from tests.conversation.told import Told, reading_of, told
from tests.reference.cases import Way, draw_ports
from tests.reference.faulty_talks import FAULTY
from tests.reference.faulty_talks import NEEDS_R3X as FAULTY_R3X
from tests.reference.healthy_talks import HEALTHY
from tests.reference.healthy_talks import NEEDS_R3X as HEALTHY_R3X
from tests.reference.second_encoder import Packet
from tests.reference.talk import T_PS_TRANSITION, Talk

#: Stories without a repeated try, so that every message has a row of its own.
STRAIGHT = ("plain", "captive_cable", "mismatch", "odd_objects", "lost_once")


class TwoStreams(random.Random):
    """What is drawn with ``uniform`` comes from a stream of its own."""

    delays: random.Random

    def uniform(self, a: float, b: float) -> float:
        return self.delays.uniform(a, b)


def two_streams(content: object, delays: object) -> TwoStreams:
    rng = TwoStreams(str(content))
    rng.delays = random.Random(str(delays))
    return rng


class Broken(Exception):
    """The talk ends here."""


class Breaking(Talk):
    """A talk in which one message between the ports goes wrong, counted from 0; ``starts`` are those of all so far.

    how: "silent", it is never sent, and whoever waits for it resets; "deaf", nobody acknowledges it, and its sender
    resets.
    """

    place = -1
    how = ""

    def begin(self, place: int, how: str) -> None:
        self.place, self.how = place, how
        self.starts: list[tuple[float, str, str]] = []

    def say(
        self, sender: str, kind: str, objects: Sequence[int] = (), *, sop: str = "SOP", lost: str = "",
        tries_lost: int = 1,
    ) -> Packet:
        if sop == "SOP":
            self.starts.append((self.now, sender, kind))
            if len(self.starts) - 1 == self.place:
                self._break(sender, kind, objects)
        return super().say(sender, kind, objects, sop=sop, lost=lost, tries_lost=tries_lost)

    def _break(self, sender: str, kind: str, objects: Sequence[int]) -> None:
        if self.how == "deaf":
            self.unanswered(sender, kind, objects)
            self.wait((1e-3, 5e-3))
            self.hard_reset(sender, back=False)
        else:
            self.wait(T_PS_TRANSITION if kind == "PS_RDY" else self.sender_response())
            self.hard_reset(self.partner(sender, "SOP"), back=False)
        raise Broken


def broken_talk(name: str, content: int, delays: int, place: int, how: str) -> tuple[Breaking, Told]:
    """A healthy story that breaks at a place; the unbroken one where ``place`` is -1."""
    rng = two_streams(f"{name}/{content}", f"{name}/{delays}")
    ports = draw_ports(rng, Way(rates=(rng.uniform(275e3, 325e3), rng.uniform(275e3, 325e3))),
                       r3x=name in HEALTHY_R3X)
    talk = Breaking(rng, ports, rng.uniform(0.05, 0.5))
    talk.begin(place, how)
    try:
        HEALTHY[name](talk)
    except Broken:
        assert place >= 0
    return talk, told(talk, random.Random(f"{name}/{delays}"), tail_s=6.0)


def healthy_talk(name: str, content: int, delays: int, *, tail_s: float = 0.3, with_vbus: bool = True) -> Told:
    """A healthy story; one content at many delays."""
    rng = two_streams(f"{name}/{content}", f"{name}/{delays}")
    ports = draw_ports(rng, Way(rates=(rng.uniform(275e3, 325e3), rng.uniform(275e3, 325e3))),
                       r3x=name in HEALTHY_R3X)
    talk = Talk(rng, ports, rng.uniform(0.05, 0.5))
    HEALTHY[name](talk)
    return told(talk, random.Random(f"{name}/{delays}"), tail_s=tail_s, with_vbus=with_vbus)


def faulty_talk(name: str, content: int, delays: int) -> Told:
    """A row of the table of faults."""
    rng = two_streams(f"{name}/{content}", f"{name}/{delays}")
    talk = Talk(rng, draw_ports(rng, Way(), r3x=name in FAULTY_R3X), rng.uniform(0.05, 0.5))
    FAULTY[name][0](talk)
    return told(talk, random.Random(f"{name}/{delays}"))


def judged(one: Told, path: str = "told") -> Report:
    """The report on a conversation."""
    reading = reading_of(one)
    talk = follow_packets(one.packets, one.bursts, one.duration_s)
    return Report(path, reading, talk, judge_case(Case.of(reading, talk)))


def with_lines(report: Report, lines: Sequence[Line], cc: str) -> Report:
    """The report with other columns in its capture, read from ``cc``."""
    capture: Capture = replace(report.reading.capture, lines=tuple(lines))
    return replace(report, reading=replace(report.reading, capture=capture, cc=cc))
