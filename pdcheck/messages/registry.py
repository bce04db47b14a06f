"""Finds a declaration by name, importing its family only then.

Why it is: most captures speak of fixed supplies and nothing else, and a command that starts a third of a
second sooner is used more. A layout's name begins with the module that declares it.
"""

from __future__ import annotations

from importlib import import_module

from pdcheck.messages.layout import Layout
from pdcheck.messages.model import DataObject

FAMILIES = (
    "power", "request", "header", "bist", "notices", "modes", "vendor", "identity", "displayport",
    "blocks", "capability_blocks", "protocols",
)


def family(name: str) -> dict[str, Layout]:
    """The layouts that a module of this room declares, by full name. KeyError for no such family."""
    if name not in FAMILIES:
        raise KeyError(name)
    layouts: dict[str, Layout] = import_module(f"pdcheck.messages.{name}").LAYOUTS
    return layouts


def find_layout(name: str) -> Layout:
    """The layout of that full name (``"power.fixed_source"``). KeyError where there is none."""
    return family(name.partition(".")[0])[name]


def layout_for(kind: str, fields: set[str]) -> Layout:
    """The layout of that kind whose bit fields hold all of ``fields``.

    :raises ValueError: there is none.
    """
    known = False
    for name in FAMILIES:
        for layout in family(name).values():
            if layout.kind != kind:
                continue
            known = True
            if fields <= set(layout.names):
                return layout
    reason = f"no layout of kind {kind!r} has all of {sorted(fields)}" if known else f"no object is of kind {kind!r}"
    raise ValueError(reason)


def bytes_of(data_object: DataObject) -> bytes:
    """The object's bytes on the wire, built from its fields by its declaration.

    An object that no layout describes is known only by its bytes and gives those.
    """
    if data_object.layout:
        return find_layout(data_object.layout).build(data_object.fields)
    if isinstance(data_object.raw, int):
        return data_object.raw.to_bytes(4, "little")
    return bytes.fromhex(data_object.raw)
