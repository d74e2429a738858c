"""The proof page in a real browser: what wants an answer is read before its pictures, on a phone too."""

from pathlib import Path
from typing import Any

import pytest

from autoprep.domain import JobRecord
from autoprep.told.pages import Front, Place, index_html
from tests import photos

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("width", [390, 1440])
def test_how_a_question_is_answered_is_seen_without_scrolling(chromium: Any, tmp_path: Path, width: int) -> None:
    proof = tmp_path / "records" / "proof"
    (proof / "1").mkdir(parents=True)
    names = ("where.jpg", "choice-1.jpg", "choice-2.jpg")
    for name in names:
        (proof / "1" / name).write_bytes(photos.jpeg())
    pages = dict(zip(("photo", "choice-1", "choice-2"), (f"1/{name}" for name in names), strict=True))
    asked = JobRecord(
        job="1", photo="Reeds.jpg", sha256="0" * 64, outcome="needs a look", offers_none=True, pages=pages,
        reasons=("the edge is not sure",),
    )  # fmt: skip
    place = proof / "index.html"
    place.write_text(index_html("Wren Halloway", Place(tmp_path, proof), Front(waiting=[asked])), encoding="utf-8")
    page = chromium.new_page(viewport={"width": width, "height": 844})
    page.goto(place.as_uri())
    page.wait_for_function("document.querySelector('article img').naturalWidth > 0")
    words, picture = page.locator(".state").bounding_box(), page.locator("article img").first.bounding_box()
    assert words["y"] + words["height"] < 844
    assert width > 800 or words["y"] < picture["y"]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()
