"""`explain`: every form people copy, what cannot be told, and any text at all."""

from __future__ import annotations

import json
import zlib

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.cli import main
from pdcheck.errors import InputError
from pdcheck.messages.explain import Explanation, explain, explanation_json, kind_names
from pdcheck.report.explanation import explanation_text

OFFER = "0x2A01912C 0x0002D0E9 0x0003C096 0xC076323C 0xC0DC3228"
"""Of the public log `real_log_2.csv`."""


def first(explanation: Explanation) -> dict[str, object]:
    shaped = explanation_json(explanation)
    objects = shaped["objects"]
    assert isinstance(objects, list)
    return dict(objects[0])


@pytest.mark.parametrize("texts", [
    ["0x2A01912C"], ["2A01912C"], ["2a01912c"], ["2C 91 01 2A"], ["2C", "91", "01", "2A"], ["0x2C,0x91,0x01,0x2A"],
    ["2c:91:01:2a"], ["2c-91-01-2a"], ["{0x2C, 0x91, 0x01, 0x2A}"], ["\\x2c\\x91\\x01\\x2a"], ["2A01_912C"],
    ["2A01912Ch"], [" 0X2A01912C ; "], ["$2A01912C"],
])
def test_the_forms_people_copy(texts: list[str]) -> None:
    explanation = explain(texts, as_kind="source-pdo")
    assert explanation.data == bytes.fromhex("2c91012a")
    assert first(explanation)["voltage_mv"] == 5000


@pytest.mark.parametrize(("texts", "order"), [
    (["0x2C91012A"], "little"), (["2A 01 91 2C"], "big"), (["0x2A01912C"], "big"), (["2C 91 01 2A"], "little"),
])
def test_byte_order_either_way(texts: list[str], order: str) -> None:
    assert explain(texts, as_kind="source-pdo", byte_order=order).data == bytes.fromhex("2c91012a")


def test_a_message_with_and_without_crc() -> None:
    message = bytes.fromhex("a153") + b"".join(int(word, 16).to_bytes(4, "little") for word in OFFER.split())
    crc = zlib.crc32(message).to_bytes(4, "little")
    for data, crc_given in ((message, None), (message, False), (message + crc, None), (message + crc, True)):
        explanation = explain([data.hex(" ")], crc=crc_given)
        assert explanation.readings[0].title.startswith("Source_Capabilities (data message")
        assert [part.summary for part in explanation.readings[0].parts][1:] == [
            "5 V, 3 A", "9 V, 2.33 A", "12 V, 1.5 A", "PPS 5 to 5.9 V, 3 A", "PPS 5 to 11 V, 2 A",
        ]
        assert explanation.readings[0].notes == ()
        assert bool(explanation.notes) == (data != message)
    wrong = explain([(message + b"\1\2\3\4").hex()])
    assert wrong.notes == (
        f"the last four bytes, as CRC, are wrong: 0x04030201 instead of 0x{zlib.crc32(message):08X}",
    )


def test_a_message_of_words() -> None:
    explanation = explain(["0x53A1", OFFER])
    assert [part.object.kind for part in explanation.readings[0].parts] == ["header"] + ["fixed"] * 3 + ["spr_pps"] * 2


def test_a_zero_among_words_is_a_word() -> None:
    explanation = explain(["0xFF00A041", "0x1C001234", "0", "8", "0x000A2443"], as_kind="cable-vdm")
    assert explanation.readings[0].parts[-1].summary == (
        "passive cable, 5 A, up to 40 V, USB4 Gen3, below 10 ns (about 1 m), EPR"
    )


def test_a_word_that_can_be_several_things() -> None:
    explanation = explain(["0x2A01912C"])
    assert [reading.kind for reading in explanation.readings] == [
        "source-pdo", "sink-pdo", "request-fixed", "request-battery",
    ]
    assert "vdm" in explanation.others
    assert [reading.kind for reading in explain(["0xFF008001"]).readings] == ["vdm"]


def test_a_request_against_the_offer() -> None:
    alone = explain(["0x42022628"], as_kind="request")
    assert alone.readings[0].parts[0].object["max_current_ma"] == 5520
    assert alone.readings[0].notes == (
        "5.52 A is no current of USB Power Delivery",
        "read as a request for a fixed or variable supply; --offer settles what is asked for",
    )
    assert [(one.kind, one.parts[0].summary) for one in alone.readings[1:]] == [("request-pps", "object 4, 5.5 V, 2 A")]
    for offer in ([OFFER], OFFER.split(), ["A153" + "".join(
        int(word, 16).to_bytes(4, "little").hex() for word in OFFER.split()
    )]):
        explanation = explain(["0x42022628"], as_kind="request", offer=offer)
        assert explanation.readings[0].parts[0].summary == "object 4, 5.5 V, 2 A"
        assert explanation.readings[0].notes == ()


def test_a_request_beyond_the_offer() -> None:
    too_much = explain(["0x1304B12C"], as_kind="request", offer=["0x0001905A"])
    assert too_much.readings[0].notes == ("it asks for 3000 mA of 900 mA offered",)
    nowhere = explain(["0x7304B12C"], as_kind="request", offer=[OFFER])
    assert nowhere.readings[0].notes == ("the offer has 5 objects and no position 7",)


def test_every_field_is_laid_out() -> None:
    part = explain(["0x2A01912C"], as_kind="source-pdo").readings[0].parts[0]
    rows = {row.name: row for row in part.fields}
    voltage = rows["voltage_mv"]
    assert (voltage.bits, voltage.raw, voltage.value, voltage.unit) == ("19:10", 100, 5000, "mV")
    assert rows["dual_role_power"].bits == "29" and rows["dual_role_power"].value is True
    covered = [bit for row in part.fields for bit in _bits(row.bits)]
    assert sorted(covered) == list(range(32))
    text = explanation_text(explain(["0x2A01912C"], as_kind="source-pdo"))
    assert "19:10  100    5000 mV  voltage_mv: nominal voltage" in text


def _bits(text: str) -> range:
    high, _, low = text.partition(":")
    return range(int(low or high), int(high) + 1)


@pytest.mark.parametrize("kind", kind_names())
def test_every_kind_can_be_asked_for(kind: str) -> None:
    explanation = explain(["0x1060", "FF008001"] if "message" in kind else ["FF008001"], as_kind=kind) if (
        kind not in ("header", "cable-header", "extended-header")
    ) else explain(["9061"], as_kind=kind)
    assert explanation.readings[0].kind == kind
    assert explanation_text(explanation)
    json.dumps(explanation_json(explanation))


@pytest.mark.parametrize(("texts", "options", "says"), [
    ([], {}, "nothing to explain"),
    (["  ,"], {}, "nothing to explain"),
    (["volts"], {}, "'volts' is not hexadecimal"),
    (["0x"], {}, "'0x' is not hexadecimal"),
    (["FF"], {}, "one byte could be anything"),
    (["010203"], {"as_kind": "no-such"}, "there is no kind 'no-such'"),
    (["1042"], {"as_kind": "source-pdo"}, "2 bytes are no source-pdo"),
    (["12345678"], {"crc": True}, "only a message ends in a CRC"),
    (["1042"], {"as_kind": "message", "crc": True}, "too short to end in a CRC"),
    (["F" * 700], {}, "more than 268 bytes"),
    (["123456789"], {}, "odd number of digits"),
    (["42022628"], {"offer": ["010203040507"]}, "the offer is no Source_Capabilities but GoodCRC"),
    (["42022628"], {"offer": ["0x0363"]}, "the offer is no Source_Capabilities but Accept"),
    (["42022628"], {"byte_order": "middle"}, "is no byte order"),
    (["٣٤"], {}, "is not hexadecimal"),
])
def test_one_clear_line(texts: list[str], options: dict[str, object], says: str) -> None:
    with pytest.raises(InputError) as caught:
        explain(texts, **options)  # type: ignore[arg-type]
    assert says in caught.value.one_line()
    assert "\n" not in caught.value.one_line()


HEXISH = st.text(alphabet="0123456789abcdefABCDEFxh ,:-_\\{}", max_size=80)
ANY_KIND = st.one_of(st.none(), st.sampled_from(kind_names()), st.text(max_size=8))


@given(
    st.lists(st.one_of(HEXISH, st.text(max_size=40), st.binary(max_size=270).map(bytes.hex)), max_size=4), ANY_KIND,
    st.sampled_from([None, "little", "big"]), st.sampled_from([None, True, False]),
    st.lists(st.one_of(HEXISH, st.just(OFFER), st.text(max_size=10)), max_size=2),
)
@settings(max_examples=500, deadline=None)
def test_any_text_gives_an_answer_or_one_line(
    texts: list[str], kind: str | None, order: str | None, crc: bool | None, offer: list[str]
) -> None:
    try:
        explanation = explain(texts, as_kind=kind, byte_order=order, crc=crc, offer=offer)
    except InputError as error:
        assert error.one_line().isprintable()
        return
    assert explanation.readings
    text = explanation_text(explanation)
    assert all(line.isprintable() for line in text.split("\n"))
    json.dumps(explanation_json(explanation))


def run(*arguments: str) -> tuple[int, str, str]:
    """Exit status, standard output and standard error of the command."""
    done = CliRunner().invoke(main, ["explain", *arguments])
    return done.exit_code, done.stdout, done.stderr


def test_the_command_says_what_the_first_log_began_with() -> None:
    """Header 0x1161 of the public log `real_log_1.csv`, which names it Source_Capabilities with one object."""
    status, out, errors = run("0x1161", "--as", "header")
    assert (status, errors) == (0, "")
    assert out.splitlines()[0] == "Message header (SOP)  0x1161  Source_Capabilities, 1 object, message ID 0"


def test_the_command_as_json() -> None:
    status, out, _ = run("42022628", "--as", "request", "--offer", OFFER, "--json")
    assert status == 0
    shaped = json.loads(out)
    assert shaped["objects"][0]["voltage_mv"] == 5500
    assert shaped["readings"][0]["parts"][0]["fields"][0]["bits"] == "31:28"
    again = json.loads(run("42022628", "--as", "request", *(f"--offer={word}" for word in OFFER.split()), "--json")[1])
    assert again == shaped


@pytest.mark.parametrize("arguments", [
    (), ("-",), ("volts",), ("--jsn", "12"), ("1042", "--crc", "maybe"), ("1042", "--byte-order", "middle"),
    ("1042", "--as", "pps"), ("1042", "--offer", "x"), ("\udc80",),
])
def test_the_command_complains_in_one_line(arguments: tuple[str, ...]) -> None:
    status, out, errors = run(*arguments)
    assert (status, out) == (2, "")
    assert errors.startswith("pdcheck: ") and errors.count("\n") == 1


def test_the_help_lists_every_kind() -> None:
    _, out, _ = run("--help")
    assert set(kind_names()) <= set(out.split())


@pytest.mark.parametrize("texts", [
    [OFFER], ["0x53A1", OFFER], ["0xFF00A041", "0x1C001234", "0", "8", "0x000A2443"], ["0x1042"], ["0xFF008001"],
    ["A153" + "2C91012A" * 5], ["01020304" * 60],
])
def test_a_line_fits_the_terminal(texts: list[str]) -> None:
    explanation = explain(texts)
    for width in (80, 100):
        assert max(len(line) for line in explanation_text(explanation, width=width).splitlines()) <= width
    assert explanation_text(explanation, width=1)


def test_an_underscore_will_do() -> None:
    assert explain(["2A01912C"], as_kind="Source_PDO").readings[0].kind == "source-pdo"
