"""An object in a few words: ``"9 V, 2.33 A"``.

Why it is: a list of an offer must fit a line each, and every place that shows one should say it alike.
"""

from __future__ import annotations

from collections.abc import Callable

from pdcheck.messages.cable import cable_of
from pdcheck.messages.model import DataObject, Message


def volts(millivolts: int) -> str:
    """``5000`` as ``"5 V"``."""
    return f"{millivolts / 1000:g} V"


def amps(milliamps: int) -> str:
    """``2330`` as ``"2.33 A"``."""
    return f"{milliamps / 1000:g} A"


def watts(milliwatts: int) -> str:
    """``27000`` as ``"27 W"``."""
    return f"{milliwatts / 1000:g} W"


def _range(one: DataObject) -> str:
    return f"{one.number('min_voltage_mv') / 1000:g} to {volts(one.number('max_voltage_mv'))}"


def _fixed(one: DataObject) -> str:
    return f"{volts(one.number('voltage_mv'))}, {amps(one.number('current_ma'))}"


def _variable(one: DataObject) -> str:
    return f"variable {_range(one)}, {amps(one.number('current_ma'))}"


def _battery(one: DataObject) -> str:
    return f"battery {_range(one)}, {watts(one.number('power_mw'))}"


def _pps(one: DataObject) -> str:
    limited = ", power limited" if one.get("power_limited") is True else ""
    return f"PPS {_range(one)}, {amps(one.number('current_ma'))}{limited}"


def _spr_avs(one: DataObject) -> str:
    high = one.number("current_15v_to_20v_ma")
    said = f"AVS 9 to 15 V, {amps(one.number('current_9v_to_15v_ma'))}"
    return said + (f"; 15 to 20 V, {amps(high)}" if high else "")


def _epr_avs(one: DataObject) -> str:
    return f"AVS {_range(one)}, {watts(one.number('pdp_mw'))}"


def _request(one: DataObject) -> str:
    said = [f"object {one.number('position')}"]
    if "voltage_mv" in one.fields:
        said.append(f"{volts(one.number('voltage_mv'))}, {amps(one.number('operating_current_ma'))}")
    elif "operating_power_mw" in one.fields:
        said.append(f"{watts(one.number('operating_power_mw'))} (at most {watts(one.number('max_power_mw'))})")
    else:
        now, most = one.number("operating_current_ma"), one.number("max_current_ma")
        said.append(f"{amps(now)}" + ("" if now == most else f" (at most {amps(most)})"))
    if one.get("capability_mismatch") is True:
        said.append("capability mismatch")
    return ", ".join(said)


def _vdm_header(one: DataObject) -> str:
    svid = f"SVID 0x{one.number('svid'):04X}"
    if one.get("structured") is not True:
        return f"unstructured, {svid}"
    return f"{one['command_name']} {one['command_type']}, {svid}, version {one['version']}"


def _epr_mode(one: DataObject) -> str:
    said = str(one["action"])
    if "failure_cause" in one.fields:
        said += f": {one['failure_cause']}"
    if "epr_sink_operational_pdp_mw" in one.fields:
        said += f", {watts(one.number('epr_sink_operational_pdp_mw'))}"
    return said


def _extended_control(one: DataObject) -> str:
    return str(one.get("type", ""))


def _cable(one: DataObject) -> str:
    cable = cable_of(one)
    return cable.words() if cable is not None else ""


def _id_header(one: DataObject) -> str:
    types = [str(one[name]) for name in one.fields if name.startswith("product_type")]
    told = [text for text in types if not text.startswith("not a ")] or types[:1]
    return f"{', '.join(told)}; vendor 0x{one.number('usb_vendor_id'):04X}"


def _svids(one: DataObject) -> str:
    return ", ".join(f"0x{one.number(name):04X}" for name in ("svid_0", "svid_1") if one[name])


_SUMMARIES: dict[str, Callable[[DataObject], str]] = {
    "fixed": _fixed, "variable": _variable, "battery": _battery, "spr_pps": _pps, "spr_avs": _spr_avs,
    "epr_avs": _epr_avs, "request": _request, "vdm_header": _vdm_header, "epr_mode": _epr_mode,
    "extended_control": _extended_control, "passive_cable": _cable, "active_cable_1": _cable,
    "cable_r2": _cable, "vpd": _cable, "id_header": _id_header, "svids": _svids,
    "unused": lambda one: "empty position",
}


def summarize(one: DataObject) -> str:
    """The object in a few words; empty for a kind that has no short form."""
    make = _SUMMARIES.get(one.kind)
    return make(one) if make is not None else ""


def title(message: Message) -> str:
    """The message's name, and for a vendor or control block what it asks: ``"Vendor_Defined: ..."``."""
    said = [summarize(one) for one in message.objects[:1] if one.kind in ("vdm_header", "epr_mode", "extended_control")]
    return f"{message.name}: {said[0]}" if said and said[0] else message.name
