"""What a photo's name and folders say: its title, its kind, and where its outputs will go."""

import re
from collections.abc import Callable
from pathlib import Path, PurePosixPath
from typing import cast, get_args

from autoprep.domain import Kind
from autoprep.files.encoders import ENCODERS
from autoprep.files.storage import safe_stem
from autoprep.ledger import LOOK
from autoprep.settings import Settings

# Names that cameras, phones and screenshots give: they are no titles.
_CAMERA_NAME = re.compile(
    r"(img|dsc[nf]?|dscf|pxl|mvimg|image|photo|picture|scan|screenshot|p|cimg|imgp)?[-_ ]*\d[\d_\- .()]*"
    r"([-_ ]?(copy|edited|hdr|burst\d*|cover|mp|night|portrait)\d*)*",
    re.IGNORECASE,
)


def title_of(shown: str) -> str:
    """The work's title, from a file name that a person gave; empty for camera names."""
    stem = PurePosixPath(shown).stem
    if _CAMERA_NAME.fullmatch(stem) or re.fullmatch(r"[0-9a-fA-F-]{16,}", stem):
        return ""
    return " ".join(stem.replace("_", " ").split())


def kind_of(shown: str) -> Kind | None:
    """The artist's word on the kind: the innermost folder named "as KIND"."""
    for folder in reversed(PurePosixPath(shown).parts[:-1]):
        said = re.fullmatch(r"as\s+(\w+)", folder.strip(), re.IGNORECASE)
        if said and said[1].lower() in get_args(Kind):
            return cast(Kind, said[1].lower())
    return None


def reserve(settings: Settings, shown: str, is_taken: Callable[[Path], bool]) -> dict[str, Path]:
    """Free places for all outputs of a photo, all with the same stem, and its folder for a question."""
    stem = safe_stem(PurePosixPath(shown).stem)
    for number in range(1, 100_000):
        numbered = stem if number == 1 else f"{stem}-{number}"
        places = {name: place_for(settings, name, numbered) for name in settings.destinations}
        places[LOOK] = settings.folders.needs_a_look / numbered
        if not any(is_taken(place) or _exists(place) for place in places.values()):
            return places
    raise RuntimeError("no free name")


def place_for(settings: Settings, destination: str, stem: str) -> Path:
    """The path of one output."""
    suffix = ENCODERS[settings.destinations[destination].format].suffix
    return settings.folders.ready / destination / f"{stem}{suffix}"


def _exists(place: Path) -> bool:
    try:
        place.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False  # what stands in the way of the folder is told when the picture is delivered
    except OSError:
        return True
    return True
