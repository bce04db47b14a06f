"""What readings mean: each finding from the smallest readings that make it, and the near miss."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.bench.judge import judge
from pdcheck.bench.measure_json import measure_json
from pdcheck.bench.measure_text import measure_text
from pdcheck.bench.readings import Advertisement, Contract, Meter, Ohms, Partner, Readings, Side, Volts
from pdcheck.bench.typed import readings_of
from pdcheck.errors import InputError
from tests.readings.tool import blocks, measure, rules

DEVICE = ("--side", "device")
DEVICE_BLOCKS = {"port_contacts", "cc_path", "negotiating_chip", "chip_supply"}


@pytest.mark.parametrize(("arguments", "status", "state", "rule"), [
    # The device's port with a charger at the other end.
    (("--cc1", "0.41", "--cc2", "0"), 0, "source_attached", None),
    (("--cc1", "0", "--cc2", "1.7", "--vbus", "5.1"), 0, "source_attached", None),
    (("--cc1", "0", "--cc2", "0"), 3, "nothing_attached", "no-pull-up"),
    (("--cc1", "3.3", "--cc2", "0"), 1, "no_pull_down", "no-pull-down"),
    (("--cc1", "0", "--cc2", "4.9"), 1, "no_pull_down", "no-pull-down"),
    (("--cc1", "5.0", "--cc2", "0", "--vbus", "5.02"), 1, "no_pull_down", "cc-at-vbus"),
    (("--cc1", "3.3", "--cc2", "3.3"), 3, "pulls_up_itself", "rp-on-wrong-side"),
    (("--cc1", "3.3", "--cc2", "3.3", "--partner", "charger"), 1, "pulls_up_itself", "rp-on-wrong-side"),
    (("--cc1", "0.41", "--cc2", "0.41"), 3, "between", "both-cc-level"),
    (("--cc1", "0.41", "--cc2", "0.9"), 3, "debug_accessory", "accessory"),
    (("--cc1", "1.7", "--cc2", "4.8"), 3, "source_attached", "other-cc-high"),
    (("--cc1", "9", "--cc2", "0"), 1, "cc_above_limit", "cc-above-limit"),
    (("--cc1", "5.5", "--cc2", "0"), 1, "no_pull_down", "no-pull-down"),
    (("--cc1", "-0.4", "--cc2", "0"), 3, "unknown", "probes-reversed"),
    (("--cc1", "1.2", "--cc2", "0"), 3, "source_attached", "level-between-bands"),
    (("--cc1", "0.41",), 0, "source_attached", None),
    (("--cc1", "0",), 3, "unknown", "not-enough-measured"),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "0"), 1, "source_attached", "vbus-missing"),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "0.8"), 1, "source_attached", "vbus-missing"),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "3.99"), 3, "source_attached", "vbus-low"),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "4.0"), 0, "source_attached", None),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "60"), 3, "source_attached", "vbus-beyond-any-contract"),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "9", "--contract", "9V"), 0, "source_attached", None),
    (("--cc1", "1.7", "--cc2", "0", "--vbus", "5", "--contract", "9V"), 1, "source_attached", "vbus-not-at-contract"),
    (("--cc1", "0", "--cc2", "0", "--vbus", "3", "--partner", "nothing"), 3, "nothing_attached", "vbus-backfed"),
    (("--cc1", "0", "--cc2", "0", "--vbus", "0", "--partner", "nothing"), 0, "nothing_attached", None),
    (("--cc1", "1.6", "--cc2", "1.5", "--partner", "nothing"), 0, "dual_role_toggling", "dual-role-toggling"),
    (("--cc1", "1.6", "--cc2", "0", "--partner", "nothing"), 3, "unknown", "level-without-partner"),
    (("--cc1", "3.3", "--cc2", "3.3", "--partner", "nothing"), 3, "pulls_up_itself", "rp-on-wrong-side"),
    (("--cc1", "1.7", "--cc2", "0", "--partner", "legacy-charger"), 1, "source_attached", "cable-pull-up-lies"),
    (("--cc1", "0.41", "--cc2", "0", "--partner", "legacy-charger"), 0, "source_attached", None),
    (("--cc1", "1.1", "--cc2", "0", "--advertises", "3.0"), 3, "source_attached", "level-below-advertisement"),
    (("--cc1", "0.5", "--cc2", "0", "--advertises", "3.0"), 3, "source_attached", "level-below-advertisement"),
    (("--cc1", "1.31", "--cc2", "0", "--advertises", "3.0"), 0, "source_attached", None),
    (("--cc1", "0.9", "--cc2", "0", "--advertises", "default"), 3, "source_attached", "level-above-advertisement"),
])
def test_at_the_device(arguments: tuple[str, ...], status: int, state: str, rule: str | None) -> None:
    found, out = measure(*DEVICE, *arguments)
    assert (found, out["state"]) == (status, state)
    assert (rules(out)[:1] == [rule]) if rule is not None else out["verdict"] == "pass"


@pytest.mark.parametrize(("arguments", "status", "state", "rule"), [
    (("--cc1", "3.3", "--cc2", "3.3", "--partner", "nothing"), 0, "nothing_attached", None),
    (("--cc1", "3.3", "--cc2", "3.3", "--partner", "device"), 1, "nothing_attached", "no-pull-down"),
    (("--cc1", "0.08", "--cc2", "3.3", "--partner", "device"), 1, "powered_cable", "no-pull-down"),
    (("--cc1", "0.08", "--cc2", "3.3"), 0, "powered_cable", None),
    (("--cc1", "0", "--cc2", "0"), 3, "nothing_attached", "no-pull-up"),
    (("--cc1", "5", "--cc2", "5", "--vbus", "5"), 0, "nothing_attached", "vbus-without-attach"),
    (("--cc1", "0.92", "--cc2", "3.3"), 0, "sink_attached", None),
    (("--cc1", "0.41", "--cc2", "3.3"), 3, "between", "state-between"),
    (("--cc1", "0.41", "--cc2", "3.3", "--vbus", "5"), 0, "sink_attached", None),
    (("--cc1", "0.41", "--cc2", "3.3", "--advertises", "default"), 0, "sink_attached", None),
    (("--cc1", "0.41", "--cc2", "3.3", "--advertises", "3"), 0, "powered_cable", None),
    (("--cc1", "0.41", "--cc2", "0", "--advertises", "default"), 3, "powered_cable_with_sink", "cc-near-ground"),
])
def test_at_the_charger(arguments: tuple[str, ...], status: int, state: str, rule: str | None) -> None:
    found, out = measure("--side", "charger", *arguments)
    assert (found, out["state"]) == (status, state)
    assert (rules(out)[:1] == [rule]) if rule is not None else out["verdict"] == "pass"


@pytest.mark.parametrize(("arguments", "status", "rule"), [
    (("--side", "cable", "--ohm-cc1-vbus", "56k"), 0, None),
    (("--side", "cable", "--ohm-cc1-vbus", "10k"), 1, "cable-pull-up-lies"),
    (("--side", "cable", "--ohm-cc1-vbus", "22k"), 1, "cable-pull-up-lies"),
    (("--side", "cable", "--ohm-cc1-vbus", "30k"), 1, "cable-pull-up-wrong"),
    (("--side", "cable", "--ohm-cc1-vbus", "2"), 1, "cc-short-to-vbus"),
    (("--side", "cable", "--ohm-cc1-vbus", "OL", "--ohm-cc1", "OL", "--ohm-cc2", "1k"), 0, None),
    (("--side", "cable", "--cc1", "5", "--cc2", "0"), 0, None),
    ((*DEVICE, "--ohm-cc1", "5k1", "--ohm-cc2", "5.2k", "--ohm-cc1-cc2", "10k3"), 0, None),
    ((*DEVICE, "--ohm-cc1", "5k1", "--ohm-cc2", "OL"), 1, "cc-contact-open"),
    ((*DEVICE, "--ohm-cc1", "5k1", "--ohm-cc2", "9k"), 3, "cc-contacts-differ"),
    ((*DEVICE, "--ohm-cc1", "OL", "--ohm-cc2", "OL"), 3, "cc-open"),
    ((*DEVICE, "--ohm-cc1", "2.4k", "--ohm-cc2", "2.5k"), 3, "rd-out-of-tolerance"),
    ((*DEVICE, "--ohm-cc1", "4.2k", "--ohm-cc2", "4.2k"), 0, "rd-default-only"),
    ((*DEVICE, "--ohm-cc1", "1k", "--ohm-cc2", "1k"), 3, "ra-at-device"),
    ((*DEVICE, "--ohm-cc1", "300", "--ohm-cc2", "310"), 3, "cc-low-to-ground"),
    ((*DEVICE, "--ohm-cc1", "0.4"), 1, "cc-short-to-ground"),
    ((*DEVICE, "--ohm-cc1-cc2", "3"), 1, "cc-contacts-joined"),
    ((*DEVICE, "--ohm-cc1-vbus", "3"), 1, "cc-short-to-vbus"),
    ((*DEVICE, "--ohm-cc2-vbus", "9k"), 3, "cc-leak-to-vbus"),
    ((*DEVICE, "--ohm-cc2-vbus", "2M"), 0, None),
    ((*DEVICE, "--ohm-vbus", "1.5"), 1, "vbus-short"),
    ((*DEVICE, "--ohm-vbus", "12k"), 0, None),
])
def test_ohms(arguments: tuple[str, ...], status: int, rule: str | None) -> None:
    found, out = measure(*arguments)
    assert found == status
    assert (rules(out)[:1] == [rule]) if rule is not None else out["findings"] == []


@pytest.mark.parametrize(("current", "means", "status"), [
    # 20 to 40 mA and half an amp: common practice, no source. 100 mA: USB 2.0, section 7.2.1 (from memory).
    ("0", ["nothing"], 3), ("5mA", ["nothing"], 3), ("12mA", ["nothing", "present but not charging"], 3),
    ("20mA", ["present but not charging"], 3), ("40mA", ["present but not charging"], 3),
    ("60mA", ["present but not charging", "about a unit load"], 3), ("100mA", ["about a unit load"], 3),
    ("300mA", ["less than charging usually takes"], 3), ("0.5A", ["charging"], 0), ("2.9A", ["charging"], 0),
    ("-30mA", ["present but not charging"], 3),
])
def test_current(current: str, means: list[str], status: int) -> None:
    found, out = measure("--current", current)
    assert (found, out["current"]["means"]) == (status, means)


def test_more_than_is_allowed() -> None:
    status, out = measure(*DEVICE, "--cc1", "0.9", "--cc2", "0", "--current", "1.7A")
    assert (status, rules(out)[0]) == (3, "draws-too-much")
    assert measure(*DEVICE, "--cc1", "0.9", "--cc2", "0", "--current", "1.5A")[0] == 0
    assert measure(*DEVICE, "--cc1", "0.41", "--cc2", "0", "--current", "0.9A")[0] == 0
    status, out = measure("--contract", "9V,1.8A", "--current", "2.5A")
    assert (status, rules(out)[0]) == (3, "draws-too-much")


def test_a_contract_and_30_ma_clear_port_and_chip() -> None:
    status, out = measure(*DEVICE, "--cc1", "1.7", "--cc2", "0", "--vbus", "9", "--contract", "9V,1.8A",
                          "--current", "30mA")
    assert status == 3, "a full battery draws no more"
    assert blocks(out, "cleared") == {"charger", "cable", *DEVICE_BLOCKS}
    assert blocks(out, "suspect") == {"vbus_switch", "charger_stage", "battery"}


@pytest.mark.parametrize("more", [(), ("--vbus", "5.05"), (*DEVICE, "--cc1", "0.41", "--cc2", "0", "--vbus", "5.05")])
def test_5_v_and_30_ma_do_not_clear_a_charger_that_may_be_mute(more: tuple[str, ...]) -> None:
    """The demo capture charger_never_answers.vcd is such a charger: an ammeter shows 5 V and no more."""
    _, out = measure(*more, "--current", "30mA")
    assert "charger" in blocks(out, "suspect")
    assert "cable" in blocks(out, "cleared")
    assert any("Try another charger" in step for step in out["next"])


def test_one_orientation_dead_against_both_dead() -> None:
    status, out = measure(*DEVICE, "--cc1", "3.3", "--cc2", "0", "--flipped-cc1", "0", "--flipped-cc2", "1.7")
    assert (status, rules(out)) == (1, ["one-orientation-dead"])
    assert blocks(out, "suspect") == {"port_contacts", "cc_path", "negotiating_chip"}
    assert blocks(out, "cleared") == {"charger", "cable", "chip_supply"}
    assert "CC1" in out["summary"]
    status, out = measure(*DEVICE, "--cc1", "3.3", "--cc2", "0", "--flipped-cc1", "0", "--flipped-cc2", "3.3")
    assert (status, rules(out)) == (1, ["both-orientations-dead"])
    assert blocks(out, "suspect") == {"port_contacts", "negotiating_chip", "chip_supply"}
    assert out["orientations"]["flipped"]["orientation"] == "cc2"
    status, out = measure(*DEVICE, "--cc1", "1.7", "--cc2", "0", "--flipped-cc1", "0", "--flipped-cc2", "1.7")
    assert status == 0
    status, out = measure(*DEVICE, "--cc1", "1.7", "--cc2", "0", "--flipped-cc1", "1.7", "--flipped-cc2", "0")
    assert (status, rules(out)) == (3, ["not-flipped"])


def test_no_pull_down_convicts_no_chip() -> None:
    _, out = measure(*DEVICE, "--cc1", "3.3", "--cc2", "0")
    assert blocks(out, "suspect") == DEVICE_BLOCKS, "all that are possible are named"
    assert blocks(out, "cleared") == {"charger", "cable"}
    for ohms in ("OL", "2.4k", "700"):
        _, out = measure(*DEVICE, "--ohm-cc1", ohms, "--ohm-cc2", ohms)
        assert out["verdict"] == "inconclusive"
        assert "chip_supply" not in blocks(out, "suspect")


def test_contradicting_evidence_is_shown_and_not_weighed() -> None:
    """Plugged in the pull-down of CC1 is there; unpowered it reads a short: both are shown."""
    _, out = measure(*DEVICE, "--cc1", "1.7", "--cc2", "0", "--vbus", "5", "--ohm-cc1", "1")
    assert {"port_contacts", "cc_path"} <= blocks(out, "disputed")
    path = next(b for b in out["blocks"] if b["block"] == "cc_path")
    assert {e["says"] for e in path["evidence"]} == {"clears", "suspects"}


def test_levels_alone_without_a_side() -> None:
    assert measure("--cc1", "0.41", "--cc2", "0")[1]["state"] == "source_attached"
    assert measure("--cc1", "3.3", "--cc2", "3.3")[1]["state"] == "nothing_attached"
    assert measure("--cc1", "0.92", "--cc2", "3.3")[1]["state"] == "sink_attached"
    status, out = measure("--cc1", "0.41", "--cc2", "0.08")
    assert (status, out["state"]) == (3, "between")
    assert out["between"] == ["powered_cable_with_sink", "source_attached"]
    assert (out["orientation"], out["advertisement"]) == ("cc1", "Default USB power")
    assert measure("--cc1", "3.3", "--cc2", "0")[0] == 3


def test_a_meter_that_loads_says_so() -> None:
    status, out = measure(*DEVICE, "--cc1", "0.41", "--cc2", "0", "--meter-ohms", "200k")
    assert (status, rules(out)[0]) == (3, "meter-loads-cc")


def test_nothing_measured_is_refused() -> None:
    with pytest.raises(InputError):
        judge(Readings(side=Side.DEVICE))


numbers = st.none() | st.floats(min_value=-1, max_value=60).map(lambda v: round(v, 3))
ohms = st.none() | st.floats(min_value=0, max_value=1e9) | st.just(float("inf"))


@settings(max_examples=300)
@given(
    side=st.none() | st.sampled_from(Side), partner=st.none() | st.sampled_from(Partner),
    advertises=st.none() | st.sampled_from(Advertisement), volts=st.tuples(numbers, numbers, numbers),
    flipped=st.tuples(numbers, numbers, numbers), resistances=st.tuples(ohms, ohms, ohms, ohms, ohms, ohms),
    current=st.none() | st.floats(min_value=-5e4, max_value=5e4),
    contract=st.none() | st.builds(Contract, st.integers(1, 60000), st.none() | st.integers(0, 5000)),
    meter=st.builds(Meter, st.sampled_from([0.0, 0.5, 5.0]), st.sampled_from([2e5, 1e6, 1e7])),
    width=st.integers(1, 200),
)
def test_any_readings_are_judged(
    side: Side | None, partner: Partner | None, advertises: Advertisement | None,
    volts: tuple[float | None, ...], flipped: tuple[float | None, ...], resistances: tuple[float | None, ...],
    current: float | None, contract: Contract | None, meter: Meter, width: int,
) -> None:
    readings = Readings(
        side, partner, advertises, Volts(*volts), Volts(*flipped), Ohms(*resistances), current, contract, meter,
    )
    if not readings.any:
        return
    judged = judge(readings)
    out = measure_json(judged)
    assert out["summary"].endswith(".")
    assert out["state"] != "between" or len(out["between"]) > 1
    # A fault is proven by a finding, never by nothing; and who is accused was found by it.
    assert (out["verdict"] == "fail") == any(f["severity"] == "fail" and _convicts(judged, f) for f in out["findings"])
    text = measure_text(judged, width=width)
    assert max(len(line) for line in text.splitlines()) <= max(40, min(width, 100))
    assert judge(readings) == judged


def _convicts(judged: object, finding: dict[str, object]) -> bool:
    found = getattr(judged, "findings", ())
    return any(f.rule == finding["rule"] and f.effect.name == "CONVICTS" for f in found)


def test_options_and_questions_take_the_same_words() -> None:
    one = readings_of({"cc1": "410 mV", "ohm_cc1": "5k1", "current": "0,03A", "side": "dev"})
    assert (one.volts.cc1, one.ohms.cc1, one.current_ma, one.side) == (0.41, 5100, 30, Side.DEVICE)


def test_ohms_settle_what_volts_leave_open() -> None:
    _, out = measure(*DEVICE, "--cc1", "0.41", "--cc2", "0.41", "--ohm-cc1-cc2", "3")
    assert (out["state"], rules(out)[0]) == ("cc_contacts_joined", "cc-contacts-joined")
    _, out = measure(*DEVICE, "--cc1", "0.92", "--cc2", "0", "--vbus", "0.3", "--ohm-vbus", "1.2")
    assert rules(out)[:2] == ["vbus-short", "vbus-missing"], "the short leads, not what follows from it"
    assert blocks(out, "suspect") == {"port_contacts", "vbus_switch", "charger_stage"}


def test_a_short_of_vbus_sends_nobody_to_a_charger() -> None:
    _, out = measure(*DEVICE, "--ohm-vbus", "1.5")
    assert "Plug nothing in" in out["next"][0]
    assert not any("lugged in:" in step or "input current" in step for step in out["next"])


def test_a_voltage_that_no_contract_knows_is_no_working_unit() -> None:
    # 48 V and 5 percent and half a volt: USB PD, EPR fixed supplies and vSrcNew, vSrcValid.
    assert rules(measure("--vbus", "60")[1]) == ["vbus-beyond-any-contract"]
    assert "vbus-beyond-any-contract" not in rules(measure("--vbus", "50")[1])
    assert measure("--vbus", "60", "--cc1", "1.7", "--cc2", "0", *DEVICE)[0] == 3
    assert measure("--vbus", "50", "--cc1", "1.7", "--cc2", "0", *DEVICE)[0] == 0


def test_what_was_done_is_not_advised_again() -> None:
    _, out = measure("--cc1", "3.3", "--cc2", "0", *DEVICE)
    assert any("turned over" in step for step in out["next"])
    _, out = measure("--cc1", "3.3", "--cc2", "0", "--flipped-cc1", "0", "--flipped-cc2", "3.3", *DEVICE)
    assert not any("turned over" in step or step.startswith("Turn the plug") for step in out["next"])
    _, out = measure("--vbus", "9", "--contract", "9V", "--current", "30mA")
    assert not any("ohms from VBUS" in step for step in out["next"]), "a VBUS that holds up has no short behind it"
