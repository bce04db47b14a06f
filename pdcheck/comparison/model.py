"""What a comparison of two judged captures is made of.

Why it is: text and JSON show these objects and nothing else, and the tests compare them with what independent
libraries say of the same conversations.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from pdcheck.conversation.model import Conversation, Party
from pdcheck.line.model import LineReading
from pdcheck.messages.model import DataObject
from pdcheck.standard.line_code import Sop
from pdcheck.verdict import Outcome, Verdict


class Judged(Protocol):
    """A capture and its verdict: the report's plain data object is one."""

    @property
    def path(self) -> str: ...
    @property
    def reading(self) -> LineReading: ...
    @property
    def conversation(self) -> Conversation: ...
    @property
    def verdict(self) -> Verdict: ...


class Heard(StrEnum):
    """What stands where a move's acknowledgement should be. YES also where the capture cannot tell: only a proven
    silence is one."""

    YES = "acknowledged"
    WRONG_ID = "acknowledged with another MessageID"
    NO = "not acknowledged"


@dataclass(frozen=True)
class What:
    """What makes two moves the same move: who sends what, to whom, of what kind, and whether it was acknowledged.

    ``detail``: what a request asks for or which command a vendor message bears, in words; empty where the name says
    all.
    """

    sender: Party
    name: str
    sop: Sop | None
    detail: str
    heard: Heard

    @property
    def answered(self) -> bool:
        return self.heard is Heard.YES

    def says_the_same(self, other: What) -> bool:
        """True where only the acknowledgement may differ."""
        return self._said() == other._said()

    def same_subject(self, other: What) -> bool:
        """True for the same message of the same sender, whatever is in it."""
        return (self.sender, self.name, self.sop) == (other.sender, other.name, other.sop)

    def _said(self) -> tuple[Party, str, Sop | None, str]:
        return self.sender, self.name, self.sop, self.detail


@dataclass(frozen=True)
class Move:
    """One folded move: a message with its retries and acknowledgement, or a reset; repeats of a try are in it.

    ``by``: who made it, for a reset where its bit rate gives that away (then ``what`` does not say so). ``times``: how
    often the move was made one try after the other (or in a row). ``start_s`` and ``settled_s`` (the
    acknowledgement's end, or the message's) are those of the first, ``last_s`` is when the last had settled. Times in
    seconds from the start of its capture. ``sent``: packets, retries included. ``sure``: False where the capture
    cannot tell whether one of them was acknowledged. ``objects``: of the first. ``repeats``: what was folded into it,
    itself first (empty for what was made once), ``run``: how many moves the try has that was repeated, ``step``: which
    of them it is, from 0.
    """

    what: What
    by: Party
    start_s: float
    settled_s: float
    last_s: float
    times: int
    sent: int
    sure: bool
    objects: tuple[DataObject, ...]
    repeats: tuple[Move, ...] = ()
    run: int = 0
    step: int = 0


class Kind(StrEnum):
    """How a row of the alignment is."""

    SAME = "same"
    GOOD_ONLY = "good_only"
    BAD_ONLY = "bad_only"
    OTHERWISE = "otherwise"
    NOT_COMPARED = "not_compared"


@dataclass(frozen=True)
class Row:
    """One row of the alignment: a move of either side, or of both."""

    kind: Kind
    good: Move | None
    bad: Move | None


class Doubt(StrEnum):
    """Why a place where the conversations seem to part may be the capture's doing."""

    NONE = ""
    UNREADABLE = "packets that cannot be read, or are not in the capture, lie just there"
    ENDS = "the capture ends before the next move was due"
    MIDWAY = "the capture starts in the middle of things"
    NOTHING = "the capture shows no packet that can be read"


@dataclass(frozen=True)
class Parting:
    """A place where the two conversations part.

    ``whose``: the party whose move it was, None where neither side's capture tells. ``headline``: what the place is
    called, ``did_good`` and ``did_bad``: a sentence each. ``good_s`` and ``bad_s``: when it was done, None for what
    was not done. ``row``: index of its row; ``again``: index of the row at which they go on alike, None where they
    do not.
    """

    row: int
    whose: Party | None
    headline: str
    did_good: str
    did_bad: str
    good_s: float | None
    bad_s: float | None
    doubt: Doubt
    again: int | None = None


@dataclass(frozen=True)
class Content:
    """A difference in what was offered, asked for, or agreed. ``counts``: False where charging makes it vary."""

    topic: str
    good: str
    bad: str
    counts: bool
    good_s: float | None
    bad_s: float | None


class Placed(StrEnum):
    """Where the two sides of a measure lie by the standard."""

    BOTH_WITHIN = "both within the standard"
    GOOD_OUTSIDE = "the good one is outside"
    BAD_OUTSIDE = "the bad one is outside"
    BOTH_OUTSIDE = "both are outside"
    NO_LIMIT = "no limit"


@dataclass(frozen=True)
class Values:
    """What one side shows of a measure.

    ``typical``: their median. ``least`` and ``most``: how far the capture's own spread reaches, in the measure's unit:
    their range, or three scaled MADs around the median. ``resolution``: what the capture cannot resolve.
    """

    count: int
    typical: float
    low: float
    high: float
    least: float
    most: float
    resolution: float


@dataclass(frozen=True)
class Allowed:
    """A limit of the standard, in the measure's unit; None: no limit on that side."""

    low: float | None
    high: float | None
    words: str


@dataclass(frozen=True)
class Measure:
    """One timing or level on both sides. ``unit``: ``"s"``, ``"V"``, ``"A"``, ``"bit/s"`` or ``"share"``.

    ``differs``: by more than both sides' own spread. ``counts``: it differs and one side only is outside of what is
    allowed, so that it may be why one works and the other does not. ``why``: the criterion, in words.
    """

    id: str
    label: str
    unit: str
    good: Values | None
    bad: Values | None
    allowed: Allowed | None
    differs: bool
    placed: Placed
    counts: bool
    why: str


class Alike(StrEnum):
    """What a comparison comes to."""

    ALIKE = "alike"
    PART = "part"
    CANNOT_TELL = "cannot_tell"


@dataclass(frozen=True, eq=False)
class Comparison:
    """The whole comparison.

    ``partings`` in the order of the rows. ``first``: the one that matters first, None where there is none.
    ``notes``: what the reader should know about the pair (one file twice, the order, a good one that fails).
    ``next``: what to do, from the easiest on.
    ``not_compared``: what could not be compared, and why.
    """

    good: Judged
    bad: Judged
    outcome: Alike
    summary: str
    rows: tuple[Row, ...]
    partings: tuple[Parting, ...]
    first: Parting | None
    contents: tuple[Content, ...]
    measures: tuple[Measure, ...]
    notes: tuple[str, ...]
    next: tuple[str, ...]
    not_compared: tuple[str, ...]

    @property
    def swapped(self) -> bool:
        """True where GOOD fails and BAD passes."""
        return (self.good.verdict.outcome, self.bad.verdict.outcome) == (Outcome.FAIL, Outcome.PASS)
