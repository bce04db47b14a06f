"""What others published about what real ports said, word for word.

Two public logs (`real_log_1.csv`, `real_log_2.csv`: hex as the log has it, meaning in the log's own words), and
the example of the Linux device tree binding `usb-connector.yaml`, whose words its macros make.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from pdcheck.messages import Message, object_json, parse, parse_power_object, request_in_context, summarize

REFERENCE = Path(__file__).parents[1] / "reference"


def log(name: str) -> list[tuple[Message, str]]:
    """The messages of a log with what the log says of each."""
    found = []
    with (REFERENCE / name).open(newline="") as file:
        for row in csv.DictReader(line for line in file if not line.startswith("#")):
            words = [int(word, 16) for word in (row.get("objects_hex") or "").split()]
            data = int(row["header_hex"], 16).to_bytes(2, "little")
            found.append((parse(data + b"".join(word.to_bytes(4, "little") for word in words)), row["note"]))
    return found


@pytest.mark.parametrize("name", ["real_log_1.csv", "real_log_2.csv"])
def test_every_message_has_the_name_the_log_gives_it(name: str) -> None:
    messages = log(name)
    assert len(messages) >= 5
    for message, note in messages:
        assert note.replace(":", " ").split()[0] == message.name


def test_the_offer_of_the_second_log() -> None:
    """The log: 5 V 3 A; 9 V 2.33 A; 12 V 1.5 A; PPS 5.0 to 5.9 V 3 A; PPS 5.0 to 11.0 V 2 A."""
    offer = log("real_log_2.csv")[0][0]
    assert [summarize(one) for one in offer.objects] == [
        "5 V, 3 A", "9 V, 2.33 A", "12 V, 1.5 A", "PPS 5 to 5.9 V, 3 A", "PPS 5 to 11 V, 2 A",
    ]
    assert offer.problems == ()
    assert (offer.header.power_role, offer.header.data_role, offer.header.revision) == (1, 1, 2)


def test_the_request_of_the_second_log() -> None:
    """The log: object 4 at 5.50 V and 2.00 A."""
    messages = [message for message, _ in log("real_log_2.csv")]
    request = request_in_context(messages[1], messages[0].objects)
    assert object_json(request.objects[0]) == {
        "kind": "request", "raw": "0x42022628", "position": 4, "voltage_mv": 5500, "operating_current_ma": 2000,
        "capability_mismatch": False, "usb_communications_capable": True, "no_usb_suspend": False,
        "unchunked_extended_messages_supported": False, "epr_capable": False,
    }


def test_the_headers_of_the_first_log() -> None:
    """Revision 2.0; message IDs count up at each side; the log has no objects in hex, so they are missing."""
    found = log("real_log_1.csv")
    assert [message.header.message_id for message, note in found] == [0, 0, 1, 2, 3, 1]
    assert {message.header.revision for message, _ in found} == {1}
    assert [message.header.object_count for message, _ in found] == [1, 1, 0, 0, 1, 1]
    assert found[0][0].problems == ("the header's object count of 1 means 4 bytes, and 0 follow it",)


def test_the_example_of_the_device_tree_binding() -> None:
    """`sink-pdos = <PDO_FIXED(5000, 2000, PDO_FIXED_USB_COMM) PDO_VAR(5000, 12000, 2000)>`."""
    fixed, variable = parse_power_object(0x040190C8, side="sink"), parse_power_object(0x8F0190C8, side="sink")
    assert (fixed["voltage_mv"], fixed["current_ma"], fixed["usb_communications_capable"]) == (5000, 2000, True)
    assert summarize(variable) == "variable 5 to 12 V, 2 A"
