"""The plan's photometric part, applied to strips of linear light."""

from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np

from autoprep.domain import CorrectionPlan, Declined, LightField, Tone
from autoprep.imaging.arrays import AnyArray, Float32, least
from autoprep.imaging.colour import luminance
from autoprep.imaging.planes import in_each
from autoprep.pixels import light_nodes

# The gain map is computed at every so many pixels and interpolated: the light bends slowly. Of small pictures at more,
# so that two of its nodes stand for each of the light's, which has borders of shadows in it.
_MOST_STEP_PX, _NODES_EACH = 8, 2


@dataclass(frozen=True)
class Photometry:
    """A plan's light, neutral and tone, prepared for pictures of the work of (width, height) pixels.

    tinted: the gains differ by channel.
    """

    gain: Float32
    tone: Tone
    step_px: int = _MOST_STEP_PX
    tinted: bool = False

    def __call__(self, linear: Float32, first_col: int, first_row: int) -> Float32:
        """(rows, W, 3) float32 linear light from (first_col, first_row) of the work on -> corrected linear light.

        Beyond the work's borders the light at the border goes on.
        """
        rows, width = linear.shape[:2]
        gain = _interpolated(self.gain, self.step_px, (first_col, first_row), (width, rows))
        out = np.empty(linear.shape, np.float32)
        few = max(1, _AT_ONCE // (3 * width))
        for row in range(0, rows, few):
            seen, gained = linear[row : row + few], out[row : row + few]
            np.multiply(seen, gain[row : row + few], out=gained)
            if self.tinted:
                _leave_white(gained, seen)
            _bend(gained, self.tone)
        return out


# Values that are gone through at a time: with what is made of them they stay in the cache of one core.
_AT_ONCE = 300_000


# Linear light of the camera's weakest channel from which a pixel is on its way to burnt out, and at which it is.
_BRIGHT, _BURNT = 0.90, 0.97


def _leave_white(gained: Float32, seen: Float32) -> None:
    """Make grey, in place, what the camera has burnt out in all channels; its luminance stays.

    With the gains it would have the inverse colour of the light. Both (rows, W, 3) linear: with the gains, and as seen.
    """
    if float(seen.max()) <= _BRIGHT:
        return
    weakest = least(seen)
    if float(weakest.max()) <= _BRIGHT:
        return
    share = np.asarray(np.clip((weakest - _BRIGHT) / np.float32(_BURNT - _BRIGHT), 0, 1), np.float32)
    gained += (in_each(luminance(gained)) - gained) * in_each(share)


def _interpolated(gain: Float32, step_px: int, first: tuple[int, int], size: tuple[int, int]) -> Float32:
    """Pixels from `first` (column, row) on, (width, height) of them, of a map with a node in each cell's centre.

    Beyond the map its border goes on.
    """
    takes = [
        np.arange(start // step_px - 1, (start + length) // step_px + 2)
        for start, length in zip(first, size, strict=True)
    ]
    cols, lines = (np.clip(take, 0, side - 1) for take, side in zip(takes, gain.shape[1::-1], strict=True))
    nodes = gain.take(lines, 0).take(cols, 1)
    wide = (len(cols) * step_px, len(lines) * step_px)
    whole = cast(Float32, cv2.resize(nodes, wide, interpolation=cv2.INTER_LINEAR))
    x, y = (start - int(take[0]) * step_px for start, take in zip(first, takes, strict=True))
    return whole[y : y + size[1], x : x + size[0]]


def photometry(plan: CorrectionPlan, size: tuple[int, int]) -> Photometry:
    """Prepare a plan for pictures of the work of `size` (width, height) pixels."""
    width, height = size
    constant = np.full(3, plan.tone.gain, np.float32)
    if not isinstance(plan.neutral, Declined):
        constant *= np.array(plan.neutral.gain, np.float32)
    if isinstance(plan.light, Declined):
        return Photometry(constant.reshape(1, 1, 3), plan.tone, tinted=_is_tinted(plan))
    light = plan.light
    step = min(width // (_NODES_EACH * light.cols), height // (_NODES_EACH * light.rows), _MOST_STEP_PX)
    step = max(step, 1)
    return Photometry(np.exp(-_spread(light, size, step)) * constant, plan.tone, step, _is_tinted(plan))


def _is_tinted(plan: CorrectionPlan) -> bool:
    gain = (1.0,) * 3 if isinstance(plan.neutral, Declined) else plan.neutral.gain
    return max(gain) > min(gain)


def _spread(light: LightField, size: tuple[int, int], step_px: int) -> Float32:
    """(h, w, 3) float32 log light at the gain map's nodes, from the plan's grid, cubic in between."""
    across, down = ((np.arange(side // step_px + 2) + 0.5) * step_px / side for side in size)
    return light_at(light, np.stack(np.meshgrid(across, down), axis=-1))


def light_at(light: LightField, places: AnyArray) -> Float32:
    """(h, w, 2) places of the work, 0..1 across and down -> (h, w, 3) float32 log light, cubic between the nodes.

    Beyond the outermost nodes it goes on straight for as much as two of them.
    """
    at = (np.asarray(places) * [light.cols, light.rows] - 0.5 + 2).astype(np.float32)
    grid = _extended(light_nodes(light))
    return cast(Float32, cv2.remap(grid, at[..., 0], at[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))


def _extended(grid: Float32) -> Float32:
    """The grid with two more nodes on each side, continued linearly: repeating the last node would flatten the
    light along the borders, where sheets are bare and every step shows."""
    for axis in (0, 1):
        first = np.take(grid, [0], axis)
        last = np.take(grid, [-1], axis)
        if grid.shape[axis] > 1:
            slope_in, slope_out = first - np.take(grid, [1], axis), last - np.take(grid, [-2], axis)
        else:
            slope_in, slope_out = first * 0, last * 0
        grid = np.concatenate(
            [first + 2 * slope_in, first + slope_in, grid, last + slope_out, last + 2 * slope_out], axis
        )
    return np.ascontiguousarray(grid, np.float32)


def shoulder(linear: Float32, tone: Tone) -> Float32:
    """Values above the knee approach the ceiling; slope 1 at the knee, never beyond the ceiling."""
    bent = linear.copy()
    _bend(bent, tone)
    return bent


def _bend(linear: Float32, tone: Tone) -> None:
    """`shoulder`, in place."""
    room = tone.ceiling - tone.knee
    if room <= 0 or float(linear.max()) <= tone.knee:
        return
    below = cv2.threshold(linear, float(np.float32(tone.knee)), 0, cv2.THRESH_TRUNC)[1].reshape(linear.shape)
    # Below the knee nothing is over it, and of the exponential nothing is taken.
    over = linear
    over -= below
    over *= np.float32(-1 / room)
    cv2.exp(over, dst=over)
    over *= np.float32(-room)
    over += np.float32(room)
    over += below
