"""Two lists of folded moves to one list of rows, by general sequence alignment.

Why it is: where two conversations part is a question about sequences, and the standard library answers it
(``difflib``). Here is only what is ours: which moves count as the same, and where a capture does not show enough to
say that a move is missing.
"""

from __future__ import annotations

from collections.abc import Sequence
from difflib import SequenceMatcher

from pdcheck.comparison.fold import repeats_before, split
from pdcheck.comparison.model import Doubt, Judged, Kind, Move, Row
from pdcheck.conversation.names import ANSWERS, OFFERS, REQUESTS
from pdcheck.rules import Case
from pdcheck.standard import timers

#: So many folded moves are aligned beyond what both begin with. Our own choice: alignment takes their product.
MOST_MOVES = 400
#: How long a sender may take over a move, by the longest that the standard lets the other side wait.
_DUE_S = {
    **dict.fromkeys(REQUESTS, timers.SENDER_RESPONSE_R3_1.max_s),
    **dict.fromkeys((*ANSWERS, "Not_Supported"), timers.SENDER_RESPONSE_R3_1.max_s),
    **dict.fromkeys(OFFERS, timers.SRC_RECOVER_SPR.max_s),
    "PS_RDY": timers.PS_TRANSITION_SPR.max_s,
    "Hard Reset": timers.NO_RESPONSE.max_s,
}


def align(good: Sequence[Move], bad: Sequence[Move]) -> tuple[tuple[Row, ...], bool]:
    """Rows in order, and whether the lists were too long to be aligned to their ends."""
    good, bad, same = _begin(list(good), list(bad))
    rows = [Row(Kind.SAME, g, b) for g, b in zip(good[:same], bad[:same], strict=True)]
    cut = max(len(good), len(bad)) - same > MOST_MOVES
    left, right = good[same : same + MOST_MOVES], bad[same : same + MOST_MOVES]
    matcher = SequenceMatcher(None, [m.what for m in left], [m.what for m in right], autojunk=False)
    for tag, g1, g2, b1, b2 in matcher.get_opcodes():
        if tag == "equal":
            rows += [Row(Kind.SAME, g, b) for g, b in zip(left[g1:g2], right[b1:b2], strict=True)]
        else:
            rows += _apart(left[g1:g2], right[b1:b2])
    return tuple(rows), cut


def _begin(good: list[Move], bad: list[Move]) -> tuple[list[Move], list[Move], int]:
    """Both lists, and how many moves they begin with alike.

    How often a try is repeated is no difference as long as both go on alike. Where they do not, the try that one side
    made once more is what the other did not do: there its fold is opened.
    """
    same = 0
    while True:
        while same < min(len(good), len(bad)) and good[same].what == bad[same].what:
            same += 1
        if same == len(good) == len(bad):
            return good, bad, same
        made = repeats_before(good, same), repeats_before(bad, same)
        opened = split(good, same, made[1]) if made[0] > made[1] else split(bad, same, made[0])
        if opened is None:
            return good, bad, same
        good, bad = (opened, bad) if made[0] > made[1] else (good, opened)


def _apart(good: Sequence[Move], bad: Sequence[Move]) -> list[Row]:
    """Rows of a stretch in which nothing is the same; the same message with another content shares a row."""
    rows: list[Row] = []
    both = 0
    while both < min(len(good), len(bad)) and good[both].what.same_subject(bad[both].what):
        rows.append(Row(Kind.OTHERWISE, good[both], bad[both]))
        both += 1
    rows += [Row(Kind.GOOD_ONLY, move, None) for move in good[both:]]
    rows += [Row(Kind.BAD_ONLY, None, move) for move in bad[both:]]
    return rows


class Shown:
    """What one side's capture shows around a row of the alignment."""

    def __init__(self, side: Judged) -> None:
        self.duration_s = side.conversation.duration_s
        self._midway = side.conversation.starts_midway
        self._case = Case.of(side.reading, side.conversation)

    def doubt(self, before: Move | None, after: Move | None, missing: Move, waited_s: float) -> Doubt:
        """Whether this side may have made a move that its capture does not show.

        :param before: the side's last move before the place, ``after``: its next one; None where there is none.
        :param missing: the move that the other side made there, ``waited_s`` seconds after its own last one.
        """
        if before is None:
            return Doubt.NOTHING if after is None else Doubt.MIDWAY if self._midway else Doubt.NONE
        due_s = max(_DUE_S.get(missing.what.name, 0.0), 2 * waited_s)
        from_s = before.settled_s if after is not None else before.last_s
        until_s = after.start_s if after is not None else min(self.duration_s, from_s + due_s)
        if self._case.unreadable_between(from_s, until_s):
            return Doubt.UNREADABLE
        if after is not None:
            return Doubt.NONE
        return Doubt.ENDS if self.duration_s - before.last_s <= due_s else Doubt.NONE
