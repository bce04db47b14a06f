"""One number of a specification, with everything needed to argue from it.

Why it is: a report that accuses somebody must be able to say by which limit, from which table, and how far
that limit can be trusted.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

_SECONDS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


@dataclass(frozen=True)
class Limit:
    """A named value of the standard.

    ``min``, ``nom``, ``max`` are in ``unit`` and None where the standard gives none. ``reference`` names
    the specification's section or table; ``checked`` says with what the value was compared (``"memory"``:
    written from memory of the specification, not compared with a copy).
    """

    name: str
    min: float | None
    nom: float | None
    max: float | None
    unit: str
    meaning: str
    reference: str
    checked: str

    @cached_property
    def least(self) -> float:
        """The minimum in the limit's unit; ValueError where it has none."""
        return self._given(self.min)

    @cached_property
    def nominal(self) -> float:
        """The nominal value in the limit's unit; ValueError where it has none."""
        return self._given(self.nom)

    @cached_property
    def most(self) -> float:
        """The maximum in the limit's unit; ValueError where it has none."""
        return self._given(self.max)

    @cached_property
    def min_s(self) -> float:
        """The minimum in seconds; ValueError where the limit has none or is not a time."""
        return self._seconds(self.min)

    @cached_property
    def max_s(self) -> float:
        """The maximum in seconds; ValueError where the limit has none or is not a time."""
        return self._seconds(self.max)

    def _given(self, value: float | None) -> float:
        if value is None:
            raise ValueError(f"{self.name} has no such value")
        return value

    def _seconds(self, value: float | None) -> float:
        if value is None or self.unit not in _SECONDS:
            raise ValueError(f"{self.name} has no such time")
        return value * _SECONDS[self.unit]

    def words(self) -> str:
        """The value as a reader wants it: ``"24 to 30 ms"``, ``"at most 15 ms"``."""
        unit = "" if self.unit in ("count", "") else f" {self.unit}"
        if self.min is not None and self.max is not None and self.min != self.max:
            return f"{self.min:g} to {self.max:g}{unit}"
        if self.max is not None and self.min is None and self.nom is None:
            return f"at most {self.max:g}{unit}"
        if self.min is not None and self.max is None and self.nom is None:
            return f"at least {self.min:g}{unit}"
        value = self.nom if self.nom is not None else self.max
        return f"{value:g}{unit}"
