"""What ohms between unpowered contacts say.

Why it is: an ohmmeter proves shorts and differences. It does not prove that a pull-down is missing, because a chip
without power shows a clamp and not 5.1 kohm.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from enum import StrEnum

from pdcheck.bench import entries as say
from pdcheck.bench.levels import LOW_VBUS_OHM, SHORT_OHM, bounds_ohm
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Advertisement, Readings, Side
from pdcheck.bench.view import Said, evidence
from pdcheck.rules import Effect, Who
from pdcheck.standard import terminations
from pdcheck.triage import Block
from pdcheck.triage.measurements import MOOT_WITH_VBUS_SHORT

#: Our own choices: two contacts of one kind may differ by this factor; below this a leak from
#: VBUS counts.
_DIFFER = 1.5
_LEAK_OHM = 56e3

RA_WORDS = "that is a cable's resistor (Ra), not the pull-down of a device"

_TAKEN = frozenset({"cc_ohms"})
_LINE = frozenset({Block.PORT, Block.CC_PATH})
_ONE_LINE = _LINE | {Block.CHIP}


class Pull(StrEnum):
    """What a resistance from CC to ground is."""

    SHORT = "short"
    LOW = "lower than Ra"
    RA = "Ra"
    RD = "Rd"
    RD_LOOSE = "Rd (default power only)"
    OFF = "no termination of the standard"
    OPEN = "open"


def pull_of(ohms: float) -> Pull:
    """What a resistance to ground is by the table of terminations; the bounds belong to the termination."""
    good, loose, ra = (bounds_ohm(n) for n in ("Rd (reads the advertisement)", "Rd (default power only)", "Ra"))
    if ohms <= SHORT_OHM:
        return Pull.SHORT
    if ohms < ra[0]:
        return Pull.LOW
    if ohms <= ra[1]:
        return Pull.RA
    if good[0] <= ohms <= good[1]:
        return Pull.RD
    if loose[0] <= ohms <= loose[1]:
        return Pull.RD_LOOSE
    return Pull.OPEN if ohms >= bounds_ohm("zOPEN")[0] else Pull.OFF


def off_by_pct(ohms: float) -> float | None:
    """How far from 5.1 kohm, in percent; None for an open contact."""
    nominal = next(t.nominal for t in terminations.ALL if t.name == "Rd (reads the advertisement)")
    return None if math.isinf(ohms) else (ohms / nominal - 1) * 100


def cable_pull_up(ohms: float) -> Advertisement | None:
    """What a legacy cable with this resistor from CC to VBUS advertises; None outside of every tolerance."""
    for one in terminations.ALL:
        if one.name.startswith("Rp ") and one.pulled_to.endswith("5.5 V") and one.tolerance_pct is not None:
            off = one.nominal * one.tolerance_pct / 100
            if one.nominal - off <= ohms <= one.nominal + off:
                return Advertisement(one.name.removeprefix("Rp "))
    return None


def open_beside(high: float, low: float) -> bool:
    """True where a contact of that resistance is open by what its like reads: nothing beside something."""
    if pull_of(low) is Pull.OPEN or pull_of(high) is not Pull.OPEN:
        return False
    return math.isinf(high) or pull_of(low) is not Pull.OFF


def judge_ohms(readings: Readings) -> Iterator[Said]:
    """Findings and evidence of all resistances that were measured."""
    yield from _to_ground(readings)
    yield from _between(readings)
    yield from _to_vbus(readings)
    vbus = readings.ohms.vbus
    if vbus is None or vbus > LOW_VBUS_OHM:
        return
    where = _where(readings.side, frozenset({Block.PORT, Block.VBUS_SWITCH, Block.CHARGER_STAGE}))
    if vbus <= SHORT_OHM:
        yield say.VBUS_SHORT.says(f"VBUS to ground reads {words(vbus, Kind.OHMS)}: a short.")
        yield evidence("VBUS is shorted to ground", suspects=where, done=MOOT_WITH_VBUS_SHORT)
    else:
        shown = words(vbus, Kind.OHMS)
        yield say.VBUS_LEAK.says(f"VBUS to ground reads {shown}{takes(vbus)}.", effect=Effect.WITHHOLDS)
        yield evidence("VBUS is low to ground", suspects=where, proves=False, done=MOOT_WITH_VBUS_SHORT)


def takes(ohms: float) -> str:
    """What a resistance from VBUS to ground would draw, in words behind its reading."""
    return f": no short, but at 5 V that alone would draw {words(5e3 / ohms, Kind.MILLIAMPS)}"


def _to_ground(readings: Readings) -> Iterator[Said]:
    ohms, side = readings.ohms, readings.side
    measured = {name: value for name, value in (("CC1", ohms.cc1), ("CC2", ohms.cc2)) if value is not None}
    shorted = [name for name, value in measured.items() if pull_of(value) is Pull.SHORT]
    for name in shorted:
        yield say.SHORT.says(f"{name} to ground reads {words(measured[name], Kind.OHMS)}: a short.")
        yield evidence(f"{name} is shorted to ground", suspects=_where(side, _ONE_LINE), done=_TAKEN)
    if side in (Side.CHARGER, Side.CABLE):
        # A charger pulls up and a cable's Ra may sit on either contact: nothing else is told without power.
        return
    if len(measured) == 2 and not shorted:
        low, high = sorted(measured, key=lambda n: measured[n])
        shown = {name: words(value, Kind.OHMS) for name, value in measured.items()}
        if open_beside(measured[high], measured[low]):
            yield say.ONE_OPEN.says(
                f"{high} to ground reads {shown[high]}, {low} {shown[low]}; a port shows about the same on both.",
            )
            yield evidence(f"{high} is open to ground, {low} is not", suspects=_ONE_LINE, done=_TAKEN)
            return
        if measured[high] > _DIFFER * measured[low] and pull_of(measured[low]) is not Pull.OPEN:
            yield say.DIFFER.says(
                f"{low} to ground reads {shown[low]} and {high} {shown[high]}; a port shows about the same on both.",
                effect=Effect.WITHHOLDS,
            )
            yield evidence("CC1 and CC2 differ to ground", suspects=_ONE_LINE, proves=False, done=_TAKEN)
            return
    yield from _each(measured)
    if len(measured) == 2 and all(pull_of(v) in (Pull.RD, Pull.RD_LOOSE) for v in measured.values()):
        yield evidence("both CC contacts show a pull-down of 5.1 kohm", clears=_LINE, done=_TAKEN)


def _each(measured: dict[str, float]) -> Iterator[Said]:
    for name, value in measured.items():
        pull, shown = pull_of(value), words(value, Kind.OHMS)
        if pull is Pull.RD_LOOSE:
            yield say.RD_LOOSE.says(f"{name} to ground reads {shown}, {off_by_pct(value):+.0f} % from 5.1 kohm.")
        elif pull is Pull.RA:
            yield say.RA_AT_DEVICE.says(
                f"{name} to ground reads {shown}: {RA_WORDS}.", effect=Effect.WITHHOLDS,
            )
            yield evidence(f"{name} shows Ra", suspects=_ONE_LINE, proves=False, done=_TAKEN)
        elif pull is Pull.LOW:
            yield say.LEAK.says(f"{name} to ground reads {shown}, lower than any pull-down.", effect=Effect.WITHHOLDS)
            yield evidence(f"{name} is low to ground", suspects=_ONE_LINE, proves=False, done=_TAKEN)
        elif pull is Pull.OFF:
            yield say.RD_OFF.says(
                f"{name} to ground reads {shown}: no pull-down of the standard, or the clamp of a chip without power.",
                effect=Effect.WITHHOLDS,
            )
        elif pull is Pull.OPEN:
            yield say.RD_OPEN.says(
                f"{name} to ground reads {shown}: no pull-down, or a chip that shows none without power.",
                effect=Effect.WITHHOLDS,
            )


def _between(readings: Readings) -> Iterator[Said]:
    between = readings.ohms.between_cc
    if between is not None and between <= SHORT_OHM:
        yield say.JOINED.says(f"CC1 to CC2 reads {words(between, Kind.OHMS)}: they are joined.")
        yield evidence("CC1 and CC2 are joined", suspects=_where(readings.side, _ONE_LINE), done=_TAKEN)


def _to_vbus(readings: Readings) -> Iterator[Said]:
    for name, value in (("CC1", readings.ohms.cc1_vbus), ("CC2", readings.ohms.cc2_vbus)):
        if value is None:
            continue
        shown = words(value, Kind.OHMS)
        if value <= SHORT_OHM:
            yield say.CC_VBUS.says(f"{name} to VBUS reads {shown}: a short.")
            yield evidence(f"{name} is shorted to VBUS", suspects=_where(readings.side, _ONE_LINE), done=_TAKEN)
        elif readings.side is Side.CABLE:
            yield from _cable(name, value, shown)
        elif value < _LEAK_OHM and readings.side is not Side.CHARGER:
            yield say.CC_VBUS_LEAK.says(f"{name} to VBUS reads {shown}.", effect=Effect.WITHHOLDS)
            yield evidence(f"{name} leaks to VBUS", suspects=_ONE_LINE, proves=False, done=_TAKEN)


def _cable(name: str, value: float, shown: str) -> Iterator[Said]:
    if pull_of(value) is Pull.OPEN:
        # A cable of type C at both ends has no pull-up, and the plug's other contact never has one.
        return
    claims = cable_pull_up(value)
    if claims is Advertisement.DEFAULT:
        yield evidence(f"the cable's pull-up is {shown}, as a legacy cable's must be", clears=frozenset({Block.CABLE}))
        return
    if claims is not None:
        yield say.CABLE_LIES.says(
            f"{name} to VBUS reads {shown} in the cable: it claims {claims.value}, a legacy cable must claim default.",
            who=Who.CABLE,
        )
    else:
        yield say.CABLE_PULL_UP.says(
            f"{name} to VBUS reads {shown} in the cable; a legacy cable's pull-up is 56 kohm, 20 %.", who=Who.CABLE,
        )
    yield evidence("the cable's pull-up is wrong", suspects=frozenset({Block.CABLE}))


def _where(side: Side | None, device: frozenset[Block]) -> frozenset[Block]:
    return {Side.CHARGER: frozenset({Block.CHARGER}), Side.CABLE: frozenset({Block.CABLE})}.get(
        side or Side.DEVICE, device,
    )
