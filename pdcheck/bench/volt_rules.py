"""What volts on CC1 and CC2 say, with the plug one way round.

Why it is: each condition stands here once, beside the blocks that it clears or points at.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.bench import entries as say
from pdcheck.bench.attach import BELOW_GROUND_V, LEAST_5V, State
from pdcheck.bench.levels import (
    LOADS_BELOW_OHM,
    Level,
    bounds_ohm,
    implied_ohm,
    range_v,
    sink_band,
    sink_sees,
    sink_threshold,
    source_terms,
)
from pdcheck.bench.levels import Term as On
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Advertisement, Partner, Side
from pdcheck.bench.vbus_rules import judge_vbus
from pdcheck.bench.view import DEVICE_CC, LINE, OUTSIDE, Said, View, cc_clears, contact, evidence
from pdcheck.rules import Effect, Who
from pdcheck.standard.attach_limits import CC_HIGHEST, RD_CLAMP
from pdcheck.triage import Block, Evidence

#: CC this close to VBUS is taken for equal. Our own choice.
_EQUAL_V = 0.1


def one_way(view: View, *, paired: bool) -> Iterator[Said]:
    """What one orientation says. With ``paired`` the evidence on the contacts is left to the pair of orientations."""
    yield from _probes(view)
    yield from _too_high(view)
    yield from _state(view, paired=paired)
    yield from _level(view)
    yield from judge_vbus(view)


def _both(view: View) -> list[tuple[str, Level]]:
    levels = (("CC1", view.attach.cc1), ("CC2", view.attach.cc2))
    return [(name, level) for name, level in levels if level is not None]


def _probes(view: View) -> Iterator[Said]:
    read = [*((n, lv.volts) for n, lv in _both(view)), *([("VBUS", view.volts.vbus)] if view.volts.vbus else [])]
    for name, value in read:
        if value < BELOW_GROUND_V:
            shown = words(value, Kind.VOLTS)
            yield say.REVERSED.says(f"{name} reads {shown}, below ground{view.way}.", effect=Effect.WITHHOLDS)
    if view.readings.meter.ohms < LOADS_BELOW_OHM:
        yield say.LOADED.says(
            f"The meter's {words(view.readings.meter.ohms, Kind.OHMS)} load CC; its readings may be too low.",
            effect=Effect.WITHHOLDS,
        )


def _too_high(view: View) -> Iterator[Said]:
    for name, level in _both(view):
        if level.low > CC_HIGHEST.most:
            shown = words(level.volts, Kind.VOLTS)
            yield say.CC_TOO_HIGH.says(f"{name} reads {shown}{view.way}: it is joined to VBUS.")
            where = LINE | {Block.CHIP} if view.readings.side in (None, Side.DEVICE) else frozenset({Block.CABLE})
            if view.readings.side is Side.CHARGER:
                where = OUTSIDE
            yield evidence(f"{name} reads more than {CC_HIGHEST.most:g} V", suspects=where)
        elif _at_vbus(level, view) and view.attach.state is not State.NO_PULL_DOWN:
            yield say.CC_IS_VBUS.says(f"{name} reads the same as VBUS ({words(level.volts, Kind.VOLTS)}){view.way}.")


def _at_vbus(level: Level | None, view: View) -> bool:
    vbus = view.volts.vbus
    return level is not None and vbus is not None and level.volts >= LEAST_5V and abs(level.volts - vbus) < _EQUAL_V


def _state(view: View, *, paired: bool) -> Iterator[Said]:
    attach, side, way = view.attach, view.readings.side, view.way
    state = attach.state
    if state is State.BETWEEN:
        names = "; or ".join(s.words for s in attach.between)
        entry = say.BOTH_LEVEL if State.JOINED in attach.between else say.STATE_BETWEEN
        yield entry.says(f"More than one fits{way}: {names}.", effect=Effect.WITHHOLDS)
    elif state is State.NOTHING and view.readings.side is None and view.readings.partner is not Partner.NOTHING:
        yield say.SIDE_NOT_SAID.says(
            f"Both CC contacts stand open{way}; whether that is right depends on where the probes were.",
            effect=Effect.WITHHOLDS,
        )
    elif state is State.UNKNOWN:
        if (attach.cc1 is None) != (attach.cc2 is None):
            yield say.STATE_UNKNOWN.says(f"Only one CC contact was measured{way}.", effect=Effect.WITHHOLDS)
        elif attach.cc1 is not None and attach.cc2 is not None and view.readings.partner is Partner.NOTHING:
            high = max(attach.cc1, attach.cc2, key=lambda level: level.volts)
            if min(attach.cc1.volts, attach.cc2.volts) >= BELOW_GROUND_V:
                yield say.FREE_LEVEL.says(
                    f"{contact(high, attach)} carries a level with nothing plugged in{way}.", effect=Effect.WITHHOLDS,
                )
                yield evidence("one CC contact carries a level by itself", suspects=LINE | {Block.CHIP}, proves=False)
    elif state is State.TOGGLES:
        yield say.TOGGLING.says(f"CC moves with nothing plugged in{way}: a port that can be charger and device.")
    elif state in (State.SOURCE, State.SINK, State.CABLE_SINK):
        if not paired:
            yield _joined(view)
        other = attach.other
        if state is State.SOURCE and other is not None and all(s.advertisement is None for s in sink_sees(other)) and (
            other.low > sink_band(Advertisement.DEFAULT)[0]
        ):
            yield say.OTHER_HIGH.says(
                f"{contact(other, attach)}, the contact without CC, does not rest at ground{way}.",
                effect=Effect.WITHHOLDS,
            )
        elif state is State.CABLE_SINK and side is Side.CHARGER and other is not None and _low(other):
            yield say.NEAR_GROUND.says(
                f"{contact(other, attach)} is lower than a cable's resistor (Ra) can pull it{way}.",
                effect=Effect.WITHHOLDS,
            )
    elif state is State.NO_PULL_DOWN:
        if _at_vbus(attach.active, view):
            yield say.PULL_UP_OR_SHORT.says(
                f"{contact(attach.active, attach)} lies at VBUS{way}: nothing pulls it down, or it is shorted to VBUS.",
            )
            yield evidence("CC lies at VBUS", suspects=DEVICE_CC)
            return
        yield say.NO_PULL_DOWN.says(
            f"The charger's pull-up arrives at {contact(attach.active, attach)} and nothing pulls it down{way}.",
            who=Who.SINK,
        )
        if not paired:
            yield evidence(
                f"the charger's pull-up arrives ({words((attach.active or Level(0, 0, 0)).volts, Kind.VOLTS)})",
                clears=OUTSIDE,
            )
            yield evidence("nothing pulls CC down", suspects=DEVICE_CC, proves=False)
    elif state is State.PULLS_UP:
        known = view.readings.partner in (Partner.CHARGER, Partner.LEGACY)
        yield say.PULLS_UP.says(
            f"Both CC contacts lie at {words(view.volts.cc1 or 0, Kind.VOLTS)} and "
            f"{words(view.volts.cc2 or 0, Kind.VOLTS)}{way}: the device pulls up, as a charger does.",
            who=Who.SINK if known else None, effect=None if known else Effect.WITHHOLDS,
        )
        yield evidence(
            "both CC contacts of the device are pulled up", suspects=DEVICE_CC - {Block.PORT}, proves=False,
        )
    elif state in (State.NOTHING, State.CABLE):
        yield from _nobody(view)
    elif state is not State.ABOVE_LIMIT:
        yield say.ACCESSORY.says(f"These levels mean: {state.words}{way}.", effect=Effect.WITHHOLDS)
        if side is Side.DEVICE:
            yield evidence("both CC contacts carry a level", suspects=LINE, proves=False)


def _low(level: Level) -> bool:
    return all(On.LOW in source_terms(level, a) for a in Advertisement)


def _joined(view: View) -> Evidence:
    """What a level with pull-up and pull-down clears: the way between the two, this way round."""
    attach = view.attach
    return evidence(
        f"{contact(attach.active, attach)} shows pull-up and pull-down joined, with the plug this way round",
        clears=cc_clears(view),
    )


def _nobody(view: View) -> Iterator[Said]:
    attach, side, partner, way = view.attach, view.readings.side, view.readings.partner, view.way
    levels = [level for _, level in _both(view)]
    dead = all(all(s.advertisement is None for s in sink_sees(level)) and level.high < 0.25 for level in levels)
    live = view.volts.vbus is not None and view.volts.vbus >= LEAST_5V
    if side is Side.CHARGER and partner in (Partner.DEVICE, Partner.CHARGER) and not dead:
        yield say.NO_PULL_DOWN.says(f"The charger sees no pull-down on either contact{way}: {attach.state.words}.")
        yield evidence(
            "the charger pulls up and sees no sink", clears=frozenset({Block.CHARGER}),
            suspects=DEVICE_CC | {Block.CABLE}, proves=False,
        )
    elif side is Side.CHARGER and not dead and any(_low(level) for level in levels):
        low = next(level for level in levels if _low(level))
        yield say.NEAR_GROUND.says(
            f"{contact(low, attach)} is lower than a cable's resistor (Ra) can pull it{way}.", effect=Effect.WITHHOLDS,
        )
        yield evidence("a CC contact of the charger lies at ground", suspects=OUTSIDE, proves=False)
    elif side is Side.CHARGER and not dead:
        yield evidence("the charger pulls up on both contacts as it should", clears=frozenset({Block.CHARGER}))
    elif side is Side.CHARGER or (dead and (view.charger_is_there or (side is Side.CABLE and live))):
        where = "the charger" if side is Side.CHARGER else "either CC contact"
        there = ", although VBUS is there" if live else ""
        yield say.NO_PULL_UP.says(f"No pull-up at {where}{there}{way}.", effect=Effect.WITHHOLDS)
        suspects = frozenset({Block.CHARGER}) if side is Side.CHARGER else OUTSIDE
        if side in (None, Side.DEVICE):
            suspects |= LINE
        if live and side is not Side.CABLE:
            # At a free plug VBUS may only stand with a pull-up: the charger gives it unasked, or the cable has none.
            suspects -= {Block.CHARGER}
        yield evidence("no pull-up arrives on CC", suspects=suspects, proves=False)
    elif side is Side.CABLE and not dead:
        yield evidence("the charger's pull-up arrives at the free plug", clears=OUTSIDE)
    elif not dead and side is None and attach.state is State.NOTHING and any(_low(level) for level in levels):
        yield say.PULL_UP_ALONE.says(f"A pull-up arrives and nothing pulls it down{way}.", effect=Effect.WITHHOLDS)


def _level(view: View) -> Iterator[Said]:
    """The active level against what the source advertises."""
    attach, readings, way = view.attach, view.readings, view.way
    level = attach.active
    if level is None or not attach.state.joined:
        return
    if readings.partner is Partner.LEGACY and attach.advertisement in (Advertisement.A1_5, Advertisement.A3_0):
        yield say.CABLE_LIES.says(
            f"The cable to a type A charger claims {attach.advertisement.value}: {contact(level, attach)}{way}.",
            who=Who.CABLE,
        )
        yield evidence("the cable's pull-up claims more than a legacy cable may", suspects=frozenset({Block.CABLE}))
    if readings.advertises is not None:
        yield from _against(view, level, readings.advertises)
    elif len(attach.advertisements) == 2:
        low, high = attach.advertisements
        edge = sink_threshold(low)
        decides = f"; a device decides near {edge:g} V" if edge is not None else ""
        yield say.BETWEEN_BANDS.says(
            f"{contact(level, attach)} lies between {low.value} and {high.value}{decides}{way}.",
            effect=Effect.WITHHOLDS,
        )
    elif any(s.advertisement is None for s in sink_sees(level)):
        yield say.BETWEEN_BANDS.says(
            f"{contact(level, attach)} lies between {sink_sees(level)[0].value} and {sink_sees(level)[-1].value}{way}.",
            effect=Effect.WITHHOLDS,
        )


def _against(view: View, level: Level, advertised: Advertisement) -> Iterator[Said]:
    low, high = sink_band(advertised)
    ohms = implied_ohm(level.volts, advertised)
    means = ""
    if ohms is not None and level.volts > 0:
        means = f" (a pull-down of {words(ohms[0], Kind.OHMS)} to {words(ohms[1], Kind.OHMS)})"
    name = contact(level, view.attach)
    if level.high < low:
        ra = range_v(advertised, bounds_ohm("Ra"))
        might = []
        if level.high >= RD_CLAMP.least and level.low <= RD_CLAMP.most:
            might.append("a chip without power clamps CC so")
        if ra[0] <= level.high and level.low <= ra[1]:
            might.append("Ra in place of Rd reads so")
        tail = "; " + ", and ".join(might) if might else ""
        yield say.LEVEL_LOW.says(
            f"{name} is too low for {advertised.value}, which reads {low:g} to {high:g} V{means}{tail}{view.way}.",
            effect=Effect.WITHHOLDS,
        )
        yield evidence("CC is lower than the advertisement allows", suspects=DEVICE_CC - {Block.PORT}, proves=False)
    elif level.low > high:
        yield say.LEVEL_HIGH.says(
            f"{name} is too high for {advertised.value}, which reads {low:g} to {high:g} V{means}{view.way}.",
            effect=Effect.WITHHOLDS,
        )
        yield evidence(
            "CC is higher than the advertisement allows", suspects=DEVICE_CC - {Block.CHIP_SUPPLY} | OUTSIDE,
            proves=False,
        )
