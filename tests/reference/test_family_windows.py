"""The families against the specification's windows: a tester must not break the rules it tests by.

The numbers are written down here once more, apart from those the stories are told with: tReceiverResponse,
tSrcTransition, tSinkRequest, tSafe0V, tSrcTurnOn, tPSSourceOff, tPSSourceOn and tVCONNSourceOn are Linux 6.1's,
tSenderResponse, tTypeCSendSourceCap and tPSTransition Zephyr 4.0's; tTransmit, tReceive, nRetryCount, tSrcRecover of
EPR, tFirstSourceCap, tPPSRequest, tSinkEPRKeepAlive and tDataReset are from memory of the specification.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import pytest

from tests.reference import words
from tests.reference.families import FAMILIES, HEALTHY_FAMILIES, Drawn, draw
from tests.reference.second_encoder import Packet

SEEDS = range(6)
ANSWERS = {
    "Request": {"Accept", "Reject", "Wait"}, "EPR_Request": {"Accept", "Reject", "Wait"}, "Soft_Reset": {"Accept"},
    "Source_Capabilities": {"Request"}, "Get_Source_Cap": {"Source_Capabilities", "Not_Supported", "Reject"},
    "Get_Sink_Cap": {"Sink_Capabilities", "Not_Supported", "Reject"}, "DR_Swap": {"Accept", "Reject", "Wait"},
    "PR_Swap": {"Accept", "Reject", "Wait"}, "VCONN_Swap": {"Accept", "Reject", "Wait"},
    "FR_Swap": {"Accept"}, "Data_Reset": {"Accept"},
}  # fmt: skip
#: Conversations that are cut off in the middle of an exchange.
CUT = {"pulled_at_any_moment"}


def told(name: str) -> Iterator[Drawn]:
    """Some conversations of a row."""
    for seed in SEEDS:
        yield draw(name, seed)


def message_id(packet: Packet) -> int:
    """The MessageID of its header."""
    return packet.payload[1] >> 1 & 7


def messages(drawn: Drawn, *, acknowledged: bool = True) -> list[tuple[Packet, Packet | None]]:
    """Every packet that is no GoodCRC with the intact GoodCRC that follows it."""
    found: list[tuple[Packet, Packet | None]] = []
    packets = drawn.world.packets
    for place, packet in enumerate(packets):
        if packet.label == "GoodCRC":
            continue
        after = packets[place + 1] if place + 1 < len(packets) else None
        ack = after if after is not None and after.label == "GoodCRC" and not after.flaws.flip_bits else None
        if ack is not None or not acknowledged:
            found.append((packet, ack))
    return found


@pytest.mark.parametrize("name", sorted(FAMILIES))
def test_packets_stand_in_order_and_apart(name: str) -> None:
    for drawn in told(name):
        gap = 5e-6 if name.endswith("does_not_wait_for_the_gap") else 25e-6  # tInterFrameGap
        for one, two in pairwise(drawn.world.packets):
            assert two.start_s - one.end_s >= gap, (drawn.variant, one.label, two.label)
        assert all(a[0] <= b[0] for a, b in pairwise(drawn.world.vbus))
        assert all(a[0] <= b[0] for a, b in pairwise(drawn.world.amps))


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_acknowledgements_and_message_ids(name: str) -> None:
    for drawn in told(name):
        counted: dict[tuple[str, str], int] = {}
        for message, ack in messages(drawn):
            assert ack is not None
            assert ack.start_s - message.end_s <= 195e-6  # tTransmit
            assert ack.end_s - message.end_s < 0.9e-3  # tReceive
            assert (ack.sop, message_id(ack)) == (message.sop, message_id(message))
            assert ack.sender != message.sender
        swaps = any(packet.label in ("PR_Swap", "FR_Swap") for packet in drawn.world.packets)
        opened = list(drawn.world.opened_s)
        for packet in drawn.world.packets:
            if packet.label == "GoodCRC":
                continue
            if packet.sop.endswith("Reset") or (opened and packet.start_s > opened[0]):
                counted.clear()
                opened = [at for at in opened if at > packet.start_s]
            if packet.sop.endswith("Reset"):
                continue
            if packet.label == "Soft_Reset":
                counted = {key: number for key, number in counted.items() if key[1] != packet.sop}
                assert message_id(packet) == 0
                counted[(packet.sender, packet.sop)] = 0
                continue
            if swaps and packet.label == "PS_RDY":  # names turn, and both start from 0 after the hand-over
                counted.clear()
                continue
            last = counted.get((packet.sender, packet.sop))
            assert last is None or message_id(packet) in (last, (last + 1) % 8)
            counted[(packet.sender, packet.sop)] = message_id(packet)


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_questions_are_answered_in_time(name: str) -> None:
    for drawn in told(name):
        run = [pair for pair in messages(drawn) if pair[0].sop == "SOP" and not pair[0].flaws.flip_bits]
        for (question, _), (answer, _) in pairwise(run):
            wanted = ANSWERS.get(question.label)
            if wanted is None or question.payload == answer.payload or question.label == answer.label:
                continue
            if question.label == "Source_Capabilities" and answer.label not in wanted | {"Soft_Reset"}:
                # a dual-role sink told what it could offer, or nobody was asked anything
                continue
            if answer.label in ("Soft_Reset", "Not_Supported", "Reject") or name in CUT:
                continue
            assert answer.label in wanted, (drawn.seed, question.label, answer.label)
            torn = any(question.end_s < p.start_s < answer.start_s and p.flaws.flip_bits for p in drawn.world.packets)
            tried = [p for p in drawn.world.packets if p.label == answer.label and p.start_s > question.end_s]
            first = tried[0] if tried and torn else answer
            if tried and tried[0].payload == answer.payload:
                first = tried[0]
            assert first.start_s - question.end_s <= 15e-3, (drawn.seed, question.label)  # tReceiverResponse


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_ready_comes_in_its_window_with_the_voltage_there(name: str) -> None:
    for drawn in told(name):
        accept: tuple[float, float] | None = None
        asked: Packet | None = None
        epr = False
        for packet, ack in messages(drawn, acknowledged=False):
            if packet.label == "Hard Reset":
                epr = False
            elif packet.label in ("Request", "EPR_Request"):
                asked, epr = packet, packet.label == "EPR_Request"
            elif packet.label == "Accept" and packet.sop == "SOP" and ack is not None:
                accept = (packet.end_s, ack.end_s) if asked is not None else None
            elif packet.label == "PS_RDY" and accept is not None and asked is not None:
                assert packet.end_s - accept[1] < (830e-3 if epr else 450e-3)  # tPSTransition
                programmable = name in ("pps_renewed", "full_table", "one_after_another", "questions_of_r3x")
                assert programmable or packet.start_s - accept[0] >= 25e-3  # tSrcTransition
                accept = asked = None
            elif packet.label in ("PR_Swap", "DR_Swap", "VCONN_Swap", "FR_Swap", "Soft_Reset", "GotoMin"):
                accept = asked = None


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_vbus_after_a_hard_reset(name: str) -> None:
    for drawn in told(name):
        vbus = drawn.world.vbus
        for place, (packet, _) in enumerate(messages(drawn, acknowledged=False)):
            if packet.label != "Hard Reset":
                continue
            at = packet.end_s
            before = [p for p, _ in messages(drawn, acknowledged=False)[:place]]
            reset_or_out = [n for n, p in enumerate(before) if p.label == "Hard Reset"]
            since = before[reset_or_out[-1] + 1 if reset_or_out else 0 :]
            epr = any(p.label == "EPR_Mode" and p.payload[5] == 3 for p in since)
            fall = next(t for t, _ in vbus if t > at)
            off = next(t for t, v in vbus if t > at and v < 0.8)
            on = next(t for t, v in vbus if t > off and v < 0.8)
            back = next(t for t, v in vbus if t > on and v >= 4.75)
            assert 25e-3 <= fall - at <= 35e-3  # tPSHardReset
            assert off - at <= 650e-3  # tSafe0V
            assert (1.085 if epr else 0.660) <= on - off  # tSrcRecover
            assert on - fall <= (1.425 if epr else 1.0)
            assert back - on <= 275e-3  # tSrcTurnOn
            first = next(p.start_s for p in drawn.world.packets if p.start_s > at)
            assert first - back <= 250e-3  # tFirstSourceCap


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_retries_are_no_more_than_allowed(name: str) -> None:
    for drawn in told(name):
        run: list[Packet] = []
        for packet in drawn.world.packets:
            if packet.label in ("GoodCRC", "Hard Reset", "Cable Reset"):
                continue
            again = bool(run) and packet.payload == run[0].payload and packet.start_s - run[-1].end_s < 2e-3
            if again:
                assert packet.start_s - run[-1].end_s >= 0.9e-3  # tReceive
            run = [*run, packet] if again else [packet]
            most = 3 if packet.payload[0] >> 6 & 3 == words.R20 else 2  # nRetryCount
            assert len(run) <= 1 + most


@pytest.mark.parametrize("name", ["pps_renewed", "epr_contract", "epr_over_and_out", "data_reset", "wait_and_again"])
def test_what_must_be_repeated_or_waited_for(name: str) -> None:
    for drawn in told(name):
        run = [packet for packet, _ in messages(drawn)]
        for one, two in pairwise(run):
            if one.label == "PS_RDY" and two.label == "Request" and name == "pps_renewed":
                assert two.start_s - one.end_s < 10.0  # tPPSRequest
            if two.label == "Extended_Control" and two.sender == "sink":
                assert two.start_s - one.end_s < 0.5  # tSinkEPRKeepAlive
            if two.label == "Data_Reset_Complete":
                assert 0.2 <= two.start_s - one.end_s <= 0.25  # tDataReset
            if one.label == "Wait":
                assert two.start_s - one.end_s >= 0.1  # tSinkRequest


@pytest.mark.parametrize("name", sorted(HEALTHY_FAMILIES))
def test_the_current_stays_inside_the_contract(name: str) -> None:
    for drawn in told(name):
        most = max((one.limit for one in drawn.world.offer if one.kind != "battery"), default=5000)
        highest = max(amps for _, amps in drawn.world.amps)
        assert highest <= 5.0 and (most > 5000 or highest >= 0.0)
        settled = drawn.world.settled
        if settled is not None:
            assert drawn.world.amps[-1][1] <= settled.ma / 1000
