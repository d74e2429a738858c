"""The second eye: a small network, trained on generated scenes, that looks at a photo and says where its works lie.

It is another kind of witness than the candidates and their judge, so its agreement with them is worth more than what
either says of itself (see gate). Its weights are a data file; without it the finder works and asks more.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import cast

import cv2
import numpy as np

from autoprep.correction.network import network
from autoprep.correction.outline.masks import Shape, shapes
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.geometry import overlap_in_photo
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo

SIDE_PX = 320
"""Side of the network's input; photos of any shape are squeezed into the square."""
_WEIGHTS = "eye.onnx"
_WEIGHTS_SHA256 = "25269b82128b900fe8a11da5378415d2348f2bafbd4aa135e719d64fbfe02f16"
# A mask value between these is undecided.
_UNDECIDED = (0.1, 0.9)


@dataclass(frozen=True)
class Seen:
    """A work as the eye sees it: (4, 2) corners in full-size photo pixels, and how much its views of it agree.

    cut: whether the top, right, bottom and left side is the photo's border; views_agree: the least overlap of a
    single view's outline with that of all views together, 0..1.
    """

    quad: Float64
    cut: tuple[bool, bool, bool, bool]
    views_agree: float


@dataclass(frozen=True)
class Sight:
    """What the eye makes of a photo: the works, largest first, the chance that there is one, and the mask's doubt.

    undecided: the share of undecided pixels beside the pixels of the mask; small for works, large for scenes; maps:
    (2, n, n) float32 the mask and the edge map of the photo squeezed into a square, 0..1.
    """

    works: tuple[Seen, ...]
    chance: float
    undecided: float
    maps: Float32


def look(photo: Photo, small: Float32) -> Sight | None:
    """The photo and an (h, w, 3) float32 linear copy of it at 320 px or more -> what is seen; None without weights."""
    net = _net()
    if net is None:
        return None
    view = cast(Float32, cv2.resize(np.clip(small, 0, 1), (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA))
    codes, views = encode_fast(view), []
    for turn in _VIEWS:
        views.append(_seen(net, codes, turn))
        if len(views) > 1 and _is_settled(sight := _together(views, photo.full_px)):
            break
    return sight


def look_closer(part: Float32, at_px: tuple[float, float], size_px: tuple[float, float]) -> Sight | None:
    """An (h, w, 3) float32 linear part of a photo -> what is seen in it; cut: by the border of the part.

    at_px: the part's left and top, size_px: its width and height, in full-size photo pixels. One view only.
    """
    net = _net()
    if net is None or min(part.shape[:2]) < 2:
        return None
    view = cast(Float32, cv2.resize(np.clip(part, 0, 1), (SIDE_PX, SIDE_PX), interpolation=cv2.INTER_AREA))
    return _together([_seen(net, encode_fast(view), "plain")], size_px, at_px)


# How the photo is shown: as it is, mirrored, and, where these two leave any doubt, turned by a quarter. More views
# gained nothing in the trials.
_VIEWS = ("plain", "mirrored", "turned")
_SETTLED_VIEWS, _SETTLED_UNDECIDED, _SETTLED_CHANCE = 0.99, 0.06, 0.98


@dataclass(frozen=True)
class _View:
    """What one showing gives: the (2, n, n) mask and edge map, turned back, the chance of a work, and the shapes."""

    maps: Float32
    chance: float
    shapes: list[Shape]


def _seen(net: cv2.dnn.Net, view: Float32, turn: str) -> _View:
    shown = {"plain": view, "mirrored": view[:, ::-1], "turned": np.rot90(view)}[turn]
    net.setInput(np.ascontiguousarray(shown.transpose(2, 0, 1)[None], np.float32))
    maps, work = net.forward(["maps", "work"])
    seen = _logistic(maps[0, :2])
    back = {"plain": seen, "mirrored": seen[..., ::-1], "turned": np.rot90(seen, -1, (1, 2))}[turn]
    kept = np.ascontiguousarray(back, np.float32)
    return _View(kept, float(_logistic(work).ravel()[0]), shapes(*kept))


def _is_settled(sight: Sight) -> bool:
    """Whether two views are so much of one mind about one work that a third can hardly matter."""
    sure = sight.chance >= _SETTLED_CHANCE and sight.undecided <= _SETTLED_UNDECIDED
    return sure and len(sight.works) == 1 and sight.works[0].views_agree >= _SETTLED_VIEWS


def _together(views: list[_View], size_px: tuple[float, float], at_px: tuple[float, float] = (0.0, 0.0)) -> Sight:
    mask, edges = cast(Float32, np.mean([view.maps for view in views], axis=0))
    singles, chances = [view.shapes for view in views], [view.chance for view in views]
    merged = shapes(mask, edges) if len(views) > 1 else views[0].shapes
    works = tuple(_to_photo(shape, singles, size_px, at_px) for shape in merged)
    return Sight(works, float(np.mean(chances)), _doubt(mask), np.stack([mask, edges]))


def _logistic(x: AnyArray) -> Float32:
    return cast(Float32, 1 / (1 + np.exp(-np.clip(x, -30, 30))))


def _doubt(mask: Float32) -> float:
    low, high = _UNDECIDED
    return float(((mask > low) & (mask < high)).sum() / max(float((mask > 0.5).sum()), 1.0))


def _to_photo(
    shape: Shape, singles: list[list[Shape]], size_px: tuple[float, float], at_px: tuple[float, float]
) -> Seen:
    agree = min(max((_alike(one, shape) for one in view), default=0.0) for view in singles)
    return Seen(shape.quad * np.array(size_px, np.float64) + np.array(at_px), shape.cut, agree)


def _alike(one: Shape, other: Shape) -> float:
    return overlap_in_photo(one.quad, other.quad, (1, 1))


@lru_cache(maxsize=1)
def _net() -> cv2.dnn.Net | None:
    """The network of this process, or None where the weights are missing or not the ones this code was made for."""
    return network("autoprep.correction.outline", _WEIGHTS, _WEIGHTS_SHA256)
