"""Questions and what became of them: answered, and after how long; or what came instead.

Why it is: every rule on a missing or late answer argues from the same list, so that a question which something else
cut short is nobody's fault in all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from pdcheck.conversation.model import Exchange, Party, Reset
from pdcheck.conversation.names import OFFERS
from pdcheck.messages.model import Message
from pdcheck.standard.dialogues import (
    CHUNK,
    CHUNK_REQUEST,
    DIALOGUES,
    MODE_REQUEST,
    VENDOR_ANSWER,
    VENDOR_REQUEST,
    Dialogue,
)
from pdcheck.standard.sizes import CHUNK_BYTES

#: Commands of structured vendor messages (USB PD, table of commands; Linux 6.1 pd_vdo.h).
_ENTER_MODE, _EXIT_MODE, _ATTENTION = 4, 5, 6


class Ended(StrEnum):
    """What came next after a question."""

    ANSWER = "its answer"
    RESET = "a reset"
    ASKER = "something else by the one who asked"
    OTHER = "something else by the one who was asked"
    ASIDE = "talk with somebody else"
    CAPTURE_END = "the end of the capture"


@dataclass(frozen=True)
class Question:
    """A message that asks for an answer. Times in seconds.

    ``next_s``: when what came next began; ``reset``: set where that was one; ``then``: the exchange that came next.
    """

    asked: Exchange
    dialogue: Dialogue
    ended: Ended
    next_s: float
    then: Exchange | None
    reset: Reset | None

    @property
    def answer(self) -> Exchange | None:
        """Its answer, where that came next."""
        return self.then if self.ended is Ended.ANSWER else None

    @property
    def waited_s(self) -> float:
        """From the question's acknowledgement to what came next."""
        return self.next_s - self.asked.settled_s

    @property
    def owed_by(self) -> Party:
        """Who had to answer: the other port, or the cable where the cable was asked."""
        if self.asked.sop.to_cable:
            return Party.CABLE if self.asked.sender is not Party.CABLE else Party.UNKNOWN
        return self.asked.sender.other


def topic(message: Message) -> str:
    """A message's name, or what it is about where the name does not say: ``"EPR_KeepAlive"``, ``"EPR_Mode Enter"``."""
    first = message.objects[0] if message.objects else None
    if first is None:
        return message.name
    if message.name == "Extended_Control":
        return str(first.get("type", message.name))
    if message.name == "EPR_Mode":
        return f"EPR_Mode {first.get('action')}"
    if message.name == "Vendor_Defined" and first.get("structured") is True:
        if first.get("command_type") != "REQ":
            return VENDOR_ANSWER
        command = first.get("command")
        if command in (_ENTER_MODE, _EXIT_MODE):
            return MODE_REQUEST
        return message.name if command == _ATTENTION else VENDOR_REQUEST
    return message.name


def questions(steps: Sequence[Exchange | Reset], duration_s: float) -> tuple[Question, ...]:
    """Every question of a conversation, in the order of time, as its steps are."""
    found = []
    for place, step in enumerate(steps):
        if isinstance(step, Reset):
            continue
        dialogue = None if _wrong_part(steps[place - 1] if place else None, step) else _question(step)
        if dialogue is not None:
            found.append(_follow(step, dialogue, steps[place + 1] if place + 1 < len(steps) else None, duration_s))
    return tuple(found)


def _follow(asked: Exchange, dialogue: Dialogue, then: Exchange | Reset | None, duration_s: float) -> Question:
    if then is None:
        return Question(asked, dialogue, Ended.CAPTURE_END, duration_s, None, None)
    if isinstance(then, Reset):
        return Question(asked, dialogue, Ended.RESET, then.start_s, None, then)
    if then.sop is not asked.sop:
        ended = Ended.ASIDE
    elif then.sender is asked.sender:
        ended = Ended.ASKER
    elif _as_answer(then.message) in dialogue.answers:
        ended = Ended.ANSWER
    else:
        ended = Ended.OTHER
    return Question(asked, dialogue, ended, then.start_s, then, None)


def _wrong_part(before: Exchange | Reset | None, step: Exchange) -> bool:
    """True for a part of a long message that is not the one that was asked for: nobody has to go on from there."""
    if before is None or isinstance(before, Reset) or before.sender is step.sender:
        return False
    asked, given = before.message.extended_header, step.message.extended_header
    return (
        asked is not None and given is not None and asked.request_chunk and not given.request_chunk
        and asked.chunk_number != given.chunk_number
    )


def _question(exchange: Exchange) -> Dialogue | None:
    head = exchange.message.extended_header
    if head is not None and head.chunked:
        if head.request_chunk:
            return DIALOGUES[CHUNK_REQUEST]
        if (head.chunk_number + 1) * CHUNK_BYTES < head.data_size:
            return DIALOGUES[CHUNK]
    if exchange.name in OFFERS and exchange.sender is not Party.SOURCE:
        # What a dual-role sink tells of its own source side asks for nothing.
        return None
    return DIALOGUES.get(topic(exchange.message))


def _as_answer(message: Message) -> str:
    head = message.extended_header
    if head is not None and head.chunked:
        if head.request_chunk:
            return CHUNK_REQUEST
        if head.chunk_number > 0:
            return CHUNK
    return topic(message)
