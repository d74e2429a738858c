"""The parameters of one simulated photo, and how believable ones are drawn."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .light import SHADOWS
from .works import KINDS

DESKS = ("wood", "white", "dark", "cloth", "mat", "plaster", "clutter", "sheets")
OVER = ("none", "finger", "tape", "pen")
_DESK_ODDS = {
    "painting": (0.18, 0.05, 0.07, 0.04, 0.03, 0.45, 0.13, 0.05),
    "other": (0.21, 0.15, 0.12, 0.11, 0.09, 0.03, 0.19, 0.10),
}


@dataclass(frozen=True)
class SceneSpec:
    """Everything a photo of the lab depends on; lengths of blur in pixels of a 12-megapixel picture."""

    seed: int
    kind: str = "pencil"
    work_seed: int = 0
    desk: str = "wood"
    desk_turn_deg: float = 3.0
    aspect: float = 4 / 3  # width : height of the photo
    tilt_deg: float = 0.0
    pan_deg: float = 0.0
    roll_deg: float = 0.0
    fill: float = 0.8  # share of the photo's width or height that the work spans
    offset: tuple[float, float] = (0.0, 0.0)  # -1..1 of the room left
    beyond: tuple[float, float] = (0.0, 0.0)  # moved on by so much of the half width and height: the border cuts it
    focal_mm35: float = 26.0  # equivalent by the diagonal
    distortion: float = 0.0  # k1, see camera.py
    light_azimuth_deg: float = 220.0  # where the source stands, 0 = to the right, 90 = below the sheet
    light_elevation_deg: float = 45.0
    falloff: float = 0.15  # share of the light lost over the sheet
    source_kelvin: float = 5500.0
    ambient_kelvin: float = 4500.0
    ambient_share: float = 0.35
    shadow: str = "none"
    shadow_strength: float = 0.6
    shadow_at: tuple[float, float] = (0.3, 0.3)  # of the half size of the work
    shadow_turn_deg: float = 45.0
    shadow_softness_mm: float = 12.0
    glare: float = 0.0
    glare_at: tuple[float, float] = (0.3, -0.2)
    reference: str = "none"  # or "chart", "grey card": it lies beside the work, to the right or below
    over: str = "none"  # what lies over the edge of the work
    carrier: str = "none"  # what carries it, see carriers.py
    exposure_ev: float = 0.7
    keep_highlights: bool = True  # the meter backs off before paper clips
    white_balance: float = 0.85  # share of the mean light's cast that the camera removes
    tint: tuple[float, float] = (0.0, 0.0)  # what is left by mistake: red/green, blue/green in EV
    tone_curve: float = 0.3
    vignetting: float = 0.15
    noise: float = 0.3
    blur_px: float = 0.8
    motion_px: float = 0.0
    motion_deg: float = 20.0
    sharpening: float = 0.25
    jpeg_quality: int = 88
    bend: float = 0.0  # how much of the light a sheet that does not lie flat loses and gains in its waves
    bend_turn_deg: float = 0.0
    bend_wave: float = 0.8  # length of a wave in long sides of the work
    lamp: float = 0.0  # strength of a second source beside the sheet
    lamp_kelvin: float = 2800.0
    lamp_at: tuple[float, float] = (1.2, 0.0)  # in half sizes of the work
    local_contrast: float = 0.0
    relief: str = "flat"  # how the sheet rises from the table, see relief.py
    relief_height: float = 0.0  # of its highest place, in long sides of the work
    relief_turn_deg: float = 0.0


def random_spec(seed: int, kind: str | None = None, desk: str | None = None, **overrides: object) -> SceneSpec:
    """A believable photo: a person, a phone, a room. Keyword arguments replace what was drawn."""
    rng = np.random.default_rng([seed, 1])
    drawn_kind = str(KINDS[int(rng.integers(len(KINDS)))])
    kind = kind or drawn_kind
    odds = _DESK_ODDS["painting" if kind == "painting" else "other"]
    drawn_desk = str(rng.choice(DESKS, p=odds))
    desk = desk or drawn_desk
    hung = desk == "plaster"
    spec = _posed(seed, kind, desk, hung, rng)
    spec = _lit(spec, hung, rng)
    spec = _taken(spec, rng)
    return replace(spec, **overrides)  # type: ignore[arg-type]


def _desk_turn(hung: bool, rng: np.random.Generator) -> float:
    """How the desk lies under the work, degrees: nothing is quite parallel; some desks run the other way."""
    if hung:
        return float(rng.normal(0, 0.8))
    return float(rng.normal(0, 4) + (90 if rng.random() < 0.4 else 0))


def _posed(seed: int, kind: str, desk: str, hung: bool, rng: np.random.Generator) -> SceneSpec:
    """Where the camera is."""
    calm = 0.6 if hung else 1.0
    tilt = float(np.clip(rng.normal(-5 if not hung else 0, 8 * calm), -25, 25))
    pan = float(np.clip(rng.normal(0, 6.5 * calm), -25, 25))
    roll = float(np.clip(rng.normal(0, 3.5 if rng.random() < 0.8 else 10), -20, 20))
    wide = rng.random()
    ratio = 4 / 3 if wide < 0.84 else 3 / 2 if wide < 0.92 else 16 / 9
    luck = rng.random()
    least, most = (
        (0.62, 0.94) if luck < 0.88 else (0.4, 0.62) if luck < 0.97 else (0.95, 1.03)
    )  # a few touch the border
    fill = float(rng.uniform(least, most))
    k1 = float(rng.normal(0, 0.0025)) if rng.random() < 0.85 else float(rng.uniform(-0.02, 0.02))
    return SceneSpec(
        seed=seed, kind=kind, work_seed=seed, desk=desk,
        desk_turn_deg=_desk_turn(hung, rng),
        aspect=ratio if rng.random() < 0.5 else 1 / ratio,
        tilt_deg=tilt, pan_deg=pan, roll_deg=roll, fill=fill,
        offset=(float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.8, 0.8))),
        focal_mm35=float(rng.choice([24, 26, 28, 35, 52, 70], p=[0.14, 0.5, 0.12, 0.06, 0.12, 0.06])),
        distortion=float(np.clip(k1, -0.02, 0.02)),
    )  # fmt: skip


def _lit(spec: SceneSpec, hung: bool, rng: np.random.Generator) -> SceneSpec:
    """What light there is."""
    day = rng.random() < 0.62
    source = float(rng.uniform(4800, 7500) if day else rng.uniform(2700, 4200))
    ambient = float(np.clip(source + rng.normal(0, 1300), 2700, 7500))
    odds = (0.74, 0.11, 0.09, 0.06, 0.0) if not hung else (0.9, 0.0, 0.05, 0.05, 0.0)
    return replace(
        spec,
        light_azimuth_deg=float(rng.uniform(0, 360)) if not hung else float(rng.uniform(200, 340)),
        light_elevation_deg=float(rng.uniform(24, 68)),
        falloff=float(np.clip(0.05 + rng.gamma(2.0, 0.07), 0.05, 0.40)),
        source_kelvin=source, ambient_kelvin=ambient, ambient_share=float(rng.uniform(0.2, 0.65)),
        shadow=str(rng.choice(SHADOWS, p=odds)), shadow_strength=float(rng.uniform(0.3, 0.85)),
        shadow_at=(float(rng.uniform(-0.9, 0.9)), float(rng.uniform(-0.6, 0.95))),
        shadow_turn_deg=float(rng.normal(70, 40)), shadow_softness_mm=float(rng.uniform(5, 40)),
        glare=float(rng.uniform(0.15, 0.8)) if rng.random() < (0.15 if spec.kind == "painting" else 0.05) else 0.0,
        glare_at=(float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.8, 0.8))),
        over=str(rng.choice(OVER, p=[0.94, 0.03, 0.015, 0.015])) if not hung else "none",
    )  # fmt: skip


def _taken(spec: SceneSpec, rng: np.random.Generator) -> SceneSpec:
    """What the camera does with it."""
    dim = rng.random() < 0.15
    return replace(
        spec,
        exposure_ev=float(rng.uniform(0.0, 1.3)), white_balance=float(rng.uniform(0.6, 1.0)),
        tint=(float(rng.normal(0, 0.035)), float(rng.normal(0, 0.05))),
        tone_curve=float(rng.uniform(0.1, 0.7)) if rng.random() < 0.75 else 0.0,
        vignetting=float(rng.uniform(0, 0.3)), noise=float(rng.uniform(0.6, 1.2) if dim else rng.uniform(0.1, 0.5)),
        blur_px=float(rng.uniform(0.5, 1.3)), motion_px=float(rng.uniform(2, 7)) if rng.random() < 0.12 else 0.0,
        motion_deg=float(rng.uniform(0, 180)), sharpening=float(rng.uniform(0, 0.45)),
        jpeg_quality=int(rng.integers(78, 95)),
    )  # fmt: skip


def rough_spec(seed: int, kind: str | None = None, desk: str | None = None, **overrides: object) -> SceneSpec:
    """A photo as phones really take them: dim rooms, lamp and window on one page, hard shadows, sheets that do not lie
    flat, the phone's own contrast and sharpening, coarse coding. About two of these troubles to a photo."""
    rng = np.random.default_rng([seed, 2])
    spec = random_spec(seed, kind, desk)
    if rng.random() < 0.35:
        dim = {"exposure_ev": float(rng.uniform(-1.4, 0.2)), "noise": float(rng.uniform(0.5, 1.3))}
        spec = replace(spec, **dim)  # type: ignore[arg-type]
    if rng.random() < 0.35:
        at = (float(rng.choice([-1, 1]) * rng.uniform(0.8, 1.6)), float(rng.uniform(-1, 1)))
        spec = replace(
            spec, source_kelvin=float(rng.uniform(5500, 9500)), ambient_kelvin=float(rng.uniform(5500, 8500)),
            lamp=float(rng.uniform(0.2, 0.9)), lamp_kelvin=float(rng.uniform(2500, 3600)), lamp_at=at,
        )  # fmt: skip
    if rng.random() < 0.35:
        spec = replace(
            spec, shadow=str(rng.choice(["arm", "phone", "hand"])), shadow_softness_mm=float(rng.uniform(1.0, 10.0)),
            shadow_strength=float(rng.uniform(0.4, 0.9)), shadow_at=tuple(rng.uniform(-0.5, 0.5, 2).tolist()),
            shadow_turn_deg=float(rng.uniform(0, 360)),
        )  # fmt: skip
    if rng.random() < 0.3 and spec.kind not in ("painting", "journal"):
        spec = replace(
            spec, bend=float(rng.uniform(0.03, 0.16)), bend_turn_deg=float(rng.uniform(0, 180)),
            bend_wave=float(rng.uniform(0.35, 1.5)),
        )  # fmt: skip
    if rng.random() < 0.6:
        spec = replace(spec, local_contrast=float(rng.uniform(0.05, 0.3)), sharpening=float(rng.uniform(0.3, 1.2)))
    if rng.random() < 0.5:
        spec = replace(spec, jpeg_quality=int(rng.integers(40, 75)))
    return replace(spec, **overrides)  # type: ignore[arg-type]


def cut_spec(seed: int, kind: str, rough: bool = False) -> SceneSpec:
    """A page held so close that the photo's border cuts it at one side or more, and a strip of desk shows at others."""
    rng = np.random.default_rng([seed, 3])
    beyond = (float(rng.uniform(-0.2, 0.2)), float(rng.uniform(-0.2, 0.2)))
    return (rough_spec if rough else random_spec)(
        seed, kind, None, fill=float(rng.uniform(0.96, 1.3)), beyond=beyond, roll_deg=float(rng.normal(0, 2.0))
    )


def bent_spec(seed: int, kind: str, rough: bool = False) -> SceneSpec:
    """A sheet that does not lie flat: it arches, its ends or one of them curl up, or a corner does."""
    rng = np.random.default_rng([seed, 4])
    shape = str(rng.choice(["arch", "hollow", "curl", "corner"]))
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 6) + (45 if shape == "corner" else 0))
    height = float(rng.uniform(0.006, 0.04))
    return (rough_spec if rough else random_spec)(
        seed, kind, None, relief=shape, relief_turn_deg=turn, relief_height=height
    )


def carried_spec(seed: int, kind: str, carrier: str, rough: bool = False) -> SceneSpec:
    """A sheet on a clipboard or a drawing board, or in a clear sleeve, with room around for what carries it."""
    rng = np.random.default_rng([seed, 5])
    return (rough_spec if rough else random_spec)(
        seed, kind, None, carrier=carrier, over="none", fill=float(rng.uniform(0.5, 0.85)),
        offset=(float(rng.uniform(-0.5, 0.5)), float(rng.uniform(-0.5, 0.5))),
    )  # fmt: skip
