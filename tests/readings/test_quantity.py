"""What is typed for a reading: every usual spelling, and one clear line for everything else."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdcheck.bench.quantity import Kind, parse, words
from pdcheck.bench.typed import readings_of, value_of
from pdcheck.errors import InputError

V, OHM, MA = Kind.VOLTS, Kind.OHMS, Kind.MILLIAMPS


@pytest.mark.parametrize(("text", "kind", "value"), [
    ("0.41", V, 0.41), ("0,41", V, 0.41), (".41", V, 0.41), ("410 mV", V, 0.41), ("410mv", V, 0.41), ("410m", V, 0.41),
    ("5V", V, 5), ("5 volts", V, 5), ("3V3", V, 3.3), ("5.", V, 5), ("+5.02 V DC", V, 5.02), ("\u22120.02", V, -0.02),
    ("1,234 V", V, 1.234), ("20 V", V, 20), ("0\u00a0V", V, 0),
    ("4.7k", OHM, 4700), ("5k1", OHM, 5100), ("5K1", OHM, 5100), ("5,1 kOhm", OHM, 5100), ("5.1 kΩ", OHM, 5100),
    ("4R7", OHM, 4.7), ("100R", OHM, 100), ("1M", OHM, 1e6), ("1M2", OHM, 1.2e6), ("5100", OHM, 5100), ("0", OHM, 0),
    ("5.1e3", OHM, 5100), ("0.3 ohm", OHM, 0.3), ("10 Mohm", OHM, 10e6),
    ("30 mA", MA, 30), ("30mA", MA, 30), ("30", MA, 30), ("1.2 A", MA, 1200), ("0,5A", MA, 500), ("0", MA, 0),
    ("500uA", MA, 0.5), ("500 µA", MA, 0.5), ("2 amps", MA, 2000), ("-30mA", MA, -30),
])
def test_usual_spellings(text: str, kind: Kind, value: float) -> None:
    assert parse(text, kind) == pytest.approx(value, rel=1e-12, abs=0)


@pytest.mark.parametrize("text", ["OL", "ol", "O.L", "0L", "0.L", "open", "Open", "overload", "inf", "∞", " OL "])
def test_open(text: str) -> None:
    assert math.isinf(parse(text, OHM))


@pytest.mark.parametrize(("text", "kind"), [
    ("", V), ("abc", V), ("1.2.3", V), ("5k1", V), ("5 kV", V), ("5 ohm", V), ("OL", V), ("nan", V), ("--5", V),
    ("0x10", V), ("٣", V), ("1 2", V), ("5V V", V), ("61", V), ("1e99", V),
    ("-5", OHM), ("5 m", OHM), ("5 mohm", OHM), ("1,200", OHM), ("5 V", OHM), ("k", OHM), ("1e12", OHM), ("5kk", OHM),
    ("0.5", MA), ("2", MA), ("5 V", MA), ("OL", MA), ("1,200 mA", MA), ("9" * 60, MA), ("60 A", MA),
])
def test_what_cannot_be_used_is_refused_with_a_remedy(text: str, kind: Kind) -> None:
    with pytest.raises(InputError) as caught:
        parse(text, kind)
    line = caught.value.one_line()
    assert caught.value.remedy and "\n" not in line and len(line) < 200


def test_a_tables_edge_stays_an_edge() -> None:
    assert parse("1160 mV", V) == 1.16
    assert parse("4.59k", OHM) == 4590
    assert parse("67.2k", OHM) == 67200


@given(st.text(max_size=60), st.sampled_from(Kind))
def test_any_text_is_a_reading_or_refused(text: str, kind: Kind) -> None:
    try:
        value = parse(text, kind)
    except InputError as error:
        assert "\n" not in error.one_line()
    else:
        assert not math.isnan(value)
        assert kind is OHM or math.isfinite(value)


@given(st.text(max_size=60), st.sampled_from(
    ["side", "partner", "advertises", "contract", "accuracy", "meter_ohms", "cc1", "ohm_vbus", "current"],
))
def test_any_text_for_any_field(text: str, name: str) -> None:
    try:
        readings_of({name: text})
    except InputError as error:
        assert error.one_line().startswith("--" + name.replace("_", "-"))


@given(st.floats(min_value=0, max_value=60).map(lambda v: round(v, 3)))
def test_volts_come_back_from_their_decimal_text(volts: float) -> None:
    for text in (f"{volts:.3f}", f"{volts:.3f}".replace(".", ","), f"{volts * 1000:.0f} mV"):
        assert parse(text, V) == volts


@given(st.floats(min_value=0, max_value=1e8))
def test_words_say_the_value_to_three_digits(ohms: float) -> None:
    assert parse(words(ohms, OHM), OHM) == pytest.approx(ohms, rel=6e-3, abs=0.051)


@pytest.mark.parametrize(("name", "text", "shown"), [
    ("side", "Device", "device"), ("side", "ca", "cable"), ("partner", "legacy charger", "legacy-charger"),
    ("advertises", "3A", "3.0 A"), ("advertises", "1,5 A", "1.5 A"), ("advertises", "Default", "Default USB power"),
])
def test_choices_are_taken_as_people_write_them(name: str, text: str, shown: str) -> None:
    assert str(value_of(name, text)) == shown


@pytest.mark.parametrize(("text", "millivolts", "milliamps"), [
    ("9V,1.8A", 9000, 1800), ("9V 1.8A", 9000, 1800), ("9 V / 1.8 A", 9000, 1800), ("9V", 9000, None),
    ("9,1.8A", 9000, 1800), ("9.0,1.8A", 9000, 1800), ("9,5V;1,8A", 9500, 1800), ("20V 2250mA", 20000, 2250),
])
def test_contracts(text: str, millivolts: int, milliamps: int | None) -> None:
    contract = readings_of({"contract": text}).contract
    assert contract is not None
    assert (contract.voltage_mv, contract.current_ma) == (millivolts, milliamps)


@pytest.mark.parametrize("text", ["9V,9V", "1.8A", "0V", "nine", "9V,1.8A,2A", "100V"])
def test_what_is_no_contract(text: str) -> None:
    with pytest.raises(InputError):
        readings_of({"contract": text})
