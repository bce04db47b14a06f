"""What the input current says, against what the advertisement or the contract allows.

Why it is: 30 mA under a 9 V contract and 30 mA on a port without pull-up point to opposite ends of the path.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.bench import entries as say
from pdcheck.bench.attach import LEAST_5V, Attach
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Advertisement, Readings
from pdcheck.bench.view import Said, evidence
from pdcheck.rules import Effect
from pdcheck.standard.attach_limits import DEFAULT_USB_3
from pdcheck.triage import Block, Source
from pdcheck.triage.currents import POWER_PATH, Draw, bands_of, contract_with_current, draw_name

_TAKEN = frozenset({"current"})
#: A meter and a device may be off by so much before the device is said to draw too much. Our own choice.
_SLACK = 1.1
_VBUS_BLOCKS = frozenset({Block.CHARGER, Block.CABLE, Block.PORT})
_TALK = frozenset({Block.CHIP, Block.CHIP_SUPPLY})


def allowed_ma(readings: Readings, attach: Attach | None) -> tuple[float, str] | None:
    """How much may be drawn, in mA, and that in words; None where neither contract nor advertisement is known."""
    if readings.contract is not None and readings.contract.current_ma is not None:
        return readings.contract.current_ma, f"the contract is for {readings.contract.words}"
    if readings.contract is not None:
        return None
    advertised = readings.advertises or (attach.advertisement if attach is not None else None)
    if advertised is None:
        return None
    if advertised is Advertisement.DEFAULT:
        # The more generous of the two defaults: nobody is accused for being on a USB 3 port.
        return DEFAULT_USB_3.most, "Default USB power allows 500 mA (900 mA on a USB 3 port)"
    return float(advertised.most_ma or 0), f"{advertised.value} are advertised"


def charger_may_be_bad(readings: Readings) -> bool:
    """True where no contract is known and no charging current.

    At 5 V a charger that never offers looks just so; above, one that raises VBUS unasked, against which a device may
    lock itself.
    """
    if readings.contract is not None:
        return False
    if readings.current_ma is None:
        return True
    return {band.draw for band in bands_of(abs(readings.current_ma))} <= {Draw.ALIVE, Draw.UNIT_LOAD}


def judge_current(readings: Readings, attach: Attach | None, vbus: float | None) -> Iterator[Said]:
    """Findings and evidence of the input current; ``vbus`` in volts where it was measured."""
    if readings.current_ma is None:
        return
    # An ammeter put in the other way round shows a negative current.
    current = abs(readings.current_ma)
    shown = words(current, Kind.MILLIAMPS)
    draws = {band.draw for band in bands_of(current)}
    allowed = allowed_ma(readings, attach)
    limit = f"; {allowed[1]}" if allowed is not None else ""
    little = draws <= {Draw.NOTHING, Draw.ALIVE, Draw.UNIT_LOAD, Draw.SOME}
    if allowed is not None and current > _SLACK * allowed[0]:
        yield say.DRAWS_TOO_MUCH.says(f"{shown} are drawn{limit}.", effect=Effect.WITHHOLDS)
        yield evidence(
            "more is drawn than may be", suspects=POWER_PATH | {Block.CHIP}, proves=False, done=_TAKEN,
        )
        return
    # Where CC was seen to be joined, the way of CC explains nothing.
    line = frozenset() if attach is not None and attach.state.joined else frozenset({Block.PORT, Block.CC_PATH})
    entry = say.DRAWS_LITTLE if little else say.DRAWS
    surely = draws <= {Draw.CHARGING}
    means = draw_name(current)
    full = " (or the battery is full)" if little and draws & {Draw.NOTHING, Draw.ALIVE} else ""
    yield entry.says(f"{shown} are drawn, {means}{full}{limit}.", effect=None if surely else Effect.WITHHOLDS)
    if readings.contract is not None:
        yield evidence(
            f"a contract for {readings.contract.words} is known",
            clears=frozenset({Block.PORT, Block.CC_PATH}) | _TALK, done=frozenset({"capture"}),
        )
        drawn = contract_with_current(Source.METER, readings.contract.words, current)
        if drawn is not None:
            yield drawn
    elif surely:
        yield evidence(f"{shown} flow: it charges", clears=POWER_PATH | _VBUS_BLOCKS, done=_TAKEN)
    elif draws <= {Draw.NOTHING}:
        suspects = POWER_PATH - {Block.BATTERY} | _TALK | {Block.PORT} | line
        if vbus is None or vbus < LEAST_5V:
            suspects |= _VBUS_BLOCKS
        yield evidence("nothing is drawn", suspects=suspects, proves=False, done=_TAKEN)
    elif draws <= {Draw.ALIVE, Draw.UNIT_LOAD}:
        # Something behind VBUS lives, so power arrives.
        charger = frozenset({Block.CHARGER}) if charger_may_be_bad(readings) else frozenset()
        yield evidence(
            f"{shown} are drawn, so VBUS and ground arrive", clears=_VBUS_BLOCKS - {Block.PORT} - charger, done=_TAKEN,
        )
        yield evidence(
            f"only {shown} are drawn", suspects=POWER_PATH | _TALK | line | charger, proves=False, done=_TAKEN,
        )
