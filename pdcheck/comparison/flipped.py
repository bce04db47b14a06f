"""What it proves when the plug is turned over at the device and the capture is made again.

Why it is: the flip test is the cheapest experiment at the bench, and easily read for more than it says. What turning
the plug changes, and what it does not, stands here.

Turning the plug over at the device end changes: on which of the receptacle's two CC contacts (A5 or B5) the cable's
one CC wire lands; with it the solder joint, the trace, the protection and series parts of that line, and the chip's
own pin and input switch for it; and which row of the tongue the plug's fingers for VBUS, GND and CC touch.

It does not change: the charger and its port, the cable's wires and the plug's own CC finger, what the chip has once
for both lines (supply, logic, firmware, the transmitter behind the switch), and everything behind it. A way that
works clears these, as far as that way came. It does not clear what comes and goes: a plug that moves, a worn finger.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from pdcheck.capture.model import Role
from pdcheck.comparison.judge import same_recording
from pdcheck.comparison.model import Judged
from pdcheck.conversation.model import Step
from pdcheck.rules import Case, Who
from pdcheck.rules import measure_next as todo
from pdcheck.rules.delivery import Delivered
from pdcheck.standard import vbus_levels
from pdcheck.verdict import Outcome


class Proof(StrEnum):
    """What a flip test comes to."""

    ONE_WAY = "one_way"
    ONE_WAY_UNLIKELY = "one_way_not_a_contact"
    BOTH_WORK = "both_work"
    BOTH_FAIL_ALIKE = "both_fail_alike"
    BOTH_FAIL_APART = "both_fail_differently"
    NONE = "no_proof"


@dataclass(frozen=True)
class Pair:
    """The flip test's result.

    ``works``: index of the capture that passes where only one does, else None. ``cleared`` and ``suspect``: parts in
    words; ``next``: what to do, from the easiest on; ``notes``: what weakens the proof.
    """

    proof: Proof
    works: int | None
    summary: str
    cleared: tuple[str, ...]
    suspect: tuple[str, ...]
    next: tuple[str, ...]
    notes: tuple[str, ...]


_CHARGER = "the charger and its port"
_CABLE = "the cable, its CC wire and the plug's own CC finger included"
_CHIP_COMMON = "what the negotiating chip has once for both CC lines (supply, logic, transmitter)"
_VBUS = "the way of VBUS up to where it was probed"
_CONTACT = "the receptacle's contact of that row, its solder joint, dirt or wear in the port"
_PATH = "trace, series and protection part of that CC line"
_PIN = "the chip's own pin and input for that CC line (last: it is the dearest to be wrong about)"
_TWICE = "Capture each way once more before anything is desoldered: one flip may be chance or a plug that moved."
_IF_ALL_ELSE = (
    "This holds only if nothing else was changed: the same charger, cable and probes, the plug turned at the device "
    "end only."
)
_AGAIN_BOTH_CC = (
    "Capture again with both CC contacts and VBUS probed: the way that shows nothing may only use the other contact."
)
_SEEN = (
    "With the plug in the silent way: volts on VBUS at the port. 0 V: the charger does not see the device's pull-down "
    "on that contact, and with the other way working that points to that contact or its path. 5 V: it does, and the "
    "probe was on the other contact."
)
_OHMS = (
    "Device unpowered, no battery current: compare CC1 with CC2 at the port's contacts, in diode-mode and ohms, then "
    "look at that row of the port under the microscope."
)
#: Where a dead or poor CC path on one side may stop a negotiation.
_FITS = (Step.ATTACH, Step.OFFER, Step.OFFER_ACKNOWLEDGED, Step.REQUEST)


def flipped(a: Judged, b: Judged) -> Pair:
    """What two captures prove between which only the plug was turned over at the device."""
    outcomes = (a.verdict.outcome, b.verdict.outcome)
    notes = _turned(a, b)
    if same_recording(a, b):
        return Pair(
            Proof.NONE, None, "Both files hold the same recording, so the plug was not turned between them.", (), (),
            ("Turn the plug over at the device, leave all else as it is, and capture again.",), (),
        )
    if Outcome.INCONCLUSIVE in outcomes:
        return _no_proof(a, b, notes)
    if outcomes == (Outcome.PASS, Outcome.PASS):
        return Pair(
            Proof.BOTH_WORK, None, "Both ways reach a contract: both CC contacts and their paths carry a negotiation.",
            (_CHARGER, _CABLE, "both CC contacts and paths", _CHIP_COMMON, *_delivered(a, b)), (),
            ("Measure the input current under the contract both ways round; if it stays at some 20 to 40 mA (common "
             "practice, no source), look behind the port: VBUS switch, charger stage, battery and its sensor.",),
            notes,
        )
    if outcomes == (Outcome.FAIL, Outcome.FAIL):
        return _both_fail(a, b, notes)
    works = 0 if outcomes[0] is Outcome.PASS else 1
    good, bad = (a, b) if works == 0 else (b, a)
    return _one_way(good, bad, works, notes)


def _one_way(good: Judged, bad: Judged, works: int, notes: tuple[str, ...]) -> Pair:
    stopped, suspect = bad.verdict.stopped_at, bad.verdict.suspect
    cleared = (_CHARGER, _CABLE, _CHIP_COMMON, *_delivered(good))
    which = _contact(bad, good)
    name = "A" if works == 0 else "B"
    failing = "B" if works == 0 else "A"
    accused = (
        f"The report on {failing} names the charger's missing move; way {name} shows that the same charger and cable "
        "work, so what the charger did not do is most likely what it did not hear.",
    ) if suspect is Who.SOURCE else ()
    if stopped in _FITS:
        heard = stopped is Step.REQUEST and suspect is Who.SINK
        more = (
            "Offer and acknowledgement still passed on that contact, so it is not open: poor contact, leakage or a "
            "weak part rather than a break.",
        ) if heard else ()
        return Pair(
            Proof.ONE_WAY, works,
            f"Works one way ({name}) and not the other ({failing}): look at what only one CC contact uses"
            f"{which}, not at the cable, the charger or the common part of the chip.",
            cleared, (_CONTACT, _PATH, _PIN), (_TWICE, _OHMS, todo.CC_PATH), (*notes, *more, *accused, _IF_ALL_ELSE),
        )
    where = f" before {stopped.value}" if stopped is not None else " after the contract"
    return Pair(
        Proof.ONE_WAY_UNLIKELY, works,
        f"Works one way ({name}) and not the other ({failing}), but the failing way stopped{where}, when that CC "
        "contact had already carried the talk: a CC contact does not explain it.",
        ("both CC contacts and paths, as far as that talk came",),
        ("chance: a fault that comes and goes", "contacts that open under load (VBUS, GND), charger or device alike"),
        (_TWICE, todo.VBUS_LOAD, _OHMS), notes,
    )


def _both_fail(a: Judged, b: Judged, notes: tuple[str, ...]) -> Pair:
    left, right = a.verdict, b.verdict
    if (left.stopped_at, left.suspect) == (right.stopped_at, right.suspect):
        at = f" before {left.stopped_at.value}" if left.stopped_at is not None else " after the contract"
        return Pair(
            Proof.BOTH_FAIL_ALIKE, None,
            f"Fails both ways at the same place ({at.strip()}): one contact or CC path alone is not the cause; look "
            "at what both ways share.",
            ("a fault of one CC contact or one CC path alone",),
            ("charger", "cable (its CC wire, the plug's own CC finger)", "supply of the negotiating chip, its bus",
             "what the chip has once for both CC lines", "a fault common to both rows: liquid, a cracked port"),
            (todo.OTHER_CHARGER, todo.OTHER_DEVICE, todo.CHIP_SUPPLY, todo.CHIP_BUS), notes,
        )
    return Pair(
        Proof.BOTH_FAIL_APART, None,
        f"Fails both ways, but differently (A: {_place(a)}; B: {_place(b)}): neither one contact nor one common part "
        "is proven. Two faults, or one that comes and goes.",
        (), (), (_TWICE, todo.OTHER_CHARGER, _OHMS), notes,
    )


def _no_proof(a: Judged, b: Judged, notes: tuple[str, ...]) -> Pair:
    doubtful = [n for n, s in (("A", a), ("B", b)) if s.verdict.outcome is Outcome.INCONCLUSIVE]
    if len(doubtful) == 2:
        return Pair(
            Proof.NONE, None, "Neither capture carries a verdict, so the flip test proves nothing.", (), (),
            (*dict.fromkeys((*a.verdict.next[:1], *b.verdict.next[:1])), _AGAIN_BOTH_CC), notes,
        )
    bad = a if doubtful == ["A"] else b
    other, name = (b, "B") if bad is a else (a, "A")
    passes = other.verdict.outcome is Outcome.PASS
    says = "works" if passes else "fails"
    cleared = (_CHARGER, _CABLE, _CHIP_COMMON, *_delivered(other)) if passes else ()
    silent = passes and not bad.reading.packets
    return Pair(
        Proof.NONE, None,
        f"{name} {says}, but {doubtful[0]} cannot tell ({_clause(bad.verdict.summary)}): the flip test proves nothing "
        "about that way.",
        cleared, (), (*((_SEEN,) if silent else ()), _AGAIN_BOTH_CC, *bad.verdict.next[:1]),
        (*notes, *(_vbus_when_silent(bad) if silent else ())),
    )


def _vbus_when_silent(side: Judged) -> tuple[str, ...]:
    """What VBUS says of a way in which nobody talked, where it was captured."""
    vbus = Case.of(side.reading, side.conversation).vbus
    seen = vbus.during(0.0, side.conversation.duration_s) if vbus is not None else None
    if seen is None:
        return ()
    if seen.high < vbus_levels.SAFE_5V.least:
        return (
            f"In the silent capture VBUS never reads more than {max(0.0, seen.high):.2f} V: the charger did not see "
            "the device's pull-down on that contact, or the plug was not in.",
        )
    return (
        f"In the silent capture VBUS reads up to {seen.high:.2f} V, so power was switched on: the talk was on the "
        "contact that was not probed, or did not come.",
    )


def _clause(sentence: str) -> str:
    text = sentence.rstrip(".")
    return text[:1].lower() + text[1:] if not text[:2].isupper() else text


def _place(side: Judged) -> str:
    verdict = side.verdict
    at = f"stopped before {verdict.stopped_at.value}" if verdict.stopped_at is not None else "contract lost"
    return f"{at}, {verdict.suspect.value}" if verdict.suspect is not None else at


def _delivered(*sides: Judged) -> tuple[str, ...]:
    return (_VBUS,) if all(s.verdict.delivery.state is Delivered.YES for s in sides) else ()


def _columns(side: Judged) -> dict[str, Role]:
    return {x.name: x.role for x in side.reading.capture.lines if x.role in (Role.CC1, Role.CC2)}


def _read_role(side: Judged) -> Role | None:
    """The CC contact on which the traffic was, where both were captured and are told apart by name."""
    columns = _columns(side)
    if set(columns.values()) != {Role.CC1, Role.CC2} or side.reading.cc is None:
        return None
    return columns.get(side.reading.cc)


def _contact(bad: Judged, good: Judged) -> str:
    """Which contact the failing way uses, where the captures show it."""
    used = _read_role(bad)
    if used is None or used is _read_role(good):
        return ""
    return f" (in the failing way the one probed as {used.value.upper()})"


def _turned(a: Judged, b: Judged) -> tuple[str, ...]:
    """Whether the captures themselves show that the plug was turned."""
    left, right = _read_role(a), _read_role(b)
    if left is None or right is None:
        return (
            "Whether the plug was turned cannot be seen: that needs both CC contacts, probed at the device's port, in "
            "both captures.",
        )
    if left is right:
        return (
            f"In both captures the traffic is on {left.value.upper()}: if the probes sit on the device's port, the "
            "plug was not turned. (Probes on the cable's side of the port do not see the turn.)",
        )
    return (f"The traffic moved from {left.value.upper()} to {right.value.upper()}: the plug was turned.",)
