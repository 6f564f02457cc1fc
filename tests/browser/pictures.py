"""Draw the README's pictures of the desk anew, into `examples/desk/`.

python tests/browser/pictures.py            CHROMIUM=/usr/bin/chromium
"""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

from conftest import CHROMIUM
from playwright.sync_api import sync_playwright
from test_in_a_browser import EXAMPLES, KEY, Served

PICTURES = EXAMPLES / "desk"
SHOTS = {
    "mix": ("mix?mix=hazes-overnight.toml", 1000, 620),
    "order": ("mix?mix=five-products.toml", 360, 640),
    "why": ("why?mix=curdles.toml", 360, 640),
}


def main() -> None:
    """Each page as it stands on a screen."""
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playing:
        folder = Path(name)
        for address, _, _ in SHOTS.values():
            shutil.copy(EXAMPLES / address.partition("=")[2], folder)
        served = Served(folder)
        browser = playing.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page()
        page.goto(f"{served.address}/?key={KEY}")
        for picture, (address, width, height) in SHOTS.items():
            page.set_viewport_size({"width": width, "height": height})
            page.goto(f"{served.address}/{address}")
            if picture == "order":
                page.locator("ol.pour").scroll_into_view_if_needed()
                page.evaluate("document.querySelector('ol.pour').scrollIntoView()")
                page.mouse.wheel(0, -150)
                page.wait_for_timeout(300)
            if picture == "why":
                page.evaluate(
                    "document.querySelector('svg[aria-labelledby^=origins]')"
                    ".closest('section').scrollIntoView({block: 'end'})"
                )
            page.screenshot(path=PICTURES / f"{picture}.png")
        browser.close()
        served.close()


if __name__ == "__main__":
    main()
