"""From what was typed, by name, to readings.

Why it is: options and questions take the same words, and refuse the same ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import TypeVar

from pdcheck.bench.quantity import Kind, parse
from pdcheck.bench.readings import Advertisement, Contract, Meter, Ohms, Partner, Readings, Side, Volts
from pdcheck.errors import InputError

_Read = Callable[[str], object]
_Chosen = TypeVar("_Chosen", Side, Partner, Advertisement)

_SIDES = {"device": Side.DEVICE, "charger": Side.CHARGER, "cable": Side.CABLE}
_PARTNERS = {
    "charger": Partner.CHARGER, "legacy-charger": Partner.LEGACY, "device": Partner.DEVICE, "nothing": Partner.NOTHING,
}
_ADVERTISED = {
    "default": Advertisement.DEFAULT, "1.5": Advertisement.A1_5, "3.0": Advertisement.A3_0, "3": Advertisement.A3_0,
}
_CONTRACT = re.compile(
    r"(?P<volts>[0-9]+(?:[.,][0-9]+)? ?(?:mv|v)?)(?:\s*[,;/@ ]\s*(?P<amps>[0-9]+(?:[.,][0-9]+)? ?(?:ma|a)))?",
    re.IGNORECASE,
)
#: Below this input resistance a meter tells nothing of CC.
_LEAST_METER_OHM = 10e3


def _number(kind: Kind) -> _Read:
    return lambda text: parse(text, kind)


def _one_of(words: Mapping[str, _Chosen]) -> _Read:
    def read(text: str) -> _Chosen:
        clean = re.sub(r"(?<=[0-9])\s*(a|amps?)$", "", text.strip().lower()).replace(",", ".").replace(" ", "-")
        found = words.get(clean)
        if found is None:
            # The beginning of a word will do where it begins only one.
            starts = {v for k, v in words.items() if clean and k.startswith(clean)}
            if len(starts) != 1:
                raise InputError(f"{text.strip()[:24]!r} is none of them", "say " + ", ".join(words))
            found = next(iter(starts))
        return found

    return read


def _contract(text: str) -> Contract:
    found = _CONTRACT.fullmatch(text.strip())
    if found is None:
        raise InputError(f"{text.strip()[:24]!r} is no contract", "type for example 9V,1.8A")
    volts = parse(found["volts"], Kind.VOLTS)
    if volts <= 0:
        raise InputError(f"{text.strip()[:24]!r} is no contract", "type for example 9V,1.8A")
    amps = parse(found["amps"], Kind.MILLIAMPS) if found["amps"] else None
    return Contract(round(volts * 1000), None if amps is None else round(amps))


def _percent(text: str) -> float:
    clean = text.strip().removesuffix("%").strip().replace(",", ".")
    if not re.fullmatch(r"[0-9]{1,3}(\.[0-9]{1,6})?", clean) or float(clean) > 50:
        raise InputError(f"{text.strip()[:24]!r} is no accuracy", "type percent from 0 to 50, for example 0.5")
    return float(clean)


def _meter_ohms(text: str) -> float:
    ohms = parse(text, Kind.OHMS)
    if ohms < _LEAST_METER_OHM:
        raise InputError(f"{text.strip()[:24]!r} is too little for a meter on CC", "use one of 1 Mohm or more")
    return ohms


_VOLTS = ("cc1", "cc2", "vbus")
_FLIPPED = ("flipped_cc1", "flipped_cc2", "flipped_vbus")
_OHMS = ("ohm_cc1", "ohm_cc2", "ohm_cc1_cc2", "ohm_cc1_vbus", "ohm_cc2_vbus", "ohm_vbus")

_FIELDS: dict[str, _Read] = {
    **dict.fromkeys((*_VOLTS, *_FLIPPED), _number(Kind.VOLTS)),
    **dict.fromkeys(_OHMS, _number(Kind.OHMS)),
    "current": _number(Kind.MILLIAMPS),
    "contract": _contract,
    "side": _one_of(_SIDES),
    "partner": _one_of(_PARTNERS),
    "advertises": _one_of(_ADVERTISED),
    "accuracy": _percent,
    "meter_ohms": _meter_ohms,
}


def value_of(name: str, text: str) -> object:
    """The value of one field.

    :raises InputError: where the text cannot be used for it.
    """
    return _FIELDS[name](text)


def readings_of(typed: Mapping[str, str]) -> Readings:
    """Readings from texts by name (``cc1``, ``flipped_vbus``, ``ohm_cc1``, ``side``, ...).

    :raises InputError: naming the option whose text cannot be used.
    """
    values: dict[str, object] = {}
    for name, text in typed.items():
        try:
            values[name] = value_of(name, text)
        except InputError as error:
            raise InputError(f"--{name.replace('_', '-')}: {error.what}", error.remedy) from None

    def number(name: str) -> float | None:
        value = values.get(name)
        return value if isinstance(value, float) else None

    side, partner, advertises = values.get("side"), values.get("partner"), values.get("advertises")
    contract = values.get("contract")
    accuracy, meter_ohms = number("accuracy"), number("meter_ohms")
    usual = Meter()
    return Readings(
        side=side if isinstance(side, Side) else None,
        partner=partner if isinstance(partner, Partner) else None,
        advertises=advertises if isinstance(advertises, Advertisement) else None,
        volts=Volts(*(number(n) for n in _VOLTS)),
        flipped=Volts(*(number(n) for n in _FLIPPED)),
        ohms=Ohms(*(number(n) for n in _OHMS)),
        current_ma=number("current"),
        contract=contract if isinstance(contract, Contract) else None,
        meter=Meter(
            usual.accuracy_pct if accuracy is None else accuracy, usual.ohms if meter_ohms is None else meter_ohms,
        ),
    )
