"""The corner page in a real browser: by mouse, by touch and by keys, to a note that the service reads."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from autoprep.domain import Outline, WorkFacts
from autoprep.files.reading import preview_jpeg, read_photo
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.told.corners import corners_html
from autoprep.wishes.notes import facts_of
from tests import photos

pytestmark = pytest.mark.slow

WRONG = np.array([[120.0, 60.0], [1100.0, 60.0], [1100.0, 830.0], [120.0, 830.0]])


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    photo = read_photo(photos.jpeg(), 10**8)
    outline = Outline(corners_px=tuple((x, y) for x, y in WRONG.tolist()), confidence=0.5)  # type: ignore[arg-type]
    text = corners_html(photo, 'Book/<b> & "Reeds".jpg', preview_jpeg(photo, 1280), outline, WorkFacts(), "ink")
    page = tmp_path_factory.mktemp("page") / "corners.html"
    page.write_text(text, encoding="utf-8")
    return page


def opened(chromium: Any, place: Path, **options: Any) -> tuple[Any, list[str]]:
    page = chromium.new_page(**options)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda problem: said.append(str(problem)))
    page.goto(place.as_uri())
    page.locator("#note", has_text="photo: ").wait_for()
    return page, said


def targets(page: Any) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """(where a letter is, where its corner should go) on the screen."""
    box = page.locator("#photo img").bounding_box()
    scale = box["width"] / photos.SIZE[0]
    found = []
    for k, mark in enumerate(page.locator(".corner").all()):
        at = mark.bounding_box()
        middle = (at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
        by = (photos.CORNERS[k] - WRONG[k]) * scale
        found.append((middle, (middle[0] + by[0], middle[1] + by[1])))
    return found


def read(page: Any, folder: Path) -> WorkFacts:
    """What the service reads from the file that the page saves."""
    with page.expect_download() as waiting:
        page.locator("#save").click()
    (folder / "Book").mkdir(exist_ok=True)
    name = 'Book/<b> & "Reeds".jpg'
    # The page asks for a name that no browser changes; the note says which photo it means.
    waiting.value.save_as(folder / waiting.value.suggested_filename)
    facts, warnings = facts_of(folder, name)
    assert warnings == ()
    return facts


def right(facts: WorkFacts) -> bool:
    assert facts.corners_px is not None
    return overlap_in_photo(np.array(facts.corners_px), photos.CORNERS, photos.SIZE) > 0.99


@pytest.mark.parametrize("width", [390, 1440])
def test_by_mouse(chromium: Any, place: Path, tmp_path: Path, width: int) -> None:
    page, said = opened(chromium, place, viewport={"width": width, "height": 900})
    for (x, y), (to_x, to_y) in targets(page):
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move((x + to_x) / 2, (y + to_y) / 2)
        assert page.locator("#near.seen").count() == 1
        page.mouse.move(to_x, to_y)
        page.mouse.up()
    assert right(read(page, tmp_path))
    assert said == []
    page.close()


def test_by_touch(chromium: Any, place: Path, tmp_path: Path) -> None:
    page, said = opened(chromium, place, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    fingers = page.context.new_cdp_session(page)
    for (x, y), (to_x, to_y) in targets(page):
        steps = [
            ("touchStart", x, y),
            *(("touchMove", x + (to_x - x) * s / 4, y + (to_y - y) * s / 4) for s in (1, 2, 3, 4)),
        ]
        for kind, at_x, at_y in steps:
            fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": at_x, "y": at_y}]})
        fingers.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    assert right(read(page, tmp_path))
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert said == []
    page.close()


def test_by_keys(chromium: Any, place: Path, tmp_path: Path) -> None:
    page, said = opened(chromium, place, viewport={"width": 1440, "height": 900})
    for k, letter in enumerate("ABCD"):
        mark = page.get_by_role("button", name=f"Corner {letter}")
        mark.focus()
        for axis, keys in ((0, ("ArrowLeft", "ArrowRight")), (1, ("ArrowUp", "ArrowDown"))):
            by = photos.CORNERS[k][axis] - WRONG[k][axis]
            for _ in range(round(abs(by) / 20)):
                page.keyboard.press(f"Shift+{keys[int(by > 0)]}")
    page.select_option("#turn", "left")
    page.select_option("#kind", "painting")
    page.fill("#size", "16 1/2 x 11 3/4 in")
    facts = read(page, tmp_path)
    assert overlap_in_photo(np.array(facts.corners_px), photos.CORNERS, photos.SIZE) > 0.95
    assert (facts.turn, facts.kind) == (270, "painting")
    assert facts.size_mm == pytest.approx((11.75 * 25.4, 16.5 * 25.4))
    page.locator("#all").click()
    assert read(page, tmp_path).outline == "whole photo"
    page.locator("#back").click()
    page.locator("#note", has_not_text="turn").wait_for()
    assert page.locator("#note").inner_text().count("\n") <= 2
    assert said == []
    page.close()


def test_the_sketch_is_the_work_straightened(chromium: Any, place: Path) -> None:
    """Its outermost pixels are paper where the corners are right, and desk where they are not."""
    ring = """() => {
      const c = document.getElementById('result'), w = c.width, h = c.height
      const d = c.getContext('2d').getImageData(0, 0, w, h).data
      const at = (x, y) => d[(Math.round(y) * w + Math.round(x)) * 4]
      return [at(6, 6), at(w - 7, 6), at(w - 7, h - 7), at(6, h - 7), at(w / 2, 6)]
    }"""
    page, _ = opened(chromium, place, viewport={"width": 1440, "height": 900})
    assert min(page.evaluate(ring)) < 120
    for (x, y), (to_x, to_y) in targets(page):
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(to_x, to_y)
        page.mouse.up()
    page.wait_for_timeout(100)
    assert min(page.evaluate(ring)) > 120
    page.close()


def test_corners_that_cross_are_told_and_not_saved(chromium: Any, place: Path) -> None:
    page, _ = opened(chromium, place, viewport={"width": 1440, "height": 900})
    (first, _), (second, _) = targets(page)[:2]
    page.mouse.move(*first)
    page.mouse.down()
    page.mouse.move(second[0] + 40, second[1] + 300)
    page.mouse.up()
    page.wait_for_timeout(100)
    assert page.locator("#wrong").is_visible()
    assert "off" in page.locator("#save").get_attribute("class")
    page.close()


def test_nothing_on_it_comes_from_elsewhere(place: Path) -> None:
    text = place.read_text(encoding="utf-8")
    assert "default-src &#x27;none&#x27;" in text
    assert not re.search(r"https?:|//\w", re.sub(r"data:image/jpeg;base64,[^\"]+", "", text.replace("// ", "")))
    assert "<b> &" not in text
    assert "&lt;b&gt; &amp; &quot;Reeds&quot;.jpg" in text
