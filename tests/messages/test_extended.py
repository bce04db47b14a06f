"""Extended messages: their blocks, packed with `struct`, and how bytes lie in chunks.

Offsets and sizes are those of the data block tables of USB PD R3.2 (from memory; the first five bytes of
Status are those of Linux 6.1 `pd_ext_sdb.h`).
"""

from __future__ import annotations

import random
import struct

import pytest

from pdcheck.messages import Message, build, build_extended_header, build_header, object_json, parse
from pdcheck.messages.model import Value
from pdcheck.standard.message_types import ExtendedType


def message(kind: int, block: bytes, *, chunked: bool = True, chunk: int = 0, size: int | None = None) -> Message:
    """A message that carries `block` as its part, padded as it should be where chunked."""
    padded = block + bytes(-(len(block) + 2) % 4 if chunked else 0)
    head = build_header(
        message_type=kind, object_count=(len(padded) + 2) // 4 if chunked else 0, extended=True,
    )
    extended = build_extended_header(
        data_size=len(block) if size is None else size, chunk_number=chunk, chunked=chunked
    )
    return parse(head + extended + padded)


def only(kind: int, block: bytes) -> dict[str, Value]:
    """The JSON of the one object, which must be the same chunked and unchunked."""
    found = []
    for chunked in (True, False):
        one = message(kind, block, chunked=chunked)
        assert one.problems == ()
        assert build(one) == one.data
        assert len(one.objects) == 1
        found.append(object_json(one.objects[0]))
    assert found[0] == found[1]
    assert found[0].pop("raw") == block.hex()
    return found[0]


def test_status() -> None:
    block = struct.pack("7B", 41, 0b0000_0110, 0x12, 0b0001_0010, 0b100, 0b10, 0b001_010)
    assert only(ExtendedType.Status, block) == {
        "kind": "status", "internal_temp_c": 41, "internal_power_from_non_battery": False,
        "internal_power_from_battery": False, "external_power_ac_dc": "AC", "external_power": True,
        "present_hot_swappable_batteries": 1, "present_fixed_batteries": 2, "cl_cv_mode": "current limit",
        "ovp_event": False, "otp_event": False, "ocp_event": True, "temperature_status": "warning",
        "power_limited_by_temperature": False, "power_limited_by_event": False,
        "power_limited_by_external_power": False, "power_limited_by_other_ports": False,
        "power_limited_by_cable": True, "new_power_state_indicator": "on", "new_power_state": "modern standby",
    }


def test_status_of_r3_0_is_shorter() -> None:
    one = message(ExtendedType.Status, bytes([0, 2, 0, 0, 2]))
    assert one.problems == ()
    assert one.objects[0]["internal_temp_c"] == "not supported"
    assert one.objects[0]["temperature_status"] == "normal"
    assert "new_power_state" not in one.objects[0].fields


def test_status_of_a_cable() -> None:
    data = message(ExtendedType.Status, b"\x50\x01").data
    one = parse(data, on_cable=True)
    assert [dict(object_json(part)) for part in one.objects] == [
        {"kind": "cable_status", "raw": "5001", "internal_temp_c": 80, "thermal_shutdown": True}
    ]


def test_source_capabilities_extended() -> None:
    chance = random.Random(5)
    for _ in range(100):
        vid, pid, xid = chance.getrandbits(16), chance.getrandbits(16), chance.getrandbits(32)
        peaks = [[chance.getrandbits(width) for width in (5, 6, 4, 1)] for _ in range(3)]
        packed = [low | period << 5 | duty << 11 | droop << 15 for low, period, duty, droop in peaks]
        spr, epr, batteries = chance.getrandbits(7), chance.getrandbits(8), chance.getrandbits(8)
        block = struct.pack(
            "<HHIBBBBBB3HBBBBB", vid, pid, xid, 3, 7, 0b101, 12, 0b010, 0b011, *packed, 1, 0b011, batteries, spr, epr
        )
        found = only(ExtendedType.Source_Capabilities_Extended, block)
        expected: dict[str, Value] = {
            "kind": "source_capabilities_extended", "vid": vid, "pid": pid, "xid": xid, "fw_version": 3,
            "hw_version": 7, "load_step_magnitude": "90 % of rated current", "load_step_slew_rate": "500 mA/us",
            "holdup_time_ms": 12, "ps2_compliant": False, "ps1_compliant": True, "lps_compliant": False,
            "ground_pin_for_protective_earth": False, "ground_pin_supported": True, "low_touch_current_eps": True,
            "touch_temp": 1, "internal_battery_present": False, "external_supply_unconstrained": True,
            "external_supply_present": True, "hot_swappable_battery_slots": batteries >> 4,
            "fixed_batteries": batteries & 15, "spr_source_pdp_rating_mw": spr * 1000,
            "epr_source_pdp_rating_mw": epr * 1000,
        }
        for number, (percent, period, duty, droop) in enumerate(peaks, 1):
            expected |= {
                f"peak_current_{number}_percent_overload": percent * 10,
                f"peak_current_{number}_overload_period_ms": period * 20,
                f"peak_current_{number}_duty_cycle_percent": duty * 5,
                f"peak_current_{number}_vbus_voltage_droop": bool(droop),
            }
        assert found == expected


def test_sink_capabilities_extended() -> None:
    block = struct.pack(
        "<HHIBBBBHBBB7B", 0x1234, 0x5678, 9, 1, 2, 1, 1, 3 | 5 << 5 | 7 << 11 | 1 << 15, 0b101, 2, 0x21,
        0b101011, 5, 27, 45, 0, 100, 140,
    )
    assert only(ExtendedType.Sink_Capabilities_Extended, block) == {
        "kind": "sink_capabilities_extended", "vid": 0x1234, "pid": 0x5678, "xid": 9, "fw_version": 1,
        "hw_version": 2, "skedb_version": 1, "load_step_slew_rate": "500 mA/us",
        "sink_load_percent_overload": 30, "sink_load_overload_period_ms": 100,
        "sink_load_duty_cycle_percent": 35, "sink_load_vbus_voltage_droop": True,
        "requires_lps_source": True, "requires_ps1_source": False, "requires_ps2_source": True, "touch_temp": 2,
        "hot_swappable_battery_slots": 2, "fixed_batteries": 1, "avs_support": True,
        "battery_essentially_unlimited": False, "battery_powered": True, "mains_powered": False,
        "vbus_powered": True, "pps_charging_supported": True, "spr_sink_minimum_pdp_mw": 5000,
        "spr_sink_operational_pdp_mw": 27000, "spr_sink_maximum_pdp_mw": 45000, "epr_sink_minimum_pdp_mw": 0,
        "epr_sink_operational_pdp_mw": 100_000, "epr_sink_maximum_pdp_mw": 140_000,
    }


def test_batteries_and_maker() -> None:
    assert only(ExtendedType.Get_Battery_Cap, b"\x04") == {"kind": "get_battery_cap", "battery_cap_ref": 4}
    assert only(ExtendedType.Get_Battery_Status, b"\x01") == {"kind": "get_battery_status", "battery_status_ref": 1}
    assert only(ExtendedType.Battery_Capabilities, struct.pack("<HHHHB", 1, 2, 500, 0xFFFF, 1)) == {
        "kind": "battery_capabilities", "vid": 1, "pid": 2, "battery_design_capacity_mwh": 50_000,
        "battery_last_full_charge_capacity_mwh": "unknown", "invalid_battery_reference": True,
    }
    assert only(ExtendedType.Get_Manufacturer_Info, b"\x01\x02") == {
        "kind": "get_manufacturer_info", "manufacturer_info_target": "battery", "manufacturer_info_ref": 2,
    }
    assert only(ExtendedType.Manufacturer_Info, b"\x34\x12\x78\x56Invented Works\0") == {
        "kind": "manufacturer_info", "vid": 0x1234, "pid": 0x5678, "manufacturer_string": "Invented Works",
    }
    assert only(ExtendedType.Manufacturer_Info, b"\x34\x12\x78\x56No end") == {
        "kind": "manufacturer_info", "vid": 0x1234, "pid": 0x5678, "manufacturer_string": "No end",
        "unterminated": True,
    }


def test_pps_status() -> None:
    assert only(ExtendedType.PPS_Status, struct.pack("<HBB", 450, 60, 0b1010)) == {
        "kind": "pps_status", "output_voltage_mv": 9000, "output_current_ma": 3000,
        "operating_mode_flag": "current limit", "present_temperature_flag": "normal",
    }
    assert only(ExtendedType.PPS_Status, b"\xff\xff\xff\x00") == {
        "kind": "pps_status", "output_voltage_mv": "not supported", "output_current_ma": "not supported",
        "operating_mode_flag": "constant voltage", "present_temperature_flag": "not supported",
    }


def test_countries() -> None:
    assert only(ExtendedType.Country_Info, b"NO\0\0\x01\x02") == {
        "kind": "country_info", "country_code": "NO", "country_specific_data": "0102",
    }
    assert only(ExtendedType.Country_Codes, b"\x02\0NODE") == {
        "kind": "country_codes", "length": 2, "country_codes": ["NO", "DE"],
    }
    wrong = message(ExtendedType.Country_Codes, b"\x03\0NODE")
    assert wrong.problems == ("the block says 3 country codes and holds 2",)


def test_protocols_control_and_vendor() -> None:
    assert only(ExtendedType.Security_Request, b"\x01\x81\x00\x00") == {
        "kind": "security", "protocol_version": 1, "message_type": "GET_DIGESTS", "param_1": 0, "param_2": 0,
        "data": "",
    }
    assert only(ExtendedType.Firmware_Update_Request, b"\x01\x81") == {
        "kind": "firmware_update", "protocol_version": 1, "message_type": "GET_FW_ID", "data": "",
    }
    assert only(ExtendedType.Extended_Control, b"\x03\x00") == {
        "kind": "extended_control", "type": "EPR_KeepAlive", "data": 0,
    }
    assert only(ExtendedType.Vendor_Defined_Extended, b"\x45\x01\x34\x12\xaa\xbb") == {
        "kind": "vendor_defined_extended", "svid": 0x1234, "structured": False, "vendor_use": 0x145, "data": "aabb",
    }


def test_epr_source_capabilities() -> None:
    words = [0x0801912C, 0x0002D12C, 0, 0, 0, 0, 0, 0x0008C1F4, 0xD3C2968C]
    block = b"".join(word.to_bytes(4, "little") for word in words)
    one = message(ExtendedType.EPR_Source_Capabilities, block, chunked=False)
    assert [part.kind for part in one.objects] == [
        "fixed", "fixed", "unused", "unused", "unused", "unused", "unused", "fixed", "epr_avs",
    ]
    assert one.objects[7]["voltage_mv"] == 28_000 and one.objects[7]["current_ma"] == 5000
    assert one.problems == ()
    assert build(one) == one.data


def test_the_epr_position_rule() -> None:
    block = b"".join(word.to_bytes(4, "little") for word in [0xD3C2968C, 0, 0, 0, 0, 0, 0, 0xC076323C])
    one = message(ExtendedType.EPR_Source_Capabilities, block, chunked=False)
    assert one.problems == (
        "object 1 is an EPR object at a position for SPR objects (1 to 7)",
        "object 8 is not an EPR object, at a position for those (8 and up)",
    )


@pytest.mark.parametrize("kind", list(ExtendedType))
def test_every_block_may_be_cut_short(kind: ExtendedType) -> None:
    """A block that ends early shows the fields that are there, and says that it is short."""
    whole = bytes(range(1, 61))
    for length in range(27):
        one = message(kind, whole[:length])
        assert build(one) == one.data
        assert one.name == kind.name


def test_an_unknown_type_keeps_its_bytes() -> None:
    one = message(29, b"\x01\x02\x03")
    assert one.name == "Reserved_extended_29"
    assert object_json(one.objects[0]) == {"kind": "bytes", "raw": "010203"}
    assert one.problems == ("extended message type 29 is reserved",)


def test_padding_that_is_not_zero_is_shown() -> None:
    data = bytearray(message(ExtendedType.Get_Battery_Cap, b"\x04").data)
    data[-1] = 0x55
    one = parse(bytes(data))
    assert object_json(one.objects[1]) == {"kind": "padding", "raw": "55"}
    assert one.problems == ("after the data comes 1 byte that is not the padding there should be",)
    assert build(one) == bytes(data)


def test_data_that_ends_early() -> None:
    whole = message(ExtendedType.Status, bytes([30, 2, 0, 0, 2, 0, 0]))
    one = parse(whole.data[:-5])
    assert one.problems[0] == "7 data bytes are announced, and 5 are there"
    assert one.objects[0]["internal_temp_c"] == 30
    assert build(one) == one.data


def test_more_than_there_may_be() -> None:
    one = message(ExtendedType.Security_Response, bytes(26), size=300)
    assert "a data size of 300 bytes is more than the 260 there may be" in one.problems
