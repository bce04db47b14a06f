"""Objects in the shape of the JSON report.

Why it is: the report, ``explain --json`` and the tests must not each have their own idea of it.
"""

from __future__ import annotations

from collections.abc import Mapping

from pdcheck.messages.model import DataObject, Value


def object_json(one: DataObject) -> dict[str, Value]:
    """``{"kind", "raw", ...fields}``.

    ``raw`` is ``"0x%08X"`` for a word, else the bytes as hex text in wire order. ``reserved_bits_set``
    stands there only when such a bit is set.
    """
    raw = f"0x{one.raw:08X}" if isinstance(one.raw, int) else one.raw
    return {"kind": one.kind, "raw": raw, **{name: _plain(value) for name, value in one.fields.items()}}


def _plain(value: Value) -> Value:
    """The same value in containers that are the caller's own."""
    if isinstance(value, list):
        return [_plain(item) for item in value]
    if isinstance(value, Mapping):
        return {name: _plain(item) for name, item in value.items()}
    return value
