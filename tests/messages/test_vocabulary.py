"""The table of every message says what the code does: each is built, parsed, and has the kinds it claims."""

from __future__ import annotations

import csv
import random
import subprocess
import sys
from enum import IntEnum
from pathlib import Path

import pytest

from pdcheck.messages import build_extended_header, build_header, parse
from pdcheck.messages.registry import FAMILIES, family
from pdcheck.messages.vocabulary import every_message, layouts_of, vocabulary_table
from pdcheck.standard.message_types import ControlType, DataType, ExtendedType

#: Kinds that say nothing of a field: what a message of the standard must not come out as.
RAW = {"unknown", "bytes", "vendor_object", "chunk", "padding"}


def sample(message_type: IntEnum, chance: random.Random) -> bytes:
    """A message of that type with random content of a size it may have."""
    if isinstance(message_type, ControlType):
        return build_header(message_type=message_type)
    if isinstance(message_type, DataType):
        count = 2 if message_type == DataType.EPR_Request else 1
        payload = chance.randbytes(4 * count)
        return build_header(message_type=message_type, object_count=count) + payload
    power = message_type in (ExtendedType.EPR_Source_Capabilities, ExtendedType.EPR_Sink_Capabilities)
    size = 36 if power else max(4, layouts_of(message_type)[0].size)
    head = build_header(message_type=message_type, extended=True)
    return head + build_extended_header(data_size=size, chunked=False) + chance.randbytes(size)


@pytest.mark.parametrize("message_type", list(every_message()), ids=lambda one: one.name)
def test_every_message_is_decoded_as_far_as_the_table_says(message_type: IntEnum) -> None:
    chance = random.Random(int(message_type))
    claimed = {layout.kind for layout in layouts_of(message_type)} | {"unused"}
    for _ in range(100):
        message = parse(sample(message_type, chance))
        assert message.name == message_type.name
        found = {one.kind for one in message.objects}
        if message_type in (DataType.Source_Capabilities, DataType.Sink_Capabilities, DataType.EPR_Request) or (
            "Capabilities" in message_type.name
        ):
            found.discard("augmented_reserved")
            found -= {"epr_avs"} if "epr_avs" not in claimed else set()
        assert found <= claimed, (message.name, found - claimed)
        assert not found & RAW


def test_no_row_says_raw_but_what_is_left_to_vendors() -> None:
    rows = [line for line in vocabulary_table().splitlines() if "raw" in line]
    assert [row.split(" | ")[2] for row in rows] == ["Vendor_Defined", "Vendor_Defined_Extended"]
    assert all("leaves them to vendors" in row for row in rows)


def test_the_table_has_every_message_of_the_facts() -> None:
    """The numbers and names as this project's table of the standard has them."""
    rows = [tuple(cell.strip() for cell in line.strip("| ").split("|")[:3]) for line in vocabulary_table().splitlines()]
    listed = [(kind, int(number), name) for kind, number, name in rows[2:]]
    assert len(listed) == len(set(listed)) == len(ControlType) + len(DataType) + len(ExtendedType)


def test_every_declaration_fills_its_bytes() -> None:
    """No bit without a name, a reserved mark or a type code; none twice."""
    for name in FAMILIES:
        for layout in family(name).values():
            bits = [bit for span in layout.spans() for bit in range(span.low, span.high + 1)]
            assert sorted(bits) == list(range(8 * layout.size)), layout.name
            assert len(layout.names) == len(set(layout.names)), layout.name
            assert layout.title, layout.name
            assert all(span.docs for span in layout.spans() if span.name), layout.name


def test_names_of_codes_are_unique() -> None:
    """Else a field could not be built again from its word."""
    for name in FAMILIES:
        for layout in family(name).values():
            for span in layout.spans():
                if span.name and span.field.bits <= 8:
                    for raw in range(1 << span.field.bits):
                        assert span.field.raw_of(span.field.value_of(raw)) == raw, (layout.name, span.name, raw)


def test_a_family_is_imported_only_when_such_a_message_turns_up() -> None:
    """So that a command starts soon: `vendor` and the extended blocks are not in every capture."""
    program = (
        "import sys; from pdcheck.messages import parse; parse(bytes.fromhex('61112c91012a'));"
        "parse(bytes.fromhex('42102cb10410')); parse(b'\\x63\\x03');"
        "print(*sorted(name for name in sys.modules if name.startswith('pdcheck.messages.')))"
    )
    root = Path(__file__).parents[2]
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=root)
    loaded = {name.rpartition(".")[2] for name in done.stdout.split()}
    assert "power" in loaded
    later = {
        "vendor", "identity", "displayport", "blocks", "capability_blocks", "protocols", "modes", "bist", "notices",
        "extended", "chunks", "cable", "summary", "explain", "explain_kinds", "explain_input", "doubts", "vocabulary",
    }
    assert not loaded & later


def test_the_facts_if_they_are_at_hand() -> None:
    """`kernel_facts.csv` names the numbers of 42 messages; each must be in the table."""
    with (Path(__file__).parents[1] / "reference" / "kernel_facts.csv").open(newline="") as file:
        numbers = [
            (row["expression"].split("_")[1], int(row["result"], 16))
            for row in csv.DictReader(file) if row["expression"].startswith(("PD_CTRL", "PD_DATA", "PD_EXT"))
            and not row["arguments"]
        ]
    listed = {
        ("CTRL" if isinstance(one, ControlType) else "DATA" if isinstance(one, DataType) else "EXT", int(one))
        for one in every_message()
    }
    assert len(numbers) == 42
    assert set(numbers) <= listed
