"""A sample rate as people type it: ``4000000``, ``4e6``, ``4M``, ``4 MHz``, ``4MS/s``.

Why it is: analyzers show their rate as "4 MS/s", and that is what gets typed.
"""

from __future__ import annotations

import re

import click

_RATE = re.compile(r"\s*([^\sa-df-z]+?)\s*([kmg]?)(?:hz|sa?/s|sps)?\s*", re.IGNORECASE)
_PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}


def hertz(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    """The rate in hertz, as an option's callback."""
    if value is None:
        return None
    found = _RATE.fullmatch(value)
    try:
        if found is None:
            raise ValueError
        return float(found[1].replace(",", ".")) * _PREFIX[found[2].lower()]
    except ValueError:
        raise click.BadParameter(
            f"{value!r} is no sample rate: give samples a second, as 4000000, 4e6 or 4M", ctx=ctx, param=param
        ) from None
