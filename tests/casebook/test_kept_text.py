"""Saved readings in a case: a few lines to read at the bench, whatever somebody else's export holds."""

from __future__ import annotations

import json
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from pdcheck.casebook.kept_text import reading_texts, state_texts
from pdcheck.casebook.model import Reading
from tests.casebook.books import book_at, case, run
from tests.readings.tool import run as command

ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(),
    lambda inner: st.lists(inner) | st.dictionaries(
        st.text() | st.sampled_from(("readings", "contacts", "verdict", "summary", "state", "ohms", "cc1_v", "notes")),
        inner,
    ),
)


def test_readings_are_shown_in_words_and_not_as_json(tmp_path: Path) -> None:
    measured, pins, port = tmp_path / "m.json", tmp_path / "p.json", tmp_path / "port.csv"
    measured.write_text(command(
        "measure", "--side", "device", "--cc1", "0.41", "--cc2", "0", "--current", "30mA", "--ohm-cc1", "OL", "--json",
    ).stdout)
    port.write_text("contact,diode_v\nA5,0.612\nB5,OL\nA4,0.43\nB4,0.43\n")
    pins.write_text(command("pins", str(port), "--json").stdout)
    book = book_at(tmp_path / "b.db", case())
    assert run("edit", "1", "--reading", measured, "--reading", pins, book=book).exit_code == 0
    shown = run("show", "1", book=book).stdout
    assert "{" not in shown
    assert len(shown.splitlines()) <= 40
    assert "CC1 0.41 V, CC2 0 V" in shown and "current 30 mA" in shown and "CC1 OL" in shown
    assert "4 contacts read; B5 (CC2) open: OL" in shown
    whole = json.loads(run("show", "1", "--json", book=book).stdout)
    assert whole["readings"][0]["data"] == json.loads(measured.read_text()), "nothing of it is lost"


@given(ANYTHING)
def test_anything_can_be_shown(data: object) -> None:
    for text in reading_texts(Reading("measure", data)) + state_texts(json.dumps(data)):
        assert isinstance(text, str)


def test_a_state_that_was_set_aside_is_shown_by_what_was_said_in_it() -> None:
    body = json.dumps({"device": "tablet", "symptom": "dead", "done": "cleaned", "held": "no", "uuid": "x" * 36,
                       "notes": [{"text": "by phone", "at": "", "id": "1"}], "fingerprint": {"a": 1}})
    assert state_texts(body) == ["device: tablet; symptom: dead; done: cleaned; held: no; note: by phone"]
