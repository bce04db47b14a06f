"""The second encoder against the text of the standards, before anything is tested with it."""

from __future__ import annotations

import random
import zlib
from itertools import pairwise

import pytest

from tests.reference import real_logs, words
from tests.reference.cases import NO_TALK, RATE_SETS, ROWS, SKEWS, Way, make_case
from tests.reference.second_encoder import (
    DATA_SYMBOLS,
    END_DRIVE_MAX_S,
    HOLD_LOW_MIN_S,
    K_CODES,
    ORDERED_SETS,
    Flaws,
    LineManners,
    Packet,
    Wave,
    bmc_edges,
    packet_bits,
    render,
    symbol_bits,
    with_crc,
)

# Accept, header 0x0363: a real one, from real_log_1.csv. Bytes 63 03, so nibbles 3 6 3 0.
ACCEPT = bytes.fromhex("6303")
ACCEPT_BITS_BEFORE_CRC = (
    "01" * 32  # preamble
    + "00011" "00011" "00011" "10001"  # Sync-1 11000 three times, Sync-2 10001, least significant bit first
    + "10101" "01110" "10101" "01111"  # 3 is 10101, 6 is 01110, 3, 0 is 11110
)  # fmt: skip
EOP_BITS = "10110"  # 01101 least significant bit first

# Level of each half bit, worked by hand: a change at each bit's start, one more in the middle of a 1.
ACCEPT_HALVES = (
    "11010010" * 16  # 0 1 0 1 from a low line, sixteen times; ends low
    + "11" "00" "11" "01" "01"
    + "00" "11" "00" "10" "10"
    + "11" "00" "11" "01" "01"
    + "01" "00" "11" "00" "10"
)  # fmt: skip


def crc_register(data: bytes) -> int:
    """The CRC register as the specification draws it: polynomial 04C11DB7, all ones at first, no inversion."""
    register = 0xFFFFFFFF
    for byte in data:
        for place in range(8):
            top = register >> 31
            register = register << 1 & 0xFFFFFFFF
            if top ^ (byte >> place & 1):
                register ^= 0x04C11DB7
    return register


def test_crc_is_the_common_one() -> None:
    # the check value of CRC-32 in published catalogues of CRC algorithms
    assert zlib.crc32(b"123456789") == 0xCBF43926


@pytest.mark.parametrize("seed", range(20))
def test_crc_residual(seed: int) -> None:
    rng = random.Random(seed)
    payload = rng.randbytes(rng.choice((2, 6, 14, 30)))
    # the residual the USB PD specification gives (from memory)
    assert crc_register(with_crc(payload)) == 0xC704DD7B


def test_crc_bits_are_the_register_inverted_and_top_bit_first() -> None:
    register = crc_register(ACCEPT) ^ 0xFFFFFFFF
    sent = "".join(f"{byte:08b}"[::-1] for byte in with_crc(ACCEPT)[2:])
    assert sent == f"{register:032b}"


def test_data_symbols_have_the_properties_of_100base_x() -> None:
    # IEEE 802.3 clause 24: sixteen different groups, at most one 0 in front and two behind, so that never more
    # than three stand together
    assert len(set(DATA_SYMBOLS)) == 16
    for code in DATA_SYMBOLS:
        assert not code.startswith("00")
        assert not code.endswith("000")
        assert code.count("1") >= 2
    assert not set(K_CODES.values()) & set(DATA_SYMBOLS)


def test_accept_bit_by_bit() -> None:
    bits = "".join(map(str, packet_bits(ACCEPT)))
    assert bits.startswith(ACCEPT_BITS_BEFORE_CRC)
    assert bits.endswith(EOP_BITS)
    crc = zlib.crc32(ACCEPT)
    middle = "".join(DATA_SYMBOLS[crc >> 4 * n & 0xF][::-1] for n in range(8))
    assert bits == ACCEPT_BITS_BEFORE_CRC + middle + EOP_BITS


def halves(edges: list[tuple[float, int]], unit: float, count: int) -> str:
    """Levels in the middle of each half bit."""
    wave = Wave(0, edges)
    return "".join(str(wave.level_at((n + 0.5) * unit / 2)) for n in range(count))


def test_accept_on_the_wire() -> None:
    bits = packet_bits(ACCEPT)
    edges = bmc_edges(bits, 0.0, 1.0, 0)
    assert halves(edges, 1.0, len(ACCEPT_HALVES)) == ACCEPT_HALVES
    assert edges[-1][0] == len(bits)


def test_other_start_level_is_the_mirror_image() -> None:
    bits = packet_bits(ACCEPT)
    low, high = bmc_edges(bits, 0.0, 1.0, 0), bmc_edges(bits, 0.0, 1.0, 1)
    assert [(t, 1 - level) for t, level in low] == high


@pytest.mark.parametrize("name", ORDERED_SETS)
def test_ordered_sets(name: str) -> None:
    bits = packet_bits(ACCEPT, name)
    expected = "".join(K_CODES[code][::-1] for code in ORDERED_SETS[name])
    assert "".join(map(str, bits[64:84])) == expected
    if name.endswith("Reset"):
        assert len(bits) == 84
    assert len(bits) == Packet(0.0, "source", ACCEPT, name).bit_count


def test_symbols_go_out_least_significant_bit_first() -> None:
    assert symbol_bits(K_CODES["Sync-1"]) == [0, 0, 0, 1, 1]


@pytest.mark.parametrize("idle", [0, 1])
@pytest.mark.parametrize("rate", [270e3, 300e3, 330e3])
def test_driver_turns_on_and_off_as_specified(idle: int, rate: float) -> None:
    for seed in range(30):
        rng = random.Random(seed)
        packet = Packet(1e-3, "source", words.payload(rng.randrange(1 << 16)), "SOP", rate)
        wave = render([packet], LineManners(idle=idle), rng, end_s=3e-3)
        assert wave.initial == idle
        assert wave.level_at(3e-3) == idle
        assert 1e-3 - 3.1e-6 <= wave.changes[0][0] <= 1e-3 + 1e-9
        falls = [t for t, level in wave.changes if level == 0]
        if idle:
            assert wave.changes[-1][1] == 1
            assert wave.changes[-1][0] - falls[-1] >= HOLD_LOW_MIN_S - 1e-12
            assert wave.changes[-1][0] <= packet.end_s + END_DRIVE_MAX_S + 1e-12
        assert all(b[0] > a[0] and b[1] != a[1] for a, b in pairwise(wave.changes))


def test_skew_moves_rising_edges_late_and_falling_ones_early() -> None:
    packet = Packet(1e-3, "source", ACCEPT)
    straight = render([packet], LineManners(start="edge"), random.Random(1), end_s=2e-3)
    skewed = render([packet], LineManners(start="edge", skew_s=0.4e-6), random.Random(1), end_s=2e-3)
    for (t0, level0), (t1, level1) in zip(straight.changes, skewed.changes, strict=True):
        assert level0 == level1
        assert t1 - t0 == pytest.approx(0.2e-6 if level0 else -0.2e-6, abs=1e-10)


def test_flaws_cut_where_they_say() -> None:
    rng = random.Random(0)
    cut = Packet(1e-3, "source", ACCEPT, rate_bps=300e3, flaws=Flaws(cut_bits=10))
    whole = Packet(1e-3, "source", ACCEPT, rate_bps=300e3)
    short = Packet(1e-3, "source", ACCEPT, rate_bps=300e3, flaws=Flaws(keep_bits=100))
    manners = LineManners(start="edge")
    waves = [render([p], manners, rng, end_s=3e-3) for p in (whole, cut, short)]
    assert waves[1].changes[0][0] >= 1e-3 + 9.5 / 300e3
    assert waves[2].changes[-1][0] <= 1e-3 + 101.01 / 300e3
    assert waves[0].changes[-1][0] >= whole.end_s - 1e-9


@pytest.mark.parametrize("log", real_logs.LOGS)
def test_headers_are_packed_as_real_ports_pack_them(log: str) -> None:
    for line in real_logs.read_log(log):
        head = line.header
        kinds = words.DATA if line.objects else words.CONTROL
        kind = next(name for name, code in kinds.items() if code == head & 31)
        packed = words.header(kind, len(line.objects), head >> 9 & 7, head >> 6 & 3, head >> 8 & 1, head >> 5 & 1)
        assert packed == head


def test_objects_are_packed_as_a_real_port_packs_them() -> None:
    # real_log_2.csv: the offer's words and what its log says of them
    offer = real_logs.read_log("real_log_2")[0].objects
    assert offer[1] == words.fixed(9000, 2330)
    assert offer[2] == words.fixed(12000, 1500)
    assert offer[3] == words.pps(5000, 5900, 3000)
    assert offer[4] == words.pps(5000, 11000, 2000)
    assert offer[0] & 0xFFFFF == words.fixed(5000, 3000)
    request = real_logs.read_log("real_log_2")[1].objects
    assert request == [words.request_pps(4, 5500, 2000, flags=words.USB_COMM)]


@pytest.mark.parametrize("row", [row for row in ROWS if row not in NO_TALK])
def test_packets_never_run_into_each_other(row: str) -> None:
    for seed in range(25):
        way = Way(seed % 2, RATE_SETS[seed % 3], SKEWS[seed % 3])
        case = make_case(row, seed, way)
        assert case.talk is not None
        starts = case.talk.packets
        for one, next_one in pairwise(starts):
            assert next_one.start_s - one.end_s >= 25e-6  # tInterFrameGap
