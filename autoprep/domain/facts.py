"""What a photo's file says of itself."""

from dataclasses import dataclass


@dataclass(frozen=True)
class PhotoFacts:
    """What the file says of itself, read once: camera facts that the correction may use, never a position.

    exposure: seconds * ISO / f-number^2, to which the light in the file is proportional, where all three are known;
    camera: the file names the camera that made it; screen: it says that it is a picture of a screen; device: (make,
    model, lens) as it says, each empty where it does not; composite: the camera made the picture of several shots;
    taken_at, taken_offset: by its clock, and how far that is from UTC, "+01:00"; suspect: why the file may be damaged,
    empty where nothing says so; credentials: the file brings content credentials of its own.
    """

    format: str
    width_px: int
    height_px: int
    focal_mm35: float | None = None
    exposure: float | None = None
    camera: bool = False
    screen: bool = False
    device: tuple[str, str, str] = ("", "", "")
    composite: bool = False
    taken_at: str | None = None
    taken_offset: str = ""
    profile_name: str = "sRGB (assumed)"
    warnings: tuple[str, ...] = ()
    suspect: str = ""
    credentials: bool = False
