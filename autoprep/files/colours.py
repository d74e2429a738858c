"""From a photo's codes to linear light: by its ICC profile, or by what else its file declares of its colours."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from autoprep.errors import Unreadable
from autoprep.files.conversion import through
from autoprep.files.declared import Declared
from autoprep.files.icc import read_grey_profile, read_matrix_profile, srgb_tables
from autoprep.files.profiles import MAX_PROFILE_BYTES
from autoprep.files.spaces import SPACES
from autoprep.imaging.arrays import AnyArray, Float32, UInt16

Model = Literal["rgb", "grey", "srgb", "guess", "wide"]
"""What (H, W, 3) codes are: RGB of the file's own; three times its grey; converted already, to sRGB (by a guess) or to
`WIDE`."""

WIDE = SPACES["prophoto"]  # holds what any camera, scanner or press shows; for 16 bits
_BAND_PX = 1 << 20
_SRGB, _ASSUMED = "sRGB", "sRGB (assumed)"
SAID_INKS = "its inks have no colour profile that can be used, so that its colours are a guess; send it as RGB"


@dataclass(frozen=True)
class Coloured:
    """Codes, and the way from them to linear light (see domain.Photo); name: of their colours."""

    codes: AnyArray
    tables: Float32
    matrix: Float32 | None
    name: str


def coloured(codes: AnyArray, model: Model, profile: bytes | None, said: Declared, warnings: list[str]) -> Coloured:
    """(H, W, 3) uint8 or uint16 codes with their way to linear light; what had to be guessed is added to the warnings.

    Profiles with look-up tables are applied here; matrices and curves only when light is asked for.
    """
    levels = 256 if codes.dtype == np.uint8 else 65536
    if model == "wide":
        return Coloured(codes, WIDE.tables(levels), WIDE.to_srgb(), "look-up-table profile")
    if model in ("srgb", "guess"):
        return Coloured(codes, srgb_tables(levels), None, _SRGB if model == "srgb" else _ASSUMED)
    assumed = _by_declaration(codes, levels, said)
    if profile and not (said.first and said.space):
        try:
            return _by_profile(codes, levels, model, profile)
        except (Unreadable, OSError, ValueError) as problem:
            warnings.append(f"its colour profile can't be used ({problem}); taken as {assumed.name}")
    elif said.told:
        warnings.append(said.told)
    return assumed


def _by_declaration(codes: AnyArray, levels: int, said: Declared) -> Coloured:
    space = said.space
    if space is None:
        return Coloured(codes, srgb_tables(levels), None, _ASSUMED)
    matrix = None if space.primaries == SPACES["srgb"].primaries and not space.white_d50 else space.to_srgb()
    return Coloured(codes, space.tables(levels), matrix, space.name)


def _by_profile(codes: AnyArray, levels: int, model: Model, profile: bytes) -> Coloured:
    if len(profile) > MAX_PROFILE_BYTES:
        raise Unreadable("it is too large")
    parsed = read_matrix_profile(profile)
    if parsed is not None:
        return Coloured(codes, parsed.tables(levels), parsed.to_srgb, parsed.name)
    of_grey = model == "grey" and profile[16:20] == b"GRAY"
    if not of_grey and profile[16:20] != b"RGB ":
        raise Unreadable("it does not describe RGB")
    curve = read_grey_profile(profile) if of_grey else None
    if curve is not None:
        return Coloured(codes, curve.tables(levels), None, curve.name)
    wide = into_wide(codes[..., :1] if of_grey else codes, profile, "gray" if of_grey else "rgb")
    return coloured(wide, "wide", None, Declared(), [])


def into_wide(codes: AnyArray, profile: bytes, model: Literal["rgb", "gray", "cmyk"]) -> UInt16:
    """(H, W, 1, 3 or 4) uint8 or uint16 codes of an ICC profile -> (H, W, 3) uint16 codes of `WIDE`, by lcms.

    By the perceptual intent, as a profile means its colours to be seen (ICC.1:2022, 6.2.4). Raises Unreadable.
    """
    height, width = codes.shape[:2]
    made, target = np.empty((height, width, 3), np.uint16), WIDE.profile()
    rows = max(1, _BAND_PX // width)
    for top in range(0, height, rows):
        band = codes[top : top + rows]
        band = band[..., 0] if model == "gray" else band
        made[top : top + rows] = through(band, profile, target, (model, "rgb"), "perceptual", bits=16)
    return made


def guessed(inks: UInt16) -> UInt16:
    """(H, W, 4) uint16 codes of CMYK -> (H, W, 3) of sRGB, as the imaging library has them with 8 bits: light that each
    ink lets through, without what real inks are."""
    height, width = inks.shape[:2]
    made, most = np.empty((height, width, 3), np.uint16), np.uint32(65535)
    rows = max(1, _BAND_PX // width)
    for top in range(0, height, rows):
        left = most - inks[top : top + rows].astype(np.uint32)
        made[top : top + rows] = (left[..., :3] * left[..., 3:] + most // 2) // most
    return made
