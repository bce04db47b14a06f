"""The conversation as rows along time: who said what to whom, and where it broke.

Why it is: the page's list, its pictures and its script all need the same rows: acknowledgements and retries folded
in, what could not be read among them, and the missing move standing where it should have been.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.conversation.model import Ending, Exchange, Negotiation, Party, Reset, Step
from pdcheck.conversation.steps import due_from, find_stop
from pdcheck.line.model import Packet
from pdcheck.messages.model import Message
from pdcheck.report.as_text import PORTS, STEP_TERMS, STEP_WORDS
from pdcheck.report.model import Report
from pdcheck.report.page.words import DOES, ENDED_BY, PARTY_WORDS, does, gist, heard
from pdcheck.rules.words import PARTY, span, times
from pdcheck.verdict import Outcome

#: Where more rows than this would be in the page's text, it holds those that matter. Our own choice.
ROWS_SHOWN = 90
_AROUND = 4


class Kind(StrEnum):
    """What a row is."""

    MESSAGE = "message"
    SIGNAL = "signal"
    UNREADABLE = "unreadable"
    BREAK = "break"


@dataclass(frozen=True)
class Row:
    """One row. ``heard``: ``"yes"``, ``"no"``, ``"unknown"`` or empty where nothing had to be acknowledged.

    ``receiver`` is UNKNOWN where everybody is meant or nobody knows. ``index``: of the first transmission, -1 for what
    is none.
    """

    kind: Kind
    start_s: float
    end_s: float
    sender: Party
    receiver: Party
    name: str
    does: str
    gist: str
    tries: int
    heard: str
    heard_words: str
    index: int
    message: Message | None
    on_cable: bool
    main: bool = False

    @property
    def often(self) -> str:
        """How often it was sent, where more than once."""
        return f"sent {times(self.tries)}" if self.tries > 1 else ""


@dataclass(frozen=True)
class Gap:
    """Rows that are left out of the page's text."""

    rows: int
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Talk:
    """All rows in time order. ``focus``: the stretch (seconds) that the verdict is about. ``break_s``: where it
    broke."""

    rows: tuple[Row, ...]
    focus: tuple[float, float]
    break_s: float | None


def talk_of(report: Report) -> Talk:
    """The rows of a report's conversation."""
    talk = report.conversation
    index = {id(t.packet): i for i, t in enumerate(talk.transmissions)}
    gists: dict[tuple[bytes, bool], str] = {}
    rows = [_message(one, index, gists) for one in talk.exchanges]
    rows += [_signal(one, index) for one in talk.resets]
    rows += [_unreadable(t.packet, index[id(t.packet)]) for t in talk.transmissions if not t.packet.intact]
    rows += [
        _blank(Kind.UNREADABLE, b.start_s, b.end_s, "something that could not be read")
        for b in talk.bursts if b.like_traffic
    ]
    breaks = _breaks(report)
    # A break stands behind what was said at its moment.
    rows = sorted([*rows, *breaks], key=lambda row: (row.start_s, row.kind is Kind.BREAK))
    main = next((row for row in breaks if row.main), None)
    return Talk(tuple(rows), _focus(report), main.start_s if main is not None else None)


def _message(one: Exchange, index: dict[int, int], gists: dict[tuple[bytes, bool], str]) -> Row:
    """The row of an exchange; ``gists`` keeps what messages say, since many say the same."""
    state, words = heard(one)
    to_cable = one.sop.to_cable
    key = (one.message.data, to_cable)
    said = gists.get(key)
    if said is None or one.message.name.endswith("Request"):
        # What a request asks for depends on the offer as well.
        said = gists[key] = gist(one)
    receiver = Party.CABLE if to_cable and one.sender is not Party.CABLE else one.sender.other
    if one.sender is Party.CABLE:
        receiver = Party.SOURCE
    return Row(
        Kind.MESSAGE, one.start_s, one.end_s, one.sender, receiver, one.name, does(one), said,
        len(one.transmissions), state, words, index[id(one.transmissions[0])], one.message, to_cable,
    )


def _signal(one: Reset, index: dict[int, int]) -> Row:
    name = one.packet.sop.value if one.packet.sop is not None else "Reset"
    return Row(
        Kind.SIGNAL, one.start_s, one.packet.end_s, one.sender, Party.UNKNOWN, name, DOES.get(name, ""),
        "" if one.sender is not Party.UNKNOWN else "who sent it cannot be told", 1, "", "", index[id(one.packet)],
        None, False,
    )


def _unreadable(packet: Packet, index: int) -> Row:
    why = packet.problem.value if packet.problem is not None else ""
    gist = f"read so far: {packet.data.hex(' ')}" if packet.data else ""
    return Row(
        Kind.UNREADABLE, packet.start_s, packet.end_s, Party.UNKNOWN, Party.UNKNOWN, "broken packet", why, gist, 1, "",
        "", index, None, False,
    )


def _blank(kind: Kind, start_s: float, end_s: float, name: str, gist: str = "", main: bool = False) -> Row:
    return Row(
        kind, start_s, end_s, Party.UNKNOWN, Party.UNKNOWN, name, "", gist, 1, "", "", -1, None, False, main,
    )


def _breaks(report: Report) -> list[Row]:
    """Rows for what did not happen, at the moment from which it was owed."""
    verdict = report.verdict
    if verdict.outcome is not Outcome.FAIL:
        return []
    stop = find_stop(report.conversation)
    if stop is None or verdict.stopped_at is not stop.step or stop.step is Step.DELIVERY:
        lead = verdict.leading
        if lead is None or lead.t_s is None:
            return []
        return [_blank(Kind.BREAK, lead.t_s, lead.t_s, "Here", lead.summary, True)]
    rows = []
    for one in stop.alike:
        if one.ending is Ending.CAPTURE_END and one is not stop.negotiation:
            continue
        due = due_from(one, stop.step)
        rows.append(_blank(
            Kind.BREAK, due, one.next_s, f"Missing here: {_missing_step(one, stop.step)}",
            _missing(report, one, one.next_s - due), one is stop.negotiation,
        ))
    return rows


def _missing_step(one: Negotiation, step: Step) -> str:
    """What did not happen; of a step that was made and not acknowledged, the acknowledgement."""
    made = {
        Step.REQUEST: one.request, Step.ACCEPT: one.answer if one.accepted else None, Step.READY: one.ready,
    }.get(step)
    if made is not None and not made.acknowledged:
        return f"the acknowledgement of {made.name} (GoodCRC)"
    return f"{STEP_WORDS[step]} ({STEP_TERMS[step]})"


def _missing(report: Report, one: Negotiation, waited_s: float) -> str:
    suspect = report.verdict.suspect
    said = f"Owed by {PARTY[suspect]}. " if suspect in PORTS and suspect is not None else ""
    if one.ending in (Ending.REJECT, Ending.WAIT):
        return f"{said}Instead came: {ENDED_BY[one.ending]}."
    return f"{said}After {span(waited_s)} came {ENDED_BY[one.ending]}."


def focus_try(report: Report) -> Negotiation | None:
    """The try that the verdict is about: where it stopped, else the one that made the contract."""
    talk = report.conversation
    stop = find_stop(talk)
    if stop is not None and report.verdict.outcome is not Outcome.PASS:
        return stop.negotiation
    since = report.verdict.contract.since_s if report.verdict.contract is not None else None
    made = next((n for n in talk.negotiations if n.ready is not None and n.ready.start_s == since), None)
    return made or (talk.negotiations[0] if talk.negotiations else None)


def _focus(report: Report) -> tuple[float, float]:
    talk = report.conversation
    one = focus_try(report)
    whole = (0.0, max(talk.duration_s, 1e-6))
    lead = report.verdict.leading
    if one is None:
        first = talk.transmissions[0].packet.start_s if talk.transmissions else None
        if first is None:
            return whole
        return _within(first - 0.01, first + 0.05, whole)
    start, end = one.start_s, max(one.next_s, one.start_s + 5e-3)
    if one.ready is not None:
        end = max(end, one.ready.end_s + 0.02)
    if report.verdict.outcome is Outcome.FAIL and lead is not None and lead.t_s is not None and lead.t_s > end:
        start, end = (start, lead.t_s) if lead.t_s - start < 1.0 else (lead.t_s - 0.15, lead.t_s + 0.05)
    margin = 0.06 * (end - start) + 1e-3
    return _within(start - margin, end + margin, whole)


def _within(start_s: float, end_s: float, whole: tuple[float, float]) -> tuple[float, float]:
    return max(whole[0], start_s), min(whole[1], max(end_s, start_s + 1e-4))


def shown(report: Report, talk: Talk, most: int = ROWS_SHOWN) -> tuple[Row | Gap, ...]:
    """The rows that the page's text holds: all where they are few, else the first try, the stretch that the verdict is
    about, what lies around each finding, and the end; with what is left out said in between."""
    rows = talk.rows
    if len(rows) <= most:
        return rows
    starts = [row.start_s for row in rows]
    keep: list[int] = []

    def take(first: int, last: int, room: int) -> None:
        for number in range(max(0, first), min(len(rows), last, first + room)):
            if number not in taken and len(keep) < most:
                taken.add(number)
                keep.append(number)

    taken: set[int] = set()
    marks = [talk.break_s] if talk.break_s is not None else []
    for moment in marks:
        place = bisect_left(starts, moment)
        take(place - 2 * _AROUND, place + 2 * _AROUND, 4 * _AROUND)
    take(bisect_left(starts, talk.focus[0]), bisect_right(starts, talk.focus[1]), most // 3)
    first = report.conversation.negotiations[0] if report.conversation.negotiations else None
    begin = bisect_left(starts, first.start_s - 1e-6) if first is not None else 0
    end = bisect_right(starts, first.next_s) if first is not None else _AROUND
    take(begin, end + 1, most // 4)
    take(0, _AROUND, _AROUND)
    take(len(rows) - _AROUND, len(rows), _AROUND)
    for finding in report.verdict.findings:
        if finding.t_s is not None:
            place = bisect_left(starts, finding.t_s)
            take(place - 2, place + 2, _AROUND)
    out: list[Row | Gap] = []
    before = 0
    for number in [*sorted(taken), len(rows)]:
        if number > before:
            out.append(Gap(number - before, rows[before].start_s, rows[number - 1].start_s))
        if number < len(rows):
            out.append(rows[number])
        before = number + 1
    return tuple(out)


def row_at(talk: Talk, t_s: float) -> int | None:
    """The row that a moment (seconds) belongs to; None where there is none."""
    starts = [row.start_s for row in talk.rows]
    place = bisect_right(starts, t_s + 1e-6) - 1
    return place if place >= 0 else (0 if talk.rows else None)


def silence_words(seconds: float) -> str:
    """A pause between two rows, empty where it is none worth a word."""
    return f"{span(seconds)} later" if seconds >= 5e-3 else ""


def title_of(row: Row) -> str:
    """A row in a line, for assistive tools."""
    sender = PARTY_WORDS[row.sender]
    if row.kind is Kind.BREAK:
        return f"{row.name}. {row.gist}"
    said = f"{sender}: {row.name}" if row.kind is not Kind.UNREADABLE else row.name
    return ", ".join(words for words in (said, row.often, row.heard_words) if words)
