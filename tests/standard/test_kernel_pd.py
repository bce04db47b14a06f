"""Message numbers, header bits and timers against the Linux kernel's include/linux/usb/pd.h.

Where Debian's linux-headers-6.1*-common is installed the header itself is read; kernel_pd_facts.csv, drawn from the
package that its first column names, keeps the comparison alive elsewhere.
"""

from __future__ import annotations

import re
from enum import IntEnum
from pathlib import Path

import pytest

from pdcheck.messages.header import build_extended_header, build_header, parse_extended_header, parse_header
from pdcheck.standard import counters, sizes, timers
from pdcheck.standard.limit import Limit
from pdcheck.standard.message_types import NOTES, ControlType, DataType, ExtendedType
from tests.standard.kernel_pd import Fact, installed, read_facts, read_header

CONTROL: dict[str, ControlType] = {
    "GOOD_CRC": ControlType.GoodCRC, "GOTO_MIN": ControlType.GotoMin, "ACCEPT": ControlType.Accept,
    "REJECT": ControlType.Reject, "PING": ControlType.Ping, "PS_RDY": ControlType.PS_RDY,
    "GET_SOURCE_CAP": ControlType.Get_Source_Cap, "GET_SINK_CAP": ControlType.Get_Sink_Cap,
    "DR_SWAP": ControlType.DR_Swap, "PR_SWAP": ControlType.PR_Swap, "VCONN_SWAP": ControlType.VCONN_Swap,
    "WAIT": ControlType.Wait, "SOFT_RESET": ControlType.Soft_Reset, "NOT_SUPP": ControlType.Not_Supported,
    "GET_SOURCE_CAP_EXT": ControlType.Get_Source_Cap_Extended, "GET_STATUS": ControlType.Get_Status,
    "FR_SWAP": ControlType.FR_Swap, "GET_PPS_STATUS": ControlType.Get_PPS_Status,
    "GET_COUNTRY_CODES": ControlType.Get_Country_Codes,
}
DATA: dict[str, DataType] = {
    "SOURCE_CAP": DataType.Source_Capabilities, "REQUEST": DataType.Request, "BIST": DataType.BIST,
    "SINK_CAP": DataType.Sink_Capabilities, "BATT_STATUS": DataType.Battery_Status, "ALERT": DataType.Alert,
    "GET_COUNTRY_INFO": DataType.Get_Country_Info, "ENTER_USB": DataType.Enter_USB,
    "VENDOR_DEF": DataType.Vendor_Defined,
}
EXTENDED: dict[str, ExtendedType] = {
    "SOURCE_CAP_EXT": ExtendedType.Source_Capabilities_Extended, "STATUS": ExtendedType.Status,
    "GET_BATT_CAP": ExtendedType.Get_Battery_Cap, "GET_BATT_STATUS": ExtendedType.Get_Battery_Status,
    "BATT_CAP": ExtendedType.Battery_Capabilities, "GET_MANUFACTURER_INFO": ExtendedType.Get_Manufacturer_Info,
    "MANUFACTURER_INFO": ExtendedType.Manufacturer_Info, "SECURITY_REQUEST": ExtendedType.Security_Request,
    "SECURITY_RESPONSE": ExtendedType.Security_Response, "FW_UPDATE_REQUEST": ExtendedType.Firmware_Update_Request,
    "FW_UPDATE_RESPONSE": ExtendedType.Firmware_Update_Response, "PPS_STATUS": ExtendedType.PPS_Status,
    "COUNTRY_INFO": ExtendedType.Country_Info, "COUNTRY_CODES": ExtendedType.Country_Codes,
}
TYPES: dict[str, dict[str, IntEnum]] = {"PD_CTRL_": {**CONTROL}, "PD_DATA_": {**DATA}, "PD_EXT_": {**EXTENDED}}

#: Kernel name without PD_T_, our limit, and which of our values the kernel's number is: an end, the nominal value,
#: or one that lies inside (where the kernel chose its own).
TIMERS: list[tuple[str, Limit, str]] = [
    ("NO_RESPONSE", timers.NO_RESPONSE, "nom"),
    ("SEND_SOURCE_CAP", timers.TYPE_C_SEND_SOURCE_CAP, "nom"),
    ("SENDER_RESPONSE", timers.SENDER_RESPONSE_R2_0, "relaxed"),
    ("RECEIVER_RESPONSE", timers.RECEIVER_RESPONSE, "max"),
    ("SINK_WAIT_CAP", timers.TYPE_C_SINK_WAIT_CAP, "min"),
    ("PS_TRANSITION", timers.PS_TRANSITION_SPR, "nom"),
    ("SRC_TRANSITION", timers.SRC_TRANSITION, "max"),
    ("PS_SOURCE_OFF", timers.PS_SOURCE_OFF, "max"),
    ("PS_SOURCE_ON", timers.PS_SOURCE_ON, "max"),
    ("PS_SOURCE_ON_PRS", timers.PS_SOURCE_ON, "inside"),
    ("PS_HARD_RESET", timers.PS_HARD_RESET, "nom"),
    ("SRC_RECOVER", timers.SRC_RECOVER_SPR, "inside"),
    ("SRC_RECOVER_MAX", timers.SRC_RECOVER_SPR, "max"),
    ("SRC_TURN_ON", timers.SRC_TURN_ON, "max"),
    ("SAFE_0V", timers.SAFE_0V, "max"),
    ("VCONN_SOURCE_ON", timers.VCONN_SOURCE_ON, "max"),
    ("SINK_REQUEST", timers.SINK_REQUEST, "min"),
    ("SRCSWAPSTDBY", timers.SRC_SWAP_STDBY, "inside"),
    ("NEWSRC", timers.NEW_SRC, "inside"),
    ("SWAP_SRC_START", timers.SWAP_SOURCE_START, "min"),
    ("BIST_CONT_MODE", timers.BIST_CONT_MODE, "inside"),
    ("SINK_TX", timers.SINK_TX, "min"),
    ("CHUNK_NOT_SUPP", timers.CHUNKING_NOT_SUPPORTED, "inside"),
    ("CC_DEBOUNCE", timers.CC_DEBOUNCE, "max"),
    ("PD_DEBOUNCE", timers.PD_DEBOUNCE, "max"),
]


def sources() -> list[object]:
    """The committed table and every installed header."""
    table = pytest.param(None, id="table")
    headers: list[object] = [pytest.param(path, id=path.parents[3].name) for path in installed()]
    if not headers:
        reason = "no linux-headers-6.1*-common is installed; the committed table stands in"
        headers = [pytest.param(Path(), id="header", marks=pytest.mark.skip(reason=reason))]
    return [table, *headers]


@pytest.fixture(scope="module", params=sources())
def kernel(request: pytest.FixtureRequest) -> dict[str, Fact]:
    """Names and numbers of one source."""
    path: Path | None = request.param
    return read_facts() if path is None else read_header(path.read_text(encoding="utf-8"))


def test_the_table_says_what_the_installed_headers_say() -> None:
    headers = installed()
    if not headers:
        pytest.skip("no linux-headers-6.1*-common is installed to compare the table with")
    for header in headers:
        assert read_header(header.read_text(encoding="utf-8")) == read_facts(), header


@pytest.mark.parametrize("prefix", TYPES)
def test_message_numbers(kernel: dict[str, Fact], prefix: str) -> None:
    theirs = {
        name.removeprefix(prefix): fact.value
        for name, fact in kernel.items()
        if name.startswith(prefix) and not name.startswith(("PD_EXT_HDR", "PD_EXT_MAX"))
    }
    assert theirs == {name: one.value for name, one in TYPES[prefix].items()}


@pytest.mark.parametrize("prefix", TYPES)
def test_short_names_belong_to_the_long_ones(prefix: str) -> None:
    """The pairing above is ours: each kernel name must be an abbreviation of the name it is paired with."""
    for short, ours in TYPES[prefix].items():
        letters = iter(ours.name.upper().replace("FIRMWARE", "FW").replace("CONTROL", "CTRL"))
        assert all(letter == "_" or letter in letters for letter in short), (short, ours.name)


def test_types_said_to_be_compared_with_the_header_are() -> None:
    claimed = {
        (type(note.type).__name__, note.type.value) for note in NOTES if "Linux 6.1 pd.h" in note.checked
    }
    assert claimed == {(type(one).__name__, one.value) for group in TYPES.values() for one in group.values()}


def test_header_fields(kernel: dict[str, Fact]) -> None:
    def of(name: str) -> int:
        return kernel["PD_HEADER_" + name].value

    for bit in range(16):
        word = 1 << bit
        header = parse_header(word)
        assert header.message_type == word >> of("TYPE_SHIFT") & of("TYPE_MASK")
        assert header.object_count == word >> of("CNT_SHIFT") & of("CNT_MASK")
        assert header.message_id == word >> of("ID_SHIFT") & of("ID_MASK")
        assert header.revision == word >> of("REV_SHIFT") & of("REV_MASK")
        assert header.power_role == int(bool(word & of("PWR_ROLE")))
        assert header.data_role == int(bool(word & of("DATA_ROLE")))
        assert header.extended == bool(word & of("EXT_HDR"))
    # every bit belongs to one field
    whole = build_header(
        message_type=of("TYPE_MASK"), object_count=of("CNT_MASK"), message_id=of("ID_MASK"), power_role=1, data_role=1,
        revision=of("REV_MASK"), extended=True,
    )
    assert whole == b"\xff\xff"


def test_extended_header_fields(kernel: dict[str, Fact]) -> None:
    def of(name: str) -> int:
        return kernel["PD_EXT_HDR_" + name].value

    for bit in range(16):
        word = 1 << bit
        header = parse_extended_header(word)
        assert header.data_size == word >> of("DATA_SIZE_SHIFT") & of("DATA_SIZE_MASK")
        assert header.chunk_number == word >> of("CHUNK_NUM_SHIFT") & of("CHUNK_NUM_MASK")
        assert header.request_chunk == bool(word & of("REQ_CHUNK"))
        assert header.chunked == bool(word & of("CHUNKED"))
    built = build_extended_header(data_size=of("DATA_SIZE_MASK"), chunk_number=of("CHUNK_NUM_MASK"), request_chunk=True)
    # all bits but the reserved one
    assert int.from_bytes(built, "little") == 0xFFFF ^ 1 << 9


def milliseconds(limit: Limit, which: str) -> float:
    value: float | None = getattr(limit, which)
    assert value is not None, (limit.name, which)
    return value * {"ms": 1.0, "s": 1000.0}[limit.unit]


@pytest.mark.parametrize(("name", "limit", "which"), TIMERS, ids=[row[0] for row in TIMERS])
def test_timers(kernel: dict[str, Fact], name: str, limit: Limit, which: str) -> None:
    fact = kernel["PD_T_" + name]
    if which == "inside":
        assert limit.min is None or milliseconds(limit, "min") <= fact.value
        assert fact.value <= milliseconds(limit, "max")
    elif which == "relaxed":
        # The kernel waits longer than its own comment says; only the comment is the standard's.
        assert "relaxed" in fact.comment
    else:
        assert fact.value == pytest.approx(milliseconds(limit, which))


@pytest.mark.parametrize(("name", "limit", "which"), TIMERS, ids=[row[0] for row in TIMERS])
def test_ranges_in_the_comments(kernel: dict[str, Fact], name: str, limit: Limit, which: str) -> None:
    comment = kernel["PD_T_" + name].comment
    numbers = [float(text) for text in re.findall(r"\d+(?:\.\d+)?", comment)]
    scale = 1000.0 if "seconds" in comment else 1.0
    if len(numbers) == 2:
        assert [milliseconds(limit, "min"), milliseconds(limit, "max")] == [n * scale for n in numbers]
    elif re.search("max", comment, re.IGNORECASE):
        assert limit.min is None
        assert [milliseconds(limit, "max")] == numbers
    elif re.search("min", comment, re.IGNORECASE):
        assert limit.max is None
        assert [milliseconds(limit, "min")] == numbers
    else:
        assert not comment


def test_every_limit_said_to_be_compared_with_the_header_is() -> None:
    compared = {limit.name for _, limit, _ in TIMERS}
    claimed = {limit.name for limit in timers.ALL if "Linux 6.1" in limit.checked}
    assert claimed <= compared
    assert compared <= claimed


def test_numbers_quoted_from_the_header_are_in_it(kernel: dict[str, Fact]) -> None:
    """``"Linux 6.1 PD_T_SRC_TRANSITION 35"`` and the like: name and number as the header has them."""
    quoted = [
        (name, int(value), limit.name)
        for limit in timers.ALL
        for name, value in re.findall(r"Linux 6\.1 (PD_T_\w+) (\d+)", limit.checked)
    ]
    assert quoted
    for name, value, ours in quoted:
        assert kernel[name].value == value, ours


def test_counters(kernel: dict[str, Fact]) -> None:
    assert kernel["PD_N_HARD_RESET_COUNT"].value == counters.HARD_RESET_COUNT.nom
    # The message ID field wraps where the counter does.
    assert kernel["PD_HEADER_ID_MASK"].value == counters.MESSAGE_ID_COUNT.nom


def test_sizes(kernel: dict[str, Fact]) -> None:
    assert kernel["PD_MAX_PAYLOAD"].value == sizes.MOST_OBJECTS
    assert kernel["PD_EXT_MAX_CHUNK_DATA"].value == sizes.CHUNK_BYTES
