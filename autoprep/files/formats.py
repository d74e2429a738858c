"""One row per output format: what it can hold, and which function of files.encoders writes it.

Whoever reads settings asks for the rows alone: what writes them, with its libraries, is loaded where a file is written.
"""

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, BinaryIO

if TYPE_CHECKING:
    from autoprep.files.encoders import Carried, How
    from autoprep.imaging.arrays import AnyArray, Rows


def _later(name: str) -> Callable[..., Any]:
    """The function of files.encoders of that name, looked for when it is called."""

    def called(*given: Any) -> Any:
        return getattr(import_module("autoprep.files.encoders"), name)(*given)

    return called


@dataclass(frozen=True)
class Encoder:
    """A format: its function, the ending of its files, and what it can hold.

    deep: 16 bits a channel; inks: grey and CMYK, so that a profile of the lab's own can be met; lossy: its quality can
    be turned down for a cap on bytes; oriented: Exif may tell the orientation; marked_inks: a mark can be
    drawn in CMYK; iim: it carries IIM beside XMP; mime: its name where content credentials can be put inside; most_px:
    of a side; write: the same as encode for a picture that is made while it is written, into a file that can be read
    and sought in.
    """

    encode: Callable[["AnyArray", "Carried", "How"], bytes]
    suffix: str
    deep: bool = False
    inks: bool = False
    lossy: bool = False
    oriented: bool = True
    marked_inks: bool = False
    iim: bool = False
    mime: str = ""
    most_px: int = 65535
    write: Callable[[BinaryIO, "Rows", "Carried", "How"], None] | None = None


ENCODERS = {
    "jpeg": Encoder(_later("jpeg"), ".jpg", inks=True, lossy=True, iim=True, mime="image/jpeg"),
    "webp": Encoder(_later("webp"), ".webp", lossy=True, mime="image/webp", most_px=16383),  # RFC 9649: 14 bits
    # AVIF turns pictures by its own boxes, and its writer mangles Exif blocks that hold an orientation.
    # 32768 is what its readers open.
    "avif": Encoder(_later("avif"), ".avif", lossy=True, oriented=False, mime="image/avif", most_px=32768),
    "png": Encoder(_later("png"), ".png", deep=True, mime="image/png"),
    "tiff": Encoder(
        _later("tiff"),
        ".tif",
        deep=True,
        inks=True,
        marked_inks=True,
        iim=True,
        mime="image/tiff",
        write=_later("write_tiff"),
    ),
}
"""One row for each format: its name in the settings, and all that the rest of the code asks of it."""


def able(ability: str) -> str:
    """The names of the formats with an ability, as words: "tiff and png"."""
    names = sorted(name for name, row in ENCODERS.items() if getattr(row, ability))
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
