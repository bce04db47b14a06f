"""The criterion: spreads against the statistics module and numpy, and each side of each of its limits."""

from __future__ import annotations

import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.comparison.model import Allowed, Placed
from pdcheck.comparison.spread import MANY, measured, shared, values_of

FLOATS = st.floats(-1e3, 1e3, allow_nan=False)
LIMIT = Allowed(None, 15e-3, "at most 15 ms")


@given(st.lists(FLOATS, min_size=MANY, max_size=60))
@settings(max_examples=200, deadline=None)
def test_many_values_have_median_and_mad(found: list[float]) -> None:
    values = values_of(found, 0.0)
    assert values is not None
    middle = statistics.median(found)
    # 1.4826 is one over the normal distribution's upper quartile.
    scale = 1 / statistics.NormalDist().inv_cdf(0.75)
    mad = float(np.median(np.abs(np.array(found) - middle)))
    assert values.typical == pytest.approx(middle)
    assert values.most - values.typical == pytest.approx(3 * scale * mad, rel=1e-4, abs=1e-9)
    assert values.typical - values.least == pytest.approx(3 * scale * mad, rel=1e-4, abs=1e-9)
    assert (values.low, values.high) == (min(found), max(found))


@given(st.lists(FLOATS, min_size=2, max_size=MANY - 1))
@settings(max_examples=200, deadline=None)
def test_few_values_have_the_median_and_their_range(found: list[float]) -> None:
    values = values_of(found, 0.0)
    assert values is not None
    assert values.typical == pytest.approx(float(np.median(found)))
    assert values.most - values.least == pytest.approx(float(np.ptp(found)))


@given(st.lists(FLOATS, min_size=2, max_size=MANY - 1), st.lists(FLOATS, min_size=2, max_size=MANY - 1))
@settings(max_examples=300, deadline=None)
def test_few_values_differ_where_their_ranges_do_not_meet(a: list[float], b: list[float]) -> None:
    found = measured("x", "x", "s", values_of(a, 0.0), values_of(b, 0.0), None)
    gap = max(min(a) - max(b), min(b) - max(a))
    if abs(gap) > 1e-6:
        assert found.differs is (gap > 0)
    assert not found.counts


def one(a: float, b: float, resolution: float = 1e-6, allowed: Allowed | None = LIMIT) -> tuple[bool, bool, Placed]:
    found = measured("x", "x", "s", values_of([a], resolution), values_of([b], resolution), allowed)
    return found.differs, found.counts, found.placed


def test_one_value_each() -> None:
    assert one(2e-3, 14e-3) == (False, False, Placed.BOTH_WITHIN)
    assert one(2e-3, 15.01e-3) == (True, True, Placed.BAD_OUTSIDE)
    assert one(16e-3, 2e-3) == (True, True, Placed.GOOD_OUTSIDE)
    # At the limit, by less than the captures resolve.
    assert one(2e-3, 15.01e-3, resolution=20e-6) == (False, False, Placed.BOTH_WITHIN)
    assert one(15.001e-3, 14.999e-3, resolution=2e-6)[0] is False
    assert one(20e-3, 20.001e-3)[0] is False
    both = Allowed(0.9e-3, 1.1e-3, "")
    assert one(2e-3, 2.1e-3, allowed=both) == (False, False, Placed.BOTH_OUTSIDE)
    assert one(2e-3, 2.3e-3, allowed=both) == (True, False, Placed.BOTH_OUTSIDE)


def test_several_values_within_the_standard_are_told_and_do_not_count() -> None:
    found = measured("x", "x", "s", values_of([2e-3, 2.2e-3], 0), values_of([9e-3, 9.3e-3, 9.1e-3], 0), LIMIT)
    assert (found.differs, found.counts, found.placed) == (True, False, Placed.BOTH_WITHIN)
    late = measured("x", "x", "s", values_of([2e-3, 2.2e-3], 0), values_of([29e-3, 29.3e-3], 0), LIMIT)
    assert (late.differs, late.counts, late.placed) == (True, True, Placed.BAD_OUTSIDE)


def test_a_side_without_values() -> None:
    found = measured("x", "x", "s", None, values_of([1.0], 0.0), LIMIT)
    assert not found.differs
    assert not found.counts


@pytest.mark.parametrize(("good", "bad", "differs", "counts"), [
    ((0, 20), (18, 18), True, True), ((0, 20), (1, 20), False, False), ((0, 3), (1, 3), False, False),
    ((0, 100), (30, 100), True, True), ((0, 1000), (40, 1000), True, False), ((50, 100), (90, 100), True, False),
])
def test_shares(good: tuple[int, int], bad: tuple[int, int], differs: bool, counts: bool) -> None:
    found = shared("x", "x", good, bad)
    assert found is not None
    assert (found.differs, found.counts) == (differs, counts)


def test_a_share_of_nothing_is_none() -> None:
    assert shared("x", "x", (0, 0), (1, 2)) is None


@given(st.integers(1, 300), st.floats(0, 1))
@settings(max_examples=100, deadline=None)
def test_the_deviation_of_a_share_is_the_binomial_one(all_: int, part: float) -> None:
    some = round(part * all_)
    found = shared("x", "x", (some, all_), (some, all_))
    assert found is not None
    assert found.good is not None
    sample = [1.0] * some + [0.0] * (all_ - some)
    assert found.good.most - found.good.typical == pytest.approx(2 * statistics.pstdev(sample) / all_**0.5, abs=1e-9)
