"""Packets that a receiver would not take are kept, with the reason and what could be read, and never called whole."""

from __future__ import annotations

import random
import zlib

import numpy as np
import pytest

from pdcheck.line import Crc, Problem
from pdcheck.line import Packet as Read
from pdcheck.line.bursts import read_burst, read_line
from pdcheck.standard.line_code import Sop
from tests.line.waves import digital, read, wave_of
from tests.reference.second_encoder import (
    DATA_SYMBOLS,
    K_CODES,
    ORDERED_SETS,
    SIGNALS,
    Flaws,
    Packet,
    bmc_edges,
    packet_bits,
    symbol_bits,
    with_crc,
)

#: Invented: an offer of 5 V and 9 V, whose second object holds the nibbles that the tests bend.
OFFER = bytes.fromhex("61212c91010034d10234")
BODY = 64 + 20


def one(payload: bytes, sop: str = "SOP", **flaws: object) -> Read | None:
    """What is read of one packet with flaws; None for nothing."""
    packet = Packet(1e-3, "", payload, sop=sop, flaws=Flaws(**flaws))  # type: ignore[arg-type]
    packets, _, _ = read([packet])
    assert len(packets) <= 1
    return packets[0] if packets else None


def from_bits(bits: list[int], rate_bps: float = 300e3) -> Read | None:
    """What is read of bits on the line, with nothing around them."""
    edges = bmc_edges(bits, 1e-3, rate_bps, 0)
    packets, _, _ = read_line(np.array([time_s for time_s, _ in edges]), False, None)
    assert len(packets) <= 1
    return packets[0] if packets else None


def content(sop: str) -> bytes:
    return b"" if sop in SIGNALS else OFFER


@pytest.mark.parametrize("place", range(4))
@pytest.mark.parametrize("sop", ORDERED_SETS)
def test_three_of_four_k_codes_are_enough(sop: str, place: int) -> None:
    got = one(content(sop), sop, bad_kcodes=(place,))
    assert got is not None and got.intact
    assert got.sop == Sop(sop) and got.data == content(sop)


@pytest.mark.parametrize("places", [(0, 1), (0, 2), (0, 3), (1, 2), (1, 3), (2, 3), (0, 1, 2), (0, 1, 2, 3)])
@pytest.mark.parametrize("sop", [sop for sop in ORDERED_SETS if sop != "SOP''_Debug"])
def test_two_of_four_are_not(sop: str, places: tuple[int, ...]) -> None:
    got = one(content(sop), sop, bad_kcodes=places)
    assert got is not None
    assert got.problem is Problem.NO_START
    assert got.sop is None and got.crc is Crc.BAD and got.data == b"" and not got.intact


def test_two_of_four_are_not_a_reset_further_in() -> None:
    got = one(OFFER, "SOP''_Debug", bad_kcodes=(0, 2))
    assert got is not None
    assert got.problem is Problem.NO_START and got.sop is None


@pytest.mark.parametrize("sop", ORDERED_SETS)
def test_a_wrong_bit_in_the_ordered_set_makes_no_other_set_of_it(sop: str) -> None:
    for place in range(64, 84):
        got = one(content(sop), sop, flip_bits=(place,))
        assert got is not None
        assert got.sop == Sop(sop), place
        assert got.intact and got.data == content(sop)


def symbols_apart_by_one_bit() -> list[tuple[int, int, int]]:
    """(nibble, other nibble, place of the bit on the wire) for data symbols that differ in one bit."""
    wire = [symbol_bits(code) for code in DATA_SYMBOLS]
    found = []
    for a, bits in enumerate(wire):
        for b, other in enumerate(wire):
            places = [n for n in range(5) if bits[n] != other[n]]
            if len(places) == 1:
                found.append((a, b, places[0]))
    return found


@pytest.mark.parametrize(("nibble", "other", "place"), symbols_apart_by_one_bit())
def test_a_wrong_nibble_is_a_bad_crc(nibble: int, other: int, place: int) -> None:
    payload = bytearray(OFFER)
    payload[4] = payload[4] & 0xF0 | nibble
    got = one(bytes(payload), flip_bits=(BODY + 10 * 4 + place,))
    assert got is not None
    assert got.problem is Problem.BAD_CRC
    assert got.crc is Crc.BAD and got.sop is Sop.SOP
    # Kept as it was received: nothing is put right by guessing.
    assert got.data == bytes(payload[:4]) + bytes([payload[4] & 0xF0 | other]) + bytes(payload[5:])


def test_a_wrong_crc_alone() -> None:
    for place in range(4):
        whole = bytearray(with_crc(OFFER))
        whole[len(OFFER) + place] ^= 0x01
        bits = [0, 1] * 32
        for name in ORDERED_SETS["SOP"]:
            bits += symbol_bits(K_CODES[name])
        for byte in whole:
            bits += symbol_bits(DATA_SYMBOLS[byte & 0xF]) + symbol_bits(DATA_SYMBOLS[byte >> 4])
        got = from_bits(bits + symbol_bits(K_CODES["EOP"]))
        assert got is not None
        assert (got.problem, got.crc, got.data) == (Problem.BAD_CRC, Crc.BAD, OFFER)


NO_SYMBOLS = sorted(set(range(32)) - {int(code, 2) for code in (*DATA_SYMBOLS, K_CODES["EOP"])})


@pytest.mark.parametrize("symbol", NO_SYMBOLS)
def test_a_symbol_that_is_not_in_the_code(symbol: int) -> None:
    bits = packet_bits(OFFER)
    bits[BODY + 50 : BODY + 55] = symbol_bits(f"{symbol:05b}")
    got = from_bits(bits)
    assert got is not None
    assert got.problem is Problem.BAD_SYMBOL
    assert got.crc is Crc.BAD and got.sop is Sop.SOP
    assert got.data == OFFER[:5]
    assert got.end_s == pytest.approx(1e-3 + (BODY + 55) / 300e3, abs=1e-6)


@pytest.mark.parametrize("keep", range(BODY + 1, BODY + 10 * (len(OFFER) + 4)))
def test_a_packet_that_breaks_off(keep: int) -> None:
    got = one(OFFER, keep_bits=keep)
    assert got is not None
    assert got.problem in (Problem.CUT_SHORT, Problem.BAD_SYMBOL, Problem.BAD_CRC)
    assert got.crc is Crc.BAD and got.sop is Sop.SOP
    # A driver that dies leaves an edge or two, which can look like bits; no more than a byte of them.
    whole = (keep - BODY) // 10
    sent = with_crc(OFFER)
    assert len(got.data) <= whole + 1
    assert got.data[:whole] == sent[: min(whole, len(got.data))]
    assert got.end_s == pytest.approx(1e-3 + keep / 300e3, abs=5 / 300e3)


def test_breaking_off_between_two_bytes_is_called_so() -> None:
    for count in range(1, len(OFFER) + 4):
        got = from_bits(packet_bits(OFFER)[: BODY + 10 * count])
        assert got is not None
        assert got.problem is Problem.CUT_SHORT
        assert got.data == with_crc(OFFER)[:count]


@pytest.mark.parametrize("keep", [20, 40, 60, 66, 75])
def test_breaking_off_before_the_ordered_set_is_over(keep: int) -> None:
    got = one(OFFER, keep_bits=keep)
    if got is not None:
        assert not got.intact
        assert got.data == b"" and got.crc is Crc.BAD


@pytest.mark.parametrize("payload", [b"", b"\x61", bytes.fromhex("6121")])
def test_an_eop_before_the_crc(payload: bytes) -> None:
    bits = [0, 1] * 32
    for name in ORDERED_SETS["SOP"]:
        bits += symbol_bits(K_CODES[name])
    for byte in payload:
        bits += symbol_bits(DATA_SYMBOLS[byte & 0xF]) + symbol_bits(DATA_SYMBOLS[byte >> 4])
    got = from_bits(bits + symbol_bits(K_CODES["EOP"]))
    assert got is not None
    assert got.problem is Problem.CUT_SHORT and got.crc is Crc.BAD and got.data == payload


def test_an_odd_number_of_nibbles() -> None:
    bits = packet_bits(OFFER)
    del bits[BODY + 20 : BODY + 25]
    got = from_bits(bits)
    assert got is not None
    assert not got.intact and got.crc is Crc.BAD


def test_no_wrong_bit_goes_unseen() -> None:
    """Every bit of header, data and CRC turned, one at a time."""
    wrong = 0
    for place in range(BODY, BODY + 10 * (len(OFFER) + 4)):
        got = one(OFFER, flip_bits=(place,))
        assert got is not None
        assert not got.intact and got.crc is Crc.BAD and got.problem is not None
        wrong += 1
    assert wrong == 140


def test_a_wrong_bit_in_the_preamble_does_not_matter() -> None:
    """A receiver needs the preamble only to find the bit time."""
    through = 0
    for place in range(60):
        got = one(OFFER, flip_bits=(place,))
        through += got is not None and got.intact and got.data == OFFER
    assert through == 60


def test_only_a_preamble() -> None:
    """BIST carrier mode sends the preamble's bits on and on: no packet in it is whole, nor has a start."""
    for bits in (64, 200, 5000):
        got = from_bits([0, 1] * (bits // 2))
        assert got is None or (got.problem is Problem.NO_START and got.data == b"")


def test_reasons_are_sentences_for_a_report() -> None:
    for problem in Problem:
        assert problem.value[0].islower() and not problem.value.endswith(".")


def lost_pulses(rng: random.Random, bits: list[int], count: int) -> np.ndarray:
    """The edges of bits without some pulses, as a too slow capture loses them."""
    times = [time_s for time_s, _ in bmc_edges(bits, 1e-3, 300e3, 0)]
    for _ in range(count):
        at = rng.randrange(len(times) - 2)
        del times[at : at + 2]
    return np.array(times)


def test_lost_pulses_never_make_another_packet() -> None:
    rng = random.Random(3)
    broken = 0
    for _ in range(600):
        payload = rng.randbytes(2 + 4 * rng.randint(0, 7))
        got = read_burst(lost_pulses(rng, packet_bits(payload), rng.randint(1, 4)), True)
        if got is not None and got.intact:
            assert got.data == payload and got.sop is Sop.SOP
            assert zlib.crc32(got.data) == int.from_bytes(with_crc(payload)[-4:], "little")
        else:
            broken += 1
    assert broken > 500


def test_a_capture_that_begins_within_a_packet_shows_no_reset() -> None:
    rng = random.Random(5)
    false = 0
    for _ in range(600):
        payload = rng.randbytes(2 + 4 * rng.randint(0, 7))
        bits = packet_bits(payload)
        cut = rng.randint(30, len(bits) - 20)
        line = bmc_edges(bits[cut:], 1e-3, 300e3, rng.randint(0, 1))
        got = read_burst(np.array([time_s for time_s, _ in line]), bool(line[0][1]))
        if got is not None and got.intact:
            assert got.sop is not Sop.SOP or got.data == payload
            false += got.sop is not Sop.SOP
    assert false == 0


def test_random_bits_behind_a_preamble_are_no_reset() -> None:
    rng = random.Random(6)
    false = 0
    for _ in range(500):
        bits = [0, 1] * rng.randint(6, 32) + [rng.randint(0, 1) for _ in range(rng.randint(60, 400))]
        got = from_bits(bits)
        false += got is not None and got.intact
    assert false == 0


def test_a_reset_cut_from_a_longer_burst_is_still_one() -> None:
    """The edges of a driver letting go right behind a reset do not hide it."""
    for sop in SIGNALS:
        wave = wave_of([Packet(1e-3, "", b"", sop=sop)])
        line = digital(wave)
        for extra_s in (1.2e-6, 2.5e-6, 5e-6, 9e-6):
            edges = np.append(line.edges_s, line.edges_s[-1] + extra_s)
            packets, _, _ = read_line(edges, line.initial, None)
            assert [(p.sop, p.intact) for p in packets] == [(Sop(sop), True)]
