"""``measure`` and ``pins`` say the same of the same two CC contacts; VBUS alone is no working unit."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from pdcheck.cli import main
from tests.readings.tool import blocks, measure, rules


def pins(folder: Path, text: str) -> dict[str, object]:
    (folder / "port.csv").write_text(text)
    result = CliRunner().invoke(main, ["pins", "--json", str(folder / "port.csv")])
    found: dict[str, object] = json.loads(result.stdout)
    return found


# 126 kohm is the standard's zOPEN (USB Type-C, section 4.11); 1.5 our own factor.
@pytest.mark.parametrize(("cc1", "cc2", "verdict"), [
    ("5.1k", "OL", "fail"), ("5.1k", "2M", "fail"), ("40k", "OL", "fail"), ("1k", "OL", "fail"),
    ("5.1k", "9k", "inconclusive"), ("5.1k", "7.7k", "inconclusive"), ("100k", "200k", "inconclusive"),
    ("2M", "OL", "inconclusive"), ("500k", "2M", "inconclusive"), ("OL", "OL", "inconclusive"),
    ("5.1k", "5.3k", "pass"),
])
def test_two_cc_contacts_in_ohms(tmp_path: Path, cc1: str, cc2: str, verdict: str) -> None:
    _, meter = measure("--side", "device", "--ohm-cc1", cc1, "--ohm-cc2", cc2)
    port = pins(tmp_path, f"contact,ohms\nA5,{cc1}\nB5,{cc2}\n")
    assert (meter["verdict"], port["verdict"]) == (verdict, verdict)
    if verdict == "fail":
        assert blocks(meter, "suspect") == blocks(port, "suspect") == {"port_contacts", "cc_path", "negotiating_chip"}
        assert meter["next"][0] == port["next"][0], "the same reading, the same first step"
        assert "CC2" in meter["summary"].split(",")[0], "the open one is named first"


def test_what_differs_is_held_against_a_good_board() -> None:
    """9 kohm beside 5.1 kohm may be the clamp of a chip without power: no part is convicted by that."""
    _, out = measure("--side", "device", "--ohm-cc1", "5.1k", "--ohm-cc2", "9k")
    assert rules(out)[0] == "cc-contacts-differ"
    assert "known-good" in out["next"][0]


@pytest.mark.parametrize("volts", ["5.0", "9", "15", "50"])
def test_vbus_alone_does_not_tell(volts: str) -> None:
    status, out = measure("--vbus", volts)
    assert (status, rules(out)[0]) == (3, "vbus-alone")
    assert "input current" in out["next"][0]
    assert "CC1 and CC2" in " ".join(out["next"])
    assert blocks(out, "suspect") == set(), "and it points at nobody"


def test_vbus_with_what_it_needs_still_tells() -> None:
    assert measure("--vbus", "9", "--contract", "9V")[0] == 0
    assert measure("--vbus", "9", "--current", "1.2A")[0] == 0
    assert measure("--side", "device", "--cc1", "0.41", "--cc2", "0", "--vbus", "9")[0] == 0
    assert measure("--side", "device", "--partner", "nothing", "--vbus", "0")[0] == 0


def test_nobody_is_said_to_have_asked_for_9_v() -> None:
    """A charger that raises VBUS unasked reads just so."""
    _, out = measure("--vbus", "9", "--current", "30mA")
    assert "asked" not in json.dumps(out["blocks"])


def test_a_pass_without_the_current_says_what_is_next() -> None:
    for arguments in (("--vbus", "9", "--contract", "9V"), ("--side", "device", "--cc1", "0.41", "--cc2", "0")):
        status, out = measure(*arguments)
        assert status == 0
        assert "input current" in out["next"][0]


@pytest.mark.parametrize("more", [(), ("--side", "device", "--cc1", "0.41", "--cc2", "0")])
def test_5_v_clear_no_charger(more: tuple[str, ...]) -> None:
    """A charger that never offers gives 5 V as well, whether or not the current was read."""
    _, out = measure("--vbus", "5.05", *more)
    assert "charger" not in blocks(out, "cleared")
    assert "cable" in blocks(out, "cleared")


def test_one_ground_that_was_measured_alone_convicts_no_contact(tmp_path: Path) -> None:
    out = pins(tmp_path, "contact,diode_v\nA1,0.1\n")
    assert (out["verdict"], out["findings"][0]["rule"]) == ("inconclusive", "no-ground")  # type: ignore[index]


def test_an_open_ground_is_not_explained_by_a_counterpart(tmp_path: Path) -> None:
    """A12 is at ground, so the probe was; B12, A1's counterpart, was not measured."""
    out = pins(tmp_path, "contact,diode_v\nA1,0.3\nA12,0\n")
    found = out["findings"][0]  # type: ignore[index]
    assert (out["verdict"], found["rule"]) == ("fail", "contact-open")
    assert "counterpart" not in found["why"]
