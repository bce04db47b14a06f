"""The page in a real browser: quiet, alone, reachable by every hand, printable, readable by everybody."""

from __future__ import annotations

from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from pdcheck.report.page import comparison_html, page_html
from tests.page.browser import Browser
from tests.page.reports import DEMOS, HOSTILE, demo, hostile, keep_alive
from tests.reference.second_encoder import packet_bits

BAD, GOOD, CABLE = "tablet_never_asks.csv", "scanner_charges_at_9v.csv", "tablet_marked_5a_cable.vcd"
AXE = files("axe_core_python").joinpath("axe.min.js")


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with every page that these tests open."""
    folder = Path(tmp_path_factory.mktemp("pages"))
    for name in DEMOS:
        report = demo(name)
        (folder / f"{name}.html").write_text(page_html(report, checksum="ab" * 32, file_name=name), encoding="utf-8")
    for name in (BAD, GOOD):
        cover = page_html(demo(name), audience="customer", shop="Pier 3 workshop", done="Socket cleaned.")
        (folder / f"{name}.customer.html").write_text(cover, encoding="utf-8")
    both = comparison_html(demo(GOOD), demo(BAD), names=("good unit", "bad unit"), parting_s=(0.29, 4.0118))
    (folder / "comparison.html").write_text(both, encoding="utf-8")
    (folder / "hostile.html").write_text(
        page_html(hostile(), checksum=HOSTILE, file_name=HOSTILE, shop=HOSTILE), encoding="utf-8"
    )
    return folder


@pytest.fixture(scope="session")
def ten_minutes(pages: Path) -> Path:
    path = pages / "ten_minutes.html"
    path.write_text(page_html(keep_alive()), encoding="utf-8")
    return path


def window(chromium: Browser) -> tuple[float, float]:
    """The stretch of time that the picture shows, after it has been drawn."""
    chromium.wait("!waiting && document.getElementById('scope').dataset.to")
    a, b = chromium.run("return [view.a, view.b]")
    return float(a), float(b)


def focus_scope(chromium: Browser) -> Any:
    scope = chromium.driver.find_element(By.ID, "scope")
    chromium.run("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'}); arguments[0].focus()", scope)
    return scope


def test_every_page_opens_quietly_and_asks_for_nothing(chromium: Browser, pages: Path) -> None:
    for page in sorted(pages.glob("*.html")):
        chromium.open(page)
        assert chromium.complaints() == [], page.name
        addresses = [url for url in chromium.requests() if not url.startswith("data:")]
        assert addresses == [page.as_uri()], page.name


def test_the_policy_is_in_force(chromium: Browser, pages: Path) -> None:
    """A script, a style or a picture that is added later is refused: the policy is not only words."""
    chromium.open(pages / f"{GOOD}.html")
    chromium.run(
        "const s = document.createElement('script'); s.textContent = 'window.got = 1'; document.body.append(s);"
        "const i = document.createElement('img'); i.src = 'file:///etc/hostname'; document.body.append(i);"
    )
    assert chromium.run("return window.got === undefined")
    chromium.wait("document.images[0].complete")
    assert chromium.run("return document.images[0].naturalWidth") == 0
    refused = [said for said in chromium.complaints() if "Content Security Policy" in said]
    assert len(refused) == 2


def test_hostile_words_do_nothing(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / "hostile.html")
    assert chromium.complaints() == []
    assert chromium.run("return document.images.length") == 0
    assert "<script>alert(1)</script>" in chromium.driver.title
    assert chromium.run("return document.scripts.length") == 2
    chromium.run("for (const d of document.querySelectorAll('details')) d.open = true; DO.whole(); step(1); say();")
    window(chromium)
    text = chromium.run("return document.body.innerText")
    assert "<script>alert(1)</script>" in text and "onerror=alert(2)" in text
    assert chromium.complaints() == []


@pytest.mark.parametrize("name", [BAD, CABLE, "scanner_later_chatter.vcd", "tablet_forgets_pps.csv"])
def test_the_bits_that_the_script_draws_are_the_wire_s(chromium: Browser, pages: Path, name: str) -> None:
    """Against the second encoder (tests/reference)."""
    chromium.open(pages / f"{name}.html")
    drawn = chromium.run("return data.kind.map((_, i) => { const b = bitsOf(i); return b && b.bits.slice(b.first) })")
    sent = demo(name).conversation.transmissions
    assert len(drawn) == len(sent) > 0
    for bits, one in zip(drawn, sent, strict=True):
        assert one.packet.sop is not None
        assert bits == "".join(map(str, packet_bits(one.packet.data, one.packet.sop.value)[64:]))


def test_wheel_and_keys_zoom_and_pan(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html")
    scope = focus_scope(chromium)
    scope.send_keys("0")
    assert window(chromium) == pytest.approx((0.0, demo(BAD).conversation.duration_s))
    scope.send_keys("+")
    a, b = window(chromium)
    assert b - a == pytest.approx(demo(BAD).conversation.duration_s / 2)
    scope.send_keys(Keys.ARROW_RIGHT)
    assert window(chromium)[0] == pytest.approx(a + 0.15 * (b - a))
    scope.send_keys(Keys.ARROW_LEFT)
    scope.send_keys("-")
    assert window(chromium) == pytest.approx((0.0, demo(BAD).conversation.duration_s))
    chromium.cdp("Input.dispatchMouseEvent", type="mouseWheel", deltaX=0, deltaY=-200, **middle(chromium))
    chromium.wait("view.b - view.a < 3")
    scope.send_keys("n")
    a, b = window(chromium)
    assert b - a < 3e-3
    before = chromium.run("return view.mark")
    scope.send_keys("n")
    assert chromium.run("return view.mark") > before
    scope.send_keys("p")
    assert chromium.run("return view.mark") == before


def middle(chromium: Browser) -> dict[str, float]:
    box = chromium.run("const r = scope.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]")
    return {"x": box[0], "y": box[1]}


def test_the_wheel_scrolls_the_page_until_the_picture_is_chosen(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html")
    focus_scope(chromium)
    chromium.run("scope.blur()")
    before, top = window(chromium), chromium.run("return scrollY")
    chromium.cdp("Input.dispatchMouseEvent", type="mouseWheel", deltaX=0, deltaY=120, **middle(chromium))
    chromium.wait(f"scrollY > {top}")
    assert window(chromium) == before


def test_dragging_and_pinching(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html", width=390)
    scope = focus_scope(chromium)
    scope.send_keys("0", "+", "+")
    a, b = window(chromium)
    ActionChains(chromium.driver).move_to_element(scope).click_and_hold().move_by_offset(-60, 0).release().perform()
    assert window(chromium)[0] > a
    at = middle(chromium)

    def touch(kind: str, *places: float) -> None:
        points = [{"x": x, "y": at["y"], "id": n} for n, x in enumerate(places)]
        chromium.cdp("Input.dispatchTouchEvent", type=kind, touchPoints=points)

    touch("touchStart", at["x"] - 20, at["x"] + 20)
    for reach in (40, 70, 100):
        touch("touchMove", at["x"] - reach, at["x"] + reach)
    touch("touchEnd")
    chromium.wait(f"view.b - view.a < {0.5 * (b - a)}")


def test_every_button_does_something(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html")
    for button in chromium.driver.find_elements(By.CSS_SELECTOR, ".tools button"):
        chromium.run("show(1.0, 2.0); arguments[0].click()", button)
        assert window(chromium) != (1.0, 2.0), button.text


def test_a_finding_leads_into_the_pictures(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html")
    chromium.driver.find_element(By.LINK_TEXT, "in the signal").click()
    moment = demo(BAD).verdict.findings[0].t_s
    assert moment is not None
    a, b = window(chromium)
    # The moment and the whole wait behind it, the reset that ended it included.
    assert a < moment < moment + 29e-3 < b < moment + 0.1
    assert chromium.run("return document.activeElement.id") == "scope"
    assert chromium.run("const r = scope.getBoundingClientRect(); return r.top >= 0 && r.top < innerHeight")
    chromium.driver.find_element(By.LINK_TEXT, "in the conversation").click()
    assert "Missing here: device asks" in chromium.run("return document.querySelector(':target').textContent")
    chromium.driver.find_element(By.CSS_SELECTOR, ".rows a.see").click()
    a, b = window(chromium)
    first = demo(BAD).conversation.transmissions[0].packet
    assert a < first.start_s < first.end_s < b < first.end_s + 1e-3


def test_a_message_opens_by_keyboard(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{GOOD}.html")
    summary = chromium.driver.find_element(By.CSS_SELECTOR, ".rows summary")
    summary.send_keys(Keys.ENTER)
    assert chromium.run("return document.querySelector('.rows details').open")
    assert "dual role power" in chromium.run("return document.querySelector('.rows details').innerText")


def test_the_tab_key_goes_down_the_page(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html")
    total = chromium.run(
        "return [...document.querySelectorAll('a[href], button, summary, [tabindex]')]"
        ".filter(e => e.checkVisibility()).length"
    )
    places, names = [], []
    body = ActionChains(chromium.driver)
    for _ in range(total):
        body.send_keys(Keys.TAB).perform()
        place, name, ring = chromium.run(
            "const e = document.activeElement, s = getComputedStyle(e);"
            "const top = e.getBoundingClientRect().top + scrollY;"
            "return [top, e.textContent.trim() || e.id || e.ariaLabel, s.outlineStyle]"
        )
        assert ring != "none", name
        places.append(place)
        names.append(name)
    assert names[:6] == ["To the result", "Result", "Conversation", "Signal", "Findings", "Record"]
    assert "scope" in names and names.index("Whole capture") < names.index("scope") < names.index("in the signal")
    # Down the page, save for what stands side by side in a line.
    assert all(later > earlier - 60 for earlier, later in pairwise(places[1:]))


def squeezed(text: str) -> str:
    """Text without blanks: a PDF has places of letters, and blanks are guessed from them."""
    return "".join(text.split())


@pytest.mark.parametrize(("width_in", "height_in"), [(8.27, 11.69), (8.5, 11.0)], ids=["A4", "Letter"])
def test_print(chromium: Browser, pages: Path, tmp_path: Path, width_in: float, height_in: float) -> None:
    for name in (BAD, GOOD, "charger_stays_at_5v.csv", "cable_corrupts_offers.csv"):
        chromium.open(pages / f"{name}.html")
        chromium.pdf(tmp_path / "page.pdf", width_in=width_in, height_in=height_in)
        texts = [squeezed(page.extract_text()) for page in PdfReader(tmp_path / "page.pdf").pages]
        assert squeezed(demo(name).verdict.summary) in texts[0]
        assert "Howfaritcame" in texts[0] and "VBUSisthere" in texts[0]
        assert "Timerunsdown" not in texts[0] and "Timerunsdown" in texts[1]
        whole = "".join(texts)
        assert "Zoomin" not in whole and "Thewholecapture" in whole
        assert "SHA-256" + "ab" * 32 in whole and "Judgedby" in texts[-1]
        assert len(texts) <= 6


def test_a_customer_s_page_is_one_sheet(chromium: Browser, pages: Path, tmp_path: Path) -> None:
    for name in (BAD, GOOD):
        chromium.open(pages / f"{name}.customer.html")
        chromium.pdf(tmp_path / "page.pdf", width_in=8.5, height_in=11.0)
        assert len(PdfReader(tmp_path / "page.pdf").pages) == 1


def test_narrow_screens_do_not_scroll_sideways(chromium: Browser, pages: Path) -> None:
    for page in sorted(pages.glob("*.html")):
        chromium.open(page, width=390)
        chromium.run("for (const d of document.querySelectorAll('details')) d.open = true")
        assert chromium.run("return document.documentElement.scrollWidth") <= 390, page.name


@pytest.mark.parametrize(("name", "width", "dark"), [
    (f"{BAD}.html", 1280, False), (f"{BAD}.html", 390, True), (f"{CABLE}.html", 390, False),
    ("cable_corrupts_offers.csv.html", 1280, True), (f"{BAD}.customer.html", 1280, False),
    ("comparison.html", 1280, True),
])
def test_axe_finds_nothing(chromium: Browser, pages: Path, name: str, width: int, dark: bool) -> None:
    """axe-core: contrast, names, roles, landmarks, order of headings."""
    chromium.open(pages / name, width=width, dark=dark)
    # One open message stands for all: their markup is the same.
    chromium.run("const d = document.querySelector('details'); if (d) d.open = true")
    axe(chromium, name)


def axe(chromium: Browser, name: str, inside: str = "html") -> None:
    chromium.run(AXE.read_text(encoding="utf-8"))
    found = chromium.driver.execute_async_script(
        "const done = arguments[1];"
        "const short = v => [v.id, v.nodes.length, v.nodes[0].html.slice(0, 160), v.nodes[0].failureSummary];"
        "axe.run(arguments[0], {resultTypes: ['violations']})"
        ".then(r => done(r.violations.map(short)), e => done([String(e)]))",
        inside,
    )
    assert found == [], (name, found)


def test_dark_is_dark_in_the_picture_as_well(chromium: Browser, pages: Path) -> None:
    shades = []
    for dark in (False, True):
        chromium.open(pages / f"{BAD}.html", dark=dark)
        window(chromium)
        shades.append(chromium.run("return [...pen.getImageData(2, 2, 1, 1).data].slice(0, 3)"))
    assert min(shades[0]) > 230 and max(shades[1]) < 50


def test_little_motion_where_little_is_wanted(chromium: Browser, pages: Path) -> None:
    how = "return getComputedStyle(document.documentElement).scrollBehavior"
    for still, wanted in ((True, "auto"), (False, "smooth")):
        chromium.open(pages / f"{BAD}.html", still=still)
        assert chromium.run(how) == wanted


def test_without_scripts_the_pictures_that_matter_are_there(chromium: Browser, pages: Path) -> None:
    chromium.open(pages / f"{BAD}.html", scripts=False)
    driver = chromium.driver
    assert not driver.find_element(By.CSS_SELECTOR, ".scope").is_displayed()
    pictures = driver.find_elements(By.CSS_SELECTOR, "figure.static svg, figure.wave svg")
    assert len(pictures) >= 4 and all(one.is_displayed() and one.size["height"] > 50 for one in pictures)
    assert "broke here" in pictures[0].text + pictures[1].text
    driver.find_element(By.CSS_SELECTOR, ".rows summary").click()
    assert driver.find_element(By.CSS_SELECTOR, ".rows .fields").is_displayed()


def test_ten_minutes_scroll_and_zoom(chromium: Browser, ten_minutes: Path) -> None:
    chromium.open(ten_minutes)
    assert chromium.complaints() == []
    count = chromium.run("return data.rows.t.length")
    assert count > 24_000
    box = chromium.driver.find_element(By.ID, "list")
    # However long the list, only the rows in sight exist.
    assert chromium.run("return document.querySelectorAll('#list .item').length") < 60
    box.send_keys(Keys.END)
    chromium.wait(f"document.getElementById('item-{count - 1}')")
    assert chromium.run("return document.querySelectorAll('#list .item').length") < 60
    box.send_keys(Keys.ENTER)
    opened = chromium.run("return document.getElementById('opened').innerText")
    assert "PS_RDY" in opened and "message id" in opened
    chromium.driver.find_element(By.CSS_SELECTOR, "#opened button").click()
    a, b = window(chromium)
    assert 598 < a < b < 600 and b - a < 2e-3
    chromium.wait("document.getElementById('scope-says').textContent.includes('PS_RDY')")
    assert "drawn from its bytes" in chromium.run("return document.getElementById('scope-says').textContent")
    scope = focus_scope(chromium)
    scope.send_keys("0")
    assert window(chromium) == pytest.approx((0.0, 600.0))
    assert chromium.run("return document.querySelectorAll('*').length") < 6000
    axe(chromium, "ten minutes", ".every")
    assert chromium.complaints() == []


def test_the_names_over_the_lanes_stand_apart(chromium: Browser, pages: Path) -> None:
    """Where a cable has a lane of its own, and beside another conversation, there is little room for them."""
    both = pages / "cable.html"
    both.write_text(comparison_html(demo(CABLE), demo(BAD)), encoding="utf-8")
    for page in (both, pages / f"{CABLE}.html", pages / "comparison.html"):
        for width in (1280, 1000, 390):
            chromium.open(page, width=width)
            heads = chromium.run(
                "return [...document.querySelectorAll('.lanehead .names')].map(x => [...x.children].map("
                "y => { const r = y.getBoundingClientRect(); return [r.left, r.right]; }))"
            )
            assert heads
            for names in heads:
                for (_, right), (left, _) in pairwise(names):
                    assert left - right >= 2, (page.name, width)


@pytest.mark.parametrize("width", [390, 400, 800, 1280])
def test_no_word_of_the_picture_is_cut_by_its_frame(chromium: Browser, pages: Path, width: int) -> None:
    """As a phone on the bench shows it: the names of the lanes on the left, of the messages on the right."""
    chromium.open(pages / f"{BAD}.html", width=width)
    chromium.wait("scope.dataset.to")
    said, wide = chromium.run("""
      const out = [], fill = pen.fillText.bind(pen);
      pen.fillText = (text, x, y) => {
        const long = pen.measureText(text).width;
        const from = pen.textAlign === 'right' ? x - long : pen.textAlign === 'center' ? x - long / 2 : x;
        // What is written above the canvas only sets the pen.
        if (y > 0) out.push([text, from, from + long]);
        fill(text, x, y);
      };
      draw();
      return [out, wide];""")
    assert {"charger", "device"} <= {text for text, *_ in said}
    for text, from_x, to_x in said:
        assert from_x >= 2, (text, from_x)
        assert to_x <= wide - 1, (text, to_x, wide)


def test_the_waits_are_read_on_a_phone_without_scrolling_sideways(chromium: Browser, pages: Path) -> None:
    """What decides stands in the last column."""
    chromium.open(pages / f"{BAD}.html", width=390)
    ends = chromium.run("""return [...document.querySelectorAll('.waits td')]
      .map(cell => cell.getBoundingClientRect()).map(box => [box.left, box.right, box.height])""")
    assert ends
    assert all(left >= 0 and right <= 390 and height > 0 for left, right, height in ends)
