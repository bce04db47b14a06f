"""Nothing is lost: what parses builds again, bit for bit, whatever it is."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.messages import (
    build,
    build_header,
    build_object,
    object_json,
    parse,
    parse_extended_header,
    parse_header,
    parse_power_object,
    parse_request,
    request_in_context,
)
from pdcheck.messages.layout import Layout, TypeCode
from pdcheck.messages.registry import FAMILIES, bytes_of, family

WORD = st.integers(0, 0xFFFFFFFF)
EVERY_LAYOUT = [layout for name in FAMILIES for layout in family(name).values()]


@st.composite
def packets(draw: st.DrawFn) -> bytes:
    """Bytes that are often a message: the header agrees with the length, or nearly."""
    payload = draw(st.binary(max_size=300))
    kind, count = draw(st.integers(0, 31)), min(7, len(payload) // 4)
    extended = draw(st.booleans())
    header = build_header(
        message_type=kind, object_count=draw(st.sampled_from([count, count, (count + 1) % 8])),
        message_id=draw(st.integers(0, 7)), power_role=draw(st.integers(0, 1)), data_role=draw(st.integers(0, 1)),
        revision=draw(st.integers(0, 3)), extended=extended,
    )
    if extended and len(payload) >= 2:
        size = draw(st.sampled_from([max(0, len(payload) - 2), 4, 25, 26, 27, 260, 511])) & 0x1FF
        high = draw(st.integers(0, 127)) << 1
        payload = bytes([size & 255, size >> 8 | high]) + payload[2:]
    return header + payload


@given(st.one_of(packets(), st.binary(min_size=2, max_size=300)), st.booleans())
@settings(max_examples=600, deadline=None)
def test_build_is_the_inverse_of_parse(data: bytes, on_cable: bool) -> None:
    message = parse(data, on_cable=on_cable)
    assert build(message) == data
    assert message.data == data
    json.dumps([object_json(one) for one in message.objects])


@given(st.binary(max_size=1))
def test_too_short_for_a_header(data: bytes) -> None:
    with pytest.raises(ValueError, match="header"):
        parse(data)


@given(WORD, st.sampled_from(EVERY_LAYOUT))
@settings(max_examples=800, deadline=None)
def test_every_declaration_builds_what_it_parsed(raw: int, layout: Layout) -> None:
    size = layout.size
    data = (raw.to_bytes(4, "little") * 8)[:size]
    one = layout.parse_word(int.from_bytes(data, "little")) if size in (2, 4) else layout.parse_block(data)
    built = layout.build(one.fields)
    # where the layout is chosen by type bits, those are what the layout says, whatever the word was
    chosen = _type_bits(layout)
    assert int.from_bytes(built, "little") & ~chosen == int.from_bytes(data, "little") & ~chosen


@given(st.binary(min_size=64, max_size=64), st.sampled_from(EVERY_LAYOUT))
@settings(max_examples=600, deadline=None)
def test_the_shifts_read_what_construct_reads(data: bytes, layout: Layout) -> None:
    """The fields are read with shifts, from the declaration that construct parses: neither may differ."""
    one = layout.parse_block(data[: layout.size])
    offset = 0
    for group in layout.groups:
        parsed = group.wire.parse(data[offset : offset + group.size])
        assert {name: one.fields[name] for name in group.names} == {name: parsed[name] for name in group.names}
        offset += group.size


def _type_bits(layout: Layout) -> int:
    codes = (span for span in layout.spans() if isinstance(span.field, TypeCode))
    return sum(((1 << span.field.bits) - 1) << span.low for span in codes)


@given(st.sampled_from([layout for layout in EVERY_LAYOUT if layout.size not in (2, 4)]), st.binary(max_size=60))
@settings(max_examples=500, deadline=None)
def test_blocks_of_any_length(layout: Layout, data: bytes) -> None:
    assert bytes_of(layout.parse_block(data)) == data


@given(WORD, st.sampled_from(["source", "sink"]))
def test_any_word_is_some_power_object(raw: int, side: str) -> None:
    one = parse_power_object(raw, side=side)
    assert one.raw == raw
    assert int.from_bytes(bytes_of(one), "little") == raw


@given(WORD, WORD)
def test_any_word_is_a_request_for_any_object(raw: int, offered: int) -> None:
    one = parse_request(raw, parse_power_object(offered, side="source"))
    assert one.kind == "request" and one.raw == raw
    assert int.from_bytes(bytes_of(one), "little") == raw


@given(st.integers(0, 0xFFFF))
def test_any_header(raw: int) -> None:
    header = parse_header(raw)
    assert build_header(
        message_type=header.message_type, object_count=header.object_count, message_id=header.message_id,
        power_role=header.power_role, data_role=header.data_role, revision=header.revision,
        extended=header.extended,
    ) == raw.to_bytes(2, "little")
    assert parse_extended_header(raw).data_size == raw & 0x1FF


@given(st.lists(WORD, max_size=7), WORD)
def test_a_request_in_context_keeps_its_bytes(offer: list[int], raw: int) -> None:
    message = parse(build_header(message_type=2, object_count=1) + raw.to_bytes(4, "little"))
    powers = tuple(parse_power_object(word, side="source") for word in offer)
    assert build(request_in_context(message, powers)) == message.data


@pytest.mark.parametrize("value", [-1, 1 << 32])
def test_words_that_are_none(value: int) -> None:
    with pytest.raises(ValueError, match="32 bits"):
        parse_power_object(value, side="source")
    with pytest.raises(ValueError, match="32 bits"):
        parse_request(value)


@pytest.mark.parametrize(("kind", "fields"), [
    ("fixed", {"voltage_mv": 5010}),
    ("fixed", {"voltage_mv": 60_000}),
    ("fixed", {"volts": 5}),
    ("no_such_kind", {}),
    ("request", {"position": 16}),
    ("status", {"internal_temp_c": 30}),
])
def test_what_cannot_be_built_says_so(kind: str, fields: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        build_object(kind, **fields)  # type: ignore[arg-type]


def test_fields_cannot_be_changed_behind_the_memory() -> None:
    """A parsed object is remembered and given out again, so nobody may write in it."""
    one = parse_power_object(0x2A01912C, side="source")
    with pytest.raises(TypeError):
        one.fields["voltage_mv"] = 0  # type: ignore[index]
