"""Any two conversations, cut, begun late and with packets lost, can be compared and shown."""

from __future__ import annotations

import json
import random
from dataclasses import replace

import pytest

from pdcheck.comparison import Alike, compare, flipped
from pdcheck.comparison.model import Comparison, Doubt, Kind
from pdcheck.conversation.follow import follow_packets
from pdcheck.report.comparison_json import comparison_json, dumps, pair_json
from pdcheck.report.comparison_text import comparison_quiet, comparison_text, pair_quiet, pair_text
from pdcheck.report.model import Report
from pdcheck.verdict import Outcome
from tests.comparison.sides import judged
from tests.conversation.told import FAULTY, GOOD, Told, cut, faulty, good, late, without


def some(rng: random.Random) -> Told:
    """A conversation of any kind, whole or not."""
    name = rng.choice([*GOOD, *FAULTY])
    seed = rng.randrange(10_000)
    one = faulty(name, seed)[1] if name in FAULTY else good(name, seed)[1]
    how = rng.choice(("whole", "cut", "late", "lost"))
    if how == "cut":
        return cut(one, rng.uniform(0.0, one.duration_s))
    if how == "late":
        return late(one, rng.uniform(0.0, one.duration_s))
    for _ in range(rng.randint(1, 4) if how == "lost" and one.packets else 0):
        if one.packets:
            loss = rng.choice(("gone", "broken", "no start", "burst"))
            one = without(one, rng.randrange(len(one.packets)), loss, rng)
    return one


def consistent(a: Report, b: Report, found: Comparison) -> None:
    outcomes = (a.verdict.outcome, b.verdict.outcome)
    assert (found.outcome is Alike.CANNOT_TELL) or Outcome.INCONCLUSIVE not in outcomes
    if outcomes[0] is not outcomes[1] and Outcome.INCONCLUSIVE not in outcomes:
        assert found.outcome is Alike.PART
    if found.outcome is Alike.ALIKE:
        assert not any(c.counts for c in found.contents)
        assert all(p.doubt in (Doubt.ENDS, Doubt.MIDWAY) for p in found.partings)
    for parting in found.partings:
        assert parting.headline
        assert parting.did_good.endswith(".")
        assert parting.did_bad.endswith(".")
        assert "None" not in parting.did_good + parting.did_bad + parting.headline
        assert 0 <= parting.row < max(1, len(found.rows))
    for side, packets in (("good", a), ("bad", b)):
        moves = [m for row in found.rows if (m := getattr(row, side)) is not None]
        talk = packets.conversation
        assert sum(m.times for m in moves) == len(talk.exchanges) + len(talk.resets)
        starts = [m.start_s for m in moves]
        assert starts == sorted(starts)


@pytest.mark.parametrize("seed", range(4))
def test_any_pair(seed: int) -> None:
    rng = random.Random(f"any/{seed}")
    for _ in range(60):
        a, b = judged(some(rng)), judged(some(rng))
        found = compare(a, b)
        consistent(a, b, found)
        assert json.loads(dumps(comparison_json(found)))["outcome"] == found.outcome.value
        for text in (comparison_text(found, moves=True), comparison_text(found, width=50), comparison_quiet(found)):
            assert text.endswith("\n")
            assert "nan" not in text.split()
        pair = flipped(a, b)
        assert json.loads(dumps(pair_json([a, b], pair)))["pair"]["proof"] == pair.proof.value
        assert pair_text(pair).startswith("PLUG TURNED OVER")
        assert len(pair_quiet(pair).splitlines()) == 1


@pytest.mark.parametrize("seed", range(3))
def test_the_order_decides_nothing_but_the_words(seed: int) -> None:
    rng = random.Random(f"order/{seed}")
    for _ in range(40):
        a, b = judged(some(rng)), judged(some(rng))
        there, back = compare(a, b), compare(b, a)
        assert there.outcome is back.outcome
        assert len(there.measures) == len(back.measures)
        assert [m.differs for m in there.measures] == [m.differs for m in back.measures]
        alike = [sum(r.kind is Kind.SAME for r in found.rows) for found in (there, back)]
        assert min(alike) > 0 or max(alike) == 0


def test_a_conversation_is_alike_with_itself() -> None:
    rng = random.Random("self")
    for _ in range(80):
        one = judged(some(rng))
        found = compare(one, one)
        assert found.partings == ()
        assert found.contents == ()
        assert not any(m.differs for m in found.measures)
        assert found.outcome is (
            Alike.CANNOT_TELL if one.verdict.outcome is Outcome.INCONCLUSIVE else Alike.ALIKE
        )


@pytest.mark.parametrize("messages", [3_000, pytest.param(50_000, marks=pytest.mark.long)])
def test_a_long_conversation_is_a_few_moves(messages: int) -> None:
    """A programmable contract that is renewed for days, against one that is renewed half as often."""
    _, one, _ = good("pps_kept_alive", 1)
    ready = [n for n, name in enumerate(one.names) if name == "PS_RDY"]
    begin, end = ready[0] + 2, ready[1] + 2
    block, names = one.packets[begin:end], one.names[begin:end]
    length = one.packets[end - 1].end_s - one.packets[begin - 1].end_s

    def renewed(often: int) -> Report:
        packets, labels = list(one.packets[:begin]), list(one.names[:begin])
        for turn in range(often):
            packets += [p._replace(start_s=p.start_s + turn * length, end_s=p.end_s + turn * length) for p in block]
            labels += names
        whole = replace(one, packets=tuple(packets), names=tuple(labels), vbus=None, bursts=(),
                        duration_s=packets[-1].end_s + 1.0)
        assert follow_packets(packets, (), whole.duration_s).contracts
        return judged(whole)

    many, fewer = renewed(messages // 6), renewed(messages // 12)
    assert len(many.conversation.transmissions) > 0.98 * messages
    found = compare(many, fewer)
    assert found.outcome is Alike.ALIKE
    assert len(found.rows) < 12
