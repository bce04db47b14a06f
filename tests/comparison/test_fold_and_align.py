"""Folding against regular expressions, alignment against prefixes and an arithmetic of its own."""

from __future__ import annotations

import re
from functools import cache
from itertools import takewhile

from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.comparison.align import MOST_MOVES, align
from pdcheck.comparison.fold import LONGEST_TRY, fold
from pdcheck.comparison.model import Heard, Kind, Move, What
from pdcheck.conversation.model import Party
from pdcheck.standard.line_code import Sop

LETTERS = "abcd"
WORDS = st.text(LETTERS, max_size=40)
TRIES = st.lists(st.tuples(st.text(LETTERS, min_size=1, max_size=5), st.integers(1, 6)), max_size=8)


def moves(text: str) -> list[Move]:
    """A move for each letter, a second apart."""
    return [
        Move(What(Party.SOURCE, letter, Sop.SOP, "", Heard.YES), Party.SOURCE, n, n + 0.25, n + 0.25, 1, 1, True, ())
        for n, letter in enumerate(text)
    ]


def letters(some: tuple[Move, ...] | list[Move]) -> str:
    return "".join(m.what.name for m in some)


def folded_by_re(text: str) -> str:
    """Shortest runs first, by the standard library's regular expressions."""
    for length in range(1, LONGEST_TRY + 1):
        text = re.sub(rf"(.{{{length}}})\1+", r"\1", text)
    return text


@given(st.one_of(WORDS, TRIES.map(lambda tries: "".join(text * often for text, often in tries))))
@settings(max_examples=400, deadline=None)
def test_folding_is_what_regular_expressions_fold(text: str) -> None:
    found = fold(moves(text))
    assert letters(found) == folded_by_re(text)
    assert sum(m.times for m in found) == len(text)
    assert sum(m.sent for m in found) == len(text)


@given(st.text(LETTERS, min_size=1, max_size=6), st.integers(1, 30))
@settings(max_examples=200, deadline=None)
def test_a_try_made_often_is_one_try(text: str, often: int) -> None:
    assert letters(fold(moves(text * often))) == letters(fold(moves(folded_by_re(text) * often)))
    assert {m.what for m in fold(moves(text * often))} == {m.what for m in moves(text)}


def test_times_of_the_first_and_of_the_last_stay() -> None:
    found = fold(moves("xabababy"))
    assert letters(found) == "xaby"
    first = found[1]
    assert (first.start_s, first.settled_s, first.last_s, first.times) == (1, 1.25, 5.25, 3)


@cache
def longest_common(a: str, b: str) -> int:
    """The length of the longest common subsequence, by its definition."""
    if not a or not b:
        return 0
    if a[0] == b[0]:
        return 1 + longest_common(a[1:], b[1:])
    return max(longest_common(a[1:], b), longest_common(a, b[1:]))


@given(st.text(LETTERS, max_size=9), st.text(LETTERS, max_size=9))
@settings(max_examples=300, deadline=None)
def test_rows_hold_both_sides_in_order_and_part_at_the_first_difference(a: str, b: str) -> None:
    rows, cut = align(moves(a), moves(b))
    assert not cut
    assert letters([r.good for r in rows if r.good is not None]) == a
    assert letters([r.bad for r in rows if r.bad is not None]) == b
    alike = [r for r in rows if r.kind is Kind.SAME]
    assert len(alike) <= longest_common(a, b)
    begin = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(a, b, strict=False)))
    assert len(alike) >= begin
    first = next((n for n, r in enumerate(rows) if r.kind is not Kind.SAME), len(rows))
    assert first == begin


@given(st.text("ab", min_size=1, max_size=4), st.integers(1, 6), st.integers(1, 6), st.sampled_from(["c", "d", ""]))
@settings(max_examples=200, deadline=None)
def test_how_often_a_try_was_made_is_no_difference(text: str, once: int, often: int, end: str) -> None:
    rows, _ = align(fold(moves("c" + text * once + end)), fold(moves("c" + text * often + end)))
    assert [r for r in rows if r.kind is not Kind.SAME] == []


def test_they_part_where_one_makes_the_try_once_more() -> None:
    """Good renews (b, c) four times, bad twice and then does something else."""
    rows, _ = align(fold(moves("abcbcbcbc")), fold(moves("abcbcx")))
    first = next(r for r in rows if r.kind is not Kind.SAME)
    assert first.good is not None
    assert (first.good.what.name, first.good.start_s) == ("b", 5)
    rows, _ = align(fold(moves("abcbcbcbc")), fold(moves("abcbcbx")))
    first = next(r for r in rows if r.kind is not Kind.SAME)
    assert first.good is not None
    assert (first.good.what.name, first.good.start_s) == ("c", 6)


def test_lists_that_are_too_long_are_cut_and_said_to_be() -> None:
    def long(seed: str) -> list[Move]:
        return moves("".join(seed[(n * n) % len(seed)] for n in range(3 * MOST_MOVES)))

    rows, cut = align(moves("ab") + long("abcdefg"), moves("ab") + long("hijklmn"))
    assert cut
    assert letters([r.good for r in rows[:2] if r.good is not None]) == "ab"
    assert len(rows) <= 2 + 2 * MOST_MOVES
