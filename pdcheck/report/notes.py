"""The pages of spec_notes, printed from the tables that the program itself uses.

Why it is: a table copied by hand is wrong after the first change. ``python -m pdcheck.report.notes spec_notes``
writes the pages; a test compares them with what stands in the tree.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path

from pdcheck.bench.finding_text import findings_page
from pdcheck.messages.vocabulary import vocabulary_table
from pdcheck.report.rule_text import rules_page
from pdcheck.standard import (
    attach_limits,
    cc_levels,
    contacts,
    counters,
    dialogues,
    electrical,
    line_code,
    message_types,
    offers,
    power_objects,
    sizes,
    terminations,
    timers,
    vbus_levels,
)
from pdcheck.standard.limit import Limit

_CHECKED = (
    "`checked` says with what a value was compared; `memory` means: written from memory of the specification, not "
    "compared with a copy.\n"
)


def pages() -> dict[str, str]:
    """File name to text of every page."""
    return {
        "README.md": _index(),
        "timers.md": _limits("Timers", "How long who may take.", timers.ALL),
        "line.md": _line(),
        "levels.md": _levels(),
        "counters.md": _limits("Counters", "How often who may try.", counters.ALL),
        "message_types.md": _types(),
        "sizes.md": _limits("Sizes", "How long messages may be.", sizes.ALL),
        "dialogues.md": _dialogues(),
        "power_objects.md": _layouts(),
        "offers.md": _limits("Offers", "How far an offer may go.", offers.ALL),
        "vocabulary.md": (
            "# How far each message is decoded\n\nPrinted from the declarations in `pdcheck/messages`.\n\n"
            + vocabulary_table()
        ),
        "rules.md": rules_page(),
        "findings.md": findings_page(),
    }


def write(folder: Path) -> None:
    """Write every page into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in pages().items():
        (folder / name).write_text(text, encoding="utf-8")


def _index() -> str:
    return (
        "# What we take from the specifications\n\n"
        "A page a topic; every table is printed from the program (`python -m pdcheck.report.notes spec_notes`), and a "
        "test keeps it so.\n\n"
        "- [timers](timers.md), [counters](counters.md): how long and how often\n"
        "- [line](line.md): bit rate, code, ordered sets, CRC\n"
        "- [levels](levels.md): CC, terminations, VBUS\n"
        "- [message types](message_types.md), [sizes](sizes.md), [power objects](power_objects.md): names and layouts\n"
        "- [dialogues](dialogues.md): which message asks for which answer, and how soon\n"
        "- [offers](offers.md): how far an offer may go\n"
        "- [vocabulary](vocabulary.md): how far each message is decoded\n"
        "- [rules](rules.md): every check, why it stops charging, what to do\n"
        "- [findings](findings.md): what readings of a meter may mean, and what to do\n\n" + _CHECKED
    )


def _table(head: Iterable[str], rows: Iterable[Iterable[object]]) -> str:
    head = list(head)
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    lines += ["| " + " | ".join(str(cell).replace("|", "\\|") for cell in row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def _number(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def _limit_table(limits: Iterable[Limit]) -> str:
    return _table(
        ("name", "min", "nom", "max", "unit", "meaning", "reference", "checked"),
        ((x.name, _number(x.min), _number(x.nom), _number(x.max), x.unit, x.meaning, x.reference, x.checked)
         for x in limits),
    )


def _limits(title: str, why: str, limits: Iterable[Limit]) -> str:
    return f"# {title}\n\n{why} {_CHECKED}\n" + _limit_table(limits)


def _line() -> str:
    data = _table(("nibble", "symbol"), ((f"{i:X}", f"{s:05b}") for i, s in enumerate(line_code.DATA_SYMBOLS)))
    codes = _table(("K-code", "symbol"), ((name, f"{s:05b}") for name, s in line_code.K_CODES.items()))
    names = {s: name for name, s in line_code.K_CODES.items()}
    sets = _table(
        ("ordered set", "K-codes"),
        ((sop.value, " ".join(names[c] for c in found)) for sop, found in line_code.ORDERED_SETS.items()),
    )
    rules = _table(("rule", "value", "checked"), ((r.name, r.value, r.checked) for r in line_code.RULES))
    return (
        f"# The line\n\nReference: {line_code.REFERENCE}. {_CHECKED}\n## Electrical\n\n{_limit_table(electrical.ALL)}\n"
        f"## Data symbols\n\nChecked: {line_code.DATA_SYMBOLS_CHECKED}.\n\n{data}\n"
        f"## K-codes\n\nChecked: {line_code.K_CODES_CHECKED}.\n\n{codes}\n"
        f"## Ordered sets\n\nChecked: {line_code.ORDERED_SETS_CHECKED}.\n\n{sets}\n## Rules\n\n{rules}"
    )


def _levels() -> str:
    bands = _table(
        ("seen from", "advertisement", "state", "min V", "max V", "threshold V", "checked"),
        ((b.seen_from, b.advertisement, b.state, _number(b.min_v), _number(b.max_v), _number(b.threshold_v), b.checked)
         for b in cc_levels.ALL),
    )
    resistors = _table(
        ("name", "nominal", "tolerance %", "unit", "pulled to", "meaning", "checked"),
        ((t.name, _number(t.nominal), _number(t.tolerance_pct), t.unit, t.pulled_to, t.meaning, t.checked)
         for t in terminations.ALL),
    )
    return (
        f"# Levels and terminations\n\n{_CHECKED}\n## CC levels\n\n{bands}\n## Terminations\n\n{resistors}\n"
        f"## VBUS\n\n{_limit_table(vbus_levels.ALL)}\n## Around attach\n\n{_limit_table(attach_limits.ALL)}\n"
        f"## Contacts\n\n{_contacts()}"
    )


def _contacts() -> str:
    rows = ((c.name, c.signal, c.meaning, c.like, c.checked) for c in contacts.ALL)
    return _table(("contact", "signal", "meaning", "turned over", "checked"), rows)


def _types() -> str:
    rows = ((type(n.type).__name__, n.type.value, n.type.name, n.since, n.checked) for n in message_types.NOTES)
    return f"# Message types\n\n{_CHECKED}\n" + _table(("class", "value", "name", "since", "checked"), rows)


def _dialogues() -> str:
    rows = (
        (d.question, ", ".join(sorted(d.answers)), d.window.words(), d.patience.words(),
         "a port that does not know it" if d.may_be_silent else "")
        for d in dialogues.DIALOGUES.values()
    )
    heads = ("question", "answers", "the answer begins within", "the asker waits", "may stay silent")
    return (
        f"# Dialogues\n\nWhich message asks for which answer. Reference: {dialogues.REFERENCE}. From memory; the "
        "policy engine of Linux 6.1 tcpm.c pairs the control messages in the same way.\n\n" + _table(heads, rows)
    )


def _layouts() -> str:
    rows = ((x.name, x.bits, x.fields, x.steps, x.checked) for x in power_objects.ALL)
    heads = ("object", "bits", "fields", "steps", "checked")
    return f"# Power and request objects\n\n{_CHECKED}\n" + _table(heads, rows)


if __name__ == "__main__":
    write(Path(sys.argv[1] if len(sys.argv) > 1 else "spec_notes"))
