"""Rules on the signal and on what the capture can carry.

Why it is: a capture that shows nothing, too little or too late must say so instead of accusing somebody, and it must
say how to capture again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from pdcheck.capture.model import DigitalLine
from pdcheck.conversation.model import Conversation, Ending, Party, Step
from pdcheck.conversation.names import POWER_SWAPS
from pdcheck.conversation.steps import gone_through_unseen
from pdcheck.line.model import Crc, Problem
from pdcheck.line.reading import bit_rate_in_standard
from pdcheck.rules import measure_next as todo
from pdcheck.rules.acknowledgement import unacknowledged
from pdcheck.rules.capture_limits import SHORT_PREAMBLE_BITS, TOO_SLOW_S, limit_of, shows_well
from pdcheck.rules.cc_rest import attached_rests
from pdcheck.rules.model import Case, Claim, Effect, Rule, Severity, Who, rule
from pdcheck.rules.words import count, span, times
from pdcheck.standard import electrical, timers, vbus_levels
from pdcheck.standard.line_code import Sop

_STILL_SENDING_S = 20e-6  # less than tInterFrameGap: the packet is not over
_BROKEN_OFF = (Problem.CUT_SHORT, Problem.NO_START)
_ENOUGH_BROKEN = 2
_MESSAGE_AND_REPEATS = 3
_SURELY_BROKEN = 4
#: A message or two that retries mended are no reason to warn. Our own choice.
_MANY_BROKEN, _MUCH_BROKEN = 4, 0.15
_MOST = 0.75
#: So many packets show a port's clock, and so far apart they are not one clock. Our own choices.
_MANY_RATES, _WANDERS = 5, 0.03
#: A packet broken this soon after the start was cut by it; that says nothing about the line.
_CUT_BY_START_S = 100e-6
#: A dual-role port toggles every 50 ms at the fastest (tDRP), two edges each time; no packet has fewer than 300 bits.
#: Our own choice, well above the one and below the other.
_MANY_EDGES, _BUSY_HZ = 100, 100.0
_SLOW_TEXT = f"half a bit on CC lasts {electrical.UNIT_INTERVAL.least / 2:.2f} us at the fastest"


def _shows_offer(conversation: Conversation) -> bool:
    return any(n.offers for n in conversation.negotiations)


def _broken(case: Case) -> list[Problem]:
    """Problems of the broken packets that may have been an offer, but for one that the capture's start cuts."""
    found: list[Problem] = []
    for one in case.conversation.transmissions:
        packet = one.packet
        if packet.problem is not None and packet.sop in (Sop.SOP, None) and packet.start_s > _CUT_BY_START_S:
            found.append(packet.problem)
    return found


@rule(
    id="offers-corrupt", family="signal", severity=Severity.FAIL,
    title="Every offer arrives broken",
    checks="At least one Source_Capabilities is intact (CRC) where broken packets show that something is sent. Packets "
    "in pieces may be the capture's.",
    why="Neither the device nor this capture can read what the charger sends. A bad contact, a damaged cable, noise "
    "from a switching supply, or a damaged transmitter.",
    reference="USB PD, section 5.6 to 5.8 (CRC, physical layer)", next=todo.LINK_BAD,
)
def offers_corrupt(case: Case) -> Iterator[Claim]:
    if _shows_offer(case.conversation) or too_slow(case):
        return
    broken = _broken(case)
    quality = case.reading.quality
    if len(broken) + quality.unreadable_bursts < _ENOUGH_BROKEN or not broken:
        return
    if any(n.request is not None for n in case.conversation.negotiations):
        return
    # Only other traffic that came through whole shows that the capture is good and the offers are not; a port that
    # is heard to answer has heard an offer.
    # A threshold far off the middle breaks packets in the capture alone.
    sent = case.conversation.transmissions
    answered = any(t.message is not None and t.packet.sop is Sop.SOP for t in sent)
    limit = limit_of(case)
    # Edges that tremble leave of all that was sent a reset's four codes at most, whether the line or the probe shakes.
    whole = any(t.packet.crc is Crc.OK for t in sent)
    if limit is None and _in_pieces(case):
        yield Claim(
            Who.CAPTURE, None,
            f"{count(len(broken), 'packet')} cannot be read: most of them are in pieces. Pulses are missing on the "
            "line, or in this capture by its threshold; it cannot tell which.",
            stops_at=Step.OFFER, effect=Effect.WITHHOLDS, next=(todo.THRESHOLD, todo.FASTER, *todo.LINK_BAD),
        )
        return
    good_capture = quality.packets > 0 and (limit is None or (whole and limit.who is not Who.CAPTURE))
    sure = good_capture and not answered and len(broken) >= _SURELY_BROKEN
    common = max(set(broken), key=broken.count)
    first = next(t for t in case.conversation.transmissions if t.packet.problem is not None)
    limit = None if sure else limit
    yield Claim(
        limit.who if limit else Who.LINK, first.packet.start_s,
        f"{count(len(broken), 'packet')} cannot be read and no offer arrives whole ({common.value})"
        + (f"; the capture is poor: {limit.text}." if limit else "."),
        stops_at=Step.OFFER, effect=Effect.CONVICTS if sure else Effect.WITHHOLDS, next=limit.next if limit else None,
    )


def _in_pieces(case: Case) -> bool:
    """Whether most broken packets break off, or lack a part of the one piece that no bit in them can spoil: their
    preamble. One that is whole and followed by no start says nothing of that."""
    broken = [t.packet for t in case.conversation.transmissions if t.packet.problem is not None]
    headless = [p for p in broken if p.problem is Problem.NO_START]
    torn = sum(p.preamble_bits < SHORT_PREAMBLE_BITS for p in headless)
    torn += sum(p.problem is Problem.CUT_SHORT for p in broken)
    silent = sum(p.preamble_bits >= SHORT_PREAMBLE_BITS for p in headless)
    return 2 * torn > len(broken) - silent


def too_slow(case: Case) -> bool:
    """True where the capture's time step cannot carry BMC.

    A capture in which an ordered set was read does carry it, though the edges of a very clean signal may all sit on
    half bits and look like samples.
    """
    step = case.reading.quality.time_step_s or case.reading.capture.sample_period_s
    carries = any(t.packet.sop is not None for t in case.conversation.transmissions)
    return step is not None and step >= TOO_SLOW_S and not carries


@rule(
    id="wrong-column", family="capture", severity=Severity.INFO,
    title="Another column than the one chosen bears the packets",
    checks="Whether packets stand in a column that was left alone, where none can be read from the one that the user "
    "chose as CC.",
    why="A channel is easily mistaken for another. What is missing in the chosen column says nothing of the line.",
    reference="our own rule", next=todo.LOOK_AGAIN,
)
def wrong_column(case: Case) -> Iterator[Claim]:
    other = case.reading.other_cc
    if other is not None:
        yield Claim(
            Who.CAPTURE, None,
            f'No packet can be read from the column chosen as CC ("{case.reading.cc}"); from "{other}" they can.',
            effect=Effect.WITHHOLDS, next=(f'Decode again with --cc "{other}".', *todo.LOOK_AGAIN[:2]),
        )


@rule(
    id="time-unit-unknown", family="capture", severity=Severity.INFO,
    title="The unit of the times is not known",
    checks="Whether the file says in what unit its times are, where none of the usual ones makes traffic of its edges; "
    "and whether the edges would be packets in another unit than the one it says.",
    why="Where the times are not known no bit can be: a column without a unit may as well count samples.",
    reference="our own rule", next=(todo.TIME_UNIT, todo.FASTER, todo.THRESHOLD),
)
def time_unit_unknown(case: Case) -> Iterator[Claim]:
    capture, quality = case.reading.capture, case.reading.quality
    if case.reading.unit_hint is not None:
        yield Claim(
            Who.CAPTURE, None, case.reading.unit_hint, effect=Effect.WITHHOLDS,
            next=("Check the unit of the times in the file's header, or the rate that was given, and decode again.",
                  todo.FASTER, todo.THRESHOLD),
        )  # fmt: skip
        return
    if capture.time_unit_stated or case.conversation.transmissions:
        return
    moves = any(isinstance(line, DigitalLine) and len(line.edges_s) >= _MANY_EDGES for line in capture.lines)
    if moves and (too_slow(case) or not quality.unreadable_bursts):
        yield Claim(
            Who.CAPTURE, None,
            "The file does not say in what unit its times are, and no packet shows in it whether they are seconds, "
            "milliseconds, microseconds or nanoseconds; they may count samples.", effect=Effect.WITHHOLDS,
        )


@rule(
    id="capture-too-slow", family="capture", severity=Severity.INFO,
    title="The capture is too slow to carry BMC",
    checks="The time between samples against half a bit.",
    why="Pulses fall between the samples; what was sent cannot be known from this file.",
    reference="USB PD, section 5.8 (fBitRate)", next=(todo.FASTER, todo.CAPTURE_AGAIN),
)
def capture_too_slow(case: Case) -> Iterator[Claim]:
    if too_slow(case):
        step = case.reading.quality.time_step_s or case.reading.capture.sample_period_s
        assert step is not None
        yield Claim(
            Who.CAPTURE, None, f"The capture takes a sample every {span(step)}; {_SLOW_TEXT}.", effect=Effect.WITHHOLDS,
        )


@rule(
    id="nothing-on-line", family="capture", severity=Severity.INFO,
    title="There is no traffic on the line",
    checks="Whether the CC column holds any packet.",
    why="Either nobody speaks (no attach, dead charger) or the capture does not see it: the other CC contact, a "
    "threshold above the signal, a probe that is off; or nobody there speaks USB PD.",
    reference="our own rule", next=todo.LOOK_AGAIN,
)
def nothing_on_line(case: Case) -> Iterator[Claim]:
    quality = case.reading.quality
    if too_slow(case) or case.conversation.transmissions or quality.unreadable_bursts:
        return
    if case.reading.cc is None and not case.reading.capture.lines:
        text = "The file holds no usable column."
    elif case.reading.cc is None:
        text = "No column bears traffic, and none is called CC."
    elif quality.stray_edges > max(_MANY_EDGES, _BUSY_HZ * case.conversation.duration_s):
        text = (
            f"The CC line moves ({count(quality.stray_edges, 'edge')}), faster than a port that looks for a partner "
            "toggles, and nothing in it reads as a packet: noise, or traffic of which the threshold shows scraps."
        )
        yield Claim(
            Who.CAPTURE, None, text, effect=Effect.WITHHOLDS,
            next=(todo.THRESHOLD, todo.FASTER, todo.GROUND, todo.BOTH_CC, todo.NO_LOAD),
        )
        return
    elif quality.stray_edges:
        text = f"The CC line only toggles ({count(quality.stray_edges, 'stray edge')}); there is no packet in the file."
    else:
        text = "The CC line does not move: there is no packet in the file."
    joined = next((r for r in attached_rests(case) if r.length_s >= timers.CC_DEBOUNCE.min_s), None)
    if joined is not None:
        # This is the contact in use, and its volts were captured: neither the other one nor a threshold is at fault.
        where = f"{joined.line} ({joined.level_v:.2f} V)"
        yield Claim(
            Who.CAPTURE, None, f"Charger and device see each other on {where}, and the file holds no packet.",
            effect=Effect.WITHHOLDS,
            next=(*(() if joined.start_s > 0 else (todo.CAPTURE_AGAIN,)), todo.LEGACY, todo.OTHER_CHARGER, todo.FASTER),
        )
        return
    up = _vbus_comes_up_v(case)
    if up is not None:
        # Somebody was plugged in while the capture ran: to start it earlier would change nothing.
        yield Claim(
            Who.CAPTURE, None, f"{text.rstrip('.')}, although VBUS comes up to {up:.2f} V.", effect=Effect.WITHHOLDS,
            next=(todo.BOTH_CC, todo.THRESHOLD, todo.NO_LOAD, todo.LEGACY, todo.FASTER),
        )
        return
    yield Claim(Who.CAPTURE, None, text, effect=Effect.WITHHOLDS)


def _vbus_comes_up_v(case: Case) -> float | None:
    """What VBUS reads at the end where it was off at the start; None where it shows nobody being plugged in."""
    end = case.conversation.duration_s
    if case.vbus is None or end <= 0:
        return None
    before, after = case.vbus.during(0.0, end / 100), case.vbus.during(end * 0.9, end)
    if before is None or after is None:
        return None
    comes_up = before.high <= vbus_levels.SAFE_0V.most and after.low >= vbus_levels.SAFE_5V.least
    return after.typical if comes_up else None


@rule(
    id="traffic-unreadable", family="capture", severity=Severity.INFO,
    title="There is traffic, but the capture cannot read it",
    checks="Whether anything intact is among the bursts on the line.",
    why="The wrong threshold, a slow capture or noise hides what was said.",
    reference="our own rule", next=(todo.THRESHOLD, todo.FASTER, todo.GROUND, todo.NO_LOAD),
)
def traffic_unreadable(case: Case) -> Iterator[Claim]:
    quality = case.reading.quality
    if quality.packets or too_slow(case):
        return
    if quality.unreadable_bursts + quality.broken_packets:
        number = quality.unreadable_bursts + quality.broken_packets
        limit = limit_of(case)
        yield Claim(
            Who.CAPTURE, None, f"The line bears {count(number, 'burst')} of traffic, and none can be read whole"
            + (f"; {limit.text}." if limit else "."),
            effect=Effect.WITHHOLDS, next=limit.next if limit else None,
        )


@rule(
    id="starts-midway", family="capture", severity=Severity.INFO,
    title="The capture starts in the middle of things",
    checks="Whether the negotiation begins inside the capture, with an offer.",
    why="What was offered and agreed before is not in the file, so neither success nor fault can be told.",
    reference="our own rule", next=(todo.CAPTURE_AGAIN,),
)
def starts_midway(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    if case.reading.quality.packets == 0 or talk.contracts or case.stop is not None:
        return
    first = next(t for t in talk.transmissions if t.packet.intact)
    seen = first.name if first.name != "(unreadable)" else "traffic"
    through = gone_through_unseen(talk)
    if _shows_offer(talk):
        if through is None:
            return
        text = f"A negotiation went through at {through.next_s:.3f} s, but its offer is not in the capture."
    elif _may_come_first(talk):
        text = f"The capture shows no offer, only {seen} and the like: the offer came before it or after it."
    else:
        text = f"The first that the capture shows is {seen}; the offer that came before it is not in the file."
    yield Claim(Who.CAPTURE, first.packet.start_s, text, effect=Effect.WITHHOLDS)


def _may_come_first(conversation: Conversation) -> bool:
    """True where all that is said may be said before the first offer: to the cable, or to start anew."""
    early = ("Soft_Reset", "Get_Source_Cap", "GoodCRC", "Accept")
    return all(
        (t.packet.sop is not None and (t.packet.sop.to_cable or t.packet.sop.is_reset)) or t.name in early
        for t in conversation.transmissions if t.packet.intact
    ) and not conversation.orphans


@rule(
    id="packets-missing", family="capture", severity=Severity.INFO,
    title="The capture has lost packets that were sent",
    checks="GoodCRCs without a message, answers without a question, bursts that cannot be read, numbers (MessageIDs) "
    "that are left out, where a step is missing.",
    why="What looks like a missing move was made, and this capture does not show it. Nobody can be accused from it.",
    reference="our own rule", next=(todo.FASTER, todo.THRESHOLD, todo.CAPTURE_AGAIN),
)
def packets_missing(case: Case) -> Iterator[Claim]:
    stop = case.stop
    if stop is None:
        return
    for party in case.unseen:
        name = "device" if party is Party.SINK else "charger"
        yield Claim(
            Who.CAPTURE, stop.negotiation.start_s,
            f"The capture shows no packet of the {name}, although the other side answers it.",
            effect=Effect.WITHHOLDS, stops_at=stop.step,
        )
        return
    from_s = stop.negotiation.start_s
    missing = [t for t in case.gaps if t >= from_s]
    lost = [times for times in case.left_out if times[1] > from_s]
    if missing and missing == _cut_by_the_end(case):
        yield Claim(
            Who.CAPTURE, missing[0], "The capture ends inside a packet, just where the next step should be.",
            effect=Effect.WITHHOLDS, stops_at=stop.step, next=(todo.CAPTURE_AGAIN,),
        )
    elif len(missing) >= _MESSAGE_AND_REPEATS and limit_of(case) is None and _broken_when_sent(case) >= set(missing):
        yield Claim(
            Who.LINK, missing[0],
            f"{count(len(missing), 'packet')} sent after {stop.negotiation.start_s:.3f} s, just where the next step "
            "should be, are broken though this capture shows their signal well: they break on the wire, or are sent "
            "so.",
            effect=Effect.WITHHOLDS, stops_at=stop.step, next=todo.LINK_BAD,
        )
    elif missing:
        yield Claim(
            Who.CAPTURE, missing[0],
            f"{count(len(missing), 'packet')} sent after {stop.negotiation.start_s:.3f} s cannot be read or are not in "
            f"the capture, just where the next step should be.",
            effect=Effect.WITHHOLDS, stops_at=stop.step,
        )
    elif lost:
        yield Claim(
            Who.CAPTURE, lost[0][0],
            f"By the numbers of the messages around them, packets sent between {lost[0][0]:.3f} s and "
            f"{lost[0][1]:.3f} s are not in the capture, just where the next step should be.",
            effect=Effect.WITHHOLDS, stops_at=stop.step,
        )


def _broken_when_sent(case: Case) -> set[float]:
    """When the packets began that are broken in their bits alone: they go on to their end, on good edges."""
    packets = [t.packet for t in case.conversation.transmissions]
    return {p.start_s for p in packets if p.problem in (Problem.BAD_CRC, Problem.BAD_SYMBOL) and shows_well(p)}


def _cut_by_the_end(case: Case) -> list[float]:
    """When what the end of the capture cut off began."""
    talk = case.conversation
    soon = talk.duration_s - _STILL_SENDING_S
    cut = [
        t.packet.start_s for t in talk.transmissions if t.packet.problem in _BROKEN_OFF and t.packet.end_s > soon
    ]
    return sorted([*cut, *(burst.start_s for burst in talk.bursts if burst.end_s > soon)])


@rule(
    id="ends-too-early", family="capture", severity=Severity.INFO,
    title="The capture does not show enough to tell",
    checks="Whether the missing step had its full time before the capture or the try ended.",
    why="The next step may have come after the end. Nobody is late yet.",
    reference="our own rule", next=(todo.CAPTURE_AGAIN, todo.FLIP),
)
def ends_too_early(case: Case) -> Iterator[Claim]:
    stop, talk = case.stop, case.conversation
    if stop is None:
        last = talk.contracts[-1] if talk.contracts else None
        if last is not None and last.ended_s is not None and last.ended_by is None:
            swapped = any(e.name == "Accept" and e.start_s == last.ended_s for e in talk.exchanges)
            how = "when a swap of the power roles was agreed" if swapped else "when the plug was out"
            yield Claim(
                Who.CAPTURE, last.ended_s, f"The contract ended {how}; the capture shows no new one.",
                effect=Effect.WITHHOLDS,
            )
        return
    what = {
        Step.OFFER_ACKNOWLEDGED: "the offer had been acknowledged", Step.REQUEST: "the device had made its request",
        Step.ACCEPT: "the charger had answered the request", Step.READY: "the charger had said that power is ready",
    }.get(stop.step, "negotiation was through")
    ending = "ends" if stop.open_end else f"shows too little: it goes on with {stop.negotiation.ending.value}"
    missing = unacknowledged(stop)
    sent = sum(len(m.transmissions) for m in missing)
    often = f" ({missing[-1].name} was sent {times(sent)})" if missing else ""
    if stop.negotiation.ending is Ending.WAIT:
        ending = "ends after the charger asked the device to wait"
    yield Claim(
        Who.CAPTURE, stop.negotiation.next_s, f"The capture {ending} before {what}{often}.", effect=Effect.WITHHOLDS,
    )


@rule(
    id="crc-errors", family="signal", severity=Severity.WARN,
    title="Many packets are broken",
    checks="The share of packets that cannot be read.",
    why="Retries mend single losses; when many packets break, negotiation becomes a matter of luck.",
    reference="USB PD, section 5.6 (CRC)", next=todo.LINK_BAD,
)
def crc_errors(case: Case) -> Iterator[Claim]:
    quality = case.reading.quality
    bad = quality.broken_packets + quality.unreadable_bursts
    if quality.packets and bad >= _MANY_BROKEN and bad > _MUCH_BROKEN * (quality.packets + bad):
        yield Claim(
            Who.LINK, None, f"{bad} of {quality.packets + bad} packets cannot be read{_from_whom(case, bad)}."
        )


def _from_whom(case: Case, bad: int) -> str:
    """Whose packets break, where most still show a role bit and it is the same one."""
    roles = [
        "device" if t.packet.data[1] & 1 == 0 else "charger" for t in case.conversation.transmissions
        if t.packet.problem is Problem.BAD_CRC and t.packet.sop is Sop.SOP and len(t.packet.data) > 1
    ]
    for name in ("device", "charger"):
        if roles.count(name) > _MOST * bad:
            return f"; {roles.count(name)} of them look like the {name}'s"
    return ""


@rule(
    id="capture-poor", family="capture", severity=Severity.INFO,
    title="The capture is poor",
    checks="The sampling step, the skew and the jitter of the packets against a bit, where packets cannot be read; a "
    "sampling step that is too long even where all of them were read.",
    why="Packets that were good on the wire break in such a capture. What is missing from it may have been sent.",
    reference="USB PD, section 5.8 (fBitRate); the limits are our own choice",
    next=(todo.FASTER, todo.THRESHOLD, todo.GROUND),
)
def capture_poor(case: Case) -> Iterator[Claim]:
    quality = case.reading.quality
    limit = limit_of(case)
    if limit is None or too_slow(case):
        return
    bad = quality.broken_packets + quality.unreadable_bursts
    step = case.reading.capture.sample_period_s
    if bad or (step is not None and step >= TOO_SLOW_S):
        read = f"{bad} of {quality.packets + bad} packets cannot be read" if bad else "all were read, by luck"
        yield Claim(limit.who, None, f"What limits this capture ({read}): {limit.text}.", next=limit.next)


@rule(
    id="packets-cut-off", family="signal", severity=Severity.INFO,
    title="Packets break off",
    checks="Packets that end before their end.",
    why="A transmitter that loses its supply, or a contact that opens: look at VBUS and at the plug at that moment.",
    reference="USB PD, section 5.6.3 (EOP)", next=(todo.VBUS_LOAD, todo.FLIP),
)
def packets_cut_off(case: Case) -> Iterator[Claim]:
    end = case.conversation.duration_s
    cut = [
        t.packet.start_s for t in case.conversation.transmissions
        if t.packet.problem is Problem.CUT_SHORT and t.packet.start_s > _CUT_BY_START_S and t.packet.end_s < end - 1e-3
    ]
    if len(cut) >= _ENOUGH_BROKEN:
        yield Claim(Who.LINK, cut[0], f"{count(len(cut), 'packet')} break off before their end.")


def _bit_rates(case: Case) -> defaultdict[tuple[Party, bool], list[float]]:
    """The bit rates of every party's intact packets, those on SOP (True) and all others."""
    rates: defaultdict[tuple[Party, bool], list[float]] = defaultdict(list)
    for one in case.conversation.transmissions:
        packet = one.packet
        if packet.problem is None:
            rates[one.sender, packet.sop is Sop.SOP].append(packet.bit_rate_bps)
    return rates


@rule(
    id="bit-rate", family="signal", severity=Severity.WARN,
    title="A port's bit rate is outside of the standard",
    checks="The bit rate of intact packets against fBitRate.",
    why="A receiver that keeps to the standard need not follow such a clock: it works with one charger and not "
    "another.",
    reference="USB PD, section 5.8 (fBitRate)", next=(todo.OTHER_CHARGER,),
)
def bit_rate(case: Case) -> Iterator[Claim]:
    found = case.once(_bit_rates)
    for party in (Party.SOURCE, Party.SINK, Party.CABLE):
        rates = found[party, True] + found[party, False]
        if not rates:
            continue
        typical = sorted(rates)[len(rates) // 2]
        # The analyzer's own clock and the fit are good to well within a percent.
        if not (bit_rate_in_standard(typical * 1.01) or bit_rate_in_standard(typical * 0.99)):
            yield Claim(
                Who(party.value), None,
                f"The {party.value} sends {typical / 1e3:.0f} kbit/s; {electrical.BIT_RATE.words()} are allowed.",
            )


@rule(
    id="bit-rate-wanders", family="signal", severity=Severity.INFO,
    title="A port's bit rate wanders",
    checks="How far the bit rates of one port's packets lie apart.",
    why="A port keeps one clock. Where its packets differ by percents its oscillator or its supply is restless, or two "
    "devices were captured one after the other.",
    reference="USB PD, section 5.8 (fBitRate, pBitRate); the limit is our own choice", next=(todo.CHIP_SUPPLY,),
)
def bit_rate_wanders(case: Case) -> Iterator[Claim]:
    swapped = any(e.name in POWER_SWAPS for e in case.conversation.exchanges)
    for party in (Party.SOURCE, Party.SINK):
        ordered = sorted(case.once(_bit_rates)[party, True])
        if not ordered:
            continue
        # One odd packet at either end may be read wrongly.
        low, high = ordered[len(ordered) // 10], ordered[-1 - len(ordered) // 10]
        if len(ordered) >= _MANY_RATES and high > low * (1 + _WANDERS) and not swapped:
            yield Claim(
                Who(party.value), None,
                f"The {party.value}'s packets come at {low / 1e3:.0f} to {high / 1e3:.0f} kbit/s.",
            )


RULES: tuple[Rule, ...] = (
    wrong_column, offers_corrupt, time_unit_unknown, capture_too_slow, nothing_on_line, traffic_unreadable,
    starts_midway, packets_missing, ends_too_early, crc_errors, capture_poor, packets_cut_off, bit_rate,
    bit_rate_wanders,
)
