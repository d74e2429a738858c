"""The well-known RGB spaces: names and numbers, which settings ask for; what follows from them is in files.icc."""

from dataclasses import dataclass
from types import ModuleType
from typing import TYPE_CHECKING, cast

from autoprep.imaging.units import Gamma

if TYPE_CHECKING:
    from autoprep.imaging.arrays import Float32, Float64


def _icc() -> ModuleType:
    from autoprep.files import icc  # arrays take a while to load, and names are asked for without them

    return icc


@dataclass(frozen=True)
class RgbSpace:
    """A well-known RGB space: its name, the chromaticities of its primaries, and its curve tag."""

    name: str
    primaries: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    gamma: Gamma
    white_d50: bool = False  # its own white is D50, else D65

    def to_xyz_d50(self) -> "Float64":
        """(3, 3) linear RGB -> XYZ relative to D50, Bradford-adapted where the space's own white is D65."""
        return cast("Float64", _icc().to_xyz_d50(self))

    def from_srgb(self) -> "Float32":
        """(3, 3) float32 linear sRGB -> linear RGB of this space."""
        return cast("Float32", _icc().from_srgb(self))

    def to_srgb(self) -> "Float32":
        """(3, 3) float32 linear RGB of this space -> linear sRGB."""
        return cast("Float32", _icc().to_srgb(self))

    def tables(self, levels: int) -> "Float32":
        """(3, levels) float32 linear light of every integer code."""
        return cast("Float32", _icc().tables_of(self, levels))

    def profile(self) -> bytes:
        """An ICC version 4.3 display profile of this space; the same bytes on every call."""
        return bytes(_icc().build(self))


# Primaries: IEC 61966-2-1 (sRGB); SMPTE EG 432-1 (P3, with the sRGB curve and D65); CSS Color 4, section 10.6
# (a98-rgb: the wide-gamut space that print labs ask for, gamma 563/256) and 10.7 (ProPhoto, ISO 22028-2: all surface
# colours, for 16 bits; with the pure curve of 1.8 that its profiles have as a rule, from memory); European Color
# Initiative, eciRGB v2 (2007; its figures as colour-science tables them: codes are L*, its white is D50).
SPACES = {
    "srgb": RgbSpace("sRGB", ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)), None),
    "display-p3": RgbSpace("Display P3", ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060)), None),
    "a98-rgb": RgbSpace("a98-rgb (wide gamut)", ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), 563 / 256),
    "eci-rgb": RgbSpace("eciRGB v2", ((0.67, 0.33), (0.21, 0.71), (0.14, 0.08)), "L*", white_d50=True),
    "prophoto": RgbSpace(
        "ProPhoto RGB", ((0.734699, 0.265301), (0.159597, 0.840403), (0.036598, 0.000105)), 1.8, white_d50=True
    ),
}
