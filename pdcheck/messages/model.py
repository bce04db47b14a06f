"""What packet bytes become: a header, objects, a name.

Why it is: every room after this one speaks of messages in these terms and never touches a bit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

Value = int | bool | str | None | list["Value"] | Mapping[str, "Value"]


@dataclass(frozen=True)
class Header:
    """The 16-bit message header (USB PD, message header table).

    ``power_role`` is bit 8 as sent: on SOP 1 means source; on SOP' and SOP'' it is the cable plug bit
    (1: from the cable). ``data_role`` is bit 5 (reserved on SOP' and SOP''). ``revision`` is the raw field:
    0 R1.0, 1 R2.0, 2 R3.x, 3 reserved.
    """

    raw: int
    message_type: int
    data_role: int
    revision: int
    power_role: int
    message_id: int
    object_count: int
    extended: bool


@dataclass(frozen=True)
class ExtendedHeader:
    """The 16-bit extended message header."""

    raw: int
    data_size: int
    request_chunk: bool
    chunk_number: int
    chunked: bool


@dataclass(frozen=True)
class DataObject:
    """One object of a message: ``kind`` and ``fields`` are those of the JSON report.

    ``raw`` is the 32-bit word (first byte on the wire lowest) or, for blocks that are not words, the
    block's bytes as hex text in wire order. ``layout`` names the declaration it was read by
    (``"power.fixed_source"``); empty where it is known only by its bytes.
    """

    kind: str
    raw: int | str
    fields: Mapping[str, Value] = field(default_factory=dict)
    layout: str = ""

    def __getitem__(self, name: str) -> Value:
        return self.fields[name]

    def get(self, name: str, default: Value = None) -> Value:
        return self.fields.get(name, default)

    def integer(self, name: str) -> int | None:
        """A field that is an integer; None where it is not there, or says in words what it is."""
        value = self.fields.get(name)
        return value if isinstance(value, int) else None

    def number(self, name: str) -> int:
        """A field that is an integer; KeyError or TypeError where it is not."""
        value = self.fields[name]
        if not isinstance(value, int):
            raise TypeError(f"{self.kind}.{name} is not a number")
        return int(value)


@dataclass(frozen=True)
class Message:
    """A message, parsed. ``message_class``: ``"control"``, ``"data"`` or ``"extended"``.

    ``data`` is header and payload as on the wire, without CRC. ``problems`` says in words what the bytes
    contradict (an object count that the length denies, an unknown type); nothing is dropped because of one.
    """

    header: Header
    name: str
    message_class: str
    objects: tuple[DataObject, ...]
    data: bytes
    extended_header: ExtendedHeader | None = None
    problems: tuple[str, ...] = ()
