"""Simulated photos of flat works, rendered in linear light from a SceneSpec, with the truth beside them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from . import carriers, desks, objects, sensor
from .camera import Camera, Matrix, place, rotation, spread
from .colour import LUMINANCE, Array, Mask, light_colour, rgb8
from .exif import encode_jpeg
from .fields import blurred, smoothstep
from .flatwork import FlatWork
from .light import Bend, Caster, Lamp, Light, make_light
from .relief import FLAT, Relief
from .spec import DESKS, SceneSpec, random_spec, rough_spec
from .works import make_work

COVERED_LONG = 480
LIGHT_STEP_PX = 12  # the light is smooth: it is worked out on every twelfth pixel (of 4032) and spread
DESK_LONG_PX = 2600  # a desk needs no more detail than this


@dataclass(frozen=True)
class Truth:
    """What is known about a simulated photo."""

    corners_px: NDArray[
        np.float64
    ]  # (4, 2) top left, top right, bottom right, bottom left; pixel (i, j) centre at j+.5, i+.5
    size_mm: tuple[float, float]
    distortion: float  # k1 as in camera.py
    light: Array  # (h, w, 3) what a perfect white would read in linear camera values, over the work's own frame
    exposure: float  # what the camera set for the scene; the light in the file is proportional to it
    gains: Array  # (3,) that exposure with the white balance: what the camera makes of each colour of the light
    covered: Array  # (h, w) share 0..1 hidden by a finger, tape or a pen, over the work's own frame
    work: FlatWork
    camera: Camera
    relief: Relief = FLAT


@dataclass(frozen=True)
class Shot:
    """One simulated photo."""

    pixels: Mask  # (H, W, 3) uint8 sRGB-coded RGB
    truth: Truth
    spec: SceneSpec

    def vignette(self, from_middle: Matrix) -> Array:
        """(..., 2) places from the photo's middle, in half diagonals -> what its lens leaves of the light there."""
        return vignette(self.spec, from_middle)


def camera_of(spec: SceneSpec, size_mm: tuple[float, float]) -> Camera:
    """The camera of a spec, placed for a work of this size."""
    turn = rotation(spec.tilt_deg, spec.pan_deg, spec.roll_deg)
    return place(size_mm, turn, spec.focal_mm35, spec.distortion, spec.aspect, spec.fill, spec.offset, spec.beyond)


def light_of(spec: SceneSpec, size_mm: tuple[float, float]) -> Light:
    """The light of a spec, placed for a work of this size."""
    w, h = size_mm
    at = (spec.shadow_at[0] * w / 2, spec.shadow_at[1] * h / 2)
    size = 0.75 + 0.25 * max(size_mm) / 297
    caster = Caster(spec.shadow, at, spec.shadow_turn_deg, spec.shadow_softness_mm, spec.shadow_strength, size)
    light = make_light(size_mm, spec.light_azimuth_deg, spec.light_elevation_deg, spec.falloff, spec.source_kelvin,
                       spec.ambient_kelvin, spec.ambient_share, caster)  # fmt: skip
    if spec.bend == 0 and spec.lamp == 0:
        return light
    bend = Bend(spec.bend, spec.bend_turn_deg, spec.bend_wave * max(size_mm), spec.seed % 7)
    beside = (spec.lamp_at[0] * w / 2, spec.lamp_at[1] * h / 2, -0.8 * max(size_mm))
    red, green, blue = (float(c) for c in light_colour(spec.lamp_kelvin))
    return replace(light, bend=bend, lamp=Lamp(beside, (red, green, blue), spec.lamp))


def vignette(spec: SceneSpec, from_middle: Matrix) -> Array:
    """(..., 2) places from the photo's middle, in half diagonals -> factor: corners darker by `vignetting`."""
    r2 = (from_middle**2).sum(axis=-1)
    return np.asarray(1 - spec.vignetting * r2 * (0.7 + 0.3 * r2), np.float32)


def relief_of(spec: SceneSpec, size_mm: tuple[float, float]) -> Relief:
    """How the work of a spec lies on its table."""
    return Relief(
        spec.relief, spec.relief_height * max(size_mm), spec.relief_turn_deg, (size_mm[0] / 2, size_mm[1] / 2)
    )


def corners_mm(size_mm: tuple[float, float]) -> Matrix:
    """(4, 3) world corners of a work."""
    w, h = size_mm
    return np.array([[-w, -h, 0], [w, -h, 0], [w, h, 0], [-w, h, 0]]) / 2


def render(
    spec: SceneSpec, long_side_px: int = 4032, work: FlatWork | None = None, *, placed_for: FlatWork | None = None
) -> Shot:
    """Render a photo; `work` saves making the flat work again (the spec's own).

    placed_for: the work that camera and light were set up for, where another one is photographed in its place.
    """
    if work is None:
        work = make_work(spec.kind, spec.work_seed, round(0.85 * long_side_px))
    set_up = (placed_for or work).size_mm
    camera, light = camera_of(spec, set_up), light_of(spec, set_up)
    frame_px = camera.frame_px(long_side_px)
    picture = Picture(spec, work, camera, light, frame_px)
    reflectance = picture.desk()
    picture.side_faces(reflectance)
    picture.lay_work(reflectance)
    picture.lay_over(reflectance)
    image, light_field = picture.expose(reflectance)
    truth = Truth(
        picture.corners, work.size_mm, spec.distortion, light_field, picture.level, picture.gains, picture.covered,
        work, camera, picture.relief,
    )  # fmt: skip
    return Shot(image, truth, spec)


class Picture:
    """The steps of one rendering; all pictures are (H, W, 3) float32, linear."""

    def __init__(
        self, spec: SceneSpec, work: FlatWork, camera: Camera, light: Light, frame_px: tuple[int, int]
    ) -> None:
        self.spec, self.work, self.camera, self.light, self.frame_px = spec, work, camera, light, frame_px
        self.step = max(2, round(LIGHT_STEP_PX * max(frame_px) / sensor.FULL_LONG_PX))
        self.depth_mm = work.thickness_mm
        self.lattice = camera.lattice(frame_px, self.step)
        self.on_desk = camera.onto_plane(self.lattice, self.depth_mm)
        self.relief = relief_of(spec, work.size_mm)
        self.on_work = self.relief.seen_at(camera, self.lattice)
        self.half_mm = np.array(work.size_mm) / 2
        self.level = 1.0
        self.covered: Array = np.zeros(self.cells_mm(COVERED_LONG).shape[:2], np.float32)
        corners = camera.to_pixels(camera.project(self.relief.raised(corners_mm(work.size_mm)[:, :2])), frame_px)
        self.corners = corners
        sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
        self.px_per_mm = float(sides.sum() / (2 * sum(work.size_mm)))
        self.rng = np.random.default_rng([spec.seed, 3])
        a = np.radians(spec.desk_turn_deg)
        self.desk_turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])

    def desk(self) -> Array:
        """The desk with the things on it and the shadow of the work."""
        turned = self.on_desk @ self.desk_turn.T
        low, high = turned.reshape(-1, 2).min(axis=0), turned.reshape(-1, 2).max(axis=0)
        middle = np.median(turned.reshape(-1, 2), axis=0)
        reach = 2.6 * float(np.max(np.ptp(turned[[0, 0, -1, -1], [0, -1, 0, -1]], axis=0)))
        low, high = np.maximum(low, middle - reach), np.minimum(high, middle + reach)
        low, high = np.floor(low / 8) * 8 - 16, np.ceil(high / 8) * 8 + 16  # the same piece at every resolution
        span = float(np.max(high - low))
        limit = min(DESK_LONG_PX, 1.45 * max(self.frame_px))
        ppm = min(1.05 * self.px_per_mm, limit / span)
        shape = (max(8, round((high[1] - low[1]) * ppm)), max(8, round((high[0] - low[0]) * ppm)))
        texture = desks.surface(self.spec.desk, desks.Patch(shape, ppm, self.spec.seed % 100003), self.rng)
        table = objects.Table(texture, ppm, low, self.desk_turn @ self.light.shadow_offset(1.0))
        self._furnish(table)
        pixels = ((turned - low) * ppm - 0.5).astype(np.float32)
        maps = spread(pixels, self.frame_px, self.step)
        seen = cv2.remap(table.picture, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)  # type: ignore[call-overload]
        return np.asarray(seen * self._work_shadow()[..., None], np.float32)

    def _furnish(self, table: objects.Table) -> None:
        """Put sheets and things around the work."""
        spec, rng = self.spec, self.rng
        if spec.reference != "none":
            self._reference(table)
        corner = self.on_desk[[1, 1, -2, -2], [1, -2, 1, -2]]
        reach = np.minimum(np.abs(corner).max(axis=0), 2.4 * self.half_mm + 160)
        back = np.radians(spec.desk_turn_deg)
        if spec.desk == "sheets" or (spec.desk == "clutter" and rng.random() < 0.35):
            self._sheets(table, float(back))
        if spec.desk == "clutter":
            objects.strew(table, self.work.size_mm, int(rng.integers(3, 10)), reach, rng)
        elif spec.desk == "sheets" and rng.random() < 0.4:
            objects.strew(table, self.work.size_mm, int(rng.integers(1, 3)), reach, rng)
        if spec.carrier != "none":
            carriers.below(table, self.half_mm, self.desk_turn, spec.carrier, spec.seed)

    def _reference(self, table: objects.Table) -> None:
        """A colour chart or a grey card beside the work where the photo is wide, below it where it is tall."""
        width = min(130.0, 0.8 * float(self.half_mm.max()))
        beside = self.spec.aspect >= 1
        away = np.array([width * 0.62 + 12, 0.0]) if beside else np.array([0.0, width * 0.45 + 12])
        at = (self.half_mm * (1, 0) if beside else self.half_mm * (0, 1)) + away
        lay = objects.colour_chart if self.spec.reference == "chart" else objects.grey_card
        lay(table, self.desk_turn @ at, self.spec.desk_turn_deg, width)

    def _sheets(self, table: objects.Table, turn: float) -> None:
        """Other sheets peeking out below the work or lying beside it, some almost of its own white."""
        rng = self.rng
        for _ in range(int(rng.integers(1, 4))):
            size = np.array(self.work.size_mm) * rng.uniform(0.8, 1.15)
            under = rng.random() < 0.65
            at = (
                rng.normal(0, 0.06, 2) * size
                if under
                else rng.choice([-1, 1], 2) * self.half_mm * rng.uniform(0.9, 1.9, 2)
            )
            lean = rng.normal(0, 0.07) if under else rng.normal(0, 0.4)
            like = (
                self.work.reflectance[self.work.bare].mean(axis=0)
                if self.work.bare.mean() > 0.02
                else rgb8(240, 239, 236)
            )
            if rng.random() < 0.5:
                like = rgb8(
                    *((242, 241, 238), (239, 228, 212), (236, 236, 238), (179, 143, 111), (206, 210, 206))[
                        int(rng.integers(5))
                    ]
                )
            objects.sheet(
                table,
                self.desk_turn @ at,
                turn + lean,
                (float(size[0]), float(size[1])),
                np.asarray(like, np.float32),
                rng,
            )

    def _work_shadow(self) -> Array:
        """(H, W) factor 0..1 on the desk: the work's cast shadow and the dark line of contact."""
        thick = self.depth_mm
        lift = thick + (float(np.random.default_rng([self.spec.seed, 8]).uniform(0.3, 2.5)) if thick < 2 else 0.0)
        step = max(2, self.step // 3)
        points = self.camera.onto_plane(self.camera.lattice(self.frame_px, step), thick)
        rise = self.relief.rise(points)
        moved = points - self.light.shadow_offset(1.0) * (lift + rise)[..., None]
        soft, radius = 0.35 + 0.28 * lift, self.work.corner_radius_mm
        direct = 1 - self.spec.ambient_share
        cast = smoothstep(-soft, soft, inside(moved, self.half_mm, radius)) * np.float32(0.85 * direct)
        near = np.clip(-inside(points, self.half_mm, radius), 0, None)
        contact = 0.24 * np.exp(-near / (0.5 + 0.35 * lift)) + 0.1 * np.exp(-near / (2.0 + 2.0 * lift))
        factor = (1 - cast) * (1 - contact)
        return spread(factor.astype(np.float32), self.frame_px, step)

    def side_faces(self, picture: Array) -> None:
        """The sides of a thick work, where the camera sees them."""
        if self.depth_mm < 1.5:
            return
        top = corners_mm(self.work.size_mm)
        foot = top + np.array([0, 0, self.depth_mm])
        colour = rgb8(222, 214, 198) if self.work.kind == "journal" else rgb8(128, 104, 80)
        for i in range(4):
            j = (i + 1) % 4
            quad = self.camera.to_pixels(
                self.camera.project(np.stack([top[i], top[j], foot[j], foot[i]])), self.frame_px
            )
            across = quad[1] - quad[0]
            down = (quad[2] + quad[3] - quad[0] - quad[1]) / 2
            if across[0] * down[1] - across[1] * down[0] > 0:  # turned away: hidden below the work
                continue
            mask = np.zeros(self.frame_px, np.uint8)
            cv2.fillPoly(mask, [np.round((quad - 0.5) * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
            cover = mask.astype(np.float32)[..., None] / 255
            away = np.array([0, 1, 0, -1])[i], np.array([-1, 0, 1, 0])[i]
            lit = 0.45 + 0.35 * float(away[1] * self.light.source_mm[1] - away[0] * -self.light.source_mm[0] > 0)
            picture += (colour * np.float32(lit) - picture) * cover

    def lay_work(self, picture: Array) -> None:
        """Put the flat work into the picture."""
        h, w = self.work.alpha.shape
        beside = 4 + round(0.06 * max(self.frame_px)) * (self.relief.shape != "flat")  # a side bends out of its corners
        x0, y0 = np.maximum(np.floor(self.corners.min(axis=0)).astype(int) - beside, 0)
        x1, y1 = np.minimum(np.ceil(self.corners.max(axis=0)).astype(int) + beside, self.frame_px[::-1])
        scale = np.array([w, h]) / np.array(self.work.size_mm)
        reduce = max(1.0, float(scale.mean()) / self.px_per_mm)
        art, alpha = self.work.reflectance, self.work.alpha
        if reduce > 1.15:  # no more detail than the photo can hold
            art = np.asarray(blurred(art, 0.42 * np.sqrt(reduce**2 - 1)), np.float32)
        art = art * alpha[..., None] + art.mean(axis=(0, 1)) * (1 - alpha[..., None]) if alpha.min() < 1 else art
        pixels = ((self.on_work + self.half_mm) * scale - 0.5).astype(np.float32)
        maps = spread(pixels, self.frame_px, self.step)[y0:y1, x0:x1]
        mode = cv2.INTER_CUBIC if reduce < 0.9 else cv2.INTER_LINEAR
        seen = cv2.remap(np.ascontiguousarray(art, np.float32), maps, None, mode, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
        cover = cv2.remap(alpha, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
        edge = np.minimum(
            np.minimum(maps[..., 0] + 0.5, w - 0.5 - maps[..., 0]),
            np.minimum(maps[..., 1] + 0.5, h - 0.5 - maps[..., 1]),
        ) * np.float32(1 / reduce if reduce > 1 else self.px_per_mm / scale.mean())
        cover = cover * np.clip(edge + 0.5, 0, 1)
        if self.spec.glare > 0:
            seen += self._glare(maps, scale)[..., None]
        part = picture[y0:y1, x0:x1]
        part += (seen - part) * cover[..., None]

    def _glare(self, maps: Array, scale: Matrix) -> Array:
        """A gloss of the lamp on the work, as if it were reflectance; broken up by the surface."""
        spec = self.spec
        at = (np.array(spec.glare_at) * self.half_mm + self.half_mm) * scale
        size = np.array([0.16, 0.11]) * float(max(self.work.size_mm)) * scale
        x, y = (maps[..., 0] - at[0]) / size[0], (maps[..., 1] - at[1]) / size[1]
        turn = np.radians(spec.light_azimuth_deg)
        u, v = x * np.cos(turn) + y * np.sin(turn), -x * np.sin(turn) + y * np.cos(turn)
        return np.asarray(spec.glare * np.exp(-((u / 1.5) ** 2) - v**2), np.float32)

    def lay_over(self, picture: Array) -> None:
        """A finger, tape or pen over the edge of the work, and what holds it on its board."""
        if self.spec.over == "none" and self.spec.carrier == "none":
            return
        rng = np.random.default_rng([self.spec.seed, 6])
        w, h = self.half_mm
        ppm = min(self.px_per_mm, 1600 / (2 * max(w, h) + 400))
        low = -self.half_mm - 200
        shape = (round((2 * h + 400) * ppm), round((2 * w + 400) * ppm))
        layer = np.zeros((*shape, 3), np.float32)
        table = objects.Table(layer, ppm, low, self.light.shadow_offset(1.0), np.zeros(shape, np.float32))
        side = int(rng.integers(4)) if self.spec.over != "finger" else int(rng.choice([1, 2, 2, 3]))
        away = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])[side]
        along = np.array([-away[1], away[0]]) * rng.uniform(-0.6, 0.6)
        at = (away + along) * self.half_mm
        if self.spec.over == "finger":
            objects.finger(table, at - away * rng.uniform(8, 18), away, rng)
        elif self.spec.over == "pen":
            objects.pencil(table, at, float(rng.uniform(0, np.pi)), rng)
        elif self.spec.over == "tape":
            for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
                objects.tape_strip(table, np.array([sx * w, sy * h]), -sx * sy * np.pi / 4, rng)
        if self.spec.carrier != "none":
            carriers.over(table, self.half_mm, self.spec.carrier, self.spec.seed)
        maps = spread(((self.on_work - low) * ppm - 0.5).astype(np.float32), self.frame_px, self.step)
        assert table.opacity is not None
        seen = cv2.remap(layer, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)  # type: ignore[call-overload]
        cover = cv2.remap(table.opacity, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)  # type: ignore[call-overload]
        picture += (seen - picture) * cover[..., None]
        # Where each cell of the work's frame lies on the layer.
        cells = ((self.cells_mm(COVERED_LONG) - low) * ppm - 0.5).astype(np.float32)
        self.covered = cv2.remap(table.opacity, cells, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]

    def cells_mm(self, long: int) -> Matrix:
        """(h, w, 2) centres in mm of equal cells over the work, `long` of them along its longer side."""
        w, h = self.work.size_mm
        cell = max(w, h) / long
        columns, rows = max(8, round(w / cell)), max(8, round(h / cell))
        x, y = (np.arange(columns) + 0.5) / columns * w - w / 2, (np.arange(rows) + 0.5) / rows * h - h / 2
        return np.stack(np.meshgrid(x, y), axis=-1)

    def expose(self, picture: Array) -> tuple[Mask, Array]:
        """Light the scene and take the picture: (H, W, 3) uint8 and the true light over the work."""
        spec = self.spec
        lit = self.light.at(self.on_work) * vignette(spec, self.lattice)[..., None]
        small = cv2.resize(picture, lit.shape[1::-1], interpolation=cv2.INTER_AREA)
        gains = self.gains = self._gains(small, lit)
        picture *= spread(lit * gains, self.frame_px, self.step)
        scale = max(self.frame_px) / sensor.FULL_LONG_PX
        optical = float(np.hypot(spec.blur_px * scale, 0.45)) if spec.blur_px > 0 else 0.0
        picture = blurred(picture, optical) if optical else picture
        picture = sensor.shaken(picture, spec.motion_px * scale, spec.motion_deg)
        picture = sensor.noisy(picture, spec.noise, spec.seed)
        picture = sensor.sharpened(picture, spec.sharpening, 1.4 * scale)
        picture = sensor.contrasted(picture, spec.local_contrast)
        return sensor.coded(picture, spec.tone_curve), self._true_light(gains)

    def _gains(self, small: Array, lit: Array) -> Array:
        """(3,) exposure and white balance: metered grey, partly neutral, paper kept below clipping."""
        spec = self.spec
        mean_light = lit.reshape(-1, 3).mean(axis=0)
        cast = mean_light / (mean_light @ LUMINANCE)
        balance = cast ** (-spec.white_balance) * 2.0 ** np.array([spec.tint[0], 0.0, spec.tint[1]])
        seen = small * lit * balance.astype(np.float32)
        level = 0.18 * 2.0**spec.exposure_ev / max(float((seen @ LUMINANCE).mean()), 1e-4)
        if spec.keep_highlights:
            within = inside(self.on_work, self.half_mm) > 0
            brightest = np.percentile(seen[within].max(axis=1), 99.5) if within.any() else 1.0
            level = min(level, 0.93 / max(float(brightest), 1e-4))
        brightest_white = float(np.percentile((lit * balance.astype(np.float32)).max(axis=2), 90))
        level = min(level, 1.7 / brightest_white)  # a dim subject is not pushed without end
        self.level = level
        return np.asarray(balance * level, np.float32)

    def _true_light(self, gains: Array) -> Array:
        """(h, w, 3) the light, vignetting and exposure over the work, cells of equal size, long side 96."""
        points = self.cells_mm(96)
        world = np.concatenate([points, np.zeros((*points.shape[:2], 1))], axis=-1)
        return np.asarray(
            self.light.at(points) * vignette(self.spec, self.camera.project(world))[..., None] * gains, np.float32
        )


def inside(points_mm: Matrix, half_mm: Matrix, radius_mm: float = 0.0) -> Array:
    """(..., 2) -> signed depth inside the (rounded) rectangle in mm, positive inside."""
    beyond = np.abs(points_mm) - half_mm + radius_mm
    outside = np.hypot(np.maximum(beyond[..., 0], 0), np.maximum(beyond[..., 1], 0))
    return (-(outside + np.minimum(np.maximum(beyond[..., 0], beyond[..., 1]), 0)) + radius_mm).astype(np.float32)


__all__ = ["DESKS", "SceneSpec", "Shot", "Truth", "camera_of", "encode_jpeg", "random_spec", "render", "rough_spec"]
