"""The colours that a file declares in another way than by an ICC profile: code points, Exif, chunks of PNG.

Code points are those of ITU-T H.273 (colour primaries, transfer characteristics), as HEIC and AVIF hold them in a
`colr` box of type `nclx` (ISO/IEC 14496-12) and PNG in its chunk `cICP` (PNG, third edition). Their numbers, and those
of the chunks, from memory.
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass, replace

from PIL import ExifTags, Image

from autoprep.files.spaces import SPACES, RgbSpace
from autoprep.imaging.units import Gamma


@dataclass(frozen=True)
class Declared:
    """A space, None where nothing is declared that is known; what the artist should know.

    first: it goes before an ICC profile, as `cICP` does in PNG.
    """

    space: RgbSpace | None = None
    told: str = ""
    first: bool = False


_SRGB = SPACES["srgb"]
_BT2020 = RgbSpace("ITU-R BT.2020", ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)), None)
_BT601_625 = RgbSpace("ITU-R BT.601 (625 lines)", ((0.64, 0.33), (0.29, 0.60), (0.15, 0.06)), None)
_BT601_525 = RgbSpace("ITU-R BT.601 (525 lines)", ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070)), None)
_UNSAID = 2
_PRIMARIES = {
    1: _SRGB, _UNSAID: _SRGB, 5: _BT601_625, 6: _BT601_525, 9: _BT2020, 12: SPACES["display-p3"]
}  # fmt: skip
# The curves of television (1, 6, 14, 15) are those of cameras, before a screen's: pictures that phones mark with them
# are coded for screens, as sRGB (13) is, and readers take them so.
_CURVES: dict[int, Gamma] = {1: None, _UNSAID: None, 6: None, 13: None, 14: None, 15: None, 4: 2.2, 5: 2.8, 8: 1.0}
_TAKEN = "they are taken as sRGB, so that colours and lightness may be wrong"
_SAID_POINTS = "This file's colours (ITU-T H.273: primaries {}, curve {}) are not known here; " + _TAKEN + "."
_SAID_EXIF = f"This file says that its colours are not sRGB, but not which they are; {_TAKEN}."
_SAID_CHUNK = f"This file's own chunks say of its colours what can't be meant; {_TAKEN}."


def declared(data: bytes, kind: str, exif: Image.Exif, nclx: Mapping[str, object] | None = None) -> Declared:
    """What a file of a kind (`containers.sniff`) declares; nclx: what its reader tells of that box, if any."""
    found = Declared()
    if kind == "png":
        found = _of_png(data)
    elif kind == "heic" and nclx:
        primaries, curve = nclx.get("color_primaries", _UNSAID), nclx.get("transfer_characteristics", _UNSAID)
        found = _of_points(int(str(primaries)), int(str(curve)))
    elif kind == "avif":
        found = _of_avif(data)
    return found if found.space or found.told else _of_exif(exif)


def _of_points(primaries: int, curve: int) -> Declared:
    if primaries == curve == _UNSAID:
        return Declared()
    if primaries not in _PRIMARIES or curve not in _CURVES:
        return Declared(None, _SAID_POINTS.format(primaries, curve))
    return Declared(replace(_PRIMARIES[primaries], gamma=_CURVES[curve]))


_NCLX = b"colrnclx"
_MOST_BOXES = 64


def _of_avif(data: bytes) -> Declared:
    """The library tells nothing of this box. A file may hold several, of its depth map or its tiles; where they do not
    agree, none is believed.
    """
    found, at = set[tuple[int, int]](), data.find(_NCLX)
    for _ in range(_MOST_BOXES):
        if at < 0 or at + len(_NCLX) + 4 > len(data):
            break
        found.add(struct.unpack_from(">HH", data, at + len(_NCLX)))
        at = data.find(_NCLX, at + 1)
    found.discard((_UNSAID, _UNSAID))
    said = {_of_points(*points) for points in found}
    return said.pop() if len(said) == 1 else Declared()


# Exif 2.32, ColorSpace: 1 is sRGB, 0xFFFF another one; Interoperability Index "R03" (DCF 2.0): the optional space of
# cameras, which is the a98-rgb of CSS. Some cameras write 2 for that, outside the standard.
_COLOR_SPACE, _INDEX, _IS_SRGB, _OPTIONAL = 0xA001, 1, 1, "R03"


def _of_exif(exif: Image.Exif) -> Declared:
    space = exif.get_ifd(ExifTags.IFD.Exif).get(_COLOR_SPACE)
    if not isinstance(space, int) or space in (0, _IS_SRGB):
        return Declared()
    if str(exif.get_ifd(ExifTags.IFD.Interop).get(_INDEX, "")).strip("\0 ") == _OPTIONAL:
        return Declared(SPACES["a98-rgb"])
    return Declared(None, _SAID_EXIF)


# --- PNG ------------------------------------------------------------------------------------------------------

_OF_SRGB = 45455  # gAMA that goes with the chunk sRGB
_LIKE_SRGB = 500  # what encoders round to
_LEAST_GAMMA, _MOST_GAMMA = 20_000, 200_000  # beyond, it is damage
_NEAR = 0.004  # of chromaticities that are meant to be the same
_WHITES = {(0.3127, 0.3290): False, (0.3457, 0.3585): True}  # D65 and D50; whether `RgbSpace.white_d50`


def _of_png(data: bytes) -> Declared:
    """By the order of the third edition: cICP, then iCCP (see `Declared.first`), sRGB, gAMA with cHRM."""
    chunks = png_chunks(data)
    points = chunks.get(b"cICP", b"")
    if len(points) == 4 and points[2:] == b"\0\1":  # RGB, of full range: nothing else is allowed but narrow ranges
        return replace(_of_points(points[0], points[1]), first=True)
    if points:
        return Declared(None, _SAID_CHUNK)
    if b"sRGB" in chunks or not chunks.keys() & {b"gAMA", b"cHRM"}:
        return Declared()
    try:
        gamma = _gamma(chunks.get(b"gAMA"))
        space = _primaries(chunks.get(b"cHRM"))
    except (struct.error, ValueError):
        return Declared(None, _SAID_CHUNK)
    return Declared() if space == _SRGB and gamma is None else Declared(replace(space, gamma=gamma))


def png_chunks(data: bytes) -> dict[bytes, bytes]:
    """The chunks of a PNG before the pixels, the first of each name."""
    found, at = dict[bytes, bytes](), 8
    while at + 12 <= len(data):
        size, name = struct.unpack_from(">I4s", data, at)
        if name == b"IDAT":
            break
        found.setdefault(name, data[at + 8 : at + 8 + size])
        at += 12 + size
    return found


def _gamma(chunk: bytes | None) -> Gamma:
    """The curve of gAMA, the power of the encoder times 100,000: codes are light to that power."""
    if chunk is None:
        return None
    (value,) = struct.unpack(">I", chunk)
    if abs(value - _OF_SRGB) <= _LIKE_SRGB:
        return None
    if not _LEAST_GAMMA <= value <= _MOST_GAMMA:
        raise ValueError("gAMA")
    return 100_000 / float(value)


def _primaries(chunk: bytes | None) -> RgbSpace:
    """The space of cHRM: the chromaticities of white, red, green and blue times 100,000."""
    if chunk is None:
        return _SRGB
    values = [value / 100_000 for value in struct.unpack(">8I", chunk)]
    white, red, green, blue = ((values[k], values[k + 1]) for k in range(0, 8, 2))
    d50 = next((d50 for known, d50 in _WHITES.items() if _alike(white, known)), None)
    if d50 is None:
        raise ValueError("white")
    for space in SPACES.values():
        if space.white_d50 == d50 and all(map(_alike, (red, green, blue), space.primaries)):
            return space
    (a, b), (c, d) = ((green[k] - red[k], blue[k] - red[k]) for k in (0, 1))
    if abs(a * d - b * c) < 0.02 or min(red[1], green[1], blue[1]) < 1e-4:
        raise ValueError("primaries")
    return RgbSpace("RGB of its own (cHRM)", (red, green, blue), None, white_d50=d50)


def _alike(one: tuple[float, float], two: tuple[float, float]) -> bool:
    return max(abs(one[0] - two[0]), abs(one[1] - two[1])) <= _NEAR
