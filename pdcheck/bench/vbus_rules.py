"""What VBUS says beside the attach state.

Why it is: power runs over other contacts and wires than CC; what CC clears, VBUS may still point at.
"""

from __future__ import annotations

from collections.abc import Iterator

from pdcheck.bench import entries as say
from pdcheck.bench.attach import LEAST_5V, State
from pdcheck.bench.current_rules import charger_may_be_bad
from pdcheck.bench.levels import SHORT_OHM
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Partner, Side
from pdcheck.bench.view import DEVICE_CC, OUTSIDE, Said, View, evidence
from pdcheck.rules import Effect
from pdcheck.standard.offers import EPR_HIGHEST_MV
from pdcheck.standard.vbus_levels import CABLE_DROP_V, SAFE_0V, SAFE_5V, SRC_NEW, SRC_VALID
from pdcheck.triage import Block


def judge_vbus(view: View) -> Iterator[Said]:
    """Findings and evidence of the volts on VBUS in one orientation."""
    vbus, attach, side, way = view.volts.vbus, view.attach, view.readings.side, view.way
    if vbus is None:
        return
    shown = words(vbus, Kind.VOLTS)
    taken = frozenset({"vbus"})
    # A VBUS that holds up has no short behind it.
    held = taken | {"vbus_ohms"}
    # VBUS alone clears four contacts of the port, not all.
    port = frozenset({Block.PORT}) if attach.state.joined else frozenset()
    charger = frozenset({Block.CHARGER}) if charger_may_be_bad(view.readings) else frozenset()
    contract = view.readings.contract
    most = EPR_HIGHEST_MV / 1e3 * (1 + SRC_NEW.most / 100) + SRC_VALID.most
    if vbus > most:
        yield say.VBUS_IMPOSSIBLE.says(
            f"VBUS reads {shown}{way}: no charger may give more than {most:.1f} V.", effect=Effect.WITHHOLDS,
        )
        return
    if contract is not None:
        low = contract.voltage_mv / 1e3 * (1 + SRC_NEW.least / 100) - CABLE_DROP_V
        high = contract.voltage_mv / 1e3 * (1 + SRC_NEW.most / 100) + SRC_VALID.most
        if low <= vbus <= high:
            yield evidence(
                f"VBUS reads {shown} as the contract for {contract.words} says", done=held,
                clears=OUTSIDE | {Block.PORT},
            )
        else:
            yield say.VBUS_OFF_CONTRACT.says(
                f"VBUS reads {shown} under a contract for {contract.words} ({low:.2f} to {high:.2f} V are allowed for)"
                f"{way}.",
            )
            yield evidence(
                "VBUS is not at the contract's voltage", suspects=OUTSIDE | {Block.PORT, Block.VBUS_SWITCH},
                proves=False, done=taken,
            )
        return
    if attach.state.joined and side is not Side.CABLE and vbus < LEAST_5V:
        blocks = OUTSIDE | {Block.PORT, Block.VBUS_SWITCH}
        short = view.readings.ohms.vbus
        if side is Side.DEVICE and short is not None and short <= SHORT_OHM:
            # The short in the device is reason enough.
            blocks -= OUTSIDE
        if vbus <= SAFE_0V.most:
            yield say.VBUS_MISSING.says(f"VBUS reads {shown} although charger and device see each other on CC{way}.")
        else:
            yield say.VBUS_LOW.says(
                f"VBUS reads {shown}; {SAFE_5V.words()} are right, {LEAST_5V:.2f} V at the end of a cable{way}.",
                effect=Effect.WITHHOLDS,
            )
        yield evidence(f"VBUS reads {shown}", suspects=blocks, proves=False, done=taken)
    elif side is Side.DEVICE and view.readings.partner is Partner.NOTHING:
        if vbus > SAFE_0V.most:
            yield say.BACKFED.says(f"VBUS reads {shown} with nothing plugged in{way}.", effect=Effect.WITHHOLDS)
            yield evidence(
                "VBUS is fed from inside the device", suspects=frozenset({Block.VBUS_SWITCH, Block.CHARGER_STAGE}),
                proves=False, done=taken,
            )
    elif attach.state is State.UNKNOWN and vbus < LEAST_5V:
        yield say.VBUS_ABSENT.says(f"VBUS reads {shown}{way}; CC tells why.", effect=Effect.WITHHOLDS)
        yield evidence(
            f"VBUS reads {shown}", suspects=OUTSIDE | DEVICE_CC | {Block.VBUS_SWITCH}, proves=False, done=taken,
        )
    elif vbus > SAFE_5V.most:
        yield say.VBUS_RAISED.says(
            f"VBUS reads {shown}, more than the 5 V that a charger begins with{way}: on request, or unasked.",
        )
        yield evidence(
            f"VBUS reads {shown}: what the charger gives arrives", clears=OUTSIDE - charger | port, proves=False,
            done=held,
        )
    elif vbus >= LEAST_5V:
        if side is not Side.CHARGER:
            # At a free plug CC was measured as well, and says more of the cable than its VBUS does.
            cable = frozenset({Block.CABLE}) if side is Side.CABLE else frozenset()
            yield evidence(f"VBUS reads {shown} at the port", clears=OUTSIDE - charger - cable | port, done=held)
        elif attach.state is State.NOTHING and view.readings.partner in (None, Partner.NOTHING):
            yield say.VBUS_EARLY.says(f"VBUS reads {shown} with nothing attached{way}.")
