"""From evidence to the state of every block, and to the measurement that splits what is left.

Why it is: the rules of this reasoning are few and stand here alone. Evidence is never weighed against evidence: where
two things that were seen contradict each other the block is disputed and both are shown.
"""

from __future__ import annotations

from collections.abc import Iterable

from pdcheck.triage import measurements
from pdcheck.triage.model import Block, BlockResult, BlockState, Evidence, Measurement, Triage

_MOST_STEPS = 4


def triage(evidence: Iterable[Evidence]) -> Triage:
    """The state of every block by all that was seen. The order of the evidence does not change any state.

    A block is cleared by evidence that clears it and suspect by evidence that points at it; with both it is disputed,
    with neither it is untouched.
    """
    seen = tuple(dict.fromkeys(evidence))
    results = []
    for block in Block:
        clearing = tuple(e for e in seen if block in e.clears)
        pointing = tuple(e for e in seen if block in e.suspects)
        if clearing and pointing:
            state = BlockState.DISPUTED
        elif clearing:
            state = BlockState.CLEARED
        elif pointing:
            state = BlockState.SUSPECT
        else:
            state = BlockState.UNTOUCHED
        results.append(BlockResult(block, state, clearing + pointing))
    found = Triage(tuple(results), ())
    done = frozenset(name for e in seen for name in e.done)
    return Triage(found.blocks, _next(found, done)) if seen else found


def _next(found: Triage, done: frozenset[str]) -> tuple[Measurement, ...]:
    """Measurements that tell some of the blocks that are left from the others, the easiest first.

    One that tells of all suspects splits nothing and comes after those that do; where a single block is left, whatever
    tells of it confirms or clears it. Where nothing is suspect the first question is whether anything is bad at all.
    """
    left = frozenset(found.left)
    suspects = bool(found.of(BlockState.SUSPECT, BlockState.DISPUTED))
    if not left:
        return ()
    telling = [m for m in measurements.ALL if m.name not in done and (m.key or m.tells) & left]
    splitting = [m for m in telling if left - m.tells or not suspects]
    others = [m for m in telling if m not in splitting]
    return tuple([*splitting, *others][:_MOST_STEPS])
