"""Blocks of the charging path, what was seen of them, and what follows.

Why it is: capture, meter and contact readings say what they saw in one form, so that one reasoning can hold it
together.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Block(StrEnum):
    """The blocks between the wall and the cell, from the outside in."""

    CHARGER = "charger"
    CABLE = "cable"
    PORT = "port_contacts"
    CC_PATH = "cc_path"
    CHIP = "negotiating_chip"
    CHIP_SUPPLY = "chip_supply"
    VBUS_SWITCH = "vbus_switch"
    CHARGER_STAGE = "charger_stage"
    BATTERY = "battery"

    @property
    def words(self) -> str:
        """The block as a technician calls it."""
        return _WORDS[self]


_WORDS = {
    Block.CHARGER: "charger",
    Block.CABLE: "cable",
    Block.PORT: "port contacts",
    Block.CC_PATH: "CC path and protection",
    Block.CHIP: "negotiating chip",
    Block.CHIP_SUPPLY: "the chip's supply and bus",
    Block.VBUS_SWITCH: "VBUS switch",
    Block.CHARGER_STAGE: "charger stage",
    Block.BATTERY: "battery",
}


def block_list(blocks: tuple[Block, ...] | frozenset[Block]) -> str:
    """Blocks in the order of the path: ``"port contacts, negotiating chip"``."""
    return ", ".join(block.words for block in Block if block in blocks)


class BlockState(StrEnum):
    """What the evidence says of a block. SUSPECT is "pointed at and not cleared", never "convicted"."""

    CLEARED = "cleared"
    SUSPECT = "suspect"
    DISPUTED = "disputed"
    UNTOUCHED = "untouched"


class Source(StrEnum):
    """Where evidence comes from."""

    CAPTURE = "capture"
    METER = "meter"
    CONTACTS = "contacts"


class Strength(StrEnum):
    """PROVES: nothing else explains it. POINTS: the usual explanation, not the only one."""

    PROVES = "proves"
    POINTS = "points"


@dataclass(frozen=True)
class Evidence:
    """One thing that was seen.

    ``text``: a clause without a final stop. ``clears``: blocks that must have worked for it to be seen. ``suspects``:
    blocks any one of which would explain it. ``done``: names of the measurements (see
    :mod:`pdcheck.triage.measurements`) that have thereby been taken and need no repeating.
    """

    source: Source
    text: str
    clears: frozenset[Block] = frozenset()
    suspects: frozenset[Block] = frozenset()
    strength: Strength = Strength.PROVES
    done: frozenset[str] = frozenset()


@dataclass(frozen=True)
class BlockResult:
    """One block, what is known of it, and the evidence that says so (that clears it first)."""

    block: Block
    state: BlockState
    evidence: tuple[Evidence, ...]


@dataclass(frozen=True)
class Measurement:
    """Something to measure; ``name`` as in :class:`Evidence`.

    ``tells``: the blocks of which its outcome says something. ``key``: it is worth the trouble only while one of these
    is left; empty where any of ``tells`` will do.
    """

    name: str
    text: str
    tells: frozenset[Block]
    key: frozenset[Block] = frozenset()


@dataclass(frozen=True)
class Triage:
    """All blocks in the order of the path; ``next``: what splits what is left, the easiest first."""

    blocks: tuple[BlockResult, ...]
    next: tuple[Measurement, ...]

    def of(self, *states: BlockState) -> tuple[Block, ...]:
        """The blocks in one of these states."""
        return tuple(b.block for b in self.blocks if b.state in states)

    @property
    def left(self) -> tuple[Block, ...]:
        """The blocks still to be looked at: what is suspect or disputed, else what nothing has touched."""
        return self.of(BlockState.SUSPECT, BlockState.DISPUTED) or self.of(BlockState.UNTOUCHED)
