"""What a photo's name and its folders say of the work, and which names say nothing: those that machines give."""

import re
from pathlib import PurePosixPath
from typing import Any, cast, get_args

from autoprep.domain import Kind, ReferenceShot
from autoprep.wishes.lines import instead, kind, word
from autoprep.wishes.sizes import size, trailing_size, year

# Names that cameras, phones, scanners, messengers and screenshots give: they are no titles.
_THING = r"img|_mg|dscf|dsc[nf]?|pxl|mvimg|pano|image|photo|picture|foto|bild|scan|screen ?shot|p|cimg|imgp|vid"
_AFTER = (
    r"(?:[-_ ~.(]*(?:copy|edited|edit|hdr|burst|cover|mp|night|portrait|pano|raw|wa|top|final|rotated|cropped|enhanced)"
    r"\d*\)?)*"
)
# After a word that is none of these, only a long number is a machine's: "Boats-2" and "Studies-2026" are titles. Three
# capitals and "_" before four digits are a camera's (DCF, JEITA CP-3461), whatever the number.
_FREE_WORD = r"(?:(?-i:[A-Z]{3})_|[a-z]{2,9}[-_][-_ ]*(?!(?:19|20)\d\d(?:[-_ ]\d\d?)?$))(?=\d{4})"
_CAMERA_NAME = re.compile(
    rf"(?:(?:[a-z]{{2,9}}[-_])?(?:{_THING})[-_ ]*|[-_ ]*|{_FREE_WORD})e?\d[\d_\-~.() ]*{_AFTER}[\d_\-~.() ]*",
    re.IGNORECASE,
)
_DAY = r"(?:19|20)\d\d[-_.]?[01]\d[-_.]?[0-3]\d"
_MOMENT = re.compile(rf"\D*{_DAY}(?:[-_ T]+|\s+at\s+|,\s*)[0-2]\d[-.:_ h]?[0-5]\d.*", re.IGNORECASE)
_THING_OF_A_DAY = re.compile(rf"(?:\w+[-_ ])?(?:{_THING})s?[-_ ]+{_DAY}.*", re.IGNORECASE)
_NOTHING = re.compile(
    rf"(?:(?:new|my)[-_ ])?(?:{_THING}|untitled|unnamed|fullsizerender|download|attachment|camera|cover|file|unknown"
    r"|tempimage)[-_ ]*(?:\(\d+\)|\d*)",
    re.IGNORECASE,
)
_HEX = re.compile(r"[0-9a-fA-F]{16,}|[0-9a-fA-F-]{20,}")
# Folders that phones and sync tools make.
_CAMERA_FOLDER = re.compile(
    r"(dcim|camera|camera[ _-]?uploads|uploads|photos|pictures|inbox|\d{3}\w{0,5})", re.IGNORECASE
)
# Photos in such folders, or with such a name, show no work but the light of the others.
_REFERENCE = re.compile(
    r"(?:(light[ _-]?references?)|(gr[ea]y[ _-]?cards?)|(colou?r[ _-]?charts?)|((?:blank|white)[ _-]?boards?))"
    r"(?:[ _-]*\d+)?",
    re.IGNORECASE,
)
_REFERENCE_SHOTS = cast(tuple[ReferenceShot, ...], get_args(ReferenceShot))
_TO = re.compile(r"(as|for|also for)\s+(.+)", re.IGNORECASE)


def is_camera_name(stem: str) -> bool:
    """Whether a machine has given this name: it says nothing of the work."""
    return any(pattern.fullmatch(stem) for pattern in (_CAMERA_NAME, _MOMENT, _THING_OF_A_DAY, _NOTHING, _HEX))


def is_plain_folder(folder: str) -> bool:
    """Whether a folder's name says nothing: the inbox itself, or one that a phone has made."""
    return not folder or bool(_CAMERA_FOLDER.fullmatch(folder)) or is_camera_name(folder)


def reference(text: str) -> ReferenceShot | None:
    """Which reference shot a folder or a photo is called; "light reference" where the picture itself must tell."""
    found = _REFERENCE.fullmatch(text)
    return None if found is None else _REFERENCE_SHOTS[next(k for k in range(4) if found[k + 1])]


def from_folders(shown: str, warnings: list[str]) -> dict[str, Any]:
    """What a photo's folders say, the outermost first; inner ones win."""
    said: dict[str, Any] = {}
    for folder in PurePosixPath(shown).parts[:-1]:
        text = " ".join(folder.split())
        spoken = _TO.fullmatch(text)
        if word(text) or size(text):
            said |= word(text) or size(text)
        elif spoken and spoken[1].lower() == "as":
            # A folder that begins like this is meant for the service: it is answered, and never a title.
            found = kind(spoken[2])
            said |= found
            if not found or found["kind"] != spoken[2].lower():
                warnings.append(f"the folder “{folder}”: {instead(spoken[2], found.get('kind', ''), get_args(Kind))}")
        elif spoken:
            said |= _sent(said, spoken[1].lower(), spoken[2])
        elif reference(text) is not None:
            said["reference"] = reference(text)
        elif re.fullmatch(r"with (a )?gr[ea]y card", text, re.IGNORECASE):
            said["grey_card"] = True
        elif not is_plain_folder(text):
            said["title"] = text
    return said


def _sent(said: dict[str, Any], how: str, where: str) -> dict[str, Any]:
    if how == "for":
        return {"destinations": (where,)}
    return {"also": (*said.get("also", ()), where)}


def from_name(shown: str) -> dict[str, Any]:
    """`Blue Jug, 2026, watercolour, 30x40cm` or a plain title; nothing from a camera's name."""
    stem = PurePosixPath(shown).stem
    if is_camera_name(stem):
        return {}
    if reference(stem) is not None:
        return {"reference": reference(stem)}
    return caption(stem)


def caption(text: str) -> dict[str, Any]:
    """A title, and after commas in any order a year, a size, a medium, or a word such as "hold"."""
    pieces = [" ".join(piece.replace("_", " ").split()) for piece in _at_commas(text)]
    title, said = trailing_size(pieces[0])
    first = next((k for k, piece in enumerate(pieces) if k and (_piece(piece) or _sized_medium(piece))), len(pieces))
    if first == len(pieces) and not said:
        return {"title": ", ".join(pieces)}  # commas alone may stand in a title: "Gulls, boats and rain"
    while first > 1 and is_medium(pieces[first - 1]):
        first -= 1
    said["title"] = ", ".join([title, *pieces[1:first]])
    media = []
    for piece in filter(None, pieces[first:]):
        found = _piece(piece)
        if not found:
            medium, found = trailing_size(piece)
            media.append(medium)
        said |= found
    return said | ({"medium": ", ".join(media)} if media else {})


def _at_commas(text: str) -> list[str]:
    """Parts between commas; one between two digits, as in `12,5 x 17,5`, belongs to the number."""
    return re.split(r",(?!(?<=\d,)(?<!\d{4},)\d{1,2}\b)", text)


def _piece(piece: str) -> dict[str, Any]:
    return word(piece) or size(piece) or year(piece)


def _sized_medium(piece: str) -> bool:
    """Whether a part of a caption is a medium with a size behind it, as in "watercolour 30x40cm"."""
    medium, sized = trailing_size(piece)
    return bool(sized) and is_medium(medium)


# What works are made with, in the singular, and what such words are qualified by. Only for parts of a caption that
# could also belong to its title; where nothing else is possible, a medium may be anything.
_MEDIA = frozenset((
    "acrylic", "aquarelle", "aquatint", "ballpoint", "biro", "casein", "chalk", "charcoal", "collage", "conte",
    "conté", "crayon", "drypoint", "encaustic", "etching", "fineliner", "gouache", "graphite", "ink", "linocut",
    "lithograph", "marker", "media", "metalpoint", "monoprint", "monotype", "oil", "paint", "pastel", "pen", "pencil",
    "sanguine", "screenprint", "sepia", "silverpoint", "tempera", "wash", "watercolour", "wax", "woodcut",
))  # fmt: skip
_SORTS = frozenset((
    "black", "blue", "bright", "brown", "brush", "coloured", "dip", "dry", "egg", "felt", "fountain", "gel", "grey",
    "india", "indian", "mixed", "red", "soft", "technical", "tip", "walnut", "water", "white",
))  # fmt: skip
_ON_WHAT = frozenset((
    "board", "canvas", "card", "cardboard", "cotton", "linen", "panel", "paper", "wood",
))  # fmt: skip


def is_medium(text: str) -> bool:
    """Whether words name nothing but what works are made with: "pen and ink", "oil on canvas", and not "oil lamp"."""
    folded = " ".join(text.lower().replace("-", " ").replace("color", "colour").split())
    stuff, on, ground = f" {folded}".partition(" on ")
    if on and not stuff:
        return ground.split()[-1] in _ON_WHAT
    return all(_is_stuff(part) for part in re.split(r"\s*[/&+]\s*|\s+(?:and|with|over)\s+", stuff.strip()))


def _is_stuff(text: str) -> bool:
    words = [word if word in _MEDIA else word.removesuffix("s") for word in text.split()]
    return bool(words) and words[-1] in _MEDIA and all(word in _MEDIA or word in _SORTS for word in words)
