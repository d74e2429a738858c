"""Reference shots: a colour chart, a grey card or a blank board that was photographed in the light of the works.

A chart tells light and camera, a grey card the colour of the light, a plain board that fills the photo the light over
the frame. A reference holds for photos of the same camera setting: same light, and white balance set by hand.
"""

from dataclasses import replace
from typing import cast

import cv2
import numpy as np

from autoprep.correction.chart import find_chart, fit_chart
from autoprep.domain import ChartFit, Declined, Geometry, LightField, Outline, ReferenceShot, ToldBy, Triple, Value
from autoprep.imaging import fields
from autoprep.imaging.arrays import DARKEST, Bool, Float32, Float64, UInt8, greatest
from autoprep.imaging.colour import LUMINANCE, lab_fast, luminance
from autoprep.imaging.planes import slope_of
from autoprep.pixels import Photo, in_photo, light_nodes, packed_light, quad_of

_LONG_PX = 240
_PLAIN = 0.035  # spread of log luminance about a smooth field: cards and boards stay below 0.02 with phone noise
# Burnt out is what has a channel so near the top of the camera's scale, linear; a gleam is no more than this share of
# the photo. So little light in the mean is as much noise, and glow of the lens, as it is the surface's.
_BURNT, _GLEAM, _BLACK = 0.93, 0.03, 0.02
_FRAME_NODES = 20
_SAME_FORMAT = 0.1  # in the logarithm of width to height: nodes are whole, and 4:3 and 3:2 are .12 apart
# Light that reaches a card is not further from what the camera took for neutral than this, in log red to blue.
_FAR_FROM_NEUTRAL = 1.1


class Reference(Value):
    """What a reference shot tells, and with which exposure (seconds * ISO / f-number^2) it was taken, if known.

    gain: per channel, makes the card neutral at unchanged luminance; light: relative light over the photo's frame;
    told_by: where several are joined, which of them told what.
    """

    name: str
    told_by: ToldBy = ToldBy()
    chart: ChartFit | None = None
    gain: Triple | None = None
    light: LightField | None = None
    exposure: float | None = None
    taken_at: str | None = None


def read_reference(photo: Photo, said: ReferenceShot, name: str) -> Reference | Declined:
    """The reference in a photo that the artist calls one; Declined with the reason where it can't serve."""
    facts = photo.facts
    told = Reference(name=name, exposure=facts.exposure, taken_at=facts.taken_at)
    chart = find_chart(photo) if said in ("light reference", "colour chart") else None
    if chart is not None:
        return told.model_copy(update={"chart": fit_chart(photo, chart), "told_by": ToldBy(chart=name)})
    if said == "colour chart":
        return Declined(reason="no colour chart with 24 patches is seen in it")
    plain = _plain(photo)
    if isinstance(plain, Declined):
        return plain
    field, colour = plain
    # A board's own white may be tinted; of a card that is called grey, grey is known. But a card is held in the hand,
    # and how the light falls on it is its own: only a board that stands where the work stood tells that.
    gain = None if said == "blank board" else _neutralising(colour)
    over = field if said == "blank board" else None
    if gain is None and said == "grey card":
        return Declined(reason="its colour is too far from grey for a card")
    told_by = ToldBy(colour="" if gain is None else name, light="" if over is None else name)
    return told.model_copy(update={"gain": gain, "light": over, "told_by": told_by})


def _plain(photo: Photo) -> tuple[LightField, Float64] | Declined:
    """The light over the frame and the mean linear colour, where the photo shows one plain surface, well exposed."""
    level = photo.reduced(max(1, max(photo.size_px) // _LONG_PX))
    small = cast(Float32, cv2.GaussianBlur(level.linear(), (0, 0), 1.5))
    height, width = small.shape[:2]
    logs = np.log(np.maximum(small, DARKEST)).reshape(-1, 3)
    x, y = fields.grid_coordinates(height, width)
    weight, coefficients = np.ones(len(x)), np.zeros((15, 3))
    rest: Float64 = np.zeros(len(x))
    terms = fields.basis(x, y, 4)
    for _ in range(4):
        coefficients = fields.solve(terms, logs, weight, 4)
        rest = np.asarray((logs - fields.evaluate(coefficients, height, width).reshape(-1, 3)) @ LUMINANCE, np.float64)
        weight = 1 / np.maximum(1, np.abs(rest) / 0.02) ** 2
    burnt_out = float((greatest(small) > _BURNT).mean()) > _GLEAM
    if float(np.percentile(np.abs(rest), 90)) > _PLAIN:
        # A board with a burnt-out spot on it looks like two surfaces.
        besides = "; it is over-exposed too, so take it again darker" if burnt_out else ""
        return Declined(reason=f"it shows neither a colour chart nor one plain surface that fills the photo{besides}")
    if burnt_out:
        return Declined(reason="it is over-exposed; take it again darker")
    if float(luminance(small).mean()) < _BLACK:
        return Declined(reason="it is far too dark; take it again lighter")
    rows, cols = (_FRAME_NODES, max(4, round(_FRAME_NODES * width / height)))
    field = fields.evaluate(coefficients, rows, cols).astype(np.float64)
    mean = field.mean(axis=(0, 1))
    return packed_light(field - mean), np.exp(mean)


def _neutralising(colour: Float64) -> Triple | None:
    """The gains that make a linear colour grey; None where no lamp would give it to a grey card."""
    if abs(float(np.log(colour[0] / colour[2]))) > _FAR_FROM_NEUTRAL:
        return None
    gain = float(colour @ LUMINANCE.astype(np.float64)) / colour
    return round(float(gain[0]), 5), round(float(gain[1]), 5), round(float(gain[2]), 5)


def at_exposure(fit: ChartFit, reference: Reference, photo: Photo) -> ChartFit | None:
    """The chart's fit for a photo that was exposed otherwise; None where one of the exposures is not known.

    The fit works on what the chart's photo would have shown: on x times the ratio k of the exposures. In its
    logarithmic terms, b ln(kx) + c ln(kx)^2, that is another gain and another slope, between other values.
    """
    if not reference.exposure or not photo.facts.exposure:
        return None
    ratio = float(np.log(reference.exposure / photo.facts.exposure))
    slope, bend = fit.bend
    factor = float(np.exp(slope * ratio + bend * ratio**2))
    red, green, blue = (round(g * factor, 6) for g in fit.gain)
    low, high = (float(value / np.exp(ratio)) for value in fit.between)
    curve = (round(slope + 2 * bend * ratio, 6), bend)
    return fit.model_copy(update={"gain": (red, green, blue), "bend": curve, "between": (low, high)})


def light_over(reference: Reference, geometry: Geometry, nodes: int = _FRAME_NODES) -> LightField | Declined | None:
    """The reference's light where a work lies in the frame: relative, 0 in the mean over the work.

    Declined where its frame was another one: where in the room its light fell is not known then.
    """
    if reference.light is None:
        return None
    width, height = geometry.photo_px
    if abs(float(np.log(reference.light.cols / reference.light.rows * height / width))) > _SAME_FORMAT:
        return Declined(
            reason=f"{reference.name} was photographed in another format (upright, across, or longer) than this photo, "
            "so that its light over the frame can't be used"
        )
    rows, cols = (nodes, max(4, round(nodes * geometry.ratio)))
    x, y = np.meshgrid((np.arange(cols) + 0.5) / cols, (np.arange(rows) + 0.5) / rows)
    at = in_photo(geometry, np.stack([x, y], axis=-1)) / np.array(geometry.photo_px)
    frame = reference.light
    maps = (at * np.array([frame.cols, frame.rows]) - 0.5).astype(np.float32)
    seen = cv2.remap(light_nodes(frame), maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    field = np.asarray(seen, np.float64)
    field -= np.log(np.exp(field) @ LUMINANCE.astype(np.float64)).mean()
    return packed_light(field)


_CARD_PX = 700
_CARD_SHARE = (0.0015, 0.25)  # of the photo
_CARD_STEEP = 1.2  # in units of L*a*b* per pixel: noise stays below, the border of a card does not
_CARD_SPREAD, _CARD_LEVELS = 0.04, (0.02, 0.75)
# Lamp light that the camera leaves uncorrected makes a card warm, log red to blue; none makes it green or pink, log
# green^2 to red * blue, but for the bend of the way from daylight to lamp light.
_CARD_FAR, _CARD_GREEN, _BEND = 0.95, 0.2, 0.4


def grey_card_beside(photo: Photo, outline: Outline, name: str) -> Reference | None:
    """The grey card that the artist says lies beside the work: a plain, four-sided, nearly neutral area.

    Of several such areas the largest counts. None where there is none.
    """
    level = photo.reduced(max(1, max(photo.size_px) // _CARD_PX))
    linear = cast(Float32, cv2.GaussianBlur(level.linear(), (0, 0), 1.0))
    luma = np.log(np.maximum(linear @ LUMINANCE, DARKEST)).astype(np.float32)
    plain = cast(UInt8, (_steepness(lab_fast(linear)) < _CARD_STEEP).astype(np.uint8))
    cv2.fillConvexPoly(plain, np.round(quad_of(outline) * level.scales).astype(np.int32), 0)
    plain = cast(UInt8, cv2.morphologyEx(plain, cv2.MORPH_OPEN, np.ones((7, 7), np.uint8)))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(plain, connectivity=4)
    best: tuple[int, Float64] | None = None
    for label in range(1, count):
        if not _CARD_SHARE[0] < stats[label, cv2.CC_STAT_AREA] / plain.size < _CARD_SHARE[1]:
            continue
        found = _as_card(labels == label, linear, luma)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    if best is None:
        return None
    told_by = ToldBy(colour=name)
    return Reference(name=name, told_by=told_by, gain=_neutralising(best[1]), exposure=photo.facts.exposure)


def _steepness(lab: Float32) -> Float32:
    """(h, w) steepest change of L*, a* or b* per pixel."""
    steep = np.zeros(lab.shape[:2], np.float32)
    for k in range(3):
        steep = np.maximum(steep, slope_of(np.ascontiguousarray(lab[..., k])))
    return steep


def _as_card(part: Bool, linear: Float32, luma: Float32) -> tuple[int, Float64] | None:
    """Size in pixels and mean linear colour of an area that may be a card."""
    contours, _ = cv2.findContours(part.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=cv2.contourArea)
    height, width = part.shape
    x, y, w, h = cv2.boundingRect(outline)
    if x <= 1 or y <= 1 or x + w >= width - 1 or y + h >= height - 1:
        return None  # the desk, the wall
    hull = cv2.convexHull(outline)
    four = cv2.approxPolyDP(hull, 0.06 * cv2.arcLength(hull, True), True)
    (_, sides, _) = cv2.minAreaRect(outline)
    if len(four) != 4 or cv2.contourArea(outline) < 0.88 * cv2.contourArea(hull) or max(sides) > 3 * min(sides):
        return None
    inner = cv2.erode(part.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    if inner.sum() < 50 or _unplain(luma, inner) > _CARD_SPREAD:
        return None
    colour = np.asarray(linear[inner].mean(axis=0), np.float64)
    red, green, blue = np.log(np.maximum(colour, 1e-4))
    level = float(colour @ LUMINANCE.astype(np.float64))
    if not _CARD_LEVELS[0] < level < _CARD_LEVELS[1]:
        return None
    warm, leafy = float(red - blue), float(2 * green - red - blue)
    if abs(warm) > _CARD_FAR or not -_CARD_GREEN < leafy < _CARD_GREEN + _BEND * abs(warm):
        return None
    return int(inner.sum()), colour


def _unplain(luma: Float32, part: Bool) -> float:
    """Spread of log luminance over an area about the plane that the falling light makes of it."""
    rows, cols = np.nonzero(part)
    terms = np.stack([np.ones(len(rows)), rows, cols], axis=1)
    values = luma[part].astype(np.float64)
    plane = np.linalg.lstsq(terms, values, rcond=None)[0]
    return float((values - terms @ plane).std())


def with_warning(photo: Photo, words: str) -> Photo:
    """The photo with one more thing to tell."""
    return replace(photo, facts=replace(photo.facts, warnings=(*photo.facts.warnings, words)))
