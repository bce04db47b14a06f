"""How many messages a second are decoded, beside plain construct parsing of the same bytes in the same run.

    python -m tests.bench.bench_messages

Three kinds of traffic: a keep-alive mixture (an offer, a request, EPR keep-alives and PPS status over and over,
message IDs counting, each acknowledged), a programmable supply that is asked for another voltage each time, and
words that never come twice, for which nothing can be remembered. Plain construct parses headers, objects and
blocks with the same declarations, every time. One pass each, the first sight of every word included. The figures
measured are in `NOTES_messages.md`.
"""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Sequence

from pdcheck.messages import build_extended_header, build_header, build_object, parse
from pdcheck.messages.extended import BLOCKS
from pdcheck.messages.header import EXTENDED_HEADER, HEADER
from pdcheck.messages.power import power_layout
from pdcheck.messages.registry import find_layout

MESSAGES = 100_000
SLOW_MESSAGES = 4_000
TARGET_PER_S = 50_000

OFFER = (0x0801912C, 0x0002D12C, 0x0004B12C, 0x000641F4, 0xC8DC2164)
SOURCE_CAPABILITIES, REQUEST, GOODCRC, ACCEPT, PS_RDY, GET_PPS_STATUS = 1, 2, 1, 3, 6, 20
PPS_STATUS, EXTENDED_CONTROL = 12, 16
KEEP_ALIVE, KEEP_ALIVE_ACK = b"\x03\x00", b"\x04\x00"
NINE_VOLTS = bytes([0xC2, 0x01, 60, 2])
"""PPS_Status: 9 V, 3 A, temperature normal."""


def packet(kind: int, message_id: int, *words: int) -> bytes:
    """Header and objects of one message."""
    header = build_header(message_type=kind, object_count=len(words), message_id=message_id % 8)
    return header + b"".join(word.to_bytes(4, "little") for word in words)


def extended(kind: int, message_id: int, block: bytes) -> bytes:
    """One extended message of one chunk."""
    padded = block + bytes(-(len(block) + 2) % 4)
    header = build_header(
        message_type=kind, object_count=(len(padded) + 2) // 4, message_id=message_id % 8, extended=True
    )
    return header + build_extended_header(data_size=len(block)) + padded


def exchange(number: int, request: int) -> list[bytes]:
    """An offer, a request and the answers, each acknowledged."""
    messages = [
        packet(SOURCE_CAPABILITIES, number, *OFFER), packet(REQUEST, number, request), packet(ACCEPT, number + 1),
        packet(PS_RDY, number + 2),
    ]
    return [one for message in messages for one in (message, packet(GOODCRC, number))]


def keep_alive(count: int) -> list[bytes]:
    """An exchange, then keep-alives and status, again and again."""
    request = build_object("request", offered="spr_pps", position=5, voltage_mv=9000, operating_current_ma=3000)
    found: list[bytes] = []
    number = 0
    while len(found) < count:
        found += exchange(number, request)
        for at in range(number, number + 4):
            for message in (
                extended(EXTENDED_CONTROL, at, KEEP_ALIVE), extended(EXTENDED_CONTROL, at, KEEP_ALIVE_ACK),
                packet(GET_PPS_STATUS, at), extended(PPS_STATUS, at, NINE_VOLTS),
            ):
                found += (message, packet(GOODCRC, at))
        number += 3
    return found[:count]


def sweep(count: int) -> list[bytes]:
    """Another voltage in each request, 3.3 V to 21 V in steps of 20 mV, there and back."""
    steps = [*range(3300, 21000, 20), *range(21000, 3300, -20)]
    requests = [
        build_object("request", offered="spr_pps", position=5, voltage_mv=voltage, operating_current_ma=3000)
        for voltage in steps
    ]
    return [one for number in range(count // 8) for one in exchange(3 * number, requests[number % len(requests)])]


def never_twice(count: int) -> list[bytes]:
    """Offers of five random words each."""
    chance = random.Random(1)
    return [packet(SOURCE_CAPABILITIES, number, *(chance.getrandbits(32) for _ in OFFER)) for number in range(count)]


def plain(data: bytes) -> None:
    """The same message by construct alone."""
    header = HEADER.groups[0].wire.parse(data[:2])
    if header.extended:
        EXTENDED_HEADER.groups[0].wire.parse(data[2:4])
        place = 4
        for group in find_layout(BLOCKS[header.message_type]).groups:
            group.wire.parse(data[place : place + group.size])
            place += group.size
        return
    for at in range(2, len(data), 4):
        word = data[at : at + 4]
        if header.message_type == SOURCE_CAPABILITIES:
            layout = power_layout(int.from_bytes(word, "little"), "source")
        else:
            layout = find_layout("request.fixed")
        layout.groups[0].wire.parse(word)


def once(work: Callable[[bytes], object], messages: Sequence[bytes]) -> float:
    """Messages a second in one pass."""
    start = time.perf_counter()
    for message in messages:
        work(message)
    return len(messages) / (time.perf_counter() - start)


def main() -> None:
    """Prints a line for each kind of traffic."""
    print(f"{'traffic':<14}{'messages/s':>14}{'plain construct/s':>20}{'ratio':>10}")
    rows = [
        ("keep-alive", once(parse, keep_alive(MESSAGES)), keep_alive(SLOW_MESSAGES)),
        ("sweep", once(parse, sweep(MESSAGES)), sweep(SLOW_MESSAGES)),
        ("never twice", once(parse, never_twice(SLOW_MESSAGES)), never_twice(SLOW_MESSAGES)),
    ]
    for name, ours, messages in rows:
        construct = once(plain, messages)
        print(f"{name:<14}{ours:>14,.0f}{construct:>20,.0f}{ours / construct:>10.1f}")
    reached = "reached" if rows[0][1] >= TARGET_PER_S else "not reached"
    print(f"target for remembered traffic: {TARGET_PER_S:,} messages a second, {reached}")


if __name__ == "__main__":
    main()
