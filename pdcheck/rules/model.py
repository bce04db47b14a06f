"""What a rule is, what it sees, and what it says.

Why it is: one rule, one function, one documented entry. The text that ``pdcheck rules`` prints, the page of the
notes and the finding in a report all come from the same entry, so they cannot disagree.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar, cast

from pdcheck.capture.levels import resolution_s
from pdcheck.capture.model import AnalogLine, Role
from pdcheck.conversation.message_ids import Pair, left_out, neighbours, reused
from pdcheck.conversation.model import Conversation, Ending, Exchange, Negotiation, Party, Step
from pdcheck.conversation.names import ANSWERS
from pdcheck.conversation.questions import Question, questions
from pdcheck.conversation.steps import Stop, find_stop
from pdcheck.line.model import LineReading
from pdcheck.standard import timers, vbus_levels
from pdcheck.standard.line_code import Sop

if TYPE_CHECKING:
    from pdcheck.rules.cc_rest import Rest
    from pdcheck.rules.delivery import Delivery

Kept = TypeVar("Kept")
Part = TypeVar("Part")

#: What ends a try and what follows at once belong together (retries, a reset that is repeated).
_SAME_MOMENT_S = 20e-3
#: A try that stopped this long before the capture's end is no longer under way: twice tSenderResponse.
_UNDER_WAY_S = 2 * timers.SENDER_RESPONSE_R3_1.max_s
_LAST_LOOK_S = 20e-3
#: Changes that the columns' readers place exactly in time (twice what they keep at all: 20 mV, 5 mA).
_VBUS_STEP_V, _CURRENT_STEP_A = 0.045, 0.012
#: When VBUS comes it comes to 5 V in one step.
_VBUS_RISE_V = (0.8, 4.2)
#: EPR ends at 48 V, and what rings when a plug is pulled at a few volts below zero. Our own choice, well beyond both.
_HIGHEST_V, _LOWEST_V = 60.0, -6.0


class Severity(StrEnum):
    """``fail`` breaks charging; ``warn`` breaks the standard, charging may survive; ``info`` is worth knowing."""

    FAIL = "fail"
    WARN = "warn"
    INFO = "info"

    @property
    def rank(self) -> int:
        """0 for the gravest."""
        return list(Severity).index(self)


class Who(StrEnum):
    """Whom a finding is about. LINK is the wire between the two: a contact, noise."""

    SOURCE = "source"
    SINK = "sink"
    CABLE = "cable"
    LINK = "link"
    CAPTURE = "capture"


class Effect(StrEnum):
    """What a finding does to the verdict."""

    CONVICTS = "the verdict is fail"
    WITHHOLDS = "the capture cannot tell"
    UNSETTLES = "the capture cannot tell, even where a contract stands at its end"
    NOTES = "none"


def _impossible_v(line: AnalogLine) -> float | None:
    """A reading that VBUS cannot have; None where there is none. An input at its end, and no charger, makes it."""
    if not len(line.values):
        return None
    low, high = float(line.values.min()), float(line.values.max())
    return high if high > _HIGHEST_V else low if low < _LOWEST_V else None


@dataclass(frozen=True, eq=False)
class Case:
    """Everything a rule may argue from.

    :ivar vbus: None where VBUS was not captured, or where the column reads what no port can have: ``impossible_v``.
    """

    reading: LineReading
    conversation: Conversation
    stop: Stop | None
    vbus: AnalogLine | None
    current: AnalogLine | None
    impossible_v: float | None = None

    @classmethod
    def of(cls, reading: LineReading, conversation: Conversation) -> Case:
        """The case of a reading and the conversation that was found in it."""
        analog = {line.role: line for line in reading.capture.lines if isinstance(line, AnalogLine)}
        vbus = analog.get(Role.VBUS)
        beyond = _impossible_v(vbus) if vbus is not None else None
        return cls(
            reading, conversation, find_stop(conversation), vbus if beyond is None else None,
            analog.get(Role.CURRENT), beyond,
        )  # fmt: skip

    @cached_property
    def _done(self) -> dict[object, object]:
        return {}

    def once(self, work: Callable[[Case], Kept]) -> Kept:
        """What ``work`` makes of this case; it is done once, however many rules ask for it."""
        done = self._done
        if work not in done:
            done[work] = work(self)
        return cast(Kept, done[work])

    def once_for(self, work: Callable[[Case, Part], Kept], part: Part) -> Kept:
        """The same of a part of the conversation, such as a contract; the conversation keeps it, so it is told by its
        identity."""
        done, key = self._done, (work, id(part))
        if key not in done:
            done[key] = work(self, part)
        return cast(Kept, done[key])

    def unreadable_between(self, start_s: float, end_s: float) -> bool:
        """True where something was sent in that time that the capture cannot read."""
        place = bisect_left(self.gaps, start_s)
        return (place < len(self.gaps) and self.gaps[place] <= end_s) or self.numbers_missing_between(start_s, end_s)

    def numbers_missing_between(self, start_s: float, end_s: float) -> bool:
        """True where something may have been sent in that time of which the capture shows nothing, by the numbers of
        the messages around it."""
        place = bisect_right(self.left_out, start_s, key=lambda lost: lost[1])
        return place < len(self.left_out) and self.left_out[place][0] < end_s

    def offer_is_certain(self, one: Negotiation) -> bool:
        """True where nothing unread stands between a try's offer and its request: another offer may have been made."""
        return one.offer is not None and one.request is not None and not self.unreadable_between(
            one.offer.settled_s, one.request.start_s - 1e-6
        )

    @cached_property
    def gaps(self) -> tuple[float, ...]:
        """Moments (seconds) at which something was sent that the capture does not show: unreadable, or proven by
        a GoodCRC that acknowledges nothing else."""
        talk = self.conversation
        broken = [t.packet.start_s for t in talk.transmissions if not t.packet.intact]
        return tuple(sorted([*(b.start_s for b in talk.bursts), *broken, *talk.orphans]))

    @cached_property
    def _pairs(self) -> tuple[Pair, ...]:
        return tuple(neighbours(self.conversation, self.gaps))

    @cached_property
    def left_out(self) -> tuple[tuple[float, float], ...]:
        """Times (from, to, in seconds) in which something was sent of which the capture shows nothing, by the numbers
        of the messages around them."""
        return left_out(self._pairs)

    @cached_property
    def questions(self) -> tuple[Question, ...]:
        """Every question of the conversation with what became of it."""
        return questions(self.conversation.steps, self.conversation.duration_s)

    @cached_property
    def reused(self) -> tuple[Exchange, ...]:
        """Messages that their receiver had to take for repeats."""
        return reused(self._pairs)

    @cached_property
    def unseen(self) -> frozenset[Party]:
        """Ports that are proven to speak (they are acknowledged or answered) and of whom the capture shows nothing."""
        talk = self.conversation
        orphans = set(talk.orphans)
        ports = [t for t in talk.transmissions if t.message is not None and t.packet.sop is Sop.SOP]
        shown = {t.sender for t in ports}
        proven = {t.sender.other for t in ports if t.packet.start_s in orphans or t.name in ANSWERS}
        return frozenset(proven - shown)

    @cached_property
    def delivery(self) -> Delivery:
        """Whether VBUS was where the contracts said; worked out once, for rules, verdict and report."""
        from pdcheck.rules.delivery import judge_contracts  # here, because it argues from cases

        return judge_contracts(self)

    @cached_property
    def vbus_resolution_s(self) -> float | None:
        """How fine in time the VBUS column is; None where it does not show, or was not captured."""
        return resolution_s(self.vbus, _VBUS_STEP_V, _VBUS_RISE_V) if self.vbus is not None else None

    @cached_property
    def current_resolution_s(self) -> float | None:
        """How fine in time the current column is; None where it does not show, or was not captured."""
        return resolution_s(self.current, _CURRENT_STEP_A) if self.current is not None else None

    @cached_property
    def cc_rests(self) -> dict[str, list[Rest]]:
        """Where each CC line that was captured as volts rests; worked out once."""
        from pdcheck.rules.cc_rest import rests  # here, because it argues from cases

        return rests(self)

    @property
    def overtaken(self) -> bool:
        """True where only one try is known to have failed, and what came after it cannot be read or was still under
        way: it may have gone well."""
        if self.stop is None:
            return False
        decided = [n for n in self.stop.alike if n.ending is not Ending.CAPTURE_END]
        if len(decided) != 1:
            return False
        after = decided[0].next_s + _SAME_MOMENT_S
        last = self.conversation.negotiations[-1]
        under_way = last.ending is Ending.CAPTURE_END and last.start_s > decided[0].next_s and last.next_s - max(
            e.settled_s for e in (*last.offers, last.request, last.answer) if e is not None
        ) < _UNDER_WAY_S
        return under_way or any(t > after for t in self.gaps) or any(until > after for _, until in self.left_out)

    @property
    def tainted(self) -> bool:
        """True where packets are missing inside every try that stopped there, so that the step may have been made."""
        if self.stop is None or self.stop.step not in (Step.REQUEST, Step.ACCEPT, Step.READY):
            return False
        # Broken packets are mended by retries; what is proven and not there is not.
        orphans = self.conversation.orphans
        return all(
            any(n.start_s <= t <= n.next_s + _SAME_MOMENT_S for t in orphans)
            or self.numbers_missing_between(n.start_s, n.next_s)
            for n in self.stop.alike
        )

    @property
    def plugged_in_at_end(self) -> bool:
        """True where VBUS shows that the plug is still in when the capture ends.

        Whoever waits in vain owes a Hard Reset; where both fall silent for good the plug may have been pulled.
        """
        talk = self.conversation
        last = max((t.packet.end_s for t in talk.transmissions), default=0.0)
        # A charger whose plug was pulled takes VBUS away within tVBUSOFF, and not at once.
        if self.vbus is None or talk.duration_s - last < timers.VBUS_OFF.max_s:
            return False
        seen = self.vbus.during(max(0.0, talk.duration_s - _LAST_LOOK_S), talk.duration_s)
        return seen is not None and seen.low > vbus_levels.SINK_DISCONNECT.most


@dataclass(frozen=True)
class Claim:
    """What a rule's function found. ``stops_at`` is set where the claim explains why negotiation stopped;
    ``severity`` where this case is less (or more) grave than the rule's usual one."""

    who: Who | None
    t_s: float | None
    summary: str
    stops_at: Step | None = None
    effect: Effect | None = None
    next: tuple[str, ...] | None = None
    severity: Severity | None = None


@dataclass(frozen=True)
class Finding:
    """A claim with its rule's text, as it stands in a report."""

    rule: str
    severity: Severity
    who: Who | None
    t_s: float | None
    summary: str
    why: str
    reference: str
    next: tuple[str, ...]
    effect: Effect
    stops_at: Step | None


@dataclass(frozen=True)
class Rule:
    """A rule and its documentation. ``checks``: what it looks at; ``why``: why that stops charging."""

    id: str
    family: str
    severity: Severity
    title: str
    checks: str
    why: str
    reference: str
    next: tuple[str, ...]
    run: Callable[[Case], Iterable[Claim]]

    def findings(self, case: Case) -> list[Finding]:
        """The rule's claims on a case, each with the rule's own text."""
        return [self._finding(claim) for claim in self.run(case)]

    def _finding(self, claim: Claim) -> Finding:
        severity = claim.severity or self.severity
        if claim.effect is Effect.WITHHOLDS and severity is Severity.FAIL:
            # What the capture cannot tell is no broken rule.
            severity = Severity.INFO
        usual = Effect.CONVICTS if severity is Severity.FAIL else Effect.NOTES
        return Finding(
            rule=self.id, severity=severity, who=claim.who, t_s=claim.t_s, summary=claim.summary, why=self.why,
            reference=self.reference, next=self.next if claim.next is None else claim.next,
            effect=claim.effect or usual, stops_at=claim.stops_at,
        )


def rule(
    *, id: str, family: str, severity: Severity, title: str, checks: str, why: str, reference: str,
    next: tuple[str, ...] = (),
) -> Callable[[Callable[[Case], Iterable[Claim]]], Rule]:
    """Make a rule of a function, with its documentation beside it."""

    def make(run: Callable[[Case], Iterable[Claim]]) -> Rule:
        return Rule(id, family, severity, title, checks, why, reference, next, run)

    return make
