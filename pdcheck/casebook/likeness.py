"""How alike a case is to what lies on the bench, and in which respects.

Why it is: "this looks like case 7" helps only with its reason. Each respect has a weight that can be read here, gives
a degree from 0 to 1, and says in words what it found; the score is their weighted mean. No learning, no chance: the
same question gets the same answer.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cached_property

from pdcheck.casebook.fingerprint import Fingerprint
from pdcheck.casebook.levels import current_class
from pdcheck.casebook.model import KeptCase

#: How much each respect counts. What decided the verdict counts most, for it is nearest to the cause.
WEIGHTS = {
    "words": 25,
    "leading rule": 25,
    "stopped at": 20,
    "symptom": 15,
    "device": 10,
    "suspect": 10,
    "verdict": 10,
    "rules": 10,
    "power": 8,
    "current": 7,
    "timing": 5,
}
#: Times within the first factor are alike, within the second half alike; what is shorter than this is alike anyway.
_ALIKE, _HALF_ALIKE, _SHORT_S = 1.5, 3.0, 5e-3
#: What is less alike than this is not alike.
_FAINT = 0.1
#: Words that say nothing, and units that belong to the number before them.
_EMPTY = frozenset((
    "a", "an", "and", "at", "but", "by", "does", "for", "from", "in", "is", "it", "its", "of", "on", "or", "so", "the",
    "this", "to", "when", "with",
))
_UNITS = frozenset(("v", "mv", "a", "ma", "w", "mw", "ohm", "kohm", "ohms", "hz", "khz", "s", "ms", "us", "mm"))
_WORD = re.compile(r"[^\W_]+(?:(?<=\d)\.(?=\d)[^\W_]+)*")
#: How far a typing error may go: difflib's ratio, for words of five letters or more.
_ENDINGS = ("ing", "ed", "es", "e", "s")
_TYPO, _TYPO_LETTERS, _STEM_LETTERS = 0.82, 5, 4


@dataclass(frozen=True)
class Query:
    """What is looked for: a capture's fingerprint, a device, a symptom, any words; each may be missing."""

    fingerprint: Fingerprint | None = None
    device: str = ""
    symptom: str = ""
    words: str = ""
    leave_out: str | None = None

    @cached_property
    def tokens(self) -> dict[str, tuple[str, ...]]:
        return {name: tokens(getattr(self, name)) for name in ("device", "symptom", "words")}

    @property
    def empty(self) -> bool:
        """True where nothing is looked for."""
        return self.fingerprint is None and not any(self.tokens.values())


@dataclass(frozen=True)
class Respect:
    """One respect in which two were compared: its weight, degree (0 to 1), and what was found, in words."""

    name: str
    weight: int
    degree: float
    words: str


@dataclass(frozen=True)
class Match:
    """A case and how alike it is: ``score`` from 0 to 1."""

    case: KeptCase
    score: float
    respects: tuple[Respect, ...]

    @property
    def percent(self) -> int:
        return round(self.score * 100)


def rank(query: Query, cases: Iterable[KeptCase]) -> list[Match]:
    """The cases that are alike at all, the most alike first; of equals the latest."""
    matches = [compare(query, case) for case in cases if case.uuid != query.leave_out]
    return sorted((m for m in matches if m.score >= _FAINT), key=lambda m: (-round(m.score, 9), -(m.case.number or 0)))


def compare(query: Query, case: KeptCase) -> Match:
    """One case against the query. What the query knows and the case does not counts against it."""
    respects = tuple(_respects(query, case))
    weight = sum(r.weight for r in respects)
    return Match(case, sum(r.weight * r.degree for r in respects) / weight if weight else 0.0, respects)


def tokens(text: str) -> tuple[str, ...]:
    """The words of a text that say something, in their order, each once and without case; ``30 mA`` is one word."""
    out: list[str] = []
    for word in _WORD.findall(text.casefold()):
        if out and word in _UNITS and out[-1][-1].isdigit():
            out[-1] += word
        elif word not in _EMPTY:
            out.append(word)
    return tuple(dict.fromkeys(out))


def _respects(query: Query, case: KeptCase) -> Iterator[Respect]:
    mine = query.fingerprint
    if mine is not None:
        if case.fingerprint is None:
            weight = sum(WEIGHTS[n] for n in ("verdict", "leading rule", "stopped at", "suspect", "rules"))
            yield Respect("capture", weight, 0.0, "the case has no capture")
        else:
            yield from _captures(mine, case.fingerprint)
    whole_text = " ".join((
        case.device, case.symptom, case.done, *(n.text for n in case.notes), case.part.words if case.part else "",
    ))
    for name, theirs in (("device", case.device), ("symptom", case.symptom), ("words", whole_text)):
        wanted = query.tokens[name]
        if wanted:
            found = _found(wanted, tokens(theirs))
            words = f"{name}: {', '.join(found)}" if found else f"{name}: nothing in common"
            yield Respect(name, WEIGHTS[name], len(found) / len(wanted), words)


def _captures(mine: Fingerprint, theirs: Fingerprint) -> Iterator[Respect]:
    yield _same("verdict", mine.verdict, theirs.verdict, "verdict {}")
    if mine.leading or theirs.leading:
        yield _same("leading rule", mine.leading, theirs.leading, "rule {}")
    if mine.stopped_at or theirs.stopped_at:
        yield _same("stopped at", mine.stopped_at, theirs.stopped_at, "stopped at {}")
    if mine.suspect or theirs.suspect:
        yield _same("suspect", mine.suspect, theirs.suspect, "suspect {}")
    if mine.rules or theirs.rules:
        a, b = {rule for rule, _ in mine.rules}, {rule for rule, _ in theirs.rules}
        degree = len(a & b) / len(a | b)
        yield Respect("rules", WEIGHTS["rules"], degree, "the same rules fired" if degree == 1.0 else (
            f"{len(a & b)} of {len(a | b)} rules that fired in common"))
    power = _power(mine, theirs)
    if power is not None:
        yield power
    if mine.current_ma is not None:
        if theirs.current_ma is None:
            yield Respect("current", WEIGHTS["current"], 0.0, "no current known")
        else:
            yield _same("current", current_class(mine.current_ma), current_class(theirs.current_ma), "current: {}")
    timing = _timing(mine, theirs)
    if timing is not None:
        yield timing


def _same(name: str, mine: str | None, theirs: str | None, words: str) -> Respect:
    if mine == theirs:
        return Respect(name, WEIGHTS[name], 1.0, words.format(mine))
    return Respect(name, WEIGHTS[name], 0.0, words.format(f"{theirs or 'none'}, not {mine or 'none'}"))


def _power(mine: Fingerprint, theirs: Fingerprint) -> Respect | None:
    """The contract where there is one, else how high the offer went."""
    def level(one: Fingerprint) -> tuple[str, int] | None:
        if one.contract is not None and one.contract.max_mv is not None:
            return "contract", one.contract.max_mv
        highest = max((o.max_mv for o in one.offered if o.max_mv is not None), default=None)
        return None if highest is None else ("offer up to", highest)

    a, b = level(mine), level(theirs)
    if a is None:
        return None
    if b is None:
        return Respect("power", WEIGHTS["power"], 0.0, "no offer seen")
    if a == b:
        return Respect("power", WEIGHTS["power"], 1.0, f"{a[0]} {a[1] / 1000:.4g} V")
    words = f"{b[0]} {b[1] / 1000:.4g} V, not {a[0]} {a[1] / 1000:.4g} V"
    return Respect("power", WEIGHTS["power"], 0.5 if a[1] == b[1] else 0.0, words)


def _timing(mine: Fingerprint, theirs: Fingerprint) -> Respect | None:
    a, b = dict(mine.timings), dict(theirs.timings)
    both = [name for name in a if name in b]
    if not both:
        return None
    degrees = {name: _near(a[name], b[name]) for name in both}
    alike = [name for name in both if degrees[name] == 1.0]
    words = f"times alike: {', '.join(alike)}" if alike else "times differ"
    return Respect("timing", WEIGHTS["timing"], sum(degrees.values()) / len(both), words)


def _near(a: float, b: float) -> float:
    low, high = sorted((max(a, _SHORT_S), max(b, _SHORT_S)))
    return 1.0 if high <= _ALIKE * low else 0.5 if high <= _HALF_ALIKE * low else 0.0


def _found(wanted: Sequence[str], there: Sequence[str]) -> list[str]:
    return [word for word in wanted if any(_alike(word, other) for other in there)]


def _alike(a: str, b: str) -> bool:
    if a == b:
        return True
    short, long = sorted((_stem(a), _stem(b)), key=len)
    if any(c.isdigit() for c in a + b):
        # 9V is not 5V, and M2 is not M3.
        return False
    if len(short) >= _STEM_LETTERS and long.startswith(short):
        return True
    if len(short) < _TYPO_LETTERS or len(long) - len(short) > 2:
        return False
    return SequenceMatcher(None, short, long, autojunk=False).ratio() >= _TYPO


def _stem(word: str) -> str:
    """The word without its ending: charge, charges, charged and charging are one."""
    for ending in _ENDINGS:
        if word.endswith(ending) and len(word) - len(ending) >= _STEM_LETTERS:
            return word[: -len(ending)]
    return word
