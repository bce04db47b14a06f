"""Objects as a scenario writes them, against words packed by plain shifts from the specification's tables."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pdcheck.messages.registry import FAMILIES, family
from pdcheck.synth.objects import any_word, hex_bytes, offer_word, request_word
from pdcheck.synth.words import Complaint
from tests.reference import words

SUPPLIES = [
    ("5V 3A", words.fixed(5000, 3000), "fixed"),
    ("9V 2.25A", words.fixed(9000, 2250), "fixed"),
    ("fixed 15000mV 900mA", words.fixed(15000, 900), "fixed"),
    ("5V 3A dual_role_power unconstrained_power", words.fixed(5000, 3000, flags=words.DUAL_ROLE | words.UNCONSTRAINED),
     "fixed"),
    ("5V 3A peak_current=2", words.fixed(5000, 3000, peak=2), "fixed"),
    ("battery 9V-12V 27W", words.battery(9000, 12000, 27000), "battery"),
    ("variable 7-11V 2A", words.variable(7000, 11000, 2000), "variable"),
    ("pps 3.3V-11V 3A", words.pps(3300, 11000, 3000), "spr_pps"),
    ("pps 3.3-21V 2.25A power_limited", words.pps(3300, 21000, 2250, limited=1), "spr_pps"),
    ("avs 3A 2.25A", words.spr_avs(3000, 2250), "spr_avs"),
    ("epr_avs 15V-28V 140W", words.epr_avs(15000, 28000, 140), "epr_avs"),
    ("0x0001912C", 0x0001912C, ""),
]


@pytest.mark.parametrize(("text", "word", "kind"), SUPPLIES, ids=[text for text, _, _ in SUPPLIES])
def test_supplies(text: str, word: int, kind: str) -> None:
    assert offer_word(text, "source") == (word, kind)


def test_sink_side_has_its_own_flags() -> None:
    assert offer_word("5V 1A higher_capability", "sink")[0] == words.fixed(5000, 1000, flags=words.HIGHER_CAPABILITY)
    with pytest.raises(Complaint, match="higher_capability"):
        offer_word("5V 1A higher_capability", "source")


OFFERED = ("fixed", "fixed", "spr_pps", "battery", "spr_avs", "variable")
REQUESTS = [
    ("object 2 2A", words.request_fixed(2, 2000, 2000)),
    ("object 2 at 2A max 2.25A", words.request_fixed(2, 2000, 2250)),
    ("object 1 1.5A capability_mismatch", words.request_fixed(1, 1500, 1500, flags=words.MISMATCH)),
    ("object 6 1A", words.request_fixed(6, 1000, 1000)),
    ("object 3 8.46V 2.5A", words.request_pps(3, 8460, 2500)),
    ("object 4 18W max 20W", words.request_battery(4, 18000, 20000)),
    ("object 5 12V 2A", words.request_avs(5, 12000, 2000)),
    ("object 9 1A", words.request_fixed(9, 1000, 1000)),
    ("object 9 9V 1A", words.request_pps(9, 9000, 1000)),
    ("0x23032096", 0x23032096),
]


@pytest.mark.parametrize(("text", "word"), REQUESTS, ids=[text for text, _ in REQUESTS])
def test_requests(text: str, word: int) -> None:
    assert request_word(text, OFFERED) == word


@pytest.mark.parametrize(
    "text", ["object 3 2A", "object 2 9V 2A", "object 2", "2A", "object 2 1A 2A 3A", "object x 2A"]
)
def test_requests_that_do_not_fit_the_offer(text: str) -> None:
    with pytest.raises(Complaint):
        request_word(text, OFFERED)


def test_any_object_of_the_report() -> None:
    question = any_word('vdm_header svid=0xFF00 version="2.0" command_type="REQ" command=1')
    assert question == words.vdm_header(0xFF00, 1, 0, version=1)
    answer = any_word(
        'passive_cable plug_type="USB Type-C" cable_latency="below 10 ns (about 1 m)" '
        'vbus_current_handling_capability="5 A" usb_highest_speed="USB4 Gen3" vdo_version=0'
    )
    assert answer == 2 << 18 | 1 << 13 | 2 << 5 | 3


@settings(deadline=None)
@given(st.integers(1, 429).map(lambda steps: 50 * steps), st.integers(0, 1023).map(lambda steps: 10 * steps))
def test_every_fixed_supply(mv: int, ma: int) -> None:
    assert offer_word(f"{mv}mV {ma}mA", "source")[0] == words.fixed(mv, ma)


@pytest.mark.parametrize(
    "text",
    ["", "5V", "5V 3", "5 3A", "5.01V 3A", "5V 3.0001A", "60V 3A", "pps 3V 3A", "pps 3.3V-11V", "shiny 5V 3A",
     "5V 3A nonsense", "5V 3A peak_current=9", '5V 3A peak_current="high', "0x123456789", "0x1 0x2", "-5V 3A"],
)  # fmt: skip
def test_objects_that_are_none(text: str) -> None:
    with pytest.raises(Complaint):
        offer_word(text, "source")


def test_hex_bytes() -> None:
    assert hex_bytes("61 11 2c") == b"\x61\x11\x2c"
    with pytest.raises(Complaint):
        hex_bytes("61 1")


KINDS = sorted({layout.kind for name in FAMILIES for layout in family(name).values()})
FIELDS = sorted({field for name in FAMILIES for layout in family(name).values() for field in layout.names})
values = st.integers(0, 0xFFFFFFFF).map(str) | st.text(max_size=6).map(lambda text: '"' + text + '"')
with_value = st.builds("{}={}".format, st.sampled_from(FIELDS), values)
given_fields = st.lists(st.sampled_from(FIELDS) | with_value, max_size=3)


@settings(deadline=None, max_examples=300)
@given(st.sampled_from(KINDS), given_fields)
def test_any_field_of_any_object_is_built_or_refused(kind: str, fields: list[str]) -> None:
    try:
        assert 0 <= any_word(" ".join([kind, *fields])) <= 0xFFFFFFFF
    except Complaint as complaint:
        assert complaint.remedy
