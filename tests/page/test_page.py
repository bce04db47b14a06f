"""The page as text: what it holds, in which order, that it asks for nothing and lets nothing through."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
import time
import tomllib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from pdcheck import check, decode
from pdcheck.capture.model import AnalogLine, Capture, DigitalLine, Line, Role
from pdcheck.report import page as page_package
from pdcheck.report.as_text import report_text
from pdcheck.report.page import comparison_html, page_html
from pdcheck.report.page.talk import ROWS_SHOWN, Gap, Kind, shown, talk_of
from pdcheck.triage import Block, Evidence, Source, triage
from pdcheck.verdict import Outcome
from tests.line.analog import Scope, scope_line
from tests.line.waves import capture as capture_of
from tests.page.reports import DEMOS, HOSTILE, demo, hostile, keep_alive, packets_of
from tests.reference.second_encoder import Packet as ScopePacket

GOOD, BAD = "scanner_charges_at_9v.csv", "tablet_never_asks.csv"
#: Elements of HTML that end themselves.
_VOID = {"meta", "link", "br", "hr", "img", "input"}


class Markup(HTMLParser):
    """Elements, attributes, text and nesting, by the standard library's parser."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.open: list[str] = []
        self.island = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in _VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open[-1] == tag, (tag, self.open[-3:])
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script":
            if data.startswith("{"):
                self.island += data
            return
        if not self.open or self.open[-1] != "style":
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", DEMOS)
def test_every_page_is_whole_small_and_says_what_the_text_says(name: str) -> None:
    report = demo(name)
    page = page_html(report, checksum="ab" * 32, file_name=name)
    markup = Markup(page)
    assert markup.open == []
    assert len(page.encode()) < 1_000_000
    verdict = report.verdict
    for words in (verdict.summary, *verdict.next, *(f.why for f in verdict.findings), "ab" * 32, name):
        assert flat(words) in markup.text
    idents = [value for _, attributes in markup.elements if (value := attributes.get("id")) is not None]
    assert len(idents) == len(set(idents))
    for _, attributes in markup.elements:
        href = attributes.get("href")
        assert href is None or href == "data:," or (href.startswith("#") and href[1:] in idents), href


def test_the_same_capture_gives_the_same_page() -> None:
    assert page_html(demo(BAD)) == page_html(demo(BAD))


def test_the_first_section_holds_what_the_head_of_the_text_report_holds() -> None:
    page = Markup(page_html(demo(BAD))).text
    head = flat(report_text(demo(BAD), width=100).split("\n\n")[0])
    first = head.split(" File: ")[0]
    for sentence in re.split(r"(?<=\.) ", first):
        assert sentence.replace("(sink).", "(sink)") in page.replace("(sink) .", "(sink)")
    parts = ("How far it came", "Time runs down", "Waits against", "breaks charging", "SHA-256")
    order = [page.index(word) for word in parts]
    assert order == sorted(order)


def test_nothing_is_asked_for_from_outside_and_the_policy_names_what_runs() -> None:
    page = page_html(demo(GOOD))
    markup = Markup(page)
    policy = next(a["content"] for t, a in markup.elements if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None and policy.startswith("default-src 'none'")
    assert "unsafe" not in policy and "http" not in policy
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    script = re.search(r"<script>(.*?)</script>", page, re.DOTALL)
    assert style is not None and script is not None
    for found in (style, script):
        digest = base64.b64encode(hashlib.sha256(found.group(1).encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert "url(" not in style.group(1) and "@import" not in style.group(1)
    for tag, attributes in markup.elements:
        assert "style" not in attributes and not any(name.startswith("on") for name in attributes), tag
        assert "src" not in attributes


def test_hostile_words_stay_words() -> None:
    report = hostile()
    for page in (
        page_html(report, checksum=HOSTILE, file_name=HOSTILE, shop=HOSTILE),
        page_html(report, checksum=HOSTILE, shop=HOSTILE, audience="customer", done=HOSTILE),
        comparison_html(report, report, names=(HOSTILE, HOSTILE), summary=HOSTILE, parting_s=(0.29, 0.29)),
    ):
        markup = Markup(page)
        assert markup.open == []
        tags = [tag for tag, _ in markup.elements]
        assert "img" not in tags
        assert tags.count("script") == (2 if "id=\"data\"" in page else 0)
        assert tags.count("style") == 1
        assert "<script>alert(1)</script>" in markup.text
        assert "49" not in markup.text.split("&lt;")[1][:12]
        for character in "\u2028\u2029\u202e\x00\x07\x1b":
            assert character not in page
        if markup.island:
            assert isinstance(json.loads(markup.island), dict)
            assert "<" not in markup.island and "alert(1)" in markup.island


def test_blocks_are_shown_with_what_was_seen_of_them() -> None:
    text = Markup(page_html(demo(BAD))).text
    assert "Which parts are cleared" in text
    assert "negotiating chip, the chip's supply and bus suspect" in text
    assert "To tell apart what is left" in text


def test_evidence_on_a_block_stays_text() -> None:
    seen = Evidence(Source.METER, "<b>0.41 V", clears=frozenset({Block.PORT}))
    page = page_html(replace(demo(BAD), blocks=triage((seen,))))
    assert "<b>0.41 V" not in page and "&lt;b&gt;0.41 V" in page


def test_no_blocks_are_shown_where_nothing_was_seen_of_any() -> None:
    assert "Which parts are cleared" not in page_html(replace(demo(BAD), blocks=triage(())))


@pytest.mark.parametrize("name", DEMOS)
def test_a_break_is_marked_only_where_the_verdict_is_fail(name: str) -> None:
    report = demo(name)
    rows = talk_of(report).rows
    main = [row for row in rows if row.kind is Kind.BREAK and row.main]
    assert len(main) == (1 if report.verdict.outcome is Outcome.FAIL else 0)
    page = page_html(report)
    stopped = report.verdict.outcome is Outcome.FAIL and report.verdict.stopped_at is not None
    assert ("stopped here" in page) == stopped


def test_acknowledgements_and_retries_are_folded_in() -> None:
    rows = talk_of(demo("scanner_lost_acknowledgement.csv")).rows
    assert "GoodCRC" not in [row.name for row in rows]
    repeated = [row for row in rows if row.tries > 1]
    assert [(row.name, row.tries, row.heard) for row in repeated] == [
        ("Source_Capabilities", 2, "yes"), ("PS_RDY", 2, "yes"),
    ]
    assert "sent twice" in Markup(page_html(demo("scanner_lost_acknowledgement.csv"))).text


def test_each_message_opens_to_its_fields() -> None:
    text = Markup(page_html(demo(GOOD))).text
    for words in ("operating current 1800 mA", "voltage 9000 mV", "0x", "31:30"):
        assert words in text


def test_a_finding_leads_to_its_row() -> None:
    page = page_html(demo(BAD))
    target = re.search(r'<a href="#(row-\d+)">in the conversation</a>', page)
    assert target is not None
    row = re.search(rf'<li class="row break main" id="{target.group(1)}">', page)
    assert row is not None


def test_two_conversations_side_by_side() -> None:
    good, bad = demo("scanner_charges_at_9v.csv"), demo("charger_never_ready.csv")
    page = comparison_html(good, bad, names=("good unit", "bad unit"), summary="They part.", parting_s=(0.379, 0.5))
    markup = Markup(page)
    assert markup.open == []
    assert markup.text.count("Here the two part.") == 2
    assert "They part." in markup.text and "good unit" in markup.text
    assert "<script" not in page


def test_ten_minutes_are_written_fast_and_small() -> None:
    """The budget is 2 s on a bench computer; what is counted here is work, not time: bytes, and rows in the text."""
    report = keep_alive()
    assert len(report.reading.packets) == 50_000
    began = time.process_time()
    page = page_html(report)
    print(f"page of 50 000 packets: {len(page) / 1e6:.2f} MB, {time.process_time() - began:.2f} s of processor")
    assert len(page.encode()) < 4_000_000
    talk = talk_of(report)
    kept = shown(report, talk)
    rows = [one for one in kept if not isinstance(one, Gap)]
    assert len(rows) <= ROWS_SHOWN < len(talk.rows)
    assert len(rows) + sum(one.rows for one in kept if isinstance(one, Gap)) == len(talk.rows)
    island = json.loads(Markup(page).island)
    assert len(island["start"]) == 50_000 and len(island["rows"]["t"]) == len(talk.rows)
    text = html.unescape(page)
    assert "Source_Capabilities" in text and "not shown here" in text


def test_a_line_full_of_noise_does_not_fill_the_page() -> None:
    """A burst that goes on for as long as the capture is marked, and not drawn edge by edge."""
    noise = np.cumsum(np.random.default_rng(3).uniform(1.2e-6, 9e-6, 120_000))
    line = DigitalLine("CC1", Role.CC1, False, noise)
    report = check(decode(Capture("noise.csv", "csv-edges", 0.0, float(noise[-1]) + 0.1, None, (line,))))
    page = page_html(report)
    assert len(page.encode()) < 300_000
    assert "could not be read" in page or report.reading.quality.stray_edges > 1000


def test_volts_on_cc_are_drawn_as_volts() -> None:
    packets = [
        ScopePacket(start_s, "source", payload) for start_s, payload in packets_of(8, 3.0)
    ]
    packets = [replace(one, start_s=one.start_s - 0.299) for one in packets]
    report = check(decode(capture_of(scope_line(packets, Scope(0.4, 5e6)), period_s=2e-7)))
    assert report.verdict.outcome is Outcome.PASS
    page = page_html(report)
    island = json.loads(Markup(page).island)
    assert island["lines"][0]["unit"] == "V"
    steps, values = island["volts"]["0"]
    assert len(steps) == len(values) > 1000
    # The driven high level of the made-up scope is 1.1 V, with 30 mV of noise.
    assert 1000 < np.percentile(values, 90) < 1200
    assert len(page.encode()) < 1_000_000


def test_what_the_page_is_made_of_is_shipped() -> None:
    """Every template, style and script is named by the package data, so that an installed pdcheck has it."""
    folder = Path(page_package.__file__).parent
    with (Path(__file__).parents[2] / "pyproject.toml").open("rb") as file:
        patterns = tomllib.load(file)["tool"]["setuptools"]["package-data"]["pdcheck.report.page"]
    named = {path for pattern in patterns for path in folder.glob(pattern)}
    there = {path for path in folder.rglob("*") if path.is_file() and path.suffix not in (".py", ".pyc")}
    assert named == there and len(there) >= 9


def test_what_was_made_and_not_heard_is_not_called_unmade() -> None:
    """The Request was sent; what the charger owed is its acknowledgement."""
    breaks = [row for row in talk_of(demo("charger_never_hears_request.csv")).rows if row.kind is Kind.BREAK]
    assert breaks and all(row.name == "Missing here: the acknowledgement of Request (GoodCRC)" for row in breaks)
    assert all("the charger side (source)" in row.gist for row in breaks)


@pytest.mark.parametrize("duration_s", [0.0, 1e-9, 3600.0])
@pytest.mark.parametrize("lines", [
    (), (DigitalLine("CC1", Role.CC1, True, np.zeros(0)),),
    (AnalogLine("VBUS", Role.VBUS, "V", np.zeros(0), np.zeros(0)),),
    (AnalogLine("CC1", Role.CC1, "V", np.array([0.0]), np.array([-0.2])),),
])
def test_a_capture_of_nothing_has_a_page(lines: tuple[Line, ...], duration_s: float) -> None:
    report = check(decode(Capture("empty.csv", "csv-edges", 0.0, duration_s, None, lines)))
    markup = Markup(page_html(report))
    assert markup.open == [] and "INCONCLUSIVE" in markup.text
    assert json.loads(markup.island)["duration"] > 0
