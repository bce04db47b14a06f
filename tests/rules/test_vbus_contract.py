"""VBUS through the whole contract: the smallest breach of each rule, and the near miss beside each limit."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from pdcheck.rules import Severity, Who
from pdcheck.verdict import Outcome
from tests.conversation.told import told
from tests.reference import words
from tests.reference.healthy_talks import offer_to
from tests.reference.talk import Talk
from tests.rules.meters import Meter, verdict_with
from tests.rules.scenes import (
    GOOD,
    GOOD_AMPS,
    OFFER,
    Scene,
    chatter,
    dip,
    load,
    loud,
    negotiate,
    step,
    talk_at_9v,
    then,
    wait,
)

SLOW = Meter(every_s=1e-3, held_s=1.0)


def talk_on(talk: Talk) -> None:
    """Both ends go on talking 0.3 s later."""
    talk.now += 0.3
    chatter(talk)


def at_once(talk: Talk) -> None:
    """Both ends go on talking 20 ms later."""
    talk.now += 20e-3
    chatter(talk)


def loaded(amps: float, volts: float) -> Scene:
    """The device draws that, and VBUS goes to that."""
    return Scene(then(wait(0.2), load(amps), step(volts, after_s=0.01)), amps=GOOD_AMPS)


#: name: scene, rule, severity, who, outcome, suspect
BREAKS = {
    "back to 5 V": (Scene(step(5.05)), "vbus-falls-back", Who.SOURCE),
    "back to 5 V, within its current": (Scene(step(5.05), amps=GOOD_AMPS), "vbus-falls-back", Who.SOURCE),
    "back to 5 V behind a cable": (Scene(step(4.4)), "vbus-falls-back", Who.SOURCE),
    "back to 5 V, half a second only": (Scene(step(5.05), tail_s=0.2), "vbus-falls-back", Who.SOURCE),
    "far too low, current not known": (Scene(step(3.2)), "vbus-falls-back", None),
    "far too low, within its current": (Scene(step(3.2), amps=GOOD_AMPS), "vbus-falls-back", Who.SOURCE),
    "far too low, overload": (loaded(3.5, 3.2), "vbus-falls-back", Who.SINK),
    "5 V, overload": (loaded(3.5, 5.0), "vbus-falls-back", Who.SINK),
    "12 V": (Scene(step(12.0)), "vbus-too-high", Who.SOURCE),
    "a little too high": (Scene(step(10.6)), "vbus-too-high", Who.SOURCE),
    "too high for 0.2 s": (Scene(dip(11.0, 0.2)), "vbus-too-high", Who.SOURCE),
    "sags, current not known": (Scene(step(7.2)), "vbus-sags", None),
    "sags, within its current": (Scene(step(7.2), amps=GOOD_AMPS), "vbus-sags", None),
    "sags, overload": (loaded(3.0, 7.2), "vbus-sags", Who.SINK),
    "off while both talk": (Scene(then(step(0.1), at_once)), "vbus-collapses", None),
    "off while both talk later": (Scene(then(step(0.1), talk_on)), "vbus-collapses", None),
    "off while both talk, within": (Scene(then(step(0.1), at_once), amps=GOOD_AMPS), "vbus-collapses", Who.SOURCE),
    "off while both talk, overload": (
        Scene(then(load(4.0, hold_s=0.06), step(0.1, after_s=0.0), load(0.0), at_once), amps=GOOD_AMPS),
        "vbus-collapses", Who.SINK,
    ),
}


@pytest.mark.parametrize("name", BREAKS)
def test_a_contract_that_is_not_kept(name: str) -> None:
    scene, rule, who = BREAKS[name]
    for seed in range(8):
        verdict = scene.verdict(seed)
        assert verdict.outcome is Outcome.FAIL
        assert verdict.leading is not None and verdict.leading.rule == rule, verdict.summary
        assert (verdict.suspect, str(verdict.stopped_at)) == (who, "delivery"), verdict.summary
        others = [f for f in loud(verdict) if f.severity is Severity.FAIL and f.who not in (who, None)]
        assert not others


def hard_reset(talk: Talk) -> None:
    talk.now += 0.2
    talk.hard_reset("sink")
    negotiate(talk, 2, 2000)


def pulled(talk: Talk) -> None:
    talk.now += 0.2
    talk.draw(0.0, talk.now)
    talk.move_vbus(0.0, talk.now, talk.now + 0.12)


#: Near misses, and what looks the same and is not.
KEPT = {
    "a dip to 5 V for 15 ms": Scene(dip(5.0, 15e-3)),
    "a peak to 12 V for 15 ms": Scene(dip(12.0, 15e-3)),
    "vSrcValid": Scene(step(9.5)),
    "5 % and half a volt more": Scene(step(9.95)),
    "the most that a cable may lose": Scene(step(8.55 - 0.75)),
    "5 V for 100 ms, then the capture ends": Scene(step(5.0), tail_s=0.1),
    "still falling when the capture ends": Scene(step(0.0, over_s=1.0), tail_s=0.0),
    "pulled": Scene(pulled),
    "pulled, slowly falling": Scene(step(0.0, over_s=2.0), tail_s=1.0),
    "a reset": Scene(hard_reset),
    "a slow meter, back to 5 V for a second": Scene(step(5.0), tail_s=0.9, volts=SLOW),
    "a divider twice too small": Scene(step(9.0), volts=replace(GOOD, gain=0.5)),
    "not captured": Scene(step(5.0), volts=None),
}


@pytest.mark.parametrize("name", KEPT)
def test_a_contract_that_may_be_kept(name: str) -> None:
    for seed in range(8):
        verdict = KEPT[name].verdict(seed)
        assert verdict.outcome is Outcome.PASS, f"{seed} {verdict.summary}"
        assert not loud(verdict)


def test_a_pulled_plug_is_worth_a_word_and_accuses_nobody() -> None:
    found = {f.rule: f for f in Scene(pulled).verdict().findings}
    assert found["vbus-goes-away"].who is None


def test_a_sag_names_the_resistance_that_would_explain_it() -> None:
    # 9.0 V at PS_RDY, 7.2 V at 1.5 A: 1.2 ohm
    verdict = Scene(step(7.2), amps=GOOD_AMPS).verdict()
    assert "120" in verdict.summary.replace("119", "120").replace("121", "120") and "milliohms" in verdict.summary


def test_a_gap_too_short_for_replugging_warns_and_accuses_nobody() -> None:
    verdict = Scene(dip(0.1, 60e-3)).verdict()
    assert verdict.outcome is Outcome.PASS
    assert [(f.rule, f.who, f.severity) for f in loud(verdict)] == [("vbus-interrupted", None, Severity.WARN)]
    assert not loud(Scene(dip(0.1, 12e-3)).verdict())


def test_another_level_after_the_plug_was_out_is_another_contract() -> None:
    """Turned over it talks on the other CC contact; only a charger that never let go of VBUS breaks this contract."""
    out = (step(0.1), wait(0.5), step(5.1), wait(0.1))
    for level in (12.0, 15.0, 19.8):
        verdict = Scene(then(*out, step(level))).verdict()
        assert verdict.outcome is Outcome.PASS and not loud(verdict), verdict.summary
        assert Scene(step(level)).verdict().suspect is Who.SOURCE


def test_after_an_unanswered_request_vbus_may_have_been_let_go() -> None:
    """A request of which the capture lacks the Accept: VBUS goes where it asks for, and nobody broke a contract."""

    def asks_for_15v(talk: Talk) -> None:
        talk.now += 0.3
        talk.say("sink", "Request", [words.request_fixed(4, 1000, 1000)])
        talk.move_vbus(15.0, talk.now + 30e-3, talk.now + 60e-3)
        talk.now += 0.1

    verdict = Scene(asks_for_15v).verdict()
    assert "vbus-too-high" not in {f.rule for f in verdict.findings}


def replugged_unseen(talk: Talk) -> None:
    """Off, 5 V for as long as a negotiation takes, and 9 V again; the other CC contact bears the talk."""
    talk.now += 0.3
    for volts, length_s in ((0.1, 0.3), (5.0, 0.1), (9.0, 0.0)):
        talk.move_vbus(volts, talk.now, talk.now + 2e-3)
        talk.now = talk.vbus[-1][0] + length_s


def test_a_gap_that_ends_at_once_at_9v_is_no_replugging() -> None:
    """Nobody is at 9 V within tSrcTransition of nothing: the supply went off and on by itself, or a contact did."""
    for length_s in (0.3, 1.5):
        verdict = Scene(then(dip(0.1, length_s), dip(0.1, length_s))).verdict()
        assert verdict.outcome is Outcome.PASS
        assert [(f.rule, f.who, f.severity) for f in loud(verdict)] == [("vbus-interrupted", None, Severity.WARN)]
        assert "2 times" in loud(verdict)[0].summary
    for quiet in (Scene(replugged_unseen), Scene(dip(0.1, 0.3), volts=SLOW)):
        assert not loud(quiet.verdict())


def test_a_slow_meter_convicts_when_it_has_seen_enough() -> None:
    verdicts = [Scene(step(5.05), tail_s=6.0, volts=SLOW).verdict(seed) for seed in range(12)]
    said = [(v.outcome, v.suspect) for v in verdicts]
    # Where it read neither 5 V during the offer nor 9 V during the contract, its scale cannot be known.
    assert set(said) <= {(Outcome.FAIL, Who.SOURCE), (Outcome.PASS, None)}
    assert said.count((Outcome.FAIL, Who.SOURCE)) >= 6


def ready_early(late_s: float) -> Scene:
    """PS_RDY, and VBUS so much later."""

    def story(talk: Talk) -> None:
        talk.attach()
        offer_to(talk, list(OFFER))
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 2000, 2000)])
        talk.responding()
        talk.say("source", "Accept")
        ready = talk.now + 60e-3
        talk.move_vbus(9.0, ready + late_s - 5e-3, ready + late_s)
        talk.now = ready
        talk.say("source", "PS_RDY")
        talk.now = max(talk.now, talk.vbus[-1][0])

    return Scene(story, whole=True)


@pytest.mark.parametrize("late_s", [0.1, 0.2, 0.28])
def test_ready_said_too_early(late_s: float) -> None:
    for seed in range(8):
        verdict = ready_early(late_s).verdict(seed)
        assert verdict.outcome is Outcome.PASS, verdict.summary
        if [f.rule for f in loud(verdict)] == []:
            # The rise of VBUS at plug-in shows how fast the meter is; a slow rise leaves it open.
            assert late_s == 0.1
            continue
        assert [(f.rule, f.who) for f in loud(verdict)] == [("ready-before-vbus", Who.SOURCE)]


@pytest.mark.parametrize("late_s", [-0.01, 0.0, 0.015, 0.025])
def test_ready_said_in_time(late_s: float) -> None:
    for seed in range(8):
        assert not loud(ready_early(late_s).verdict(seed))


def moves(share: float, *, before_accept: bool) -> Scene:
    """VBUS goes a share of its way before Accept."""

    def story(talk: Talk) -> None:
        talk.attach()
        offer_to(talk, list(OFFER))
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 2000, 2000)])
        if before_accept:
            talk.move_vbus(5 + 4 * share, talk.now + 1e-3, talk.now + 4e-3)
        talk.now += 14e-3
        talk.say("source", "Accept")
        talk.move_vbus(9.0, talk.now + 26e-3, talk.now + 40e-3)
        talk.now += 60e-3
        talk.say("source", "PS_RDY")

    return Scene(story, whole=True)


def test_vbus_that_moves_before_accept() -> None:
    for seed in range(8):
        verdict = moves(1.0, before_accept=True).verdict(seed)
        assert [(f.rule, f.who) for f in loud(verdict)] == [("vbus-moves-unasked", Who.SOURCE)]
        assert verdict.outcome is Outcome.PASS
        assert not loud(moves(0.4, before_accept=True).verdict(seed))
        assert not loud(moves(1.0, before_accept=False).verdict(seed))


def overshoot(peak: float, length_s: float) -> Scene:
    """VBUS goes above the new level on its way."""

    def story(talk: Talk) -> None:
        talk.attach()
        offer_to(talk, list(OFFER))
        talk.responding()
        talk.say("sink", "Request", [words.request_fixed(2, 2000, 2000)])
        talk.responding()
        talk.say("source", "Accept")
        start = talk.now + 28e-3
        talk.move_vbus(peak, start, start + 5e-3)
        talk.move_vbus(9.0, start + 5e-3 + length_s, start + 6e-3 + length_s)
        talk.now = talk.vbus[-1][0] + 10e-3
        talk.say("source", "PS_RDY")

    return Scene(story, whole=True)


def test_an_overshoot_on_the_way() -> None:
    found = 0
    for seed in range(8):
        verdict = overshoot(12.0, 0.15).verdict(seed)
        assert verdict.outcome is Outcome.PASS
        assert {(f.rule, f.who) for f in loud(verdict)} <= {("vbus-overshoots", Who.SOURCE)}
        found += bool(loud(verdict))
        assert not loud(overshoot(12.0, 8e-3).verdict(seed))
        assert not loud(overshoot(9.6, 0.15).verdict(seed))
    assert found >= 7


def test_vbus_that_rises_without_pd_is_worth_a_word() -> None:
    def story(talk: Talk) -> None:
        talk.attach()
        offer_to(talk, list(OFFER))
        talk.now += 0.5
        talk.move_vbus(9.0, talk.now, talk.now + 5e-3)

    found = {f.rule: f.who for f in Scene(story, whole=True).verdict().findings}
    assert found["vbus-rises-without-pd"] is None


def test_every_severity_is_the_rules_own() -> None:
    rng = random.Random(1)
    for name in rng.sample(sorted(BREAKS), 4):
        verdict = BREAKS[name][0].verdict()
        assert verdict.leading is not None and verdict.leading.severity is Severity.FAIL


def test_a_new_contract_of_which_the_capture_lost_the_answer_is_no_departure() -> None:
    """Request and PS_RDY for 20 V are shown, Accept and its GoodCRC are not; or PS_RDY alone."""
    for lost in (("Accept",), ("Request", "Accept")):
        for seed in range(6):
            talk = talk_at_9v(seed)
            begin = talk.now
            talk.now += 0.2
            negotiate(talk, 3, 1000, offer=False)
            one = told(talk, talk.rng, tail_s=0.6)
            gone = [n for n, (p, name) in enumerate(zip(one.packets, one.names, strict=True))
                    if name in lost and p.start_s > begin]
            gone += [n + 1 for n in gone]
            kept = [n for n in range(len(one.packets)) if n not in gone]
            part = replace(one, packets=tuple(one.packets[n] for n in kept), names=tuple(one.names[n] for n in kept))
            verdict = verdict_with(part, talk.rng, volts=GOOD)
            assert verdict.outcome is Outcome.PASS and not [f for f in loud(verdict) if f.rule.startswith("vbus")], (
                f"{lost} {seed} {verdict.summary}")
