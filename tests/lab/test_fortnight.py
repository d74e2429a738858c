"""The fortnight's own helpers: what it compares with must be able to differ."""

from collections import Counter

from tests.lab.fortnight_cast import EXPECTED, FRAMES, MEANT_QUESTIONS
from tests.lab.fortnight_end import differences, expected, listed
from tests.lab.fortnight_studio import Step, table

_ROW = {
    "title": "Thrift", "year": "2026", "medium": "ink", "height": "21", "width": "14.8", "unit": "cm", "takes": "2",
    "held": "", "public since": "2026-05-01", "went to": "square: a.jpg (2026-05-01); site: a.jpg (2026-05-01)",
}  # fmt: skip


def test_a_line_of_the_list_is_compared_cell_by_cell() -> None:
    work = expected(1, 2, title="Thrift", year="2026", medium="ink", size="21 x 14.8 cm")
    assert differences(work, _ROW) == []
    other = {**_ROW, "held": "held", "public since": "", "went to": "site: a.jpg", "takes": "1", "width": "14"}
    assert len(differences(work, other)) == 5


def test_every_photo_is_known_once() -> None:
    files = Counter(frame.file for frame in FRAMES)
    assert set(files.values()) == {1}
    listed = Counter(photo for work in EXPECTED for photo in work.photos)
    assert set(listed.values()) == {1}
    nothing = {frame.file for frame in FRAMES if frame.kind in ("desk", "screen", "several")}
    assert set(listed) == set(files) - nothing
    assert set(MEANT_QUESTIONS) <= nothing


def test_the_table_tells_what_was_not_as_expected() -> None:
    said = table([Step(1, "a", "b", "", 2.0), Step(2, "c", "d", "x | y\nz", 3.0)])
    assert "| 2 | c | d | x / y z | NOT OK | 3 |" in said
    assert said.endswith("1 of 2 ok\n")


def test_the_list_of_works_holds_what_is_asked_and_nothing_else() -> None:
    asks = {"nowhere because": "a question waits for your answer"}
    assert listed({"IMG_1.jpg": asks}, (), ("IMG_1.jpg",)) == ""
    assert listed({}, (), ("IMG_1.jpg",)) == "IMG_1.jpg asks, and the list says 'nothing'"
    assert listed({"IMG_1.jpg": {"nowhere because": ""}}, (), ("IMG_1.jpg",)) == "IMG_1.jpg asks, and the list says ''"
    assert listed({"IMG_1.jpg": asks, "IMG_2.jpg": asks}, (), ("IMG_1.jpg",)) == "IMG_2.jpg is listed, and is not known"
