"""The rights statement and the density as a fresh Exif block: nothing is copied from the camera's."""

import piexif

from autoprep.metadata.statement import RightsStatement

_INCH = 2


def block(
    statement: RightsStatement,
    width_px: int,
    height_px: int,
    ppi: float | None,
    srgb: bool,
    oriented: bool = True,
) -> bytes:
    """Exif bytes ("Exif\\0\\0" + TIFF structure): rights, orientation 1, size, density, colour space."""
    main: dict[int, object] = {piexif.ImageIFD.Orientation: 1} if oriented else {}
    for _, value, ids in statement.fields():
        if ids.exif is not None:
            main[ids.exif] = value.encode("utf-8", "replace")
    if ppi:
        density = (round(ppi * 100), 100)
        main |= {
            piexif.ImageIFD.XResolution: density,
            piexif.ImageIFD.YResolution: density,
            piexif.ImageIFD.ResolutionUnit: _INCH,
        }
    camera = {
        piexif.ExifIFD.ExifVersion: b"0232",
        piexif.ExifIFD.PixelXDimension: width_px,
        piexif.ExifIFD.PixelYDimension: height_px,
        piexif.ExifIFD.ColorSpace: 1 if srgb else 0xFFFF,
    }
    # The library leaves out the four bytes that end the camera directory; strict readers stumble over that.
    # Only values that fit inside their entry stand there, so the end of the block is the place.
    return bytes(piexif.dump({"0th": main, "Exif": camera, "GPS": {}, "1st": {}, "thumbnail": None})) + b"\0" * 4
