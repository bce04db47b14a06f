"""Which declaration builds an object that is given by kind and fields.

Why it is: a kind of the JSON report may stand for several layouts (source and sink, the four requests).
"""

from __future__ import annotations

from collections.abc import Mapping

from pdcheck.messages.layout import RESERVED, REST, Layout
from pdcheck.messages.registry import find_layout, layout_for
from pdcheck.messages.request import LAYOUT_OF_KIND

DERIVED = {"command_name", "structured", RESERVED, REST}
"""Fields of a report that are no bit fields."""


def layout_to_build(kind: str, side: str, offered: str, fields: Mapping[str, object]) -> Layout:
    """The layout for the kind and fields. ValueError where none fits."""
    if side not in ("source", "sink"):
        raise ValueError("side is 'source' or 'sink'")
    named = set(fields) - DERIVED
    if kind == "request" and offered:
        if offered not in LAYOUT_OF_KIND:
            raise ValueError(f"no object of kind {offered!r} can be asked for")
        return _checked(find_layout(LAYOUT_OF_KIND[offered]), named)
    if kind == "vdm_header":
        plain = fields.get("structured") is False or "vendor_use" in named
        return _checked(find_layout(f"vendor.{'un' if plain else ''}structured_header"), named)
    for name in (f"power.{kind}_{side}", f"power.{kind}"):
        try:
            return _checked(find_layout(name), named)
        except KeyError:
            continue
    return layout_for(kind, named)


def _checked(layout: Layout, named: set[str]) -> Layout:
    unknown = named - set(layout.names)
    if unknown:
        raise ValueError(f"{layout.title or layout.kind} has no field {', '.join(sorted(unknown))}")
    return layout
