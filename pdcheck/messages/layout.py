"""The small set of parts that every declaration in this room is written with.

Why it is: a layout is written once, most significant bit first, as the specification's tables are, and
that one text serves to parse, to build, to tell which bits are reserved, and to explain each field in
words. The parts are construct classes; what they add is the unit and the meaning of a raw value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any

from construct import Adapter, BitsInteger, BitStruct, ByteSwapped

from pdcheck.messages.model import DataObject, Value

REST = "rest"
RESERVED = "reserved_bits_set"


class Field(Adapter):  # type: ignore[misc]  # construct carries no type information
    """A bit field that is a plain number. ``bits`` is its width; ``unit`` what one of its value means."""

    unit = ""

    def __init__(self, bits: int) -> None:
        super().__init__(BitsInteger(bits))
        self.bits = bits
        self.flagbuildnone = True

    def value_of(self, raw: int) -> Value:
        """The value for the raw bits."""
        return raw

    def raw_of(self, value: Any) -> int:
        """The raw bits for the value: the inverse of ``value_of``. ValueError where none gives it."""
        return int(value)

    def words(self, raw: int) -> str:
        """What the raw value means, as a clause; empty where the number says it all."""
        return ""

    def _decode(self, obj: int, context: object, path: object) -> Value:
        return self.value_of(obj)

    def _encode(self, obj: Any, context: object, path: object) -> int:
        if obj is None:
            return 0
        raw = self.raw_of(obj)
        if not 0 <= raw < 1 << self.bits:
            raise ValueError(f"{obj} does not fit {self.bits} bits")
        return raw


class Number(Field):
    """A count of steps: value = raw * ``step``, in ``unit``.

    ``special`` names raw values that are no quantity (``{0xFFFF: "unknown"}``): their value is the name.
    """

    def __init__(self, bits: int, step: int = 1, unit: str = "", special: Mapping[int, str] | None = None) -> None:
        super().__init__(bits)
        self.step = step
        self.unit = unit
        self.special = dict(special or {})

    def value_of(self, raw: int) -> Value:
        if raw in self.special:
            return self.special[raw]
        return raw * self.step

    def raw_of(self, value: Any) -> int:
        for raw, name in self.special.items():
            if value == name:
                return raw
        steps, left = divmod(int(value), self.step)
        if left:
            raise ValueError(f"{value} is not a multiple of {self.step} {self.unit}".rstrip())
        return steps

    def words(self, raw: int) -> str:
        return self.special.get(raw, "")


class Code(Field):
    """A code that stays the number it is; ``meanings`` says it in words."""

    def __init__(self, bits: int, meanings: Mapping[int, str]) -> None:
        super().__init__(bits)
        self.meanings = dict(meanings)

    def words(self, raw: int) -> str:
        return self.meanings.get(raw, "reserved value")


class Choice(Field):
    """A code whose value is the specification's word for it; a reserved code stays the number."""

    def __init__(self, bits: int, names: Mapping[int, str]) -> None:
        super().__init__(bits)
        self.names = dict(names)
        self.numbers = {name: raw for raw, name in self.names.items()}

    def value_of(self, raw: int) -> Value:
        return self.names.get(raw, raw)

    def raw_of(self, value: Any) -> int:
        return self.numbers[value] if isinstance(value, str) else int(value)

    def words(self, raw: int) -> str:
        return "" if raw in self.names else "reserved value"


class Yes(Field):
    """One bit, true when set. ``inverted``: true when clear, where the specification counts that way."""

    def __init__(self, inverted: bool = False) -> None:
        super().__init__(1)
        self.inverted = inverted

    def value_of(self, raw: int) -> Value:
        return bool(raw) != self.inverted

    def raw_of(self, value: Any) -> int:
        return int(bool(value) != self.inverted)


class Letters(Field):
    """A set of named bits, the lowest first: value is the list of names whose bit is set."""

    def __init__(self, names: str | tuple[str, ...]) -> None:
        super().__init__(len(names))
        self.names = tuple(names)

    def value_of(self, raw: int) -> Value:
        return [name for bit, name in enumerate(self.names) if raw >> bit & 1]

    def raw_of(self, value: Any) -> int:
        return sum(1 << self.names.index(name) for name in value)


class Characters(Field):
    """Bytes that are characters (ISO 8859-1, so that no byte is lost), first on the wire in the lowest bits.

    ``high_first``: the first character is in the highest bits instead, as in Get_Country_Info.
    """

    def __init__(self, count: int, high_first: bool = False) -> None:
        super().__init__(8 * count)
        self.count = count
        self.high_first = high_first

    def value_of(self, raw: int) -> Value:
        return raw.to_bytes(self.count, "big" if self.high_first else "little").decode("latin-1")

    def raw_of(self, value: Any) -> int:
        return int.from_bytes(value.encode("latin-1"), "big" if self.high_first else "little")


class Version(Field):
    """The structured VDM version: two bits major (0 is 1), two bits minor, as ``"2.0"``."""

    KNOWN = ("1.0", "2.0", "2.1")

    def __init__(self) -> None:
        super().__init__(4)

    def value_of(self, raw: int) -> Value:
        return f"{(raw >> 2) + 1}.{raw & 3}"

    def raw_of(self, value: Any) -> int:
        major, minor = value.split(".")
        return (int(major) - 1) << 2 | int(minor)

    def words(self, raw: int) -> str:
        return "" if self.value_of(raw) in self.KNOWN else "reserved value"


class Reserved(Field):
    """Bits the specification wants zero. They have no name; those that are set are listed by number."""

    def words(self, raw: int) -> str:
        return "reserved, and set" if raw else "reserved"


class TypeCode(Field):
    """Bits by which the layout was chosen: always ``value``. ``meaning`` says what they choose."""

    def __init__(self, bits: int, value: int, meaning: str) -> None:
        super().__init__(bits)
        self.value = value
        self.meaning = meaning

    def _encode(self, obj: Any, context: object, path: object) -> int:
        return self.value

    def words(self, raw: int) -> str:
        return self.meaning


@dataclass(frozen=True)
class Span:
    """Where a field lies: ``low`` is its lowest bit, counted from bit 0 of the first byte on the wire."""

    name: str
    low: int
    field: Field
    docs: str

    @property
    def high(self) -> int:
        """The highest bit."""
        return self.low + self.field.bits - 1


class Group:
    """Whole bytes that hold bit fields, the highest bits first; little-endian on the wire."""

    def __init__(self, *parts: Any) -> None:
        self.parts = parts

    @cached_property
    def size(self) -> int:
        """Bytes."""
        return sum(_field(part).bits for part in self.parts) // 8

    @cached_property
    def wire(self) -> Any:
        """The construct that parses and builds the bytes as on the wire; made when first needed."""
        return ByteSwapped(BitStruct(*self.parts))

    @cached_property
    def readers(self) -> tuple[tuple[str, int, int, Callable[[int], Value]], ...]:
        """Name, lowest bit, mask and meaning of each named field: the same declaration, read with shifts.

        Construct goes bit by bit through a stream, which costs ten times as much; ``wire`` still builds, and a
        test holds that both read alike.
        """
        return tuple(
            (span.name, span.low, (1 << span.field.bits) - 1, span.field.value_of)
            for span in self.spans() if span.name
        )

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of the fields, highest bits first."""
        return tuple(part.name for part in self.parts if part.name)

    @cached_property
    def reserved(self) -> int:
        """The reserved bits, as a mask."""
        reserved = (span for span in self.spans() if isinstance(span.field, Reserved))
        return sum(((1 << span.field.bits) - 1) << span.low for span in reserved)

    def spans(self) -> Iterator[Span]:
        """The fields, highest bits first, counted from the group's own bit 0."""
        above = 8 * self.size
        for part in self.parts:
            field = _field(part)
            above -= field.bits
            yield Span(part.name or "", above, field, part.docs or "")


def _field(part: Any) -> Field:
    """The field inside a named or documented part."""
    while not isinstance(part, Field):
        part = part.subcon
    return part


class Tail:
    """What follows the fixed part of a block, to its end. This one keeps bytes as hex text under a name."""

    def __init__(self, name: str, docs: str = "") -> None:
        self.name = name
        self.docs = docs

    def parse(self, data: bytes, fields: Mapping[str, Value]) -> tuple[dict[str, Value], bytes]:
        """The fields in ``data``, and the bytes that are none of them."""
        return {self.name: data.hex()}, b""

    def build(self, fields: Mapping[str, Value]) -> bytes:
        """The bytes of the fields; the inverse of ``parse`` without what that left over."""
        return bytes.fromhex(str(fields.get(self.name, "")))


Derive = Callable[[Mapping[str, Value]], Mapping[str, Value]]


@dataclass(frozen=True, eq=False)
class Layout:
    """One declared object: ``name`` is ``"family.layout"``, ``kind`` that of the JSON report.

    ``groups`` are its bytes in wire order; ``tail`` what follows them, if anything may; ``derive`` adds
    fields that are words for others and take part in no building.
    """

    name: str
    kind: str
    groups: tuple[Group, ...]
    tail: Tail | None = None
    derive: Derive | None = None
    title: str = ""

    @cached_property
    def size(self) -> int:
        """Bytes of the fixed part."""
        return sum(group.size for group in self.groups)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The names of the bit fields, in the order of the declaration."""
        return tuple(name for group in self.groups for name in group.names)

    def spans(self) -> Iterator[Span]:
        """Every field with its place in the whole layout, group by group, highest bits first in each."""
        offset = 0
        for group in self.groups:
            for span in group.spans():
                yield Span(span.name, span.low + 8 * offset, span.field, span.docs)
            offset += group.size

    def parse_word(self, word: int) -> DataObject:
        """The object in a 32-bit (or 16-bit) word."""
        return self._object(word, word.to_bytes(self.size, "little"))

    def parse_block(self, data: bytes) -> DataObject:
        """The object in a block of bytes: as many whole groups as there are bytes for.

        Bytes that belong to no field, and the mark that fields are missing, are under ``rest``.
        """
        return self._object(data.hex(), data)

    def _object(self, raw: int | str, data: bytes) -> DataObject:
        fields: dict[str, Value] = {}
        offset = reserved = 0
        whole = True
        for group in self.groups:
            piece = data[offset : offset + group.size]
            if len(piece) < group.size:
                whole = False
                break
            number = int.from_bytes(piece, "little")
            for name, low, mask, value_of in group.readers:
                fields[name] = value_of(number >> low & mask)
            reserved |= (number & group.reserved) << 8 * offset
            offset += group.size
        rest = data[offset:]
        if whole and self.tail is not None:
            more, rest = self.tail.parse(rest, fields)
            fields.update(more)
        if rest or not whole:
            fields[REST] = rest.hex()
        if self.derive is not None:
            fields.update(self.derive(fields))
        if reserved:
            fields[RESERVED] = [bit for bit in range(reserved.bit_length()) if reserved >> bit & 1]
        return DataObject(self.kind, raw, MappingProxyType(fields), self.name)

    def build(self, fields: Mapping[str, Value]) -> bytes:
        """The bytes on the wire for the fields; a field that is not given is zero.

        With ``rest`` given, the block ends before the first group that misses a field, as it was parsed.

        :raises ValueError: a value has no raw form or does not fit its bits.
        """
        pieces: list[bytes] = []
        whole = True
        for group in self.groups:
            if REST in fields and not all(name in fields for name in group.names):
                whole = False
                break
            try:
                pieces.append(group.wire.build(dict(fields)))
            except (KeyError, TypeError, ValueError, OverflowError) as error:
                raise ValueError(f"{self.kind}: {error}") from error
        if whole and self.tail is not None:
            pieces.append(self.tail.build(fields))
        pieces.append(bytes.fromhex(str(fields.get(REST, ""))))
        data = b"".join(pieces)
        bits = fields.get(RESERVED)
        if isinstance(bits, list) and bits:
            number = int.from_bytes(data, "little")
            for bit in bits:
                number |= 1 << int(str(bit))
            data = number.to_bytes(len(data), "little")
        return data


def word(name: str, kind: str, *parts: Any, title: str = "", derive: Derive | None = None) -> Layout:
    """A layout of one word of bits, most significant first."""
    return Layout(name, kind, (Group(*parts),), title=title, derive=derive)


def block(name: str, kind: str, *groups: Group, tail: Tail | None = None, title: str = "") -> Layout:
    """A layout of bytes in the order of their offsets."""
    return Layout(name, kind, groups, tail, title=title)


def table(*layouts: Layout) -> dict[str, Layout]:
    """The layouts of a family by their full name."""
    return {layout.name: layout for layout in layouts}
