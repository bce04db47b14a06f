"""From readings to a judgement: outcome, attach state, findings, blocks, what to measure next.

Why it is: whoever asks gets one object that text and JSON are printed from, as with a capture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pdcheck.bench import entries as say
from pdcheck.bench.attach import LEAST_5V, Attach, State, attach_of
from pdcheck.bench.current_rules import judge_current
from pdcheck.bench.levels import SHORT_OHM
from pdcheck.bench.ohm_rules import judge_ohms
from pdcheck.bench.pair_rules import both_ways, decided
from pdcheck.bench.quantity import Kind, words
from pdcheck.bench.readings import Partner, Readings, Side
from pdcheck.bench.view import Said, View
from pdcheck.bench.volt_rules import one_way
from pdcheck.errors import InputError
from pdcheck.rules import Effect, Finding
from pdcheck.triage import BlockState, Evidence, Triage, triage
from pdcheck.triage.measurements import ALL as ALL_MEASUREMENTS
from pdcheck.verdict import Outcome

_MOST_STEPS = 5
#: Proven by ohms: what volts and currents show beside it is what follows from it.
_CAUSES = (say.SHORT.id, say.JOINED.id, say.CC_VBUS.id, say.VBUS_SHORT.id)
#: Findings that say something of a level whatever the other orientation shows.
_OF_ANY_LEVEL = (say.REVERSED.id, say.LOADED.id, say.CC_TOO_HIGH.id, say.CC_IS_VBUS.id, say.PULL_UP_OR_SHORT.id)


@dataclass(frozen=True)
class Judgement:
    """Readings, judged.

    ``attach``: by the volts as first measured; ``flipped``: after the plug was turned over; each None where not
    measured. ``summary``: one sentence; ``next``: what to do, the easiest first.
    """

    readings: Readings
    outcome: Outcome
    summary: str
    attach: Attach | None
    flipped: Attach | None
    findings: tuple[Finding, ...]
    blocks: Triage
    next: tuple[str, ...]

    @property
    def leading(self) -> Finding | None:
        """The finding that decided, None where all is as it should be."""
        decided = (Effect.CONVICTS, Effect.WITHHOLDS)
        return next((f for f in self.findings if f.effect in decided), None)


def judge(readings: Readings) -> Judgement:
    """Judge any subset of readings.

    :raises InputError: where there is no reading at all.
    """
    if not readings.any:
        raise InputError("there is no reading", "give at least one, for example --cc1 0.41 --cc2 0")
    said: list[Said] = []
    views = [replace(view, attach=_settled(view.attach, readings)) for view in _views(readings)]
    attaches = {view.volts: view.attach for view in views}
    first = attach = attaches.get(readings.volts)
    flipped = attaches.get(readings.flipped)
    alive = [view for view in views if view.attach.state.joined]
    for view in views:
        heard = list(one_way(view, paired=len(views) == 2))
        both_dead = all(v.attach.state is State.NO_PULL_DOWN for v in views)
        if len(views) == 2 and (both_dead or (len(alive) == 1 and view not in alive and decided(view))):
            # What the pair says of the dead orientation says more.
            heard = [s for s in heard if isinstance(s, Finding) and s.rule in _OF_ANY_LEVEL]
        said += heard
    if len(views) == 2:
        said += both_ways(*views)
    elif not views:
        said += _vbus_alone(readings)
    said += judge_ohms(readings)
    active = first or flipped
    if first is not None and not first.state.joined and flipped is not None:
        active = flipped
    vbus = readings.volts.vbus if readings.volts.vbus is not None else readings.flipped.vbus
    said += judge_current(readings, active, vbus)
    findings = _ordered([s for s in said if isinstance(s, Finding)])
    evidence = [s for s in said if isinstance(s, Evidence)]
    blocks = triage(evidence)
    outcome = _outcome(findings)
    known = _known(readings) | {m.text for m in ALL_MEASUREMENTS if any(m.name in e.done for e in evidence)}
    steps = [step for f in findings if f.effect is not Effect.NOTES for step in f.next if step not in known]
    if outcome is not Outcome.PASS or blocks.of(BlockState.SUSPECT, BlockState.DISPUTED):
        steps += [m.text for m in blocks.next]
    elif readings.current_ma is None and (alive or readings.contract is not None):
        steps += [m.text for m in blocks.next[:2]]
    elif not alive and (views or readings.side is Side.CABLE):
        steps.append(say.AT_THE_DEVICE)
    if any(f.rule == say.DRAWS_LITTLE.id for f in findings):
        steps = [*steps[: _MOST_STEPS - 1], say.FRESH_START]
    return Judgement(
        readings, outcome, _summary(findings, attach, flipped, readings, outcome), attach, flipped, findings, blocks,
        tuple(dict.fromkeys(steps))[:_MOST_STEPS],
    )


def _views(readings: Readings) -> list[View]:
    views = []
    pair = readings.volts.any and readings.flipped.any
    for volts, way in ((readings.volts, ""), (readings.flipped, " with the plug turned over" if pair else "")):
        attach = attach_of(
            volts, readings.meter, side=readings.side, advertises=readings.advertises,
            free=readings.partner is Partner.NOTHING,
        )
        if attach is not None:
            views.append(View(readings, volts, attach, way))
    return views


def _settled(attach: Attach, readings: Readings) -> Attach:
    """The attach state with what ohms have settled: two contacts that are joined are no debug accessory."""
    between = readings.ohms.between_cc
    if between is not None and between <= SHORT_OHM and State.JOINED in attach.between:
        return replace(attach, state=State.JOINED, between=(), orientation=None, advertisements=(), also=())
    return attach


def _known(readings: Readings) -> set[str]:
    """Advice that has been followed already."""
    known = set()
    if readings.flipped.any:
        known.add(say.BOTH_WAYS)
    if readings.side is not None:
        known.add(say.SAY_SIDE)
    if readings.advertises is not None:
        known.add(say.SAY_ADVERTISED)
    if readings.ohms.between_cc is not None:
        known.add(say.CC_TO_CC_OHMS)
    if readings.ohms.cc1_vbus is not None or readings.ohms.cc2_vbus is not None:
        known.add(say.CC_TO_VBUS_OHMS)
    return known


def _vbus_alone(readings: Readings) -> list[Said]:
    """VBUS without CC, judged without an attach state."""
    said: list[Said] = []
    for volts in (readings.volts, readings.flipped):
        if volts.vbus is not None:
            nobody = Attach(State.UNKNOWN, (), None, (), (), None, None)
            said += [
                s for s in one_way(View(readings, volts, nobody, ""), paired=True)
                if not (isinstance(s, Finding) and s.rule == say.STATE_UNKNOWN.id)
            ]
    high = max((v.vbus for v in (readings.volts, readings.flipped) if v.vbus is not None), default=None)
    decided = any(isinstance(s, Finding) and s.effect is not Effect.NOTES for s in said)
    if high is not None and high >= LEAST_5V and readings.contract is None and readings.current_ma is None \
            and not decided:
        said.append(say.VBUS_ALONE.says(
            f"VBUS reads {words(high, Kind.VOLTS)}; of CC, the chip and whether it charges VBUS alone does not tell.",
            effect=Effect.WITHHOLDS,
        ))
    return said


def _ordered(findings: list[Finding]) -> tuple[Finding, ...]:
    """What convicts first, of that a short before what it causes; then what withholds, then the rest; each once."""
    effects = list(Effect)

    def rank(finding: Finding) -> tuple[int, bool, int]:
        return effects.index(finding.effect), finding.rule not in _CAUSES, finding.severity.rank

    return tuple(sorted(dict.fromkeys(findings), key=rank))


def _outcome(findings: tuple[Finding, ...]) -> Outcome:
    effects = {f.effect for f in findings}
    if Effect.CONVICTS in effects:
        return Outcome.FAIL
    return Outcome.INCONCLUSIVE if Effect.WITHHOLDS in effects else Outcome.PASS


def _summary(
    findings: tuple[Finding, ...], attach: Attach | None, flipped: Attach | None, readings: Readings, outcome: Outcome,
) -> str:
    if outcome is not Outcome.PASS:
        return findings[0].summary
    parts = []
    for one, way in ((attach, ""), (flipped, ", with the plug turned over" if attach is not None else "")):
        if one is not None:
            parts.append(state_words(one) + way)
    parts += [f.summary.rstrip(".") for f in findings if f.rule == say.DRAWS.id]
    if readings.volts.vbus is not None and attach is None:
        parts.append(f"VBUS reads {words(readings.volts.vbus, Kind.VOLTS)}")
    if not parts and readings.ohms.any:
        parts.append("the resistances are as on a working unit")
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "."


def state_words(attach: Attach) -> str:
    """An attach state with orientation and advertisement, in words."""
    text = attach.state.words
    if attach.between:
        text = "between: " + " or ".join(s.words for s in attach.between)
    if attach.orientation is not None:
        text += f", CC is on {attach.orientation.upper()}"
    if attach.advertisements:
        text += ", advertised: " + " or ".join(a.value for a in attach.advertisements)
    return text

