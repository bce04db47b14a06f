"""All families of conversations, healthy and faulty, drawn by seed, and as files for the finished command.

Why it is: one table to draw from, for the quick judgement in `fast.py`, for the hunt and for pytest.
"""

from __future__ import annotations

import random
from collections import ChainMap
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.reference import words
from tests.reference.cases import Case, Way, write_case
from tests.reference.fault_answer import FAULT_ANSWER
from tests.reference.fault_ids import FAULT_IDS
from tests.reference.fault_line import FAULT_LINE
from tests.reference.fault_modes import FAULT_MODES
from tests.reference.fault_offer import FAULT_OFFER
from tests.reference.fault_power import FAULT_POWER
from tests.reference.fault_roles import FAULT_ROLES
from tests.reference.healthy_epr import HEALTHY_EPR
from tests.reference.healthy_medley import HEALTHY_MEDLEY
from tests.reference.healthy_power import HEALTHY_POWER
from tests.reference.healthy_roles import HEALTHY_ROLES
from tests.reference.healthy_topics import HEALTHY_TOPICS
from tests.reference.judge import contract_wrong, finding_missing
from tests.reference.rows import Book, Row
from tests.reference.second_encoder import LineManners
from tests.reference.talk import Ports
from tests.reference.wave_files import DIALECTS, write_edges
from tests.reference.world import EdgeRandom, World

HEALTHY_FAMILIES: Book = {**HEALTHY_POWER, **HEALTHY_EPR, **HEALTHY_ROLES, **HEALTHY_TOPICS, **HEALTHY_MEDLEY}
FAULT_FAMILIES: Book = {
    **FAULT_LINE, **FAULT_IDS, **FAULT_OFFER, **FAULT_ANSWER, **FAULT_POWER, **FAULT_ROLES, **FAULT_MODES,
}  # fmt: skip
FAMILIES = dict(ChainMap(HEALTHY_FAMILIES, FAULT_FAMILIES))
REVISIONS = {
    "": ((2, 2), (2, 2), (1, 1), (2, 1), (1, 2)), "R2": ((1, 1),), "R3": ((2, 2),), "mixed": ((2, 1), (1, 2)),
}  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A row, told with a seed."""

    name: str
    row: Row
    seed: int
    world: World
    variant: str

    @property
    def innocent(self) -> tuple[str, ...]:
        """The parties that no finding of weight may name."""
        guilty: set[str | None] = {*self.row.expect.suspects, *self.row.expect.finding_who}
        if not guilty:
            guilty |= {"source", "sink", "cable"} - set(self.row.expect.not_suspects)
        return tuple(party for party in ("source", "sink", "cable") if party not in guilty)


def draw_ports(rng: random.Random, row: Row) -> Ports:
    """Two ports that keep to the letter, at any bit rates of the standard."""
    source, sink = rng.choice(REVISIONS[row.only])
    rates = rng.choice(((300e3, 300e3), (rng.uniform(270.2e3, 329.8e3), rng.uniform(270.2e3, 329.8e3))))
    if row.apart:
        rates = rng.choice(((275e3, 322e3), (325e3, 278e3)))
    return Ports(
        source_bps=rates[0], sink_bps=rates[1], cable_bps=rng.uniform(275e3, 325e3),
        source_revision=source, sink_revision=sink,
        late_sender_response=source == sink == words.R3X and rng.random() < 0.6,
        sloppy_goodcrc=rng.choice(("", "", "", "source", "sink")),
    )


def draw(name: str, seed: int) -> Drawn:
    """The row's conversation with this seed."""
    row = FAMILIES[name]
    rng = EdgeRandom(f"family/{name}/{seed}")
    world = World(rng, draw_ports(rng, row), rng.uniform(0.05, 0.5))
    variant = row.tell(world) or ""
    revisions = {words.R20: "R2.0", words.R3X: "R3.x"}
    ports = world.ports
    variant = f"{variant} {revisions[ports.source_revision]}/{revisions[ports.sink_revision]}".strip()
    return Drawn(name, row, seed, world, variant)


def outcome(drawn: Drawn, report: dict[str, Any]) -> tuple[str, str]:
    """Whether a report (as in the JSON) is right ("right"), accuses an innocent party ("accuses") or misses something.

    Beside it what is wrong. Where packets were corrupted on the way a warning about the link, or nobody, is due.
    """
    expect, innocent = drawn.row.expect, drawn.innocent
    result, stopped, suspect = report["verdict"], report["stopped_at"], report["suspect"]
    torn = any(packet.flaws.flip_bits for packet in drawn.world.packets)
    findings = [(f["rule"], f["severity"], f["who"], f["summary"]) for f in report["findings"]]
    heavy = [f for f in findings if f[1] in ("warn", "fail")]
    named = [f"{severity} {rule} names {who}" for rule, severity, who, _ in heavy if who in innocent]
    if suspect in innocent and result == "fail":
        named.insert(0, f"{result} at {stopped} of {suspect}")
    if named:
        return "accuses", "; ".join(named)
    wrong = []
    if result not in expect.verdicts:
        wrong.append(f"verdict {result}, not {'/'.join(expect.verdicts)}")
    if expect.stopped_at and stopped not in expect.stopped_at:
        wrong.append(f"stopped_at {stopped}, not {'/'.join(map(str, expect.stopped_at))}")
    if expect.suspects and suspect not in expect.suspects:
        wrong.append(f"suspect {suspect}, not {'/'.join(map(str, expect.suspects))}")
    wrong += finding_missing(expect, findings)
    if drawn.name in HEALTHY_FAMILIES:
        wrong += [f"{severity} {rule}" for rule, severity, who, _ in heavy if not torn or who not in ("link", None)]
        # of two contacts one is judged, so it may be the contract of the other
        if drawn.world.settled is not None and drawn.world.turned_s is None:
            wrong += contract_wrong(drawn.world.settled, report.get("contract"))
    return ("misses", "; ".join(wrong)) if wrong else ("right", "")


def write_family(drawn: Drawn, folder: Path) -> tuple[Case, Path]:
    """The same as a waveform in a file; both contacts where the plug was turned."""
    case, form = family_case(drawn)
    stem = f"{drawn.name}_{drawn.seed}"
    if drawn.world.turned_s is None:
        return case, write_case(case, folder, form, stem)
    rng = random.Random(f"both/{stem}")
    dialect = next(one for one in DIALECTS if any(kind == "cc2" for _, kind in one.columns) and one.analog)
    return case, write_edges(folder / f"{stem}.csv", case.capture, dialect, rng)


def family_case(drawn: Drawn) -> tuple[Case, str]:
    """The waveform, and the file format to write it in (see `cases.write_case`)."""
    name, seed = drawn.name, drawn.seed
    rng = random.Random(f"way/{name}/{seed}")
    way = Way(
        idle=rng.randint(0, 1), rates=(drawn.world.ports.source_bps, drawn.world.ports.sink_bps),
        skew_s=rng.uniform(-0.4e-6, 0.4e-6), jitter_s=rng.uniform(0.0, 40e-9),
        strays=rng.choice(("", "toggles", "hum")),
    )
    manners = LineManners(idle=way.idle, skew_s=way.skew_s, jitter_s=way.jitter_s)
    capture = drawn.world.capture(manners, before=way.strays, rough=rng.choice(("", "", "sinktx")))
    needs = drawn.row.vbus or drawn.row.current
    case = Case(name, drawn.variant, seed, way, capture, drawn.row.expect, len(drawn.world.packets), needs, drawn.world)
    return case, "edges" if needs else rng.choice(("edges", "edges", "vcd"))
