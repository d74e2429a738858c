"""The variants of real photos: corners go where the picture goes, and the figures count what they say."""

from pathlib import Path

import numpy as np
import pytest

from tests import photos

from .varied import WAYS, Found, told, try_one

_QUAD = np.array([[20.0, 30.0], [180.0, 24.0], [172.0, 118.0], [26.0, 110.0]])
_TONES = (60, 110, 160, 210)


@pytest.mark.parametrize("way", WAYS)
def test_corners_go_where_the_picture_goes(way: str) -> None:
    """Each corner has a patch of its own tone: from the varied top left one on, tones follow clockwise."""
    picture = np.full((140, 200, 3), 255, np.uint8)
    for (x, y), tone in zip(_QUAD.astype(int), _TONES, strict=True):
        picture[y - 5 : y + 6, x - 5 : x + 6] = tone
    made, corners = WAYS[way](picture, _QUAD)
    seen = [int(made[int(y), int(x), 1]) for x, y in corners]
    order = [1, 0, 3, 2] if way == "mirrored" else [2, 3, 0, 1] if way == "upside down" else [0, 1, 2, 3]
    expected = WAYS["as it is" if way not in ("darker", "warmer") else way](
        np.repeat(np.array([[_TONES[k] for k in order]], np.uint8)[..., None], 3, axis=2), _QUAD
    )[0]
    assert seen == [int(tone) for tone in expected[0, :, 1]]
    around = corners.mean(axis=0)
    assert (np.sign(corners - around) == [[-1, -1], [1, -1], [1, 1], [-1, 1]]).all()


def test_a_sheet_is_found_in_a_variant(tmp_path: Path) -> None:
    place = tmp_path / "Reeds.jpg"
    place.write_bytes(photos.jpeg())
    found = try_one((place, "mirrored", photos.corners()))
    assert (found.name, found.way) == ("Reeds.jpg", "mirrored")
    assert found.overlap > 0.98


def test_what_passes_wrongly_is_named() -> None:
    rows = [
        Found("a", "w", 0.99, 0.95),
        Found("b", "w", 0.7, 0.95),
        Found("c", "w", 0.7, 0.2),
        Found("d", "w", 0.99, 0.9),
    ]
    assert told("w", rows).split()[1:] == ["4", "right", "0.500", "passed", "0.750", "wrong", "1", "b", "w", "0.700"]


def test_a_photo_that_is_none_is_told(tmp_path: Path) -> None:
    (tmp_path / "none.jpg").write_bytes(b"no photo")
    with pytest.raises(ValueError, match=r"none\.jpg can't be read"):
        try_one((tmp_path / "none.jpg", "as it is", _QUAD))
