"""Light on the plane of the work: a near source with its falloff, ambient of another colour, soft shadows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .camera import Matrix
from .colour import Array, light_colour
from .fields import smoothstep

SHADOWS = ("none", "hand", "phone", "head", "arm")


@dataclass(frozen=True)
class Caster:
    """Something between lamp and sheet: kind, where its tip falls (mm), direction, softness and depth."""

    kind: str
    at_mm: tuple[float, float]
    turn_deg: float
    softness_mm: float
    strength: float
    size: float  # 1 = a grown-up's hand at 1:1

    def cover(self, x: Array, y: Array) -> Array:
        """Points in mm -> 0..1 share of the source hidden."""
        if self.kind == "none" or self.strength <= 0:
            return np.zeros(np.broadcast(x, y).shape, np.float32)
        a = np.radians(self.turn_deg)
        u = ((x - self.at_mm[0]) * np.cos(a) + (y - self.at_mm[1]) * np.sin(a)) / self.size
        v = (-(x - self.at_mm[0]) * np.sin(a) + (y - self.at_mm[1]) * np.cos(a)) / self.size
        soft = self.softness_mm / self.size
        inside = {"hand": _hand, "phone": _phone, "head": _head, "arm": _arm}[self.kind](u, v)
        return np.asarray(self.strength * smoothstep(-soft, soft, inside), np.float32)


def _capsule(u: Array, v: Array, a: tuple[float, float], b: tuple[float, float], radius: float) -> Array:
    """Signed depth inside a capsule from a to b, mm."""
    du, dv = b[0] - a[0], b[1] - a[1]
    t = np.clip(((u - a[0]) * du + (v - a[1]) * dv) / (du * du + dv * dv), 0, 1)
    return np.asarray(radius - np.hypot(u - a[0] - t * du, v - a[1] - t * dv), np.float32)


def _hand(u: Array, v: Array) -> Array:
    """Fingers near the origin, palm and forearm away along +u."""
    parts = [_capsule(u, v, (130, 0), (460, 40), 40), _capsule(u, v, (85, -5), (120, 0), 46)]
    for tip, root, radius in (((4, -34), (80, -30), 9), ((-8, -10), (80, -10), 10), ((0, 13), (80, 10), 10),
                              ((16, 34), (85, 28), 9), ((46, -78), (105, -40), 12)):  # fmt: skip
        parts.append(_capsule(u, v, tip, root, radius))
    return np.asarray(np.maximum.reduce(parts), np.float32)


def _phone(u: Array, v: Array) -> Array:
    """A phone held by two hands."""
    body = 12 - np.hypot(np.maximum(np.abs(u) - 66, 0), np.maximum(np.abs(v) - 26, 0))
    hands = [_capsule(u, v, (s * 78, 10), (s * 190, 150), 38) for s in (-1, 1)]
    return np.asarray(np.maximum.reduce([body, *hands]), np.float32)


def _head(u: Array, v: Array) -> Array:
    """Head and shoulders bent over the sheet."""
    head = 92 * (1 - np.hypot(u / 115, v / 92))
    return np.asarray(np.maximum(head, _capsule(u, v, (210, -170), (210, 170), 110)), np.float32)


def _arm(u: Array, v: Array) -> Array:
    """An arm and the body behind it, held out of the light: one long border, and all beyond it in shadow."""
    return np.asarray(np.maximum(u + 0.12 * v, _capsule(u, v, (-90, 60), (200, -20), 45)), np.float32)


@dataclass(frozen=True)
class Bend:
    """How a sheet that does not lie flat turns from the light: waves across one direction, as a share of the light."""

    depth: float = 0.0
    turn_deg: float = 0.0
    wave_mm: float = 200.0
    phase: float = 0.0

    def at(self, x: Array, y: Array) -> Array:
        """Points in mm -> factor about 1."""
        a = np.radians(self.turn_deg)
        along = (x * np.cos(a) + y * np.sin(a)) / self.wave_mm * 2 * np.pi + self.phase
        return np.asarray(1 + self.depth * np.sin(along) * (0.7 + 0.3 * np.sin(0.37 * along + 1)), np.float32)


@dataclass(frozen=True)
class Lamp:
    """A second, near source: where it stands in mm (z negative: before the sheet), its colour and its strength."""

    at_mm: tuple[float, float, float]
    rgb: tuple[float, float, float]
    strength: float = 0.0

    def at(self, x: Array, y: Array) -> Array:
        """Points in mm -> (..., 3) what the lamp adds."""
        lx, ly, lz = self.at_mm
        distance2 = (x - lx) ** 2 + (y - ly) ** 2 + lz**2
        fall = (lz**2 / distance2) ** 1.5 * np.float32(self.strength)
        return np.asarray(fall[..., None] * np.array(self.rgb, np.float32), np.float32)


@dataclass(frozen=True)
class Light:
    """The light on the plane; `at` is relative: 1 is the mean of source and ambient at the work's centre."""

    source_mm: Matrix  # (3,), z negative: before the sheet
    source_rgb: Array
    ambient_rgb: Array
    ambient_share: float
    caster: Caster
    bend: Bend = Bend()
    lamp: Lamp | None = None

    def at(self, points_mm: Matrix) -> Array:
        """(..., 2) mm -> (..., 3) float32 illumination."""
        p = np.asarray(points_mm, np.float32)
        x, y = p[..., 0], p[..., 1]
        lx, ly, lz = (float(c) for c in self.source_mm)
        distance2 = (x - lx) ** 2 + (y - ly) ** 2 + lz**2
        centre2 = lx**2 + ly**2 + lz**2
        direct = (centre2 / distance2) ** 1.5  # inverse square times Lambert's cosine, 1 at the centre
        hidden = self.caster.cover(x, y)
        direct = direct * (1 - self.ambient_share) * (1 - hidden)
        ambient = self.ambient_share * (1 - 0.3 * hidden)
        light = direct[..., None] * self.source_rgb + ambient[..., None] * self.ambient_rgb
        if self.lamp is not None:
            light = light + self.lamp.at(x, y)
        return np.asarray(light * self.bend.at(x, y)[..., None], np.float32)

    def shadow_offset(self, height_mm: float) -> Matrix:
        """(2,) where the shadow of a point at the centre, `height_mm` above the plane, falls."""
        return np.asarray(self.source_mm[:2] / self.source_mm[2] * height_mm)


def make_light(
    size_mm: tuple[float, float], azimuth_deg: float, elevation_deg: float, falloff: float,
    source_kelvin: float, ambient_kelvin: float, ambient_share: float, caster: Caster,
) -> Light:  # fmt: skip
    """Put the source so far away that the light over the sheet falls off by `falloff` (0.05..0.4)."""
    a, e = np.radians([azimuth_deg, elevation_deg])
    towards = np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), -np.sin(e)])
    source_rgb, ambient_rgb = light_colour(source_kelvin), light_colour(ambient_kelvin)
    none = Caster("none", (0, 0), 0, 1, 0, 1)
    w, h = size_mm
    grid = np.stack(np.meshgrid(np.linspace(-w / 2, w / 2, 9), np.linspace(-h / 2, h / 2, 9)), axis=-1)
    near, far = 0.35 * max(size_mm), 60.0 * max(size_mm)
    for _ in range(40):
        middle = float(np.sqrt(near * far))
        trial = Light(towards * middle, source_rgb, ambient_rgb, ambient_share, none).at(grid)[..., 1]
        if 1 - trial.min() / trial.max() > falloff:
            near = middle
        else:
            far = middle
    return Light(towards * far, source_rgb, ambient_rgb, ambient_share, caster)
