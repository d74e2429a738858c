"""The proof page in a real browser: what wants an answer is read before its pictures, on a phone too."""

from pathlib import Path
from typing import Any

import pytest

from autoprep.domain import JobRecord, Outline, OutputRecord, WorkFacts
from autoprep.files.reading import preview_jpeg, read_photo
from autoprep.ledger import Sent, WorkRow
from autoprep.told.corners import corners_html
from autoprep.told.gallery import works_html
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


@pytest.mark.parametrize("which", ["first", "works", "corners"])
def test_on_a_small_screen_with_letters_of_twice_the_size_nothing_is_cut_off(
    chromium: Any, tmp_path: Path, which: str
) -> None:
    proof, files = tmp_path / "records" / "proof", []
    proof.mkdir(parents=True)
    for name in ("square", "a-destination-with-a-long-name"):
        files.append(OutputRecord(
            destination=name, path=f"ready/{name}/a.jpg", width_px=10800, height_px=10800, bytes=99_000_000, sha256="1",
            notes=("the photo gives 300 ppi here",),
        ))  # fmt: skip
    made = JobRecord(job="1", photo="Glasswort.jpg", sha256="0" * 64, outcome="ready", outputs=tuple(files))
    sent = tuple(Sent(one.destination, "in place", tmp_path / one.path, "2026-11-24T10:00:00", "") for one in files)
    row = WorkRow(1, "1", "1", "Glasswort.jpg", "2026-11-24", "watercolour", WorkFacts(title="Glasswort"), 1, sent)
    place, photo = Place(tmp_path, proof), read_photo(photos.jpeg(), 10**8)
    outline = Outline(corners_px=((90, 60), (1100, 60), (1100, 830), (90, 830)), confidence=0.5)
    texts = {
        "first": index_html("Wren Halloway-Glasswort", place, Front(latest=[made], day="2026-11-24")),
        "works": works_html(place, {}, [row], "Wren Halloway-Glasswort"),
        "corners": corners_html(photo, "Glasswort.jpg", preview_jpeg(photo, 640), outline, WorkFacts(), "ink"),
    }
    (proof / "page.html").write_text(texts[which], encoding="utf-8")
    page = chromium.new_page(viewport={"width": 320, "height": 640})
    page.goto((proof / "page.html").as_uri())
    page.evaluate(
        "() => { const sheet = new CSSStyleSheet(); sheet.replaceSync('html{font-size:200%}');"
        " document.adoptedStyleSheets = [sheet];"
        " for (const one of document.querySelectorAll('details')) one.open = true }"
    )
    assert page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)") == 32
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    page.close()
