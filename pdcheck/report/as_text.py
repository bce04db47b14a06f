"""The report as text: the verdict first, then the ladder, the evidence, what to measure next.

Why it is: a technician reads the first three lines at the bench. They must say what failed, whose move was missing
and what to do, in plain words; the specification's terms stand behind. Nothing depends on colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.conversation.model import Step, Transmission
from pdcheck.messages.model import DataObject
from pdcheck.report.blocks_text import blocks_lines, blocks_sentence
from pdcheck.report.model import Report
from pdcheck.rules import Finding, Severity
from pdcheck.rules.words import PARTY, count, power_object, request_object, span
from pdcheck.verdict import Outcome, StepState, Verdict, contract_words

Paint = Callable[[str, str], str]

STEP_WORDS = {
    Step.ATTACH: "both sides present",
    Step.OFFER: "charger offers",
    Step.OFFER_ACKNOWLEDGED: "device hears it",
    Step.REQUEST: "device asks",
    Step.ACCEPT: "charger accepts",
    Step.READY: "charger says ready",
    Step.DELIVERY: "VBUS is there",
}
STEP_TERMS = {
    Step.ATTACH: "attach",
    Step.OFFER: "Source_Capabilities",
    Step.OFFER_ACKNOWLEDGED: "GoodCRC",
    Step.REQUEST: "Request",
    Step.ACCEPT: "Accept",
    Step.READY: "PS_RDY",
    Step.DELIVERY: "VBUS at the contract's voltage",
}
#: A move that was made and that nobody acknowledged: what is missing is the other side's acknowledgement.
UNHEARD = {
    "request-not-acknowledged": Step.REQUEST,
    "accept-not-acknowledged": Step.ACCEPT,
    "ps-rdy-not-acknowledged": Step.READY,
}
_MARK = {StepState.REACHED: "[yes]", StepState.NOT_REACHED: "[NO ]", StepState.NOT_JUDGED: "[ ? ]"}
HEAD = {
    Outcome.PASS: "PASS", Outcome.FAIL: "FAIL", Outcome.INCONCLUSIVE: "INCONCLUSIVE - the capture cannot tell",
}
#: The current that is shown is that of the last seconds under the contract.
_LAST_S = 0.2
_COLOR = {Outcome.PASS: "green", Outcome.FAIL: "red", Outcome.INCONCLUSIVE: "yellow"}
CAUTIONS = (
    "VBUS may carry up to 48 V after negotiation: probe with insulated tips, and through a divider.",
    "Disconnect the battery before measuring ohms, and take it out before hot air; a lithium cell that is hot, swollen "
    "or pierced burns.",
    "A mains charger is opened only by somebody qualified for it; local codes and licensed practice come first.",
)


def plain(text: str, color: str) -> str:
    """A paint that does not colour."""
    return text


def report_text(report: Report, *, width: int = 80, messages: bool = False, paint: Paint = plain) -> str:
    """The whole report, lines of at most ``width`` columns (messages may be longer), with a final line end."""
    width = max(40, min(width, 100))
    lines = [
        *_head(report, width, paint), "",
        *_ladder(report, paint), "",
        *_contract(report, width),
        *_findings(report, width),
        *_blocks(report, width),
        *_next(report, width),
        *_signal(report, width),
    ]
    if messages:
        lines += ["", "Messages", *_messages(report)]
    lines += ["", "Cautions", *(line for caution in CAUTIONS for line in _item("-", caution, width))]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def quiet_text(report: Report) -> str:
    """One line: file, verdict, step, suspect, sentence."""
    verdict = report.verdict
    where = f" at {verdict.stopped_at.value}" if verdict.stopped_at is not None else ""
    whose = f", {verdict.suspect.value}" if verdict.suspect is not None else ""
    return f"{printable(report.path)}: {verdict.outcome.value}{where}{whose}: {verdict.summary}\n"


def printable(text: str) -> str:
    """Text from outside without control characters: a file name may not steer the terminal."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)


def _wrap(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(
        printable(text), width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False,
    ) or [indent]


def _item(mark: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(
        printable(text), width, initial_indent=f"  {mark} ", subsequent_indent=" " * (len(mark) + 3),
        break_on_hyphens=False,
    )


def _head(report: Report, width: int, paint: Paint) -> Iterator[str]:
    verdict = report.verdict
    yield paint(headline(verdict), _COLOR[verdict.outcome])
    yield from _wrap(verdict.summary, width)
    odd = caveat(verdict)
    if odd is not None:
        yield from _wrap(odd, width)
    if verdict.outcome is not Outcome.PASS:
        yield from _wrap(": ".join(whose(verdict)) + ".", width)
    first = first_step(report)
    if first is not None:
        yield from _wrap("First: " + first, width)
    cleared = blocks_sentence(report.blocks)
    if cleared is not None:
        yield from _wrap(cleared, width)
    yield from _wrap(f"File: {report.path}", width)


PORTS = tuple(who for who in PARTY if who.value in ("source", "sink", "cable"))


def headline(verdict: Verdict) -> str:
    """The verdict in a line: ``"FAIL - stopped before: device asks (Request)"``."""
    head = HEAD[verdict.outcome]
    if verdict.outcome is Outcome.FAIL and verdict.stopped_at is not None:
        words, term = step_words(verdict.stopped_at, deciding(verdict))
        return f"{head} - stopped before: {words} ({term})"
    if verdict.outcome is Outcome.FAIL and verdict.contract is not None:
        return f"{head} - a contract was made and did not last"
    if verdict.outcome is Outcome.PASS and verdict.contract is not None:
        return f"{head} - contract for {contract_words(verdict.contract)}"
    return head


def deciding(verdict: Verdict) -> str | None:
    """The rule that decided a fail; None where the verdict is none."""
    return verdict.leading.rule if verdict.outcome is Outcome.FAIL and verdict.leading is not None else None


def step_words(step: Step, rule: str | None) -> tuple[str, str]:
    """A step in everyday words and in the standard's, as the rule that decided (see :func:`deciding`) leaves it.

    A move that was made and not heard is not said to be missing: the acknowledgement is.
    """
    if rule is not None and UNHEARD.get(rule) is step:
        hears = "charger" if step is Step.REQUEST else "device"
        return f"{hears} hears it", f"GoodCRC of {STEP_TERMS[step]}"
    return STEP_WORDS[step], STEP_TERMS[step]


def first_step(report: Report) -> str | None:
    """What to do first; None for a pass that shows the device charging."""
    if report.verdict.outcome is Outcome.PASS and not report.blocks.left:
        return None
    return report.verdict.next[0] if report.verdict.next else None


def caveat(verdict: Verdict) -> str | None:
    """What a pass has against it, in a sentence; None where there is nothing, or no pass."""
    odd = [f for f in verdict.findings if f.severity is Severity.WARN]
    if verdict.outcome is not Outcome.PASS or not odd:
        return None
    more = f" ({count(len(odd) - 1, 'more finding')} below)" if len(odd) > 1 else ""
    return f"It works, against the standard: {odd[0].summary}{more}"


def whose(verdict: Verdict) -> tuple[str, str]:
    """Who is named by a verdict that is no pass, as a label and a party."""
    if verdict.suspect is None:
        return "Suspect", "nobody can be accused from this capture"
    label = "The missing move was owed by" if verdict.suspect in PORTS else "Look at"
    return label, PARTY[verdict.suspect]


def _ladder(report: Report, paint: Paint) -> Iterator[str]:
    for step in report.verdict.steps:
        when = f"{step.t_s:>10.4f} s" if step.t_s is not None else " " * 12
        mark = _MARK[step.state]
        color = {StepState.REACHED: "green", StepState.NOT_REACHED: "red"}.get(step.state)
        words, term = step_words(step.step, deciding(report.verdict))
        yield f"  {paint(mark, color) if color else mark} {words:<20}{when}  {term}"


def _contract(report: Report, width: int) -> Iterator[str]:
    rows = contract_rows(report)
    for label, text in rows:
        yield from textwrap.wrap(
            printable(text), width, initial_indent=f"{label:<10} ", subsequent_indent=" " * 11, break_on_hyphens=False,
        )
    if rows:
        yield ""


def contract_rows(report: Report) -> list[tuple[str, str]]:
    """What was offered, asked for, agreed and delivered: labels and words."""
    verdict = report.verdict
    offered = next((n for n in reversed(report.conversation.negotiations) if n.offered), None)
    rows = []
    if offered is not None:
        offers = ", ".join(f"{i}: {power_object(o)}" for i, o in enumerate(offered.offered, 1) if o.raw)
        rows.append(("Offered", offers))
        asked = next((n for n in reversed(report.conversation.negotiations) if n.requested is not None), None)
        if asked is not None and asked.requested is not None:
            rows.append(("Asked for", request_object(asked.requested)))
    if verdict.contract is not None:
        ended = verdict.contract.ended_s
        lasted = f", ended at {ended:.4f} s" if ended is not None else ", stands at the end of the capture"
        rows.append(("Contract", contract_words(verdict.contract) + lasted))
        delivery = verdict.delivery
        if delivery.level is not None:
            level = delivery.level
            rows.append(("VBUS", f"{level.typical:.2f} V (from {level.low:.2f} to {level.high:.2f} V) after PS_RDY"))
        elif delivery.reason is not None:
            rows.append(("VBUS", f"not judged: {delivery.reason}"))
        drawn = _drawn(report)
        if drawn is not None:
            rows.append(("Current", drawn))
    return rows


def _drawn(report: Report) -> str | None:
    """What was drawn at the end of the last contract, in words; None where no current was captured."""
    contract = report.verdict.contract
    line = next((x for x in report.reading.capture.lines if x.role is Role.CURRENT), None)
    if contract is None or not isinstance(line, AnalogLine) or line.unit != "A":
        return None
    end_s = contract.ended_s if contract.ended_s is not None else report.conversation.duration_s
    seen = line.during(max(contract.since_s, end_s - _LAST_S), end_s)
    return f"{seen.typical:.2f} A at the end of the contract, as captured" if seen is not None else None


def _findings(report: Report, width: int) -> Iterator[str]:
    verdict = report.verdict
    lead = verdict.leading
    if lead is not None:
        yield "Why"
        yield from _wrap(lead.why, width, "  ")
        yield from _wrap(f"Reference: {lead.reference}. Rule: {lead.rule}.", width, "  ")
        yield ""
    others = [f for f in verdict.findings if f is not lead]
    for title, wanted in (
        ("Also broken", Severity.FAIL), ("Against the standard", Severity.WARN), ("Worth knowing", Severity.INFO),
    ):
        some = [f for f in others if f.severity is wanted]
        if some:
            yield title
            for finding in some:
                yield from _finding(finding, width)
            yield ""


def _finding(finding: Finding, width: int) -> list[str]:
    when = f"at {finding.t_s:.4f} s: " if finding.t_s is not None else ""
    return _item("-", f"{when}{finding.summary} [{finding.rule}]", width)


def _blocks(report: Report, width: int) -> Iterator[str]:
    lines = blocks_lines(report.blocks, width)
    if lines:
        yield from lines
        yield ""


def _next(report: Report, width: int) -> Iterator[str]:
    if report.verdict.next:
        yield "Measure next (from the easiest on)"
        for number, text in enumerate(report.verdict.next, 1):
            yield from _item(f"{number}.", text, width)
        yield ""


def _signal(report: Report, width: int) -> Iterator[str]:
    yield "Signal"
    yield from _wrap(signal_words(report), width, "  ")
    for note in report.reading.notes:
        yield from _wrap(note, width, "  ")


def signal_words(report: Report) -> str:
    """How good the signal was, in one sentence."""
    quality, reading = report.reading.quality, report.reading
    words = [count(quality.packets, "packet") + " read"]
    if quality.broken_packets or quality.unreadable_bursts:
        words.append(f"{quality.broken_packets + quality.unreadable_bursts} not readable")
    if quality.bit_rate_min_bps is not None and quality.bit_rate_max_bps is not None:
        low, high = quality.bit_rate_min_bps / 1e3, quality.bit_rate_max_bps / 1e3
        words.append(f"{low:.0f} kbit/s" if round(low) == round(high) else f"{low:.0f} to {high:.0f} kbit/s")
    if quality.duty_skew_s is not None and abs(quality.duty_skew_s) > 50e-9:
        longer = "high" if quality.duty_skew_s > 0 else "low"
        words.append(f"{longer} pulses longer by {span(abs(quality.duty_skew_s))} (threshold off the middle)")
    if quality.jitter_s is not None:
        words.append(f"edges {span(quality.jitter_s)} off the grid")
    if reading.cc is not None:
        words.append(f'read from "{reading.cc}"')
    if reading.idle_high is not None:
        words.append(f"idle level {'high' if reading.idle_high else 'low'}")
    if quality.time_step_s is not None:
        words.append(f"time step {span(quality.time_step_s)}")
    return ", ".join(words) + "."


def _messages(report: Report) -> Iterator[str]:
    yield f"  {'time':>11}  {'from':<7} {'SOP':<7} {'id':>2} ack  message"
    for one in report.conversation.transmissions:
        yield _message_line(one)


def _message_line(one: Transmission) -> str:
    packet, message = one.packet, one.message
    number = str(message.header.message_id) if message is not None else ""
    ack = {True: "yes", False: "NO", None: ""}[one.acknowledged]
    words = one.name
    if message is not None and message.objects:
        objects = "; ".join(object_words(o) for o in message.objects)
        words += f": {objects}"
    if packet.problem is not None:
        words += f" {packet.problem.value}"
        if packet.data:
            words += f", read so far: {packet.data.hex(' ')}"
    sop = packet.sop.value if packet.sop is not None else "?"
    return f"  {packet.start_s:>11.6f}  {one.sender.value:<7} {sop:<7.10} {number:>2} {ack:<4} {printable(words)}"


def object_words(one: DataObject) -> str:
    """An object of a message in a few words."""
    if one.kind == "request":
        return request_object(one)
    if one.kind in ("fixed", "variable", "battery", "spr_pps", "spr_avs", "epr_avs"):
        return power_object(one)
    raw = f"0x{one.raw:08X}" if isinstance(one.raw, int) else one.raw
    command = one.get("command")
    return f"{one.kind} {raw}" + (f" ({command})" if command is not None else "")
