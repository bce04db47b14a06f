"""What a row of the families is: a story, what a report may say of it, and the ports it needs.

Why it is: each family has a module of its own, and all are drawn, told and judged in the same way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.reference.faulty_talks import Expect
from tests.reference.world import World

Story = Callable[[World], str | None]


@dataclass(frozen=True)
class Row:
    """A story and what must come of it.

    only: "" for ports of any revisions, "R2" (both), "R3" (both) or "mixed". vbus: makes no sense without VBUS.
    current: nor without the current. apart: the two ports differ in
    bit rate by enough to tell whose reset it was.
    """

    tell: Story
    expect: Expect
    family: str
    only: str = ""
    vbus: bool = False
    current: bool = False
    apart: bool = False


Book = dict[str, Row]


def row(
    book: Book, family: str, expect: Expect, *, only: str = "", vbus: bool = False, current: bool = False,
    apart: bool = False,
) -> Callable[[Story], Story]:
    """Enters the story below into the book under its own name."""

    def enter(story: Story) -> Story:
        book[story.__name__] = Row(story, expect, family, only, vbus, current, apart)
        return story

    return enter


PASS = Expect(("pass",), (None,), (None,))
UNPLUGGED = Expect(("pass", "inconclusive"), not_suspects=("source", "sink", "cable"))
NOBODY = Expect(("fail", "inconclusive", "pass"), suspects=(None, "capture"))
UNSURE = Expect(("inconclusive",), suspects=(None, "capture", "link"))


def failed(stopped_at: str | tuple[str | None, ...], *suspects: str | None) -> Expect:
    """Verdict fail at that step, of that party (or one of several where the capture leaves it open)."""
    steps = (stopped_at,) if isinstance(stopped_at, str) else stopped_at
    return Expect(("fail",), steps, suspects)


def warned(*who: str, words: tuple[str, ...] = ()) -> Expect:
    """Charging survives; a warning names the party."""
    return Expect(("pass",), (None,), (None,), finding_who=who, finding_words=words)


def broken(*who: str, words: tuple[str, ...] = ()) -> Expect:
    """Charging survives, but a rule may hold it to be so bad that the verdict is fail; either names the party."""
    return Expect(("pass", "fail"), (), (None, *who), finding_who=who, finding_words=words)
