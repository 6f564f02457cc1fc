"""The README's steps from an empty folder to a first forecast, done as they are written there."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import Browser, Page, expect
from test_in_a_browser import CALCIUM, POTASH, Served, opened

README = Path(__file__).parent.parent.parent / "README.md"
JUGS = {"Calcium liquor": CALCIUM, "Potash feed": POTASH}
RATE, VOLUME = "4 fl oz/1000 sq ft", "2 gal/1000 sq ft"
MOST_PRESSES, MOST_ANSWERS = 12, 9


def steps() -> list[str]:
    text = README.read_text(encoding="utf-8")
    found = re.search(r"<!-- first-forecast -->(.*?)<!-- end -->", text, re.S)
    assert found is not None
    return [" ".join(s.split()) for s in re.split(r"\n\d\. ", found[1]) if s.strip()]


class Hand:
    """Does what a step says, by the labels that it names, and counts."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = self.answers = 0

    def do(self, step: str, jug: str) -> None:
        if "rate beside its name" in step:
            self._type(jug, RATE)
        typed = {"What you call it": jug, "The label's text": JUGS[jug], "Spray volume": VOLUME}
        for verb, label in re.findall(r"(press|type|paste|under) \*\*(.+?)\*\*", step, re.I):
            if verb.lower() == "press":
                button = self.page.get_by_role("button", name=label, exact=True)
                link = self.page.get_by_role("link", name=label, exact=True)
                button.or_(link).first.click()
                self.presses += 1
            elif verb.lower() == "under":
                self.page.get_by_label(label, exact=True).select_option(label=jug)
                self.presses += 1
            else:
                self._type(label, typed[label])

    def _type(self, label: str, text: str) -> None:
        self.page.get_by_label(label, exact=True).first.fill(text)
        self.answers += 1


def test_a_first_forecast_as_the_readme_says(browser: Browser, tmp_path: Path) -> None:
    served = Served(tmp_path)
    try:
        for page in opened(browser, served):
            hand = Hand(page)
            for step in steps():
                for jug in JUGS if "for each jug" in step else list(JUGS)[:1]:
                    hand.do(step, jug)
            expect(page.locator(".answer")).to_contain_text(re.compile(r"\d in \d"))
            expect(page.get_by_text("What most versions of this tank look like")).to_be_visible()
            assert hand.presses <= MOST_PRESSES and hand.answers <= MOST_ANSWERS
            assert (hand.presses, hand.answers) == (12, 7)
    finally:
        served.close()
