"""What the artist says of a work: by a note beside the photo, by the photo's name, by its folders.

The note wins over the name, the name over the folders; what contradicts itself is told.
"""

import contextlib
import difflib
import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath
from typing import Any, cast, get_args

from autoprep.domain import Kind, OutlineWord, PaperWord, ReferenceShot, WorkFacts
from autoprep.imaging.units import MM_PER_INCH, MM_PER_UNIT

# Names that cameras, phones and screenshots give: they are no titles.
_CAMERA_NAME = re.compile(
    r"(img|dsc[nf]?|dscf|pxl|mvimg|image|photo|picture|scan|screenshot|p|cimg|imgp)?[-_ ]*\d[\d_\- .()]*"
    r"([-_ ]?(copy|edited|hdr|burst\d*|cover|mp|night|portrait)\d*)*",
    re.IGNORECASE,
)
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
_PICTURES = (
    ".jpg", ".jpeg", ".heic", ".heif", ".png", ".tif", ".tiff", ".webp", ".avif", ".dng", ".nef", ".cr2", ".arw",
)  # fmt: skip
_MOST_REFERENCES = 4
_YEAR = re.compile(r"(?:c\.? ?)?((?:1[5-9]|20)\d\d)")
_SIZE = re.compile(r"(\d+(?:[.,]\d+)?)\s*[x×]\s*(\d+(?:[.,]\d+)?)\s*(mm|cm|in|inch|inches|\")?", re.IGNORECASE)
_UNITS = {**MM_PER_UNIT, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH}
_LARGEST_NOTE = 64 * 1024
FOLDER_NOTE = "note"  # this note, in any of the endings, speaks of all in its folder
_MOST_STOPS = 3.0
NOTE_ENDINGS = (".txt", ".toml", ".md")

_KEYS = {
    "title": "title", "name": "title", "year": "year", "date": "year", "medium": "medium", "technique": "medium",
    "size": "size", "inventory": "inventory", "inv": "inventory", "number": "inventory", "price": "price",
    "description": "description", "caption": "description", "alt": "alt_text", "alt text": "alt_text",
    "keywords": "keywords", "tags": "keywords", "kind": "kind", "as": "kind", "for": "destinations",
    "destination": "destinations", "destinations": "destinations", "hold": "hold", "paper": "paper",
    "grey card": "grey_card", "gray card": "grey_card", "lighter": "lighter", "darker": "darker",
    "turn": "turn", "rotate": "turn", "outline": "outline", "edge": "outline", "edges": "outline", "corners": "corners",
    "not a work": "not_a_work", "as shot": "as_shot",
}  # fmt: skip


def facts_of(inbox: Path, shown: str, words: Path | None = None) -> tuple[WorkFacts, tuple[str, ...]]:
    """The facts of the work in a photo, and what was said that can't be used. Reads the note beside it, if any.

    words: a note that was left by the command line; it wins over all others.
    """
    said: dict[str, Any] = {}
    warnings: list[str] = []
    sources = (
        _from_sketchbook(inbox, shown),
        _from_folder_notes(inbox, shown, warnings),
        _from_folders(shown, warnings),
        _from_name(shown),
        _from_note(inbox, shown, warnings),
        {} if words is None else _note(_read(words) or "", words, warnings, "what you said"),
    )
    for source in sources:
        said |= source
    if "size_mm" in said and not all(5 <= side <= 20_000 for side in said["size_mm"]):
        warnings.append("the size that is given is no size of a work; it was not used")
        del said["size_mm"]
    return WorkFacts(**_shortened(said, warnings)), tuple(warnings)


# What a file's rights can hold (XMP of a JPEG: 65,502 bytes, XMP specification part 3) shared among the words.
_MOST_LETTERS = {"title": 300, "medium": 200, "inventory": 60, "price": 60, "description": 4000, "alt_text": 2000}
_MOST_KEYWORDS, _MOST_KEYWORD = 60, 60


def _shortened(said: dict[str, Any], warnings: list[str]) -> dict[str, Any]:
    """The same with words cut to what a file can hold; that is told."""
    kept = dict(said)
    for name, most in _MOST_LETTERS.items():
        if len(kept.get(name, "")) > most:
            kept[name] = kept[name][: most - 1].rstrip() + "…"
            warnings.append(f"the {name.replace('_', ' ')} is longer than {most} letters; the rest was left out")
    words = kept.get("keywords", ())
    if len(words) > _MOST_KEYWORDS or any(len(word) > _MOST_KEYWORD for word in words):
        kept["keywords"] = tuple(word[:_MOST_KEYWORD] for word in words[:_MOST_KEYWORDS])
        warnings.append(f"only {_MOST_KEYWORDS} keywords of {_MOST_KEYWORD} letters each are used")
    return kept


def _from_folders(shown: str, warnings: list[str]) -> dict[str, Any]:
    said: dict[str, Any] = {}
    for folder in PurePosixPath(shown).parts[:-1]:
        text = " ".join(folder.split())
        word = re.fullmatch(r"(as|for)\s+(.+)", text, re.IGNORECASE)
        if _word(text):
            said |= _word(text)
        elif word and word[1].lower() == "as":
            # A folder that begins like this is meant for the service: it is answered, and never a title.
            found = _kind(word[2])
            said |= found
            if not found or found["kind"] != word[2].lower():
                warnings.append(f"the folder “{folder}”: {_instead(word[2], found.get('kind', ''), get_args(Kind))}")
        elif word and word[1].lower() == "for":
            said["destinations"] = (word[2],)
        elif _reference(text) is not None:
            said["reference"] = _reference(text)
        elif re.fullmatch(r"with (a )?gr[ea]y card", text, re.IGNORECASE):
            said["grey_card"] = True
        elif not _CAMERA_FOLDER.fullmatch(text) and not _is_camera_name(text):
            said["title"] = text
    return said


def _word(text: str) -> dict[str, Any]:
    """Words that say something by themselves, as a folder or a part of a name: `hold`, `turn left`, `not a work`."""
    folded = " ".join(text.lower().replace("_", " ").split())
    if folded in ("hold", "not a work", "as shot"):
        return {folded.replace(" ", "_"): True}
    if folded in get_args(OutlineWord):
        return {"outline": folded}
    turned = re.fullmatch(r"turn(?:ed)? (.+)", folded)
    return _turn(turned[1]) if turned else {}


def _instead(text: str, taken: str, known: tuple[str, ...]) -> str:
    """What was made of a word that is not known as it stands."""
    if taken:
        return f"“{text}” was read as “{taken}”"
    near = difflib.get_close_matches(text.lower(), known, 1, cutoff=0.0)
    return f"“{text}” is not understood; the nearest known word is “{near[0]}”"


def _reference(text: str) -> ReferenceShot | None:
    """Which reference shot a folder or a photo is called; "light reference" where the picture itself must tell."""
    found = _REFERENCE.fullmatch(text)
    return None if found is None else _REFERENCE_SHOTS[next(k for k in range(4) if found[k + 1])]


def reference_shots(inbox: Path, shown: str) -> list[tuple[Path, ReferenceShot]]:
    """The reference shots for a photo: those of its own folder, else of the next folder above that has some."""
    folder = PurePosixPath(shown).parent
    for place in (folder, *folder.parents):
        found = sorted(_references_in(inbox / place))
        if found:
            return found[:_MOST_REFERENCES]
    return []


def _references_in(folder: Path) -> Iterator[tuple[Path, ReferenceShot]]:
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        return
    for entry in entries:
        said = _reference(entry.stem)
        if said is None or entry.is_symlink():
            continue
        if entry.is_dir():
            with contextlib.suppress(OSError):
                yield from (
                    (file, _reference(file.stem) or said) for file in sorted(entry.iterdir()) if _is_picture(file)
                )
        elif _is_picture(entry):
            yield entry, said


def _is_picture(file: Path) -> bool:
    return file.suffix.lower() in _PICTURES and file.is_file() and not file.is_symlink()


def _is_camera_name(stem: str) -> bool:
    return bool(_CAMERA_NAME.fullmatch(stem) or re.fullmatch(r"[0-9a-fA-F-]{16,}", stem))


def _from_name(shown: str) -> dict[str, Any]:
    """`Blue Jug, 2026, watercolour, 30x40cm` or a plain title; nothing from a camera's name."""
    stem = PurePosixPath(shown).stem
    if _is_camera_name(stem):
        return {}
    if _reference(stem) is not None:
        return {"reference": _reference(stem)}
    pieces = [" ".join(piece.replace("_", " ").split()) for piece in stem.split(",")]
    known = [bool(_YEAR.fullmatch(piece) or _SIZE.fullmatch(piece) or _word(piece)) for piece in pieces]
    if not any(known[1:]):
        return {"title": ", ".join(pieces)}
    first = known.index(True, 1)
    said: dict[str, Any] = {"title": ", ".join(pieces[:first])}
    for piece, recognised in zip(pieces[first:], known[first:], strict=True):
        if _word(piece):
            said |= _word(piece)
        elif _SIZE.fullmatch(piece):
            said |= _size(piece)
        elif recognised:
            said["year"] = cast(re.Match[str], _YEAR.fullmatch(piece))[1]
        elif piece:
            said["medium"] = piece
    return said


def _size(text: str) -> dict[str, Any]:
    """Height x width, as captions have it; cm where no unit stands."""
    found = _SIZE.search(text)
    if found is None:
        return {}
    height, width = (float(found[k].replace(",", ".")) for k in (1, 2))
    unit = (found[3] or "cm").lower()
    return {
        "size_mm": (width * _UNITS[unit], height * _UNITS[unit]),
        "unit": "in" if _UNITS[unit] == MM_PER_INCH else unit,
    }


def _from_note(inbox: Path, shown: str, warnings: list[str]) -> dict[str, Any]:
    photo = inbox / shown
    for place in (*(photo.with_suffix(end) for end in NOTE_ENDINGS), *(Path(f"{photo}{end}") for end in NOTE_ENDINGS)):
        text = _read(place)
        if text is not None:
            return _note(text, place, warnings)
    return {}


def _from_folder_notes(inbox: Path, shown: str, warnings: list[str]) -> dict[str, Any]:
    """What a note that is called `note` says of all in its folder and below; the nearest one wins."""
    said: dict[str, Any] = {}
    for folder in reversed(PurePosixPath(shown).parents):
        for place in (inbox / folder / f"{FOLDER_NOTE}{end}" for end in NOTE_ENDINGS):
            text = _read(place)
            said |= {} if text is None else _note(text, place, warnings)
    return said


def _from_sketchbook(inbox: Path, shown: str) -> dict[str, Any]:
    """A sketchbook has one paper: what a note says of the paper of one page holds for all in that folder.

    Only folders that the artist named are sketchbooks; of several notes that speak of the paper the newest holds.
    """
    folder = PurePosixPath(shown).parent
    if not folder.name or _CAMERA_FOLDER.fullmatch(folder.name) or _is_camera_name(folder.name):
        return {}
    newest: tuple[float, dict[str, Any]] = (0.0, {})
    with contextlib.suppress(OSError):
        for place in sorted((inbox / folder).iterdir()):
            if place.suffix.lower() in NOTE_ENDINGS and place.stem != FOLDER_NOTE:
                said = _note(_read(place) or "", place, [])
                paper: dict[str, Any] = {key: said[key] for key in ("paper", "keep_paper") if key in said}
                when = place.stat().st_mtime
                newest = (when, paper) if paper and when >= newest[0] else newest
    return newest[1]


def _read(place: Path) -> str | None:
    """The text of a note, or None where there is none that can be read."""
    try:
        if place.is_symlink() or not place.is_file() or place.stat().st_size > _LARGEST_NOTE:
            return None
        return _text(place.read_bytes())
    except OSError:
        return None


def _text(data: bytes) -> str:
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    return data.decode("utf-16" if wide else "utf-8-sig", "replace")


def _note(text: str, place: Path, warnings: list[str], called: str = "") -> dict[str, Any]:
    called = called or f"the note {place.name}"
    try:
        lines: dict[str, Any] = tomllib.loads(text) if place.suffix == ".toml" else dict(_loose(text))
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as problem:
        # Nesting without end and numbers of thousands of digits are no syntax errors to the parser.
        reason = problem if isinstance(problem, tomllib.TOMLDecodeError) else "it holds a number or a nesting too large"
        warnings.append(f"{called} can't be read: {reason}")
        return {}
    said: dict[str, Any] = {}
    for key, value in lines.items():
        name = _KEYS.get(" ".join(key.lower().replace("_", " ").split()))
        if name is None:
            near = difflib.get_close_matches(key.lower(), _KEYS, 1, cutoff=0.0)[0]
            warnings.append(f"{called} says “{key}”, which is not understood; the nearest word is “{near}”")
            continue
        said |= _said(name, value, called, warnings)
    return said


def _loose(text: str) -> dict[str, str]:
    """`key: value` lines in any case, with straight or curly quotes; a line without a colon goes on with the last."""
    found: dict[str, str] = {}
    last = ""
    for line in text.splitlines():
        key, colon, value = line.partition(":")
        if colon and " ".join(key.lower().split()) in _KEYS:
            last = key.strip()
            found[last] = value.strip().strip("“”\"'‘’").strip()
        elif colon and key.strip() and len(key.split()) <= 2 and not line[0].isspace():
            last = ""
            found[key.strip()] = value.strip()
        elif last and line.strip():
            found[last] = f"{found[last]} {line.strip()}".strip()
    return found


def _said(name: str, value: Any, called: str, warnings: list[str]) -> dict[str, Any]:
    """One line of a note as facts; what can't be used is told."""
    text = ", ".join(str(v) for v in value) if isinstance(value, list) else " ".join(str(value).split())
    found = _READERS[name](text) if name in _READERS else {name: text} if text else {}
    if name == "kind" and found and found["kind"] != text.lower():
        warnings.append(f"{called}: {_instead(text, found['kind'], get_args(Kind))}")
    if not found and text:
        near = difflib.get_close_matches(text.lower(), _WORDS.get(name, ()), 1, cutoff=0.5)
        nearest = f"; the nearest word is “{near[0]}”" if near else ""
        warnings.append(f"{called} gives a {name.replace('_', ' ')} that is not understood: {text}{nearest}")
        if name == "hold":  # said in words that are not known: better held than given out
            return {"hold": True}
    return found


def _kind(text: str) -> dict[str, Any]:
    """A kind of work, also where it is spelt a little differently, as in American English."""
    near = difflib.get_close_matches(text.lower(), get_args(Kind), 1, cutoff=0.8)
    return {"kind": near[0]} if near else {}


_TURNS = {
    "right": 90, "clockwise": 90, "90": 90, "left": 270, "counterclockwise": 270, "anticlockwise": 270, "-90": 270,
    "270": 270, "upside down": 180, "180": 180, "no": 0, "0": 0,
}  # fmt: skip


def _turn(text: str) -> dict[str, Any]:
    degrees = _TURNS.get(" ".join(text.lower().replace("°", "").replace("degrees", "").split()))
    return {} if degrees is None else {"turn": degrees}


def _outline_word(text: str) -> dict[str, Any]:
    near = difflib.get_close_matches(text.lower(), get_args(OutlineWord), 1, cutoff=0.8)
    return {"outline": near[0]} if near else _corners(text)


def _corners(text: str) -> dict[str, Any]:
    """Four corners in pixels of the upright photo, clockwise from the top left: `120,80 1900,95 1880,2500 130,2480`."""
    numbers = [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", text)]
    if len(numbers) != 8:
        return {}
    return {"corners_px": tuple((numbers[k], numbers[k + 1]) for k in range(0, 8, 2))}


_YES, _NO = ("yes", "true", "1", "y", "on"), ("no", "false", "0", "n", "off")


def _yes(name: str) -> Callable[[str], dict[str, Any]]:
    def read(text: str) -> dict[str, Any]:
        return {name: text.lower() in _YES} if text.lower() in _YES + _NO else {}

    return read


def _paper(text: str) -> dict[str, Any]:
    if text.lower() in ("keep", "clean"):
        return {"keep_paper": text.lower() == "keep"}
    return {"paper": text.lower()} if text.lower() in get_args(PaperWord) else {}


def _stops(text: str, sign: int) -> dict[str, Any]:
    found = re.fullmatch(r"([+-]?\d+(?:[.,]\d+)?)\s*(?:stops?|ev)?", text.strip(), re.IGNORECASE)
    stops = sign * float(found[1].replace(",", ".")) if found else 99.0
    return {"lighter": stops} if abs(stops) <= _MOST_STOPS else {}


def _year(text: str) -> dict[str, Any]:
    found = _YEAR.search(text)
    return {"year": found[1]} if found else {}


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


_READERS: dict[str, Callable[[str], dict[str, Any]]] = {
    "size": _size,
    "kind": _kind,
    "paper": _paper,
    "lighter": lambda text: _stops(text, 1),
    "darker": lambda text: _stops(text, -1),
    "year": _year,
    "hold": _yes("hold"),
    "grey_card": _yes("grey_card"),
    "not_a_work": _yes("not_a_work"),
    "as_shot": _yes("as_shot"),
    "turn": _turn,
    "outline": _outline_word,
    "corners": _corners,
    "keywords": lambda text: {"keywords": _listed(text)},
    "destinations": lambda text: {"destinations": _listed(text)},
}

# The words that a line may give, where they are few: the nearest is offered for one that is not known.
_WORDS: dict[str, tuple[str, ...]] = {
    "kind": get_args(Kind), "paper": (*get_args(PaperWord), "keep", "clean"), "turn": tuple(_TURNS),
    "outline": get_args(OutlineWord), **dict.fromkeys(("hold", "grey_card", "not_a_work", "as_shot"), (*_YES, *_NO)),
}  # fmt: skip
