"""What the rules on the capture say: each fires on a capture that lacks just that, and is silent beside it.

The conversations are those of the reference talks; what is done to them is what a capture does: it ends, it begins
late, it breaks or loses packets, it catches the line late.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from pdcheck.conversation.follow import follow_packets
from pdcheck.line.model import Burst, Crc, Packet, Problem
from pdcheck.rules import ALL_RULES, Case
from pdcheck.verdict import judge_case
from tests.conversation.told import Told, cut, late, reading_of, told
from tests.reference import words
from tests.reference.talk import Ports, Talk
from tests.rules.smallest import ROWS as TALK_ROWS
from tests.rules.step_rows import ROWS as STEP_ROWS
from tests.rules.stories import contract, offer


def a_contract() -> Told:
    """A contract for 5 V and nothing more."""
    talk = Talk(random.Random(1), Ports(source_bps=300e3, sink_bps=310e3, source_revision=words.R3X,
                                        sink_revision=words.R3X), 0.2)  # fmt: skip
    talk.attach()
    contract(talk)
    return told(talk, random.Random(2), with_vbus=False)


def offers(count: int) -> Told:
    """Offers that are acknowledged, and each time a reset instead of a Request."""
    talk = Talk(random.Random(1), Ports(source_bps=300e3, sink_bps=310e3, source_revision=words.R3X,
                                        sink_revision=words.R3X), 0.2)  # fmt: skip
    talk.attach()
    for _ in range(count):
        offer(talk)
        talk.now += 28e-3
        talk.hard_reset("source")
    return told(talk, random.Random(2), with_vbus=False)


WHOLE = a_contract()
PLACE = {name: WHOLE.names.index(name) for name in ("Source_Capabilities", "Request", "Accept", "PS_RDY")}


def broken(packet: Packet, problem: Problem = Problem.BAD_CRC) -> Packet:
    return packet._replace(crc=Crc.BAD, problem=problem)


#: An offer, its GoodCRC and a reset, five times.
OFFERS = offers(5)


def with_packets(change: Callable[[int, Packet], Packet | None], one: Told = WHOLE) -> Told:
    """The capture with each packet changed; None takes it out."""
    kept = [(new, name) for n, (p, name) in enumerate(zip(one.packets, one.names, strict=True))
            if (new := change(n, p)) is not None]  # fmt: skip
    return replace(one, packets=tuple(p for p, _ in kept), names=tuple(name for _, name in kept))


def by_source(place: int) -> bool:
    """Whether a packet of the contract is the charger's: its power role bit (USB PD, message header table)."""
    return bool(WHOLE.packets[place].data[1] & 1)


def fired(one: Told, *, time_step_s: float | None = None) -> set[str]:
    reading = reading_of(one)
    reading = replace(reading, quality=replace(reading.quality, time_step_s=time_step_s))
    case = Case.of(reading, follow_packets(one.packets, one.bursts, one.duration_s))
    # What a verdict leaves out once another finding decides is asked of the rules themselves.
    return {finding.rule for rule in ALL_RULES for finding in rule.findings(case)} | {
        finding.rule for finding in judge_case(case).findings
    }


ROWS: dict[str, tuple[Told, Told]] = {
    "nothing-on-line": (Told((), (), 1.0), WHOLE),
    "traffic-unreadable": (Told((), tuple(Burst(0.1 * n, 0.1 * n + 1e-3, 300, True) for n in range(1, 4)), 1.0), WHOLE),
    "starts-midway": (late(cut(WHOLE, WHOLE.packets[PLACE["PS_RDY"]].start_s - 1e-3),
                           WHOLE.packets[PLACE["Accept"]].start_s - 1e-4), WHOLE),
    "ends-too-early": (cut(WHOLE, WHOLE.packets[PLACE["Request"]].start_s - 1e-3), WHOLE),
    "packets-missing": (
        with_packets(lambda n, p: p if by_source(n) else None,
                     cut(WHOLE, WHOLE.packets[PLACE["PS_RDY"]].start_s - 1e-3)), WHOLE,
    ),
    "answer-unreadable": (with_packets(lambda n, p: broken(p) if n % 3 == 1 else p, OFFERS), OFFERS),
    "offers-corrupt": (with_packets(lambda n, p: (broken(p), None, p)[n % 3], OFFERS), OFFERS),
    "packets-cut-off": (
        with_packets(lambda n, p: broken(p, Problem.CUT_SHORT) if n in (2, 4) else p), WHOLE,
    ),
    "short-preamble": (
        with_packets(lambda n, p: p._replace(preamble_bits=55)),
        with_packets(lambda n, p: p._replace(preamble_bits=56)),
    ),
}  # fmt: skip


@pytest.mark.parametrize("rule", ROWS)
def test_it_fires_on_what_the_capture_lacks_and_not_beside_it(rule: str) -> None:
    lacking, good = ROWS[rule]
    assert rule in fired(lacking)
    assert rule not in fired(good)


def test_too_slow_is_a_step_that_half_a_bit_falls_between() -> None:
    """Half a bit lasts 1.5 to 1.9 us (fBitRate 270 to 330 kbit/s, from memory), and must hold a sample."""
    silent = Told((), (Burst(0.1, 0.1 + 1e-3, 300, True),), 1.0)
    assert "capture-too-slow" in fired(silent, time_step_s=1e-6)
    assert "capture-too-slow" not in fired(silent, time_step_s=0.5e-6)


def test_two_columns_that_both_talk_and_come_to_another_end() -> None:
    """On the one a contract, on the other nothing but offers that are heard and come to nothing."""
    for other, differs in ((OFFERS, True), (WHOLE, False)):
        reading = replace(reading_of(WHOLE), second=reading_of(other))
        case = Case.of(reading, follow_packets(WHOLE.packets, WHOLE.bursts, WHOLE.duration_s))
        said = {finding.rule for finding in judge_case(case).findings}
        assert ("cc-columns-differ" in said) is differs


def test_every_rule_is_named_in_some_test_of_this_folder() -> None:
    """A rule that no test fires may say anything; `smallest.py` and `step_rows.py` have a row for most."""
    rows = {row.rule for row in (*STEP_ROWS, *TALK_ROWS)} | set(ROWS)
    said = "".join(path.read_text(encoding="utf-8") for path in Path(__file__).parent.glob("*.py"))
    assert [rule.id for rule in ALL_RULES if rule.id not in rows and f'"{rule.id}"' not in said] == []
