"""Data blocks of the extended messages: status, batteries, manufacturer, PPS status, countries, control.

Why it is: a charger that lowers its power says in Status why it did. (USB PD R3.2, section 6.5 and its
data block tables; Status offsets and event flags compared with Linux 6.1 pd_ext_sdb.h, the others from
memory of the specification.)
"""

from __future__ import annotations

from collections.abc import Mapping

from pdcheck.messages.layout import (
    Characters,
    Choice,
    Code,
    Group,
    Number,
    Reserved,
    Tail,
    Yes,
    block,
    table,
)
from pdcheck.messages.model import Value
from pdcheck.standard.message_types import ExtendedControlType

TEMPERATURE_STATUS = {0: "not supported", 1: "normal", 2: "warning", 3: "over temperature"}
CAPACITY = {0xFFFF: "unknown"}

_INTERNAL_TEMPERATURE = Group(
    "internal_temp_c" / Number(8, 1, "°C", {0: "not supported", 1: "below 2"}) * "temperature inside"
)
_VID = Group("vid" / Number(16) * "USB vendor ID; 0xFFFF: none")
_PID = Group("pid" / Number(16) * "USB product ID")


class Text(Tail):
    """Characters up to a zero byte; what is after that, if more or less than one zero, is left over."""

    def parse(self, data: bytes, fields: Mapping[str, Value]) -> tuple[dict[str, Value], bytes]:
        text, zero, after = data.partition(b"\0")
        found: dict[str, Value] = {self.name: text.decode("latin-1")}
        if not zero:
            found["unterminated"] = True
        return found, after

    def build(self, fields: Mapping[str, Value]) -> bytes:
        text = str(fields.get(self.name, "")).encode("latin-1")
        return text if fields.get("unterminated") else text + b"\0"


class CountryCodes(Tail):
    """Two-letter codes to the end of the block; an odd byte is left over."""

    def parse(self, data: bytes, fields: Mapping[str, Value]) -> tuple[dict[str, Value], bytes]:
        whole = len(data) // 2 * 2
        codes: list[Value] = [data[at : at + 2].decode("latin-1") for at in range(0, whole, 2)]
        return {self.name: codes}, data[whole:]

    def build(self, fields: Mapping[str, Value]) -> bytes:
        codes = fields.get(self.name) or []
        assert isinstance(codes, list)
        return "".join(str(code) for code in codes).encode("latin-1")


LAYOUTS = table(
    block(
        "blocks.status", "status",
        _INTERNAL_TEMPERATURE,
        Group(
            Reserved(3),
            "internal_power_from_non_battery" / Yes() * "powered from inside, not by a battery",
            "internal_power_from_battery" / Yes() * "powered by its battery",
            "external_power_ac_dc" / Choice(1, {0: "DC", 1: "AC"}) * "kind of external power, where there is any",
            "external_power" / Yes() * "powered from outside",
            Reserved(1),
        ),
        Group(
            "present_hot_swappable_batteries" / Number(4) * "hot-swappable batteries in use, a bit each",
            "present_fixed_batteries" / Number(4) * "fixed batteries in use, a bit each",
        ),
        Group(
            Reserved(3),
            "cl_cv_mode" / Choice(1, {0: "constant voltage", 1: "current limit"}) * "regulation, in PPS only",
            "ovp_event" / Yes() * "overvoltage protection acted",
            "otp_event" / Yes() * "overtemperature protection acted",
            "ocp_event" / Yes() * "overcurrent protection acted",
            Reserved(1),
        ),
        Group(
            Reserved(5),
            "temperature_status" / Choice(2, TEMPERATURE_STATUS) * "how warm it is",
            Reserved(1),
        ),
        Group(
            Reserved(2),
            "power_limited_by_temperature" / Yes() * "gives less because it is hot",
            "power_limited_by_event" / Yes() * "gives less because an event flag is set",
            "power_limited_by_external_power" / Yes() * "gives less for want of external power",
            "power_limited_by_other_ports" / Yes() * "gives less because other ports draw power",
            "power_limited_by_cable" / Yes() * "gives less because of what the cable can carry",
            Reserved(1),
        ),
        Group(
            Reserved(2),
            "new_power_state_indicator" / Choice(3, {0: "off", 1: "on", 2: "blinking", 3: "breathing"})
            * "what the power light of the host shows",
            "new_power_state" / Choice(3, {
                0: "not supported", 1: "S0", 2: "modern standby", 3: "S3", 4: "S4", 5: "S5", 6: "G3",
            }) * "sleep state of the host",
        ),
        title="Status data block",
    ),
    block(
        "blocks.cable_status", "cable_status",
        _INTERNAL_TEMPERATURE,
        Group(Reserved(7), "thermal_shutdown" / Yes() * "the cable turned itself off, too hot"),
        title="Status data block (SOP' and SOP'')",
    ),
    block(
        "blocks.get_battery_cap", "get_battery_cap",
        Group("battery_cap_ref" / Number(8) * "which battery: 0 to 3 fixed, 4 to 7 hot-swappable"),
        title="Get Battery Cap data block",
    ),
    block(
        "blocks.get_battery_status", "get_battery_status",
        Group("battery_status_ref" / Number(8) * "which battery: 0 to 3 fixed, 4 to 7 hot-swappable"),
        title="Get Battery Status data block",
    ),
    block(
        "blocks.battery_capabilities", "battery_capabilities",
        _VID,
        _PID,
        Group("battery_design_capacity_mwh" / Number(16, 100, "mWh", CAPACITY)
              * "as designed; 0: battery not present"),
        Group("battery_last_full_charge_capacity_mwh" / Number(16, 100, "mWh", CAPACITY)
              * "when last full; 0: battery not present"),
        Group(Reserved(7), "invalid_battery_reference" / Yes() * "the battery asked for does not exist"),
        title="Battery Capability data block",
    ),
    block(
        "blocks.get_manufacturer_info", "get_manufacturer_info",
        Group("manufacturer_info_target" / Choice(8, {0: "port or cable plug", 1: "battery"}) * "of what"),
        Group("manufacturer_info_ref" / Number(8) * "which battery: 0 to 3 fixed, 4 to 7 hot-swappable"),
        title="Get Manufacturer Info data block",
    ),
    block(
        "blocks.manufacturer_info", "manufacturer_info",
        _VID,
        _PID,
        tail=Text("manufacturer_string", "the maker in words"),
        title="Manufacturer Info data block",
    ),
    block(
        "blocks.pps_status", "pps_status",
        Group("output_voltage_mv" / Number(16, 20, "mV", {0xFFFF: "not supported"}) * "voltage measured"),
        Group("output_current_ma" / Number(8, 50, "mA", {0xFF: "not supported"}) * "current measured"),
        Group(
            Reserved(4),
            "operating_mode_flag" / Choice(1, {0: "constant voltage", 1: "current limit"}) * "regulation now",
            "present_temperature_flag" / Choice(2, TEMPERATURE_STATUS) * "how warm it is",
            Reserved(1),
        ),
        title="PPS Status data block",
    ),
    block(
        "blocks.country_info", "country_info",
        Group(Reserved(16), "country_code" / Characters(2) * "ISO 3166 two-letter code"),
        tail=Tail("country_specific_data", "what that country's authority wants there"),
        title="Country Info data block",
    ),
    block(
        "blocks.country_codes", "country_codes",
        Group(Reserved(8), "length" / Number(8) * "number of codes that follow"),
        tail=CountryCodes("country_codes", "ISO 3166 two-letter codes"),
        title="Country Codes data block",
    ),
    block(
        "blocks.extended_control", "extended_control",
        Group("type" / Choice(8, {int(kind): kind.name for kind in ExtendedControlType}) * "what is asked"),
        Group("data" / Code(8, {0: "as it must be"}) * "zero for every type there is"),
        title="Extended Control data block",
    ),
    block(
        "blocks.vendor_extended", "vendor_defined_extended",
        Group(
            "svid" / Number(16) * "vendor ID whose terms these are",
            "structured" / Yes() * "clear: the rest has the vendor's own meaning",
            "vendor_use" / Number(15) * "meaning left to the vendor",
        ),
        tail=Tail("data", "meaning left to the vendor"),
        title="Vendor Defined Extended data block",
    ),
)
