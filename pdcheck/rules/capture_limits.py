"""What in a capture alone can break packets: its rate, its threshold, noise on its edges.

Why it is: a packet that cannot be read may have been good on the wire. Where the packets beside it show what the
capture lacks, the report says that, and what to change, before it sends anybody to look at contacts and cables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pdcheck.line.model import Packet
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Who
from pdcheck.rules.words import span
from pdcheck.standard import electrical

#: A receiver that finds the line late misses some of the 64 bits; fewer than this are a short preamble. Our own choice.
SHORT_PREAMBLE_BITS = 56
#: Skew in bits from which a packet may break in the capture though it was good on the wire. Our own choice.
_MUCH_SKEW = 0.25
#: From this sampling step on a half bit (1.5 to 1.9 us) can fall between two samples.
TOO_SLOW_S = 0.9e-6
#: Edges this far off the grid, in bits and beyond what the sampling itself does, leave hardly room for a half bit.
#: Our own choice: one packet in a hundred breaks there.
_MUCH_JITTER = 0.06
#: Edges found at fixed instants are off by 0.29 of the step (a uniform distribution); a clean signal, whose edges all
#: sit on its own half bits and only look sampled, is off by nothing.
_SAMPLED = 0.1


@dataclass(frozen=True)
class Limit:
    """What limits a capture.

    :ivar who: whose it is: the capture's alone, or of whatever lies on the line.
    :ivar text: a clause that can stand behind "for" or alone. :ivar next: what to change, first things first.
    """

    who: Who
    text: str
    next: tuple[str, ...]


def shows_well(packet: Packet) -> bool:
    """True where a packet's edges stand so well on its bit grid that the capture cannot have broken it."""
    rate = packet.bit_rate_bps
    return abs(packet.skew_s) * rate < _MUCH_SKEW and packet.jitter_s * rate < _MUCH_JITTER


def limit_of(case: Case) -> Limit | None:
    """What limits the capture most; None where it is good enough for any packet."""
    return case.once(_limit_of)


def _middle(spans_s: Sequence[float], sent: Sequence[Packet]) -> tuple[float, float]:
    """What of a packet's spans is the median in bits, and the same in seconds."""
    bits = [span_s * packet.bit_rate_bps for span_s, packet in zip(spans_s, sent, strict=True)]
    middle = sorted(bits)[len(bits) // 2]
    return middle, spans_s[bits.index(middle)]


def _limit_of(case: Case) -> Limit | None:
    sent = [t.packet for t in case.conversation.transmissions]
    if not sent:
        return None
    skew = _middle([abs(p.skew_s) for p in sent], sent)
    jitter = _middle([p.jitter_s for p in sent], sent)
    sampled = case.reading.capture.sample_period_s
    step = sampled or case.reading.quality.time_step_s or 0.0
    if sampled is None and jitter[1] < _SAMPLED * step:
        step = 0.0
    half_bit_us = electrical.UNIT_INTERVAL.least / 2
    if step >= TOO_SLOW_S:
        return Limit(
            Who.CAPTURE,
            f"it takes a sample every {span(step)}, and half a bit lasts {half_bit_us:.2f} us at the fastest",
            (todo.FASTER, todo.THRESHOLD, todo.CAPTURE_AGAIN),
        )  # fmt: skip
    if skew[0] >= _MUCH_SKEW:
        return Limit(
            Who.CAPTURE,
            f"its threshold is far off the middle of the signal: pulses read {span(skew[1])} too long or too short",
            (todo.THRESHOLD, todo.FASTER, todo.GROUND),
        )  # fmt: skip
    if jitter[0] >= _MUCH_JITTER and jitter[1] > 2 * 0.3 * step:
        return Limit(
            Who.LINK, f"its edges lie {span(jitter[1])} off the bit grid, as noise on the line or a poor ground moves "
            "them", (todo.GROUND, todo.THRESHOLD, *todo.LINK_BAD),
        )  # fmt: skip
    return None
