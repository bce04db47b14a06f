"""What a flip of the plug proves, and what it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pdcheck.capture.model import DigitalLine, Role
from pdcheck.comparison import Proof, flipped
from pdcheck.conversation.model import Step
from pdcheck.report.model import Report
from pdcheck.rules import Who
from pdcheck.verdict import Outcome
from tests.comparison.sides import faulty_talk, healthy_talk, judged, with_lines
from tests.reference.faulty_talks import FAULTY


def good(seed: int = 1) -> Report:
    return judged(healthy_talk("plain", seed, 1))


def faulty(name: str, seed: int = 1) -> Report:
    return judged(faulty_talk(name, seed, 2))


def on(report: Report, used: Role) -> Report:
    """The report, with both CC contacts captured and the traffic on one of them."""
    lines = [DigitalLine(role.value.upper(), role, False, np.empty(0)) for role in (Role.CC1, Role.CC2)]
    return with_lines(report, lines, used.value.upper())


@pytest.mark.parametrize("name", ["offers_unacknowledged", "wrong_goodcrc", "no_request", "request_unacknowledged"])
def test_works_one_way(name: str) -> None:
    bad = faulty(name)
    for a, b, works in ((good(), bad, 0), (bad, good(), 1)):
        pair = flipped(a, b)
        assert pair.proof is Proof.ONE_WAY
        assert pair.works == works
        assert any("cable" in part for part in pair.cleared)
        assert any("charger" in part for part in pair.cleared)
        # The chip's own pin is on one side only, so it is not cleared; it stands last.
        assert "chip's own pin" in pair.suspect[-1]
        assert "contact" in pair.suspect[0]
        assert pair.next[0].startswith("Capture each way once more")


def test_the_charger_that_does_not_hear_is_not_accused() -> None:
    pair = flipped(good(), faulty("request_unacknowledged"))
    assert faulty("request_unacknowledged").verdict.suspect is Who.SOURCE
    assert any("did not hear" in note for note in pair.notes)


def test_a_contact_that_carried_offer_and_acknowledgement_is_not_open() -> None:
    assert any("not open" in note for note in flipped(good(), faulty("no_request")).notes)
    assert not any("not open" in note for note in flipped(good(), faulty("offers_unacknowledged")).notes)


@pytest.mark.parametrize("name", ["request_unanswered", "valid_rejected", "not_ready", "not_delivered"])
def test_what_a_cc_contact_does_not_explain(name: str) -> None:
    pair = flipped(good(), faulty(name))
    assert pair.proof is Proof.ONE_WAY_UNLIKELY
    assert not any("receptacle" in part for part in pair.suspect)
    assert not any("charger" in part for part in pair.cleared), "its move was missing, so it is not cleared"


@pytest.mark.parametrize("name", sorted(set(FAULTY) - {"starts_late", "offers_corrupt"}))
def test_fails_both_ways_alike(name: str) -> None:
    a, b = faulty(name, 1), faulty(name, 2)
    same = (a.verdict.stopped_at, a.verdict.suspect) == (b.verdict.stopped_at, b.verdict.suspect)
    pair = flipped(a, b)
    assert pair.proof is (Proof.BOTH_FAIL_ALIKE if same else Proof.BOTH_FAIL_APART)
    assert pair.works is None


def test_fails_differently() -> None:
    pair = flipped(faulty("no_request"), faulty("not_ready"))
    assert pair.proof is Proof.BOTH_FAIL_APART
    assert pair.suspect == ()
    assert "stopped before request" in pair.summary
    assert "stopped before ready" in pair.summary


def test_works_both_ways() -> None:
    pair = flipped(good(1), good(2))
    assert pair.proof is Proof.BOTH_WORK
    assert pair.suspect == ()
    assert any("both CC contacts" in part for part in pair.cleared)


def silent() -> Report:
    return judged(replace(healthy_talk("plain", 1, 1), packets=(), names=(), bursts=()))


@pytest.mark.parametrize("other", ["good", "no_request", "silent"])
def test_no_proof_where_one_cannot_tell(other: str) -> None:
    first = {"good": good, "silent": silent}.get(other, lambda: faulty(other))()
    for pair in (flipped(first, silent()), flipped(silent(), first)):
        assert pair.proof is Proof.NONE
        assert pair.works is None
        assert pair.suspect == ()
        assert any("both CC contacts" in step for step in pair.next)
    if other == "good":
        # A dead contact keeps the charger from switching VBUS on: that is how to find out.
        assert "volts on VBUS" in flipped(first, silent()).next[0]


@pytest.mark.parametrize(("volts", "words"), [(0.02, "did not see the device"), (5.07, "power was switched on")])
def test_vbus_of_a_silent_way(volts: float, words: str) -> None:
    """What is on VBUS is said; it is no proof, for the plug may not have been in."""
    quiet = replace(healthy_talk("plain", 1, 1), packets=(), names=(), bursts=(), vbus=((0.0, volts), (9.0, volts)))
    pair = flipped(good(), judged(quiet))
    assert pair.proof is Proof.NONE
    assert words in pair.notes[-1]


def test_one_file_twice_is_no_flip() -> None:
    bad = faulty("no_request")
    assert flipped(bad, bad).proof is Proof.NONE
    assert "same recording" in flipped(good(), good()).summary


def test_whether_the_plug_was_turned() -> None:
    a, b = good(), faulty("offers_unacknowledged")
    turned = flipped(on(a, Role.CC1), on(b, Role.CC2))
    assert "moved from CC1 to CC2" in turned.notes[0]
    assert "probed as CC2" in turned.summary
    not_turned = flipped(on(a, Role.CC1), on(b, Role.CC1))
    assert "was not turned" in not_turned.notes[0]
    assert "probed as" not in not_turned.summary
    assert "cannot be seen" in flipped(a, b).notes[0]


def test_every_pair_of_verdicts_comes_to_something() -> None:
    some = [good(), silent(), *(faulty(name) for name in sorted(FAULTY))]
    seen = set()
    for a in some:
        for b in some:
            if a is b:
                continue
            pair = flipped(a, b)
            seen.add(pair.proof)
            assert pair.summary.endswith(".")
            if Outcome.INCONCLUSIVE in (a.verdict.outcome, b.verdict.outcome):
                assert pair.proof is Proof.NONE
            if pair.proof is Proof.ONE_WAY:
                bad = b if pair.works == 0 else a
                assert bad.verdict.stopped_at in (Step.OFFER, Step.OFFER_ACKNOWLEDGED, Step.REQUEST)
    assert {Proof.ONE_WAY, Proof.ONE_WAY_UNLIKELY, Proof.BOTH_FAIL_APART, Proof.NONE} <= seen
