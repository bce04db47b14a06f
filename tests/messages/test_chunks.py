"""Chunks put together again: in order, repeated, missing, broken off; every part stays in sight."""

from __future__ import annotations

import random

import pytest

from pdcheck.messages import Message, Reassembler, build_extended_header, build_header, parse
from pdcheck.messages.chunks import Assembled
from pdcheck.standard.message_types import ExtendedType

EPR = ExtendedType.EPR_Source_Capabilities


def chunk(number: int, data: bytes, kind: int = EPR, message_id: int = 0) -> Message:
    part = data[26 * number : 26 * number + 26]
    padded = part + bytes(-(len(part) + 2) % 4)
    head = build_header(message_type=kind, object_count=(len(padded) + 2) // 4, message_id=message_id, extended=True)
    return parse(head + build_extended_header(data_size=len(data), chunk_number=number) + padded)


def chunk_request(number: int, kind: int = EPR) -> Message:
    head = build_header(message_type=kind, object_count=1, extended=True)
    return parse(head + build_extended_header(data_size=0, chunk_number=number, request_chunk=True) + b"\0\0")


def take(*messages: Message) -> list[Assembled]:
    reassembler = Reassembler()
    return [one for message in messages for one in reassembler.take(message)] + list(reassembler.finish())


@pytest.mark.parametrize("size", [27, 36, 52, 53, 104, 259, 260])
def test_every_size(size: int) -> None:
    data = random.Random(size).randbytes(size)
    parts = [chunk(number, data, ExtendedType.Security_Response) for number in range(-(-size // 26))]
    (done,) = take(*parts)
    assert done.complete and done.data == data and done.data_size == size
    assert done.parts == tuple(parts)
    assert done.problems == ()
    assert [part.objects[0].kind for part in done.parts] == ["chunk"] * len(parts)


def test_an_epr_offer() -> None:
    words = [0x0801912C, 0x0002D12C, 0x0004B12C, 0x000641F4, 0, 0, 0, 0x0008C1F4, 0x000B41F4]
    data = b"".join(word.to_bytes(4, "little") for word in words)
    (done,) = take(chunk(0, data), chunk(1, data))
    assert [one.raw for one in done.objects] == words
    assert [one.get("voltage_mv") for one in done.objects] == [5000, 9000, 15000, 20000, None, None, None, 28000, 36000]


def test_a_message_in_one_piece_is_done_at_once() -> None:
    (done,) = take(chunk(0, b"\x03\x00", ExtendedType.Extended_Control))
    assert done.complete and done.objects[0]["type"] == "EPR_KeepAlive"


def test_a_repeated_chunk_is_used_once() -> None:
    data = bytes(range(60))
    again = chunk(1, data, message_id=2)
    (done,) = take(chunk(0, data), chunk(1, data), again, chunk(2, data))
    assert done.complete and done.data == data
    assert done.problems[0] == "chunk 1 came twice"
    assert again in done.parts and len(done.parts) == 4


def test_a_repeat_that_differs_is_said() -> None:
    data = bytes(range(60))
    (done,) = take(chunk(0, data), chunk(1, data), chunk(1, bytes(60)), chunk(2, data))
    assert done.data == data
    assert done.problems[0] == "chunk 1 came twice, with different data"


def test_a_missing_chunk() -> None:
    data = bytes(80)
    (lost,) = take(chunk(0, data), chunk(2, data))
    assert not lost.complete and lost.objects == ()
    assert lost.problems == ("26 of 80 data bytes came: chunk 1 is missing: chunk 2 came",)
    assert len(lost.parts) == 2


def test_a_start_without_its_beginning() -> None:
    (lost,) = take(chunk(1, bytes(60)))
    assert not lost.complete
    assert lost.problems == ("26 of 60 data bytes came: chunk 1 came without the chunks before it",)


def test_the_capture_ends_too_soon() -> None:
    (lost,) = take(chunk(0, bytes(40)))
    assert lost.problems == ("26 of 40 data bytes came: the capture ends before its last chunk",)


def test_another_message_breaks_it_off() -> None:
    soft_reset = parse(build_header(message_type=13))
    lost, done = take(chunk(0, bytes(40)), soft_reset, chunk(0, b"\1\0", ExtendedType.Extended_Control))
    assert not lost.complete and "Soft_Reset came between its chunks" in lost.problems[0]
    assert done.complete


def test_a_new_beginning() -> None:
    first, second = bytes(40), bytes(range(40))
    lost, done = take(chunk(0, first), chunk(0, second), chunk(1, second))
    assert not lost.complete and done.complete and done.data == second


def test_acknowledgements_and_requests_change_nothing() -> None:
    data = bytes(range(40))
    good_crc = parse(build_header(message_type=1))
    (done,) = take(chunk(0, data), good_crc, chunk_request(3), chunk(1, data))
    assert done.complete and done.data == data
    assert len(done.parts) == 3


def test_a_chunk_request_carries_nothing() -> None:
    request = chunk_request(2)
    assert request.objects == () and request.problems == ()
    assert request.extended_header is not None and request.extended_header.chunk_number == 2
