"""What cases like this one turned out to be, and how little so few of them prove.

Why it is: "7 of 9 were the chip" invites somebody to change the chip. Counted is only what a repair that held has
proven, and every share is shown with the interval in which the true one may lie.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

from pdcheck.casebook.model import Held, KeptCase, Part

#: How sure the interval is.
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Share:
    """How often one part was it: ``low`` and ``high`` are the ends of the 95 % interval of the true share."""

    part: Part
    count: int
    low: float
    high: float


@dataclass(frozen=True)
class Outcomes:
    """The count. ``shares``: the most frequent first; ``total`` the cases they are shares of (named, and held).

    ``wrong``: the parts that were blamed in cases where the repair did not hold, and how often.
    ``undecided``: named, and not known whether it held. ``unnamed``: no part named.
    """

    looked_at: int
    total: int
    shares: tuple[Share, ...]
    wrong: tuple[tuple[Part, int], ...]
    undecided: int
    unnamed: int


def count_outcomes(cases: Sequence[KeptCase]) -> Outcomes:
    """Count what the cases turned out to be."""
    named = [case for case in cases if case.part is not None]
    held = [case.part for case in named if case.held is Held.YES]
    failed = [case.part for case in named if case.held is Held.NO]
    shares = [
        Share(part, held.count(part), *wilson(held.count(part), len(held))) for part in Part if part in held
    ]
    return Outcomes(
        looked_at=len(cases),
        total=len(held),
        shares=tuple(sorted(shares, key=lambda s: -s.count)),
        wrong=tuple(sorted(((p, failed.count(p)) for p in Part if p in failed), key=lambda w: -w[1])),
        undecided=sum(case.held is Held.UNKNOWN for case in named),
        unnamed=len(cases) - len(named),
    )


def wilson(count: int, total: int) -> tuple[float, float]:
    """The ends of the 95 % score interval of a share of ``count`` in ``total``.

    Source: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", JASA 22 (1927); the
    tests compare it with what a statistics library computes. It stays honest for the small counts of a bench.

    :raises ValueError: there is nothing to take a share of.
    """
    if not 0 <= count <= total or total == 0:
        raise ValueError(f"{count} of {total} is no share")
    z = NormalDist().inv_cdf(0.5 + CONFIDENCE / 2)
    share, spread = count / total, z * z / total
    middle = (share + spread / 2) / (1 + spread)
    half = z * sqrt(share * (1 - share) / total + spread / (4 * total)) / (1 + spread)
    return (0.0 if count == 0 else middle - half), (1.0 if count == total else middle + half)
