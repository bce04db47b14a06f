"""Random objects of every kind, packed by the C ABI, come back field by field in the shape of the report."""

from __future__ import annotations

import random

import pytest

from pdcheck.messages import build_header, object_json, parse, parse_power_object, parse_request
from pdcheck.messages.model import Value
from tests.messages.c_bitfields import draw

ROUNDS = 200


@pytest.fixture
def chance() -> random.Random:
    return random.Random(20261125)


def words(kind: int, *objects: int, revision: int = 2) -> bytes:
    header = build_header(message_type=kind, object_count=len(objects), revision=revision)
    return header + b"".join(word.to_bytes(4, "little") for word in objects)


def only(kind: int, word: int) -> dict[str, Value]:
    """The JSON of the one object in a data message."""
    message = parse(words(kind, word))
    assert len(message.objects) == 1
    return object_json(message.objects[0])


def test_fixed_source(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("fixed_source", chance, type=0)
        assert only(1, word) == {
            "kind": "fixed", "raw": f"0x{word:08X}", "voltage_mv": raw["voltage"] * 50,
            "current_ma": raw["current"] * 10,
            "peak_current": raw["peak"], "dual_role_power": bool(raw["drp"]),
            "usb_suspend_supported": bool(raw["suspend"]), "unconstrained_power": bool(raw["unconstrained"]),
            "usb_communications_capable": bool(raw["usb"]), "dual_role_data": bool(raw["drd"]),
            "unchunked_extended_messages_supported": bool(raw["unchunked"]), "epr_capable": bool(raw["epr"]),
        }


def test_fixed_sink(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("fixed_sink", chance, type=0)
        assert only(4, word) == {
            "kind": "fixed", "raw": f"0x{word:08X}", "voltage_mv": raw["voltage"] * 50,
            "current_ma": raw["current"] * 10,
            "dual_role_power": bool(raw["drp"]), "higher_capability": bool(raw["higher"]),
            "unconstrained_power": bool(raw["unconstrained"]), "usb_communications_capable": bool(raw["usb"]),
            "dual_role_data": bool(raw["drd"]), "fast_role_swap_required_current": raw["frs"],
        }


@pytest.mark.parametrize("side", ["source", "sink"])
def test_battery_and_variable(chance: random.Random, side: str) -> None:
    kind = 1 if side == "source" else 4
    for _ in range(ROUNDS):
        word, raw = draw("battery", chance, type=1)
        span = {"min_voltage_mv": raw["low"] * 50, "max_voltage_mv": raw["high"] * 50}
        assert only(kind, word) == {"kind": "battery", "raw": f"0x{word:08X}", **span, "power_mw": raw["power"] * 250}
        word, raw = draw("variable", chance, type=2)
        span = {"min_voltage_mv": raw["low"] * 50, "max_voltage_mv": raw["high"] * 50}
        amps = {"current_ma": raw["current"] * 10}
        assert only(kind, word) == {"kind": "variable", "raw": f"0x{word:08X}", **span, **amps}


def test_programmable_and_adjustable(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("spr_pps", chance, type=3, apdo=0)
        assert only(1, word) == {
            "kind": "spr_pps", "raw": f"0x{word:08X}", "min_voltage_mv": raw["low"] * 100,
            "max_voltage_mv": raw["high"] * 100, "current_ma": raw["current"] * 50,
            "power_limited": bool(raw["limited"]),
        }
        word, raw = draw("epr_avs", chance, type=3, apdo=1)
        assert object_json(parse_power_object(word, side="source")) == {
            "kind": "epr_avs", "raw": f"0x{word:08X}", "min_voltage_mv": raw["low"] * 100,
            "max_voltage_mv": raw["high"] * 100, "pdp_mw": raw["pdp"] * 1000, "peak_current": raw["peak"],
        }
        word, raw = draw("spr_avs", chance, type=3, apdo=2)
        assert only(1, word) == {
            "kind": "spr_avs", "raw": f"0x{word:08X}", "current_9v_to_15v_ma": raw["low"] * 10,
            "current_15v_to_20v_ma": raw["high"] * 10, "peak_current": raw["peak"],
        }


def test_augmented_objects_of_a_sink(chance: random.Random) -> None:
    """A sink has no power limited flag and no peak current: those bits are reserved (from memory of USB PD R3.2)."""
    for _ in range(ROUNDS):
        word, raw = draw("spr_pps", chance, type=3, apdo=0, limited=0)
        assert only(4, word) == {
            "kind": "spr_pps", "raw": f"0x{word:08X}", "min_voltage_mv": raw["low"] * 100,
            "max_voltage_mv": raw["high"] * 100, "current_ma": raw["current"] * 50,
        }
        word, raw = draw("epr_avs", chance, type=3, apdo=1, peak=0)
        assert object_json(parse_power_object(word, side="sink")) == {
            "kind": "epr_avs", "raw": f"0x{word:08X}", "min_voltage_mv": raw["low"] * 100,
            "max_voltage_mv": raw["high"] * 100, "pdp_mw": raw["pdp"] * 1000,
        }
        word, raw = draw("spr_avs", chance, type=3, apdo=2, peak=3)
        assert only(4, word) == {
            "kind": "spr_avs", "raw": f"0x{word:08X}", "current_9v_to_15v_ma": raw["low"] * 10,
            "current_15v_to_20v_ma": raw["high"] * 10, "reserved_bits_set": [26, 27],
        }


def test_epr_requests_at_epr_positions(chance: random.Random) -> None:
    """The copied object says how the request is read, whatever the position."""
    for _ in range(ROUNDS):
        position = chance.randint(8, 13)
        power, _ = draw("epr_avs", chance, type=3, apdo=1)
        word, raw = draw("adjustable_request", chance, position=position, epr=1)
        message = parse(words(9, word, power))
        assert message.problems == () and [one.kind for one in message.objects] == ["request", "epr_avs"]
        assert object_json(message.objects[0]) == {
            "kind": "request", "raw": f"0x{word:08X}", "position": position, **flags(raw),
            "voltage_mv": raw["voltage"] * 25, "operating_current_ma": raw["current"] * 50,
        }
        power, _ = draw("fixed_source", chance, type=0)
        word, raw = draw("request", chance, position=position)
        assert parse(words(9, word, power)).objects[0]["operating_current_ma"] == raw["now"] * 10
    lone = parse(words(9, word))
    assert lone.problems == ("EPR_Request has 1 object, the specification 2",)


def flags(raw: dict[str, int]) -> dict[str, Value]:
    return {
        "capability_mismatch": bool(raw["mismatch"]), "usb_communications_capable": bool(raw["usb"]),
        "no_usb_suspend": bool(raw["no_suspend"]), "unchunked_extended_messages_supported": bool(raw["unchunked"]),
        "epr_capable": bool(raw["epr"]),
    }


def test_requests(chance: random.Random) -> None:
    fixed, _ = draw("fixed_source", chance, type=0)
    variable, _ = draw("variable", chance, type=2)
    battery, _ = draw("battery", chance, type=1)
    for _ in range(ROUNDS):
        word, raw = draw("request", chance)
        head = {"kind": "request", "raw": f"0x{word:08X}", "position": raw["position"]}
        head["giveback"] = bool(raw["giveback"])
        amps = {"operating_current_ma": raw["now"] * 10, "max_current_ma": raw["most"] * 10}
        for offered in (None, parse_power_object(fixed, side="source"), parse_power_object(variable, side="source")):
            assert object_json(parse_request(word, offered)) == {**head, **flags(raw), **amps}
        assert object_json(parse_request(word, parse_power_object(battery, side="source"))) == {
            **head, **flags(raw), "operating_power_mw": raw["now"] * 250, "max_power_mw": raw["most"] * 250,
        }


@pytest.mark.parametrize(("offered", "step"), [("spr_pps", 20), ("spr_avs", 25), ("epr_avs", 25)])
def test_adjustable_requests(chance: random.Random, offered: str, step: int) -> None:
    apdo = ("spr_pps", "epr_avs", "spr_avs").index(offered)
    power, _ = draw(offered, chance, type=3, apdo=apdo)
    for _ in range(ROUNDS):
        word, raw = draw("adjustable_request", chance)
        assert object_json(parse_request(word, parse_power_object(power, side="source"))) == {
            "kind": "request", "raw": f"0x{word:08X}", "position": raw["position"], **flags(raw),
            "voltage_mv": raw["voltage"] * step, "operating_current_ma": raw["current"] * 50,
        }


def test_structured_vdm_header(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("vdm_header", chance, structured=1)
        found = only(15, word)
        name = found.pop("command_name")
        assert isinstance(name, str) and name
        assert found == {
            "kind": "vdm_header", "raw": f"0x{word:08X}", "svid": raw["svid"], "structured": True,
            "version": f"{raw['major'] + 1}.{raw['minor']}", "object_position": raw["position"],
            "command_type": ("REQ", "ACK", "NAK", "BUSY")[raw["type"]], "command": raw["command"],
        }


def test_notices(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("battery_status", chance)
        assert only(5, word) == {
            "kind": "battery_status", "raw": f"0x{word:08X}",
            "battery_present_capacity_mwh": "unknown" if raw["capacity"] == 0xFFFF else raw["capacity"] * 100,
            "battery_charging_status": ("charging", "discharging", "idle", 3)[raw["charging"]],
            "battery_is_present": bool(raw["present"]), "invalid_battery_reference": bool(raw["invalid"]),
        }
        word, raw = draw("alert", chance)
        event = (
            "none", "power state change", "power button press", "power button release", "controller initiated wake",
        )
        assert only(6, word) == {
            "kind": "alert", "raw": f"0x{word:08X}", "extended_alert_event": bool(raw["extended"]),
            "ovp_event": bool(raw["ovp"]), "source_input_change_event": bool(raw["input"]),
            "operating_condition_change": bool(raw["condition"]), "otp_event": bool(raw["otp"]),
            "ocp_event": bool(raw["ocp"]), "battery_status_change_event": bool(raw["battery"]),
            "fixed_batteries": raw["fixed"], "hot_swappable_batteries": raw["hot_swap"],
            "extended_alert_event_type": event[raw["event"]] if raw["event"] < 5 else raw["event"],
        }
        word, raw = draw("source_info", chance)
        assert only(11, word) == {
            "kind": "source_info", "raw": f"0x{word:08X}",
            "port_type": ("managed capability", "guaranteed capability")[raw["port_type"]],
            "port_maximum_pdp_mw": raw["maximum"] * 1000, "port_present_pdp_mw": raw["present"] * 1000,
            "port_reported_pdp_mw": raw["reported"] * 1000,
        }
        word, raw = draw("revision", chance)
        assert only(12, word) == {
            "kind": "revision", "raw": f"0x{word:08X}", "revision_major": raw["revision_major"],
            "revision_minor": raw["revision_minor"], "version_major": raw["version_major"],
            "version_minor": raw["version_minor"],
        }


def test_enter_usb(chance: random.Random) -> None:
    for _ in range(ROUNDS):
        word, raw = draw("enter_usb", chance, mode=2, speed=3, cable=1, current=3)
        assert only(8, word) == {
            "kind": "enter_usb", "raw": f"0x{word:08X}", "usb_mode": "USB4", "usb4_drd": bool(raw["usb4_drd"]),
            "usb3_drd": bool(raw["usb3_drd"]), "cable_speed": "USB4 Gen3", "cable_type": "active re-timer",
            "cable_current": "5 A", "pcie_support": bool(raw["pcie"]), "dp_support": bool(raw["dp"]),
            "tbt_support": bool(raw["tbt"]), "host_present": bool(raw["host"]),
        }


def test_epr_mode(chance: random.Random) -> None:
    word, _ = draw("epr_mode", chance, action=1, data=140)
    assert only(10, word) == {
        "kind": "epr_mode", "raw": f"0x{word:08X}", "action": "Enter", "epr_sink_operational_pdp_mw": 140_000,
    }
    word, _ = draw("epr_mode", chance, action=4, data=1)
    assert only(10, word) == {
        "kind": "epr_mode", "raw": f"0x{word:08X}", "action": "Enter_Failed",
        "failure_cause": "cable not EPR capable",
    }
    for action, name in ((2, "Enter_Acknowledged"), (3, "Enter_Succeeded"), (5, "Exit")):
        word, _ = draw("epr_mode", chance, action=action, data=0)
        assert only(10, word) == {"kind": "epr_mode", "raw": f"0x{word:08X}", "action": name}
    word, _ = draw("epr_mode", chance, action=77, data=9)
    assert only(10, word) == {"kind": "epr_mode", "raw": f"0x{word:08X}", "action": 77, "data": 9}


def test_country_and_bist() -> None:
    assert only(7, 0x4E4F0000) == {"kind": "get_country_info", "raw": "0x4E4F0000", "country_code": "NO"}
    assert only(3, 0x50000000) == {"kind": "bist", "raw": "0x50000000", "mode": "BIST Carrier Mode"}
    assert only(3, 0x20000123) == {
        "kind": "bist", "raw": "0x20000123", "mode": "Returned BIST Counters", "returned_error_counters": 0x123,
    }
    test_data = parse(words(3, 0x80000000, 1, 2, 3, 4, 5, 6))
    assert [one.kind for one in test_data.objects] == ["bist"] + ["bist_test_data"] * 6
    assert not test_data.problems


def test_reserved_bits_are_listed(chance: random.Random) -> None:
    for layout, fixed in (
        ("fixed_source", {"type": 0, "reserved22": 1}),
        ("spr_pps", {"type": 3, "apdo": 0, "reserved7": 1, "reserved16": 1, "reserved25": 2}),
        ("spr_avs", {"type": 3, "apdo": 2, "reserved20": 0x21}),
    ):
        word, _ = draw(layout, chance, **fixed)
        expected = {"fixed_source": [22], "spr_pps": [7, 16, 26], "spr_avs": [20, 25]}[layout]
        assert only(1, word)["reserved_bits_set"] == expected
    word, _ = draw("alert", chance, reserved4=0, reserved24=1)
    assert only(6, word)["reserved_bits_set"] == [24]


def test_the_reserved_augmented_type_is_not_guessed() -> None:
    assert only(1, 0xF0000001) == {"kind": "augmented_reserved", "raw": "0xF0000001", "reserved_bits_set": [0]}
