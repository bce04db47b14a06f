"""Numbers and parties in the words of a report.

Why it is: a technician reads "3 offers", "25 ms" and "the device (sink)"; the same everywhere.
"""

from __future__ import annotations

from pdcheck.conversation.model import Party
from pdcheck.messages.model import DataObject
from pdcheck.rules.model import Who

PARTY = {
    Who.SOURCE: "the charger side (source)",
    Who.SINK: "the device (sink)",
    Who.CABLE: "the cable",
    Who.LINK: "the CC connection between the two (contact, wire, noise)",
    Who.CAPTURE: "the capture itself",
}

#: A party at the start of a sentence.
NAME = {
    Party.SOURCE: "The charger", Party.SINK: "The device", Party.CABLE: "The cable", Party.UNKNOWN: "Somebody",
}


def party_of(party: Party) -> Who | None:
    """A party as a finding names it; None where nobody is named."""
    return None if party is Party.UNKNOWN else Who(party.value)


def span(seconds: float) -> str:
    """A length of time: ``"25 ms"``, ``"1.2 s"``, ``"180 us"``, ``"40 ns"``."""
    # What rounds to 1000 of a unit is 1 of the next one.
    if abs(seconds) >= 0.9995:
        return f"{seconds:.3g} s" if abs(seconds) < 999.5 else f"{seconds:.0f} s"
    if abs(seconds) >= 0.9995e-3:
        return f"{seconds * 1e3:.3g} ms"
    if abs(seconds) >= 0.9995e-6:
        return f"{seconds * 1e6:.3g} us"
    return f"{seconds * 1e9:.0f} ns"


def volts(millivolts: float) -> str:
    """``"9 V"``, ``"5.02 V"``."""
    return f"{millivolts / 1000:.3g} V" if millivolts % 1000 == 0 else f"{millivolts / 1000:.2f} V"


def amps(milliamps: int) -> str:
    """``"3 A"``, ``"2.25 A"``."""
    return f"{milliamps / 1000:.3g} A"


def count(number: int, noun: str) -> str:
    """``"1 offer"``, ``"3 offers"``."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def power_object(offered: DataObject) -> str:
    """An offered object in a few words: ``"9 V 3 A"``, ``"3.3 to 11 V 3 A (PPS)"``."""
    def number(name: str) -> int:
        return offered.integer(name) or 0

    kind = offered.kind
    if kind == "fixed":
        return f"{volts(number('voltage_mv'))} {amps(number('current_ma'))}"
    between = f"{volts(number('min_voltage_mv')).removesuffix(' V')} to {volts(number('max_voltage_mv'))}"
    if kind == "variable":
        return f"{between} {amps(number('current_ma'))} (variable)"
    if kind == "battery":
        return f"{between} {number('power_mw') / 1000:.3g} W (battery)"
    if kind == "spr_pps":
        return f"{between} {amps(number('current_ma'))} (PPS)"
    if kind == "spr_avs":
        return f"9 to 20 V (AVS), up to 15 V {amps(number('current_9v_to_15v_ma'))}"
    if kind == "epr_avs":
        return f"{between} {number('pdp_mw') / 1000:.3g} W (AVS)"
    return str(kind)


def request_object(wanted: DataObject) -> str:
    """A request in a few words: ``"object 2, 3 A"``, ``"object 4, 9.00 V 2 A"``."""
    words = f"object {wanted.get('position')}"
    voltage, current = wanted.integer("voltage_mv"), wanted.integer("operating_current_ma")
    power = wanted.integer("operating_power_mw")
    if voltage is not None:
        words += f", {volts(voltage)}"
    if current is not None:
        words += f", {amps(current)}"
    if power is not None:
        words += f", {power / 1000:.3g} W"
    return words


def times(number: int) -> str:
    """How often: ``"once"``, ``"twice"``, ``"3 times"``."""
    return {1: "once", 2: "twice"}.get(number, f"{number} times")
