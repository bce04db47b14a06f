"""Rules on the level at which CC rests, where it was captured as volts.

Why it is: before anybody talks, and where nobody does, the two resistors on CC say what is joined: what the charger's
pull-up advertises, whether the device's pull-down is there. Levels between the bands say nothing, and are not made to.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from pdcheck.capture.levels import outside
from pdcheck.rules import measure_next as todo
from pdcheck.rules.cc_rest import Rest, attached_rests, scale_fits
from pdcheck.rules.drawn import beyond_a, trusted_current
from pdcheck.rules.held import lasting_s
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.signal import too_slow
from pdcheck.rules.words import amps, span
from pdcheck.standard import timers
from pdcheck.standard.attach_limits import ADVERTISED_1_5A, ADVERTISED_3A

_REF = "USB Type-C, section 4.11.3 (CC voltage parameters)"
#: What a charger's pull-up advertises, in mA.
_OBJECT_MA = {"1.5 A": ADVERTISED_1_5A.most, "3.0 A": ADVERTISED_3A.most}
#: What it allows the device to draw. Default USB power: with a charger of the older kind that is known by D+ and D- it
#: may be 1.5 A as well, and only that is held against anybody.
_ALLOWED_MA = {"Default USB power": ADVERTISED_1_5A.most, **_OBJECT_MA}
_DRAW_S = 0.2
#: A rest counts as the line's state from so much of the capture on. Our own choice.
_MOSTLY = 0.6
_SINK_TX = frozenset({"1.5 A", "3.0 A"})
#: Above this a line is not pulled up to 3.3 V, the lower of the usual supplies of a pull-up. Our own choice.
_PULLED_TO_3V3_V = 3.8


def _talks(case: Case) -> bool:
    return bool(case.conversation.transmissions) or case.reading.quality.unreadable_bursts > 0


def _mostly(found: list[Rest]) -> Rest | None:
    """The kind of rest in which the line spends most of its quiet time, its longest stretch."""
    whole = sum(r.length_s for r in found)
    for one in sorted(found, key=lambda r: -r.length_s):
        if whole and sum(r.length_s for r in found if r.state == one.state) >= _MOSTLY * whole:
            return one
    return None


@rule(
    id="cc-scale-doubtful", family="capture", severity=Severity.INFO,
    title="The CC column's volts cannot be trusted",
    checks="Packets swing by vSwing (1.05 to 1.2 V); where the column shows another swing its scale is wrong.",
    why="The packets can be read all the same, but what the line's level between them says cannot.",
    reference="USB PD, section 5.8 (vSwing)",
    next=("Check the probe's attenuation and the column's unit, and capture again.",),
)
def cc_scale_doubtful(case: Case) -> Iterator[Claim]:
    fits, swing = scale_fits(case)
    if not fits and swing is not None:
        yield Claim(
            Who.CAPTURE, None,
            f"Packets on the CC column rise to {swing:.2f} V; on the line it is 1.05 to 1.2 V. The line's level "
            f"between packets was not judged.",
        )


@rule(
    id="cc-level", family="advertisement", severity=Severity.INFO,
    title="What the level of CC says",
    checks="The level at which each CC contact rests, against the bands of the standard (as the device sees them).",
    why="Pull-up of the charger and pull-down of the device make this level: it proves that both are there, or that "
    "one is not, without a word being said.",
    reference=_REF, next=(todo.FLIP, todo.CC_OHMS),
)
def cc_level(case: Case) -> Iterator[Claim]:
    found = {name: _mostly(some) for name, some in case.cc_rests.items()}
    joined = [one for one in found.values() if one is not None and one.attached]
    silent = ""
    if not _talks(case):
        silent = " So the contact, the charger's pull-up and the device's pull-down (Rd) are good" + (
            "; at this sampling rate it cannot be seen whether anybody talks." if too_slow(case)
            else "; nobody talks USB PD."
        )
    for one in joined:
        yield Claim(
            None, one.start_s,
            f"{one.line} rests at {one.level_v:.2f} V: the charger advertises {_advertised(one)} and the device's Rd "
            f"is there.{silent}",
        )
    if joined or _talks(case):
        return
    for other in found.values():
        if other is not None:
            yield Claim(None, other.start_s, f"{other.line} {_unjoined(other)}")


def _advertised(one: Rest) -> str:
    return one.state if one.state != "Default USB power" else "default USB power"


def _unjoined(one: Rest) -> str:
    if one.state == "low":
        return (
            f"stays at {abs(one.level_v):.2f} V: no pull-up reaches it. The charger is off or not plugged in, the plug "
            f"uses the other contact, or the line is shorted to ground."
        )
    if one.state == "open":
        # VCONN stands on the contact that the plug leaves free, and a bridge to VBUS looks the same.
        more = ", or it is VCONN, or a bridge to VBUS" if one.level_v > _PULLED_TO_3V3_V else ""
        return (
            f"stays at {one.level_v:.2f} V: a pull-up and no pull-down. Nothing is plugged in, or the device's Rd or "
            f"its contact is open, or both ends pull up{more}."
        )
    return f"rests at {one.level_v:.2f} V, between the bands of the standard: that says nothing for certain."


@rule(
    id="cc-level-odd", family="advertisement", severity=Severity.INFO,
    title="CC rests where it should not while both ends talk",
    checks="With packets on the line its level between them lies in one of the three bands that a pull-up and Rd make.",
    why="A pull-up or pull-down of the wrong value, or a probe that loads the line. Packets may get lost over it.",
    reference=_REF, next=(todo.NO_LOAD, todo.CC_OHMS),
)
def cc_level_odd(case: Case) -> Iterator[Claim]:
    if not case.conversation.transmissions:
        return
    found = case.cc_rests.get(case.reading.cc or "", [])
    one = _mostly(found)
    if one is not None and not one.attached:
        where = {"low": "near 0 V", "open": "above any level that a pull-down allows"}.get(
            one.state, "between the bands of the standard"
        )
        yield Claim(
            None, one.start_s, f"Between packets {one.line} rests at {one.level_v:.2f} V, {where}: no advertisement "
            f"can be read from that.",
        )


@rule(
    id="cc-toggles", family="advertisement", severity=Severity.INFO,
    title="A port looks for a partner",
    checks="A CC line that goes between 0 V and an open level all the time.",
    why="A dual-role port shows its pull-up and its pull-down in turn until it finds a partner. It has found none.",
    reference="USB Type-C, section 4.5.2 (connection states, dual-role ports)", next=(todo.FLIP, todo.OTHER_CHARGER),
)
def cc_toggles(case: Case) -> Iterator[Claim]:
    for name, found in case.cc_rests.items():
        turns = [r for r in found if r.state in ("low", "open")]
        flips = sum(a.state != b.state for a, b in pairwise(turns))
        if flips >= 6 and not any(r.attached for r in found):
            yield Claim(None, turns[0].start_s, f"{name} goes between 0 V and {max(r.level_v for r in turns):.1f} V "
                        f"{flips} times: a dual-role port looks for a partner and finds none.")


@rule(
    id="cc-both-terminated", family="advertisement", severity=Severity.INFO,
    title="Both CC contacts rest at the level of a joined pull-up and pull-down",
    checks="CC1 and CC2 at once in one of the bands.",
    why="A plug joins one of them. Both at once is a debug accessory, or a bridge between the two contacts (solder, "
    "moisture, a damaged plug); a device with bridged contacts may not be recognised.",
    reference="USB Type-C, appendix B (debug accessory mode)", next=(todo.CC_OHMS, todo.FLIP),
)
def cc_both_terminated(case: Case) -> Iterator[Claim]:
    found = [one for one in (_mostly(some) for some in case.cc_rests.values()) if one is not None and one.attached]
    if len(found) > 1:
        levels = " and ".join(f"{one.line} at {one.level_v:.2f} V" for one in found)
        yield Claim(None, found[0].start_s, f"Both contacts look joined ({levels}).")


@rule(
    id="cc-advertisement-changes", family="advertisement", severity=Severity.INFO,
    title="The charger's advertisement changes",
    checks="Whether the level goes from one band to another. Under a contract of R3.x 1.5 A and 3.0 A only say whether "
    "the device may begin to talk (SinkTxNG, SinkTxOK); that is no new advertisement.",
    why="Without USB PD the device must follow within tSinkAdj. A level that changes without reason is a contact.",
    reference="USB Type-C, section 4.6.2.1 (current advertisement); USB PD, section 5.7 (collision avoidance)",
    next=(todo.FLIP,),
)
def cc_advertisement_changes(case: Case) -> Iterator[Claim]:
    contracts = case.conversation.contracts
    quiet_from = contracts[0].since_s if contracts and case.conversation.revision == "3.x" else None
    for found in case.cc_rests.values():
        steady = [r for r in found if r.attached and r.length_s >= timers.RP_VALUE_CHANGE.min_s]
        for before, after in pairwise(steady):
            if before.state == after.state:
                continue
            if quiet_from is not None and after.start_s > quiet_from and after.state in _SINK_TX:
                continue
            yield Claim(
                None, after.start_s,
                f"{after.line} goes from {before.level_v:.2f} to {after.level_v:.2f} V: the advertisement changes from "
                f"{_advertised(before)} to {_advertised(after)}.",
            )
            return


@rule(
    id="cc-against-offer", family="advertisement", severity=Severity.INFO,
    title="The pull-up advertises more than the offer",
    checks="The level before the first offer against the current that the offer's 5 V object has.",
    why="A device without USB PD goes by the pull-up and may draw more than the charger can give at 5 V.",
    reference="USB Type-C, section 4.6.2 (VBUS power over CC) and 4.8 (advertised current of PD sources)",
)
def cc_against_offer(case: Case) -> Iterator[Claim]:
    first = next((n for n in case.conversation.negotiations if n.offers), None)
    if first is None or not first.offered or case.conversation.starts_midway:
        return
    given = first.offered[0].integer("current_ma")
    at = first.offers[0].start_s
    before = [r for r in attached_rests(case) if r.start_s < at and r.length_s >= timers.RP_VALUE_CHANGE.min_s]
    if before and given is not None and _OBJECT_MA.get(before[-1].state, 0) > given:
        yield Claim(
            None, before[-1].start_s,
            f"The pull-up advertises {_advertised(before[-1])}, the offer's 5 V object only {amps(given)}.",
        )


@rule(
    id="cc-without-pd", family="advertisement", severity=Severity.INFO,
    title="More than default power is advertised, and nobody talks USB PD",
    checks="A 1.5 A or 3.0 A level in a capture without any packet.",
    why="A charger with a USB-C socket may do so. A cable from a USB-A plug must not: its pull-up must say default "
    "power, and a wrong one makes a device overload an old charger.",
    reference="USB Type-C, section 3.5.2 (legacy cable assemblies, Rp of 56 kohm)",
    next=("Look at the other end of the cable: with a USB-A plug this cable is wrong; do not use it.",),
)
def cc_without_pd(case: Case) -> Iterator[Claim]:
    if _talks(case) or too_slow(case):
        return
    for some in case.cc_rests.values():
        one = _mostly(some)
        if one is not None and one.state in _OBJECT_MA:
            yield Claim(
                None, one.start_s,
                f"{one.line} advertises {one.state}. From a USB-C socket that is allowed; from a cable with a USB-A "
                f"plug it is not.",
            )
            return


@rule(
    id="draws-beyond-advertisement", family="current", severity=Severity.INFO,
    title="Without a contract the device draws more than the pull-up advertises",
    checks="The current while no contract was ever made, against the level of CC; 1.5 A is allowed for at default "
    "power, because a charger of the older kind gives that.",
    why="The charger may switch off. A device that talks over D+ and D- may know better.",
    reference="USB Type-C, section 4.6.2 (VBUS power over CC)", next=(todo.OTHER_CHARGER,),
)
def draws_beyond_advertisement(case: Case) -> Iterator[Claim]:
    line = trusted_current(case)
    if line is None or case.conversation.contracts or any(n.accepted for n in case.conversation.negotiations):
        return
    for rest in attached_rests(case):
        limit = _ALLOWED_MA[rest.state] / 1e3
        over = outside(line, rest.start_s, rest.end_s, high=beyond_a(limit))
        long = [s for s in over if s.length_s >= lasting_s(case.current_resolution_s, _DRAW_S)]
        if long:
            seen = line.during(long[0].start_s, long[0].end_s)
            drawn = f"{seen.typical:.2f} A" if seen is not None else "more"
            yield Claim(
                Who.SINK, long[0].start_s,
                f"The device draws {drawn} for {span(long[0].length_s)}; the charger's pull-up advertises "
                f"{_advertised(rest)}.",
            )
            return


def attached_since(case: Case) -> float | None:
    """The moment (seconds) from which the level of CC shows a charger and a device joined; None where it does not."""
    least = timers.CC_DEBOUNCE.min_s
    return min((r.start_s for r in attached_rests(case) if r.length_s >= least), default=None)


RULES: tuple[Rule, ...] = (
    cc_scale_doubtful, cc_level, cc_level_odd, cc_toggles, cc_both_terminated, cc_advertisement_changes,
    cc_against_offer, cc_without_pd, draws_beyond_advertisement,
)
