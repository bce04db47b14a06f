"""Contact readings held against each other and against a known-good board.

Why it is: the rear contacts of a receptacle cannot be seen. The connector is symmetric, so a contact is judged by the
one that carries the same when the plug is turned; what is no more than our own choice of a limit says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from pdcheck.bench import entries as say
from pdcheck.bench import pin_entries as entry
from pdcheck.bench.levels import LOW_VBUS_OHM, SHORT_OHM
from pdcheck.bench.ohm_rules import RA_WORDS, Pull, open_beside, pull_of, takes
from pdcheck.bench.pin_file import PinReading, PinReadings
from pdcheck.bench.quantity import Kind, words
from pdcheck.rules import Effect, Finding
from pdcheck.standard.contacts import ALL, BY_NAME, Contact, Net, neighbours
from pdcheck.triage import Block, Evidence, Source, Strength
from pdcheck.triage.measurements import MOOT_WITH_VBUS_SHORT

Said = Finding | Evidence

#: Our own choices: a diode reading up to here is a short; two readings differ when they are apart by this much and by
#: this share, two resistances when by this factor and by more than leads and contacts add.
SHORT_V = 0.02
DIFFER_V = 0.05
DIFFER_SHARE = 0.10
DIFFER_FACTOR = 1.5
LEADS_OHM = 2.0
#: So many open contacts in one row are no longer single contacts. Our own choice.
_A_ROW = 3

LIMITS_WORDS = (
    f"Limits of our own choice: short up to {SHORT_V:g} V or {SHORT_OHM:g} ohm, VBUS low up to {LOW_VBUS_OHM:g} ohm; "
    f"differs from {DIFFER_V:g} V and {DIFFER_SHARE:.0%} on, or by a factor of {DIFFER_FACTOR:g} in ohms. Diode "
    "readings depend on meter and board (common practice, no source)."
)

_BLOCKS = {
    Net.GND: frozenset({Block.PORT}),
    Net.VBUS: frozenset({Block.PORT, Block.VBUS_SWITCH, Block.CHARGER_STAGE}),
    Net.CC: frozenset({Block.PORT, Block.CC_PATH, Block.CHIP}),
}
#: What charging needs.
ON_PATH = frozenset(_BLOCKS)
_PINS = frozenset({"pins"})

class ContactState(StrEnum):
    """What was found of a contact."""

    FINE = "fine"
    OPEN = "open"
    SHORT = "short"
    DIFFERS = "differs"
    NOT_FITTED = "not_fitted"
    NOT_JUDGED = "not_judged"
    NOT_MEASURED = "not_measured"


@dataclass(frozen=True)
class ContactResult:
    """One contact with its state; ``good``: the known-good board's reading of it."""

    contact: Contact
    reading: PinReading | None
    good: PinReading | None
    state: ContactState


def shorted(reading: PinReading) -> bool:
    """True where it reads like ground."""
    return (reading.diode_v is not None and reading.diode_v <= SHORT_V) or (
        reading.ohms is not None and reading.ohms <= SHORT_OHM
    )


def opened(reading: PinReading) -> bool:
    """True where every reading of it is OL."""
    values = [v for v in (reading.diode_v, reading.ohms) if v is not None]
    return bool(values) and all(math.isinf(v) for v in values)


def _nothing_there(reading: PinReading) -> bool:
    """True where an ohmmeter finds no more than at an open CC, and nothing else says otherwise."""
    diode_open = reading.diode_v is None or math.isinf(reading.diode_v)
    return diode_open and reading.ohms is not None and pull_of(reading.ohms) is Pull.OPEN


def _proves_open(reading: PinReading, other: PinReading) -> bool:
    """True where what the other one reads proves that this one is open. In ohms :mod:`ohm_rules` decides."""
    return opened(reading) or (
        reading.ohms is not None and other.ohms is not None and open_beside(reading.ohms, other.ohms)
    )


def differ(one: PinReading, other: PinReading) -> bool | None:
    """Whether two contacts read differently; None where they have no reading of one kind in common."""
    told: list[bool] = []
    if one.diode_v is not None and other.diode_v is not None:
        a, b = sorted((one.diode_v, other.diode_v))
        # To the microvolt, so that 0.55 and 0.50 V are 0.05 V apart and not more.
        apart = math.inf if math.isinf(b) else round(b - a, 6)
        told.append(a != b and apart > DIFFER_V and apart > round(DIFFER_SHARE * a, 6))
    if one.ohms is not None and other.ohms is not None:
        a, b = sorted((one.ohms, other.ohms))
        told.append(a != b and b > DIFFER_FACTOR * a and b - a > LEADS_OHM)
    return any(told) if told else None


def shown(reading: PinReading) -> str:
    """``"0.51 V"``, ``"OL"``, ``"0.51 V, 4.7 kohm"``."""
    parts = []
    if reading.diode_v is not None:
        parts.append("OL" if math.isinf(reading.diode_v) else f"{reading.diode_v:.3f} V")
    if reading.ohms is not None:
        parts.append(words(reading.ohms, Kind.OHMS))
    return ", ".join(dict.fromkeys(parts))


class Board:
    """The readings of one board under judgement, and what has been found of each contact."""

    def __init__(self, readings: PinReadings, good: PinReadings | None) -> None:
        self._read = {r.contact.name: r for r in readings.readings}
        self._good = {r.contact.name: r for r in good.readings} if good is not None else {}
        self._state: dict[str, ContactState] = {}
        self._compared = good is not None

    def judge(self) -> Iterator[Said]:
        """Findings and evidence; afterwards :meth:`results` holds every contact's state."""
        fitted, missing = self._fitted()
        yield from missing
        yield from self._ground()
        for net in (Net.VBUS, Net.CC, *(n for n in (Net.DP, Net.DN, Net.SBU, Net.TX, Net.RX) if n in fitted)):
            yield from self._shorts(net)
            yield from self._like(net)
        yield from self._low()
        yield from self._rows()
        if self._compared:
            yield from self._against_good()
        yield from self._cleared()

    def results(self) -> tuple[ContactResult, ...]:
        """All 24 contacts in the order of the rows."""
        out = []
        for contact in ALL:
            reading = self._read.get(contact.name)
            state = self._state.get(contact.name, ContactState.FINE)
            if reading is None:
                state = ContactState.NOT_MEASURED
            out.append(ContactResult(contact, reading, self._good.get(contact.name), state))
        return tuple(out)

    @property
    def port(self) -> str:
        """``"full"``, ``"usb2"`` or ``"power_only"``, by what was measured and is not open throughout."""
        alive = {r.contact.net for r in self._read.values() if not opened(r)}
        if any(net.high_speed for net in alive):
            return "full"
        return "usb2" if alive & {Net.DP, Net.DN} else "power_only"

    def _of(self, net: Net) -> list[PinReading]:
        return [self._read[c.name] for c in ALL if c.net is net and c.name in self._read]

    def _as_good(self, reading: PinReading) -> bool:
        """True where the known-good board reads the same there, whatever symmetry says."""
        good = self._good.get(reading.contact.name)
        return good is not None and differ(reading, good) is False

    def _mark(self, reading: PinReading, state: ContactState) -> None:
        if self._state.get(reading.contact.name, ContactState.FINE) in (ContactState.FINE, ContactState.NOT_JUDGED):
            self._state[reading.contact.name] = state

    def _fitted(self) -> tuple[set[Net], list[Finding]]:
        """Kinds of contacts of which anything is there at all; what is open throughout is not judged."""
        fitted: set[Net] = set()
        missing = []
        for nets, name in (
            ((Net.TX, Net.RX), "the four high-speed pairs"), ((Net.DP, Net.DN), "D+ and D-"), ((Net.SBU,), "SBU"),
        ):
            measured = [r for net in nets for r in self._of(net)]
            if measured and all(opened(r) for r in measured):
                for reading in measured:
                    self._mark(reading, ContactState.NOT_FITTED)
                missing.append(
                    entry.NOT_FITTED.says(f"All of {name} read OL: not fitted, or behind capacitors; not judged."),
                )
            elif measured:
                fitted.update(nets)
        return fitted, missing

    def _ground(self) -> Iterator[Said]:
        readings = self._of(Net.GND)
        bad = [r for r in readings if not shorted(r)]
        if bad and len(bad) == len(readings):
            yield entry.NO_GROUND.says(
                f"No GND contact that was measured ({_names(bad)}) reads like ground.", effect=Effect.WITHHOLDS,
            )
        elif bad:
            for reading in bad:
                self._mark(reading, ContactState.OPEN)
            yield entry.GROUND_OPEN.says(f"{_names(bad)} (GND) {_read(bad)} instead of a short to ground.")
            yield _points(f"GND reads open at {_names(bad)}", _BLOCKS[Net.GND])

    def _shorts(self, net: Net) -> Iterator[Said]:
        bad = [r for r in self._of(net) if shorted(r) and (net in ON_PATH or not self._as_good(r))]
        if not bad:
            return
        for reading in bad:
            self._mark(reading, ContactState.SHORT)
        beside = sorted({n.name for r in bad for n in neighbours(r.contact) if n.net is Net.GND})
        hint = f" (beside GND {', '.join(beside)})" if beside else ""
        path = "" if net in ON_PATH else " Not on the charging path."
        kind = entry.VBUS_SHORT if net is Net.VBUS else entry.SHORT
        yield kind.says(f"{_names(bad)} ({net.value}) {_read(bad)}: shorted to ground{hint}.{path}")
        if net in ON_PATH:
            found = _points(f"{net.value} reads a short to ground at {_names(bad)}", _BLOCKS[net])
            yield replace(found, done=found.done | MOOT_WITH_VBUS_SHORT) if net is Net.VBUS else found

    def _like(self, net: Net) -> Iterator[Said]:
        """Contacts of one kind against each other: all four of VBUS, else each with its counterpart."""
        readings = [r for r in self._of(net) if not shorted(r)]
        if net is Net.VBUS:
            groups = [readings]
        else:
            pairs = {tuple(sorted((r.contact.name, r.contact.like))) for r in readings}
            groups = [[r for r in readings if r.contact.name in pair] for pair in sorted(pairs)]
        for group in groups:
            if group:
                yield from self._group(net, group)

    def _group(self, net: Net, group: list[PinReading]) -> Iterator[Said]:
        gone = [r for r in group if opened(r) or (net is Net.CC and _nothing_there(r))]
        alive = [r for r in group if r not in gone]
        unlike = [r for r in gone if all(differ(r, other) is None for other in alive)]
        if unlike:
            # Alone, all of them, or read in another kind than their counterparts.
            for reading in unlike:
                self._mark(reading, ContactState.NOT_JUDGED)
            if net in ON_PATH and not all(r.contact.name in self._good for r in unlike):
                yield entry.BOTH_OPEN.says(
                    f"{_names(unlike)} ({net.value}) {_read(unlike)}, and there is nothing to compare with.",
                    effect=Effect.WITHHOLDS,
                )
        comparable = [
            r for r in gone if any(differ(r, other) and _proves_open(r, other) for other in alive)
            and not self._as_good(r)
        ]
        if comparable and (net in ON_PATH or net in (Net.DP, Net.DN)):
            for reading in comparable:
                self._mark(reading, ContactState.OPEN)
            like = f"{_names(alive)} {_read(alive)}"
            path = "" if net in ON_PATH else " Not on the charging path, but on the same port."
            yield entry.OPEN.says(f"{_names(comparable)} ({net.value}) {_read(comparable)}, {like}.{path}")
            if net in ON_PATH:
                blocks = frozenset({Block.PORT}) if net is not Net.CC else _BLOCKS[Net.CC]
                yield _points(f"{net.value} reads open at {_names(comparable)}", blocks)
            return
        apart = [r for r in group if any(differ(r, other) for other in group)]
        if not all(self._as_good(r) for r in apart):
            for reading in apart:
                self._mark(reading, ContactState.DIFFERS)
            text = "; ".join(f"{r.contact.name} {_read([r])}" for r in apart)
            if net in ON_PATH:
                yield entry.DIFFERS.says(
                    f"{net.value} contacts differ: {text}.{self._beside(apart)}", effect=Effect.WITHHOLDS,
                )
                yield _points(f"the {net.value} contacts differ", _BLOCKS[net], proves=False)
            else:
                yield entry.DATA_DIFFERS.says(f"{net.value} contacts differ: {text}.")

    def _low(self) -> Iterator[Said]:
        """Contacts that are alike and yet lower than a working unit's; the words are those of ``measure``."""
        vbus = [r for r in self._of(Net.VBUS) if r.ohms is not None and SHORT_OHM < r.ohms <= LOW_VBUS_OHM]
        vbus = [r for r in vbus if not shorted(r) and not self._as_good(r)]
        if vbus:
            least = min(r.ohms for r in vbus if r.ohms is not None)
            yield say.VBUS_LEAK.says(
                f"{_names(vbus)} (VBUS) {_read(vbus)}{takes(least)}.", effect=Effect.WITHHOLDS,
            )
            yield _points("VBUS is low to ground", _BLOCKS[Net.VBUS], proves=False)
        for reading in self._of(Net.CC):
            pull = pull_of(reading.ohms) if reading.ohms is not None else None
            if pull not in (Pull.LOW, Pull.RA) or shorted(reading) or self._as_good(reading):
                continue
            if self._state.get(reading.contact.name, ContactState.FINE) is not ContactState.FINE:
                continue
            kind = say.LEAK if pull is Pull.LOW else say.RA_AT_DEVICE
            means = "lower than any pull-down" if pull is Pull.LOW else RA_WORDS
            yield kind.says(f"{_names([reading])} (CC) {_read([reading])}: {means}.", effect=Effect.WITHHOLDS)
            yield _points(f"{_names([reading])} is low to ground", _BLOCKS[Net.CC], proves=False)
        for reading in vbus:
            self._mark(reading, ContactState.NOT_JUDGED)

    def _beside(self, apart: list[PinReading]) -> str:
        """A contact that reads just like its neighbour may be joined to it."""
        for reading in apart:
            for near in neighbours(reading.contact):
                other = self._read.get(near.name)
                if other is not None and near.net is not Net.GND and differ(reading, other) is False:
                    return f" {reading.contact.name} reads like its neighbour {near.name} ({near.signal}): joined?"
        return ""

    def _rows(self) -> Iterator[Said]:
        for row in ("A", "B"):
            gone = [n for n, s in self._state.items() if s is ContactState.OPEN and BY_NAME[n].row == row]
            if len(gone) >= _A_ROW:
                names = ", ".join(c.name for c in ALL if c.name in gone)
                yield entry.ROW_OPEN.says(f"{len(gone)} contacts of row {row} are open: {names}.")
                yield _points(f"{len(gone)} contacts of row {row} are open", frozenset({Block.PORT}))

    def _against_good(self) -> Iterator[Said]:
        compared = 0
        for contact in ALL:
            ours, good = self._read.get(contact.name), self._good.get(contact.name)
            apart = differ(ours, good) if ours is not None and good is not None else None
            if ours is None or good is None or apart is None:
                continue
            compared += 1
            if not apart:
                if self._state.get(contact.name) in (ContactState.NOT_JUDGED, ContactState.DIFFERS):
                    self._state[contact.name] = ContactState.FINE
                continue
            path = contact.net in ON_PATH
            blocks = _BLOCKS.get(contact.net, frozenset())
            text = f"{contact.name} ({contact.signal}) {_read([ours])}, the known-good board {shown(good)}."
            if opened(ours):
                self._state[contact.name] = ContactState.OPEN
                yield entry.GOOD_OPEN.says(text)
                if path:
                    yield _points(f"{contact.name} is open against the known-good board", blocks)
            elif shorted(ours):
                self._state[contact.name] = ContactState.SHORT
                yield entry.GOOD_SHORT.says(text)
                if path:
                    yield _points(f"{contact.name} is shorted against the known-good board", blocks)
            else:
                self._state[contact.name] = ContactState.DIFFERS
                yield entry.GOOD_DIFFERS.says(text, effect=Effect.WITHHOLDS if path else None)
                if path:
                    yield _points(f"{contact.name} differs from the known-good board", blocks, proves=False)
        if not compared:
            yield entry.NOT_COMPARED.says(
                "The known-good file has no reading of a kind and contact in common with this one.",
                effect=Effect.WITHHOLDS,
            )

    def _cleared(self) -> Iterator[Said]:
        needed = [c.name for c in ALL if c.net in ON_PATH]
        states = [self._state.get(n, ContactState.FINE) for n in needed if n in self._read]
        if len(states) < len(needed) or any(s is not ContactState.FINE for s in states):
            return
        cc = [self._read["A5"], self._read["B5"]]
        with_good = all(
            r.contact.name in self._good and differ(r, self._good[r.contact.name]) is False for r in cc
        )
        blocks = frozenset({Block.PORT, Block.CC_PATH}) if with_good else frozenset({Block.PORT})
        same = " and read as on the known-good board" if with_good else ""
        yield Evidence(
            Source.CONTACTS, f"all GND, VBUS and CC contacts are alike{same}", clears=blocks, done=_PINS,
        )


def _points(text: str, blocks: frozenset[Block], *, proves: bool = True) -> Evidence:
    return Evidence(
        Source.CONTACTS, text, suspects=blocks, strength=Strength.PROVES if proves else Strength.POINTS, done=_PINS,
    )


def _names(readings: list[PinReading]) -> str:
    return ", ".join(r.contact.name for r in readings)


def _read(readings: list[PinReading]) -> str:
    """``"reads 0.51 V"``, ``"read 0.51 V and OL"``."""
    texts = list(dict.fromkeys(shown(r) for r in readings))
    return ("reads " if len(readings) == 1 else "read ") + " and ".join(texts)
