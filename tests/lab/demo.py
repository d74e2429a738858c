"""The demo photos: ten pictures of works of the field journal, as a phone would have taken them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from .exif import encode_jpeg
from .profile import to_wide, wide_icc
from .scene import SceneSpec, render
from .works import make_work

LONG_PX = 4032
WORK_PX = 3400
BASE = SceneSpec(
    seed=0, noise=0.26, blur_px=0.75, sharpening=0.2, tone_curve=0.3, vignetting=0.14, exposure_ev=0.8,
    white_balance=0.82, jpeg_quality=92, distortion=-0.0015,
)  # fmt: skip


@dataclass(frozen=True)
class DemoPhoto:
    """One photo of the demo: file name, scene, and what is special about the file."""

    name: str
    spec: SceneSpec
    taken: str
    orientation: int = 1
    wide_gamut: bool = False


def _photo(name: str, taken: str, *, orientation: int = 1, wide_gamut: bool = False, **scene: Any) -> DemoPhoto:
    """A demo photo from its differences to the base."""
    return DemoPhoto(name, replace(BASE, **scene), taken, orientation, wide_gamut)


_TAKES: dict[str, Any] = {"kind": "watercolour", "work_seed": 8, "desk": "wood", "aspect": 4 / 3}

PHOTOS = (
    _photo("IMG_2041.jpg", "2026:05:14 10:21:33", seed=2041, kind="pencil", work_seed=13, desk="wood", aspect=0.75,
           desk_turn_deg=96, tilt_deg=-11, pan_deg=3, roll_deg=-2.5, fill=0.84, offset=(0.15, 0.1),
           light_azimuth_deg=205,
           light_elevation_deg=38, falloff=0.24, source_kelvin=6300, ambient_kelvin=4600, exposure_ev=0.75),
    _photo("IMG_2044.jpg", "2026:05:14 10:34:02", seed=2046, kind="ink", work_seed=2, desk="clutter", aspect=4 / 3,
           desk_turn_deg=3, tilt_deg=-13, pan_deg=-4, roll_deg=3, fill=0.72, offset=(-0.1, 0.1), light_azimuth_deg=235,
           light_elevation_deg=42, falloff=0.2, source_kelvin=5600, ambient_kelvin=4200),
    _photo("IMG_2047.jpg", "2026:05:14 11:02:47", seed=2049, kind="journal", work_seed=11, desk="clutter", aspect=4 / 3,
           desk_turn_deg=-4, tilt_deg=-9, pan_deg=2, roll_deg=-3, fill=0.74, offset=(0.0, 0.15), light_azimuth_deg=300,
           light_elevation_deg=45, falloff=0.18, source_kelvin=5900, ambient_kelvin=4400, shadow="hand",
           shadow_strength=0.4, shadow_at=(0.86, 0.75), shadow_turn_deg=50, shadow_softness_mm=22),
    _photo("IMG_2052.jpg", "2026:05:15 09:12:10", seed=2055, kind="watercolour", work_seed=3, desk="cloth", aspect=0.75,
           orientation=6, desk_turn_deg=5, tilt_deg=-7, pan_deg=-5, roll_deg=2, fill=0.82, offset=(0.0, -0.1),
           light_azimuth_deg=190, light_elevation_deg=44, falloff=0.17, source_kelvin=6600, ambient_kelvin=5200),
    _photo("IMG_2058.jpg", "2026:05:16 15:40:55", seed=2058, kind="painting", work_seed=11, desk="plaster",
    aspect=4 / 3,
           wide_gamut=True, desk_turn_deg=0.4, tilt_deg=5, pan_deg=-7, roll_deg=-1.2, fill=0.76, offset=(0.1, -0.2),
           light_azimuth_deg=232, light_elevation_deg=46, falloff=0.22, source_kelvin=5200,
           ambient_kelvin=3900, exposure_ev=0.8),
    _photo("IMG_2063.jpg", "2026:05:17 18:05:21", seed=2064, kind="toned", work_seed=10, desk="dark", aspect=0.75,
           desk_turn_deg=92, tilt_deg=-12, pan_deg=4, roll_deg=3.5, fill=0.8, offset=(-0.1, 0.0), light_azimuth_deg=330,
           light_elevation_deg=40, falloff=0.26, source_kelvin=3300, ambient_kelvin=4300, exposure_ev=-0.45,
           white_balance=0.92, noise=0.3),
    _photo("IMG_2066.jpg", "2026:05:18 08:55:40", seed=2066, kind="ink", work_seed=11, desk="white", aspect=4 / 3,
           desk_turn_deg=2, tilt_deg=-8, pan_deg=5, roll_deg=-4, fill=0.74, offset=(0.15, -0.1), light_azimuth_deg=215,
           light_elevation_deg=35, falloff=0.2, source_kelvin=6900, ambient_kelvin=5600, exposure_ev=1.15),
    _photo("IMG_2071.jpg", "2026:05:20 13:15:08", seed=2071, desk_turn_deg=-3, tilt_deg=-16, pan_deg=6,
    roll_deg=4, fill=0.66,
           offset=(-0.3, 0.2), light_azimuth_deg=200, light_elevation_deg=34, falloff=0.3, source_kelvin=5600,
           ambient_kelvin=4300, shadow="head", shadow_strength=0.45, shadow_at=(0.5, 1.5), shadow_turn_deg=75,
           shadow_softness_mm=35, **_TAKES),
    _photo("IMG_2072.jpg", "2026:05:20 13:15:41", seed=2071, desk_turn_deg=-3, tilt_deg=-6, pan_deg=-3,
    roll_deg=-5, fill=0.8,
           offset=(0.1, 0.1), light_azimuth_deg=200, light_elevation_deg=34, falloff=0.26, source_kelvin=5600,
           ambient_kelvin=4300, motion_px=30.0, motion_deg=28.0, **_TAKES),
    _photo("IMG_2073.jpg", "2026:05:20 13:17:26", seed=2071, desk_turn_deg=-3, tilt_deg=-4, pan_deg=2,
    roll_deg=1.2, fill=0.82,
           offset=(0.0, 0.0), light_azimuth_deg=215, light_elevation_deg=50, falloff=0.12, source_kelvin=5800,
           ambient_kelvin=4700, **_TAKES),
)  # fmt: skip


def photo_bytes(photo: DemoPhoto, long_px: int = LONG_PX) -> bytes:
    """Render one demo photo and code it as JPEG."""
    work = make_work(photo.spec.kind, photo.spec.work_seed, round(WORK_PX * long_px / LONG_PX))
    shot = render(photo.spec, long_px, work)
    icc = None
    if photo.wide_gamut:
        shot, icc = replace(shot, pixels=to_wide(shot.pixels)), wide_icc()
    return encode_jpeg(shot, orientation=photo.orientation, taken=photo.taken, icc=icc)


def write_demo(folder: Path, long_px: int = LONG_PX) -> int:
    """Write all demo photos; returns their size in bytes."""
    folder.mkdir(parents=True, exist_ok=True)
    total = 0
    for photo in PHOTOS:
        data = photo_bytes(photo, long_px)
        (folder / photo.name).write_bytes(data)
        total += len(data)
        print(f"{photo.name}  {photo.spec.kind:12s} {photo.spec.desk:8s} {len(data) / 1e6:.2f} MB")
    print(f"{len(PHOTOS)} photos, {total / 1e6:.1f} MB")
    return total
