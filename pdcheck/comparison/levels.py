"""Every level of a capture that the comparison looks at: VBUS, CC at rest, current, bit rate, skew, broken packets.

Why it is: a bad contact shows in the signal before it shows in the talk. A level is compared only where both sides
captured it and were in the same state.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from pdcheck.capture.model import AnalogLine
from pdcheck.comparison.model import Allowed, Judged, Measure, Values
from pdcheck.comparison.spread import measured, shared, values_of
from pdcheck.conversation.model import Contract, Party, Silence
from pdcheck.rules import Case
from pdcheck.rules.drawn import CHARGES_A
from pdcheck.rules.held import bounds_mv
from pdcheck.standard import cc_levels, electrical, vbus_levels
from pdcheck.standard.line_code import Sop

#: So many stretches of a level are looked at; each gives its median.
_LOOKS = 20
#: How long after PS_RDY, and how long at most, VBUS and current under a contract are looked at.
_SETTLE_S = 1e-3
_UNDER_CONTRACT_S = 1.0
_LEAST_LOOK_S = 2e-3
#: What two setups may read apart though the level is the same: dividers and probes of 1 %, and what an analyzer's
#: converter resolves. Our own choice.
_PROBE_SHARE = 0.02
_VBUS_STEP_V = 0.05
_CC_STEP_V = 0.05
_CURRENT_STEP_A = 0.01
#: Two analyzers' clocks and the fit of the bit rate are good to this share, as for the rule on the bit rate.
_CLOCK_SHARE = 0.01
#: Present but not charging (common practice, no source).
_NOT_CHARGING_A = 0.1
_NOTHING = (Silence.NOTHING, Silence.WRONG_ID, Silence.UNREADABLE)


def levels(good: Judged, bad: Judged) -> list[Measure]:
    """Every level that either side shows, on both sides."""
    cases = (Case.of(good.reading, good.conversation), Case.of(bad.reading, bad.conversation))
    found = [
        _pair("vbus_before", "VBUS before a contract", "V", [_vbus_before(c) for c in cases], _five_volts()),
        _vbus_under_contract(cases),
        _cc_at_rest(good, bad),
        _current(cases),
        *_bit_rates(good, bad),
        _pair("skew", "high pulses longer by", "s", [_skew(good), _skew(bad)], None),
        shared("broken_packets", "packets that cannot be read", _broken(good), _broken(bad)),
        *(
            shared(f"repeats_{party.value}", f"tries that {who} did not acknowledge", _unheard(good, party),
                   _unheard(bad, party))
            for party, who in ((Party.SINK, "the device"), (Party.SOURCE, "the charger"))
        ),
    ]
    return [one for one in found if one is not None]


def _pair(
    id: str, label: str, unit: str, sides: Sequence[Values | None], allowed: Allowed | None, telling: bool = False
) -> Measure | None:
    good, bad = sides
    return None if good is None and bad is None else measured(id, label, unit, good, bad, allowed, telling)


def _looks(line: AnalogLine, start_s: float, end_s: float) -> list[float]:
    """Medians of the line in so many stretches of that time."""
    if end_s - start_s < _LEAST_LOOK_S:
        return []
    width = (end_s - start_s) / _LOOKS
    spans = (line.during(start_s + n * width, start_s + (n + 1) * width) for n in range(_LOOKS))
    return [s.typical for s in spans if s is not None]


def _five_volts() -> Allowed:
    return Allowed(
        vbus_levels.SAFE_5V.min, vbus_levels.SAFE_5V.max, f"{vbus_levels.SAFE_5V.name}, {vbus_levels.SAFE_5V.words()}"
    )


def _vbus_before(case: Case) -> Values | None:
    """VBUS from the first offer to the first contract's Accept, or to the first reset or the end."""
    talk = case.conversation
    offers = [n.offers[0].start_s for n in talk.negotiations if n.offers]
    if case.vbus is None or not offers:
        return None
    ends = [n.answer.start_s for n in talk.negotiations if n.answer is not None and n.accepted]
    ends += [r.start_s for r in talk.resets]
    end = min([t for t in ends if t > offers[0]], default=min(talk.duration_s, offers[0] + _UNDER_CONTRACT_S))
    return _volts(_looks(case.vbus, offers[0], end))


def _volts(found: list[float]) -> Values | None:
    values = values_of(found, 0.0)
    return None if values is None else replace(
        values, resolution=max(_VBUS_STEP_V, _PROBE_SHARE * abs(values.typical)) / 2
    )


def _last_contract(case: Case) -> Contract | None:
    return case.conversation.contracts[-1] if case.conversation.contracts else None


def _contract_end(case: Case, contract: Contract) -> float:
    end = contract.ended_s if contract.ended_s is not None else case.conversation.duration_s
    return min(end, contract.since_s + _SETTLE_S + _UNDER_CONTRACT_S)


def _vbus_under_contract(cases: tuple[Case, Case]) -> Measure | None:
    """VBUS under the last contract, where both have one at the same voltage."""
    left, right = (_last_contract(c) for c in cases)
    if left is None or right is None or left.voltage_mv is None or left.voltage_mv != right.voltage_mv:
        return None
    sides = []
    for case, contract in zip(cases, (left, right), strict=True):
        start, end = contract.since_s + _SETTLE_S, _contract_end(case, contract)
        sides.append(None if case.vbus is None else _volts(_looks(case.vbus, start, end)))
    bounds = bounds_mv(left)
    allowed = None if bounds is None else Allowed(
        bounds[0] / 1e3, bounds[1] / 1e3, "vSrcNew and vSrcValid around the contract, cable loss allowed for"
    )
    return _pair("vbus_contract", "VBUS under the contract", "V", sides, allowed)


def _cc_at_rest(good: Judged, bad: Judged) -> Measure | None:
    """CC between packets; a difference tells where it changes what is advertised."""
    sides = [_resting(side) for side in (good, bad)]
    states = [advertised(v.typical) if v is not None else "" for v in sides]
    telling = all(states) and states[0] != states[1]
    words = " / ".join(states) if telling else ""
    return _pair(
        "cc_level", f"CC at rest ({words})" if words else "CC at rest", "V", sides, None, telling=telling,
    )


def _resting(side: Judged) -> Values | None:
    line = next(
        (x for x in side.reading.capture.lines if isinstance(x, AnalogLine) and x.name == side.reading.cc), None
    )
    if line is None:
        return None
    quiet = []
    for a, b in pairwise(side.reading.packets):
        if b.start_s - a.end_s > 1e-3:
            quiet.append((a.end_s + 0.2e-3, min(b.start_s, a.end_s + 20e-3) - 0.1e-3))
    step = max(1, len(quiet) // _LOOKS)
    spans = (line.during(start, end) for start, end in quiet[::step])
    return values_of([s.typical for s in spans if s is not None], _CC_STEP_V / 2)


def advertised(volts: float) -> str:
    """The band in which a sink reads a CC level in volts (``"vRd-1.5"``), by the thresholds between the bands;
    ``"open"`` above all of them."""
    bands = [b for b in cc_levels.ALL if b.seen_from == "sink"]
    for band in bands:
        if volts <= (band.threshold_v if band.threshold_v is not None else band.max_v or 0.0):
            return band.state
    return "open"


def _current(cases: tuple[Case, Case]) -> Measure | None:
    """Current under the last contract, or while VBUS is on in the last second where there is none."""
    sides = []
    for case in cases:
        contract = _last_contract(case)
        end = case.conversation.duration_s
        start = max(0.0, end - _UNDER_CONTRACT_S)
        if contract is not None:
            end = contract.ended_s if contract.ended_s is not None else end
            start = max(contract.since_s + _SETTLE_S, end - _UNDER_CONTRACT_S)
        values = values_of(_drawn(case, case.current, start, end), 0.0) if case.current is not None else None
        sides.append(None if values is None else replace(
            values, resolution=max(_CURRENT_STEP_A, _PROBE_SHARE * abs(values.typical)) / 2
        ))
    left, right = sides
    telling = left is not None and right is not None and (
        min(left.typical, right.typical) < _NOT_CHARGING_A and max(left.typical, right.typical) > CHARGES_A
    )
    return _pair("current", "input current", "A", sides, None, telling=telling)


def _drawn(case: Case, current: AnalogLine, start_s: float, end_s: float) -> list[float]:
    """The current's looks in that time, but for those at which VBUS is known to be off."""
    amps = _looks(current, start_s, end_s)
    volts = _looks(case.vbus, start_s, end_s) if case.vbus is not None else []
    if len(volts) != len(amps):
        return amps
    on = [a for a, v in zip(amps, volts, strict=True) if v > vbus_levels.SINK_DISCONNECT.most]
    return on or amps


def _bit_rates(good: Judged, bad: Judged) -> list[Measure | None]:
    limit = electrical.BIT_RATE
    allowed = Allowed(limit.least * 1e3, limit.most * 1e3, f"{limit.name}, {limit.words()}")
    found = []
    for party, who in ((Party.SOURCE, "charger"), (Party.SINK, "device")):
        sides = []
        for side in (good, bad):
            rates = [
                t.packet.bit_rate_bps for t in side.conversation.transmissions
                if t.sender is party and t.packet.intact and t.packet.sop is Sop.SOP
            ]
            values = values_of(rates, 0.0)
            sides.append(None if values is None else replace(values, resolution=_CLOCK_SHARE * values.typical / 2))
        found.append(_pair(f"bit_rate_{party.value}", f"bit rate of the {who}", "bit/s", sides, allowed))
    return found


def _skew(side: Judged) -> Values | None:
    skews = [p.skew_s for p in side.reading.packets if p.intact]
    return values_of(skews, side.reading.quality.time_step_s or 0.0)


def _broken(side: Judged) -> tuple[int, int]:
    quality = side.reading.quality
    bad = quality.broken_packets + quality.unreadable_bursts
    return bad, quality.packets + bad


def _unheard(side: Judged, party: Party) -> tuple[int, int]:
    """How many packets of the other port ``party`` did not acknowledge, and of how many."""
    sender = party.other
    sent = [e for e in side.conversation.exchanges if e.sop is Sop.SOP and e.sender is sender]
    return sum(s in _NOTHING for e in sent for s in e.silences), sum(len(e.transmissions) for e in sent)
