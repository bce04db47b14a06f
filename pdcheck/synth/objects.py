"""Data objects as a scenario writes them, to words.

Why it is: ``9V 2.25A`` and ``object 2 at 2A`` are what a technician would say; the field names of the JSON report
serve for everything else, so that any object of the specification can be written without a second vocabulary.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from pdcheck.messages import build_object
from pdcheck.synth.words import AMPS, VOLTS, WATTS, Complaint, blocks, milli, quantity, shown, span, unquoted, whole

_NAME = re.compile(r"[a-z][a-z0-9_]*")
_EXAMPLE = "5V 3A, pps 3.3V-11V 3A, object 2 2A, or 0x0001912C"
_ADJUSTABLE = ("spr_pps", "spr_avs", "epr_avs")


def offer_word(text: str, side: str) -> tuple[int, str]:
    """A power object: ``5V 3A``, ``pps 3.3V-11V 3A``, ``variable``, ``battery``, ``avs``, with further fields by name.

    :param side: ``"source"`` or ``"sink"``.
    :returns: the word and its kind (``""`` for a raw word).
    """
    words = blocks(text)
    if words and words[0].lower().startswith("0x"):
        return _raw(words), ""
    given, rest = [word.lower() for word in words[:1] if quantity(word, VOLTS) is None], words
    kind = "fixed"
    if given:
        rest = words[1:]
        kind = {"pps": "spr_pps", "avs": "spr_avs"}.get(given[0], given[0])
    numbers, fields = _split(rest)
    if kind == "fixed":
        volts, amps = _take(numbers, 2, text)
        fields["voltage_mv"], fields["current_ma"] = _mv(volts), _ma(amps)
    elif kind in ("variable", "battery", "spr_pps", "epr_avs"):
        reach, limit = _take(numbers, 2, text)
        fields["min_voltage_mv"], fields["max_voltage_mv"] = _mv_span(reach)
        if kind == "battery":
            fields["power_mw"] = _mw(limit)
        elif kind == "epr_avs":
            fields["pdp_mw"] = _mw(limit)
        else:
            fields["current_ma"] = _ma(limit)
    elif kind == "spr_avs":
        low, high = _take(numbers, 2, text)
        fields["current_9v_to_15v_ma"], fields["current_15v_to_20v_ma"] = _ma(low), _ma(high)
    else:
        raise Complaint(f"{shown(words[0])} is no kind of supply", "write variable, battery, pps, avs or epr_avs")
    return _build(kind, side, "", fields), kind


def request_word(text: str, offered: Sequence[str]) -> int:
    """A request: ``object 2 2A``, ``object 2 2A max 2.25A``, ``object 4 9V 2A``, ``object 3 18W``, with flags by name.

    :param offered: the kinds of the objects in the last offer, the first being object 1.
    """
    words = blocks(text)
    if words and words[0].lower().startswith("0x"):
        return _raw(words)
    if len(words) < 2 or words[0].lower() != "object":
        raise Complaint(f"{shown(text)} is no request", "write it like: object 2 2A")
    position = whole(words[1], 0, 15, "object position")
    kind = offered[position - 1] if 1 <= position <= len(offered) else ""
    numbers, fields = _split([word for word in words[2:] if word.lower() not in ("max", "at")])
    fields["position"] = position
    if numbers and quantity(numbers[0], VOLTS) is not None:
        if kind and kind not in _ADJUSTABLE:
            raise Complaint(f"object {position} is no adjustable supply", f"leave the volts out: object {position} 2A")
        volts, amps = _take(numbers, 2, text)
        fields["voltage_mv"], fields["operating_current_ma"] = _mv(volts), _ma(amps)
        kind = kind if kind in _ADJUSTABLE else "spr_pps"
    elif numbers and quantity(numbers[0], WATTS) is not None:
        kind = "battery"
        fields["operating_power_mw"] = _mw(numbers[0])
        fields["max_power_mw"] = _mw(numbers[-1])
        _take(numbers, len(numbers[:2]), text)
    elif kind in _ADJUSTABLE:
        raise Complaint(f"object {position} is adjustable", f"say the voltage too: object {position} 9V 2A")
    else:
        if len(numbers) not in (1, 2):
            raise Complaint(f"{shown(text)} is no request", "write it like: object 2 2A max 2.25A")
        kind = "fixed"
        fields["operating_current_ma"], fields["max_current_ma"] = _ma(numbers[0]), _ma(numbers[-1])
    return _build("request", "source", kind, fields)


def any_word(text: str) -> int:
    """Any other object: a raw word, or a kind of the JSON report with its fields (``kind field=value field``)."""
    words = blocks(text)
    if not words:
        raise Complaint("an object is empty", f"write it like {_EXAMPLE}")
    if words[0].lower().startswith("0x"):
        return _raw(words)
    if _NAME.fullmatch(words[0]) is None:
        raise Complaint(f"{shown(words[0])} is no object", f"write it like {_EXAMPLE}")
    numbers, fields = _split(words[1:])
    _take(numbers, 0, text)
    return _build(words[0], "source", "", fields)


def hex_bytes(text: str) -> bytes:
    """Bytes in hexadecimal, with or without blanks between them."""
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise Complaint(f"{shown(text)} are no bytes", "write two hexadecimal digits a byte: 61 11 2c 91") from None


def _raw(words: list[str]) -> int:
    if len(words) != 1:
        raise Complaint(f"{shown(' '.join(words))} is more than a raw word", "separate objects with ;")
    return whole(words[0], 0, 0xFFFFFFFF, "32-bit word")


def _split(words: list[str]) -> tuple[list[str], dict[str, object]]:
    """The quantities, and the fields that are given by name."""
    numbers: list[str] = []
    fields: dict[str, object] = {}
    for word in words:
        name, equals, value = word.partition("=")
        if _NAME.fullmatch(name) is None:
            numbers.append(word)
        elif not equals:
            fields[name] = True
        elif value.startswith('"'):
            fields[name] = unquoted(value)
        else:
            fields[name] = whole(value, 0, 0xFFFFFFFF, f"value of {name}")
    return numbers, fields


def _take(numbers: list[str], count: int, text: str) -> list[str]:
    if len(numbers) != count:
        raise Complaint(f"{shown(text)} is no object", f"write it like {_EXAMPLE}")
    return numbers


def _mv(text: str) -> int:
    return _milli(text, VOLTS, "volts", "9V")


def _ma(text: str) -> int:
    return _milli(text, AMPS, "amps", "2.25A")


def _mw(text: str) -> int:
    return _milli(text, WATTS, "watts", "27W")


def _milli(text: str, units: dict[str, Decimal], what: str, example: str) -> int:
    value = quantity(text, units)
    if value is None or value < 0:
        raise Complaint(f"{shown(text)} are no {what}", f"write it like {example}")
    return milli(value, text)


def _mv_span(text: str) -> tuple[int, int]:
    found = span(text, VOLTS)
    if found is None:
        raise Complaint(f"{shown(text)} is no range of volts", "write it like 3.3V-11V")
    return milli(found[0], text), milli(found[1], text)


def _build(kind: str, side: str, offered: str, fields: dict[str, object]) -> int:
    try:
        return build_object(kind, side=side, offered=offered, **fields)
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        reason = str(error).replace("\n", " ")
        raise Complaint(
            f"the object cannot be built: {reason[:120]}", "use the fields, values and steps of the specification"
        ) from None
