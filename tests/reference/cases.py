"""One numbered case after another: a row of the table of faults (or a healthy story), a way the line behaves,
and a file format, all drawn from one seed so that a mismatch can be made again.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from pathlib import Path

from tests.reference import words
from tests.reference.faulty_talks import FAULTY, PASS, UNSURE, Expect
from tests.reference.faulty_talks import NEEDS_R3X as FAULTY_R3X
from tests.reference.healthy_talks import HEALTHY
from tests.reference.healthy_talks import NEEDS_R3X as HEALTHY_R3X
from tests.reference.second_encoder import LineManners, Wave, mains_hum, stray_toggles
from tests.reference.sloppy_talks import NEEDS_R3X as SLOPPY_R3X
from tests.reference.sloppy_talks import SLOPPY
from tests.reference.talk import Ports, Talk
from tests.reference.wave_files import (
    PLAIN_DIALECTS,
    VBUS_DIALECTS,
    Capture,
    write_edges,
    write_samples,
    write_vcd,
    write_vcd_pyvcd,
    write_volts,
)

RATE_SETS = ((270e3, 330e3), (300e3, 300e3), (330e3, 270e3))
SKEWS = (-0.4e-6, 0.0, 0.4e-6)
FAST_ROWS = frozenset(
    {"healthy", "no_request", "request_unanswered", "valid_rejected", "invalid_rejected", "starts_late", "too_slow"}
)
WIDE_FLAWS = ("", "", "cut", "drift", "spikes", "sinktx", "jiggle", "sag", "meter")
NO_TALK = ("nothing", "toggling", "hum", "too_slow")
NAMES = {words.R20: "R2.0", words.R3X: "R3.x"}
# who pulls the plug has ended the contract, but nobody is to blame
UNPLUGGED = Expect(("pass", "inconclusive"), not_suspects=("source", "sink", "cable"))
ROWS = ("healthy", *FAULTY, *NO_TALK)
MORE_ROWS = ("sloppy",)


@dataclass(frozen=True)
class Way:
    """How the line behaves and who the ports are, apart from what is said."""

    idle: int = 0
    rates: tuple[float, float] = (300e3, 300e3)
    skew_s: float = 0.0
    jitter_s: float = 30e-9
    strays: str = ""
    rough: str = ""

    @property
    def shortest_pulse_s(self) -> float:
        """What the skew leaves of half a bit at the faster rate."""
        return 0.5 / max(self.rates) - abs(self.skew_s)

    def text(self) -> str:
        """Short, for a list of mismatches."""
        return (
            f"idle={self.idle} rates={self.rates[0] / 1e3:.0f}/{self.rates[1] / 1e3:.0f} "
            f"skew={self.skew_s * 1e6:+.2f}us jitter={self.jitter_s * 1e9:.0f}ns "
            f"strays={self.strays or 'none'} rough={self.rough or 'no'}"
        )


@dataclass
class Case:
    """A capture, what it is, and what the report may say of it."""

    row: str
    variant: str
    seed: int
    way: Way
    capture: Capture
    expect: Expect
    packets: int = 0
    needs_vbus: bool = False
    talk: Talk | None = None
    rate_hz: float = 0.0


def draw_ports(rng: random.Random, way: Way, *, r3x: bool = False, fast: bool = False) -> Ports:
    """Two ports; mostly both R3.x, often R2.0, sometimes one of each."""
    source, sink = rng.choice(((2, 2), (2, 2), (2, 2), (1, 1), (1, 1), (2, 1), (1, 2)))
    if r3x:
        source = sink = words.R3X
    return Ports(
        source_bps=way.rates[0] * rng.uniform(1.0, 1.002) if way.rates[0] < 3e5 else way.rates[0],
        sink_bps=way.rates[1] * rng.uniform(1.0, 1.002) if way.rates[1] < 3e5 else way.rates[1],
        cable_bps=rng.uniform(275e3, 325e3),
        source_revision=source,
        sink_revision=sink,
        late_sender_response=rng.random() < 0.6,
        ids_move_on_failure=rng.random() < 0.7,
        sloppy_goodcrc=rng.choice(("", "", "", "source", "sink")),
        fast=fast,
        source_bit5=1 if rng.random() < 0.9 else 0,
    )


def make_case(row: str, seed: int, way: Way, *, story: str = "", fast: bool = False) -> Case:
    """The case of a row with this seed; `fast` keeps it short enough to hold every sample."""
    rng = random.Random(f"{row}/{seed}/{way}/{story}/{fast}")
    manners = LineManners(idle=way.idle, skew_s=way.skew_s, jitter_s=way.jitter_s)
    if row in ("nothing", "toggling", "hum"):
        return _no_talk(row, seed, way, rng)
    if row == "too_slow":
        case = make_case("healthy", seed, way, story=story or "plain", fast=fast or rng.random() < 0.5)
        rate = rng.choice((100e3, 125e3, 200e3, 250e3, 400e3, 500e3))
        slow = Capture(case.capture.cc.sampled(rate), case.capture.vbus, case.capture.current)
        return Case(row, f"{rate / 1e3:.0f} kS/s", seed, way, slow, UNSURE, case.packets, rate_hz=rate)
    attach_s = rng.uniform(0.1e-3, 0.5e-3) if fast else rng.uniform(0.05, 0.5)
    if row == "healthy":
        names = sorted(HEALTHY)
        name = story or ("plain" if fast else rng.choice(names))
        talk = Talk(rng, draw_ports(rng, way, r3x=name in HEALTHY_R3X, fast=fast), attach_s)
        HEALTHY[name](talk)
        variant, expect = name, PASS
    elif row == "sloppy":
        name = story or rng.choice(sorted(SLOPPY))
        talk = Talk(rng, draw_ports(rng, way, r3x=name in SLOPPY_R3X), attach_s)
        SLOPPY[name](talk)
        variant, expect = name, UNPLUGGED if name == "pulled_out" else PASS
    else:
        teller, expect = FAULTY[row]
        talk = Talk(rng, draw_ports(rng, way, r3x=row in FAULTY_R3X, fast=fast), attach_s)
        variant = teller(talk)
    before = "" if fast else way.strays
    capture = talk.capture(manners, before=before, rough=way.rough)
    ports = talk.ports
    variant = f"{variant} {NAMES[ports.source_revision]}/{NAMES[ports.sink_revision]}".strip()
    return Case(row, variant, seed, way, capture, expect, len(talk.packets), row == "not_delivered", talk)


def _no_talk(row: str, seed: int, way: Way, rng: random.Random) -> Case:
    end = rng.uniform(0.1, 2.0)
    initial = rng.randint(0, 1) if row == "nothing" else 0
    wave = Wave(initial, [], 0.0, end)
    if row == "toggling":
        wave.changes = stray_toggles(0.0, end, rng)
    elif row == "hum":
        wave.changes = mains_hum(0.0, end, rng)
    return Case(row, f"{len(wave.changes)} changes", seed, way, Capture(wave), UNSURE, 0)


def write_case(case: Case, folder: Path, form: str, stem: str) -> Path:
    """The file of a case. form: edges, vcd, pyvcd, samples or volts (the last two for fast cases)."""
    rng = random.Random(f"{form}/{case.seed}/{stem}")
    capture = case.capture
    if form in ("vcd", "pyvcd"):
        if not case.needs_vbus and rng.random() < 0.5:
            capture = Capture(capture.cc)
        path = folder / f"{stem}.vcd"
        name = rng.choice(("CC1", "CC", "cc_1"))
        if form == "pyvcd":
            return write_vcd_pyvcd(path, capture, rng, name=name)
        return write_vcd(path, capture, rng, scale=rng.choice(("1 ns", "10 ns", "100 ps", "1ps")), name=name)
    path = folder / f"{stem}.csv"
    if form == "volts" and case.row != "too_slow":
        idle_v = rng.choice((0.92, 1.68)) if case.way.idle else 0.41
        return write_volts(path, capture, rng.choice((4e6, 5e6)), rng, idle_v=idle_v)
    with_vbus = case.needs_vbus or (capture.vbus is not None and rng.random() < 0.4)
    dialect = rng.choice(VBUS_DIALECTS if with_vbus else PLAIN_DIALECTS)
    if form in ("samples", "volts"):
        rate = 4e6 if case.row != "too_slow" else case.rate_hz
        plain = [d for d in PLAIN_DIALECTS if "eight" not in d.name]
        return write_samples(path, capture, rate, VBUS_DIALECTS[0] if case.needs_vbus else rng.choice(plain), rng)
    if case.packets and case.row in ROWS and case.row != "too_slow" and rng.random() < 0.5:
        # an analyzer must look at least twice, and jitter aside, into the shortest pulse
        fitting = [rate for rate in (8e6, 12e6, 16e6, 24e6, 100e6) if 1 / rate <= case.way.shortest_pulse_s / 5]
        rate = rng.choice(fitting)
        capture = Capture(capture.cc.sampled(rate), capture.vbus, capture.current)
    return write_edges(path, capture, dialect, rng)


def draw_case(row: str, seed: int, *, wide: bool = False) -> tuple[Case, str]:
    """A case whose line, ports and file format are drawn from the seed as well; `wide` goes to the limits."""
    rng = random.Random(f"draw/{row}/{seed}/{wide}")
    most_skew = 1.3e-6 if wide else 0.6e-6
    form = rng.choices(("edges", "vcd", "pyvcd", "samples", "volts"), (10, 4, 3, 1, 1))[0]
    if row not in FAST_ROWS:
        form = "edges" if form in ("samples", "volts") else form
    fast = form in ("samples", "volts")
    if fast:
        most_skew = 0.4e-6
    rates = (rng.uniform(270e3, 330e3), rng.uniform(270e3, 330e3))
    skew_s = rng.uniform(-most_skew, most_skew)
    rough = rng.choice(WIDE_FLAWS if wide else ("", "", "", "cut", "drift", "sinktx"))
    if rough == "spikes":
        skew_s /= 2  # a spike in a pulse that is hardly longer is nobody's to read
    # no pulse may shrink below the 100 ns that a receiver may filter out (tRxFilter), at six sigma
    most_jitter = (0.5 / max(rates) - abs(skew_s) - 0.12e-6) / 6
    if rough == "cut":
        most_jitter = min(most_jitter, 70e-9)  # much more is hard to learn from the rest of a preamble
    way = Way(
        idle=rng.randint(0, 1),
        rates=rates,
        skew_s=skew_s,
        jitter_s=rng.uniform(0.0, min(most_jitter, 100e-9 if wide else 60e-9)),
        strays=rng.choice(("", "toggles", "hum")),
        rough=rough,
    )
    return make_case(row, seed, way, fast=fast), form
