"""Painting: opaque colour to the edge in visible brush strokes; some in a frame, some of these with a mat."""

from __future__ import annotations

import cv2
import numpy as np

from ..colour import Array, Mask, decode_bytes, rgb8
from ..drawing import Grid, stroke
from ..fields import fractal
from ..flatwork import FlatWork
from ..landscape import VIEWS
from ..subject import Area, Subject
from .draft import Rng

SIZES_MM = ((180, 240), (200, 250), (240, 300), (300, 400), (305, 406), (400, 500), (400, 400), (250, 500), (500, 700))


def block_in(view: Subject, size_px: tuple[int, int]) -> Mask:
    """(H, W, 3) uint8 sRGB: the view in flat colours, unit height = picture height."""
    width_px, height_px = size_px
    grid = Grid((width_px / height_px, 1.0), float(height_px))
    picture = np.full((height_px, width_px, 3), 128, np.uint8)
    for item in view.items:
        if isinstance(item, Area):
            cv2.fillPoly(picture, [grid.fixed(item.outline)], item.colour, cv2.LINE_AA, 4)
        else:
            width = max(1, round(0.0022 * (0.4 + item.weight) * height_px))
            cv2.polylines(picture, [grid.fixed(item.points)], False, item.colour, width, cv2.LINE_AA, 4)
    return picture


def brushed(base: Mask, size_px: tuple[int, int], seed: int) -> tuple[Mask, Mask]:
    """Repaint a flat picture with strokes from broad to fine: (H, W, 3) uint8 sRGB and (H, W) uint8 relief."""
    rng = np.random.default_rng([seed, 404])
    width_px, height_px = size_px
    scale = width_px / base.shape[1]
    short = min(base.shape[:2])
    canvas = np.asarray(cv2.resize(cv2.GaussianBlur(base, (0, 0), short * 0.02), size_px), np.uint8)
    relief = np.full((height_px, width_px), 128, np.uint8)
    grey = cv2.GaussianBlur(cv2.cvtColor(base, cv2.COLOR_RGB2GRAY), (0, 0), short * 0.006).astype(np.float32)
    slope_x, slope_y = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    drift = fractal(base.shape[:2], 1.0, short * 0.25, seed * 7 + 1, 2) * 0.5
    edge = np.hypot(slope_x, slope_y)
    for brush, share in ((0.036, 1.0), (0.018, 1.0), (0.009, 0.9), (0.0048, 0.55)):
        width = brush * short
        count = int(min(9000, 1.1 * base.shape[0] * base.shape[1] / (width * width * 3.2)))
        colours = cv2.GaussianBlur(base, (0, 0), max(0.5, width * 0.22))
        xs, ys = rng.integers(0, base.shape[1], count), rng.integers(0, base.shape[0], count)
        luck = rng.random(count)
        if brush < 0.01:  # the finest brush follows the edges
            kept = luck <= share * np.minimum(1.0, 0.12 + edge[ys, xs].astype(np.float64) / 22)
            xs, ys = xs[kept], ys[kept]
        along = np.where(edge[ys, xs] > 7, np.arctan2(slope_x[ys, xs], -slope_y[ys, xs]), drift[ys, xs])
        places = np.stack([xs * scale, ys * scale], axis=1)
        _dabs(canvas, relief, places, along.astype(np.float64), width * scale, colours[ys, xs], rng)
    return canvas, relief


def _dabs(
    canvas: Mask, relief: Mask, places: Array, angles: Array, width_px: float, colours: Array, rng: Rng
) -> None:  # fmt: skip
    """Strokes (N, 2) px of one brush: a few bristles side by side, each a little different in colour and height.

    What the strokes are is worked out for all at once: one by one that took most of a painting.
    """
    bristles = 4 if width_px > 6 else 2
    luck = np.empty((len(places), 6 + 2 * bristles))
    for own in luck:
        own[0] = rng.uniform(1.4, 2.8)
        own[1:] = rng.standard_normal(5 + 2 * bristles)
    t = np.array([-0.5, 0.0, 0.5])
    length = width_px * luck[:, 0]
    x, y = t * length[:, None], (0.12 * luck[:, 1] * length)[:, None] * (4 * t * t - 0.5)
    off = (np.arange(bristles) - (bristles - 1) / 2) * width_px / bristles
    x, y = x[:, None], y[:, None] + off[:, None]
    c, s = np.cos(angles)[:, None, None], np.sin(angles)[:, None, None]
    at_x, at_y = places[:, 0, None, None], places[:, 1, None, None]
    lines = np.stack([at_x + c * x - s * y, at_y + s * x + c * y], axis=-1)
    fixed = np.round(lines * 16).astype(np.int32)
    shades = colours + (5.0 * luck[:, 2:3] + 2.0 * luck[:, 3:6])
    tones = np.clip(shades[:, None] + 3.2 * luck[:, 6::2, None], 0, 252).astype(int).tolist()
    heights = np.clip(128 + 34 * luck[:, 7::2], 20, 236).astype(int).tolist()
    thick = max(1, round(width_px / bristles * 1.25))
    for stroke_lines, stroke_tones, stroke_heights in zip(fixed, tones, heights, strict=True):
        for line, tone, height in zip(stroke_lines, stroke_tones, stroke_heights, strict=True):
            cv2.polylines(canvas, [line], False, tone, thick, cv2.LINE_AA, 4)
            cv2.polylines(relief, [line], False, height, max(1, thick // 2 + 1), cv2.LINE_AA, 4)


def frame(picture: Array, px_per_mm: float, rng: Rng, seed: int) -> tuple[Array, tuple[float, float, float, float]]:
    """Put (H, W, 3) reflectance in a frame; returns the framed work and the inner picture's box in 0..1."""
    width_mm = rng.uniform(18, 55)
    mat_mm = rng.uniform(25, 60) if rng.random() < 0.4 else 0.0
    if mat_mm:
        tint = rgb8(*((236, 234, 228), (228, 218, 200), (214, 216, 218))[int(rng.integers(3))])
        picture = _surround(picture, mat_mm * px_per_mm, tint)
        bevel = max(1, round(1.2 * px_per_mm))
        edge = round(mat_mm * px_per_mm)
        h, w = picture.shape[:2]
        cv2.rectangle(
            picture, (edge - bevel, edge - bevel), (w - edge + bevel, h - edge + bevel), (0.86, 0.85, 0.83), bevel
        )
    border_px = round(width_mm * px_per_mm)
    framed = _surround(picture, border_px, np.ones(3, np.float32))
    h, w = framed.shape[:2]
    x, y = np.arange(w, dtype=np.float32)[None], np.arange(h, dtype=np.float32)[:, None]
    left, right, top, bottom = x + 0 * y, w - 1 - x + 0 * y, y + 0 * x, h - 1 - y + 0 * x
    distance = np.minimum(np.minimum(left, right), np.minimum(top, bottom))
    band = distance < border_px
    profile = _moulding(rng)
    t = np.clip(distance / border_px, 0, 1)
    height = np.interp(t, np.linspace(0, 1, len(profile)), profile).astype(np.float32)
    slope = np.gradient(profile) * len(profile)
    lean = np.interp(t, np.linspace(0, 1, len(profile)), slope).astype(np.float32)
    facing = np.where(distance == top, 1.0, np.where(distance == left, 0.55, np.where(distance == bottom, -1.0, -0.55)))
    light = 0.84 + 0.10 * np.tanh(lean * 0.6) * facing + 0.16 * (height - 0.5)
    colour = _finish_colour(rng)
    along = fractal((h, w), px_per_mm, 1.6, seed * 5 + 2, 3, 0.6, 14.0)
    upright = cv2.resize(fractal((w, h), px_per_mm, 1.6, seed * 5 + 3, 3, 0.6, 14.0).T.copy(), (w, h))
    grain = np.where((distance == top) | (distance == bottom), along, upright) * 0.06
    lip = smooth_lip(t)
    shaded = colour * (light * (1 + grain) * lip).astype(np.float32)[..., None]
    framed = np.where(band[..., None], shaded, framed).astype(np.float32)
    inner = np.clip((border_px * 1.16 - distance) / (0.16 * border_px), 0, 1) * (
        ~band
    )  # the frame's shade on the picture
    framed *= (1 - 0.35 * inner.astype(np.float32))[..., None]
    inset = (border_px + round(mat_mm * px_per_mm)) / np.array([w, h])
    return np.clip(framed, 0.006, 0.93), (float(inset[0]), float(inset[1]), float(1 - inset[0]), float(1 - inset[1]))


def smooth_lip(t: Array) -> Array:
    """Darken the groove at the sight edge and a thin line at the outer edge."""
    return np.asarray(1 - 0.45 * np.exp(-(((t - 0.97) / 0.03) ** 2)) - 0.25 * np.exp(-((t / 0.02) ** 2)), np.float32)


def _moulding(rng: Rng) -> Array:
    """(N,) heights 0..1 of a moulding from its outer to its sight edge."""
    x = np.linspace(0, 1, 80)
    kind = int(rng.integers(4))
    if kind == 0:
        profile = 0.9 - 0.25 * x  # flat, sloping in
    elif kind == 1:
        profile = np.sin(np.pi * np.clip(x * 1.1, 0, 1)) ** 0.7  # rounded
    elif kind == 2:
        profile = 0.85 - 0.7 * np.sin(np.pi * x) ** 1.4  # scooped
    else:
        profile = 0.5 + 0.3 * np.cos(3 * np.pi * x) * (1 - 0.3 * x)  # stepped
    return np.asarray(profile, np.float32)


def _finish_colour(rng: Rng) -> Array:
    """(3,) linear reflectance of a frame's wood, gilding or paint."""
    table = (
        (150, 106, 66),
        (196, 160, 88),
        (62, 46, 36),
        (40, 40, 42),
        (226, 222, 212),
        (176, 146, 112),
        (122, 132, 128),
    )
    return rgb8(*table[int(rng.integers(len(table)))])


def _surround(picture: Array, border: float, colour: Array) -> Array:
    """Add a border of one colour, `border` pixels wide."""
    n = round(border)
    value = tuple(float(c) for c in colour)
    return np.asarray(cv2.copyMakeBorder(picture, n, n, n, n, cv2.BORDER_CONSTANT, value=value), np.float32)


def build(seed: int, long_px: int) -> FlatWork:
    """A painting to the edge, framed in one seed of three."""
    rng = np.random.default_rng([seed, 44])
    short, long = SIZES_MM[int(rng.integers(len(SIZES_MM)))]
    across = rng.random() < 0.65
    width_mm, height_mm = (float(long), float(short)) if across else (float(short), float(long))
    framed = rng.random() < 0.38
    view = VIEWS[int(rng.integers(len(VIEWS)))]
    name, scene = view(rng, width_mm / height_mm)
    px_per_mm = long_px / long
    size_px = (max(8, round(width_mm * px_per_mm)), max(8, round(height_mm * px_per_mm)))
    flat_px = (round(900 * width_mm / long), round(900 * height_mm / long))
    canvas, relief = brushed(block_in(scene, flat_px), size_px, seed)
    picture = decode_bytes(canvas)
    bump = cv2.GaussianBlur(relief, (0, 0), max(0.5, 0.12 * px_per_mm)).astype(np.float32) / 255
    light = cv2.Sobel(bump, cv2.CV_32F, 1, 0) + cv2.Sobel(bump, cv2.CV_32F, 0, 1)
    weave = fractal(size_px[::-1], px_per_mm, 1.0, seed * 3 + 5, 2, 0.9)
    picture = np.clip(picture * (1 + 0.16 * np.tanh(2 * light) + 0.02 * weave)[..., None], 0.006, 0.88).astype(
        np.float32
    )
    box = _signature(picture, (width_mm, height_mm), px_per_mm, rng) if rng.random() < 0.6 else None
    size_mm, thickness, inner = (width_mm, height_mm), 18.0 if rng.random() < 0.5 else 3.0, None
    if framed:
        picture, inner = frame(picture, px_per_mm, rng, seed)
        size_mm = (picture.shape[1] / px_per_mm, picture.shape[0] / px_per_mm)
        thickness = 22.0
        shrink = long_px / max(picture.shape[:2])
        target = (max(8, round(picture.shape[1] * shrink)), max(8, round(picture.shape[0] * shrink)))
        picture = np.asarray(cv2.resize(picture, target, interpolation=cv2.INTER_AREA), np.float32)
        if box:
            (x0, y0, _x1, _y1), w, h = inner, inner[2] - inner[0], inner[3] - inner[1]
            box = (x0 + box[0] * w, y0 + box[1] * h, x0 + box[2] * w, y0 + box[3] * h)
    shape = picture.shape[:2]
    return FlatWork("painting", name, picture, np.zeros(shape, np.bool_), np.ones(shape, np.float32), size_mm, "none",
                    framed=framed, inner_box=inner, signature_box=box, thickness_mm=thickness)  # fmt: skip


def _signature(
    picture: Array, size_mm: tuple[float, float], px_per_mm: float, rng: Rng
) -> tuple[float, float, float, float]:
    """Sign in the lower right with a fine brush."""
    from ..lettering import text_width, written

    grid = Grid(size_mm, px_per_mm)
    mask = np.zeros(picture.shape[:2], np.uint8)
    x_height = max(2.0, 0.011 * max(size_mm))
    text = "Halloway"
    x, y = size_mm[0] * 0.95 - text_width(text, x_height) * 1.1, size_mm[1] * 0.95
    for points in written(text, (x, y), x_height, rng):
        stroke(grid, mask, points, 0.8)
    dark = rgb8(44, 36, 34)
    picture += (dark - picture) * (mask.astype(np.float32) / 255 * 0.85)[..., None]
    return (x / size_mm[0], (y - 2.2 * x_height) / size_mm[1], 0.96, (y + x_height) / size_mm[1])
