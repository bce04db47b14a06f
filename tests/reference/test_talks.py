"""The told conversations against the specification's windows: a tester must not break the rules it tests by.

tTransmit, tReceive and nRetryCount from memory; tReceiverResponse and tSrcTransition are Linux 6.1's
PD_T_RECEIVER_RESPONSE (15 ms) and PD_T_SRC_TRANSITION (35 ms), tSenderResponse Zephyr 4.0's 24 to 30 ms and
tPSTransition its 450 to 550 ms.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from tests.reference.cases import Case, Way, make_case
from tests.reference.healthy_talks import HEALTHY
from tests.reference.second_encoder import Packet


def healthy(name: str) -> list[Case]:
    """Some cases of a story."""
    return [make_case("healthy", seed, Way(idle=seed % 2), story=name) for seed in range(15)]


def talk_packets(case: Case) -> list[Packet]:
    """All that was said."""
    assert case.talk is not None
    return case.talk.packets


@pytest.mark.parametrize("name", HEALTHY)
def test_goodcrc_follows_within_its_time(name: str) -> None:
    for case in healthy(name):
        for message, ack in pairwise(talk_packets(case)):
            if ack.label == "GoodCRC":
                assert message.label != "GoodCRC"
                assert 25e-6 <= ack.start_s - message.end_s <= 195e-6  # tInterFrameGap, tTransmit
                assert ack.end_s - message.end_s < 0.9e-3  # tReceive
                assert ack.payload[1] >> 1 & 7 == message.payload[1] >> 1 & 7  # the same MessageID


@pytest.mark.parametrize("name", HEALTHY)
def test_requests_are_answered_in_time(name: str) -> None:
    asked = {"Request": ("Accept", "Reject", "Wait"), "Source_Capabilities": ("Request",), "Soft_Reset": ("Accept",)}
    for case in healthy(name):
        answered = False
        packets = talk_packets(case)
        for place, packet in enumerate(packets):
            if packet.label not in asked:
                continue
            if place + 1 == len(packets) or packets[place + 1].label != "GoodCRC":
                continue
            ack, after = packets[place + 1], packets[place + 2]
            if ack.flaws.flip_bits or after.payload == packet.payload or after.sop == "Hard Reset":
                continue
            answered = True
            assert after.label in asked[packet.label] or after.flaws.flip_bits
            assert after.start_s - ack.end_s <= 15e-3
        assert answered


@pytest.mark.parametrize("name", HEALTHY)
def test_ready_between_transition_and_the_sinks_patience(name: str) -> None:
    for case in healthy(name):
        accept: Packet | None = None
        assert case.talk is not None
        programmable = case.talk.settled is not None and case.talk.settled.kind == "pps"
        for packet in talk_packets(case):
            if packet.label == "Accept" and packet.sender == "source":
                accept = packet
            if packet.label in ("DR_Swap", "VCONN_Swap", "Soft_Reset", "Hard Reset", "PR_Swap"):
                accept = None
            if packet.label == "PS_RDY" and packet.sender == "source" and accept is not None:
                assert packet.start_s - accept.end_s < 450e-3
                if not programmable:
                    assert packet.start_s - accept.end_s >= 25e-3


@pytest.mark.parametrize("name", HEALTHY)
def test_retries_are_the_same_packet_and_not_too_many(name: str) -> None:
    for case in healthy(name):
        assert case.talk is not None
        most = 4 if case.talk.ports.source_revision == 1 or case.talk.ports.sink_revision == 1 else 3
        run: list[Packet] = []
        for packet in talk_packets(case):
            if packet.label in ("GoodCRC", "Hard Reset", "Cable Reset"):
                continue
            if run and packet.payload == run[0].payload and packet.start_s - run[-1].end_s < 2e-3:
                run.append(packet)
                assert packet.start_s - run[-2].end_s >= 0.9e-3  # tReceive
            else:
                run = [packet]
            assert len(run) <= most


def test_the_same_seed_gives_the_same_waveform() -> None:
    one, two = (make_case("healthy", 5, Way(jitter_s=30e-9, strays="toggles")) for _ in range(2))
    assert one.capture.cc.changes == two.capture.cc.changes
    assert one.talk is not None and two.talk is not None
    assert [p.payload for p in one.talk.packets] == [p.payload for p in two.talk.packets]


@pytest.mark.parametrize("name", HEALTHY)
def test_vbus_is_at_the_contract_when_ready_is_said(name: str) -> None:
    for case in healthy(name):
        talk = case.talk
        assert talk is not None and talk.settled is not None
        ready = [p for p in talk.packets if p.label == "PS_RDY" and p.sender == "source"][-1]
        last_s, volts = talk.vbus[-1]
        assert last_s <= ready.start_s - talk.cut_s
        assert volts == pytest.approx(talk.settled.mv / 1000, rel=0.05)  # vSrcNew
