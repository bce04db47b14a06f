"""The line code: 4b5b against IEEE 802.3, what its symbols can and cannot do, the ordered sets, the CRC.

The code groups are written out here once more as IEEE 802.3 clause 24, table 24-1 lists them (100BASE-X took them
over from FDDI), nibble by nibble in hexadecimal.
"""

from __future__ import annotations

import zlib
from itertools import combinations, groupby, pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdcheck.standard.line_code import (
    DATA_SYMBOLS,
    DATA_SYMBOLS_CHECKED,
    EOP,
    K_CODES,
    K_CODES_CHECKED,
    K_CODES_NEEDED,
    ORDERED_SETS,
    ORDERED_SETS_CHECKED,
    PREAMBLE_BITS,
    REFERENCE,
    RULES,
    SYMBOL_BITS,
    Sop,
)
from tests.reference import second_encoder

# IEEE 802.3 clause 24, table 24-1, code groups 0 to F.
IEEE_DATA = bytes.fromhex("1e 09 14 15 0a 0b 0e 0f 12 13 16 17 1a 1b 1c 1d")
# The same table's /J/ /K/ /T/ /R/, and /S/ and /L/ of FDDI's (ANSI X3.263, from memory): USB PD took its K-codes from
# there under names of its own.
IEEE_CONTROL = {"Sync-1": 0x18, "Sync-2": 0x11, "EOP": 0x0D, "RST-1": 0x07, "RST-2": 0x19, "Sync-3": 0x06}
CRC_POLYNOMIAL = 0x04C11DB7
CRC_RESIDUAL = 0xC704DD7B  # USB PD, CRC section (from memory; IEEE 802.3 clause 3.2.9 receivers use the same)


def bits_of(symbol: int) -> str:
    """The five bits in the order they go out: least significant first."""
    return f"{symbol:05b}"[::-1]


def longest(bits: str, which: str) -> int:
    """The longest run of one bit."""
    return max((len(list(run)) for bit, run in groupby(bits) if bit == which), default=0)


def test_data_symbols_are_those_of_100base_x() -> None:
    assert bytes(DATA_SYMBOLS) == IEEE_DATA
    assert "IEEE 802.3" in DATA_SYMBOLS_CHECKED


def test_k_codes_are_control_groups_of_the_same_code() -> None:
    assert K_CODES == IEEE_CONTROL


def test_both_encoders_have_one_code() -> None:
    assert [f"{symbol:05b}" for symbol in DATA_SYMBOLS] == list(second_encoder.DATA_SYMBOLS)
    assert {name: f"{symbol:05b}" for name, symbol in K_CODES.items()} == second_encoder.K_CODES
    names = {symbol: name for name, symbol in K_CODES.items()}
    ours = {sop.value: tuple(names[code] for code in codes) for sop, codes in ORDERED_SETS.items()}
    assert ours == second_encoder.ORDERED_SETS
    assert PREAMBLE_BITS == second_encoder.PREAMBLE_BITS == len(second_encoder.preamble())


def test_no_two_symbols_are_the_same() -> None:
    symbols = [*DATA_SYMBOLS, *K_CODES.values()]
    assert len(DATA_SYMBOLS) == 16 and len(K_CODES) == 6
    assert len(set(symbols)) == 22
    assert all(0 < symbol < 1 << SYMBOL_BITS for symbol in symbols)


def test_what_the_data_symbols_promise() -> None:
    """At least two ones each; at most one 0 before the first, two behind the last: never four zeros in data."""
    for symbol in DATA_SYMBOLS:
        text = f"{symbol:05b}"
        assert text.count("1") >= 2
        assert not text.startswith("00") and not text.endswith("000")
    runs = [bits_of(a) + bits_of(b) for a, b in product(DATA_SYMBOLS, repeat=2)]
    assert max(longest(run, "0") for run in runs) == 3
    # Ones are not bounded so tightly: 7 then 0 sends eight of them.
    assert max(longest(run, "1") for run in runs) == 8


def test_which_data_looks_like_a_preamble() -> None:
    """Only 4 and 3 in turn (01010 10101) alternate on and on; anything else breaks the rhythm within three symbols."""

    def alternating(bits: str) -> int:
        best = run = 1
        for one, two in pairwise(bits):
            run = run + 1 if one != two else 1
            best = max(best, run)
        return best

    endless = {0b01010, 0b10101}
    for word in product(DATA_SYMBOLS, repeat=4):
        run = alternating("".join(map(bits_of, word)))
        assert (run == 20) == (set(word) == endless and all(a != b for a, b in pairwise(word)))


def distance(one: tuple[int, ...], two: tuple[int, ...]) -> int:
    return sum(a != b for a, b in zip(one, two, strict=True))


def test_ordered_sets_are_apart() -> None:
    assert set(ORDERED_SETS) == set(Sop)
    assert all(len(codes) == 4 for codes in ORDERED_SETS.values())
    assert all(EOP not in codes for codes in ORDERED_SETS.values())
    gaps = {distance(ORDERED_SETS[a], ORDERED_SETS[b]) for a, b in combinations(Sop, 2)}
    # No set with one wrong K-code is another whole set.
    assert min(gaps) == 2


def nearest(word: tuple[int, ...]) -> list[Sop]:
    """The sets of which the word has enough K-codes."""
    return [sop for sop, codes in ORDERED_SETS.items() if 4 - distance(codes, word) >= K_CODES_NEEDED]


def ambiguous_words() -> dict[tuple[int, ...], list[Sop]]:
    return {
        word: nearest(word) for word in product(K_CODES.values(), repeat=4) if len(nearest(word)) > 1
    }


def test_three_of_four_is_ambiguous_for_some_words() -> None:
    """Two sets that differ in two places share words that are three quarters of either."""
    ambiguous = ambiguous_words()
    pairs = {pair for sops in ambiguous.values() for pair in combinations(sops, 2)}
    assert pairs == {pair for pair in combinations(Sop, 2) if distance(*(ORDERED_SETS[s] for s in pair)) == 2}
    assert (Sop.SOP, Sop.SOP1) in pairs and (Sop.HARD_RESET, Sop.CABLE_RESET) in pairs
    assert not any(set(sops) & set(ORDERED_SETS) and word in ORDERED_SETS.values() for word, sops in ambiguous.items())


def wrong_bits(sop: Sop, word: tuple[int, ...]) -> int:
    return sum((a ^ b).bit_count() for a, b in zip(ORDERED_SETS[sop], word, strict=True))


def test_the_fewest_wrong_bits_tell_ambiguous_words_apart() -> None:
    """One wrong bit can make a set a word shared with another set, but the other is then at least four bits away."""
    reached = 0
    for word, sops in ambiguous_words().items():
        near, next_near, *_ = sorted(wrong_bits(sop, word) for sop in sops)
        if near == 1:
            reached += 1
            assert next_near >= 4
        else:
            # Takes four or five wrong bits in one symbol: no receiver can tell.
            assert near >= 4
    assert (reached, len(ambiguous_words())) == (8, 14)


def test_sop_kinds() -> None:
    assert {sop for sop in Sop if sop.is_reset} == {Sop.HARD_RESET, Sop.CABLE_RESET}
    assert {sop for sop in Sop if sop.to_cable} == set(Sop) - {Sop.SOP, Sop.HARD_RESET, Sop.CABLE_RESET}
    assert [sop.value for sop in Sop] == list(second_encoder.ORDERED_SETS)


def test_every_table_says_where_it_is_from() -> None:
    assert REFERENCE and K_CODES_CHECKED and ORDERED_SETS_CHECKED
    names = [rule.name for rule in RULES]
    assert len(names) == len(set(names))
    assert all(rule.value and rule.checked for rule in RULES)
    assert next(rule.checked for rule in RULES if rule.name == "CRC") == "zlib"


def crc_register(data: bytes) -> int:
    """The CRC register bit by bit: all ones at first, each byte's least significant bit first."""
    register = 0xFFFFFFFF
    for byte in data:
        for place in range(8):
            feedback = (register >> 31) ^ (byte >> place & 1)
            register = (register << 1) & 0xFFFFFFFF
            if feedback:
                register ^= CRC_POLYNOMIAL
    return register


def crc_bit_by_bit(data: bytes) -> int:
    """What is sent: the register inverted, its top bit first, so read with the bit order turned round."""
    return int(f"{crc_register(data) ^ 0xFFFFFFFF:032b}"[::-1], 2)


def test_crc_check_value() -> None:
    # the check value of CRC-32 in published catalogues of CRC algorithms
    assert crc_bit_by_bit(b"123456789") == zlib.crc32(b"123456789") == 0xCBF43926


@given(st.binary(max_size=40))
def test_crc_is_that_of_zlib(data: bytes) -> None:
    assert crc_bit_by_bit(data) == zlib.crc32(data)


@given(st.binary(min_size=2, max_size=34))
def test_crc_residual(data: bytes) -> None:
    assert crc_register(data + zlib.crc32(data).to_bytes(4, "little")) == CRC_RESIDUAL


@given(st.binary(min_size=2, max_size=34), st.data())
def test_a_wrong_bit_leaves_no_residual(data: bytes, draw: st.DataObject) -> None:
    whole = bytearray(data + zlib.crc32(data).to_bytes(4, "little"))
    place = draw.draw(st.integers(0, 8 * len(whole) - 1))
    whole[place // 8] ^= 1 << place % 8
    assert crc_register(bytes(whole)) != CRC_RESIDUAL


def test_the_rules_in_words_quote_these_numbers() -> None:
    said = " ".join(rule.value for rule in RULES)
    assert f"{CRC_POLYNOMIAL:08X}" in said and f"{CRC_RESIDUAL:08X}" in said
    assert f"{PREAMBLE_BITS} alternating bits" in said


@pytest.mark.parametrize("name", K_CODES)
def test_k_codes_are_no_data(name: str) -> None:
    assert K_CODES[name] not in DATA_SYMBOLS
