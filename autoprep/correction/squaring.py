"""From an outlined photo to the work squared: its corners, its true proportion, where its sides bend or are torn."""

from dataclasses import dataclass
from typing import cast
from weakref import WeakKeyDictionary

import cv2
import numpy as np

from autoprep.correction.bend import LEAST_BENDS, bent_sides
from autoprep.correction.edges import MARGIN, Edges, looked_at, trace
from autoprep.correction.perspective import focal_length_px, proportion, ratio_range
from autoprep.correction.silhouette import find_silhouette, whole_in_frame
from autoprep.domain import Corner, Geometry, Outline
from autoprep.imaging.arrays import Bool, Float32, Float64
from autoprep.imaging.geometry import area, homography, rectangle
from autoprep.imaging.resample import Level, Span, Warp, strips, warp_rows
from autoprep.pixels import Photo, Work, bow_of, followed, in_photo, lens_of, quad_of

# The rectified measuring copy: about one megapixel.
MEASURING_PIXELS = 1_000_000


def geometry_of(photo: Photo, outline: Outline, size_mm: tuple[float, float] | None = None, turn: int = 0) -> Geometry:
    """Corners, true proportion and lens of an outlined photo, turned clockwise by so many degrees.

    size_mm: (width, height), where it is known.
    """
    size = photo.full_px
    if outline.whole_photo:
        ratio = size[0] / size[1]
        found = Geometry(photo_px=size, corners_px=outline.corners_px, ratio=ratio, ratio_from="whole photo")
    else:
        told = proportion(quad_of(outline), size, focal_length_px(size, photo.facts.focal_mm35), size_mm)
        found = Geometry(
            photo_px=size,
            corners_px=outline.corners_px,
            ratio=told.ratio,
            ratio_from=told.source,
            focal_px=told.focal_px,
        )
    return found.turned(turn // 90)


def measured_ratio(photo: Photo, outline: Outline) -> tuple[float, tuple[float, float]]:
    """width : height of the work as the outline alone tells it, and the least and most that it may be besides."""
    ratio = geometry_of(photo, outline).ratio
    if outline.whole_photo:
        return ratio, (ratio, ratio)
    focal_px = focal_length_px(photo.full_px, photo.facts.focal_mm35)
    return ratio, ratio_range(quad_of(outline), photo.full_px, focal_px)


def rectify(photo: Photo, geometry: Geometry, pixels: int = MEASURING_PIXELS) -> Work:
    """The work, warped square at about `pixels` pixels (never enlarged); kept for the next caller."""
    kept = _RECTIFIED.setdefault(photo, {})
    if (geometry, pixels) not in kept:
        kept[geometry, pixels] = Work(*_warped(photo, geometry, _measuring_size(photo, geometry, pixels), 0))
    return kept[geometry, pixels]


# The works that were squared of each photo, for as long as it is in use.
_RECTIFIED: WeakKeyDictionary[Photo, dict[tuple[Geometry, int], Work]] = WeakKeyDictionary()


def let_go(photo: Photo) -> None:
    """Forget what was kept of a photo that is looked at no more but at its own pixels; it is made again if need be."""
    _RECTIFIED.pop(photo, None)
    photo.let_go()


def _measuring_size(photo: Photo, geometry: Geometry, pixels: int) -> tuple[int, int]:
    covered = area(lens_of(geometry).ideal(quad_of(geometry))) * photo.scale**2
    height = float(np.sqrt(min(pixels, covered) / geometry.ratio))
    return max(24, round(height * geometry.ratio)), max(24, round(height))


def _warped(
    photo: Photo,
    geometry: Geometry,
    size: tuple[int, int],
    margin_px: int,
    least: float = 1.0,
    parts: list[tuple[Span, Span]] | None = None,
) -> tuple[Float32, float]:
    """The work at (width, height) pixels with a margin of surroundings, and photo pixels per pixel.

    It is taken from the smallest copy that has `least` pixels for each of it. parts: rows and columns that alone are
    taken; all else is 0.
    """
    lens = lens_of(geometry)
    whole = (size[0] + 2 * margin_px, size[1] + 2 * margin_px)
    matrix = homography(rectangle(*size) + margin_px, lens.ideal(quad_of(geometry)))
    warp = Warp(matrix, lens, bow=bow_of(geometry, (margin_px, margin_px, *size)))
    factor = 1
    while warp.scale(*whole) * photo.scale / (factor * 2) >= least:
        factor *= 2
    copy = photo.reduced(factor)
    level = Level(copy.crop, copy.size_px, copy.scales)
    out = np.zeros((whole[1], whole[0], 3), np.float32)
    for rows in strips(whole):
        for down, across in parts or [((0, whole[1]), (0, whole[0]))]:
            first, last = max(rows[0], down[0]), min(rows[1], down[1])
            if first < last:
                made = warp_rows(level, warp, whole, rows, ((first, last), across))
                out[first:last, across[0] : across[1]] = made
    return out, warp.scale(*whole)


_EDGE_PX = 0.7  # an edge wanders by more than the pixels that this leaves out


@dataclass(frozen=True)
class Rimmed:
    """A work and the edges that are seen about it; photo_px: photo pixels per pixel of their picture."""

    geometry: Geometry
    traced: Edges | None
    photo_px: float


def rimmed(photo: Photo, outline: Outline, size_mm: tuple[float, float] | None = None, turn: int = 0) -> Rimmed:
    """The geometry of an outlined work, which follows its sides where they bend, and the edges that are seen in it."""
    geometry, quarters = geometry_of(photo, outline, size_mm, turn), turn // 90
    if geometry.ratio_from == "whole photo":
        return Rimmed(geometry, None, 1.0)
    cut = tuple(outline.cut[(k - quarters) % 4] for k in range(4))
    rim = _traced(photo, geometry)
    for least in LEAST_BENDS:  # seen straight, what is left of a bend is seen better
        sides = None if rim.traced is None else bent_sides(rim.traced, cut, least)
        if sides is None:
            break
        bent = followed(rim.geometry, sides)
        corners = outline.model_copy(update={"corners_px": bent.turned(-quarters).corners_px})
        true = geometry_of(photo, corners, size_mm, turn)  # its proportion too follows from where the corners are now
        rim = _traced(photo, true.model_copy(update={"sides": bent.sides}))
    return rim


def _traced(photo: Photo, geometry: Geometry) -> Rimmed:
    size = _measuring_size(photo, geometry, 2 * MEASURING_PIXELS)
    margin_px = max(6, round(MARGIN * max(size)))
    whole = (size[0] + 2 * margin_px, size[1] + 2 * margin_px)
    framed, photo_px = _warped(photo, geometry, size, margin_px, _EDGE_PX, looked_at(whole, margin_px))
    return Rimmed(geometry, trace(framed, margin_px, _beyond(geometry, size, margin_px)), photo_px)


def with_surroundings(
    photo: Photo,
    geometry: Geometry,
    size: tuple[int, int],
    margin_px: int,
    parts: list[tuple[Span, Span]] | None = None,
) -> tuple[Float32, Bool]:
    """The work squeezed to (width, height) pixels with a margin of what lies around it, (H, W, 3) float32 linear, and
    (H, W) where that lies beyond the photo.

    parts: rows and columns of the picture that alone are taken; all else of it is 0.
    """
    picture, _ = _warped(photo, geometry, size, margin_px, parts=parts)
    return picture, np.asarray(_beyond(geometry, size, margin_px) > 0)


_COARSE = 8  # pixels: the photo's border is a line, so it is enough to know every eighth


def _beyond(geometry: Geometry, size: tuple[int, int], margin_px: int) -> Float32:
    """(H, W) more than 0 where a work of (width, height) and its margin lie beyond the photo."""
    width, height = (length + 2 * margin_px for length in size)
    x, y = (np.linspace(0, length, length // _COARSE + 2) for length in (width, height))
    places = (np.stack(np.meshgrid(x, y), axis=-1) - margin_px) / size
    into, most = in_photo(geometry, places), np.array(geometry.photo_px)
    out = np.maximum(-into, into - most).max(axis=-1).astype(np.float32)
    if float(out.max()) <= 0:
        return np.zeros((height, width), np.float32)
    return np.maximum(cast(Float32, cv2.resize(out, (width, height), interpolation=cv2.INTER_LINEAR)), 0)


@dataclass(frozen=True)
class Torn:
    """A sheet whose edges are torn, deckled or rounded.

    frame: it holds all of the sheet; silhouette: the edges in that frame; around: (4, 2) the frame's corners in the
    frame of the outline, 0..1 across and down.
    """

    frame: Geometry
    silhouette: tuple[Corner, ...]
    around: Float64


def torn_edges(rim: Rimmed) -> Torn | None:
    """The frame that holds all of a torn, deckled or rounded sheet, and its edges; None where they are cut straight."""
    found = None if rim.traced is None else find_silhouette(rim.traced, rim.photo_px)
    if found is None:
        return None
    frame, points = whole_in_frame(rim.geometry, found)
    return Torn(frame, tuple((round(float(x), 5), round(float(y), 5)) for x, y in points), found.around)
