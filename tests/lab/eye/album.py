"""Photos that other packages carry, for textures, backgrounds and scenes without a work.

`add_folder` adds photos from a folder; those whose hash falls in the last fifth are held back from training and serve
to measure what is no work.
"""

import hashlib
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

from autoprep.imaging.arrays import Float32, UInt8

from .dice import Dice

_LONG_PX = 640
# Pictures of the image libraries' own samples that show no flat work lying about: textures, things, people, places.
_SAMPLES = (
    "hubble_deep_field.jpg", "retina.jpg", "ihc.png", "motorcycle_left.png", "brick.png", "grass.png", "gravel.png",
    "coins.png", "camera.png", "moon.png", "color.png", "cell.png", "clock_motion.png", "chelsea.png", "coffee.png",
    "rocket.jpg", "astronaut.png",
)  # fmt: skip
_FOLDERS: list[Path] = []


def add_folder(folder: Path) -> None:
    """Adds the JPEG and PNG photos below a folder."""
    _FOLDERS.append(folder)
    album.cache_clear()


def held_back(name: str) -> bool:
    """Whether a photo is kept out of training: one in five, by the hash of its name."""
    return hashlib.sha256(name.encode()).digest()[0] % 5 == 0


@lru_cache(maxsize=2)
def album(tests: bool = False) -> tuple[UInt8, ...]:
    """(h, w, 3) uint8 RGB photos of at most 640 pixels: for training, or those held back."""
    found = []
    for path in (*_library_samples(), *(p for folder in _FOLDERS for p in sorted(folder.rglob("*.*")))):
        if path.suffix.lower() not in (".jpg", ".jpeg", ".png") or held_back(path.name) != tests:
            continue
        picture = cv2.imread(str(path), cv2.IMREAD_COLOR)
        if picture is not None:
            found.append(_reduced(picture)[..., ::-1].copy())
    return tuple(found)


def _library_samples() -> list[Path]:
    import skimage.data
    import sklearn.datasets

    library = Path(skimage.data.__file__).parent
    photos = Path(sklearn.datasets.__file__).parent / "images"
    return [*(library / name for name in _SAMPLES), *sorted(photos.glob("*.jpg"))]


def _reduced(picture: UInt8) -> UInt8:
    ratio = _LONG_PX / max(picture.shape[:2])
    if ratio >= 1:
        return picture
    return np.asarray(cv2.resize(picture, None, fx=ratio, fy=ratio, interpolation=cv2.INTER_AREA), np.uint8)


def snippet(dice: Dice, height: int, width: int, least: float = 0.3) -> Float32:
    """(h, w, 3) float32: a random part of a random photo, squeezed to a size; least: smallest share of its sides."""
    photos = album()
    picture = photos[dice.whole(0, len(photos))]
    zoom = dice.between(least, 1)
    rows, columns = max(8, int(picture.shape[0] * zoom)), max(8, int(picture.shape[1] * zoom))
    top, left = dice.whole(0, picture.shape[0] - rows + 1), dice.whole(0, picture.shape[1] - columns + 1)
    part = picture[top : top + rows, left : left + columns]
    smooth = cv2.INTER_AREA if columns > width else cv2.INTER_LINEAR
    part = np.asarray(cv2.resize(part, (width, height), interpolation=smooth), np.uint8)
    if dice.chance(0.4):
        part = part[:, ::-1]
    return np.ascontiguousarray(part, np.float32) / 255
