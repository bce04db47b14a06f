"""Healthy conversations on the instruments of a workshop: nobody is accused; and faults on them: nobody wrongly."""

from __future__ import annotations

import random

import pytest

from pdcheck.rules import Who
from pdcheck.verdict import Outcome
from tests.conversation.odd_talks import ODD, ODD_R3X
from tests.conversation.told import GOOD, HEALTHY, talk_of, told
from tests.reference.healthy_talks import NEEDS_R3X
from tests.rules.meters import any_meter, case_of, lived_in, verdict_with
from tests.rules.scenes import loud
from tests.rules.test_vbus_contract import BREAKS


def run(name: str, seeds: range) -> None:
    story = HEALTHY.get(name) or ODD[name]
    allowed = {Outcome.PASS, Outcome.INCONCLUSIVE} if name == "unplugged_at_the_end" else {Outcome.PASS}
    for seed in seeds:
        rng = random.Random(f"meters/{name}/{seed}")
        talk = talk_of(story, rng, r3x=name in NEEDS_R3X | ODD_R3X)
        one, amps = lived_in(talk, told(talk, rng, tail_s=rng.choice((0.01, 0.3, 2.0))), rng)
        volts = any_meter(rng, current=False) if rng.random() < 0.8 else None
        current = any_meter(rng, current=True) if rng.random() < 0.7 else None
        verdict = verdict_with(one, rng, amps=amps, volts=volts, current=current)
        assert verdict.outcome in allowed, f"{seed} {volts} {current} {verdict.summary}"
        assert not loud(verdict), f"{seed} {volts} {current} {[f.summary for f in loud(verdict)]}"


@pytest.mark.parametrize("name", GOOD)
def test_healthy_on_any_meter(name: str) -> None:
    run(name, range(8))


@pytest.mark.long
@pytest.mark.parametrize("name", GOOD)
def test_healthy_on_any_meter_often(name: str) -> None:
    run(name, range(1000, 1200))


@pytest.mark.parametrize("name", BREAKS)
def test_a_fault_on_any_meter_accuses_nobody_wrongly(name: str) -> None:
    scene, _, who = BREAKS[name]
    for seed in range(12):
        rng = random.Random(f"fault/{name}/{seed}")
        volts = any_meter(rng, current=False)
        current = any_meter(rng, current=True) if scene.amps is not None and rng.random() < 0.8 else None
        verdict = type(scene)(scene.story, rng.uniform(0.1, 3.0), volts, current, scene.whole).verdict(seed)
        # Who is named without the current may turn out to be nobody with it, or the charger at 5 V, or none.
        fine = {None, who} | ({Who.SOURCE} if current is None and "5 V" in name else set())
        accused = {f.who for f in loud(verdict)} - {Who.CAPTURE}
        assert accused <= fine, f"{seed} {volts} {current} {[f.summary for f in loud(verdict)]}"


def test_what_is_asked_of_a_case_is_worked_out_once() -> None:
    rng = random.Random(1)
    talk = talk_of(HEALTHY["plain"], rng)
    case = case_of(told(talk, rng), rng, volts=any_meter(rng, current=False))
    assert case.delivery is case.delivery
    assert case.cc_rests is case.cc_rests
