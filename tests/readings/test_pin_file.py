"""Files of contact readings of every kind: what spreadsheets and editors make of them, and what is refused."""

from __future__ import annotations

import csv
import io
import math
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pdcheck.bench.pin_file import PinReadings, read_pins, template
from pdcheck.errors import InputError, PdcheckError
from pdcheck.standard.contacts import ALL


def values(found: PinReadings) -> dict[str, tuple[float | None, float | None]]:
    return {r.contact.name: (r.diode_v, r.ohms) for r in found.readings}


def read(text: str | bytes, path: str = "port.csv") -> dict[str, tuple[float | None, float | None]]:
    return values(read_pins(path, text if isinstance(text, bytes) else text.encode()))


WANTED = {"A1": (0.001, None), "A5": (0.611, 5100.0), "B5": (math.inf, None)}


@pytest.mark.parametrize("text", [
    "contact,diode_v,ohms\nA1,0.001,\nA5,0.611,5.1k\nB5,OL,\n",
    "contact;diode_v;ohms\nA1;0,001;\nA5;0,611;5,1k\nB5;OL;\n",
    "contact\tdiode_v\tohms\nA1\t0.001\t\nA5\t0.611\t5k1\nB5\tOL\t\n",
    'contact,diode_v,ohms\nA1,"0,001",\n"A5","0,611","5,1 kohm"\nB5,ol\n',
    "# a comment, with commas\n\ncontact,diode_v,ohms,note\n# more\nA1,0.001,,shell\nA5,0.611,5100,\n\nB5,OL,,\n",
    "\ufeffcontact,diode_v,ohms\r\nA1,0.001,\r\nA5,0.611,5.1k\r\nB5,OL,\r\n",
    "Pin , Diode mV , Ohm\na1,1,\na05,611,5100\nb5,O.L,\n",
    "signal,contact,ohms,diode_v\nGND,A1,,1 mV\nCC1,A5,5.1k,611 mV\nCC2,B5,,OL\n",
    "contact,reading\nA1,0.001 V\nCC1,611mV\nCC2,OL\nB6,\n",
    "A1,0.001V\nA5,0.611 V\nB5,OL\n",
])
def test_csv_of_every_kind(text: str) -> None:
    wanted = dict(WANTED)
    if "5.1k" not in text and "5k1" not in text and "5,1" not in text and "5100" not in text:
        wanted["A5"] = (0.611, None)
    assert read(text) == wanted


@pytest.mark.parametrize("text", [
    '[diode_v]\nA1 = 0.001\nA5 = 0.611\nB5 = "OL"\n[ohms]\nA5 = 5100\n',
    '# comment\n[ohms]\nA5 = "5k1"\n\n[diode_mv]\na1 = 1\nA5 = "611"\nB5 = inf\n',
    'A1 = "0.001 V"\nA5 = "611 mV"\nB5 = "OL"\n[ohms]\nCC1 = "5,1k"\nB6 = ""\n',
])
def test_toml_of_every_kind(text: str) -> None:
    assert read(text, "port.toml") == WANTED
    assert read(text, "-") == WANTED, "known by its first line where the name does not tell"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_encodings(encoding: str) -> None:
    text = "# für den Prüfplatz\ncontact;diode_v;note\nA5;0,611;geprüft\n"
    assert read(text.encode(encoding)) == {"A5": (0.611, None)}


@pytest.mark.parametrize(("text", "line", "words"), [
    ("contact,diode_v\nA5,0.6\nA5,0.6\n", 3, "A5 stands twice (first in line 2)"),
    ("contact,diode_v\nA5,0.6\nCC1,0.6\n", 3, "A5 stands twice"),
    ("contact,diode_v\nA13,0.6\n", 2, "'A13' is no contact"),
    ("contact,diode_v\nC5,0.6\n", 2, "'C5' is no contact"),
    ("contact,diode_v\nVBUS,0.6\n", 2, "one of four contacts"),
    ("contact,diode_v\nA5,abc\n", 2, "'abc' is no reading"),
    ("contact,diode_v\nA5,611\n", 2, "write it as 0.512 or 512 mV"),
    ("contact,diode_v\nA5,-0.6\n", 2, "below zero"),
    ("contact,diode_v\nA5,5 V\n", 2, "more than a diode test shows"),
    ("contact,diode_v\nA5,4.7k\n", 2, "is no reading in V"),
    ("contact,ohms\nA5,0.6 V\n", 2, "is no reading in ohm"),
    ("contact,ohms\nA5,\"1,200\"\n", 2, "two numbers"),
    ("contact,reading\nA5,0.6\n", 2, "says no unit"),
    ("contact,diode_v\nA5,0,611\n", 2, "has 3 cells where 2 are expected"),
    ("contact,diode_v,ohms\nA5,0,611\n", 2, "decimal comma"),
    ("contact,diode_v,ohms,signal,meaning\nA5,0,611,,CC1,x\n", 2, "has 6 cells"),
    ("contact,diode_v\n,0.6\n", 2, "names no contact"),
    ("contact,note\nA5,0.6\n", 1, "has no column of readings"),
    ("nonsense\n", 1, "is no contact"),
    ("contact,diode_v\nA4,0.48\nA5,0.", 3, "ends in a decimal mark"),
    ("contact,diode_v,ohms\nA4,0.48,\nA5,0.6", 3, "may be cut off"),
    ("contact,diode_v\nA4,0.48\nA5,0", 3, "may be cut off"),
    ("[diode_v]\nA4 = 0.48\nA5 = 0", 3, "may be cut off"),
])
def test_csv_that_is_refused_with_its_line(text: str, line: int, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text)
    assert caught.value.line == line
    assert words in caught.value.one_line()
    assert caught.value.remedy


@pytest.mark.parametrize(("text", "words"), [
    ("[diode_v]\nA5 = 0.6\nA5 = 0.6\n", "is no TOML"), ("[diode_v\nA5 = 1\n", "is no TOML"),
    ("[diode_v]\nA5 = true\n", "has no reading but bool"), ("[diode_v]\nA5 = [1]\n", "has no reading but list"),
    ("[diode_v]\nA5 = nan\n", "is no number"), ("[colours]\nA5 = 1\n", "table [colours] is not known"),
    ("A5 = 0.6\n", "says no unit"), ("[ohms]\nX1 = 5\n", "is no contact"), ("", "holds no reading"),
    ("a=" + "[" * 5000, "is no TOML"),
])
def test_toml_that_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        read(text, "port.toml")
    assert words in caught.value.one_line()
    assert "\n" not in caught.value.one_line()


@pytest.mark.parametrize("data", [
    b"", b"\0" * 40, b"\xff\xfe\x41", b"PK\x03\x04\0\0", b"x" * (1 << 20) + b"xx", b"\n\n#\n",
])
def test_what_is_no_file_of_readings(data: bytes) -> None:
    with pytest.raises(InputError):
        read(data)


@given(st.binary(max_size=400), st.sampled_from(["port.csv", "port.toml", "-"]))
def test_any_bytes(data: bytes, path: str) -> None:
    try:
        found = read_pins(path, data)
    except PdcheckError as error:
        assert "\n" not in error.one_line()
    else:
        assert found.readings


cells = st.text(alphabet="AB0159.,;OLkmV \"'\t#[]=\n", max_size=60)


@given(st.lists(cells, max_size=8).map("\n".join), st.sampled_from(["contact,diode_v,ohms\n", "contact;reading\n", ""]))
def test_almost_csv(text: str, head: str) -> None:
    try:
        found = read_pins("port.csv", (head + text).encode())
    except InputError:
        return
    for reading in found.readings:
        assert reading.diode_v is None or reading.diode_v >= 0
        assert reading.ohms is None or reading.ohms >= 0


def test_the_csv_template_is_filled_in_by_the_standard_library() -> None:
    text = template("csv")
    body = [line for line in text.splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(body))
    assert [row["contact"] for row in rows] == [c.name for c in ALL]
    assert [row["signal"] for row in rows] == [c.signal for c in ALL]
    for row in rows:
        row["diode_v"] = "0.5"
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0].keys())
    writer.writeheader()
    writer.writerows(rows)
    assert read(out.getvalue()) == {c.name: (0.5, None) for c in ALL}


def test_the_toml_template_is_toml() -> None:
    text = template("toml")
    table = tomllib.loads(text)
    assert {name: list(part) for name, part in table.items()} == {
        "diode_v": [c.name for c in ALL], "ohms": [c.name for c in ALL],
    }
    assert read(text.replace('""', '"OL"', 1), "x.toml") == {"A1": (math.inf, None)}


def test_a_template_cut_anywhere_is_no_other_reading() -> None:
    """Filled in with 0.61 V throughout and cut after any byte: what is still read is 0.61 V."""
    text = template("csv").replace(",,,", ",0.61,,")
    for length in range(len(text)):
        try:
            found = read(text[:length])
        except InputError:
            continue
        assert set(found.values()) == {(0.61, None)}


@pytest.mark.parametrize("form", ["csv", "toml"])
def test_an_empty_template_holds_no_reading(form: str) -> None:
    with pytest.raises(InputError, match="holds no reading"):
        read(template(form), f"port.{form}")


def test_there_is_no_other_template() -> None:
    with pytest.raises(InputError, match="say csv or toml"):
        template("xml")
