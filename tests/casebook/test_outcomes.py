"""The count and its interval, against what others compute."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pdcheck.casebook import Held, KeptCase, Part, count_outcomes
from pdcheck.casebook.as_text import outcomes_text
from pdcheck.casebook.outcomes import wilson
from tests.casebook.books import case

#: What scipy 1.17.1 computes: ``binomtest(count, total).proportion_ci(0.95, method="wilson")``.
TABLE = Path(__file__).with_name("wilson_scipy.csv")


def test_the_interval_is_what_a_statistics_library_computes() -> None:
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) > 50
    for row in rows:
        low, high = wilson(int(row["count"]), int(row["total"]))
        assert low == pytest.approx(float(row["low"]), abs=1e-9), row
        assert high == pytest.approx(float(row["high"]), abs=1e-9), row


def test_the_interval_is_what_was_published() -> None:
    """R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17 (1998),
    table I, method 3 (score, without continuity correction); the numbers from memory, and equal to the table above."""
    for count, total, low, high in (
        (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718),
    ):
        assert wilson(count, total) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(("count", "total"), [(0, 0), (-1, 3), (4, 3)])
def test_what_is_no_share(count: int, total: int) -> None:
    with pytest.raises(ValueError, match="is no share"):
        wilson(count, total)


def cases(part: Part | None, held: Held, count: int) -> list[KeptCase]:
    return [case(part=part, held=held) for _ in range(count)]


NINE = [
    *cases(Part.NEGOTIATING_CHIP, Held.YES, 7), *cases(Part.PORT_CONTACTS, Held.YES, 2),
    *cases(Part.NEGOTIATING_CHIP, Held.NO, 3), *cases(Part.BATTERY, Held.UNKNOWN, 2), *cases(None, Held.UNKNOWN, 1),
]


def test_only_what_held_is_counted() -> None:
    found = count_outcomes(NINE)
    assert (found.looked_at, found.total) == (15, 9)
    assert [(s.part, s.count) for s in found.shares] == [(Part.NEGOTIATING_CHIP, 7), (Part.PORT_CONTACTS, 2)]
    assert (found.shares[0].low, found.shares[0].high) == wilson(7, 9)
    assert found.wrong == ((Part.NEGOTIATING_CHIP, 3),)
    assert (found.undecided, found.unnamed) == (2, 1)


def test_the_count_says_how_little_it_proves() -> None:
    text = outcomes_text(count_outcomes(NINE), 80, like=True)
    flat = " ".join(text.split())
    assert flat.startswith("Of 9 cases like this whose repair held, 7 were the negotiating chip, 2 the port contacts.")
    assert "7 of 9 true share: 45 to 94 %" in flat
    assert "So few prove little" in flat
    assert "in 3 the negotiating chip was blamed and the repair did not hold" in flat
    assert max(map(len, text.splitlines())) <= 80
    few = " ".join(outcomes_text(count_outcomes(cases(Part.CABLE, Held.YES, 1)), 80, like=True).split())
    assert few.startswith("Of 1 case like this whose repair held, 1 was the cable.")
    assert "next to nothing" in few
    many = outcomes_text(count_outcomes(cases(Part.CABLE, Held.YES, 40)), 80, like=False)
    assert "prove" not in many and "Measure before you desolder" in " ".join(many.split())


def test_nothing_to_count() -> None:
    text = outcomes_text(count_outcomes(cases(Part.CABLE, Held.UNKNOWN, 1)), 80, like=True)
    assert "nothing to count yet" in " ".join(text.split())
    assert outcomes_text(count_outcomes([]), 80, like=True) == "There are no cases like this."
