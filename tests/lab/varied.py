"""Real photos with labelled outlines, each in seven ways: `python -m tests.lab varied FOLDER`.

A few dozen photos that were looked at while cuts were chosen tell little of others. Their variants are photos of the
same world that no choice has seen: what is right by luck on a photo is often wrong on its mirror image. labels.json: as
for `pages` (real_pages); those of the kind "unclear" are left out. The photos are no part of the project.
"""

import json
import multiprocessing
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from autoprep.correction.outline import find_outline
from autoprep.domain import Declined
from autoprep.files.reading import read_photo
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.imaging.transfer import linear_to_srgb, srgb_to_linear
from autoprep.pixels import quad_of

from .camera import Matrix
from .colour import Array
from .score import SURE

_RIGHT = 0.95
_QUALITY, _POOR_QUALITY = 92, 70
_DARKER, _WARMER = 0.45, (1.08, 0.9, 0.62)  # shares of the light: a stop less, and a lamp's red, green and blue
_SMALLER, _CUT = 0.6, 0.04

Varied = tuple[Array, Matrix]
"""(H, W, 3) uint8 sRGB, and (4, 2) corners of the work in it, from its top left one clockwise."""


def _mirrored(picture: Array, quad: Matrix) -> Varied:
    return picture[:, ::-1], (quad * [-1, 1] + [picture.shape[1], 0])[[1, 0, 3, 2]]


def _upside_down(picture: Array, quad: Matrix) -> Varied:
    return picture[::-1, ::-1], ([picture.shape[1], picture.shape[0]] - quad)[[2, 3, 0, 1]]


def _cut(picture: Array, quad: Matrix) -> Varied:
    height, width = picture.shape[:2]
    down = round(_CUT * height)
    return picture[down:, : width - round(_CUT * width)], quad - [0, down]


def _smaller(picture: Array, quad: Matrix) -> Varied:
    return cv2.resize(picture, None, fx=_SMALLER, fy=_SMALLER, interpolation=cv2.INTER_AREA), quad * _SMALLER


def _in_light(picture: Array, shares: float | tuple[float, float, float]) -> Array:
    coded = linear_to_srgb(srgb_to_linear(picture / 255.0) * np.array(shares))
    return (coded * 255 + 0.5).astype(np.uint8)


WAYS: dict[str, Callable[[Array, Matrix], Varied]] = {
    "as it is": lambda picture, quad: (picture, quad),
    "mirrored": _mirrored,
    "upside down": _upside_down,
    "cut at the top and the right": _cut,
    "darker": lambda picture, quad: (_in_light(picture, _DARKER), quad),
    "warmer": lambda picture, quad: (_in_light(picture, _WARMER), quad),
    "smaller and coarser": _smaller,
}
"""What is done to a picture and to the corners in it; nothing is made up that the photo does not show."""


@dataclass(frozen=True)
class Found:
    """What came of one variant: the overlap with the label, 0 where nothing was found, and the confidence."""

    name: str
    way: str
    overlap: float
    confidence: float


def try_one(job: tuple[Path, str, Matrix]) -> Found:
    """Vary one photo, encode it again, and look for its work."""
    cv2.setNumThreads(1)
    place, way, quad = job
    picture, corners = WAYS[way](read_rgb(place), quad)
    quality = _POOR_QUALITY if way == "smaller and coarser" else _QUALITY
    coded = cv2.imencode(".jpg", np.ascontiguousarray(picture[..., ::-1]), [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    found = find_outline(read_photo(coded.tobytes()))
    if isinstance(found, Declined):
        return Found(place.name, way, 0.0, 0.0)
    size = (picture.shape[1], picture.shape[0])
    return Found(place.name, way, float(overlap_in_photo(quad_of(found), corners, size)), found.confidence)


def read_rgb(place: Path) -> Array:
    """(H, W, 3) uint8 of a photo that lies upright; ValueError where it can't be read."""
    picture = cv2.imread(str(place), cv2.IMREAD_COLOR)
    if picture is None:
        raise ValueError(f"{place} can't be read")
    return np.asarray(picture[..., ::-1])


def score_varied(folder: Path, processes: int = 2) -> list[Found]:
    """Try every photo of a folder in every way, and print for each way how many are right, pass, and are wrong."""
    labels = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
    clear = {name: np.array(label["quad"], float) for name, label in labels.items() if label["kind"] != "unclear"}
    jobs = [(folder / name, way, quad) for way in WAYS for name, quad in clear.items()]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        found = pool.map(try_one, jobs, chunksize=4)
    for way in WAYS:
        print(told(way, [one for one in found if one.way == way]))
    print(told("all", found))
    return found


def told(what: str, found: Iterable[Found]) -> str:
    """A line: the shares that are right and that pass, and which pass wrongly."""
    rows = list(found)
    passed = [one for one in rows if one.confidence >= SURE]
    wrong = [one for one in passed if one.overlap < _RIGHT]
    right = np.mean([one.overlap > _RIGHT for one in rows])
    names = ", ".join(f"{one.name} {one.way} {one.overlap:.3f}" for one in wrong)
    share = len(passed) / len(rows)
    return f"{what:30s} {len(rows):4d}  right {right:.3f}  passed {share:.3f}  wrong {len(wrong)}  {names}"
