"""Rules on the extended power range: entering it, and keeping it alive.

Why it is: above 20 V charger and device watch each other every half second; a device that forgets loses its power, and
one that never gets in charges at 100 W or less without anything being broken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pdcheck.conversation.model import Party, Reset
from pdcheck.conversation.names import LONG_OFFER
from pdcheck.conversation.questions import Ended, topic
from pdcheck.messages.model import DataObject
from pdcheck.messages.modes import FAILURE_CAUSES
from pdcheck.rules import measure_next as todo
from pdcheck.rules.model import Case, Claim, Rule, Severity, Who, rule
from pdcheck.rules.windows import unanswered
from pdcheck.rules.words import NAME, span, times
from pdcheck.standard import timers
from pdcheck.standard.line_code import Sop
from pdcheck.standard.offers import SPR_FIXED_HIGHEST_MV

_REF_ENTRY = "USB PD, section 6.4.10 (EPR_Mode) and 6.6.21 (tEnterEPR)"
_REF_ALIVE = "USB PD, section 6.5.14 (Extended_Control) and 6.6.21 (tSinkEPRKeepAlive, tSourceEPRKeepAlive)"
_ENDS = ("EPR_Mode Exit", "EPR_Mode Enter_Failed", "PR_Swap", "Soft_Reset", "Data_Reset")
#: By so much a port's own timer and the moment at which it starts it may be off. Our own choice.
_SLACK_S = 20e-3
#: The failure cause that the device itself is to blame for.
_FLAG_MISSING = 3
#: While one of these is under way another timer watches.
_WAITS_FOR_MORE = ("Accept", "EPR_Request", "Request", "EPR_Mode Enter", "EPR_Mode Enter_Acknowledged", "PR_Swap")


@dataclass(frozen=True)
class EprMode:
    """A stretch in EPR mode, in seconds; ``reset`` is the Hard Reset that ended it, None where something else did."""

    since_s: float
    until_s: float
    reset: Reset | None


@dataclass(frozen=True)
class Pause:
    """A silence of both ports in EPR mode; ``reset`` is set where a Hard Reset ended it."""

    since_s: float
    until_s: float
    reset: Reset | None

    @property
    def length_s(self) -> float:
        return self.until_s - self.since_s


def modes(case: Case) -> list[EprMode]:
    """The stretches in EPR mode."""
    return case.once(_modes)


def _modes(case: Case) -> list[EprMode]:
    talk = case.conversation
    found: list[EprMode] = []
    since: float | None = None
    for step in talk.steps:
        if isinstance(step, Reset):
            if step.packet.sop is not Sop.HARD_RESET:
                continue
            if since is not None:
                found.append(EprMode(since, step.start_s, step))
            since = None
        elif topic(step.message) == "EPR_Mode Enter_Succeeded":
            since = step.settled_s
        elif since is not None and topic(step.message) in _ENDS:
            found.append(EprMode(since, step.start_s, None))
            since = None
    if since is not None:
        found.append(EprMode(since, talk.duration_s, None))
    return found


def pauses(case: Case) -> list[Pause]:
    """Silences of both ports in EPR mode that somebody ended, while nothing but the keep-alive was due."""
    return case.once(_pauses)


def _pauses(case: Case) -> list[Pause]:
    if not modes(case):
        return []
    talk = case.conversation
    found = []
    for mode in modes(case):
        inside = talk.exchanges[talk.begun_before(mode.since_s) : talk.begun_before(mode.until_s)]
        for place, one in enumerate(inside):
            last = place + 1 == len(inside)
            until = mode.until_s if last else inside[place + 1].start_s
            reset = mode.reset if last else None
            if last and (reset is None or reset.start_s != until):
                continue
            if topic(one.message) in _WAITS_FOR_MORE or case.unreadable_between(one.settled_s, until - 1e-6):
                continue
            found.append(Pause(one.settled_s, until, reset))
    return found


def forgotten(case: Case) -> Pause | None:
    """The silence after which a source ended EPR mode by a reset because the sink did not keep it alive."""
    for one in pauses(case):
        if one.reset is not None and one.reset.sender is not Party.SINK and (
            one.length_s > timers.SOURCE_EPR_KEEP_ALIVE.min_s - _SLACK_S
        ):
            return one
    return None


@rule(
    id="epr-not-kept-alive", family="keep-alive", severity=Severity.FAIL,
    title="The device does not keep EPR mode alive",
    checks="In EPR mode the sink says something within tSinkEPRKeepAlive (0.5 s); after tSourceEPRKeepAlive without a "
    "word the source resets.",
    why="The charger takes the silence for a device that has crashed and takes the high voltage away. What runs the "
    "charging in the device stops answering once charging has begun.",
    reference=_REF_ALIVE, next=todo.SINK_DEAF_LOGIC,
)
def epr_not_kept_alive(case: Case) -> Iterator[Claim]:
    one = forgotten(case)
    if one is not None:
        yield Claim(
            Who.SINK, one.until_s,
            f"The device said nothing for {span(one.length_s)} in EPR mode (at most "
            f"{timers.SINK_EPR_KEEP_ALIVE.max:g} ms are allowed); the charger reset.",
        )


@rule(
    id="epr-keep-alive-late", family="keep-alive", severity=Severity.WARN,
    title="The device keeps EPR mode alive too seldom",
    checks="In EPR mode no silence is longer than tSinkEPRKeepAlive (0.5 s).",
    why="From 0.75 s on the charger may reset. It goes well with a patient charger only.",
    reference=_REF_ALIVE, next=todo.SINK_DEAF_LOGIC,
)
def epr_keep_alive_late(case: Case) -> Iterator[Claim]:
    late = [
        s for s in pauses(case)
        if s.reset is None and s.length_s > timers.SINK_EPR_KEEP_ALIVE.max_s + _SLACK_S
    ]
    if late:
        worst = max(late, key=lambda s: s.length_s)
        yield Claim(
            Who.SINK, worst.until_s,
            f"The device was silent for up to {span(worst.length_s)} in EPR mode (at most "
            f"{timers.SINK_EPR_KEEP_ALIVE.max:g} ms are allowed), {times(len(late))}.",
        )


@rule(
    id="epr-keep-alive-unanswered", family="keep-alive", severity=Severity.FAIL,
    title="The charger does not answer the keep-alive",
    checks="The source answers EPR_KeepAlive with EPR_KeepAlive_Ack within tReceiverResponse.",
    why="The device must take the charger for crashed, resets, and the high voltage goes.",
    reference=_REF_ALIVE, next=todo.SOURCE_SILENT,
)
def epr_keep_alive_unanswered(case: Case) -> Iterator[Claim]:
    silent = [q for q in case.questions if topic(q.asked.message) == "EPR_KeepAlive" and unanswered(case, q)]
    if silent:
        reset = any(q.ended is Ended.RESET for q in silent)
        yield Claim(
            Who.SOURCE, silent[0].asked.settled_s,
            f"The charger acknowledged EPR_KeepAlive and did not answer it, {times(len(silent))}"
            f"{'; the device reset' if reset else ''}.",
            severity=None if reset else Severity.WARN,
        )


@rule(
    id="epr-entry-failed", family="epr", severity=Severity.INFO,
    title="EPR mode was refused",
    checks="What the source answers to EPR_Mode (Enter), and the cause that it gives.",
    why="Charging goes on with 20 V or less. The cause says what holds it back: often the cable.",
    reference=_REF_ENTRY, next=("Use a cable marked 240 W.", todo.OTHER_CHARGER),
)
def epr_entry_failed(case: Case) -> Iterator[Claim]:
    for one in reversed(case.conversation.exchanges):
        if topic(one.message) == "EPR_Mode Enter_Failed":
            cause = one.message.objects[0].get("failure_cause", "no cause given")
            asked = _last_request(case, one.start_s)
            if cause == FAILURE_CAUSES[_FLAG_MISSING] and asked is not None and asked.get("epr_capable") is False:
                yield Claim(
                    Who.SINK, one.start_s,
                    "The charger refused EPR mode: the device's Request had not said that the device is fit for it.",
                    severity=Severity.WARN,
                )
            else:
                yield Claim(None, one.start_s, f"The charger refused EPR mode: {cause}.")
            return


def _last_request(case: Case, before_s: float) -> DataObject | None:
    asked = [n.requested for n in case.conversation.negotiations
             if n.request is not None and n.request.start_s < before_s]
    return asked[-1] if asked else None


@rule(
    id="epr-mode-ignored", family="epr", severity=Severity.WARN,
    title="A port talks as if there were no EPR mode",
    checks="In EPR mode the sink asks with EPR_Request, the source offers with EPR_Source_Capabilities, and the "
    "mode is left with a contract of 20 V or less.",
    why="The other side has to reset, and the high voltage goes.",
    reference="USB PD, sections 6.4.9 (EPR_Request), 6.4.10.4 (EPR_Mode Exit) and 6.5.15", next=(todo.OTHER_CHARGER,),
)
def epr_mode_ignored(case: Case) -> Iterator[Claim]:
    talk = case.conversation
    asked = {q.then.start_s for q in case.questions if q.then is not None}
    for mode in modes(case):
        for one in talk.exchanges[talk.begun_before(mode.since_s) : talk.begun_by(mode.until_s)]:
            odd = None
            if one.name == "Request" and one.sender is Party.SINK:
                odd = "sent a Request in EPR mode, where an EPR_Request is due"
            elif one.name == "Source_Capabilities" and one.sender is Party.SOURCE and one.start_s not in asked:
                odd = "sent Source_Capabilities unasked in EPR mode"
            elif topic(one.message) == "EPR_Mode Exit" and _above_spr(case, one.start_s):
                odd = "leaves EPR mode while its contract is above 20 V"
            if odd is not None and not case.unreadable_between(mode.since_s, one.start_s - 1e-6):
                yield Claim(Who(one.sender.value), one.start_s, f"{NAME[one.sender]} {odd}.")
                return


def _above_spr(case: Case, at_s: float) -> bool:
    standing = [c for c in case.conversation.contracts if c.since_s < at_s <= (c.ended_s or at_s)]
    return bool(standing) and (standing[-1].voltage_mv or 0) > SPR_FIXED_HIGHEST_MV


@rule(
    id="epr-entry-unfinished", family="epr", severity=Severity.WARN,
    title="Entering EPR mode is begun and not finished",
    checks="EPR_Mode (Enter) is acknowledged, and within tEnterEPR the source says that entry succeeded or failed; "
    "then it sends its EPR offer.",
    why="The device waits for the high voltages in vain and in the end resets.",
    reference=_REF_ENTRY, next=(todo.OTHER_CHARGER,),
)
def epr_entry_unfinished(case: Case) -> Iterator[Claim]:
    for wait in _entry_waits(case):
        if wait.length_s > wait.allowed_s and not case.unreadable_between(wait.since_s, wait.until_s - 1e-6):
            yield Claim(
                Who.SOURCE, wait.since_s,
                f"After {wait.after} the charger sent no {wait.missing} for {span(wait.length_s)} (at most "
                f"{span(wait.allowed_s)}){'; then came a reset' if wait.reset else ''}.",
            )
            return


@dataclass(frozen=True)
class _EntryWait:
    """A wait for the source's next move on the way into EPR mode."""

    after: str
    missing: str
    since_s: float
    until_s: float
    allowed_s: float
    reset: bool

    @property
    def length_s(self) -> float:
        return self.until_s - self.since_s


def _entry_waits(case: Case) -> Iterator[_EntryWait]:
    talk = case.conversation
    ends = sorted([
        *(r.start_s for r in talk.hard_resets),
        *(e.start_s for e in talk.exchanges if e.name == "Soft_Reset" and e.sender is Party.SINK),
    ])
    for place, one in enumerate(talk.exchanges):
        name = topic(one.message)
        if name == "EPR_Mode Enter":
            limit, missing = timers.SENDER_RESPONSE_R3_1.max_s, ("EPR_Mode Enter_Acknowledged",)
        elif name == "EPR_Mode Enter_Acknowledged":
            limit, missing = timers.ENTER_EPR.max_s, ("EPR_Mode Enter_Succeeded",)
        elif name == "EPR_Mode Enter_Succeeded":
            limit, missing = timers.TYPE_C_SINK_WAIT_CAP.max_s, (LONG_OFFER,)
        else:
            continue
        if one.acknowledged_s is None:
            continue
        later = [e for e in talk.exchanges[place + 1 :] if e.sop is Sop.SOP and e.sender is Party.SOURCE]
        reset = next((r for r in ends if r > one.start_s), None)
        until = later[0].start_s if later else None
        if reset is not None and (until is None or reset < until):
            least = {"EPR_Mode Enter": timers.SENDER_RESPONSE_R2_0.min_s + _SLACK_S,
                     "EPR_Mode Enter_Succeeded": timers.TYPE_C_SINK_WAIT_CAP.min_s,
                     "EPR_Mode Enter_Acknowledged": timers.ENTER_EPR.min_s}.get(name, limit)
            yield _EntryWait(name, missing[0], one.settled_s, reset, least - _SLACK_S, True)
        elif until is None and case.plugged_in_at_end:
            yield _EntryWait(name, missing[0], one.settled_s, talk.duration_s, limit + _SLACK_S, False)
        elif until is not None and later[0].name not in (LONG_OFFER, "EPR_Mode", "Not_Supported"):
            yield _EntryWait(name, missing[0], one.settled_s, until, limit + _SLACK_S, False)


RULES: tuple[Rule, ...] = (
    epr_not_kept_alive, epr_keep_alive_late, epr_keep_alive_unanswered, epr_entry_failed, epr_mode_ignored,
    epr_entry_unfinished,
)
