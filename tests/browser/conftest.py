"""A real Chromium where the machine has one; pages are opened from files, without a network."""

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((path for name in NAMES if (path := shutil.which(name))), "")


# Of a module and no session: while it is open the thread has a running event loop, which other tests could not bear.
@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="the extra [browser] is not installed")
    if not CHROMIUM:
        pytest.skip("no Chromium on this machine")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()
