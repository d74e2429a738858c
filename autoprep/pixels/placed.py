"""Where a work lies in its photo, and the light over it, as arrays: what the values of the domain come to."""

import base64
import zlib

import numpy as np

from autoprep.domain import STRAIGHT, Geometry, LightField, Outline, Side
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.bow import PLACES, Bow
from autoprep.imaging.geometry import homography, rectangle
from autoprep.imaging.resample import Lens, Warp

_PACKED_FROM, _PER_UNIT = 2000, 10_000


def quad_of(placed: Outline | Geometry) -> Float64:
    """(4, 2) float64 corners in pixels of the upright photo: top-left, top-right, bottom-right, bottom-left."""
    return np.array(placed.corners_px, np.float64)


def lens_of(geometry: Geometry) -> Lens:
    """The photo's lens as a map."""
    return Lens(geometry.photo_px[0], geometry.photo_px[1], geometry.lens_k1)


def in_photo(geometry: Geometry, points: AnyArray) -> Float64:
    """(..., 2) places of the work, 0..1 across and down -> photo pixels."""
    lens = lens_of(geometry)
    matrix = homography(rectangle(1.0, 1.0), lens.ideal(quad_of(geometry)))
    return Warp(matrix, lens, bow=bow_of(geometry, (0.0, 0.0, 1.0, 1.0))).source(points)


def followed(geometry: Geometry, inward: tuple[Side, Side, Side, Side]) -> Geometry:
    """The same work whose edges run inward by so much more: its corners are where the sides end then."""
    before = geometry.sides or (STRAIGHT,) * 4
    added = np.array(before) + np.array(inward)
    bent = geometry.model_copy(update={"sides": tuple(map(tuple, added.tolist()))})
    corners = tuple(map(tuple, in_photo(bent, rectangle(1.0, 1.0)).tolist()))
    ends = added[:, :1] + (added[:, -1:] - added[:, :1]) * np.linspace(0, 1, PLACES)
    sides = tuple(map(tuple, (added - ends).round(6).tolist()))
    return geometry.model_copy(update={"corners_px": corners, "sides": sides})


def bow_of(geometry: Geometry, frame: tuple[float, float, float, float]) -> Bow | None:
    """The bent sides of the work where it lies at (x0, y0, width, height); None where they are straight."""
    if geometry.sides is None:
        return None
    of_height, of_width = max(geometry.ratio, 1.0), max(1 / geometry.ratio, 1.0)
    return Bow(np.array(geometry.sides) * np.array([[of_height], [of_width], [of_height], [of_width]]), frame)


def packed_light(values: Float32 | Float64) -> LightField:
    """A light from (rows, cols, 3) natural logs, between -3 and 3; finer ones are packed."""
    rows, cols = values.shape[:2]
    if rows * cols <= _PACKED_FROM:
        nodes = tuple((round(float(r), 4), round(float(g), 4), round(float(b), 4)) for r, g, b in values.reshape(-1, 3))
        return LightField(rows=rows, cols=cols, log_light=nodes)
    scaled: Float64 = np.round(np.clip(np.asarray(values, np.float64), -3, 3) * _PER_UNIT)
    whole = scaled.astype(np.int16)
    # A difference that does not fit goes round, and back again in the sum.
    steps = np.concatenate([whole[:, :1], whole[:, 1:] - whole[:, :-1]], axis=1)
    packed = base64.b64encode(zlib.compress(steps.astype("<i2").tobytes(), 6)).decode()
    return LightField(rows=rows, cols=cols, packed=packed)


def light_nodes(light: LightField) -> Float32:
    """(rows, cols, 3) float32 natural-log relative light; ValueError where it has not so many nodes."""
    if not light.packed:
        return np.array(light.log_light, np.float32).reshape(light.rows, light.cols, 3)
    count = light.rows * light.cols * 3
    data = zlib.decompressobj().decompress(base64.b64decode(light.packed), 2 * count + 1)
    steps = np.frombuffer(data, "<i2").reshape(light.rows, light.cols, 3)
    return np.asarray(np.cumsum(steps, axis=1, dtype=np.int16) / _PER_UNIT, np.float32)
