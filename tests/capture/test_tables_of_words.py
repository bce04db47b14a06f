"""Tables that are no captures and lie beside them: a list of files, readings of contacts."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pdcheck.capture import open_capture
from pdcheck.cli import main
from pdcheck.errors import CaptureError

DEMO = Path(__file__).parents[2] / "captures" / "demo"
TICKETS = (
    "ticket,device,what the customer says\n"
    "1183,deck tablet 2nd series,charges at pier 2 only\n"
    '1184,handheld 14,"dead since the storm, 30 mA on the ammeter"\n'
)


def test_a_list_of_files_is_no_capture() -> None:
    with pytest.raises(CaptureError) as caught:
        open_capture(str(DEMO / "index.csv"))
    line = caught.value.one_line()
    assert "a table of words, no capture" in line
    assert "the CSV or VCD file that the analyzer exported" in line
    assert "export times" not in line


def test_a_list_of_tickets_is_no_capture(tmp_path: Path) -> None:
    file = tmp_path / "tickets.csv"
    file.write_text(TICKETS)
    with pytest.raises(CaptureError, match="a table of words, no capture"):
        open_capture(str(file))


def test_rows_of_numbers_in_a_form_that_is_not_known_still_say_so(tmp_path: Path) -> None:
    """Half after noon, o'clock: what was to be a time is shown, with what to change."""
    file = tmp_path / "odd.csv"
    file.write_text("Time,CC1\n" + "".join(f"{n} o'clock 12#34#{n:02d},{n % 2}\n" for n in range(20)))
    with pytest.raises(CaptureError, match="export times as plain numbers"):
        open_capture(str(file))


@pytest.mark.parametrize("text", [
    "contact,diode_v,ohms\nA5,0.612,\nB5,OL,\nA4,0.43,\n", "A5;0,61\nB5;0,62\nA4;0,43\n",
    "# of the second tablet\ncontact;ohms\nA5;5.1k\nB5;5k1\n",
])
def test_readings_of_contacts_are_sent_to_pins(tmp_path: Path, text: str) -> None:
    file = tmp_path / "port.csv"
    file.write_text(text)
    result = CliRunner().invoke(main, ["decode", str(file)])
    assert result.exit_code == 2
    assert result.stderr == f"pdcheck: {file}: holds readings of contacts, no capture; pdcheck pins judges them\n"
