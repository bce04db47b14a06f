"""Contact readings against each other and against a known-good board."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.bench.pin_file import PinReading, PinReadings
from pdcheck.bench.pins import judge_pins
from pdcheck.bench.pins_json import pins_json
from pdcheck.bench.pins_text import pins_text
from pdcheck.standard.contacts import ALL
from tests.readings.tool import blocks, rules, run

#: An invented board: diode-mode volts by signal; what it does not name is open.
BOARD = {
    "GND": 0.001, "VBUS": 0.482, "CC1": 0.611, "CC2": 0.613, "D+1": 0.52, "D+2": 0.521, "D-1": 0.52, "D-2": 0.522,
    "SBU1": 0.7, "SBU2": 0.71, "RX1+": 0.45, "RX1-": 0.45, "RX2+": 0.45, "RX2-": 0.45,
}
OL = float("inf")
DATA = [c.name for c in ALL if c.net.value in ("D+", "D-", "SBU")]
PAIRS = [c.name for c in ALL if c.net.high_speed]


def board(changes: Mapping[str, float | None] | None = None, path: str = "port.csv") -> PinReadings:
    """The invented board with some contacts changed (None: not measured)."""
    readings = []
    for contact in ALL:
        value: float | None = BOARD.get(contact.signal, OL)
        if changes is not None and contact.name in changes:
            value = changes[contact.name]
        if value is not None:
            readings.append(PinReading(contact, value))
    return PinReadings(path, tuple(readings))


def judged(changes: Mapping[str, float | None], *, good: bool = False) -> dict[str, Any]:
    return pins_json(judge_pins(board(changes), board(path="good.csv") if good else None))


@pytest.mark.parametrize(("changes", "verdict", "rule", "suspects"), [
    ({}, "pass", None, set()),
    ({"B5": OL}, "fail", "contact-open", {"port_contacts", "cc_path", "negotiating_chip"}),
    ({"A5": 0.003}, "fail", "contact-short", {"port_contacts", "cc_path", "negotiating_chip"}),
    ({"A1": OL}, "fail", "contact-open", {"port_contacts"}),
    ({"B9": OL}, "fail", "contact-open", {"port_contacts"}),
    (dict.fromkeys(("A4", "A9", "B4", "B9"), 0.004), "fail", "contact-short",
     {"port_contacts", "vbus_switch", "charger_stage"}),
    ({"A5": 0.482}, "inconclusive", "contacts-differ", {"port_contacts", "cc_path", "negotiating_chip"}),
    ({"B4": 0.8}, "inconclusive", "contacts-differ", {"port_contacts", "vbus_switch", "charger_stage"}),
    ({"A5": OL, "B5": OL}, "inconclusive", "both-open", set()),
    ({"A5": OL, "B5": None}, "inconclusive", "both-open", set()),
    (dict.fromkeys(("A1", "A12", "B1", "B12"), OL), "inconclusive", "no-ground", set()),
    (dict.fromkeys(("B1", "B4", "B5"), OL), "fail", "row-open", {"port_contacts", "cc_path", "negotiating_chip"}),
    ({"A6": OL}, "fail", "contact-open", set()),
    ({"A7": 0.001}, "fail", "contact-short", set()),
    ({"A8": 0.3}, "pass", "data-contacts-differ", set()),
    ({"B10": OL}, "pass", "data-contacts-differ", set()),
    (dict.fromkeys(PAIRS, OL), "pass", "not-fitted", set()),
    (dict.fromkeys(PAIRS), "pass", None, set()),
    (dict.fromkeys((*PAIRS, *DATA)), "pass", None, set()),
])
def test_by_symmetry(
    changes: dict[str, float | None], verdict: str, rule: str | None, suspects: set[str],
) -> None:
    out = judged(changes)
    assert out["verdict"] == verdict
    assert rules(out)[:1] == ([rule] if rule is not None else [])
    assert blocks(out, "suspect") == suspects


@pytest.mark.parametrize(("apart", "rule"), [(0.05, None), (0.0612, "contacts-differ"), (0.07, "contacts-differ")])
def test_the_limit_of_differing_is_our_own_and_holds(apart: float, rule: str | None) -> None:
    """More than 0.05 V and more than 10 %: on 0.5 V the two meet."""
    out = judged({"A5": 0.5, "B5": round(0.5 + apart, 4)})
    assert rules(out)[:1] == ([rule] if rule is not None else [])
    assert out["limits"]["source"] == "our own choice"
    assert rules(judged({"A5": 1.5, "B5": 1.6})) == [], "more than 0.05 V, less than 10 %"


@pytest.mark.parametrize(("changes", "verdict", "rule"), [
    ({}, "pass", None),
    ({"A5": OL, "B5": OL}, "fail", "open-against-good"),
    ({"A5": 0.8, "B5": 0.8}, "inconclusive", "differs-from-good"),
    (dict.fromkeys(("A4", "A9", "B4", "B9"), 0.001), "fail", "contact-short"),
    ({"A8": 0.9, "B8": 0.9}, "pass", "differs-from-good"),
    ({"A2": 0.4, "A3": 0.4, "B2": 0.4, "B3": 0.4}, "pass", "differs-from-good"),
])
def test_against_a_known_good_board(changes: dict[str, float | None], verdict: str, rule: str | None) -> None:
    out = judged(changes, good=True)
    assert out["verdict"] == verdict
    assert rules(out)[:1] == ([rule] if rule is not None else [])


def test_a_board_that_differs_by_design_is_cleared_by_a_good_one() -> None:
    """CC1 and CC2 read differently on both boards: what symmetry calls a difference is none."""
    ours, good = board({"A5": 0.45}), board({"A5": 0.45}, "good.csv")
    assert judge_pins(ours).outcome.value == "inconclusive"
    out = pins_json(judge_pins(ours, good))
    assert next(c for c in out["contacts"] if c["contact"] == "A5")["state"] == "fine"
    assert out["verdict"] == "pass"


def test_readings_alike_clear_the_port_and_with_a_good_board_the_cc_path() -> None:
    assert blocks(judged({}), "cleared") == {"port_contacts"}
    assert blocks(judged({}, good=True), "cleared") == {"port_contacts", "cc_path"}
    assert blocks(judged({"A9": None}), "cleared") == set(), "a contact that was not measured clears nothing"


@pytest.mark.parametrize(("changes", "port"), [
    ({}, "full"), (dict.fromkeys(PAIRS), "usb2"), (dict.fromkeys(PAIRS, OL), "usb2"),
    (dict.fromkeys((*PAIRS, *DATA)), "power_only"),
])
def test_what_kind_of_port_it_is(changes: dict[str, float | None], port: str) -> None:
    assert judged(changes)["port"] == port


def test_readings_of_two_kinds_are_not_compared() -> None:
    by = {c.name: c for c in ALL}
    mixed = PinReadings("x", (PinReading(by["A5"], 0.6), PinReading(by["B5"], None, OL)))
    out = pins_json(judge_pins(mixed))
    assert (out["verdict"], rules(out)) == ("inconclusive", ["both-open"])
    good = PinReadings("y", (PinReading(by["A5"], None, 5100.0),))
    out = pins_json(judge_pins(PinReadings("x", (PinReading(by["A5"], 0.6),)), good))
    assert (out["verdict"], rules(out)) == ("inconclusive", ["not-compared"])


@pytest.mark.parametrize(("one", "other", "rule"), [
    (5100.0, 5400.0, None), (5100.0, 7700.0, "contacts-differ"), (5100.0, OL, "contact-open"),
    (5100.0, 8.0, "contact-short"),
])
def test_ohms(one: float, other: float, rule: str | None) -> None:
    by = {c.name: c for c in ALL}
    out = pins_json(judge_pins(PinReadings("x", (PinReading(by["A5"], None, one), PinReading(by["B5"], None, other)))))
    assert rules(out)[:1] == ([rule] if rule is not None else [])


reading = st.none() | st.sampled_from([0.0, 0.02, 0.021, 0.5, 0.6, 3.9, OL])
ohms = st.none() | st.sampled_from([0.0, 10.0, 10.1, 5100.0, 1e6, OL])


@settings(max_examples=200)
@given(st.lists(st.tuples(reading, ohms), min_size=24, max_size=24), st.booleans(), st.integers(20, 120))
def test_any_board_is_judged(values: list[tuple[float | None, float | None]], good: bool, width: int) -> None:
    ours = PinReadings("x", tuple(
        PinReading(c, d, o) for c, (d, o) in zip(ALL, values, strict=True) if d is not None or o is not None
    ))
    found = judge_pins(ours, board(path="good.csv") if good else None)
    out = pins_json(found)
    assert json.dumps(out, allow_nan=False)
    assert len(out["contacts"]) == 24
    assert (out["verdict"] == "fail") == any(f.effect.name == "CONVICTS" for f in found.findings)
    text = pins_text(found, width=width)
    assert max(len(line) for line in text.splitlines()) <= max(40, min(width, 100))


def write(path: Path, changes: Mapping[str, float | None] | None = None) -> str:
    rows = ["contact,diode_v"]
    for r in board(changes).readings:
        rows.append(f"{r.contact.name},{'OL' if r.diode_v == OL else r.diode_v}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return str(path)


def test_the_command(tmp_path: Path) -> None:
    bad, good = write(tmp_path / "bad.csv", {"B5": OL}), write(tmp_path / "good.csv")
    result = run("pins", bad)
    assert result.exit_code == 1
    head = result.stdout.split("\n\n")[0]
    assert head.startswith("FAIL") and "B5" in head and "First: " in head
    assert "our own choice" in result.stdout.lower() and "common practice, no source" in result.stdout
    assert run("pins", good).exit_code == 0
    assert "open-against-good" in run("pins", bad, "--known-good", good).stdout
    out = json.loads(run("pins", bad, "--known-good", good, "--json").stdout)
    assert (out["format"], out["version"], out["verdict"]) == ("pdcheck-pins", 1, "fail")
    assert out["known_good"] == good


def test_standard_input(tmp_path: Path) -> None:
    good = Path(write(tmp_path / "good.csv")).read_text(encoding="utf-8")
    assert run("pins", "-", stdin=good).exit_code == 0
    result = run("pins", "-", "--known-good", "-", stdin=good)
    assert (result.exit_code, len(result.stderr.splitlines())) == (2, 1)


@pytest.mark.parametrize("arguments", [("no such file",), (".",), (), ("--template", "xml")])
def test_what_cannot_be_used(arguments: tuple[str, ...]) -> None:
    result = run("pins", *arguments)
    assert (result.exit_code, len(result.stderr.splitlines()), result.stdout) == (2, 1, "")


def test_templates() -> None:
    assert run("pins", "--template").stdout == run("pins", "--template", "csv").stdout
    assert "[diode_v]" in run("pins", "--template", "toml").stdout


def test_a_file_name_may_not_steer_the_terminal(tmp_path: Path) -> None:
    path = write(tmp_path / "a\x1b[31m.csv")
    assert "\x1b" not in run("pins", path).stdout
