"""The level of CC: every band and the gaps between them, changes, both contacts, and what silence on it proves."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pdcheck import check, decode, open_capture
from pdcheck.capture.model import AnalogLine, Capture, Role
from pdcheck.conversation.follow import follow_packets
from pdcheck.conversation.model import Step
from pdcheck.line.model import LineReading, SignalQuality
from pdcheck.line.reading import read_capture
from pdcheck.rules import Case, Severity, Who
from pdcheck.verdict import Outcome, StepState, Verdict, judge_case
from tests.conversation.told import Told, reading_of, told
from tests.reference import words
from tests.reference.cases import draw_case
from tests.reference.healthy_talks import offer_to
from tests.reference.judge import judge
from tests.reference.offers import fixed_offer
from tests.reference.talk import Ports, Talk
from tests.reference.wave_files import write_volts
from tests.rules.meters import at
from tests.rules.scenes import OFFER, negotiate

Points = Sequence[tuple[float, float]]


def line_of(points: Points, duration_s: float, one: Told | None = None, *, name: str = "CC1", gain: float = 1.0,
            noise: float = 0.015) -> AnalogLine:
    """CC in volts: the rest, and while a packet is sent 0 and 1.125 V in turn (vSwing)."""
    rng = np.random.default_rng(1)
    times = np.arange(0.0, duration_s, 0.5e-3)
    values = at(points, times)
    for packet in one.packets if one is not None else ():
        inside = np.arange(packet.start_s, packet.end_s, 3e-6)
        swing = np.where(np.arange(len(inside)) % 2 == 0, 0.0, 1.125)
        after = np.array([packet.end_s + 5e-6])
        keep = (times < packet.start_s) | (times > packet.end_s)
        times = np.concatenate((times[keep], inside, after))
        values = np.concatenate((values[keep], swing, at(points, after)))
    order = np.argsort(times, kind="stable")
    values = (values[order] + rng.normal(0.0, noise, len(times))) * gain
    role = Role.CC1 if name == "CC1" else Role.CC2
    return AnalogLine(name, role, "V", times[order], values)


def silence(*lines: AnalogLine, duration_s: float = 2.0, amps: float | None = None) -> Verdict:
    """A capture of these lines in which nobody talks."""
    some: tuple[AnalogLine, ...] = lines
    if amps is not None:
        times = np.arange(0.0, duration_s, 1e-3)
        drawn = np.where(times > 0.2, amps, 0.0) + np.random.default_rng(2).normal(0.0, 0.01, len(times))
        some = (*lines, AnalogLine("A", Role.CURRENT, "A", times, drawn))
    capture = Capture("told", "csv-samples", 0.0, duration_s, 0.25e-6, some)
    quality = SignalQuality(0, 0, 0, 0, 0, None, None, None, None, None, None)
    return judge_case(Case.of(LineReading(capture, None, (), (), quality, None), follow_packets((), (), duration_s)))


def flat(volts: float, *, name: str = "CC1") -> AnalogLine:
    return line_of([(0.0, volts)], 2.0, name=name)


def said(verdict: Verdict, rule: str) -> str:
    """What a rule says; empty where it says nothing."""
    return " ".join(f.summary for f in verdict.findings if f.rule == rule)


@pytest.mark.parametrize(
    ("volts", "text", "joined"),
    [
        # Type-C R2.0 Table 4-36 as quoted in a public design note: 0.25 to 0.61, 0.70 to 1.16, 1.31 to 2.04 V.
        (0.26, "default USB power", True), (0.41, "default USB power", True), (0.60, "default USB power", True),
        (0.71, "1.5 A", True), (0.92, "1.5 A", True), (1.15, "1.5 A", True),
        (1.32, "3.0 A", True), (1.68, "3.0 A", True), (2.03, "3.0 A", True),
        (0.20, "between the bands", False), (0.65, "between the bands", False), (1.23, "between the bands", False),
        (0.02, "no pull-up", False), (0.14, "no pull-up", False), (2.10, "no pull-down", False),
        (3.3, "no pull-down", False), (5.0, "no pull-down", False),
    ],
)
def test_what_a_level_says_where_nobody_talks(volts: float, text: str, joined: bool) -> None:
    verdict = silence(line_of([(0.0, volts)], 2.0, noise=0.002))
    assert verdict.outcome is Outcome.INCONCLUSIVE and verdict.suspect in (None, Who.CAPTURE)
    assert text in said(verdict, "cc-level")
    attach = next(s for s in verdict.steps if s.step is Step.ATTACH)
    assert (attach.state is StepState.REACHED) is joined
    assert verdict.stopped_at is None
    assert not [f for f in verdict.findings if f.severity is not Severity.INFO]


def test_silence_is_said_only_where_talk_would_have_been_seen() -> None:
    fast = said(silence(flat(0.41)), "cc-level")
    assert "nobody talks USB PD" in fast
    times = np.arange(0.0, 2.0, 1e-3)
    line = AnalogLine("CC1", Role.CC1, "V", times, np.full(len(times), 0.41))
    capture = Capture("told", "csv-samples", 0.0, 2.0, 1e-3, (line,))
    slow = judge_case(Case.of(read_capture(capture), follow_packets((), (), 2.0)))
    assert "cannot be seen" in said(slow, "cc-level") and "nobody talks" not in said(slow, "cc-level")


def test_both_contacts() -> None:
    assert said(silence(flat(0.41), flat(0.40, name="CC2")), "cc-both-terminated")
    assert not said(silence(flat(0.41), flat(0.01, name="CC2")), "cc-both-terminated")
    assert not said(silence(flat(0.41), flat(3.2, name="CC2")), "cc-both-terminated")


def test_more_than_default_power_without_talk() -> None:
    assert said(silence(flat(0.92)), "cc-without-pd") and said(silence(flat(1.68)), "cc-without-pd")
    assert not said(silence(flat(0.41)), "cc-without-pd")


def test_a_port_that_looks_for_a_partner() -> None:
    turns = [(n * 0.05 + d, 3.3 if n % 2 else 0.0) for n in range(40) for d in (0.0, 0.0499)]
    verdict = silence(line_of(turns, 2.0))
    assert said(verdict, "cc-toggles")
    assert next(s for s in verdict.steps if s.step is Step.ATTACH).state is not StepState.REACHED


@pytest.mark.parametrize(("volts", "amps", "broken"), [(0.92, 2.2, True), (0.92, 1.6, False), (0.41, 2.2, True),
                                                        (0.41, 1.4, False), (1.68, 3.1, False), (1.68, 4.0, True)])
def test_more_than_the_pull_up_allows(volts: float, amps: float, broken: bool) -> None:
    verdict = silence(flat(volts), amps=amps)
    assert bool(said(verdict, "draws-beyond-advertisement")) is broken
    assert not [f for f in verdict.findings if f.severity is not Severity.INFO]


def talk_with(rest: Points, *, revision: int = words.R3X, first_ma: int = 3000, gain: float = 1.0,
              after: Points = ()) -> Verdict:
    """A healthy contract on a line that rests at these levels; ``after``: levels at times from PS_RDY on."""
    ports = Ports(source_bps=304e3, sink_bps=296e3, source_revision=revision, sink_revision=revision)
    talk = Talk(random.Random(3), ports, 0.3)
    talk.attach()
    offer_to(talk, [fixed_offer(5000, first_ma), *OFFER[1:]])
    talk.responding()
    negotiate(talk, 2, 2000, offer=False)
    ready = talk.now
    one = told(talk, talk.rng, tail_s=1.0)
    points = [*rest, *((ready + t, v) for t, v in after)]
    line = line_of(points, one.duration_s, one, gain=gain)
    reading = reading_of(replace(one, vbus=None))
    reading = replace(reading, capture=replace(reading.capture, lines=(line,)))
    return judge_case(Case.of(reading, follow_packets(one.packets, one.bursts, one.duration_s)))


#: SinkTxOK and SinkTxNG in turn, from PS_RDY on.
SINK_TX = [(0.1 + 0.05 * n + d, 0.92 if n % 2 else 1.68) for n in range(12) for d in (0.0, 0.0499)]


def test_sink_tx_is_no_new_advertisement() -> None:
    verdict = talk_with([(0.0, 1.68)], after=SINK_TX)
    assert verdict.outcome is Outcome.PASS
    assert not said(verdict, "cc-advertisement-changes")
    # R2.0 knows no SinkTx, and default power is none of its levels.
    assert said(talk_with([(0.0, 1.68)], after=SINK_TX, revision=words.R20), "cc-advertisement-changes")
    assert said(talk_with([(0.0, 1.68)], after=[(0.2, 1.68), (0.201, 0.41)]), "cc-advertisement-changes")
    assert said(talk_with([(0.0, 1.68), (0.35, 1.68), (0.351, 0.92)]), "cc-advertisement-changes")


def test_the_pull_up_against_the_offer() -> None:
    assert said(talk_with([(0.0, 1.68)], first_ma=1500), "cc-against-offer")
    assert said(talk_with([(0.0, 0.92)], first_ma=900), "cc-against-offer")
    assert not said(talk_with([(0.0, 1.68)], first_ma=3000), "cc-against-offer")
    assert not said(talk_with([(0.0, 0.92)], first_ma=1500), "cc-against-offer")
    assert not said(talk_with([(0.0, 0.41)], first_ma=500), "cc-against-offer")


def test_a_column_with_a_wrong_scale_is_not_read() -> None:
    for gain in (0.1, 0.5, 2.0):
        verdict = talk_with([(0.0, 0.92)], gain=gain)
        assert said(verdict, "cc-scale-doubtful") and not said(verdict, "cc-level")
    verdict = talk_with([(0.0, 0.92)], gain=1.05)
    assert not said(verdict, "cc-scale-doubtful") and "1.5 A" in said(verdict, "cc-level")


def test_a_level_where_none_should_be_while_both_talk() -> None:
    assert "near 0 V" in said(talk_with([(0.0, 0.0)]), "cc-level-odd")
    assert "between the bands" in said(talk_with([(0.0, 0.65)]), "cc-level-odd")
    assert not said(talk_with([(0.0, 0.92)]), "cc-level-odd")


@pytest.mark.parametrize(("idle", "idle_v", "text"), [(0, 0.41, "default USB power"), (1, 0.92, "1.5 A"),
                                                      (1, 1.68, "3.0 A")])
def test_a_scope_export_of_a_healthy_talk(idle: int, idle_v: float, text: str, tmp_path: Path) -> None:
    """The whole path, from a file that an independent writer made."""
    seed = next(n for n in range(500) if (c := draw_case("healthy", n))[1] == "volts" and c[0].way.idle == idle)
    case, _ = draw_case("healthy", seed)
    path = write_volts(tmp_path / "scope.csv", case.capture, 4e6, random.Random(1), idle_v=idle_v)
    verdict = check(decode(open_capture(path))).verdict
    assert verdict.outcome is Outcome.PASS
    assert text in said(verdict, "cc-level")
    assert judge(path)[0] == 0


@pytest.mark.parametrize(("volts", "named"), [(3.3, False), (3.6, False), (4.6, True), (5.0, True)])
def test_near_5v_a_contact_may_bear_vconn_or_a_bridge_to_vbus(volts: float, named: bool) -> None:
    """VCONN is 3.0 to 5.5 V and stands on the contact that the plug leaves free (USB Type-C, section 4.4.3)."""
    words_said = said(silence(line_of([(0.0, volts)], 2.0, noise=0.002)), "cc-level")
    assert ("VCONN" in words_said and "bridge to VBUS" in words_said) is named
