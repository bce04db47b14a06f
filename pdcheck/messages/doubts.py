"""What speaks against an object being what it is taken for.

Why it is: any 32 bits can be read as any object. ``explain`` shows first what the bits fit without a
contradiction, and says of the rest what does not fit. Nothing here judges a negotiation.
"""

from __future__ import annotations

from collections.abc import Callable

from pdcheck.messages.layout import REST
from pdcheck.messages.model import DataObject
from pdcheck.messages.vendor import COMMANDS, FIRST_SVID_COMMAND, SVID_PD
from pdcheck.standard import offers as limits
from pdcheck.standard.sizes import ALL_PLACES

#: The fields of a range reach a little further than the 48 V that may be offered. Our own choice.
_HIGHEST_MV = 50_000


def doubts(one: DataObject) -> tuple[str, ...]:
    """Clauses, each a reason; empty where nothing speaks against the reading."""
    said: list[str] = []
    bits = one.get("reserved_bits_set")
    if isinstance(bits, list) and bits:
        plural = len(bits) > 1
        numbers = ", ".join(str(bit) for bit in bits)
        said.append(f"reserved bit{'s' * plural} {numbers} {'are' if plural else 'is'} set")
    if REST in one.fields:
        said.append("the number of bytes is not that of the block")
    find = _FINDERS.get(one.kind)
    if find is not None:
        said.extend(find(one))
    return tuple(said)


def _voltage(millivolts: int, highest: int = _HIGHEST_MV) -> list[str]:
    if limits.PPS_LOWEST_MV <= millivolts <= highest:
        return []
    return [f"{millivolts / 1000:g} V is no voltage of USB Power Delivery here"]


def _current(milliamps: int) -> list[str]:
    if 0 < milliamps <= limits.MOST_CURRENT_MA:
        return []
    return [f"{milliamps / 1000:g} A is no current of USB Power Delivery"]


def _span(one: DataObject, highest: int = _HIGHEST_MV) -> list[str]:
    low, high = one.number("min_voltage_mv"), one.number("max_voltage_mv")
    if low >= high:
        return [f"its lowest voltage, {low / 1000:g} V, is not below its highest, {high / 1000:g} V"]
    return _voltage(low) + _voltage(high, highest)


def _fixed(one: DataObject) -> list[str]:
    return _voltage(one.number("voltage_mv")) + _current(one.number("current_ma"))


def _variable(one: DataObject) -> list[str]:
    return _span(one) + _current(one.number("current_ma"))


def _battery(one: DataObject) -> list[str]:
    return _span(one) + ([] if one.number("power_mw") else ["0 W is no power"])


def _pps(one: DataObject) -> list[str]:
    return _span(one, limits.PPS_HIGHEST_MV) + _current(one.number("current_ma"))


def _spr_avs(one: DataObject) -> list[str]:
    high = one.number("current_15v_to_20v_ma")
    return _current(one.number("current_9v_to_15v_ma")) + (_current(high) if high else [])


def _epr_avs(one: DataObject) -> list[str]:
    return _span(one) + ([] if one.number("pdp_mw") else ["0 W is no power"])


def _request(one: DataObject) -> list[str]:
    said: list[str] = []
    if not 1 <= one.number("position") <= ALL_PLACES:
        said.append(f"there is no position {one.number('position')}")
    if "operating_power_mw" in one.fields:
        now, most = one.number("operating_power_mw"), one.number("max_power_mw")
        if not 0 < max(now, most) <= limits.SPR_MOST_MW:
            said.append(f"{max(now, most) / 1000:g} W is no power of a battery supply")
    else:
        now = one.number("operating_current_ma")
        most = one.number("max_current_ma") if "max_current_ma" in one.fields else now
        said.extend(_current(now))
        said.extend(_current(most) if most != now else [])
    if one.get("giveback") is False and now > most:
        said.append("it asks for more than the most it says it draws")
    if "voltage_mv" in one.fields:
        highest = limits.PPS_HIGHEST_MV if one.layout == "request.pps" else _HIGHEST_MV
        said.extend(_voltage(one.number("voltage_mv"), highest))
        if one.layout == "request.avs" and one.number("voltage_mv") % 100:
            said.append("its voltage is no multiple of 100 mV")
    return said


def _vdm_header(one: DataObject) -> list[str]:
    svid = one.number("svid")
    said = [] if svid else ["SVID 0 is nobody's"]
    if one.get("structured") is not True:
        return [*said, "any word with bit 15 clear could be an unstructured one"]
    command = one.number("command")
    if command not in COMMANDS and command < FIRST_SVID_COMMAND:
        said.append(f"command {command} is reserved")
    if command in (1, 2) and svid != SVID_PD:
        said.append(f"{COMMANDS[command]} goes with SVID 0xFF00")
    if one.get("version") not in ("1.0", "2.0", "2.1"):
        said.append(f"there is no structured VDM version {one.get('version')}")
    return said


def _reserved_code(name: str) -> Callable[[DataObject], list[str]]:
    def find(one: DataObject) -> list[str]:
        value = one.get(name)
        return [f"{name} {value} is reserved"] if isinstance(value, int) else []

    return find


def _revision(one: DataObject) -> list[str]:
    return [] if one.number("revision_major") in (2, 3) else ["there is no such revision"]


def _alert(one: DataObject) -> list[str]:
    return [] if any(value is True for value in one.fields.values()) else ["it reports nothing"]


_FINDERS: dict[str, Callable[[DataObject], list[str]]] = {
    "fixed": _fixed, "variable": _variable, "battery": _battery, "spr_pps": _pps, "spr_avs": _spr_avs,
    "epr_avs": _epr_avs, "request": _request, "vdm_header": _vdm_header, "bist": _reserved_code("mode"),
    "epr_mode": _reserved_code("action"), "revision": _revision, "alert": _alert,
    "augmented_reserved": lambda one: ["the type bits are reserved"],
}
