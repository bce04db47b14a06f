"""The charging path as text: what is cleared, what is pointed at, what splits the rest.

Why it is: decode, measure and pins end in the same few lines, so that a technician reads them only once.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from pdcheck.triage import BlockState, Evidence, Triage
from pdcheck.triage.model import block_list

#: Lines that the table may take at 80 columns; evidence that does not fit is in the JSON.
MOST_LINES = 12

#: What stands before the measurement that tells the blocks that are left from each other.
SPLITS = "To tell apart what is left"

_LABEL = {
    BlockState.CLEARED: "cleared", BlockState.SUSPECT: "suspect", BlockState.DISPUTED: "disputed",
    BlockState.UNTOUCHED: "untouched",
}


def blocks_lines(triage: Triage, width: int) -> list[str]:
    """The table, without a blank line around it; empty where nothing was seen of any block.

    Where the evidence makes it longer than :data:`MOST_LINES` (on a narrower screen as many more as that is narrower)
    only the blocks are shown.
    """
    if not triage.of(BlockState.CLEARED, BlockState.SUSPECT, BlockState.DISPUTED):
        return []
    most = MOST_LINES * max(80, width) // width
    full = list(_all_rows(triage))
    short = [(_LABEL[s], block_list(triage.of(s)), "") for s in BlockState if triage.of(s)]
    steps = [f"{SPLITS}: {triage.next[0].text}"] if triage.next else []
    for rows in (full, short):
        lines = ["Charging path"]
        for label, blocks, why in rows:
            lines += _row(label, f"{blocks}: {why}." if why else blocks, width)
        for step in steps:
            lines += textwrap.wrap(
                step, width, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False,
            )
        if len(lines) <= most:
            return lines
    return lines


def blocks_sentence(triage: Triage) -> str | None:
    """One sentence that names what is cleared and what is left; None where nothing was seen of any block."""
    cleared = triage.of(BlockState.CLEARED)
    if not cleared:
        suspects = triage.of(BlockState.SUSPECT, BlockState.DISPUTED)
        return f"Pointed at: {block_list(suspects)}." if suspects else None
    suspects, left = triage.of(BlockState.SUSPECT, BlockState.DISPUTED), triage.left
    rest = f" {'Left' if suspects else 'Untouched'}: {block_list(left)}." if left else ""
    return f"Cleared: {block_list(cleared)}.{rest}"


def _all_rows(triage: Triage) -> Iterator[tuple[str, str, str]]:
    """State, blocks and evidence in words, one row for every group of blocks that share state and evidence."""
    for state in BlockState:
        yield from _rows(triage, state)


def _rows(triage: Triage, state: BlockState) -> Iterator[tuple[str, str, str]]:
    groups: dict[tuple[Evidence, ...], list[str]] = {}
    for result in triage.blocks:
        if result.state is state:
            groups.setdefault(result.evidence, []).append(result.block.words)
    for evidence, names in groups.items():
        if state is BlockState.DISPUTED:
            why = "; against it: ".join((
                "; ".join(e.text for e in evidence if e.clears and not _points(e, triage, state)),
                "; ".join(e.text for e in evidence if _points(e, triage, state)),
            ))
        else:
            why = "; ".join(e.text for e in evidence)
        yield _LABEL[state], ", ".join(names), why


def _points(evidence: Evidence, triage: Triage, state: BlockState) -> bool:
    return bool(evidence.suspects & set(triage.of(state)))


def _row(label: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(
        text, width, initial_indent=f"  {label:<10} ", subsequent_indent=" " * 13, break_on_hyphens=False,
    )
