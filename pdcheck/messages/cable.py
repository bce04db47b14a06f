"""A cable's own account of itself, summed up.

Why it is: "5 A, 50 V, EPR, about 1 m" is what decides whether a cable holds a charger back; the seven
fields that say so are spread over three objects and two revisions.
"""

from __future__ import annotations

from dataclasses import dataclass

from pdcheck.messages.model import DataObject, Message

_AMPS = {"3 A": 3000, "5 A": 5000}
_VOLTS = {"20 V": 20000, "30 V": 30000, "40 V": 40000, "50 V": 50000}
_KINDS = {"passive_cable": "passive cable", "active_cable_1": "active cable", "vpd": "VCONN-powered USB device"}


@dataclass(frozen=True)
class CableSummary:
    """What a Discover Identity answer on SOP' says the cable can do.

    :ivar kind: ``"passive cable"``, ``"active cable"``, ``"VCONN-powered USB device"``.
    :ivar current_ma: VBUS current it can carry; None where it does not say 3 A or 5 A.
    :ivar max_voltage_mv: VBUS voltage it can stand; None where the layout does not say (R2.0).
    :ivar speed: fastest USB signalling in words; None where it has none or does not say.
    :ivar length: its length class in words; None where it does not say.
    :ivar epr: made for the extended power range; None where the layout does not say (R2.0).
    """

    kind: str
    current_ma: int | None
    max_voltage_mv: int | None
    speed: str | None
    length: str | None
    epr: bool | None

    def words(self) -> str:
        """The summary as one clause."""
        said = [
            self.kind,
            "current not stated" if self.current_ma is None else f"{self.current_ma / 1000:g} A",
        ]
        if self.max_voltage_mv is not None:
            said.append(f"up to {self.max_voltage_mv / 1000:g} V")
        said.extend(text for text in (self.speed, self.length) if text)
        if self.epr is not None:
            said.append("EPR" if self.epr else "not EPR")
        return ", ".join(said)


def cable_summary(message: Message) -> CableSummary | None:
    """The cable in a Discover Identity answer; None where the message is not one of a cable."""
    active = any(one.get("product_type_cable") == "active cable" for one in message.objects)
    for one in message.objects:
        summary = cable_of(one, active=active)
        if summary is not None:
            return summary
    return None


def cable_of(one: DataObject, *, active: bool = False) -> CableSummary | None:
    """The cable that one VDO describes; None where it is no cable or VPD VDO.

    :param active: for the R2.0 layout, which is the same for both, that the ID header says active.
    """
    if one.kind in ("passive_cable", "active_cable_1"):
        return _modern(one)
    if one.kind == "cable_r2":
        return CableSummary(
            "active cable" if active else "passive cable", _current(one, "vbus_current_handling_capability"), None,
            _word(one, "usb_superspeed_signaling_support"), _word(one, "cable_latency"), None,
        )
    if one.kind == "vpd":
        through = one.get("charge_through_support") is True
        current = _current(one, "charge_through_current_support") if through else None
        return CableSummary(_KINDS["vpd"], current, _voltage(one), None, None, None)
    return None


def _modern(one: DataObject) -> CableSummary:
    carries = one.kind == "passive_cable" or one.get("vbus_through_cable") is True
    return CableSummary(
        _KINDS[one.kind], _current(one, "vbus_current_handling_capability") if carries else None, _voltage(one),
        _word(one, "usb_highest_speed"), _word(one, "cable_latency"), one.get("epr_capable") is True,
    )


def _current(one: DataObject, name: str) -> int | None:
    return _AMPS.get(str(one.get(name)))


def _voltage(one: DataObject) -> int | None:
    return _VOLTS.get(str(one.get("maximum_vbus_voltage")))


def _word(one: DataObject, name: str) -> str | None:
    """A field in words; None where its code is reserved or it is not there."""
    value = one.get(name)
    return value if isinstance(value, str) else None
