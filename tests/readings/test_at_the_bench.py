"""What would have misled a technician at the bench: clears that nothing proved, and cautions that were not there."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.readings.tool import blocks, measure, rules, run

DEVICE = ("--side", "device")


def pins(folder: Path, text: str) -> dict[str, object]:
    file = folder / "port.csv"
    file.write_text(text)
    out: dict[str, object] = json.loads(run("pins", str(file), "--json").stdout)
    return out


@pytest.mark.parametrize("volts", ["9", "20"])
@pytest.mark.parametrize("more", [(), (*DEVICE, "--cc1", "1.7", "--cc2", "0")])
def test_a_raised_vbus_clears_no_charger(volts: str, more: tuple[str, ...]) -> None:
    """One that raises VBUS unasked is faulty (pdcheck rules vbus-raised), and a device may lock itself against it."""
    status, out = measure("--vbus", volts, "--current", "30mA", *more)
    assert status == 3
    assert "charger" in blocks(out, "suspect")
    assert "cable" in blocks(out, "cleared")
    assert out["next"][0].startswith("Try another charger")
    _, out = measure("--vbus", volts, *more)
    assert "charger" not in blocks(out, "cleared") | blocks(out, "suspect")


@pytest.mark.parametrize("more", [("--current", "1.2A"), ("--current", "30mA", "--contract", "9V")])
def test_a_charger_that_charges_or_keeps_its_contract_is_cleared(more: tuple[str, ...]) -> None:
    assert "charger" in blocks(measure("--vbus", "9", *more)[1], "cleared")


@pytest.mark.parametrize("ohms", ["11", "47", "100", "500"])
def test_vbus_of_few_ohms_is_not_as_on_a_working_unit(ohms: str, tmp_path: Path) -> None:
    """500 ohm take 10 mA at 5 V and, at 20 V, heat with most of a watt. The limit is our own choice."""
    status, out = measure(*DEVICE, "--ohm-vbus", ohms)
    assert (status, rules(out)) == (3, ["vbus-low-to-ground"])
    assert blocks(out, "suspect") == {"port_contacts", "vbus_switch", "charger_stage"}
    assert "Plug nothing in" not in out["next"][0], "a capacitor that charges reads so for a moment: look again first"
    found = pins(tmp_path, "contact,ohms\n" + "".join(f"{c},{ohms}\n" for c in ("A4", "A9", "B4", "B9")))
    assert found["verdict"] == "inconclusive"
    assert [f["rule"] for f in found["findings"]] == ["vbus-low-to-ground"]  # type: ignore[attr-defined]


def test_vbus_of_a_kilohm_or_like_a_known_good_board_is_no_finding(tmp_path: Path) -> None:
    assert measure(*DEVICE, "--ohm-vbus", "510")[0] == 0
    text = "contact,ohms\nA4,300\nB4,300\n"
    good = tmp_path / "good.csv"
    good.write_text(text)
    bad = tmp_path / "bad.csv"
    bad.write_text(text)
    assert run("pins", str(bad)).exit_code == 3
    assert run("pins", str(bad), "--known-good", str(good)).exit_code == 0


@pytest.mark.parametrize(("ohms", "rule"), [("100", "cc-low-to-ground"), ("1k", "ra-at-device")])
def test_pins_and_measure_say_the_same_of_low_cc(ohms: str, rule: str, tmp_path: Path) -> None:
    status, out = measure(*DEVICE, "--ohm-cc1", ohms, "--ohm-cc2", ohms)
    found = pins(tmp_path, f"contact,ohms\nA5,{ohms}\nB5,{ohms}\n")
    assert (status, rules(out)[0]) == (3, rule)
    assert (found["verdict"], found["findings"][0]["rule"]) == ("inconclusive", rule)  # type: ignore[index]
    assert blocks(out, "suspect") == blocks(found, "suspect")


def test_a_free_plug_with_vbus_and_no_pull_up_is_no_working_cable() -> None:
    """USB Type-C, section 3.5: an A-to-C cable has 56 kohm from CC to VBUS; section 4.5.2: a type C charger gives no
    VBUS before it sees a pull-down."""
    status, out = measure("--side", "cable", "--cc1", "0", "--cc2", "0", "--vbus", "5.05")
    assert (status, rules(out)[0]) == (3, "no-pull-up")
    assert blocks(out, "suspect") == {"charger", "cable"}
    assert measure("--side", "cable", "--cc1", "0", "--cc2", "0", "--vbus", "0")[0] == 0
    assert measure("--side", "cable", "--cc1", "5", "--cc2", "0", "--vbus", "5.05")[0] == 0


@pytest.mark.parametrize("current", ["12mA", "50mA", "130mA", "450mA"])
def test_a_current_between_two_kinds_is_said_in_a_sentence(current: str) -> None:
    text = " ".join(run("measure", "--current", current).stdout.split())
    for nonsense in ("more than less than", "takes or charging", "charging or about", "nothing or present"):
        assert nonsense not in text
    assert 'drawn, between "' in text


def test_a_full_battery_is_thought_of_first() -> None:
    head = " ".join(run("measure", "--vbus", "9", "--current", "30mA").stdout.splitlines()[:2])
    assert "battery is full" in head


def test_cautions_stand_where_work_hurts() -> None:
    """Common practice, no source."""
    _, out = measure("--current", "30mA")
    half_an_hour = next(step for step in out["next"] if "half an hour" in step)
    assert "swollen" in half_an_hour
    assert "inject" in " ".join(measure(*DEVICE, "--ohm-vbus", "1")[1]["next"]).lower()
    assert measure(*DEVICE, "--cc1", "20", "--cc2", "0")[1]["next"][0].startswith("Unplug")
    cautions = run("measure", "--current", "30mA").stdout.split("Cautions")[1]
    assert "hot air" in " ".join(cautions.split())


def test_a_pass_over_a_few_contacts_says_which_are_left(tmp_path: Path) -> None:
    found = pins(tmp_path, "contact,diode_v\nA5,0.60\nB5,0.61\n")
    assert found["verdict"] == "pass"
    assert "2 of the 10 contacts that charging needs" in str(found["summary"])
    assert found["next"][0].endswith("A1, A4, A9, A12, B1, B4, B9, B12.")  # type: ignore[index]
    rows = "".join(f"{c},0.001\n" for c in ("A1", "A12", "B1", "B12"))
    rows += "".join(f"{c},0.43\n" for c in ("A4", "A9", "B4", "B9")) + "A5,0.6\nB5,0.61\n"
    whole = pins(tmp_path, "contact,diode_v\n" + rows)
    assert whole["verdict"] == "pass"
    assert "not measured yet" not in str(whole["next"])
    assert "of the 10" not in str(whole["summary"])
