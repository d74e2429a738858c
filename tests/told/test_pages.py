"""The proof page: what waits comes first, each state is a sentence, everything is escaped, nothing is fetched."""

import re
from pathlib import Path
from typing import Any

import pytest

from autoprep.domain import JobRecord, Outline, OutputRecord, WorkFacts
from autoprep.files.reading import read_photo
from autoprep.told import lists, web
from autoprep.told.corners import corners_html
from autoprep.told.pages import Front, Place, index_html, month_html, page_name, state
from tests import photos

PLACE = Place(Path("/studio"), Path("/studio/records/proof"))


def record(job: str, outcome: str, **more: object) -> JobRecord:
    return JobRecord(job=job, photo=f"{job}<b>.jpg", sha256="0" * 64, outcome=outcome, **more)  # type: ignore[arg-type]


def output(name: str) -> OutputRecord:
    return OutputRecord(destination=name, path=f"ready/{name}/a.jpg", width_px=9, height_px=6, bytes=9, sha256="1")


def test_what_waits_for_an_answer_comes_first() -> None:
    front = Front(
        waiting=[record("4", "needs a look"), record("2", "needs a look")], questions=3, day="2026-11-26", today=True,
        latest=[record("3", "ready"), record("1", "ready")], months={"2026-11": {0: 99, 1: 4}, "2026-10": {0: 1}},
    )  # fmt: skip
    page = index_html("Wren Halloway", PLACE, front)
    assert re.findall(r'<article id="(\d)"', page) == ["4", "2", "3", "1"]
    assert page.index("Waits for your answer") < page.index(">Today<") < page.index("November 2026: 103 photos")
    assert "1 more questions wait" in page
    assert re.findall(r'href="(2026[^"]*)"', page) == [
        page_name("2026-11", 0),
        page_name("2026-11", 1),
        page_name("2026-10", 0),
    ]


def test_the_first_page_is_short() -> None:
    """On a phone: ten cards of a part lie open, three months, and of a card what it is and what wants a look."""
    latest = [record(f"7{k:02d}", "ready", outputs=(output("square"),), reasons=("straightened",)) for k in range(25)]
    months = {f"2026-{month:02d}": {0: 1} for month in range(11, 3, -1)}
    page = index_html("Wren Halloway", PLACE, Front(latest=latest, day="2026-11-26", months=months))
    cards, _, by_month = page.partition("All photos, by month")
    assert cards.index("<summary>15 more</summary>") > cards.index('id="709"')
    assert cards.index("<summary>15 more</summary>") < cards.index('id="710"')
    assert by_month.index("September 2026") < by_month.index("<summary>5 older</summary>") < by_month.index("August")
    assert page.count("<article") == 25
    assert "<summary>what was done, and why</summary><ul><li>straightened" in page
    assert "<summary>files</summary><table>" in page
    asked = record("1", "needs a look", reasons=("the edge is not sure",))
    assert "what was done" not in index_html("", PLACE, Front(waiting=[asked]))


def test_another_day_than_today_is_named() -> None:
    front = Front(day="2026-11-05", latest=[record("3", "ready")])
    assert ">5 November 2026<" in index_html("Wren Halloway", PLACE, front)


def test_a_month_leads_back_to_the_first_page() -> None:
    page = month_html("Wren Halloway", PLACE, "2026-11", [record("2", "ready"), record("1", "ready")])
    assert 'href="index.html"' in page
    assert "November 2026" in page
    assert re.findall(r'<article id="(\d)"', page) == ["2", "1"]


def test_a_comparison_that_was_cleared_away_leaves_its_words(tmp_path: Path) -> None:
    made = record("1", "ready", pages={"before": "1/before.jpg", "after": "1/after.jpg"}, reasons=("straightened",))
    place = Place(tmp_path, tmp_path)
    assert "<img" not in month_html("", place, "2026-11", [made])
    (tmp_path / "1").mkdir()
    for name in ("before", "after"):
        (tmp_path / "1" / f"{name}.jpg").write_bytes(b"x")
    page = month_html("", place, "2026-11", [made])
    assert page.count("<img") == 2
    assert "straightened" in page


def test_each_state_is_a_sentence() -> None:
    one = record("1", "ready", outputs=(output("square"),))
    assert state(one) == "Finished: 1 picture."
    two = one.model_copy(update={"outputs": (output("square"), output("site")), "held": {"print": "glare"}})
    assert state(two) == "Finished: 2 pictures. 1 not given out."
    for outcome in ("needs a look", "alternate", "reference", "set aside"):
        assert re.fullmatch(r"[A-Z].*\.", state(record("1", outcome)))


def test_everything_is_escaped_and_nothing_is_fetched() -> None:
    facts = WorkFacts(title='"><script>alert(1)</script>', unclear=("“<i>knd</i>”",))
    made = record("1", "ready", work=facts, pages={"before": "1/before.jpg", "after": "1/after.jpg"})
    page = index_html("<Wren>", PLACE, Front(latest=[made], counts={"ready": 1}))
    assert "<script>alert" not in page
    assert "<i>knd" not in page
    assert "<Wren>" not in page
    assert "1<b>" not in page
    assert not re.search(r"https?://", page)
    assert "default-src &#x27;none&#x27;" in page


def test_a_question_says_how_it_is_answered_and_a_name_stands_once() -> None:
    asked = record("4", "needs a look", offers_none=True)
    assert "delete all choices but the right one" in state(asked)
    assert "set its corners below; or say “outline: whole photo”" in state(record("5", "needs a look"))
    outline = Outline(corners_px=((0, 0), (9, 0), (9, 9), (0, 9)), confidence=0.99)
    assert "correct the size" in state(record("5", "needs a look", outline=outline))
    assert "“outline: ask again”" in state(record("5", "needs a look", outline=outline, refused=(outline,)))
    assert state(record("5", "needs a look", pages={"choice-1": "x.jpg"})) == state(asked)  # of an earlier version
    page = month_html("", PLACE, "2026-11", [record("4", "needs a look")])
    assert page.count("4&lt;b&gt;.jpg") == 1
    titled = record("6", "ready", work=WorkFacts(title="Reeds"))
    assert month_html("", PLACE, "2026-11", [titled]).count("6&lt;b&gt;.jpg") == 1


def test_no_sign_of_a_size_breaks_the_corner_page() -> None:
    facts = WorkFacts(size_mm=(300, 400), unit='"')
    page = corners_html(read_photo(photos.jpeg(), 10**8), "Reeds.jpg", b"", None, facts, "")
    assert ' &quot;" placeholder="30 x 40 cm"' in page


@pytest.mark.parametrize(("turn", "chosen"), [(0, "as it is"), (90, "right"), (180, "upside down"), (270, "left")])
def test_the_corner_page_shows_what_was_said(turn: Any, chosen: str) -> None:
    facts = WorkFacts(turn=turn, kind="ink")
    page = corners_html(read_photo(photos.jpeg(), 10**8), "Reeds.jpg", b"", None, facts, "pencil")
    turns, kinds = (re.search(rf'id="{name}">(.*?)</select>', page) for name in ("turn", "kind"))
    assert turns is not None
    assert kinds is not None
    assert re.findall(r" selected>([^<]*)<", turns[1]) == [chosen]
    assert re.findall(r" selected>([^<]*)<", kinds[1]) == ["ink"]


def test_the_corner_page_asks_for_a_name_that_browsers_keep() -> None:
    photo = read_photo(photos.jpeg(), 10**8)
    page = corners_html(photo, 'Book/<b> & "Reeds"?  x.jpg', b"", None, WorkFacts(), "")
    assert 'download="_b_ &amp; _Reeds__ x.corners.txt"' in page
    assert 'data-photo="Book/&lt;b&gt; &amp; &quot;Reeds&quot;?  x.jpg"' in page


def test_text_has_the_size_that_its_reader_has_chosen() -> None:
    """Who sees little sets larger letters once, for all pages; a size in pixels would not follow."""
    sheets = [*(Path(web.__file__).parent / "assets").glob("*.css")]
    assert sheets
    for style in (*(sheet.read_text(encoding="utf-8") for sheet in sheets), lists._STYLE):
        assert not re.findall(r"font(?:-size)?:\s*(?:\d+\s+)?[\d.]+(?:px|pt)", style)
