"""Other works in a photo than the one that is seen first: beside it, or as the parts that it is made of.

The eye is taken by the largest work: smaller ones beside it leave their edges on its edge map, and little on its mask;
much smaller ones leave nothing. A closer look at what stands out there, and at all that is free beside the works, tells
whether there is another. Where there are several, each is looked at closely: two that lie near each other are easily
seen as one.
"""

from collections.abc import Iterator, Sequence

import cv2
import numpy as np

from autoprep.correction.outline import eye
from autoprep.correction.outline.contest import REFINING_PX
from autoprep.correction.outline.copies import Copies
from autoprep.correction.outline.drawn_on import is_drawn_on
from autoprep.correction.outline.lines import corners_in
from autoprep.correction.outline.side_by_side import APART, NOT_SMALL, is_square_beside, is_strip_along, leave_free
from autoprep.imaging.arrays import Float32, Float64, UInt8
from autoprep.imaging.geometry import area, overlap_in_photo

Box = tuple[float, float, float, float]
"""Left, top, right and bottom in full-size photo pixels."""

# What stands out beside the works: such values on the mask or the edge map, so far from any work and so large, in
# shares of the map's side. Chosen on generated photos: of 400 with one work 7 % are looked at once more.
_STANDS_OUT, _AWAY, _SHORT, _LONG, _JOINED = 0.15, 0.02, 0.07, 0.09, 2
_MOST_LOOKS, _ROUNDS = 4, 2
# So much more than a thing's own size is looked at on each side, in shares of its longer side: more where that shows
# nothing.
_AROUND, _CLOSE = (0.25, 1.0), 0.15
# What is free beside the works is looked at where it is so wide, a share of the photo's side, in pieces hardly longer
# than so many times their width that overlap by a third. The desk has more on it than works, so more is asked of one
# there; but so small a share of the first it may be. (Of 20 groups of a large sheet and a small one, seeds 40000-40019,
# 19 small ones are seen so, none without; of 80 photos of one work, seeds 124000-124079, one more seems to show two.)
_FREE, _FROM_WORK, _LONGEST, _LAP, _SURELY, _SMALLER = 0.14, 0.01, 2.2, 1.5, 0.9, 0.05
# And where so many pairs of straight edges meet: four corners, on more than one plane of colour. (Where a small work
# was seen so there were 44 pairs at the least, in 19 pieces, seeds 40040-40059; elsewhere none in 160 of 196 pieces.)
_CORNERS = 4
# What the eye holds so likely for a work at the closer look is one; what overlaps so much is the same one.
_CHANCE, _SAME = 0.5, 0.3
# A line that so much of a work's height or width lies on runs through it, so far from its sides.
_LINE, _THROUGH, _FROM_SIDES, _MAP = 0.3, 0.85, 0.12, 64


def all_seen(copies: Copies, sight: eye.Sight) -> tuple[eye.Seen, ...]:
    """All works in the photo after a closer look: those of the sight alone where nothing else stands out."""
    found = list(sight.works)
    if any(all(work.cut) for work in found):
        return sight.works  # the photo shows nothing but the work
    for _ in range(_ROUNDS):
        known = len(found)
        for box in _beside(sight, found, copies.photo.full_px):
            found += _others_in(copies, box, found)
        if len(found) == known:
            break
    for box in _free_beside(found, copies.photo.full_px):
        if not _has_corners(copies, box):
            continue
        for work in _looked_at(copies, box, 0.0, _SURELY):
            if _is_another(work, found, copies, _SMALLER) and is_drawn_on(copies, work.quad):
                found.append(work)
    if len(found) == 1 and not _lines_through(sight, found[0], copies.photo.full_px):
        return tuple(found)
    return tuple(part for work in found for part in _parts(copies, sight, work))


def _others_in(copies: Copies, box: Box, known: Sequence[eye.Seen]) -> list[eye.Seen]:
    """The other works in and around a part of the photo: what stands out may be but a side of one."""
    for around in _AROUND:
        found = [work for work in _looked_at(copies, box, around) if _is_another(work, known, copies)]
        if found:
            return found
    return []


def _is_another(work: eye.Seen, known: Sequence[eye.Seen], copies: Copies, least: float = NOT_SMALL) -> bool:
    size = copies.photo.full_px
    like_one = not known or (
        area(work.quad) > least * area(known[0].quad)
        and is_square_beside(known[0].quad, work.quad)
        and not is_strip_along(known[0].quad, work.quad)
    )
    return like_one and all(overlap_in_photo(work.quad, other.quad, size) < APART for other in known)


def _parts(copies: Copies, sight: eye.Sight, work: eye.Seen) -> list[eye.Seen]:
    """The works that one that was seen turns out to be at a closer look; itself where it is one."""
    pieces = list(_pieces(work.quad, _lines_through(sight, work, copies.photo.full_px)))
    for boxes in ([_box(work.quad)], pieces):
        found: list[eye.Seen] = []
        for box in boxes:
            seen = (part for part in _looked_at(copies, box, _CLOSE) if _is_part(part, work, copies))
            found += [part for part in seen if _is_another(part, found, copies)]
        if len(found) > 1 and leave_free([part.quad for part in found]):  # else the pages of an open book
            return found
    return [work]


def _is_part(part: eye.Seen, work: eye.Seen, copies: Copies) -> bool:
    share = area(part.quad) / area(work.quad)
    return share > NOT_SMALL and overlap_in_photo(part.quad, work.quad, copies.photo.full_px) > APART


def _pieces(quad: Float64, lines: Sequence[tuple[int, float]]) -> Iterator[Box]:
    """What lies on either side of the first line through a quad; lines: as _lines_through has them."""
    for axis, at in lines[:1]:
        first, second = (quad[0], quad[3]), (quad[1], quad[2])
        if axis == 1:
            first, second = (quad[0], quad[1]), (quad[3], quad[2])
        middle = [one + at * (other - one) for one, other in zip(first, second, strict=True)]
        yield _box(np.array([*first, *middle]))
        yield _box(np.array([*middle, *second]))


def _looked_at(copies: Copies, box: Box, around: float, chance: float = _CHANCE) -> Iterator[eye.Seen]:
    """The works that a closer look at a part of the photo shows, whole and apart from each other."""
    (width, height), copy = copies.photo.full_px, copies.at(REFINING_PX)
    room = around * max(box[2] - box[0], box[3] - box[1])
    left, top = max(0.0, box[0] - room), max(0.0, box[1] - room)
    right, bottom = min(float(width), box[2] + room), min(float(height), box[3] + room)
    scale = copy.shape[1] / width
    rows, columns = slice(round(top * scale), round(bottom * scale)), slice(round(left * scale), round(right * scale))
    closer = eye.look_closer(copy[rows, columns], (left, top), (right - left, bottom - top))
    if closer is None or closer.chance < chance:
        return
    kept: list[eye.Seen] = []
    for work in closer.works:
        if not any(work.cut) and all(overlap_in_photo(work.quad, k.quad, (width, height)) < _SAME for k in kept):
            kept.append(work)
            yield work


def _box(quad: Float64) -> Box:
    (left, top), (right, bottom) = quad.min(0), quad.max(0)
    return float(left), float(top), float(right), float(bottom)


def _beside(sight: eye.Sight, works: Sequence[eye.Seen], size: tuple[int, int]) -> list[Box]:
    """What stands out on the maps beside the works, the largest first."""
    maps = sight.maps.max(0)
    side = maps.shape[0]
    per = np.array([size[0] / side, size[1] / side])
    own = np.zeros((side, side), np.uint8)
    for work in works:
        cv2.fillPoly(own, [np.round(work.quad / per).astype(np.int32)], 1)
    free = ((maps > _STANDS_OUT) & (_widened(own, max(3, round(_AWAY * side))) == 0)).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(_widened(free, _JOINED))
    boxes = []
    for left, top, width, height in stats[1:count, :4]:
        if min(width, height) >= _SHORT * side and max(width, height) >= _LONG * side:
            boxes.append((left * per[0], top * per[1], (left + width) * per[0], (top + height) * per[1]))
    return sorted(boxes, key=lambda box: (box[0] - box[2]) * (box[3] - box[1]))[:_MOST_LOOKS]


def _free_beside(works: Sequence[eye.Seen], size: tuple[int, int]) -> list[Box]:
    """What the photo shows to the left, right, top and bottom of all works, where that is wide enough, in pieces."""
    if not works:
        return []
    (width, height), off = size, _FROM_WORK * max(size)
    left, top, right, bottom = _box(np.concatenate([work.quad for work in works]))
    bands = (
        (0.0, 0.0, left - off, float(height)), (right + off, 0.0, float(width), float(height)),
        (0.0, 0.0, float(width), top - off), (0.0, bottom + off, float(width), float(height)),
    )  # fmt: skip
    wide = [b for b in bands if b[2] - b[0] > _FREE * width and b[3] - b[1] > _FREE * height]
    return [piece for band in wide for piece in _in_pieces(band)]


def _has_corners(copies: Copies, box: Box) -> bool:
    """Whether straight edges meet in a part of the photo; a bare desk, most of what is free, needs no closer look."""
    evidence, scale = copies.evidence
    left, top, right, bottom = (edge * scale for edge in box)
    return corners_in(evidence.segments, (left, top, right, bottom)) >= _CORNERS


def _in_pieces(band: Box) -> list[Box]:
    """A long band in pieces that overlap, one after the other."""
    left, top, right, bottom = band
    along, across = max(right - left, bottom - top), min(right - left, bottom - top)
    count = max(1, round(along / across / _LONGEST))
    length = min(along, _LAP * along / count)
    starts = [k * (along - length) / max(1, count - 1) for k in range(count)]
    if right - left > bottom - top:
        return [(left + start, top, left + start + length, bottom) for start in starts]
    return [(left, top + start, right, top + start + length) for start in starts]


def _widened(shape: UInt8, by: int) -> UInt8:
    return np.asarray(cv2.dilate(shape, np.ones((2 * by + 1, 2 * by + 1), np.uint8)), np.uint8)


def _lines_through(sight: eye.Sight, work: eye.Seen, size: tuple[int, int]) -> list[tuple[int, float]]:
    """Where lines of the edge map run through a work from side to side: (0 from its top, 1 from its left; 0..1)."""
    edges = sight.maps[1]
    side = edges.shape[0]
    corners = work.quad * [side / size[0], side / size[1]]
    square = np.array([[0, 0], [_MAP, 0], [_MAP, _MAP], [0, _MAP]], np.float32)
    flat = cv2.warpPerspective(edges, cv2.getPerspectiveTransform(corners.astype(np.float32), square), (_MAP, _MAP))
    found = ((axis, _line_at(np.asarray(way, np.float32))) for axis, way in enumerate((flat, flat.T)))
    return [(axis, at) for axis, at in found if at is not None]


def _line_at(flat: Float32) -> float | None:
    """Where, 0..1, columns hold a line, a little aslant, over most of their height; the middle of all such."""
    thick = cv2.dilate((flat > _LINE).astype(np.uint8), np.ones((1, 5), np.uint8))
    first = round(_FROM_SIDES * _MAP)
    columns = np.flatnonzero(thick.mean(0)[first:-first] > _THROUGH)
    return float((columns[0] + columns[-1]) / 2 + first + 0.5) / _MAP if len(columns) else None
