"""What edges, bends, tears and corners are read from is a rim: the middle of a work is neither warped nor looked at."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from autoprep.correction import squaring
from autoprep.correction.bend import LEAST_BENDS, bent_sides
from autoprep.correction.edges import Edges, looked_at, trace
from autoprep.correction.silhouette import Silhouette, find_silhouette
from autoprep.correction.squaring import geometry_of, with_surroundings
from autoprep.domain import Outline, PhotoFacts, Side
from autoprep.files.icc import srgb_tables
from autoprep.imaging.arrays import Bool, Float32
from autoprep.pixels import Photo
from tests.correction import test_bend as bends
from tests.correction import test_silhouette as tears


def torn_deep() -> tuple[Float32, int]:
    """A sheet on a dark desk that is torn in at its top in many places, as deep as a tear is followed."""
    picture, _ = tears.framed(torn=False)
    for k, left in enumerate(range(100, 760, 60)):
        depth_px = 28 if k % 2 else 14
        picture[: tears.MARGIN + depth_px, tears.MARGIN + left : tears.MARGIN + left + 24] = 0.07
    return picture, tears.MARGIN


PICTURES: dict[str, Callable[[], tuple[Float32, int]]] = {
    "torn": lambda: (tears.framed(torn=True)[0], tears.MARGIN),
    "torn deep": torn_deep,
    "deckled": lambda: (tears.deckled(6.0, 4), tears.MARGIN),
    "rounded": lambda: (tears.rounded(56.0)[0], tears.MARGIN),
    "bent": lambda: (bends.sheet({1: bends.lifted_end, 2: bends.arch}), bends._MARGIN),
}


def unseen(picture: Float32, margin_px: int) -> Bool:
    """Where a picture is not looked at."""
    height, width = picture.shape[:2]
    kept = np.ones((height, width), bool)
    for (top, bottom), (left, right) in looked_at((width, height), margin_px):
        kept[top:bottom, left:right] = False
    return kept


def read(picture: Float32, margin_px: int, middle: float) -> tuple[Silhouette | None, tuple[Side, ...] | None]:
    """All that is read of the edges, with this in the place of what is not looked at once they are traced."""
    traced = trace(picture, margin_px)
    seen = traced.picture.copy()
    seen[(seen == 0).all(axis=-1)] = middle
    traced = replace(traced, picture=seen)
    return find_silhouette(traced), bent_sides(traced, (False,) * 4, LEAST_BENDS[0])


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("name", PICTURES)
def test_nothing_in_the_middle_changes_what_is_read_of_the_edges(name: str) -> None:
    picture, margin_px = PICTURES[name]()
    hollow, away = picture.copy(), unseen(picture, margin_px)
    assert away.mean() > 0.3  # otherwise nothing would be saved
    hollow[away] = np.nan
    (torn, sides), (torn_too, sides_too) = read(picture, margin_px, 0.5), read(hollow, margin_px, np.nan)
    assert (torn is None, sides is None) == ((True, False) if name == "bent" else (False, True))
    assert sides_too == sides
    assert (torn is None) == (torn_too is None)
    if torn is not None and torn_too is not None:
        assert torn_too.points == pytest.approx(torn.points)
        assert torn_too.around == pytest.approx(torn.around)
    assert np.allclose(trace(hollow, margin_px).picture, trace(picture, margin_px).picture, rtol=1e-6, atol=0)


def photo_with_edges(left: int) -> tuple[Photo, Outline]:
    """A sheet in a photo whose left border lies so many pixels beside it."""
    codes = np.full((1000, 1400, 3), 60, np.uint8)
    codes[100:900, left:1300] = 210
    corners = ((left, 100.0), (1300.0, 100.0), (1300.0, 900.0), (left, 900.0))
    outline = Outline(corners_px=corners, confidence=1.0)
    return Photo(codes, PhotoFacts("png", 1400, 1000), srgb_tables(256)), outline


def test_the_middle_of_a_work_is_not_warped_for_its_edges(monkeypatch: pytest.MonkeyPatch) -> None:
    warped: list[tuple[Float32, int]] = []

    def seen(framed: Float32, margin_px: int, beyond: Float32) -> Edges:
        warped.append((framed, margin_px))
        return trace(framed, margin_px, beyond)

    monkeypatch.setattr(squaring, "trace", seen)
    squaring.rimmed(*photo_with_edges(100))
    for framed, margin_px in warped:
        away = unseen(framed, margin_px)
        assert away.mean() > 0.5
        assert (framed[away] == 0).all()
        assert (framed[~away] > 0).all()
    assert warped


@pytest.mark.parametrize("left", [5, 100])
def test_where_the_photo_ends_is_known(left: int) -> None:
    photo, outline = photo_with_edges(left)
    _, beyond = with_surroundings(photo, geometry_of(photo, outline), (600, 400), 12)
    assert beyond[:, :6].all() == (left == 5)
    assert not beyond[:, 16:].any()
