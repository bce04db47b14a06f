"""The steps of a scenario: the lines that begin with a time.

Why it is: one line says who does what when, and what goes wrong with it. This module turns such a line into a step;
what the step does to the line is the player's business.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace

from pdcheck.messages import build_extended_header
from pdcheck.standard.line_code import Sop
from pdcheck.standard.message_types import ControlType, DataType, ExtendedType
from pdcheck.standard.sizes import CHUNK_BYTES, HEADER_BYTES, MOST_MESSAGE_BYTES, MOST_OBJECTS
from pdcheck.synth.model import (
    ColumnKind,
    Corruption,
    LineMove,
    Manner,
    Mark,
    Move,
    Party,
    Ramp,
    Send,
    Signal,
    Step,
    Trouble,
    When,
)
from pdcheck.synth.objects import any_word, hex_bytes, offer_word, request_word
from pdcheck.synth.settings import bit_rate, revision
from pdcheck.synth.words import (
    AMPS,
    PER_SECOND,
    TIME,
    VOLTS,
    Complaint,
    between,
    duration,
    must,
    one_of,
    pieces,
    quantity,
    shown,
    whole,
)

_SIGNALS = {"Hard_Reset": Sop.HARD_RESET, "Cable_Reset": Sop.CABLE_RESET}
_CONTROL = {kind.name: kind for kind in ControlType}
_DATA = {kind.name: kind for kind in DataType}
_EXTENDED = {kind.name: kind for kind in ExtendedType}
_NAMES = (*_CONTROL, *_DATA, *_EXTENDED, *_SIGNALS)
_MOST_TRIES = 50
_FIRST = re.compile(r"\+?\d")
_EXAMPLE = "0.2s source Accept"


def is_step(word: str) -> bool:
    """Whether a line that begins with this word is a step."""
    return _FIRST.match(word) is not None


def when(text: str) -> When:
    """``0.2s`` from the capture's start, ``+3ms`` from where the line above ended."""
    value = quantity(text, TIME)
    if value is None:
        raise Complaint(f"{shown(text)} is no time", "write 0.2s from the start, or +3ms from the line above")
    return When(duration(text.lstrip("+")), text.startswith("+"))


class StepReader:
    """Reads steps one after the other; remembers the last offer, so that a Request can be read against it."""

    def __init__(self) -> None:
        self._offered: tuple[str, ...] = ()

    def read(self, line: int, text: str) -> Step:
        """The step on a line. :raises Complaint: it is none."""
        moment, _, rest = text.partition(" ")
        at, rest = when(moment), rest.strip()
        head, _, tail = rest.partition(" ")
        tail = tail.strip()
        if not head:
            raise Complaint("a time stands alone", f"say who does what then, like: {_EXAMPLE}")
        who = one_of(head, (*Party, "vbus", "current", "line", "attach", "capture"), "party or line")
        if who in ("vbus", "current"):
            return _ramp(line, at, ColumnKind(who), tail)
        if who in ("line", "attach"):
            return _move(line, at, who if who == "attach" else tail)
        if who == "capture":
            return Mark(line, at, one_of(tail, ("starts", "ends"), "end of a capture") == "starts")
        return self._said(line, at, Party(who), tail)

    def _said(self, line: int, at: When, party: Party, text: str) -> Step:
        text, manner = _split_manner(text)
        name, _, given = text.partition(":")
        name, given = name.strip(), given.strip()
        if not name:
            raise Complaint(f"the {party.value} says nothing", f"name a message, like: {_EXAMPLE}")
        if name.lower() == "bytes":
            return _raw_bytes(line, at, party, hex_bytes(given), manner)
        name = one_of(name, _NAMES, "message")
        if name in _SIGNALS:
            if party is Party.CABLE:
                raise Complaint(f"a cable sends no {name}", "write the source or the sink")
            if given:
                raise Complaint(f"{name} carries nothing", "leave out what follows it")
            if manner.trouble or manner.tries or manner.sop or manner.message_id is not None:
                raise Complaint(f"{name} is a signal, not a message", "leave out its [...]")
            return Signal(line, at, party, _SIGNALS[name], manner)
        if party is Party.CABLE and manner.sop is None:
            manner = replace(manner, sop=Sop.SOP1)
        if name in _EXTENDED:
            return _extended(line, at, party, name, given, manner)
        if name in _CONTROL:
            if given:
                raise Complaint(f"{name} carries no objects", "leave out what follows it")
            return Send(line, at, party, name, _CONTROL[name], 0, False, b"", b"", manner)
        words = self._words(name, [one for one in pieces(given, ";") if one])
        if not 1 <= len(words) <= MOST_OBJECTS:
            raise Complaint(
                f"{name} has {len(words)} objects", f"write 1 to {MOST_OBJECTS} after a colon, with ; between them"
            )
        body = b"".join(word.to_bytes(4, "little") for word in words)
        return Send(line, at, party, name, _DATA[name], len(words), False, body, b"", manner)

    def _words(self, name: str, texts: Sequence[str]) -> list[int]:
        if name in ("Source_Capabilities", "Sink_Capabilities"):
            side = "source" if name == "Source_Capabilities" else "sink"
            found = [offer_word(text, side) for text in texts]
            if side == "source":
                self._offered = tuple(kind for _, kind in found)
            return [word for word, _ in found]
        if name == "Request":
            return [request_word(text, self._offered) for text in texts]
        return [any_word(text) for text in texts]


def _raw_bytes(line: int, at: When, party: Party, data: bytes, manner: Manner) -> Send:
    if not HEADER_BYTES <= len(data) <= MOST_MESSAGE_BYTES:
        raise Complaint(f"{len(data)} bytes are no message", "write the 2 bytes of the header and what follows it")
    if manner.message_id is not None or manner.revision is not None:
        raise Complaint("the bytes say MessageID and revision themselves", "leave them out of the [...]")
    return Send(line, at, party, "bytes", data[0] & 31, data[1] >> 4 & 7, bool(data[1] >> 7), b"", data, manner)


def _extended(line: int, at: When, party: Party, name: str, given: str, manner: Manner) -> Send:
    word, _, rest = given.partition(" ")
    data = hex_bytes(rest.strip() if word == "bytes" else given)
    if len(data) > CHUNK_BYTES:
        raise Complaint(
            f"{len(data)} bytes do not fit into one chunk of {CHUNK_BYTES}",
            "send each chunk by itself with: bytes: and the whole message in hexadecimal",
        )
    body = build_extended_header(data_size=len(data)) + data
    body += bytes(-len(body) % 4)
    return Send(line, at, party, name, _EXTENDED[name], len(body) // 4, True, body, b"", manner)


def _ramp(line: int, at: When, kind: ColumnKind, text: str) -> Ramp:
    words = text.split()
    units, example = (VOLTS, "9V over 30ms") if kind is ColumnKind.VBUS else (AMPS, "2A over 5ms")
    if len(words) not in (1, 3) or (len(words) == 3 and words[1] != "over"):
        raise Complaint(f"{shown(text)} is no {kind.value}", f"write it like: {kind.value} {example}")
    value = between(float(must(words[0], units, example)), -100, 100, words[0], "V or A")
    return Ramp(line, at, kind, value, duration(words[2], "30ms") if len(words) == 3 else 0.0)


def _move(line: int, at: When, text: str) -> Move:
    words = text.split()
    what = LineMove(one_of(words[0] if words else "", list(LineMove), "move of the line"))
    if what in (LineMove.LOW, LineMove.HIGH, LineMove.ATTACH) and len(words) == 1:
        return Move(line, at, what)
    if what in (LineMove.TOGGLES, LineMove.HUMS) and len(words) == 4 and words[2] == "for":
        rate = between(float(must(words[1], PER_SECOND, "40Hz")), 0.1, 2000, words[1], "Hz")
        return Move(line, at, what, rate, duration(words[3], "0.3s"))
    if what is LineMove.SPIKES and len(words) == 6 and words[2] == "of" and words[4] == "for":
        rate = between(float(must(words[1], PER_SECOND, "200/s")), 0.1, 1e5, words[1], "/s")
        width = between(duration(words[3], "60ns"), 1e-9, 1e-4, words[3], "s")
        return Move(line, at, what, rate, duration(words[5], "0.3s"), width)
    raise Complaint(
        f"{shown(text)} is nothing the line can do",
        "write: line low, line high, line toggles 40Hz for 0.3s, line hums 50Hz for 0.3s or "
        "line spikes 200/s of 60ns for 0.3s",
    )


def _split_manner(text: str) -> tuple[str, Manner]:
    """The message, and the manner in the brackets after it."""
    if not text.endswith("]"):
        if "[" in text:
            raise Complaint("a bracket is opened and not closed", "close it with ] at the end of the line")
        return text, Manner()
    before, bracket, inside = text[:-1].rpartition("[")
    if not bracket:
        raise Complaint("a bracket is closed and not opened", "write what goes wrong in [...] after the message")
    manner = Manner()
    for piece in pieces(inside, ","):
        words = piece.split()
        for pattern, take in _MANNERS:
            found = pattern.fullmatch(" ".join(words))
            if found is not None:
                manner = take(manner, *(group or "" for group in found.groups()))
                break
        else:
            raise Complaint(
                f"{shown(piece)} is nothing that a message can do",
                "write for example: unacknowledged, acknowledged as +2, lost acknowledgement 1, corrupt, tries 3, "
                "id 4, revision 2.0, on SOP'",
            )
    return before.strip(), manner


def _trouble(manner: Manner, trouble: Trouble, tries: str) -> Manner:
    if manner.trouble is not None:
        raise Complaint("two things go wrong with one message", "write one of them")
    return replace(manner, trouble=trouble, bad_tries=_tries(tries) if tries else None)


def _tries(text: str) -> int:
    return whole(text, 1, _MOST_TRIES, "number of tries")


def _silent(manner: Manner, tries: str) -> Manner:
    return _trouble(manner, Trouble.SILENCE, tries)


def _lost(manner: Manner, tries: str) -> Manner:
    return _trouble(manner, Trouble.LOST_ACKNOWLEDGEMENT, tries)


def _wrong(manner: Manner, sign: str, number: str) -> Manner:
    manner = _trouble(manner, Trouble.WRONG_ID, "")
    return replace(manner, wrong_id=whole(number, 0, 7, "MessageID"), wrong_id_relative=bool(sign))


def _corrupt(manner: Manner, how: str, tries: str) -> Manner:
    manner = _trouble(manner, Trouble.CORRUPT, tries)
    return replace(manner, corruption=Corruption(how or "bits"))


def _cut(manner: Manner, bits: str) -> Manner:
    return replace(manner, cut_bits=whole(bits, 1, 2000, "number of bits"))


def _keep(manner: Manner, bits: str) -> Manner:
    return replace(manner, keep_bits=whole(bits, 1, 5000, "number of bits"))


def _on(manner: Manner, name: str) -> Manner:
    return replace(manner, sop=Sop(one_of(name, [sop.value for sop in Sop if not sop.is_reset], "ordered set")))


_MANNERS: tuple[tuple[re.Pattern[str], Callable[..., Manner]], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE), take)
    for pattern, take in (
        (r"unacknowledged(?: (\d+))?", _silent),
        (r"lost acknowledgement(?: (\d+))?", _lost),
        (r"acknowledged as (\+?)(\d)", _wrong),
        (r"corrupt(?: (bits|symbol|crc))?(?: (\d+))?", _corrupt),
        (r"tries (\d+)", lambda manner, number: replace(manner, tries=_tries(number))),
        (r"id (\d)", lambda manner, number: replace(manner, message_id=whole(number, 0, 7, "MessageID"))),
        (r"revision (\S+)", lambda manner, text: replace(manner, revision=revision(text))),
        (r"rate (\S+)", lambda manner, text: replace(manner, rate_bps=bit_rate(text))),
        (r"acknowledged after (\S+)", lambda manner, text: replace(manner, acknowledge_s=between(
            duration(text, "150us"), 0, 0.1, text, "s"))),
        (r"on (\S+)", _on),
        (r"to cable", lambda manner: replace(manner, sop=Sop.SOP1)),
        (r"first (\d+) bits missing", _cut),
        (r"ends after (\d+) bits", _keep),
        (r"bad k-code (\d)", lambda manner, number: replace(manner, bad_kcode=whole(number, 1, 4, "K-code"))),
    )
)
MANNER_PATTERNS = tuple(pattern for pattern, _ in _MANNERS)
