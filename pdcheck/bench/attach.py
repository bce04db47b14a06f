"""From the levels of both CC contacts to the attach state, the orientation and the advertisement.

Why it is: every explanation that the tables allow is kept. Where more than one is left the state is "between", and all
of them are named; nothing is chosen because it is more usual.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.bench.levels import Level, Seen, Term, sink_sees, source_terms, surely_open_v
from pdcheck.bench.readings import Advertisement, Meter, Side, Volts
from pdcheck.standard.attach_limits import CC_HIGHEST, VCONN
from pdcheck.standard.vbus_levels import CABLE_DROP_V, SAFE_5V


class State(StrEnum):
    """What the two contacts say; the names follow the standard's connection states where it has one."""

    NOTHING = "nothing_attached"
    SINK = "sink_attached"
    SOURCE = "source_attached"
    CABLE = "powered_cable"
    CABLE_SINK = "powered_cable_with_sink"
    DEBUG = "debug_accessory"
    AUDIO = "audio_accessory"
    NO_PULL_DOWN = "no_pull_down"
    PULLS_UP = "pulls_up_itself"
    JOINED = "cc_contacts_joined"
    TOGGLES = "dual_role_toggling"
    ABOVE_LIMIT = "cc_above_limit"
    BETWEEN = "between"
    UNKNOWN = "unknown"

    @property
    def words(self) -> str:
        return _WORDS[self]

    @property
    def joined(self) -> bool:
        """True where a source and a sink see each other over CC."""
        return self in (State.SINK, State.SOURCE, State.CABLE_SINK)


_WORDS = {
    State.NOTHING: "nothing is attached",
    State.SINK: "a sink is attached (seen from the charger)",
    State.SOURCE: "a charger is attached (seen from the device)",
    State.CABLE: "a powered cable with no sink behind it",
    State.CABLE_SINK: "a powered cable with a sink behind it (seen from the charger)",
    State.DEBUG: "a debug accessory (both CC contacts carry a level)",
    State.AUDIO: "an audio accessory (Ra on both CC contacts)",
    State.NO_PULL_DOWN: "the charger's pull-up arrives and nothing pulls it down",
    State.PULLS_UP: "the port pulls both CC contacts up itself: it acts as a charger",
    State.JOINED: "CC1 and CC2 are joined",
    State.TOGGLES: "the port itself moves CC, as a dual-role port does that looks for a partner",
    State.ABOVE_LIMIT: "a CC contact carries more than the standard allows",
    State.BETWEEN: "between two states",
    State.UNKNOWN: "not enough is measured to tell",
}

#: VBUS as it may arrive through a cable.
LEAST_5V = SAFE_5V.least - CABLE_DROP_V
#: A reading this far below ground is no meter's offset. Our own choice.
BELOW_GROUND_V = -0.1
#: Two levels this close may be one conductor; our own choice.
_ALIKE = 0.05
_LOW_SUPPLY = (
    "the pull-up is a current source that is fed from less than 2.75 V and advertises Default USB power or 1.5 A"
)
_GROUND = "a contact lies lower than Ra can pull it"
_VCONN_ON = "the high contact carries VCONN for the cable, and not an open pull-up"


@dataclass(frozen=True)
class Fit:
    """One explanation. ``unless``: an unusual condition that it needs; ``firm``: both levels lie within its bands."""

    state: State
    orientation: str | None
    advertisements: frozenset[Advertisement]
    firm: bool
    unless: str | None = None


@dataclass(frozen=True)
class Attach:
    """What two levels say.

    ``between``: the states that fit, where more than one does. ``orientation``: ``"cc1"`` or ``"cc2"``, the contact
    that the plug uses for CC. ``advertisements``: one, or those that the level lies between. ``also``: explanations
    that need something unusual, each with what it needs. ``cc1``, ``cc2``: the levels, None where not measured.
    """

    state: State
    between: tuple[State, ...]
    orientation: str | None
    advertisements: tuple[Advertisement, ...]
    also: tuple[tuple[State, str], ...]
    cc1: Level | None
    cc2: Level | None

    @property
    def advertisement(self) -> Advertisement | None:
        return self.advertisements[0] if len(self.advertisements) == 1 else None

    @property
    def active(self) -> Level | None:
        """The level of the contact that carries CC; None where that is not known."""
        return {"cc1": self.cc1, "cc2": self.cc2}.get(self.orientation or "")

    @property
    def other(self) -> Level | None:
        """The level of the contact that does not carry CC."""
        return {"cc1": self.cc2, "cc2": self.cc1}.get(self.orientation or "")


def attach_of(
    volts: Volts, meter: Meter, *, side: Side | None = None, advertises: Advertisement | None = None,
    free: bool = False,
) -> Attach | None:
    """The attach state by the volts of one plug orientation; None where neither CC was measured.

    :param side: where the probes were; None: every end that fits is considered.
    :param advertises: what the source is known to advertise, where it is.
    :param free: True where nothing is plugged in: whatever lies on CC comes from the port itself.
    """
    cc1 = Level.of(volts.cc1, meter) if volts.cc1 is not None else None
    cc2 = Level.of(volts.cc2, meter) if volts.cc2 is not None else None
    if cc1 is None and cc2 is None:
        return None
    if any(level is not None and level.low > CC_HIGHEST.most for level in (cc1, cc2)):
        return Attach(State.ABOVE_LIMIT, (), None, (), (), cc1, cc2)
    if any(level is not None and level.high < BELOW_GROUND_V for level in (cc1, cc2)):
        return Attach(State.UNKNOWN, (), None, (), (), cc1, cc2)
    if cc1 is None or cc2 is None:
        return _single(cc1, cc2, side)
    if free and side is Side.DEVICE:
        return _free(cc1, cc2)
    fits = list(_fits(cc1, cc2, side, advertises))
    if volts.vbus is not None and volts.vbus >= LEAST_5V:
        # A source gives VBUS to a sink, not to a cable with nothing behind it.
        fits = [f for f in fits if f.state is not State.CABLE or State.SINK not in {g.state for g in fits}]
    return _settle(fits, cc1, cc2)


def _single(cc1: Level | None, cc2: Level | None, side: Side | None) -> Attach:
    """One contact alone tells only whether it carries CC."""
    level = cc1 or cc2
    assert level is not None
    name = "cc1" if cc1 is not None else "cc2"
    seen = sink_sees(level)
    advertised = tuple(s.advertisement for s in seen if s.advertisement is not None)
    if side in (Side.DEVICE, Side.CABLE) and len(advertised) == len(seen):
        return Attach(State.SOURCE, (), name, advertised, (), cc1, cc2)
    return Attach(State.UNKNOWN, (), None, (), (), cc1, cc2)


def _free(cc1: Level, cc2: Level) -> Attach:
    """A device's port with nothing plugged in. A sink's lies at ground; a meter shows the average of a port that
    toggles."""
    seen = (sink_sees(cc1), sink_sees(cc2))
    if all(s == (Seen.NONE,) for s in seen):
        state = State.NOTHING
    elif all(s == (Seen.OVER,) for s in seen):
        state = State.PULLS_UP
    elif all(Seen.NONE not in s for s in seen):
        state = State.TOGGLES
    else:
        state = State.UNKNOWN
    return Attach(state, (), None, (), (), cc1, cc2)


def _fits(cc1: Level, cc2: Level, side: Side | None, advertises: Advertisement | None) -> Iterator[Fit]:
    if side is Side.CHARGER:
        yield from _from_source(cc1, cc2, advertises)
    elif side is not None:
        yield from _from_sink(cc1, cc2, side)
    else:
        levels = (cc1, cc2)
        grounded = [_grounded(level) for level in levels]
        opened = any(level.low >= surely_open_v() for level in levels)
        # A sink never shows an open pull-up, and the pull-up of a charger never lies at ground.
        if opened and any(grounded):
            yield from _from_sink(cc1, cc2, Side.CABLE)
        elif opened:
            yield from _from_source(cc1, cc2, advertises)
        elif any(grounded):
            yield from _from_sink(cc1, cc2, None)
        else:
            yield from _from_source(cc1, cc2, advertises)
            yield from _from_sink(cc1, cc2, None)


def _grounded(level: Level) -> bool:
    """True where no pull-up over any Ra could be so low."""
    return all(Term.LOW in source_terms(level, a) for a in Advertisement)


_FROM_SOURCE = {
    frozenset({Term.OPEN}): State.NOTHING,
    frozenset({Term.RD, Term.OPEN}): State.SINK,
    frozenset({Term.RA, Term.OPEN}): State.CABLE,
    frozenset({Term.RD, Term.RA}): State.CABLE_SINK,
    frozenset({Term.RD}): State.DEBUG,
    frozenset({Term.RA}): State.AUDIO,
}


def _from_source(cc1: Level, cc2: Level, advertises: Advertisement | None) -> Iterator[Fit]:
    """What a source with pull-ups on both contacts concludes; its advertisement may not be known."""
    for advertisement in (advertises,) if advertises is not None else tuple(Advertisement):
        terms = (source_terms(cc1, advertisement), source_terms(cc2, advertisement))
        firm = all(len(t) == 1 for t in terms)
        for pair in itertools.product(*terms):
            # With a good Rd the sink reads this advertisement, or its level lies beside that band.
            if advertises is None and any(
                term is Term.RD and advertisement not in {s.advertisement for s in sink_sees(level)}
                for term, level in zip(pair, (cc1, cc2), strict=True)
            ):
                continue
            if pair == (Term.LOW, Term.LOW):
                yield Fit(State.NOTHING, None, frozenset(), firm, _GROUND)
                continue
            taken = tuple(Term.RA if t is Term.LOW else t for t in pair)
            state = _FROM_SOURCE[frozenset(taken)]
            open_levels = [level for level, t in zip((cc1, cc2), taken, strict=True) if t is Term.OPEN]
            unless = None
            if advertises is None and any(level.low < surely_open_v() for level in open_levels):
                unless = _LOW_SUPPLY
            elif Term.LOW in pair and advertises is None:
                unless = _GROUND
            orientation = None
            if state.joined:
                orientation = "cc1" if taken[0] is Term.RD else "cc2"
            told = frozenset({advertisement}) if Term.RD in taken else frozenset()
            yield Fit(state, orientation, told, firm, unless)
            if state is State.SINK and all(_may_be_vconn(level) for level in open_levels):
                yield Fit(State.CABLE_SINK, orientation, told, firm, _VCONN_ON)


def _may_be_vconn(level: Level) -> bool:
    return level.high >= VCONN.least and level.low <= VCONN.most


def _from_sink(cc1: Level, cc2: Level, side: Side | None) -> Iterator[Fit]:
    """What a sink with pull-downs on both contacts concludes, and what else may stand at its contacts."""
    seen = (sink_sees(cc1), sink_sees(cc2))
    firm = all(len(s) == 1 for s in seen)
    for pair in itertools.product(*seen):
        told = [s.advertisement for s in pair if s.advertisement is not None]
        high = [s is Seen.OVER for s in pair]
        if all(s is Seen.NONE for s in pair):
            yield Fit(State.NOTHING, None, frozenset(), firm)
        elif all(high):
            yield Fit(State.NOTHING if side is Side.CABLE else State.PULLS_UP, None, frozenset(), firm)
        elif any(high) and not told:
            contact = "cc1" if high[0] else "cc2"
            state = State.NO_PULL_DOWN if side is Side.DEVICE else State.NOTHING
            yield Fit(state, contact if state is State.NO_PULL_DOWN else None, frozenset(), firm)
        elif len(told) == 1:
            contact = "cc1" if pair[0].advertisement is not None else "cc2"
            yield Fit(State.SOURCE, contact, frozenset(told), firm)
        else:
            yield Fit(State.DEBUG, None, frozenset(told) if len(set(told)) == 1 else frozenset(), firm)
            if side is not None and abs(cc1.volts - cc2.volts) <= _ALIKE * max(cc1.volts, cc2.volts):
                yield Fit(State.JOINED, None, frozenset(), firm)


def _settle(fits: list[Fit], cc1: Level, cc2: Level) -> Attach:
    """Keep the explanations that need nothing unusual and whose bands hold both levels, else those beside."""
    usual = [f for f in fits if f.unless is None] or fits
    kept = [f for f in usual if f.firm] or usual
    if not kept:
        return Attach(State.UNKNOWN, (), None, (), (), cc1, cc2)
    states = tuple(dict.fromkeys(f.state for f in kept))
    orientations = {f.orientation for f in kept}
    # An advertisement that lies between is told by all that fit, firm or not.
    told = frozenset().union(*(f.advertisements for f in usual if f.state in states))
    between = states if len(states) > 1 else ()
    if between or any(not f.advertisements for f in kept):
        told = frozenset() if any(not f.advertisements for f in kept) else told
    also = {
        f.state: f.unless for f in fits
        if f.unless in (_LOW_SUPPLY, _VCONN_ON) and f.firm and f.state not in states
    }
    return Attach(
        State.BETWEEN if between else states[0], between,
        next(iter(orientations)) if len(orientations) == 1 else None,
        tuple(a for a in Advertisement if a in told),
        tuple((state, why) for state, why in also.items() if why is not None), cc1, cc2,
    )
