"""The desk in a real browser: what a hand does there, by visible labels alone.

Serious and critical findings of axe (Web Content Accessibility Guidelines 2.1, as its rules test
them) fail. Needs Debian's `chromium` and `pip install -e '.[browser]'`; pictures of the pages stay
in `tests/browser/shown/`.
"""

from __future__ import annotations

import re
import shutil
import socket
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from axe_playwright_python.sync_playwright import Axe
from conftest import PATIENCE_MS
from playwright.sync_api import Browser, BrowserContext, Page, expect

from chem.desk import build
from chem.tank import read_mix

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
SHOWN = Path(__file__).parent / "shown"
KEY = "browser-key"
MIXES = ("curdles", "stays-clear", "hazes-overnight", "five-products", "acid-poured-last")
DOORS = [
    "The whole sheet",
    "Why",
    "What to change",
    "The order",
    "pH",
    "Jar sheet",
    "It went wrong",
]
CALCIUM = """GUARANTEED ANALYSIS
Nitrate nitrogen 9 %
Calcium (Ca) 11 %
Derived from: calcium nitrate
Weight per gallon 12.1 lb"""
POTASH = """GUARANTEED ANALYSIS
Available phosphate (P2O5) 5 %
Soluble potash (K2O) 7 %
Derived from: monopotassium phosphate
Specific gravity 1.1"""


class Served:
    """A desk over a folder, in this process."""

    def __init__(self, folder: Path) -> None:
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        self.folder = folder
        self.address = f"http://127.0.0.1:{listening.getsockname()[1]}"
        guard, self._desk = build(folder, KEY, frozenset({self.address[7:]}))
        self._server = uvicorn.Server(uvicorn.Config(guard, log_level="error"))
        self._thread = threading.Thread(target=self._server.run, args=([listening],), daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._server.should_exit = True
        self._thread.join(10)
        self._desk.close()


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Served]:
    (tmp_path / "mixes").mkdir()
    (tmp_path / "shed.toml").write_text('water = "unknown"\n', encoding="utf-8")
    for name in MIXES:
        shutil.copy(EXAMPLES / f"{name}.toml", tmp_path / "mixes")
    served = Served(tmp_path)
    yield served
    served.close()


def opened(
    browser: Browser,
    desk: Served,
    *,
    width: int = 1280,
    dark: bool = False,
    script: bool = True,
) -> Iterator[Page]:
    context: BrowserContext = browser.new_context(
        viewport={"width": width, "height": 900},
        color_scheme="dark" if dark else "light",
        java_script_enabled=script,
    )
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"{desk.address}/?key={KEY}")
    yield page
    context.close()
    # A refused answer comes back with 422, which Chromium tells of by itself.
    assert [line for line in said if "status of 422" not in line] == []
    assert all(url.startswith((desk.address, "data:,")) for url in asked)


@pytest.fixture
def page(browser: Browser, desk: Served) -> Iterator[Page]:
    yield from opened(browser, desk)


def fair(page: Page) -> None:
    """Nothing serious by axe, nothing that scrolls sideways."""
    found = Axe().run(page).response["violations"]
    grave = [
        (v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in ("serious", "critical")
    ]
    assert grave == []
    wide, seen = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= seen


def paste(page: Page, name: str, text: str) -> None:
    page.get_by_role("link", name="A label", exact=True).click()
    page.get_by_label("What you call it").first.fill(name)
    page.get_by_label("The label's text").fill(text)
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("button", name="Save", exact=True).click()


def answer(page: Page) -> str:
    return page.locator(".answer").inner_text()


def test_two_labels_pasted_into_an_empty_folder(browser: Browser, tmp_path: Path) -> None:
    """At most 12 presses and 9 typed answers: counted here, one by one."""
    served = Served(tmp_path)
    try:
        for page in opened(browser, served):
            expect(page.get_by_text("Start a shed here")).to_be_visible()
            paste(page, "Calcium liquor", CALCIUM)  # 3 presses, 2 answers
            paste(page, "Potash feed", POTASH)  # 3 presses, 2 answers
            page.get_by_role("link", name="New mix", exact=True).click()
            page.get_by_label("Another jug").select_option(label="Calcium liquor")
            page.get_by_role("button", name="Add", exact=True).click()
            page.get_by_label("Another jug").select_option(label="Potash feed")
            page.get_by_role("button", name="Add", exact=True).click()
            page.get_by_label("Calcium liquor", exact=True).fill("4 fl oz/1000 sq ft")
            page.get_by_label("Potash feed", exact=True).fill("4 fl oz/1000 sq ft")
            page.get_by_label("Spray volume", exact=True).fill("2 gal/1000 sq ft")
            page.get_by_role("button", name="Show", exact=True).click()  # 10 presses, 7 answers
            expect(page.locator(".answer")).to_contain_text("in")
            expect(page.get_by_text("What most versions of this tank look like")).to_be_visible()
    finally:
        served.close()


def test_slider_order_fix_and_undo(page: Page) -> None:
    page.get_by_role("link", name="Calcium on top of an 8-8-8").click()
    fair(page)
    page.screenshot(path=SHOWN / "curdles.png")
    start = answer(page)
    assert "curdle" in start
    box = page.locator("#r1")
    slide = page.locator('.slide[data-for="r1"]')
    slide.focus()
    for _ in range(30):
        page.keyboard.press("ArrowLeft")
    expect(box).to_have_value(re.compile(r"^0 "))
    expect(page.locator(".answer")).not_to_have_text(start)
    expect(page).to_have_url(re.compile(r"r=0(\.0)?\+fl\+oz"))
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_role("button", name=re.compile("8-8-8.*: pour later")).click()
    expect(page.locator('input[name="p"]').first).to_have_value(re.compile("calcium-nitrate"))
    page.reload()
    expect(page.locator('input[name="p"]').first).to_have_value(re.compile("calcium-nitrate"))
    page.go_back()
    expect(page.locator('input[name="p"]').first).to_have_value(re.compile("npk"))


def test_a_fix_is_taken_with_one_press_and_taken_back(page: Page, desk: Served) -> None:
    page.goto(f"{desk.address}/mix?mix=mixes/acid-poured-last.toml")
    before = page.locator('input[name="p"]').first.input_value()
    page.get_by_role("link", name="What to change").click()
    fair(page)
    page.locator('section:has-text("Take one over") a.button').first.click()
    expect(page.locator('input[name="p"]').first).not_to_have_value(before)
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(page.locator('input[name="p"]').first).to_have_value(before)


def test_every_door_is_fair_and_leads_back(page: Page) -> None:
    for door in DOORS:
        page.goto(page.url.split("/mix")[0].rstrip("/") + "/mix?mix=mixes/five-products.toml")
        page.get_by_role("link", name=door, exact=True).click()
        fair(page)
        if door == "pH":
            page.get_by_label("To pH").fill("5")
            page.get_by_label("With", exact=True).fill("citric acid")
            page.get_by_role("button", name="Work it out").click()
            expect(page.locator("main")).to_contain_text("citric acid")
            fair(page)
        page.get_by_role("link", name="Back to the mix").click()
        expect(page.locator("#strip")).to_contain_text("Summer green-up")


def test_a_dose_is_put_into_the_mix_and_taken_back(page: Page) -> None:
    page.get_by_role("link", name="Summer green-up").click()
    page.get_by_role("link", name="pH", exact=True).click()
    page.get_by_label("To pH").fill("4.5")
    page.get_by_label("With", exact=True).fill("citric acid")
    page.get_by_role("button", name="Work it out").click()
    expect(page.locator("svg[aria-labelledby^=titration]")).to_be_visible()
    page.get_by_role("link", name="Put this dose into the mix").click()
    expect(page.locator('input[name="a"]')).to_have_value("citric acid")
    expect(page.locator(".ruler h2")).to_contain_text("about 4.5")
    fair(page)
    page.get_by_role("button", name="Undo", exact=True).click()
    expect(page.locator('input[name="a"]')).to_have_count(0)


def test_a_numbered_jar_is_recorded_and_changes_the_forecast(page: Page) -> None:
    page.get_by_role("link", name="Iron and a little calcium").click()
    page.get_by_role("link", name="Jar sheet").click()
    page.get_by_role("button", name="Give it a number").click()
    number = page.locator(".number b").inner_text()
    page.get_by_role("link", name="Today").click()
    expect(page.get_by_text(number).first).to_be_visible()
    fair(page)
    page.get_by_role("button", name=f"{number}: flakes").click()
    page.get_by_role("link", name="Iron and a little calcium").click()
    expect(page.locator("#strip")).to_contain_text("You tried")
    page.get_by_role("link", name="What it showed, sprayed").click()
    fair(page)
    page.get_by_label("Site").fill("Practice pitches")
    page.get_by_label("Area, such as 2.6 acre").fill("two goals")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator('[data-wrong="area"]')).to_contain_text("Write:")
    page.get_by_label("Area, such as 2.6 acre").fill("2.6 acre")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator("main")).to_contain_text("Practice pitches")
    fair(page)
    assert page.pdf(format="A4").startswith(b"%PDF")
    for path in ("/notebook", "/wall", "/score", "/rinse"):
        page.goto(page.url.partition("/season")[0].partition("/notebook")[0] + path)
        fair(page)
        page.go_back()


def test_what_was_understood_stands_beside_a_label(page: Page) -> None:
    page.get_by_role("link", name="A label", exact=True).click()
    page.get_by_label("What you call it").first.fill("Calcium liquor")
    page.get_by_label("The label's text").fill(CALCIUM + "\nMoondust 4 %")
    page.get_by_role("button", name="Read it").click()
    expect(page.get_by_role("cell", name="density 12.1 lb/gal")).to_be_visible()
    expect(page.get_by_text("line 6: Moondust 4 % (no line")).to_be_visible()
    fair(page)


def test_a_problem_stands_beside_its_field_at_once(page: Page) -> None:
    page.get_by_role("link", name="Summer green-up").click()
    volume = page.get_by_label("Spray volume", exact=True)
    volume.fill("2 buckets")
    volume.blur()
    expect(page.locator('[data-wrong="carrier"]')).to_contain_text("gal/acre")
    fair(page)
    volume.fill("2 gal/1000 sq ft")
    volume.blur()
    expect(page.locator('[data-wrong="carrier"]')).to_be_empty()


def test_the_jar_sheet_prints(page: Page, tmp_path: Path) -> None:
    page.get_by_role("link", name="Summer green-up").click()
    page.get_by_role("link", name="Jar sheet").click()
    printed = page.pdf(path=tmp_path / "jar.pdf", format="A4")
    assert printed.startswith(b"%PDF")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", printed)) <= 2


def test_saved_files_are_those_of_the_command_line(page: Page, desk: Served) -> None:
    page.get_by_role("link", name="Summer green-up").click()
    page.get_by_label("Spray volume", exact=True).fill("3 gal/1000 sq ft")
    page.get_by_role("button", name="Show", exact=True).click()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_label("Spray volume", exact=True)).to_have_value("3 gal/1000 sq ft")
    kept = read_mix(desk.folder / "mixes" / "five-products.toml")
    assert kept.carrier_L_per_m2 == pytest.approx(3 * 3.785411784 / 92.90304)


def test_two_windows_have_trails_of_their_own(browser: Browser, desk: Served) -> None:
    for one in opened(browser, desk):
        two = one.context.new_page()
        for page, volume in ((one, "3"), (two, "4")):
            page.goto(f"{desk.address}/mix?mix=mixes/stays-clear.toml")
            page.get_by_label("Spray volume", exact=True).fill(f"{volume} gal/1000 sq ft")
            page.get_by_role("button", name="Show", exact=True).click()
            expect(page).to_have_url(re.compile(rf"carrier={volume}\+gal"))
        one.get_by_role("button", name="Undo", exact=True).click()
        expect(one.get_by_label("Spray volume", exact=True)).not_to_have_value("3 gal/1000 sq ft")
        expect(two.get_by_label("Spray volume", exact=True)).to_have_value("4 gal/1000 sq ft")


def test_without_script_a_button_does_it(browser: Browser, desk: Served) -> None:
    for page in opened(browser, desk, script=False):
        page.get_by_role("link", name="Calcium on top of an 8-8-8").click()
        assert page.locator(".slide:visible").count() == 0
        before = answer(page)
        page.locator("#r1").fill("0.05 fl oz/1000 sq ft")
        page.get_by_role("button", name="Show", exact=True).click()
        assert answer(page) != before
        page.get_by_role("button", name="Undo", exact=True).click()
        assert answer(page) == before


@pytest.mark.parametrize("width", [360, 768, 1600])
@pytest.mark.parametrize("dark", [False, True])
def test_it_fits_every_screen(browser: Browser, desk: Served, width: int, dark: bool) -> None:
    for page in opened(browser, desk, width=width, dark=dark):
        for path in (
            "/",
            "/mix?mix=mixes/five-products.toml",
            "/label",
            "/water",
            "/shelf",
            "/calibrate",
        ):
            page.goto(desk.address + path)
            fair(page)
        page.goto(f"{desk.address}/mix?mix=mixes/hazes-overnight.toml")
        page.screenshot(path=SHOWN / f"mix-{width}-{'dark' if dark else 'light'}.png")


def test_the_keyboard_alone_reaches_everything(page: Page, desk: Served) -> None:
    page.goto(f"{desk.address}/mix?mix=mixes/stays-clear.toml")
    reached = set()
    for _ in range(80):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate("document.activeElement.innerText || document.activeElement.name")
        )
    assert {"Show", "Save", "Jar sheet", "carrier"} <= reached


def test_a_moving_slider_is_answered_soon_and_exactly(page: Page, desk: Served) -> None:
    """At rest the page is the one that its address alone would give."""
    page.goto(f"{desk.address}/mix?mix=mixes/five-products.toml")
    slide = page.locator(".slide").first
    slide.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    expect(page).to_have_url(re.compile("r="))
    page.wait_for_function("!document.body.classList.contains('moving')")
    page.wait_for_timeout(300)
    moved = page.locator("#stack").inner_text()
    page.goto(page.url)
    assert page.locator("#stack").inner_text() == moved
