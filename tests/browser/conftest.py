"""One browser for every test: Debian's `chromium`."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, expect, sync_playwright

PATIENCE_MS = 30_000
expect.set_options(timeout=PATIENCE_MS)
CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playing:
        started = playing.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()
