"""Vendor Defined messages: who is asked what, which layout each object has, and a cable in words.

Words are packed by the macros of Linux 6.1 `pd_vdo.h` where `kernel_facts.csv` has them; the sums here are
shifts typed from that header's comments.
"""

from __future__ import annotations

import random

import pytest

from pdcheck.messages import build, build_header, cable_summary, object_json, parse, title
from pdcheck.messages.model import Message
from tests.messages.c_bitfields import draw

REQ, ACK, NAK = 0, 1, 2
IDENTITY, SVIDS, MODES, ENTER, ATTENTION = 1, 2, 3, 4, 6


def vdm(
    svid: int, command: int, kind: int, *words: int, version: int = 1, minor: int = 0, cable: bool = False
) -> Message:
    head = svid << 16 | 1 << 15 | version << 13 | minor << 11 | kind << 6 | command
    payload = b"".join(word.to_bytes(4, "little") for word in (head, *words))
    message = parse(build_header(message_type=15, object_count=1 + len(words)) + payload, on_cable=cable)
    assert build(message) == message.data
    return message


def id_header(ufp_or_cable: int, dfp: int = 0, connector: int = 2) -> int:
    return ufp_or_cable << 27 | dfp << 23 | connector << 21 | 0x1234


def kinds(message: Message) -> list[str]:
    return [one.kind for one in message.objects]


def test_versions() -> None:
    assert vdm(0xFF00, IDENTITY, REQ, version=0).objects[0]["version"] == "1.0"
    assert vdm(0xFF00, IDENTITY, REQ, version=1).objects[0]["version"] == "2.0"
    assert vdm(0xFF00, IDENTITY, REQ, version=1, minor=1).objects[0]["version"] == "2.1"


def test_the_header_of_a_real_log() -> None:
    """VDM header 0xFF008001 of a public log: Discover Identity request."""
    message = parse(bytes.fromhex("6f17") + (0xFF008001).to_bytes(4, "little"))
    assert title(message) == "Vendor_Defined: Discover_Identity REQ, SVID 0xFF00, version 1.0"


@pytest.mark.parametrize(("kind", "version", "products", "expected"), [
    (3, 1, 1, ["passive_cable"]), (4, 1, 2, ["active_cable_1", "active_cable_2"]), (6, 1, 1, ["vpd"]),
    (3, 0, 1, ["cable_r2"]), (4, 0, 1, ["cable_r2"]), (0, 1, 1, ["vendor_object"]),
])
def test_identity_of_a_cable(kind: int, version: int, products: int, expected: list[str]) -> None:
    message = vdm(0xFF00, IDENTITY, ACK, id_header(kind), 7, 8, *([0] * products), version=version, cable=True)
    assert kinds(message) == ["vdm_header", "id_header", "cert_stat", "product", *expected]


@pytest.mark.parametrize(("ufp", "dfp", "version", "products", "expected"), [
    (1, 0, 1, 1, ["ufp"]), (2, 0, 1, 1, ["ufp"]), (0, 2, 1, 1, ["dfp"]), (2, 2, 1, 3, ["ufp", "pad", "dfp"]),
    (5, 0, 1, 1, ["ama"]), (5, 0, 0, 1, ["ama"]), (2, 0, 0, 0, []), (0, 3, 1, 2, ["dfp", "vendor_object"]),
])
def test_identity_of_a_partner(ufp: int, dfp: int, version: int, products: int, expected: list[str]) -> None:
    message = vdm(0xFF00, IDENTITY, ACK, id_header(ufp, dfp), 7, 8, *([0] * products), version=version)
    assert kinds(message) == ["vdm_header", "id_header", "cert_stat", "product", *expected]


def test_a_refusal_has_no_objects_to_read() -> None:
    assert kinds(vdm(0xFF00, IDENTITY, NAK)) == ["vdm_header"]
    assert kinds(vdm(0xFF00, IDENTITY, NAK, 1)) == ["vdm_header", "vendor_object"]


def test_svids_and_modes() -> None:
    message = vdm(0xFF00, SVIDS, ACK, 0xFF018087, 0)
    assert object_json(message.objects[1]) == {"kind": "svids", "raw": "0xFF018087", "svid_0": 0xFF01, "svid_1": 0x8087}
    assert kinds(vdm(0xFF01, MODES, ACK, 0x1C46)) == ["vdm_header", "displayport_capabilities"]
    assert kinds(vdm(0x1234, MODES, ACK, 1, 2)) == ["vdm_header", "vendor_object", "vendor_object"]


def test_displayport() -> None:
    status = vdm(0xFF01, 16, ACK, 1 << 7 | 1 << 3 | 2)
    assert title(status) == "Vendor_Defined: DisplayPort_Status_Update ACK, SVID 0xFF01, version 2.0"
    assert status.objects[1]["hpd_state"] is True and status.objects[1]["connection"] == "UFP_D connected"
    assert kinds(vdm(0xFF01, ATTENTION, REQ, 1 << 8)) == ["vdm_header", "displayport_status"]
    configure = vdm(0xFF01, 17, REQ, 1 << (8 + 3) | 1 << 2 | 2)
    assert configure.objects[1]["pin_assignment"] == ["D"]
    assert configure.objects[1]["configure_as"] == "UFP_U as UFP_D"
    assert kinds(vdm(0xFF01, ENTER, REQ)) == ["vdm_header"]
    assert kinds(vdm(0x1234, 16, ACK, 5)) == ["vdm_header", "vendor_object"]


def test_unstructured_stays_as_it_is() -> None:
    word = 0x1234 << 16 | 0x4567
    payload = word.to_bytes(4, "little") + b"\xef\xbe\xad\xde"
    message = parse(build_header(message_type=15, object_count=2) + payload)
    assert [object_json(one) for one in message.objects] == [
        {"kind": "vdm_header", "raw": "0x12344567", "svid": 0x1234, "vendor_use": 0x4567, "structured": False},
        {"kind": "vendor_object", "raw": "0xDEADBEEF"},
    ]
    assert build(message) == message.data


def test_a_passive_cable_in_words() -> None:
    chance = random.Random(3)
    word, _ = draw(
        "passive_cable", chance, speed=3, current=2, voltage=3, termination=0, latency=1, epr=1, plug=2, version=0
    )
    message = vdm(0xFF00, IDENTITY, ACK, id_header(3), 0, 0, word, cable=True)
    summary = cable_summary(message)
    assert summary is not None
    assert (summary.current_ma, summary.max_voltage_mv, summary.epr) == (5000, 50_000, True)
    assert summary.words() == "passive cable, 5 A, up to 50 V, USB4 Gen3, below 10 ns (about 1 m), EPR"


def test_an_old_active_cable_in_words() -> None:
    word = 2 << 18 | 3 << 13 | 3 << 11 | 1 << 5 | 1 << 4 | 2
    message = vdm(0xFF00, IDENTITY, ACK, id_header(4, connector=0), 0, 0, word, version=0, cable=True)
    summary = cable_summary(message)
    assert summary is not None
    assert summary.words() == "active cable, 3 A, USB 3.1 Gen1 and Gen2, 20 to 30 ns (about 3 m)"


def test_what_does_not_say_is_not_guessed() -> None:
    message = vdm(0xFF00, IDENTITY, ACK, id_header(3), 0, 0, 7 | 15 << 13, cable=True)
    summary = cable_summary(message)
    assert summary is not None
    assert (summary.current_ma, summary.speed, summary.length) == (None, None, None)
    assert summary.words() == "passive cable, current not stated, up to 20 V, not EPR"
    assert cable_summary(vdm(0xFF00, IDENTITY, REQ)) is None


def test_a_powered_device_that_passes_charge_on() -> None:
    message = vdm(0xFF00, IDENTITY, ACK, id_header(6), 0, 0, 1 << 15 | 1 << 14 | 10 << 7 | 20 << 1 | 1, cable=True)
    vpd = message.objects[4]
    assert (vpd["vbus_impedance_mohm"], vpd["ground_impedance_mohm"]) == (20, 20)
    summary = cable_summary(message)
    assert summary is not None
    assert summary.words() == "VCONN-powered USB device, 5 A, up to 30 V"
