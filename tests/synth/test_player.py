"""What comes by itself in a scenario: acknowledgements, MessageIDs, retries, roles, revisions, times.

Headers are read here by plain shifts (the layout of the USB PD message header table), not by the messages room.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from pdcheck.errors import ScenarioError
from pdcheck.standard.line_code import Sop
from pdcheck.synth import Performance, parse_scenario, play
from pdcheck.synth.encoder import Packet
from pdcheck.synth.model import ColumnKind
from tests.reference import words

T_TRANSMIT_S = 195e-6  # from memory of the specification
T_RECEIVE_S = 1.1e-3  # from memory of the specification
OFFER = "Source_Capabilities: 5V 3A; 9V 2A"


@dataclass(frozen=True)
class Head:
    kind: int
    bit5: int
    revision: int
    bit8: int
    number: int
    count: int


def _head(packet: Packet) -> Head:
    raw = int.from_bytes(packet.data[:2], "little")
    return Head(raw & 31, raw >> 5 & 1, raw >> 6 & 3, raw >> 8 & 1, raw >> 9 & 7, raw >> 12 & 7)


def _perform(*lines: str) -> Performance:
    return play(parse_scenario("\n".join(lines)))


def _heads(*lines: str) -> list[Head]:
    return [_head(packet) for packet in _perform(*lines).packets]


def _kinds(heads: list[Head]) -> list[int]:
    return [head.kind for head in heads]


GOOD_CRC = words.CONTROL["GoodCRC"]


def test_a_message_is_acknowledged_in_time_and_on_its_ordered_set() -> None:
    performance = _perform("1ms source " + OFFER, "+1ms source Vendor_Defined: 0xFF00A001 [to cable]")
    offer, heard, question, answered = performance.packets
    assert offer.start_s == 1e-3
    for message, answer in ((offer, heard), (question, answered)):
        assert 25e-6 <= answer.start_s - message.end_s <= T_TRANSMIT_S
        assert answer.end_s - message.end_s <= T_RECEIVE_S
        assert answer.sop is message.sop
        assert _head(answer).kind == GOOD_CRC
        assert _head(answer).number == _head(message).number
    assert question.sop is Sop.SOP1
    assert question.start_s == pytest.approx(heard.end_s + 1e-3)


def test_header_bits() -> None:
    heads = _heads("1ms source " + OFFER, "+1ms sink Request: object 2 1A", "+1ms cable Vendor_Defined: 0xFF00A041")
    assert [(head.bit8, head.bit5) for head in heads] == [(1, 1), (0, 0), (0, 0), (1, 1), (1, 0), (0, 0)]
    assert heads[0].count == 2
    assert {head.revision for head in heads} == {2}
    swapped = _heads("source is UFP", "1ms source " + OFFER)
    assert [(head.bit8, head.bit5) for head in swapped] == [(1, 0), (0, 1)]


def test_message_ids_count_for_each_party_and_ordered_set_and_wrap() -> None:
    heads = _heads(
        "1ms source Accept", "repeat 8", "+1ms source Accept", "+1ms sink Accept",
        "+1ms source Accept [on SOP'']", "end",
    )  # fmt: skip
    sent = [head for head in heads if head.kind != GOOD_CRC]
    assert sent[0].number == 0
    assert [head.number for head in sent[1::3]] == [1, 2, 3, 4, 5, 6, 7, 0]  # the source on SOP
    assert [head.number for head in sent[2::3]] == [0, 1, 2, 3, 4, 5, 6, 7]  # the sink
    assert [head.number for head in sent[3::3]] == [0, 1, 2, 3, 4, 5, 6, 7]  # the source on SOP''


def test_resets_start_the_ids_again() -> None:
    heads = _heads(
        "1ms source Accept", "+1ms source Accept", "+1ms sink Soft_Reset", "+1ms source Accept", "+1ms source Accept",
    )  # fmt: skip
    assert [head.number for head in heads] == [0, 0, 1, 1, 0, 0, 0, 0, 1, 1]
    performance = _perform("1ms source Accept", "+1ms source Accept [to cable]", "+1ms source Hard_Reset",
                           "+1ms source Accept", "+1ms source Accept [to cable]")  # fmt: skip
    assert [packet.sop for packet in performance.packets].count(Sop.HARD_RESET) == 1
    assert {_head(packet).number for packet in performance.packets if packet.data} == {0}
    cable = _perform("1ms source Accept", "+1ms source Accept [to cable]", "+1ms source Cable_Reset",
                     "+1ms source Accept", "+1ms source Accept [to cable]")  # fmt: skip
    numbers = [_head(packet).number for packet in cable.packets if packet.data]
    assert numbers == [0, 0, 0, 0, 1, 1, 0, 0]


@pytest.mark.parametrize(("revision", "tries"), [("3.x", 3), ("2.0", 4)])
def test_silence_brings_the_retries_of_the_revision(revision: str, tries: int) -> None:
    performance = _perform(f"revision {revision}", f"1ms source {OFFER} [unacknowledged]", "+1ms source Accept")
    heads = [_head(packet) for packet in performance.packets]
    assert _kinds(heads) == [1] * tries + [3, GOOD_CRC]
    assert [head.number for head in heads] == [0] * tries + [1, 1]  # the ID moves on when the retries are used up
    for first, second in zip(performance.packets, performance.packets[1:tries], strict=False):
        assert 0.9e-3 <= second.start_s - first.end_s <= T_RECEIVE_S + T_TRANSMIT_S


def test_troubles_that_end_well() -> None:
    once = _heads("1ms source Accept [unacknowledged 2]")
    assert _kinds(once) == [3, 3, 3, GOOD_CRC]
    lost = _perform("1ms source Accept [lost acknowledgement 1]").packets
    assert _kinds([_head(packet) for packet in lost]) == [3, GOOD_CRC, 3, GOOD_CRC]
    assert [bool(packet.damage.flipped) for packet in lost] == [False, True, False, False]
    corrupt = _perform("1ms source Accept [corrupt crc 1]").packets
    assert _kinds([_head(packet) for packet in corrupt]) == [3, 3, GOOD_CRC]
    assert [bool(packet.damage.crc_xor) for packet in corrupt] == [True, False, False]
    symbol = _perform("1ms source Accept [corrupt symbol]").packets
    assert [len(packet.damage.destroyed) for packet in symbol] == [1, 1, 1]
    ended = _perform("1ms source Accept [ends after 100 bits, tries 1]").packets
    assert [packet.bit_count for packet in ended] == [100]


def test_wrong_message_ids_in_acknowledgements() -> None:
    relative = _heads("1ms source Accept [id 6, acknowledged as +3]")
    assert [head.number for head in relative] == [6, 1] * 3
    fixed = _heads("1ms source Accept [acknowledged as 5, tries 1]", "+1ms source Accept")
    assert [head.number for head in fixed] == [0, 5, 1, 1]


def test_revisions_settle_on_what_both_have() -> None:
    heads = _heads(
        "revision source 3.x, sink 2.0", "1ms source " + OFFER, "+1ms sink Request: object 1 1A", "+1ms source Accept",
        "+1ms source Hard_Reset", "+1ms source Accept [revision 1.0]", "+1ms source " + OFFER,
    )  # fmt: skip
    with_data = [head for head in heads if head != Head(0, 0, 0, 0, 0, 0)]
    assert [head.revision for head in with_data] == [2, 1, 1, 2, 1, 1, 0, 1, 2, 1]


def test_messages_given_as_bytes_and_extended_messages() -> None:
    packets = _perform("1ms sink bytes: 8d 0a", "+1ms sink Status: 01 02 03 04 05", "+1ms sink Accept").packets
    assert packets[0].data == b"\x8d\x0a"
    assert _head(packets[1]).number == 5
    raw = words.payload(words.header("Status", 2, 6, words.R3X, 0, 0), words.extended_words(bytes([1, 2, 3, 4, 5])))
    assert packets[2].data == raw
    assert _head(packets[4]).number == 7


def test_time() -> None:
    turns = _perform("10ms source Accept", "repeat 3 every 150ms", "+1ms source Accept", "end").packets[2::2]
    assert turns[1].start_s - turns[0].start_s == pytest.approx(0.15)
    assert turns[2].start_s - turns[1].start_s == pytest.approx(0.15)
    close = _perform("1ms source Accept", "+0us sink Accept").packets
    assert close[2].start_s - close[1].end_s == pytest.approx(25e-6)  # tInterFrameGap, from memory
    with pytest.raises(ScenarioError, match="line 2: starts at"):
        _perform("10ms source Accept", "9ms source Accept")
    with pytest.raises(ScenarioError, match="line 2: one turn lasts"):
        _perform("10ms source Accept", "repeat 3 every 1ms", "+1ms source Accept", "end")


def test_voltage_goes_in_straight_lines() -> None:
    trace = _perform("10ms vbus 5V over 10ms", "+100ms vbus 9V over 20ms", "+10ms vbus 0V", "0.2s capture ends").traces[
        ColumnKind.VBUS
    ]
    times = (0.0, 0.01, 0.015, 0.05, 0.115, 0.1199, 0.121, 0.19)
    assert [round(trace.at(time), 2) for time in times] == [0.0, 0.0, 2.5, 5.0, 6.0, 6.98, 0.0, 0.0]


def test_capture_window() -> None:
    whole = _perform("idle high", "10ms source Accept", "20ms source Accept", "30ms capture ends")
    late = _perform("idle high", "10ms source Accept", "15ms capture starts", "20ms source Accept", "30ms capture ends")
    assert late.wave.initial == 1
    assert late.duration_s == pytest.approx(0.015)
    shifted = [(time - 0.015, level) for time, level in whole.wave.edges if time > 0.015]
    assert list(late.wave.edges) == shifted
    with pytest.raises(ScenarioError, match="ends at"):
        _perform("10ms capture ends", "+10ms capture starts")


def test_line_moves() -> None:
    toggling = _perform("10ms line toggles 50Hz for 0.5s", "1s capture ends").wave.edges
    assert 45 <= len({round(time, 3) for time, _ in toggling}) <= 120
    assert all(0.01 <= time <= 0.52 for time, _ in toggling)
    humming = _perform("10ms line hums 50Hz for 0.1s", "1s capture ends").wave.edges
    assert 10 <= len(humming) <= 180
    attached = _perform("50ms attach", "0.1s capture ends")
    assert attached.wave.initial == 1
    assert attached.wave.edges[-1][1] == 0
    plain = _perform("1ms source Accept", "+10ms capture ends")
    spiked = _perform("0s line spikes 1000/s of 50ns for 10ms", "1ms source Accept", "+10ms capture ends")
    assert len(plain.wave.edges) < len(spiked.wave.edges) <= len(plain.wave.edges) + 20


def test_line_high_changes_the_level_of_rest() -> None:
    wave = _perform(
        "1ms source Accept", "+1ms line high", "+1ms source Accept", "+1ms line low", "+1ms capture ends",
    ).wave  # fmt: skip
    assert wave.initial == 0
    assert wave.edges[-1][1] == 0
    assert wave.edges[-2][1] == 1
    assert wave.edges[-1][0] - wave.edges[-2][0] > 0.9e-3


def test_the_seed_decides_the_rest() -> None:
    lines = ("jitter 20ns", "10ms line hums 50Hz for 0.1s", "+10ms attach", "+1ms source Accept [corrupt]")
    one, same, other = (_perform(f"seed {seed}", *lines) for seed in ("a", "a", "b"))
    assert list(one.wave.edges) == list(same.wave.edges)
    assert list(one.wave.edges) != list(other.wave.edges)
