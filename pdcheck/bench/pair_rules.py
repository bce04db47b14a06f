"""What the two plug orientations say together.

Why it is: what works one way only is not what both ways share. It is the cheapest test there is, and it clears the
most.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.bench import entries as say
from pdcheck.bench.attach import State
from pdcheck.bench.view import Said, View, cc_clears, evidence
from pdcheck.rules import Effect, Who
from pdcheck.triage import Block

_FLIPPED = frozenset({"cc_volts", "flip"})


_DEAD = {
    State.NOTHING: "no pull-up arrives there", State.NO_PULL_DOWN: "its pull-up arrives and nothing pulls it down",
}


def decided(view: View) -> bool:
    """True where a state that does not join charger and device is the only one that fits."""
    return view.attach.state not in (State.BETWEEN, State.UNKNOWN)


def both_ways(first: View, second: View) -> Iterator[Said]:
    """Evidence and findings of a pair of readings at one port, the plug turned over between them."""
    good = [view.attach.state.joined for view in (first, second)]
    states = (first.attach.state, second.attach.state)
    if all(good):
        if first.attach.orientation == second.attach.orientation and first.attach.orientation is not None:
            yield say.NOT_FLIPPED.says(
                f"CC is on {first.attach.orientation.upper()} in both readings: the plug was not turned over.",
                effect=Effect.WITHHOLDS,
            )
            yield evidence(
                "pull-up and pull-down are joined, with the plug one way round", clears=cc_clears(first),
            )
            return
        yield evidence(
            "pull-up and pull-down are joined with the plug either way round", done=_FLIPPED,
            clears=cc_clears(first) & cc_clears(second),
        )
    elif any(good):
        alive, dead = (first, second) if good[0] else (second, first)
        if not decided(dead):
            return
        line = {"cc1": "CC2", "cc2": "CC1"}.get(alive.attach.orientation or "", "the other CC")
        yield say.ONE_ROW.says(
            f"One way round charger and device see each other, the other way not: {line} is at fault "
            f"({_DEAD.get(dead.attach.state, dead.attach.state.words)}).",
        )
        yield evidence(
            "one way round charger and device see each other", done=_FLIPPED,
            clears=frozenset({Block.CHARGER, Block.CABLE, Block.CHIP_SUPPLY}),
        )
        yield evidence(
            f"the other way round {line} does not work", done=_FLIPPED,
            suspects=frozenset({Block.PORT, Block.CC_PATH, Block.CHIP}),
        )
    elif states == (State.NO_PULL_DOWN, State.NO_PULL_DOWN):
        yield say.BOTH_ROWS.says(
            "The charger's pull-up arrives either way round, and nothing pulls it down on CC1 or on CC2.",
            who=Who.SINK,
        )
        yield evidence(
            "the charger's pull-up arrives, with the plug either way round", done=_FLIPPED,
            clears=frozenset({Block.CHARGER, Block.CABLE}),
        )
        yield evidence(
            "nothing pulls down on either CC contact",
            suspects=frozenset({Block.PORT, Block.CHIP, Block.CHIP_SUPPLY}), proves=False, done=_FLIPPED,
        )
