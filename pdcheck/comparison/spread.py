"""When two sets of values differ: by more than both captures' own spread, and by the standard's tolerance.

Why it is: no two healthy negotiations take the same time. A difference is worth a technician's minute only if
neither capture itself varies that much, and it is suspicious only if one side leaves what the standard allows. The
criterion stands here once; reports quote it.

- Eight values or more on a side: its spread reaches three scaled MADs either way of the median (median absolute
  deviation times 1.4826, which for a normal distribution is the standard deviation).
- Two to seven values: its spread is their range.
- Two sides differ where their spreads do not meet.
- One value on either side: nothing is known of the spread, so the standard's tolerance is taken: two values that the
  standard both allows do not differ.
- Added to that: what the capture resolves (sampling step, analyzer's clock, probe).
- A difference counts against a side where its typical value is outside of what the standard allows and the other
  side's is inside. Where both are inside it is shown, and is no fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from statistics import median

from pdcheck.comparison.model import Allowed, Measure, Placed, Values

#: From so many values on the median and its deviation say more than the range. Our own choice.
MANY = 8
_SCALED = 1.4826
_DEVIATIONS = 3.0
#: A share of broken packets that tells: as the rule on the signal has it.
_MUCH = 0.1
_ENOUGH = 3


def values_of(found: Sequence[float], resolution: float) -> Values | None:
    """What a side's values say; None where it has none."""
    if not found:
        return None
    low, high, typical = min(found), max(found), median(found)
    least, most = low, high
    if len(found) >= MANY:
        reach = _DEVIATIONS * _SCALED * median(abs(v - typical) for v in found)
        least, most = typical - reach, typical + reach
    return Values(len(found), typical, low, high, least, most, resolution)


def measured(
    id: str, label: str, unit: str, good: Values | None, bad: Values | None, allowed: Allowed | None,
    telling: bool = False,
) -> Measure:
    """The measure of both sides' values.

    :param telling: True where a difference counts although the standard sets no limit that one side breaks.
    """
    if good is None or bad is None:
        return Measure(id, label, unit, good, bad, allowed, False, Placed.NO_LIMIT, False, "one side has no value")
    apart = _apart(good, bad)
    resolved = good.resolution + bad.resolution
    placed = _placed(good, bad, allowed)
    single = min(good.count, bad.count) == 1
    if apart <= resolved:
        differs, why = False, "the spreads meet, or are not further apart than the captures resolve"
    elif single and allowed is not None:
        if placed is Placed.BOTH_WITHIN:
            differs, why = False, "one value; both are within the standard"
        elif placed is Placed.BOTH_OUTSIDE:
            differs = apart > resolved + _width(allowed)
            why = "one value; both are outside of the standard"
        else:
            differs, why = True, "one value; one side only is within the standard"
    else:
        differs, why = True, "further apart than both spreads"
    counts = differs and (telling or placed in (Placed.GOOD_OUTSIDE, Placed.BAD_OUTSIDE))
    return Measure(id, label, unit, good, bad, allowed, differs, placed, counts, why)


def shared(id: str, label: str, good: tuple[int, int], bad: tuple[int, int]) -> Measure | None:
    """The measure of two shares, each ``(how many, of how many)``; None where either is of nothing.

    They differ where they are further apart than twice the deviations that counting so few allows.
    """
    if not good[1] or not bad[1]:
        return None
    sides = []
    for some, all_ in (good, bad):
        share = some / all_
        reach = 2 * sqrt(share * (1 - share) / all_)
        sides.append(Values(all_, share, share, share, share - reach, share + reach, 1 / all_))
    left, right = sides
    differs = _apart(left, right) > max(left.resolution, right.resolution)
    much = [some >= _ENOUGH and some > _MUCH * all_ for some, all_ in (good, bad)]
    why = "further apart than chance allows" if differs else "not further apart than chance allows"
    counts = differs and much[0] is not much[1]
    return Measure(id, label, "share", left, right, None, differs, Placed.NO_LIMIT, counts, why)


def _apart(good: Values, bad: Values) -> float:
    """By how much the spreads of two sides miss each other; negative where they meet."""
    return max(good.least - bad.most, bad.least - good.most)


def _placed(good: Values, bad: Values, allowed: Allowed | None) -> Placed:
    if allowed is None:
        return Placed.NO_LIMIT
    return {
        (True, True): Placed.BOTH_WITHIN, (False, False): Placed.BOTH_OUTSIDE,
        (True, False): Placed.BAD_OUTSIDE, (False, True): Placed.GOOD_OUTSIDE,
    }[_inside(good, allowed), _inside(bad, allowed)]


def _inside(values: Values, allowed: Allowed) -> bool:
    return (allowed.low is None or values.typical >= allowed.low - values.resolution) and (
        allowed.high is None or values.typical <= allowed.high + values.resolution
    )


def _width(allowed: Allowed) -> float:
    if allowed.low is None or allowed.high is None:
        return 0.0
    return allowed.high - allowed.low
