"""Puts the chunks of an extended message together again, and keeps every part in sight.

Why it is: an EPR offer is longer than one message can hold, so it comes in parts that the other side asks
for one by one. A part that never came is a finding, so nothing is thrown away here. (USB PD R3.2, section
6.2.1.2 and 6.11.2.1.)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from pdcheck.messages.extended import extended_objects, is_whole
from pdcheck.messages.model import DataObject, ExtendedHeader, Message


@dataclass(frozen=True)
class Assembled:
    """An extended message, whole or as far as it came.

    :ivar name: of the message. :ivar parts: every message that took part, in the order they came, repeats
        and chunk requests of the same sender included.
    :ivar data: the data of the chunks in their order, without padding.
    :ivar complete: all of ``data_size`` bytes are there. :ivar objects: what they mean; empty where not
        complete. :ivar problems: in words, what is missing, repeated or contradictory.
    """

    name: str
    parts: tuple[Message, ...]
    data: bytes
    data_size: int
    complete: bool
    objects: tuple[DataObject, ...]
    problems: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Open:
    """A message whose chunks are still coming."""

    parts: tuple[Message, ...]
    data: bytes
    next_chunk: int
    latest: bytes
    problems: tuple[str, ...]


class Reassembler:
    """Takes the messages of one sender in their order and gives each extended message once it is whole.

    What one call gives is in the order it ended: at most one that was given up, then one that is done.

    :param on_cable: the messages are on SOP' or SOP''.
    """

    def __init__(self, *, on_cable: bool = False) -> None:
        self._on_cable = on_cable
        self._open: _Open | None = None

    def take(self, message: Message) -> tuple[Assembled, ...]:
        """Whatever this message completes or breaks off; empty while chunks are still to come.

        A GoodCRC changes nothing: it acknowledges the other side. A repeat of the chunk before is noted
        and used once. Any other message breaks off what was coming.
        """
        if message.name == "GoodCRC" and message.message_class == "control":
            return ()
        extended_header = message.extended_header
        if extended_header is None:
            return self.finish(f"{message.name} came between its chunks")
        if extended_header.request_chunk:
            self._keep(message)
            return ()
        if is_whole(extended_header):
            given_up = self.finish(f"{message.name} came between its chunks")
            return (*given_up, self._single(message, extended_header))
        return self._chunk(message, extended_header)

    def finish(self, reason: str = "the capture ends before its last chunk") -> tuple[Assembled, ...]:
        """Gives up what is still coming, if anything is; ``reason`` is put into its problems."""
        still, self._open = self._open, None
        return (self._given_up(still, reason),) if still is not None else ()

    def _keep(self, message: Message) -> None:
        if self._open is not None:
            self._open = replace(self._open, parts=(*self._open.parts, message))

    def _single(self, message: Message, extended_header: ExtendedHeader) -> Assembled:
        data = message.data[4 : 4 + extended_header.data_size]
        complete = len(data) == extended_header.data_size
        return Assembled(
            message.name, (message,), data, extended_header.data_size, complete,
            tuple(o for o in message.objects if o.kind != "padding") if complete else (), message.problems,
        )

    def _chunk(self, message: Message, extended_header: ExtendedHeader) -> tuple[Assembled, ...]:
        number = extended_header.chunk_number
        part = _part_of(message)
        still = self._open
        if still is not None and _same(still.parts[0], message) and number == still.next_chunk - 1:
            same = part == still.latest
            if same or number > 0:
                said = f"chunk {number} came twice" + ("" if same else ", with different data")
                self._open = replace(still, parts=(*still.parts, message), problems=(*still.problems, said))
                return ()
        if still is None or not _same(still.parts[0], message) or number == 0:
            given_up = self.finish(f"{message.name} chunk {number} came instead of chunk {_next(still)}")
            if number != 0:
                problem = f"chunk {number} came without the chunks before it"
                self._open = None
                lone = _Open((message,), part, number + 1, part, ())
                return (*given_up, self._given_up(lone, problem))
            self._open = _Open((message,), part, 1, part, message.problems)
            return given_up + self._if_done(extended_header)
        if number != still.next_chunk:
            self._keep(message)
            return self.finish(f"chunk {still.next_chunk} is missing: chunk {number} came")
        self._open = _Open(
            (*still.parts, message), still.data + part, number + 1, part, (*still.problems, *message.problems)
        )
        return self._if_done(extended_header)

    def _if_done(self, extended_header: ExtendedHeader) -> tuple[Assembled, ...]:
        still = self._open
        if still is None or len(still.data) < extended_header.data_size:
            return ()
        self._open = None
        first = still.parts[0]
        objects, found = extended_objects(first.header.message_type, still.data, self._on_cable)
        return (Assembled(
            first.name, still.parts, still.data, extended_header.data_size, True, objects,
            (*still.problems, *found),
        ),)

    def _given_up(self, still: _Open, reason: str) -> Assembled:
        first = still.parts[0]
        size = first.extended_header.data_size if first.extended_header is not None else 0
        said = f"{len(still.data)} of {size} data bytes came: {reason}"
        return Assembled(first.name, still.parts, still.data, size, False, (), (*still.problems, said))


def _part_of(message: Message) -> bytes:
    """The data bytes a chunk carries."""
    chunks = (one.raw for one in message.objects if one.kind == "chunk")
    return b"".join(bytes.fromhex(str(raw)) for raw in chunks)


def _same(first: Message, other: Message) -> bool:
    """Whether both are chunks of one message, as far as their headers tell."""
    if first.extended_header is None or other.extended_header is None:
        return False
    return first.name == other.name and first.extended_header.data_size == other.extended_header.data_size


def _next(still: _Open | None) -> int:
    return 0 if still is None else still.next_chunk
