"""Whether a colour that changes over a sheet is that of a wash, as what lies around the sheet tells.

A wash that covers a sheet, from blue to pink or to nothing, is as smooth as light: who sees the sheet alone takes its
colours for those of the light, and evens them away. But light that changes over a sheet changes over the desk beside it
too. Where the desk is of one colour from side to side, and the bare paper seems not to be, the sheet is painted.
Where that is not so clear, the eye for paper has a word.
"""

from typing import cast

import numpy as np

from autoprep.correction.paper import Paper
from autoprep.correction.paper_eye import PaperSight
from autoprep.correction.squaring import with_surroundings
from autoprep.domain import Geometry
from autoprep.imaging import fields
from autoprep.imaging.arrays import DARKEST, AnyArray, Float32, Float64
from autoprep.pixels import Photo

# The sheet, squeezed into a square, with a strip of its desk around, in cells; so many of those, and so far from each
# other (standard deviation, in sides of the sheet), tell how the desk's colour changes.
_SIDE_PX, _CELL_PX, _LEAST_CELLS, _LEAST_SPREAD = 128, 16, 8, 0.25
# What is nearly black, in linear light, has the colour of the camera's own black: the same from side to side.
_TOO_DARK = 2 * DARKEST
# By how much, in natural logs of red or blue to green, the colour of what is taken for bare paper changes from side to
# side, more where a shadow is found, and that of the desk at the most, or which share of the sheet's. (Where two lights
# change a sheet's colour the desk's changes by .7 to 1.3 times as much, .03 off in the median.)
_CHANGES, _BESIDE_SHADE, _STAYS, _SHARE = 0.15, 0.3, 0.06, 0.2
# Where the eye for paper sees so little light paper, and so much that is covered, smaller changes count, and greater
# ones of the desk; and those so great that lights hardly make them where the desk is too motley to tell. The surer the
# eye, the less the photo itself must say. (Of 3,247 photos of tuning seeds 211000-214999 the rules without the eye pass
# over 147 of 335 sheets that a wash covers; the first row finds 102 of them, all rows 115, none of 1,643 light sheets.)
_CHANGES_SEEN = 0.08
_SEEN = (
    # light paper at most, covered at least; share of the sheet's change, and least change on a motley desk
    (0.4, 0.5, 0.4, 0.4),
    (0.3, 0.7, 0.6, 0.4),
    (0.3, 0.85, 0.6, 0.3),
)
# As sure as that it is believed alone: of 80 real pages, each in seven tints of light, none gets there.
# What the eye for paper takes for covered may be crossed by hard shadows of another colour: the eye for shade knows
# those. (Of 35 washed sheets that are found by this alone, seeds 235000-235901, it sees bare paper on .56 at the most;
# on an ink drawing under such shadows, seed 234085, on .88.)
_SURELY_COVERED, _HARDLY_LIGHT, _MOSTLY_BARE = 0.95, 0.015, 0.7
# So light it sees none of 160 sheets that a wash covers and that the photo itself tells, but both of 491 light ones,
# under shadows, that the photo takes for such.
_SURELY_LIGHT = 0.85
# So much of the sheet is taken for bare paper, or it is no wash that covers it; less where the eye sees that it is.
_COVERS, _COVERS_SEEN = 0.35, 0.1

WASHED_OVER = (
    "the whole sheet looks painted all over, and not only lit, so it was taken for a wash and left as shot; a "
    "line “paper: white” in a note says that it is bare paper"
)
"""Why no paper is believed there."""


def is_washed_over(
    paper: Paper, photo: Photo, geometry: Geometry, sight: PaperSight | None = None, bare: float = 0.0
) -> bool:
    """Whether the colour of what is taken for bare paper changes over the sheet, and that of its desk does not.

    sight: what the eye for paper sees on it, where it is to be heard; bare: on which share of it the eye for shade sees
    bare paper.
    """
    if paper.coverage < _COVERS_SEEN or (sight is not None and sight.light > _SURELY_LIGHT):
        return False
    if sight is not None and sight.covered > _SURELY_COVERED and sight.light < _HARDLY_LIGHT and bare < _MOSTLY_BARE:
        return True
    changes = np.abs(_change_on_sheet(paper)).max(axis=1)
    most = float(changes.max())
    if most < _CHANGES_SEEN:
        return False
    beside = float(np.abs(_change_on_desk(photo, geometry))[changes.argmax()].max())
    # A shadow's own tint may have its share in the smooth light that is found beside it.
    enough = most >= (_CHANGES if paper.shade is None else _BESIDE_SHADE)
    if paper.coverage >= _COVERS and enough and beside < max(_STAYS, _SHARE * most):
        return True
    return sight is not None and any(
        sight.light <= light and sight.covered >= covered
        and (most >= much if np.isinf(beside) else beside < share * most)
        for light, covered, share, much in _SEEN
    )  # fmt: skip


def _change_on_sheet(paper: Paper) -> Float64:
    """(2, 2) natural log of red and of blue to green, right less left and bottom less top."""
    colours = _colours(fields.evaluate(paper.coefficients, 24, 24))
    place = (np.arange(24) + 0.5) / 24 - 0.5
    weight = place / (place @ place) / 24
    return np.stack([np.einsum("yxc,x->c", colours, weight), np.einsum("yxc,y->c", colours, weight)])


def _change_on_desk(photo: Photo, geometry: Geometry) -> Float64:
    """The same of the desk in view; infinite along an axis too little of which is seen, where it is motley, or nearly
    black."""
    shown, beyond = with_surroundings(photo, geometry, (_SIDE_PX, _SIDE_PX), _CELL_PX)
    colours = _colours(np.log(np.maximum(shown, DARKEST)))
    count = colours.shape[0] // _CELL_PX
    ring = [(y, x) for y in range(count) for x in range(count) if not (0 < y < count - 1 and 0 < x < count - 1)]
    seen, places = [], []
    for y, x in ring:
        cell = np.s_[y * _CELL_PX : (y + 1) * _CELL_PX, x * _CELL_PX : (x + 1) * _CELL_PX]
        told = ~beyond[cell]
        if told.mean() > 0.5 and float(np.median(shown[cell][told], axis=0).min()) > _TOO_DARK:
            seen.append(np.median(colours[cell][told], axis=0))
            places.append(((x + 0.5) * _CELL_PX / _SIDE_PX, (y + 0.5) * _CELL_PX / _SIDE_PX))
    if len(seen) < _LEAST_CELLS:
        return np.full((2, 2), np.inf)
    return _plane(np.array(places), np.array(seen))


def _plane(places: Float64, seen: AnyArray) -> Float64:
    """(N, 2) places and colours -> (2, 2) by how much each colour changes over a unit of x and of y."""
    off, terms = places - places.mean(0), np.ones((len(places), 3))
    terms[:, 1:] = off
    fitted = np.linalg.lstsq(terms, seen, rcond=None)[0]
    many = float(np.median(np.abs(seen - terms @ fitted))) > _STAYS
    known = (off.std(0) >= _LEAST_SPREAD) & (not many)
    return np.where(known[:, None], fitted[1:], np.inf)


def _colours(log_linear: AnyArray) -> Float32:
    return cast(Float32, log_linear[..., [0, 2]] - log_linear[..., [1]])
