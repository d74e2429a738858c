"""Real photographs that packages carry: right, or a question; never a confident wrong crop."""

from pathlib import Path

import numpy as np
import pytest
import skimage

from autoprep.correction.outline import find_outline
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.pixels import quad_of
from tests.overlap import overlap_in_frame

SKIMAGE = Path(skimage.__file__).parent / "data"
OPENCV = Path("/usr/share/doc/opencv-doc/examples/data")
SURE = 0.9

# Corners by hand, clockwise from the top left, in pixels; None where the photo shows the sheet to its border.
CASES: list[tuple[Path, list[tuple[float, float]] | None]] = [
    (SKIMAGE / "page.png", None),
    (OPENCV / "sudoku.png", None),
    (OPENCV / "notes.png", None),
]


@pytest.mark.parametrize(("path", "corners"), CASES, ids=[path.name for path, _ in CASES])
def test_right_or_a_question(path: Path, corners: list[tuple[float, float]] | None) -> None:
    if not path.is_file():
        pytest.skip(f"{path.name} is not installed here")
    photo = read_photo(path.read_bytes())
    outline = find_outline(photo)
    if isinstance(outline, Declined) or outline.confidence < SURE:
        return  # a question
    width, height = photo.full_px
    truth = np.array(corners or [(0, 0), (width, 0), (width, height), (0, height)], float)
    assert overlap_in_frame(truth, quad_of(outline)) > 0.95
