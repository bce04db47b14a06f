"""The few rules of triage: cleared, suspect, disputed, untouched; and what splits the rest."""

from __future__ import annotations

from random import Random

from hypothesis import given
from hypothesis import strategies as st

from pdcheck.report.as_json import blocks_json
from pdcheck.report.blocks_text import MOST_LINES, blocks_lines, blocks_sentence
from pdcheck.triage import Block, BlockState, Evidence, Source, triage
from pdcheck.triage import measurements as todo

B = Block


def clears(*blocks: Block, text: str = "seen to work") -> Evidence:
    return Evidence(Source.METER, text, clears=frozenset(blocks))


def suspects(*blocks: Block, text: str = "seen to fail", done: tuple[str, ...] = ()) -> Evidence:
    return Evidence(Source.CAPTURE, text, suspects=frozenset(blocks), done=frozenset(done))


def test_without_evidence_nothing_is_known() -> None:
    found = triage([])
    assert found.of(BlockState.UNTOUCHED) == tuple(Block)
    assert found.next == ()
    assert blocks_lines(found, 80) == []
    assert blocks_sentence(found) is None


def test_each_block_has_the_state_that_its_evidence_gives() -> None:
    found = triage([clears(B.CHARGER, B.CABLE), suspects(B.CHIP, B.CABLE)])
    assert found.of(BlockState.CLEARED) == (B.CHARGER,)
    assert found.of(BlockState.DISPUTED) == (B.CABLE,)
    assert found.of(BlockState.SUSPECT) == (B.CHIP,)
    assert B.BATTERY in found.of(BlockState.UNTOUCHED)
    assert found.left == (B.CABLE, B.CHIP)


def test_contradicting_evidence_is_all_shown_however_often_one_side_is_said() -> None:
    many = [clears(B.PORT, text=f"works {n}") for n in range(5)]
    found = triage([*many, suspects(B.PORT, text="but fails here")])
    assert found.of(BlockState.DISPUTED) == (B.PORT,)
    port = next(b for b in blocks_json(found) if b["block"] == "port_contacts")
    assert [e["says"] for e in port["evidence"]] == ["clears"] * 5 + ["suspects"]
    text = " ".join(" ".join(blocks_lines(found, 80)).split())
    assert "works 0" in text and "against it: but fails here" in text


def test_what_splits_the_suspects_comes_first_and_what_was_done_does_not_come_again() -> None:
    found = triage([suspects(B.PORT, B.CC_PATH, B.CHIP, B.CHIP_SUPPLY)])
    assert found.next[0] == todo.FLIP
    found = triage([suspects(B.PORT, B.CC_PATH, B.CHIP, B.CHIP_SUPPLY, done=("capture", "flip", "vbus", "cc_volts"))])
    assert found.next[0] == todo.PINS
    found = triage([suspects(B.CHIP, B.CHIP_SUPPLY, done=("capture",))])
    assert found.next == (todo.CHIP_SUPPLY,)


def test_a_single_suspect_is_confirmed_or_cleared_by_the_easiest() -> None:
    assert triage([suspects(B.CHARGER)]).next[0] == todo.OTHER_CHARGER
    assert triage([suspects(B.BATTERY)]).next[0] == todo.BATTERY_VOLTS


def test_every_block_but_the_chip_has_something_that_tells_of_it_alone_or_nearly() -> None:
    told = {block: min(len(m.tells) for m in todo.ALL if block in m.tells) for block in Block}
    assert set(told) == set(Block)
    for block in (B.CHIP_SUPPLY, B.VBUS_SWITCH, B.CHARGER_STAGE, B.BATTERY):
        assert told[block] == 1
    assert len({m.name for m in todo.ALL}) == len(todo.ALL)


evidences = st.lists(st.builds(
    Evidence, st.sampled_from(Source), st.text(alphabet="abc def", min_size=1, max_size=120),
    st.frozensets(st.sampled_from(Block)), st.frozensets(st.sampled_from(Block)),
    done=st.frozensets(st.sampled_from([m.name for m in todo.ALL])),
), max_size=6)


@given(evidences, st.randoms())
def test_the_order_of_the_evidence_changes_no_state(seen: list[Evidence], random: Random) -> None:
    found = triage(seen)
    shuffled = list(seen)
    random.shuffle(shuffled)
    assert [b.state for b in triage(shuffled).blocks] == [b.state for b in found.blocks]
    assert triage(seen + seen).blocks == found.blocks, "said twice is not said louder"
    for result in found.blocks:
        clearing = any(result.block in e.clears for e in seen)
        pointing = any(result.block in e.suspects for e in seen)
        assert (result.state is BlockState.SUSPECT) == (pointing and not clearing)
        assert (result.state is BlockState.CLEARED) == (clearing and not pointing)
    done = {name for e in seen for name in e.done}
    assert not {m.name for m in found.next} & done
    for measurement in found.next:
        assert measurement.tells & set(found.left)


@given(evidences, st.integers(40, 100))
def test_the_table_fits(seen: list[Evidence], width: int) -> None:
    lines = blocks_lines(triage(seen), width)
    assert all(len(line) <= width for line in lines)


def test_the_table_has_at_most_its_lines_at_80_columns() -> None:
    long = "a very long sentence on what was seen " * 6
    found = triage([clears(B.CHARGER, text=long), suspects(B.CHIP, B.CHIP_SUPPLY, text=long + "more")])
    lines = blocks_lines(found, 80)
    assert len(lines) <= MOST_LINES
    assert any("negotiating chip" in line for line in lines)
