"""How a print lies: turned to suit its work, unless that is square, and with pixels enough to be one."""

import pytest

from autoprep.rendering.layout import Frame, lay_out
from tests.rendering.test_render import plan_for
from tests.rendering.test_scene import plan

_LANDSCAPE, _PORTRAIT = (254.0, 203.2), (203.2, 254.0)


@pytest.mark.parametrize("asked", [_LANDSCAPE, _PORTRAIT])
@pytest.mark.parametrize("on_its_desk", [False, True])
@pytest.mark.parametrize(
    ("width", "height", "lies"),
    [(800, 600, "across"), (560, 600, "upright"), (600, 600, ""), (606, 600, ""), (600, 606, "")],
)
def test_a_print_turns_to_suit_its_work_and_stays_for_a_square_one(
    asked: tuple[float, float], on_its_desk: bool, width: int, height: int, lies: str
) -> None:
    """Which side of a square work is longer by a hair is chance; a lab has asked for the one sheet or the other."""
    x1, y1 = 800 + width, 700 + height
    work = plan([(800, 700), (x1, 700), (x1, y1), (800, y1)], width / height, (2400, 2200))
    layout = lay_out(Frame(size_mm=asked, ppi=50, scene=on_its_desk), work)
    across = lies == "across" if lies else asked == _LANDSCAPE
    assert layout.canvas_px == ((500, 400) if across else (400, 500))


@pytest.mark.parametrize(("beside", "across"), [(120, True), (1200, False)])
def test_the_desk_that_a_photo_shows_turns_no_print(beside: int, across: bool) -> None:
    """There may be too little of it for the sheet's shape; its tone fills the rest."""
    work = plan([(beside, 900), (beside + 600, 900), (beside + 600, 1500), (beside, 1500)], 1, (2 * beside + 600, 2400))
    asked = _LANDSCAPE if across else _PORTRAIT
    layout = lay_out(Frame(size_mm=asked, ppi=50, scene=True), work)
    assert layout.canvas_px == ((500, 400) if across else (400, 500))


@pytest.mark.parametrize("size_mm", [(12_000.0, 4_000.0), (20_000.0, 6_600.0)])
def test_a_huge_work_with_less_than_a_pixel_to_the_inch_has_one(size_mm: tuple[float, float]) -> None:
    layout = lay_out(Frame(size_mm=size_mm, ppi=300, true_size=True), plan_for(300, 100))
    assert layout.ppi == 1
    assert layout.share < 0.01  # so that it waits (`least_percent`)
    assert any("where 300 were wanted" in note for note in layout.notes)


def test_where_the_said_size_and_the_outline_differ_no_side_is_enlarged() -> None:
    """They may by three hundredths: the side that has fewer pixels to the inch tells how many there are."""
    layout = lay_out(Frame(size_mm=(254.0, 203.2), ppi=300, true_size=True), plan_for(1000, 820))
    assert layout.ppi == 100
    assert layout.enlarge <= 1.001
