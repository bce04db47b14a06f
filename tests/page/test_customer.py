"""The cover for the customer: everyday words, and no promise that the capture does not carry."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from pdcheck.capture.model import AnalogLine, Role
from pdcheck.report.model import Report
from pdcheck.report.page import page_html
from pdcheck.standard.message_types import ControlType, DataType, ExtendedType
from tests.page.reports import DEMOS, demo
from tests.page.test_page import Markup

#: Words of the trade that a customer has no use for.
JARGON = (
    "PD", "CC", "CC1", "CC2", "VBUS", "VCONN", "GoodCRC", "CRC", "sink", "source", "Rd", "Rp", "Ra", "SOP", "PDO",
    "RDO", "PPS", "AVS", "EPR", "SPR", "BMC", "PS_RDY", "Hard Reset", "Soft Reset", "negotiation", "contract",
    "handshake", "protocol", "packet", "message", "USB PD", "MessageID", "SVID", "VDM", "e-marker", "BIST", "DRP",
    "UFP", "DFP", "ohm",
)


def words_of(report: Report, **options: str | None) -> str:
    return Markup(page_html(report, audience="customer", **options)).text  # type: ignore[arg-type]


@pytest.mark.parametrize("name", DEMOS)
def test_no_word_of_the_protocol(name: str) -> None:
    text = words_of(demo(name), checksum="ab" * 32)
    for word in JARGON:
        assert not re.search(rf"(?<![A-Za-z]){re.escape(word)}s?(?![A-Za-z])", text, re.IGNORECASE), (word, text)
    for message in (*ControlType, *DataType, *ExtendedType):
        assert message.name not in text


def test_what_was_done_and_by_whom() -> None:
    text = words_of(demo("scanner_charges_at_9v.csv"), shop="Pier 3 workshop", done="Socket cleaned.\nTested twice.")
    for words in ("Pier 3 workshop", "What was done Socket cleaned. Tested twice.", "It charges now", "1.7 amps"):
        assert words in text


def test_without_a_shop_and_without_work_there_is_room_to_write() -> None:
    page = page_html(demo("scanner_charges_at_9v.csv"), audience="customer")
    assert "Workshop:" in page and "Room to write" in page


def test_charging_is_claimed_only_where_current_was_seen() -> None:
    no_current = demo("tablet_told_to_wait.csv")
    assert no_current.verdict.outcome.value == "pass"
    assert not any(line.role is Role.CURRENT for line in no_current.reading.capture.lines)
    assert "It charges" not in words_of(no_current)
    charging = demo("scanner_charges_at_9v.csv")
    lines = tuple(
        AnalogLine(line.name, line.role, "A", np.array([0.0]), np.array([0.03])) if line.role is Role.CURRENT else line
        for line in charging.reading.capture.lines
    )
    reading = replace(charging.reading, capture=replace(charging.reading.capture, lines=lines))
    weak = words_of(replace(charging, reading=reading))
    assert "It charges" not in weak and "0.03 amps" in weak


@pytest.mark.parametrize("name", DEMOS)
def test_no_failed_or_doubtful_test_is_called_charging(name: str) -> None:
    report = demo(name)
    text = words_of(report)
    if report.verdict.outcome.value != "pass":
        assert "charges now" not in text and "agree on power" not in text
    if report.verdict.outcome.value == "inconclusive":
        assert "points to" not in text


def test_the_number_of_the_report_comes_from_the_file() -> None:
    assert "Report abcdefabcdef" in words_of(demo("scanner_charges_at_9v.csv"), checksum="abcdef" * 10 + "0000")
