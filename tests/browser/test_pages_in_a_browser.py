"""The pages in a real browser: on a phone, in the dark, on paper, with and without the script."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from chem.advice.agents import choose_agent
from chem.advice.fix import fix
from chem.advice.jar import jar, jar_of, strip
from chem.advice.ladder import ladder
from chem.advice.ph import adjust
from chem.advice.pour import pour
from chem.advice.why import why
from chem.forecast import Study, forecast
from chem.sheets import as_html
from chem.sheets.fix import fix_sheet
from chem.sheets.jar import jar_sheet
from chem.sheets.jars import jars_sheet
from chem.sheets.ladder import ladder_sheet
from chem.sheets.page.forecast import forecast_page
from chem.sheets.ph import ph_sheet
from chem.sheets.pour import pour_sheet
from chem.sheets.why import why_sheet
from chem.tank import Mix, read_mix
from chem.units import format_mass, format_volume

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
ACRE_M2 = 4046.8564224
PHONE, FIRST_SIGHT, SHEETS = 360, 640, 2
PAGE_OF_PDF = re.compile(rb"/Type\s*/Page\b(?!s)")


def of_forecast(mix: Mix, study: Study) -> str:
    result = forecast(mix, study=study)
    return forecast_page(result, jar_of(result), number="J-0412-2")


MAKERS: dict[str, Callable[[Mix, Study], str]] = {
    "forecast": of_forecast,
    "loads": lambda m, s: of_forecast(replace(m, area_m2=2.6 * ACRE_M2), s),
    "jar": lambda m, s: as_html(jar_sheet(jar(m, study=s))),
    "jars": lambda m, s: as_html(jars_sheet(strip(m, "rates", study=s))),
    "ladder": lambda m, s: as_html(ladder_sheet(ladder(m, choose_agent("citric acid"), study=s))),
    "ph": lambda m, s: as_html(ph_sheet(adjust(m, 4.9, choose_agent("citric acid"), study=s))),
    "pour": lambda m, s: as_html(pour_sheet(pour(m, study=s))),
    "why": lambda m, s: as_html(why_sheet(why(m, study=s))),
    "fix": lambda m, s: as_html(fix_sheet(fix(m, study=s))),
}
WANTED = [(kind, "five-products") for kind in MAKERS]
WANTED += [("why", "curdles"), ("fix", "curdles"), ("jar", "alkali-decides")]
RULES_AND_GAS = ("curdles", "alkali-decides", "smells-of-ammonia", "acid-poured-last")
WANTED += [("forecast", name) for name in (*RULES_AND_GAS, "cannot-tell", "milky-at-the-third")]


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str, str], Path]:
    folder, study = tmp_path_factory.mktemp("pages"), Study(16)

    def file(kind: str, name: str) -> Path:
        path = folder / f"{kind}-{name}.html"
        if not path.exists():
            path.write_text(MAKERS[kind](read_mix(EXAMPLES / f"{name}.toml"), study), "utf-8")
        return path

    return file


@contextmanager
def opened(
    browser: Browser, file: Path, *, width: int = PHONE, dark: bool = False, script: bool = True
) -> Iterator[Page]:
    """The page, which may say nothing on the console and ask for nothing but itself."""
    context = browser.new_context(
        viewport={"width": width, "height": FIRST_SIGHT},
        color_scheme="dark" if dark else "light",
        java_script_enabled=script,
    )
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(file.as_uri())
    yield page
    context.close()
    assert said == [] and set(asked) == {file.as_uri()}


@pytest.mark.parametrize(("kind", "name"), WANTED)
def test_a_page_on_a_phone_in_the_dark_and_on_paper(
    kind: str, name: str, browser: Browser, files: Callable[[str, str], Path]
) -> None:
    file = files(kind, name)
    with opened(browser, file) as page:
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= PHONE
        for part in ("h1", ".answer", ".stop:not(.gas)", ".next"):
            for box in page.locator(part).all():
                seen = box.bounding_box()
                assert seen is not None and seen["y"] + seen["height"] <= FIRST_SIGHT, part
        assert page.locator(".next").count() == 1
        assert len(PAGE_OF_PDF.findall(page.pdf(format="Letter"))) <= SHEETS
        assert len(PAGE_OF_PDF.findall(page.pdf(format="A4"))) <= SHEETS
    for width, dark in ((PHONE, True), (1100, False)):
        with opened(browser, file, width=width, dark=dark) as page:
            found = Axe().run(page).response["violations"]
            grave = [v["id"] for v in found if v["impact"] in ("serious", "critical")]
            assert grave == [], found


def test_amounts_follow_what_is_left_to_fill(
    browser: Browser, files: Callable[[str, str], Path]
) -> None:
    with opened(browser, files("forecast", "five-products")) as page:
        amounts = page.locator("[data-amount]")
        full = [float(v) for v in amounts.evaluate_all("a => a.map(e => e.dataset.amount)")]
        kinds = amounts.evaluate_all("a => a.map(e => e.dataset.kind)")
        stood = amounts.all_inner_texts()
        page.get_by_label("gal to fill").fill("26")
        assert page.get_by_label("1000 sq ft to spray").input_value() == "13"
        for value, kind, shown in zip(full, kinds, amounts.all_inner_texts(), strict=True):
            write = format_mass if kind == "kg" else format_volume
            assert shown.split("\n") == write(value * 26.0 / 50.0).rstrip(")").split(" (")
        page.get_by_label("1000 sq ft to spray").fill("12.5")
        assert page.get_by_label("gal to fill").input_value() == "25"
        assert "50 %" in page.locator("caption").inner_text()
        page.get_by_role("button", name="Full tank").click()
        assert amounts.all_inner_texts() == stood


def test_the_script_writes_amounts_as_the_sheets_do(
    browser: Browser, files: Callable[[str, str], Path]
) -> None:
    dice = random.Random(7)
    values = [10.0 ** dice.uniform(-4.0, 4.0) for _ in range(2000)]
    with opened(browser, files("forecast", "five-products")) as page:
        told = page.evaluate(
            "v => v.map(x => [window.jarsightAmount(x, 'L'), window.jarsightAmount(x, 'kg')])",
            values,
        )
    for value, (volume, mass) in zip(values, told, strict=True):
        for write, shown in ((format_volume, volume), (format_mass, mass)):
            assert [part for part in shown if part] == write(value).rstrip(")").split(" (")


def test_the_last_tank_is_a_button_and_a_column_without_the_script(
    browser: Browser, files: Callable[[str, str], Path]
) -> None:
    file = files("loads", "five-products")
    with opened(browser, file) as page:
        assert page.locator("td.more").first.is_hidden()
        page.get_by_role("button", name="The last").click()
        first = page.locator("tbody tr").nth(1)
        amount = first.locator("[data-amount]").inner_text().split("\n")[0]
        assert first.locator("td.a.more").text_content().startswith(amount)  # type: ignore[union-attr]
    with opened(browser, file, script=False) as page:
        assert page.locator("td.more").first.is_visible()
        assert page.locator(".tools").is_hidden()
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE


def test_a_tick_writes_the_time_and_outlives_the_page(
    browser: Browser, files: Callable[[str, str], Path]
) -> None:
    with opened(browser, files("forecast", "stays-clear")) as page:
        boxes = page.get_by_role("checkbox")
        boxes.first.check()
        time = page.locator("td.blank span").first.inner_text()
        assert re.fullmatch(r"\d\d:\d\d", time)
        left = boxes.count() - 1
        assert f"since the last pour, {left} to go" in page.get_by_role("status").inner_text()
        page.reload()
        assert boxes.first.is_checked()
        assert page.locator("td.blank span").first.inner_text() == time
        for box in boxes.all()[1:]:
            box.check()
        assert re.search(r"All in at .* \(4 h\)", page.get_by_role("status").inner_text())
        page.get_by_role("button", name="Untick all").click()
        assert not boxes.first.is_checked()


def test_without_the_script_the_page_is_whole(
    browser: Browser, files: Callable[[str, str], Path]
) -> None:
    with opened(browser, files("forecast", "five-products"), script=False) as page:
        assert page.locator(".tools").is_hidden()
        assert "125 fl oz" in page.locator("table").first.inner_text()
        page.get_by_role("checkbox").first.check()
