"""A stretch of the capture as one picture: who spoke, CC, VBUS, current and waits over the same time.

Why it is: a contract is a promise and VBUS is what came of it. They can only be compared where they stand over one
another. Overviews keep the least and the greatest value of every column, so that no dip is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from pdcheck.capture.envelope import Envelope
from pdcheck.conversation.model import Party
from pdcheck.report.model import Report
from pdcheck.report.page.lines import Drawn, columns, drawn_lines, tolerance_v
from pdcheck.report.page.picture import Axis, Picture
from pdcheck.report.page.talk import Kind, Row, Talk
from pdcheck.report.page.timing import Wait, WaitState
from pdcheck.report.page.words import LANES, PARTY_WORDS
from pdcheck.rules.words import span
from pdcheck.verdict import contract_words

WIDTH = 960.0
_LEFT, _RIGHT = 84.0, 950.0
_LANE = 24.0
_NAMES = 34.0
_HEIGHTS = {"cc": 44.0, "vbus": 92.0, "current": 56.0}
_WAIT = 34.0
_SPACE = 20.0
#: Arrows closer than this are drawn as one stretch of traffic.
_CLOSE = 3.0
_MANY = 80
_FIRST = ("Source_Capabilities", "Request", "Accept", "PS_RDY", "Reject", "Wait", "Hard Reset", "Soft_Reset")


def overview(
    report: Report, talk: Talk, stretch: tuple[float, float], waits: tuple[Wait, ...], *, name: str, ident: str
) -> Markup:
    """The picture of a stretch (seconds).

    :param waits: those to be drawn as spans, one under another.
    :param name: what the picture shows, for assistive tools.
    """
    lines = drawn_lines(report)
    cable = any(Party.CABLE in (row.sender, row.receiver) for row in talk.rows)
    lanes = LANES if cable else LANES[:2]
    staff = _NAMES + _LANE * len(lanes)
    height = staff + sum(_HEIGHTS[d.role] + _SPACE for d in lines) + _WAIT * len(waits) + 40
    picture = Picture(WIDTH, height, name, ident)
    axis = Axis(*stretch, _LEFT, _RIGHT)
    _axis(picture, axis, height)
    _staff(picture, axis, talk, lanes)
    top = staff + _SPACE
    for drawn in lines:
        _line(picture, axis, report, drawn, top)
        top += _HEIGHTS[drawn.role] + _SPACE
    for wait in waits:
        _wait(picture, axis, wait, top)
        top += _WAIT
    if talk.break_s is not None and axis.holds(talk.break_s):
        _break(picture, axis.x(talk.break_s), height - 26, staff)
    return picture.markup()


def _axis(picture: Picture, axis: Axis, height: float) -> None:
    bottom = height - 22
    picture.line(_LEFT, bottom, _RIGHT, bottom, "ax")
    for t_s, words in axis.ticks():
        x = axis.x(t_s)
        picture.line(x, _NAMES, x, bottom, "gr")
        picture.line(x, bottom, x, bottom + 4, "ax")
        picture.text(x, bottom + 16, words, "t", "end" if x > _RIGHT - 20 else "middle")


def lane_y(lanes: tuple[Party, ...], party: Party) -> float | None:
    """The height of a party's line; None for whom there is none."""
    return _NAMES + _LANE * lanes.index(party) + 8 if party in lanes else None


def _staff(picture: Picture, axis: Axis, talk: Talk, lanes: tuple[Party, ...]) -> None:
    for party in lanes:
        y = lane_y(lanes, party) or 0.0
        picture.text(_LEFT - 8, y + 4, PARTY_WORDS[party], "t b", "end")
        picture.line(_LEFT, y, _RIGHT, y, "lane")
    rows = [row for row in talk.rows if row.kind is not Kind.BREAK and axis.holds(row.start_s)]
    last = -10.0
    run: list[float] = []
    apart: list[tuple[Row, float]] = []
    for row in rows:
        x = axis.x(row.start_s)
        if x - last < _CLOSE and len(rows) > 40:
            run.append(x)
            continue
        _run(picture, run, lanes)
        run = []
        last = x
        _arrow(picture, x, row, lanes)
        if row.kind is not Kind.UNREADABLE:
            apart.append((row, x))
    _run(picture, run, lanes)
    _names(picture, apart)


def _run(picture: Picture, run: list[float], lanes: tuple[Party, ...]) -> None:
    """Traffic too dense for arrows."""
    if run:
        top, bottom = lane_y(lanes, lanes[0]) or 0.0, lane_y(lanes, lanes[1]) or 0.0
        picture.rect(run[0] - 1, top, run[-1] - run[0] + 2, bottom - top, "dense")


def _arrow(picture: Picture, x: float, row: Row, lanes: tuple[Party, ...]) -> None:
    ends = lane_y(lanes, row.sender), lane_y(lanes, row.receiver)
    if ends[0] is not None and ends[1] is not None:
        picture.arrow(x, ends[0], ends[1], "ar" if row.heard != "no" else "ar un")
        return
    top, bottom = lane_y(lanes, lanes[0]) or 0.0, lane_y(lanes, lanes[-1]) or 0.0
    if row.kind is Kind.SIGNAL:
        picture.line(x, top - 4, x, bottom + 4, "rst")
    else:
        middle = (top + bottom) / 2
        picture.path(((x - 4, middle - 4), (x + 4, middle + 4)), "bad")
        picture.path(((x - 4, middle + 4), (x + 4, middle - 4)), "bad")


def _names(picture: Picture, said: list[tuple[Row, float]]) -> None:
    """Names over the arrows, where they do not run into one another, those that matter most first."""
    taken: list[tuple[float, float, int]] = []
    ranked = sorted(said, key=lambda one: (_FIRST.index(one[0].name) if one[0].name in _FIRST else 99, one[1]))
    if len(ranked) > _MANY:
        # Where very many arrows stand, each name is written once.
        ranked = list({row.name: (row, x) for row, x in reversed(ranked)}.values())
    for row, x in ranked:
        width = 6.4 * len(row.name) + 10
        left = min(x - 3, _RIGHT - width)
        for level in (1, 0):
            if all(level != at or left > end or left + width < begin for begin, end, at in taken):
                taken.append((left, left + width, level))
                y = 12.0 + 15 * level
                picture.text(left + 3, y, row.name)
                picture.line(x, y + 3, x, _NAMES + 2, "lead")
                break


def _line(picture: Picture, axis: Axis, report: Report, drawn: Drawn, top: float) -> None:
    height = _HEIGHTS[drawn.role]
    picture.text(_LEFT, top - 5, drawn.label, "t b")
    scale = height / (drawn.high - drawn.low)

    def y_of(value: float) -> float:
        return top + height - (min(max(value, drawn.low), drawn.high) - drawn.low) * scale

    if drawn.unit:
        for value in _levels(drawn):
            picture.line(_LEFT, y_of(value), _RIGHT, y_of(value), "gr")
            picture.text(_LEFT - 8, y_of(value) + 4, f"{value:g} {drawn.unit}", "t f", "end")
    if drawn.role == "vbus":
        _contracts(picture, axis, report, y_of)
    seen = columns(drawn, axis.start_s, axis.end_s, int(axis.right - axis.left))
    _trace(picture, seen, axis, y_of)


def _levels(drawn: Drawn) -> list[float]:
    reach = drawn.high - drawn.low
    step = next((s for s in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20) if reach / s <= 3.2), 50)
    number = int(drawn.low / step) if drawn.low < 0 else 0
    return [n * step for n in range(number, 60) if drawn.low <= n * step <= drawn.high and n * step != 0] or [0.0]


def _contracts(picture: Picture, axis: Axis, report: Report, y_of: object) -> None:
    assert callable(y_of)
    bands = _bands(axis, report)
    for band in bands:
        x1, x2 = axis.x(band.start_s), axis.x(band.end_s)
        picture.rect(x1, y_of(band.high_v), x2 - x1, y_of(band.low_v) - y_of(band.high_v), "band")
        if band.nominal_v is not None:
            picture.line(x1, y_of(band.nominal_v), x2, y_of(band.nominal_v), "nom")
    written = -1e9
    for band in bands:
        x1 = axis.x(band.start_s)
        width = 6.2 * len(band.words)
        left = max(_LEFT + 4, min(x1 + 5, _RIGHT - width))
        if left > written:
            picture.text(left, y_of(band.low_v) + 14, band.words)
            written = left + width


@dataclass(frozen=True)
class _Band:
    """A contract's tolerance in a picture, or that of several too short to be told apart."""

    start_s: float
    end_s: float
    low_v: float
    high_v: float
    nominal_v: float | None
    words: str


def _bands(axis: Axis, report: Report) -> list[_Band]:
    bands: list[_Band] = []
    for contract in report.conversation.contracts:
        allowed = tolerance_v(contract)
        end = contract.ended_s if contract.ended_s is not None else report.conversation.duration_s
        if allowed is None or end < axis.start_s or contract.since_s > axis.end_s:
            continue
        nominal = contract.voltage_mv / 1e3 if contract.voltage_mv is not None else None
        words = f"contract {contract_words(contract)}; {allowed[0]:.2f} to {allowed[1]:.2f} V allowed"
        last = bands[-1] if bands else None
        # Contracts that take less than some columns each are drawn as one.
        after = axis.x(last.end_s) if last is not None else 0.0
        if last is not None and axis.x(end) - after < 6 and axis.x(contract.since_s) - after < 1:
            low, high = min(last.low_v, allowed[0]), max(last.high_v, allowed[1])
            words = f"several contracts; {low:.2f} to {high:.2f} V allowed"
            bands[-1] = _Band(last.start_s, end, low, high, None, words)
        else:
            bands.append(_Band(contract.since_s, end, *allowed, nominal, words))
    return bands


def _trace(picture: Picture, seen: Envelope, axis: Axis, y_of: object) -> None:
    """A line that is one value a column, and a filled shape where it is more."""
    assert callable(y_of)
    step = (axis.right - axis.left) / max(len(seen.low), 1)
    points: list[tuple[float, float]] = []
    block: list[tuple[float, float, float]] = []

    def flush() -> None:
        if block:
            upper = [(x, y) for x, y, _ in block]
            lower = [(x, y) for x, _, y in reversed(block)]
            if len(block) == 1:
                x, y1, y2 = block[0]
                upper, lower = [(x, y1), (x + step, y1)], [(x + step, y2), (x, y2)]
            picture.path([*upper, *lower], "env", close=True)
            block.clear()

    for number, (low, high) in enumerate(zip(seen.low, seen.high, strict=True)):
        x = axis.left + number * step
        if low is None or high is None:
            flush()
            picture.path(points, "tr")
            points = []
            continue
        y1, y2 = y_of(high), y_of(low)
        if y2 - y1 > 1.2:
            block.append((x, y1, y2))
        else:
            flush()
        middle = (y1 + y2) / 2
        # Three equal heights in a row need their ends only.
        if len(points) > 1 and points[-1][1] == points[-2][1] == middle:
            points[-1] = (x + step, middle)
        else:
            points.append((x, middle))
    flush()
    picture.path(points, "tr")


def _wait(picture: Picture, axis: Axis, wait: Wait, top: float) -> None:
    """A span as a measure, with its limit as a gate across it."""
    y = top + 20
    x1, x2 = axis.x(wait.start_s), axis.x(wait.end_s)
    gate = wait.start_s + wait.limit_s
    over = wait.state in (WaitState.MISSING, WaitState.LATE)
    cls = "wt ov" if over else "wt"
    picture.line(x1, y - 5, x1, y + 5, cls)
    picture.line(x2, y - 5, x2, y + 5, cls)
    picture.line(x1, y, x2, y, cls)
    if gate <= axis.end_s:
        picture.line(axis.x(gate), y - 8, axis.x(gate), y + 8, "gate")
    words = f"{wait.what}: {span(wait.length_s)}, {wait.allowed} ({wait.limit.name.split(' ')[0]})"
    width = 6.2 * len(words)
    picture.text(max(_LEFT, min(x1, _RIGHT - width)), y - 10, words)


def _break(picture: Picture, x: float, bottom: float, staff: float) -> None:
    """A jagged line from top to bottom: here it broke."""
    points = [(x + (4 if n % 2 else -4), 30 + n * 8.0) for n in range(int((bottom - 30) / 8) + 1)]
    picture.path(points, "brk")
    near = x > _RIGHT - 90
    picture.text(x - 8 if near else x + 8, staff + 4, "broke here", "t b", "end" if near else "start")
