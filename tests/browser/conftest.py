"""A real Chromium where the machine has one; pages are opened from files, without a network."""

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome")
CHROMIUM = next((path for name in NAMES if (path := shutil.which(name))), "")


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="the extra [browser] is not installed")
    if not CHROMIUM:
        pytest.skip("no Chromium on this machine")
    with api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()
