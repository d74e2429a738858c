"""Whether lines, squares or dots are printed on a sheet: thin dark lines that come back at one distance."""

from typing import cast

import cv2
import numpy as np

from autoprep.imaging import quick
from autoprep.imaging.arrays import DARKEST, Float32, Float64
from autoprep.imaging.colour import luminance

# Chosen: lines of 0.2-0.6 mm at 1150 px along A4 are 1-3 px; they come back every 4-10 mm.
_LINE_PX, _BLOCKS = 7, 5
_LEAST_LAG, _MOST_LAG = 8, 60
_COMES_BACK = 0.35  # autocorrelation at the distance of the lines; writing and paper's tooth stay below
_RULED = 0.75  # share of the parts; ruled pages show it in .76 and more, others in .48 and less but for one in 120
# A ruling goes on up to a border where so many of the pieces of a strip along it show it; strip in shares of the long
# side. (Of 80 real pages 32 show it so along all four: the page is .96 and more of 31 of these photos, .943 of the
# other. Of the 48 that do not it is less than .95 in 25.)
_ALL_OVER, _STRIP, _PIECES, _PIECES_RULED = 0.95, 0.03, 4, 3
_FAINTEST = 0.004  # natural log: rulings are darker than the paper by more, on the mean of a line


def is_ruled(linear: Float32) -> bool:
    """Whether (H, W, 3) float32 linear sRGB of a rectified work shows a sheet with a ruling."""
    return ruled_share(linear) >= _RULED


def ruled_share(linear: Float32) -> float:
    """(H, W, 3) float32 linear sRGB of a rectified work -> share 0..1 of its parts that show a ruling."""
    return _share_that_shows(_lines(linear))


def is_ruled_to_borders(linear: Float32) -> bool:
    """Whether (H, W, 3) float32 linear sRGB of a photo shows squares everywhere, up to each of its borders.

    Lines of one direction do not tell where they would end across it.
    """
    lines = _lines(linear)
    if _share_that_shows(lines) < _ALL_OVER:
        return False
    wide = max(2 * _LINE_PX, round(_STRIP * max(lines.shape)))
    strips = (np.rot90(lines, side)[:wide] for side in range(4))
    return all(
        sum(_comes_back(piece.mean(0)) > _COMES_BACK for piece in _split(strip, _PIECES)) >= _PIECES_RULED
        for strip in strips
    )


def _lines(linear: Float32) -> Float32:
    """(H, W) by how much thin lines are darker than what is around them, natural log."""
    luma = quick.log(np.maximum(luminance(linear), DARKEST))
    lines = cast(Float32, cv2.morphologyEx(luma, cv2.MORPH_CLOSE, np.ones((_LINE_PX, _LINE_PX), np.uint8))) - luma
    # A pen's line is far darker than a ruling; cut at that, it does not drown it.
    return cast(Float32, np.minimum(lines, np.float32(0.25)))


def _share_that_shows(lines: Float32) -> float:
    return float(np.mean([_shows(part) for rows in np.array_split(lines, _BLOCKS) for part in _split(rows, _BLOCKS)]))


def _split(lines: Float32, count: int) -> list[Float32]:
    return np.array_split(lines, count, axis=1)


def _shows(part: Float32) -> bool:
    return max(_comes_back(part.mean(0)), _comes_back(part.mean(1))) > _COMES_BACK


def _comes_back(profile: Float32) -> float:
    """The autocorrelation of a profile at the distance at which it comes back best; 0 where nothing does."""
    if len(profile) < 3 * _LEAST_LAG:
        return 0.0
    smooth = cast(Float64, cv2.GaussianBlur(profile[None].astype(np.float64), (0, 0), 12.0))[0]
    fine = profile - smooth
    power = float((fine**2).mean())
    if power < _FAINTEST**2:
        return 0.0
    lags = np.arange(_LEAST_LAG, min(_MOST_LAG, len(fine) // 3))
    if not len(lags):
        return 0.0
    sums = np.correlate(fine, fine, "full")[len(fine) - 1 + lags]  # of products with itself, so far on
    return float((sums / (len(fine) - lags)).max()) / power
