"""A small drawing board: SVG whose every text is escaped.

Why it is: the page's pictures are made of lines, paths and words, and what comes from a file must never become markup.
Colours and fonts are the style sheet's; a class says what a thing is.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import floor, log10

from markupsafe import Markup, escape

from pdcheck.report.as_text import printable


class Picture:
    """An SVG of a given width and height in its own units.

    :param name: what it shows, for assistive tools.
    """

    def __init__(self, width: float, height: float, name: str, ident: str) -> None:
        self.width = width
        self.height = height
        self._name = name
        self._ident = ident
        self._parts: list[str] = []

    def line(self, x1: float, y1: float, x2: float, y2: float, cls: str) -> None:
        self._parts.append(f'<path class="{cls}" d="M{_n(x1)} {_n(y1)}L{_n(x2)} {_n(y2)}"/>')

    def path(self, points: Iterable[tuple[float, float]], cls: str, *, close: bool = False) -> None:
        """A line through points; nothing where there are fewer than two."""
        said = [f"{_n(x)} {_n(y)}" for x, y in points]
        if len(said) > 1:
            self._parts.append(f'<path class="{cls}" d="M{"L".join(said)}{"Z" if close else ""}"/>')

    def rect(self, x: float, y: float, width: float, height: float, cls: str) -> None:
        self._parts.append(
            f'<rect class="{cls}" x="{_n(x)}" y="{_n(y)}" width="{_n(max(width, 0))}" height="{_n(max(height, 0))}"/>'
        )

    def text(self, x: float, y: float, words: str, cls: str = "t", anchor: str = "start", *, room: float = 0) -> None:
        """Words at a place; with ``room`` they are cut to about that width."""
        if room:
            most = int(room / 6.2)
            if most < 2:
                return
            words = words if len(words) <= most else words[: most - 1] + "…"
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(
            f'<text class="{cls}" x="{_n(x)}" y="{_n(y)}"{where}>{escape(printable(words))}</text>'
        )

    def arrow(self, x: float, y1: float, y2: float, cls: str) -> None:
        """A vertical arrow from y1 to y2."""
        way = 1 if y2 > y1 else -1
        self._parts.append(
            f'<path class="{cls}" d="M{_n(x)} {_n(y1)}V{_n(y2)}M{_n(x - 3)} {_n(y2 - 6 * way)}'
            f'L{_n(x)} {_n(y2)}L{_n(x + 3)} {_n(y2 - 6 * way)}"/>'
        )

    def markup(self) -> Markup:
        """The picture, safe to put into a page."""
        label = escape(printable(self._name))
        return Markup(
            f'<svg class="pic" viewBox="0 0 {_n(self.width)} {_n(self.height)}" role="img" '
            f'aria-labelledby="{self._ident}"><title id="{self._ident}">{label}</title>{"".join(self._parts)}</svg>'
        )


class Axis:
    """Seconds to places along a picture."""

    def __init__(self, start_s: float, end_s: float, left: float, right: float) -> None:
        self.start_s, self.end_s, self.left, self.right = start_s, end_s, left, right
        self.scale = (right - left) / max(end_s - start_s, 1e-12)

    def x(self, t_s: float) -> float:
        """The place of a moment, held to the picture's ends."""
        return min(max(self.left + (t_s - self.start_s) * self.scale, self.left), self.right)

    def holds(self, t_s: float) -> bool:
        return self.start_s <= t_s <= self.end_s

    def ticks(self, most: int = 8) -> list[tuple[float, str]]:
        """Round moments along the axis with their words."""
        step = tick_step((self.end_s - self.start_s) / most)
        unit, factor = ("s", 1.0) if self.end_s >= 1 else ("ms", 1e3) if self.end_s >= 1e-3 else ("µs", 1e6)
        places = max(0, -floor(log10(step * factor) + 1e-9))
        first = int(self.start_s / step) + (1 if self.start_s > 0 else 0)
        out: list[tuple[float, str]] = []
        number = first
        while number * step <= self.end_s and len(out) <= 2 * most:
            out.append((number * step, f"{number * step * factor:.{places}f} {unit}"))
            number += 1
        return out


def tick_step(least_s: float) -> float:
    """The least of 1, 2, 5 times a power of ten that is not below ``least_s``."""
    power = 1e-9
    while power < 1e7:
        for part in (1, 2, 5):
            if power * part >= least_s:
                return power * part
        power *= 10
    return power


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
