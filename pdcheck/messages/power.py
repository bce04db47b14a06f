"""Power data objects: what a source offers and what a sink needs.

Why it is: the offer is where most negotiations are decided. Each layout is read beside the
specification's table of the same name (USB PD R3.2, section 6.4.1; bits 31:25 and 19:0 compared with
Linux 6.1 pd.h, the others from memory of the specification).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Literal

from pdcheck.messages.layout import Code, Layout, Number, Reserved, TypeCode, Yes, table, word
from pdcheck.messages.model import DataObject
from pdcheck.standard.offers import SPR_FIXED_HIGHEST_MV
from pdcheck.standard.sizes import SPR_PLACES

Side = Literal["source", "sink"]

PEAK_FIXED = {
    0: "as the rated current, or see Source_Capabilities_Extended",
    1: "150 % for 1 ms, 125 % for 2 ms, 110 % for 10 ms",
    2: "200 % for 1 ms, 150 % for 2 ms, 125 % for 10 ms",
    3: "200 % for 1 ms, 175 % for 2 ms, 150 % for 10 ms",
}
FAST_ROLE_SWAP = {
    0: "fast role swap not supported", 1: "default USB power", 2: "1.5 A at 5 V", 3: "3.0 A at 5 V",
}


def _kind(code: int, meaning: str) -> Any:
    return TypeCode(2, code, meaning) * "object type"


def _augmented(code: int, meaning: str) -> Any:
    return TypeCode(2, code, meaning) * "augmented object type"


def _millivolts(name: str, bits: int, step: int, docs: str) -> Any:
    return name / Number(bits, step, "mV") * docs


def _milliamps(name: str, bits: int, step: int, docs: str) -> Any:
    return name / Number(bits, step, "mA") * docs


def _peak() -> Any:
    return "peak_current" / Code(2, PEAK_FIXED) * "overload the source can stand"


_FIXED = _kind(0, "fixed supply")
_AUGMENTED = _kind(3, "augmented")
_DUAL_ROLE_POWER = "dual_role_power" / Yes() * "can be source and sink"
_UNCONSTRAINED = "unconstrained_power" / Yes() * "has a power source of its own, such as a mains adapter"
_USB_COMMUNICATIONS = "usb_communications_capable" / Yes() * "can speak USB data"
_DUAL_ROLE_DATA = "dual_role_data" / Yes() * "can be host and device"
_FIXED_VOLTAGE = _millivolts("voltage_mv", 10, 50, "nominal voltage")
_RANGE = (
    _millivolts("max_voltage_mv", 10, 50, "highest voltage"),
    _millivolts("min_voltage_mv", 10, 50, "lowest voltage"),
)

LAYOUTS = table(
    word(
        "power.fixed_source", "fixed",
        _FIXED,
        _DUAL_ROLE_POWER,
        "usb_suspend_supported" / Yes() * "the sink must draw suspend current when the bus is suspended",
        _UNCONSTRAINED,
        _USB_COMMUNICATIONS,
        _DUAL_ROLE_DATA,
        "unchunked_extended_messages_supported" / Yes() * "long messages may come in one piece",
        "epr_capable" / Yes() * "can enter the extended power range",
        Reserved(1),
        _peak(),
        _FIXED_VOLTAGE,
        _milliamps("current_ma", 10, 10, "highest current"),
        title="Fixed supply, source",
    ),
    word(
        "power.fixed_sink", "fixed",
        _FIXED,
        _DUAL_ROLE_POWER,
        "higher_capability" / Yes() * "needs more than 5 V to work in full",
        _UNCONSTRAINED,
        _USB_COMMUNICATIONS,
        _DUAL_ROLE_DATA,
        "fast_role_swap_required_current" / Code(2, FAST_ROLE_SWAP) * "current needed after a fast role swap",
        Reserved(3),
        _FIXED_VOLTAGE,
        _milliamps("current_ma", 10, 10, "operational current"),
        title="Fixed supply, sink",
    ),
    word(
        "power.battery", "battery",
        _kind(1, "battery"),
        *_RANGE,
        "power_mw" / Number(10, 250, "mW") * "highest power (source) or operational power (sink)",
        title="Battery supply",
    ),
    word(
        "power.variable", "variable",
        _kind(2, "variable supply"),
        *_RANGE,
        _milliamps("current_ma", 10, 10, "highest current (source) or operational current (sink)"),
        title="Variable supply",
    ),
    word(
        "power.spr_pps_source", "spr_pps",
        _AUGMENTED,
        _augmented(0, "SPR programmable power supply"),
        "power_limited" / Yes() * "lowers its current at high voltage to keep to its rated power",
        Reserved(2),
        _millivolts("max_voltage_mv", 8, 100, "highest voltage"),
        Reserved(1),
        _millivolts("min_voltage_mv", 8, 100, "lowest voltage"),
        Reserved(1),
        _milliamps("current_ma", 7, 50, "highest current"),
        title="SPR programmable power supply, source",
    ),
    word(
        "power.spr_pps_sink", "spr_pps",
        _AUGMENTED,
        _augmented(0, "SPR programmable power supply"),
        Reserved(3),
        _millivolts("max_voltage_mv", 8, 100, "highest voltage"),
        Reserved(1),
        _millivolts("min_voltage_mv", 8, 100, "lowest voltage"),
        Reserved(1),
        _milliamps("current_ma", 7, 50, "highest current"),
        title="SPR programmable power supply, sink",
    ),
    word(
        "power.epr_avs_source", "epr_avs",
        _AUGMENTED,
        _augmented(1, "EPR adjustable voltage supply"),
        _peak(),
        _millivolts("max_voltage_mv", 9, 100, "highest voltage"),
        Reserved(1),
        _millivolts("min_voltage_mv", 8, 100, "lowest voltage"),
        "pdp_mw" / Number(8, 1000, "mW") * "rated power",
        title="EPR adjustable voltage supply, source",
    ),
    word(
        "power.epr_avs_sink", "epr_avs",
        _AUGMENTED,
        _augmented(1, "EPR adjustable voltage supply"),
        Reserved(2),
        _millivolts("max_voltage_mv", 9, 100, "highest voltage"),
        Reserved(1),
        _millivolts("min_voltage_mv", 8, 100, "lowest voltage"),
        "pdp_mw" / Number(8, 1000, "mW") * "power needed",
        title="EPR adjustable voltage supply, sink",
    ),
    word(
        "power.spr_avs_source", "spr_avs",
        _AUGMENTED,
        _augmented(2, "SPR adjustable voltage supply"),
        _peak(),
        Reserved(6),
        _milliamps("current_9v_to_15v_ma", 10, 10, "highest current from 9 V to 15 V"),
        _milliamps("current_15v_to_20v_ma", 10, 10, "highest current from 15 V to 20 V; 0: goes to 15 V only"),
        title="SPR adjustable voltage supply, source",
    ),
    word(
        "power.spr_avs_sink", "spr_avs",
        _AUGMENTED,
        _augmented(2, "SPR adjustable voltage supply"),
        Reserved(8),
        _milliamps("current_9v_to_15v_ma", 10, 10, "current needed from 9 V to 15 V"),
        _milliamps("current_15v_to_20v_ma", 10, 10, "current needed from 15 V to 20 V; 0: goes to 15 V only"),
        title="SPR adjustable voltage supply, sink",
    ),
    word(
        "power.augmented_reserved", "augmented_reserved",
        _AUGMENTED,
        _augmented(3, "reserved"),
        Reserved(28),
        title="Augmented power data object of a reserved type",
    ),
)
UNUSED = DataObject("unused", 0)
"""A position left empty in an EPR capabilities message: the word is zero."""


def power_layout(raw: int, side: Side) -> Layout:
    """The layout that the word's own type bits choose."""
    kind = raw >> 30
    if kind == 0:
        return LAYOUTS[f"power.fixed_{side}"]
    if kind == 1:
        return LAYOUTS["power.battery"]
    if kind == 2:
        return LAYOUTS["power.variable"]
    augmented = ("spr_pps", "epr_avs", "spr_avs")
    which = raw >> 28 & 3
    return LAYOUTS["power.augmented_reserved" if which == 3 else f"power.{augmented[which]}_{side}"]


@lru_cache(maxsize=8192)
def parse_power_object(raw: int, *, side: Side) -> DataObject:
    """The power object in a 32-bit word. ValueError for a wider number or another ``side``."""
    if not 0 <= raw <= 0xFFFFFFFF:
        raise ValueError("a power data object has 32 bits")
    if side not in ("source", "sink"):
        raise ValueError("side is 'source' or 'sink'")
    return power_layout(raw, side).parse_word(raw)


def parse_epr_objects(words: tuple[int, ...], side: Side) -> tuple[DataObject, ...]:
    """The objects of an EPR capabilities message; an empty SPR position is of kind ``unused``."""
    return tuple(
        UNUSED if raw == 0 and index < SPR_PLACES else parse_power_object(raw, side=side)
        for index, raw in enumerate(words)
    )


def position_problem(power_object: DataObject, position: int) -> str | None:
    """What contradicts the EPR position rule: 1 to 7 are SPR objects, 8 and up are EPR objects.

    :param position: counted from 1, as a request does.
    """
    kind = power_object.kind
    is_epr = kind == "epr_avs" or (kind == "fixed" and power_object.number("voltage_mv") > SPR_FIXED_HIGHEST_MV)
    if position <= SPR_PLACES:
        return f"object {position} is an EPR object at a position for SPR objects (1 to 7)" if is_epr else None
    return None if is_epr else f"object {position} is not an EPR object, at a position for those (8 and up)"
