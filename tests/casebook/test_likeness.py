"""Likeness: every respect by itself, and whether the demo captures find their own kind."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdcheck.casebook import Fingerprint, KeptCase, Note, Part, Query, rank
from pdcheck.casebook.levels import Level, current_class
from pdcheck.casebook.likeness import WEIGHTS, compare, tokens
from tests.casebook.books import case, fingerprint

NEVER_ASKS = "tablet_never_asks.csv"
KINDS = (NEVER_ASKS, "tablet_never_acknowledges.csv", "charger_never_answers.vcd", "charger_stays_at_5v.csv",
         "scanner_charges_at_9v.csv", "nothing_on_the_line.csv", "cable_corrupts_offers.csv", "tablet_forgets_pps.csv")


def score(mine: Fingerprint, theirs: Fingerprint) -> float:
    return compare(Query(mine), case(fingerprint=theirs)).score


@pytest.mark.parametrize("name", KINDS)
def test_a_capture_is_most_like_itself(name: str) -> None:
    book = [case(number=i, fingerprint=fingerprint(other)) for i, other in enumerate(KINDS)]
    first, *others = rank(Query(fingerprint(name)), book)
    assert first.case.number == KINDS.index(name)
    assert first.score == pytest.approx(1.0)
    assert all(match.score < 0.75 for match in others)


@pytest.mark.parametrize(("name", "change"), [
    ("verdict", {"verdict": "inconclusive"}), ("leading rule", {"leading": "late-request"}),
    ("stopped at", {"stopped_at": "accept"}), ("suspect", {"suspect": "source"}),
    ("rules", {"rules": (("late-request", "fail"),)}),
    ("power", {"offered": (Level("fixed", 5000, 5000, 3000, None),)}),
    ("current", {"current_ma": 900}), ("timing", {"timings": (("from offer to offer", 9.0),)}),
])
def test_each_respect_counts_its_weight(name: str, change: dict[str, object]) -> None:
    mine = replace(fingerprint(NEVER_ASKS), current_ma=30, timings=(("from offer to offer", 1.13),))
    match = compare(Query(mine), case(fingerprint=replace(mine, **change)))  # type: ignore[arg-type]
    total = sum(r.weight for r in match.respects)
    assert {r.name for r in match.respects} == set(WEIGHTS) - {"words", "device", "symptom"}
    assert match.score == pytest.approx(1 - WEIGHTS[name] / total)
    (unlike,) = (r for r in match.respects if r.degree < 1)
    assert unlike.name == name and unlike.words


@pytest.mark.parametrize(("factor", "degree"), [(1.0, 1.0), (1.49, 1.0), (1.51, 0.5), (2.99, 0.5), (3.01, 0.0)])
def test_times_are_alike_within_a_factor(factor: float, degree: float) -> None:
    mine = replace(fingerprint(NEVER_ASKS), timings=(("request to answer", 0.1),))
    for theirs in (0.1 * factor, 0.1 / factor):
        match = compare(Query(mine), case(fingerprint=replace(mine, timings=(("request to answer", theirs),))))
        assert next(r for r in match.respects if r.name == "timing").degree == degree


def test_what_neither_has_does_not_count_and_what_is_missing_does() -> None:
    good = fingerprint("scanner_charges_at_9v.csv")
    assert {"leading rule", "stopped at", "suspect"}.isdisjoint(
        r.name for r in compare(Query(good), case(fingerprint=good)).respects)
    assert compare(Query(good), case()).score == 0
    both = compare(Query(good, words="5 V"), case())
    assert 0 < both.score < 0.5


@given(st.sampled_from(KINDS), st.sampled_from(KINDS))
def test_likeness_goes_both_ways_and_stays_within_bounds(one: str, other: str) -> None:
    a, b = (replace(fingerprint(n), current_ma=30) for n in (one, other))
    assert 0 <= score(a, b) <= 1
    if a.offered and b.offered:
        assert score(a, b) == pytest.approx(score(b, a))


def test_of_equals_the_latest_comes_first() -> None:
    book = [case(number=n) for n in (2, 9, 4)]
    assert [m.case.number for m in rank(Query(words="30 mA"), book)] == [9, 4, 2]


def test_a_case_is_not_like_itself() -> None:
    one = case(number=1)
    assert rank(Query(symptom=one.symptom, leave_out=one.uuid), [one]) == []


@pytest.mark.parametrize(("text", "words"), [
    ("5 V only, 30 mA", ("5v", "only", "30ma")), ("5V, 5 v", ("5v",)), ("it does not charge", ("not", "charge")),
    ("9.02 V at the port", ("9.02v", "port")), ("Fähre STRASSE straße", ("fähre", "strasse")), ("", ()),
    ("\x1b[31m...!", ("31m",)), ("a_b", ("b",)),
])
def test_words(text: str, words: tuple[str, ...]) -> None:
    assert tokens(text) == words


@pytest.mark.parametrize(("wanted", "there", "found"), [
    ("charge", "charging slowly", True), ("ports", "port", True),
    ("charg", "charging slowly", True), ("contakt", "bent contact", True),
    ("9V", "5V only", False), ("M2", "M3", False), ("port", "portable", True), ("bent", "sent", False),
    ("negotiating", "", True), ("grumpy", "", True),
])
def test_words_are_found_with_small_differences(wanted: str, there: str, found: bool) -> None:
    one = KeptCase(number=1, symptom=there, part=Part.NEGOTIATING_CHIP, notes=(Note("Grumpy owner", private=True),))
    assert (len(rank(Query(words=wanted), [one])) == 1) is found


def test_classes_of_current() -> None:
    """Common practice, no source: 20 to 40 mA is present but not charging, 100 mA something between, half an amp and
    more is charging."""
    assert {current_class(ma) for ma in (20, 30, 40)} == {"present but not charging (20 to 40 mA)"}
    assert current_class(100) == "about 100 mA"
    assert current_class(0) == "next to no current"
    assert {current_class(ma) for ma in (500, 900, 3000, -3000)} == {"charging (half an amp or more)"}


def test_the_reason_is_in_words() -> None:
    a, b = fingerprint(NEVER_ASKS), fingerprint("tablet_never_acknowledges.csv")
    words = " / ".join(r.words for r in compare(Query(a), case(fingerprint=b)).respects)
    assert "stopped at offer_acknowledged, not request" in words
    assert "rule offer-not-acknowledged, not no-request" in words
    assert "suspect sink" in words
