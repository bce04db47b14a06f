"""What the lines above a CSV file's header say: the sample rate or interval, the unit of the times.

Why it is: scopes and analyzers put there what they do not repeat in every row, each in words of its own; a file
without times can be read by it, and one without units.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import pairwise

from pdcheck.capture.csv_cells import is_number, number
from pdcheck.capture.names import RATE_PREFIX, TIME_UNITS

_NUMBER = (
    r"([+-]?(?:[0-9]{1,3}(?:[.,' _][0-9]{3}){2,}(?![0-9])|(?:[0-9]+(?:[.,][0-9]+)?|[.][0-9]+)(?:[eE][+-]?[0-9]+)?))"
)
_QUANTITY = r"([^0-9+\-]{0,32}?)" + _NUMBER + r"[\s\"',;\t]*([a-zA-Zµμ/]*)"
_RATE = re.compile(
    r"(?:(?:sampl\w*|acquisition|abtast)[\s_-]*(?:rate|freq\w*)|samples?\s*(?:/|per)\s*s(?:ec(?:ond)?)?\b"
    r"|(?:fr[ée]quence|taux)\s+d\W?\s?[ée]chantillonnage|(?:frecuencia|tasa)\s+de\s+muestreo"
    r"|frequenza\s+di\s+campionamento|[采取]样(?:速?率|频率)|サンプリング(?:周波数|レート)|サンプルレート)" + _QUANTITY,
    re.IGNORECASE,
)
_STEP = re.compile(
    r"(?:interval|period|increment|time[\s_-]*step|\bdt\b|delta[\s_-]*t\b|sample[\s_-]*time|step|\bx_?incr?\b"
    r"|p[ée]riode|采样(?:间隔|周期)|サンプリング(?:間隔|周期)|^\W*t_?s(?:ample)?\b(?=\W*[0-9.])|time\s*/\s*sample"
    r"|(?:^|\W)(?:1|one|per)\s*sample\b|abtastintervall|abtastzeit"
    r"|\bh(?:orizontal)?[\s_-]*resolution|time[\s_-]*per[\s_-]*sample)" + _QUANTITY,
    re.IGNORECASE,
)
#: Steps of something else than samples; and what shows that a period may be the signal's, as some scopes measure it.
_OTHER_STEP = re.compile(
    r"(?<![^\W_])(?:y|v|vert\w*|volt\w*|amp\w*|trig\w*|segm\w*|curs\w*|signal|pulse|y_?incr?)(?![^\W_])",
    re.IGNORECASE,
)
_PERIOD = re.compile(r"p[ée]riod", re.IGNORECASE)
_MEASURED = re.compile(r"(?<![^\W_])(?:freq\w*|duty|pk-?pk|vpp)(?![^\W_])", re.IGNORECASE)
_OF_SAMPLES = re.compile(
    r"sampl|abtast|chantillon|muestr|campion|[采取]样|サンプ|time|hori|(?<![^\W_])(?:h|x|dt|delta|t_?s|x_?incr?)(?![^\W_])",
    re.IGNORECASE,
)
#: A rate that stands behind its number, in a unit that nothing else has.
_SAMPLES_A_SECOND = re.compile(
    r"(?<![0-9.,])" + _NUMBER + r"\s*(?:([kMGmg]?)(?:Sa?/s|Sps)\b|([kMG]?)samples?\s*(?:/|per)\s*s)", re.IGNORECASE
)
#: Words that may be of another rate, and are of the samples' where a line begins with them and names the unit.
_CLOCK = re.compile(
    r"(?:\bsampl(?:ed|ing)\b|\bsample[\s_-]*clock\b|^\W*(?:f_?s|clock|rate)\b)[^0-9+\-]{0,12}?"
    + _NUMBER + r"\s*([kMG]?)Hz\b"
    r"|^\W*(?:f_?s|rate)\s*[\[(]\s*([kMG]?)Hz\s*[\])]\s*[:=,;]?\s*" + _NUMBER, re.IGNORECASE
)
#: Nothing else is so much and called so: "fs=24e6".
_BARE_RATE = re.compile(
    r"^\W*(?:f_?s|sps)\s*[:=,;\t]\s*" + _NUMBER + r"\W*$|^\W*" + _NUMBER + r"\s*([kMG]?)Hz\W*$", re.IGNORECASE
)
_LEAST_BARE_HZ = 1e4
_CLOCK_STEP = re.compile(r"^\W*(?:sample[\s_-]*)?clock\W{0,12}" + _NUMBER + r"\s*([munpµμ]?s)\b", re.IGNORECASE)
_UNIT_ABOVE = re.compile(
    r"(?:(?:time|horizontal|[hx])[\s_-]*units?|time[\s_-]*(?:base|scale)s?"
    r"|units?[\s_-]*of[\s_-]*time)\W{0,6}(?:1\W{0,3})?([a-zµμ]+)", re.IGNORECASE
)
_UNIT_BEFORE = re.compile(r"[\s(\[/,;]([a-zµμ/]{1,12})[\])\s,;:=\"']*$", re.IGNORECASE)
_CELL = re.compile(r"[,;\t|]")
_GROUPED = re.compile(r"[0-9]{1,3}(?:[.,' _][0-9]{3}){2,}")
_PART = re.compile(r"1\s*/\s*([0-9]{1,15})")
#: A step that has no unit and is longer than this counts something else. Our own choice.
_LONGEST_BARE_S = 1e-3
_PREFIXED = re.compile(r"([kmg]?)(?:hz|s|sa|sps|samples?|b)?(?:/s\w*)?", re.IGNORECASE)
#: Rates that are told less surely, the surer first: the pattern, how it is read, and the least that can be one.
_RATES: tuple[tuple[re.Pattern[str], Callable[[re.Match[str]], float], float], ...] = (
    (_SAMPLES_A_SECOND, lambda found: _value(found[1]) * RATE_PREFIX[(found[2] or found[3] or "").lower()], 0.0),
    (_CLOCK, lambda found: _value(found[1] or found[4]) * RATE_PREFIX[(found[2] or found[3] or "").lower()], 0.0),
    (_BARE_RATE, lambda found: _value(found[1] or found[2]) * RATE_PREFIX[(found[3] or "").lower()], _LEAST_BARE_HZ),
)


def interval_above(above: Sequence[str]) -> float | None:
    """Seconds between samples, from the lines above the first row."""
    rate = _first(above, _RATE, lambda found: _value(found[2]) * _prefix(found[3] or _before(found[1])))
    if rate is not None:
        return 1 / rate
    step = _step(above)
    if step is not None:
        return step
    for pattern, reading, least in _RATES:
        rate = _first(above, pattern, reading, least)
        if rate is not None:
            return 1 / rate
    return _first(above, _CLOCK_STEP, lambda found: number(found[1]) * TIME_UNITS[found[2].lower()])


def _first(
    above: Sequence[str], pattern: re.Pattern[str], reading: Callable[[re.Match[str]], float], least: float = 0.0
) -> float | None:
    """What the first line says that has the pattern and says more than zero, and not less than ``least``."""
    sizes = (reading(found) for found in map(pattern.search, above) if found)
    return next((size for size in sizes if size > 0 and size >= least), None)


def _step(above: Sequence[str]) -> float | None:
    """The step between samples; one that is called that before one that is only called a step."""
    found = [
        (line, step) for line in above for step in _STEP.finditer(line)
        if not _OTHER_STEP.search(line[: step.end(1)])
    ]  # fmt: skip
    measured = any(_MEASURED.search(line) and not _OF_SAMPLES.search(line) for line in above)
    for sure in (True, False):
        for line, step in found:
            if (_OF_SAMPLES.search(line[: step.end(1)]) is not None) is not sure:
                continue
            if measured and not sure and _PERIOD.match(step[0]):
                continue
            unit = step[3].lower()
            if unit not in TIME_UNITS:
                unit = _before(step[1]).lower()
            size = _value(step[2]) * TIME_UNITS.get(unit, 1.0)
            part = _PART.match(line, step.start(2))
            if part:
                size = 1 / number(part[1])
            if 0 < size < (_LONGEST_BARE_S if unit not in TIME_UNITS else 1e6):
                return size
    return None


def interval_below_its_name(lines: Sequence[str]) -> float | None:
    """The step where its name stands in one line and its value below it, as some scopes write it.

    :param lines: all lines above the first row, for the name may stand in the header.
    """
    for names, values in pairwise(lines):
        for name, value in zip(_CELL.split(names), _CELL.split(values), strict=False):
            found = _STEP.search(name + " 1")
            if found and found[2] == "1" and not _OTHER_STEP.search(name) and is_number(value.strip()):
                step = number(value.strip()) * TIME_UNITS.get(_before(found[1]).lower(), 1.0)
                if step > 0:
                    return step
    return None


def _value(text: str) -> float:
    return float(re.sub("[^0-9]", "", text)) if _GROUPED.fullmatch(text) else number(text)


def _before(text: str) -> str:
    """The unit that stands between a name and its number: ``(ns):``, ``in us``."""
    found = _UNIT_BEFORE.search(text)
    return found[1] if found else ""


def _prefix(unit: str) -> float:
    found = _PREFIXED.fullmatch(unit)
    return RATE_PREFIX[found[1].lower()] if found else 1.0


def unit_above(above: Sequence[str]) -> float | None:
    """Seconds in the unit of time that a line above the header names."""
    for line in above:
        found = _UNIT_ABOVE.search(line)
        if found and found[1].lower() in TIME_UNITS:
            return TIME_UNITS[found[1].lower()]
    return None
