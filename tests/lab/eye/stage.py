"""A scene while it is being laid: the picture, what shows at each pixel, and which things count as works."""

from dataclasses import dataclass, field

import cv2
import numpy as np

from autoprep.imaging.arrays import AnyArray, Float32, Float64, float32

from . import SIDE_PX
from .dice import Dice
from .paint import ink_of

# Works below this share of the photo are not looked for (as in outline/candidates).
_LEAST_AREA = 0.04
# A further work is at least so large beside the main one, lies whole inside and is covered by nothing. Chosen: half
# the area is a sheet of the next smaller ISO size.
_COMPANION_AREA = 0.5
_COMPANION_SHOWN = 0.96


@dataclass(frozen=True)
class Thing:
    """An object that may be a work: its outermost quad, (4, 2) float32 in scene pixels."""

    quad: Float32
    main: bool


@dataclass(frozen=True)
class Sheet:
    """How a texture becomes a thing on the ground.

    rounded: corner radius as a share of the short side; curl, rough: how far its sides bow and fray, likewise;
    shadow: range of the shadow's depth; thick_px: how far its side shows; whole_object: that side counts.
    """

    rounded: float = 0.0
    curl: float = 0.0
    rough: float = 0.0
    shadow: tuple[float, float] = (0.0, 0.5)
    thick_px: float = 0.0
    side_tone: Float32 | None = None
    whole_object: bool = False


@dataclass
class Stage:
    """The picture, (S, S, 3) float32, the number of the thing that shows at each pixel, and the things."""

    picture: Float32
    owner: AnyArray = field(default_factory=lambda: np.zeros((SIDE_PX, SIDE_PX), np.int16))
    things: list[Thing] = field(default_factory=list)

    def lay(
        self, dice: Dice, texture: Float32, quad: Float32, sheet: Sheet, work: bool = False, main: bool = False
    ) -> None:
        """Lays a texture into a quad over what is there. work: it may count as a work; main: it is the one shown."""
        window = _window(quad)
        outer, cover = _paste(dice, self.picture[window], texture, quad - _origin(window), sheet)
        number = 0
        if work or main:
            self.things.append(Thing(float32(outer + _origin(window)), main))
            number = len(self.things)
        self.owner[window][cover > 0.5] = number

    def works(self) -> list[Float32]:
        """The quads that count as works by the target policy, the main one first."""
        main = next((thing for thing in self.things if thing.main), None)
        if main is None:
            return []
        least = _COMPANION_AREA * seen_area(main.quad)
        others = [
            thing.quad
            for number, thing in enumerate(self.things, 1)
            if not thing.main and self._stands_beside(thing, number, least)
        ]
        return [main.quad, *others[:2]]

    def _stands_beside(self, thing: Thing, number: int, least_area: float) -> bool:
        if (thing.quad < 0).any() or (thing.quad > SIDE_PX).any():
            return False
        extent = seen_area(thing.quad)
        shown = float((self.owner == number).sum()) / max(extent, 1.0)
        return extent >= max(least_area, _LEAST_AREA * SIDE_PX**2) and shown > _COMPANION_SHOWN


def seen_area(quad: AnyArray) -> float:
    """Area in pixels of the part of a convex quad that lies in the photo."""
    frame = float32([[0, 0], [SIDE_PX, 0], [SIDE_PX, SIDE_PX], [0, SIDE_PX]])
    shared, _ = cv2.intersectConvexConvex(float32(quad), frame)
    return float(shared)


def size_of(quad: AnyArray, most: int = 900) -> tuple[int, int]:
    """(height, width) in pixels of the texture that suits a quad."""
    sides = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    return min(most, max(24, int(max(sides[1], sides[3])))), min(most, max(24, int(max(sides[0], sides[2]))))


def _window(quad: AnyArray) -> tuple[slice, slice]:
    """The part of the picture that a thing and its shadow can touch."""
    x0, y0 = (int(v) for v in np.clip(quad.min(0) - 45, 0, SIDE_PX - 2))
    x1, y1 = (int(v) for v in np.clip(quad.max(0) + 45, 2, SIDE_PX))
    return slice(y0, max(y1, y0 + 2)), slice(x0, max(x1, x0 + 2))


def _origin(window: tuple[slice, slice]) -> Float32:
    return np.float32([window[1].start, window[0].start])


_PAD = 16


def _paste(dice: Dice, view: Float32, texture: Float32, quad: Float32, sheet: Sheet) -> tuple[AnyArray, AnyArray]:
    """Draws shadow, side and face into a view of the picture; returns the outermost quad and the cover 0..1."""
    height, width = texture.shape[:2]
    corners = np.float32([[0, 0], [width, 0], [width, height], [0, height]])
    padded = cv2.copyMakeBorder(texture, _PAD, _PAD, _PAD, _PAD, cv2.BORDER_REPLICATE)
    outline = _outline_in_texture(dice, corners, sheet) + _PAD
    shape = np.zeros(padded.shape[:2], np.uint8)
    cv2.fillPoly(shape, [np.round(outline * 16 - 8).astype(np.int32)], 255, cv2.LINE_AA, 4)
    to_view = cv2.getPerspectiveTransform(corners + _PAD, float32(quad))
    half = np.float32([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])
    pixels = np.linalg.inv(half) @ to_view @ half
    size = (view.shape[1], view.shape[0])
    face = cv2.warpPerspective(padded, pixels, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cover = cv2.warpPerspective(shape, pixels, size, flags=cv2.INTER_LINEAR).astype(np.float32) / 255
    _cast_shadow(dice, view, cover, dice.between(*sheet.shadow))
    outer: AnyArray = quad
    if sheet.thick_px > 0:
        shift = dice.normals(sheet.thick_px, 2)
        tone = sheet.side_tone if sheet.side_tone is not None else texture.mean((0, 1)) * dice.between(0.4, 1)
        side = _draw_side(view, quad, shift, tone)
        if sheet.whole_object:
            outer, cover_all = with_side(quad, shift), np.maximum(cover, side)
            view[:] = view * (1 - cover[..., None]) + face * cover[..., None]
            return outer, cover_all
    view[:] = view * (1 - cover[..., None]) + face * cover[..., None]
    return outer, cover


def _outline_in_texture(dice: Dice, corners: Float32, sheet: Sheet) -> Float32:
    """(N, 2) the silhouette in texture pixels: bowed and frayed sides, rounded corners."""
    shortest, points = float(min(corners[2])), []
    for k in range(4):
        start, end, after = corners[k], corners[(k + 1) % 4], corners[(k + 2) % 4]
        length = float(np.linalg.norm(end - start))
        normal = np.float32([end[1] - start[1], start[0] - end[0]]) / length
        cut = sheet.rounded * shortest / length
        t = np.linspace(cut, 1 - cut, 14)[:, None]
        bow = dice.normal(0, sheet.curl) * np.sin(np.pi * t)
        if sheet.rough:
            bow = bow + np.cumsum(dice.normals(sheet.rough, (14, 1)), 0) * np.sin(np.pi * t)
        points.append(start + (end - start) * t + normal * np.clip(bow * shortest, 1 - _PAD, _PAD - 1))
        if sheet.rounded:
            before = end - (end - start) / length * sheet.rounded * shortest
            beyond = end + (after - end) / np.linalg.norm(after - end) * sheet.rounded * shortest
            v = np.linspace(0, 1, 6)[1:-1, None]
            points.append((1 - v) ** 2 * before + 2 * v * (1 - v) * end + v**2 * beyond)
    return np.concatenate(points).astype(np.float32)


def _cast_shadow(dice: Dice, view: Float32, cover: AnyArray, depth: float) -> None:
    """A close contact shadow, and in four of ten a longer one to one side."""
    if depth <= 0.02:
        return
    size = (view.shape[1], view.shape[0])
    for reach_px, widest in ((3, 9), (9, 5)) if dice.chance(0.4) else ((3, 9),):
        down = abs(dice.normal(0, reach_px)) if reach_px > 3 and dice.chance(0.6) else dice.normal(0, reach_px)
        moved = cv2.warpAffine(cover, np.float32([[1, 0, dice.normal(0, reach_px)], [0, 1, down]]), size)
        view *= (1 - depth * cv2.GaussianBlur(moved, (0, 0), dice.between(0.7, widest)))[..., None]


def _draw_side(view: Float32, quad: Float32, shift: Float32, tone: AnyArray) -> AnyArray:
    """The side of a thick thing: all between its face and the face moved by a shift; returns its cover."""
    hull = cv2.convexHull(float32(np.concatenate([quad, quad + shift]))).reshape(-1, 2)
    mask = np.zeros(view.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(np.clip(hull, -2000, 2000) * 16 - 8).astype(np.int32)], 255, cv2.LINE_AA, 4)
    share = mask.astype(np.float32) / 255
    view[:] = view * (1 - share[..., None]) + np.asarray(tone, np.float32) * share[..., None]
    return share


def with_side(quad: AnyArray, shift: AnyArray) -> Float64:
    """(4, 2) the outermost quad of a face and its copy moved by a shift: each side moves out, none moves in."""
    quad = np.asarray(quad, np.float64)
    along = np.roll(quad, -1, axis=0) - quad
    outward = np.stack([along[:, 1], -along[:, 0]], 1) / (np.linalg.norm(along, axis=1, keepdims=True) + 1e-9)
    if (outward[0] * (quad[0] - quad[2])).sum() < 0:
        outward = -outward
    moves = np.maximum(outward @ np.asarray(shift, np.float64), 0)
    lines = [np.array([n[0], n[1], -(n @ p) - d]) for n, p, d in zip(outward, quad, moves, strict=True)]
    crossings = [np.cross(lines[k - 1], lines[k]) for k in range(4)]
    return np.array([c[:2] / c[2] for c in crossings])


def polygon(stage: Stage, points: AnyArray, tone: AnyArray) -> None:
    """A filled polygon of one colour; it hides what lies below but is no thing."""
    cv2.fillPoly(stage.picture, [np.round(np.clip(points, -3000, 3000)).astype(np.int32)], ink_of(tone), cv2.LINE_AA)
