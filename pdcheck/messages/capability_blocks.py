"""The capability blocks: Source_Capabilities_Extended and Sink_Capabilities_Extended.

Why it is: they name the maker and the true ratings, and tell a charger that cannot from one that will not.
(USB PD R3.2, Source and Sink Capabilities Extended data block tables; from memory of the specification.)
"""

from __future__ import annotations

from typing import Any

from pdcheck.messages.layout import Choice, Code, Group, Number, Reserved, Yes, block, table

_MAKER = (
    Group("vid" / Number(16) * "USB vendor ID; 0xFFFF: none"),
    Group("pid" / Number(16) * "USB product ID"),
    Group("xid" / Number(32) * "certification number, 0: none"),
    Group("fw_version" / Number(8) * "firmware version, the vendor's own count"),
    Group("hw_version" / Number(8) * "hardware version, the vendor's own count"),
)
_TOUCH = Group(
    "touch_temp" / Code(8, {0: "IEC 60950-1 or not stated", 1: "IEC 62368-1 TS1", 2: "IEC 62368-1 TS2"})
    * "standard its surface temperature keeps to"
)


def _overload(prefix: str, droop: str) -> Group:
    return Group(
        f"{prefix}vbus_voltage_droop" / Yes() * droop,
        f"{prefix}duty_cycle_percent" / Number(4, 5, "%") * "share of the time",
        f"{prefix}overload_period_ms" / Number(6, 20, "ms") * "for how long",
        f"{prefix}percent_overload" / Number(5, 10, "%") * "over the rated current",
    )


def _rating(name: str, docs: str) -> Any:
    return Group(name / Number(8, 1000, "mW") * docs)


LAYOUTS = table(
    block(
        "capability_blocks.source", "source_capabilities_extended",
        *_MAKER,
        Group(
            Reserved(5),
            "load_step_magnitude" / Choice(1, {0: "25 % of rated current", 1: "90 % of rated current"})
            * "load step it can follow",
            "load_step_slew_rate" / Choice(2, {0: "150 mA/us", 1: "500 mA/us"}) * "how fast a step it can follow",
        ),
        Group("holdup_time_ms" / Number(8, 1, "ms") * "output holds this long without input, 0: not stated"),
        Group(
            Reserved(5),
            "ps2_compliant" / Yes() * "IEC 62368-1 PS2",
            "ps1_compliant" / Yes() * "IEC 62368-1 PS1",
            "lps_compliant" / Yes() * "limited power source",
        ),
        Group(
            Reserved(5),
            "ground_pin_for_protective_earth" / Yes() * "the ground pin is protective earth",
            "ground_pin_supported" / Yes() * "has a ground pin",
            "low_touch_current_eps" / Yes() * "low touch current",
        ),
        _overload("peak_current_1_", "VBUS droops meanwhile"),
        _overload("peak_current_2_", "VBUS droops meanwhile"),
        _overload("peak_current_3_", "VBUS droops meanwhile"),
        _TOUCH,
        Group(
            Reserved(5),
            "internal_battery_present" / Yes() * "has a battery inside",
            "external_supply_unconstrained" / Yes() * "its external supply gives enough, always",
            "external_supply_present" / Yes() * "is supplied from outside",
        ),
        Group(
            "hot_swappable_battery_slots" / Number(4) * "number of them",
            "fixed_batteries" / Number(4) * "number of them",
        ),
        Group(Reserved(1), "spr_source_pdp_rating_mw" / Number(7, 1000, "mW") * "rated power up to 20 V"),
        _rating("epr_source_pdp_rating_mw", "rated power in the extended power range, 0: none"),
        title="Source Capabilities Extended data block",
    ),
    block(
        "capability_blocks.sink", "sink_capabilities_extended",
        *_MAKER,
        Group("skedb_version" / Number(8) * "version of this block"),
        Group(
            Reserved(6),
            "load_step_slew_rate" / Choice(2, {0: "150 mA/us", 1: "500 mA/us"}) * "how fast its load steps",
        ),
        _overload("sink_load_", "it can tolerate VBUS droop"),
        Group(
            Reserved(5),
            "requires_ps2_source" / Yes() * "needs an IEC 62368-1 PS2 source",
            "requires_ps1_source" / Yes() * "needs an IEC 62368-1 PS1 source",
            "requires_lps_source" / Yes() * "needs a limited power source",
        ),
        _TOUCH,
        Group(
            "hot_swappable_battery_slots" / Number(4) * "number of them",
            "fixed_batteries" / Number(4) * "number of them",
        ),
        Group(
            Reserved(2),
            "avs_support" / Yes() * "can use an adjustable voltage supply",
            "battery_essentially_unlimited" / Yes() * "has a battery that needs no charging for work",
            "battery_powered" / Yes() * "can work from a battery",
            "mains_powered" / Yes() * "can work from the mains",
            "vbus_powered" / Yes() * "can work from VBUS",
            "pps_charging_supported" / Yes() * "can charge from a programmable supply",
        ),
        _rating("spr_sink_minimum_pdp_mw", "power it needs to work at all"),
        _rating("spr_sink_operational_pdp_mw", "power it needs to work in full"),
        _rating("spr_sink_maximum_pdp_mw", "power it can use at most"),
        _rating("epr_sink_minimum_pdp_mw", "power it needs to work at all, in EPR"),
        _rating("epr_sink_operational_pdp_mw", "power it needs to work in full, in EPR"),
        _rating("epr_sink_maximum_pdp_mw", "power it can use at most, in EPR"),
        title="Sink Capabilities Extended data block",
    ),
)
