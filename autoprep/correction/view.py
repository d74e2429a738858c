"""What the small networks that look at a work are shown: the work squeezed into a square with a strip of its desk."""

from dataclasses import dataclass

import cv2
import numpy as np

from autoprep.correction.fallen import BEYOND, DESK, WORK
from autoprep.correction.squaring import with_surroundings
from autoprep.domain import Geometry
from autoprep.imaging.arrays import AnyArray, Bool, Float32, UInt8
from autoprep.imaging.colour import LUMINANCE
from autoprep.imaging.transfer import encode_fast
from autoprep.pixels import Photo

SIDE_PX, MARGIN_PX = 320, 32
"""Side of the network's input, and the width of the desk in it: works of any shape are squeezed into the square."""
_DARKEST = 0.003
_BRIGHT = 0.8  # what 99 % of the work, or of all that is seen, stays below, in linear light


@dataclass(frozen=True)
class View:
    """codes: (n, n, 3) uint8 sRGB codes, exposed for the work's lightest parts; where: (n, n) uint8, BEYOND, DESK or
    WORK; luma: (n, n) float32 natural log of luminance, which no exposure clips; all_codes: as codes, exposed for the
    lightest parts of all that is seen."""

    codes: UInt8
    where: UInt8
    luma: Float32
    all_codes: UInt8


def seen_squarely(photo: Photo, geometry: Geometry) -> View:
    """What an eye is shown: the work squeezed into a square with its surroundings, exposed for its lightest parts."""
    side = SIDE_PX - 2 * MARGIN_PX
    linear, beyond = with_surroundings(photo, geometry, (side, side), MARGIN_PX)
    where = np.full(beyond.shape, DESK, np.uint8)
    where[MARGIN_PX:-MARGIN_PX, MARGIN_PX:-MARGIN_PX] = WORK
    where[beyond] = BEYOND
    on_work = where == WORK
    luma = linear @ LUMINANCE
    codes, all_codes = (_exposed(linear, luma, part) * (~beyond)[..., None] for part in (on_work, ~beyond))
    return View(codes, where, np.log(np.maximum(luma, _DARKEST)).astype(np.float32), all_codes)


def _exposed(linear: Float32, luma: Float32, part: Bool) -> UInt8:
    """(n, n, 3) uint8 sRGB codes, exposed for the lightest places of a part."""
    bright = float(np.percentile(luma[part], 99)) if part.any() else 1.0
    codes = encode_fast(linear * np.float32(_BRIGHT / max(bright, 1e-4))) * 255
    return np.round(codes).astype(np.uint8)


def shown_twice(net: cv2.dnn.Net, view: View) -> tuple[Float32, Float32]:
    """(k, m, m) each: the network's maps of a view, and those of its mirror image, turned back."""
    shown = _shown(view.codes, view.where)
    return _maps(net, shown), _maps(net, shown[:, ::-1])[..., ::-1]


def shown_whole(net: cv2.dnn.Net, view: View) -> Float32:
    """(k, m, m) the network's maps of a view that is exposed for all that is seen."""
    return _maps(net, _shown(view.all_codes, view.where))


def _shown(codes: UInt8, where: UInt8) -> Float32:
    place = where[..., None].astype(np.float32) / WORK
    return np.concatenate([codes.astype(np.float32) / 255, place], axis=-1)


def _maps(net: cv2.dnn.Net, shown: Float32) -> Float32:
    net.setInput(np.ascontiguousarray(shown.transpose(2, 0, 1)[None], np.float32))
    return np.asarray(net.forward()[0], np.float32)


def on_work(maps: AnyArray) -> AnyArray:
    """(..., m, m) maps of a view -> the part of them that lies on the work."""
    edge = MARGIN_PX * maps.shape[-1] // SIDE_PX
    return maps[..., edge:-edge, edge:-edge]
