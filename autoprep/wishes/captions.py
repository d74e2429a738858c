"""What a photo's name and its folders say of the work, and which names say nothing: those that machines give."""

import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from pathlib import PurePosixPath
from typing import Any, NamedTuple, cast, get_args

from autoprep.domain import Kind, ReferenceShot
from autoprep.logs import composed
from autoprep.wishes.asking import asked_for
from autoprep.wishes.holding import held_name, is_hold, stands_apart
from autoprep.wishes.lines import AS_INCHES, besides, instead, kind, word
from autoprep.wishes.media import is_medium
from autoprep.wishes.sizes import is_month, size, trailing_size, wants_unit, year

# Names that cameras, phones, scanners, messengers and screenshots give: no titles.
_THING = r"img|_mg|dscf|dsc[nf]?|pxl|mvimg|pano|image|photo|picture|foto|bild|scan|screen ?shot|p|cimg|imgp|vid"
# What computers put before the name of a copy.
_BEFORE = r"(?:(?:copy of|kopie von|copie de|copia de|copia di)[-_ ]+)?"
_AFTER = (
    r"(?:[-_ ~.(]*(?:copy|edited|edit|hdr|burst|cover|mp|night|portrait|pano|raw|wa|top|final|rotated|cropped|enhanced)"
    r"\d*\)?)*"
)
# After a word that is none of these, only a long number is a machine's: "Boats-2" and "Studies-2026" are titles. Three
# capitals and "_" before four digits are a camera's (DCF, JEITA CP-3461), whatever the number.
_FREE_WORD = r"(?:(?-i:[A-Z]{3})_|[a-z]{2,9}[-_][-_ ]*(?!(?:19|20)\d\d(?:[-_ ]\d\d?)?$))(?=\d{4})"
_CAMERA_NAME = re.compile(
    rf"{_BEFORE}(?:(?:[a-z]{{2,9}}[-_])?(?:{_THING})[-_ ]*|[-_ ]*|{_FREE_WORD})e?\d[\d_\-~.() ]*{_AFTER}[\d_\-~.() ]*",
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
    r"(?i:dcim|camera|camera[ _-]?(?:uploads|roll)|uploads|(?:(?:all|my|saved)[ _-])?(?:photos|pictures|images)|inbox"
    r"|downloads?|recents?|screen[ _-]?shots?|(?:new|untitled)[ _-]folder|\d{3}\w{0,5})(?:[ _-]*\(?\d{1,3}\)?)?"
)
# Photos in such folders, or with such a name, show no work but the light of the others.
_REFERENCE = re.compile(
    r"(?:(light[ _-]?references?)|(gr[ea]y[ _-]?cards?)|(colou?r[ _-]?charts?)|((?:blank|white)[ _-]?boards?))"
    r"(?:[ _-]*\d+)?",
    re.IGNORECASE,
)
_REFERENCE_SHOTS = cast(tuple[ReferenceShot, ...], get_args(ReferenceShot))
_TO = re.compile(r"(as|for|(?:also|only)[\s_-]+for)(?:\s*[:_]\s*|\s+|(?<=for)-)(.+)", re.IGNORECASE)


def is_camera_name(stem: str) -> bool:
    """Whether a machine has given this name: it says nothing of the work."""
    return any(pattern.fullmatch(stem) for pattern in (_CAMERA_NAME, _MOMENT, _THING_OF_A_DAY, _NOTHING, _HEX))


def is_plain_folder(folder: str) -> bool:
    """Whether a folder's name says nothing: the inbox itself, one that a phone has made, or one of a month."""
    return not folder or bool(_CAMERA_FOLDER.fullmatch(folder)) or is_camera_name(folder) or is_month(folder)


def reference(text: str) -> ReferenceShot | None:
    """Which reference shot a folder or a photo is called; "light reference" where the picture itself must tell."""
    found = _REFERENCE.fullmatch(text)
    return None if found is None else _REFERENCE_SHOTS[next(k for k in range(4) if found[k + 1])]


def from_folders(shown: str, warnings: list[str], doubts: "list[Doubt] | None" = None) -> dict[str, Any]:
    """What a photo's folders say, the outermost first; inner ones win. doubts: filled with what is left open."""
    said: dict[str, Any] = {}
    doubts = [] if doubts is None else doubts
    for folder in PurePosixPath(composed(shown)).parts[:-1]:
        text = " ".join(folder.split())
        spoken = _TO.fullmatch(text)
        if word(text) or size(text):
            said |= besides(said, word(text) or size(text))
            doubts += _of_unit(text, size(text))
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
        else:
            said |= _of_plain_words(text, doubts)
    return said


def _of_plain_words(folder: str, doubts: "list[Doubt]") -> dict[str, Any]:
    """What a folder says that is called by words of the artist's own: a hold in other words, or a title."""
    if held_name(folder) is not None:
        doubts += [] if is_hold(folder) else [_held(folder)]
        return {"hold": True}
    if stands_apart(folder):
        doubts.append(Doubt(f"“{folder}” is not understood, and no title; nothing was made of it", ("title",)))
        return {}
    if is_plain_folder(folder):
        return {}
    if folder.casefold() in _STATES:
        doubts.append(Doubt(f"“{folder}” is taken for no title; nothing was made of it", ("title",)))
        return {}
    answer = asked_for(folder)
    doubts += [Doubt(answer, ("title", "outline", "corners_px"))] if answer else []
    return {} if answer else {"title": folder}


def _sent(said: dict[str, Any], how: str, where: str) -> dict[str, Any]:
    places = tuple(place.strip() for place in re.split(r"[,;]", where) if place.strip())
    if not how.startswith("also"):
        return {"destinations": places}
    return {"also": (*said.get("also", ()), *places)}


class Doubt(NamedTuple):
    """What a caption leaves open: the sentence that tells it, and what settles it where a note says it."""

    words: str
    settled_by: tuple[str, ...]


def _held(text: str) -> Doubt:
    return Doubt(f"“{text}” asks to hold; the work is held until a note says “hold: yes” or “hold: no”", ("hold",))


def open_doubts(doubts: Iterable[Doubt], said: Container[str], called: str) -> list[str]:
    """What is to be told of a caption, but for what was said besides."""
    return [f"{called}: {doubt.words}" for doubt in doubts if not any(key in said for key in doubt.settled_by)]


def from_name(shown: str) -> tuple[dict[str, Any], list[Doubt]]:
    """`Blue Jug, 2026, watercolour, 30x40cm` or a plain title; nothing from a camera's name."""
    stem = _INNER.sub("", PurePosixPath(composed(shown)).stem)
    if is_camera_name(stem):
        text = _beside_moment(stem)
        return caption(text) if text else ({}, [])
    if reference(stem) is not None:
        return {"reference": reference(stem)}, []
    return caption(stem)


# Programs that make a JPEG leave the ending of what they made it of: "IMG_2041.HEIC.jpg".
_INNER = re.compile(r"\.(?:hei[cf]|jpe?g|png|tiff?|webp|avif|dng)$", re.IGNORECASE)
# A name of a day and a time: what stands before these, and behind them.
_AROUND = re.compile(
    rf"(\D*?){_DAY}(?:(?:[-_ T]+|\s+at\s+|,\s*)[0-2]\d[-.:_ h]?[0-5]\d(?:[-.:_ ]?[0-5]\d)?\d*)?(.*)", re.IGNORECASE
)
_A_SIGN = re.compile(r"\s*[,;]\s*|\s[–—-]\s")
_MACHINES = re.compile(rf"[\d\W_]*(?:kopie|copie|copia|[ap]\.?m\.?)?[\d\W_]*{_AFTER}[\d\W_]*", re.IGNORECASE)


def _beside_moment(stem: str) -> str:
    """What somebody has put beside the moment that a machine has called a photo by, as a caption; empty for nothing.

    Behind it, or before it, stands a sign; a hold needs none. Words without one are as often an app's.
    """
    around = _AROUND.fullmatch(stem)
    if around is None or any(each.fullmatch(stem) for each in (_CAMERA_NAME, _NOTHING, _HEX)):
        return ""
    before, behind = around[1], around[2]
    cut = _A_SIGN.search(behind)
    bare = behind.strip(" _-.~()")
    rest = behind[cut.end() :] if cut else {"": bare, None: ""}.get(held_name(bare), "hold")
    rest = "" if _MACHINES.fullmatch(rest) else rest.strip(" _-.~")
    own = before.rstrip(" ,;_–—-") if _A_SIGN.search(before) or held_name(before.strip(" _-.")) is not None else ""
    if not (own or rest):
        return ""
    return ", ".join(part for part in (own or "IMG 0001", rest) if part)


IN_BRACKET = re.compile(r"\s*[(\[]([^()\[\]]*)[)\]]")


def caption(text: str) -> tuple[dict[str, Any], list[Doubt]]:
    """A title, and behind it in any order a year, a size, a medium, or a word such as "hold"; and what is left open.

    What asks for a hold in other words holds until it is understood, and is never a title or a medium.
    """
    text = " ".join(text.replace("_", " ").split())
    rest, doubts = _without_holds(text)
    if rest == text:
        return _caption(text)
    said, more = _caption(rest) if rest and not is_camera_name(rest) else ({}, [])
    return said | {"hold": True}, [*doubts, *more]


def _without_holds(text: str) -> tuple[str, list[Doubt]]:
    """A caption without the parts of it that ask to hold the work, and what these leave open."""
    doubts: list[Doubt] = []
    for found in reversed(list(IN_BRACKET.finditer(text))):
        if held_name(found[1]) is not None:
            doubts += [] if is_hold(found[1]) else [_held(found[1])]
            text = text[: found.start()] + text[found.end() :]
    for part in reversed(parts_of(text)):
        left = held_name(part.text)
        if left is not None:
            doubts += [] if is_hold(part.text) else [_held(part.text)]
            before, behind = text[: part.start], text[part.end :]
            if not left:  # with the sign before it, or that behind it
                before, behind = (
                    (SIGNS_BEHIND.sub("", before), behind) if before else ("", SIGNS_BEFORE.sub("", behind))
                )
            text = before + left + behind
    return text.strip(), doubts


def _caption(text: str) -> tuple[dict[str, Any], list[Doubt]]:
    parts = parts_of(text)
    if not parts:
        return {"title": text}, []
    begin = int(len(parts) > 1 and _is_machines(parts[0].text))  # "Scan 0001, Sea lavender"
    first = next(
        (k for k, part in enumerate(parts) if k and (_piece(part.text) or _sized_medium(part.text))), len(parts)
    )
    size_behind = trailing_size(parts[begin].text)[1] if begin < first else {}
    if first < len(parts) or size_behind:
        while first > 1 and is_medium(parts[first - 1].text):
            first -= 1
    elif is_medium(parts[-1].text) and len(parts) - begin > 1:
        # Signs alone may stand in a title: "Gulls, boats and rain".
        return {"title": _title(text, parts[begin:])}, [_looks(parts[-1].text, "medium", in_title=True)]
    media, said, doubts = _behind(parts[first:])
    said = size_behind | said
    doubts = [*_about_title([part.text for part in parts[begin:first]], said, alone=not (said or media)), *doubts]
    title = _title(text, parts[begin:first])
    return ({"title": title} if title else {}) | said | ({"medium": ", ".join(media)} if media else {}), doubts


class Part(NamedTuple):
    """A part of a caption, between signs, and where it stands."""

    text: str
    start: int
    end: int


# A comma between two digits, as in `12,5 x 17,5`, belongs to the number; a dash between two years to the span.
_COMMA = r",(?!(?<=\d,)(?<!\d{4},)(?:\d(?!\d)|\d\d(?:\b|\s*[x×]\s*\d+,\d)))"
_DASH = r"(?:(?<!\d{4})|(?!\s[–—-]\s(?:\d\d){1,2}\b(?!\s*[x×*,.])))\s[–—-]\s"
_SIGN = re.compile(rf"\s*{_COMMA}\s*|\s*;\s*|{_DASH}")
_BRACKET = re.compile(r"\s*[(\[]([^()\[\]]*)[)\]]\s*")
_LIKE_A_SIZE = re.compile(r"\d\s*(?:x|×|✕|х|\*|\bby\b)\s*\d", re.IGNORECASE)
_LIKE_A_YEAR = re.compile(r"(?<![\d,.])(?:1[5-9]|20)\d\d(?![\d,.])")
SIGNS_BEHIND = re.compile(r"\s*[,;–—-]?\s*$")
SIGNS_BEFORE = re.compile(r"^\s*[,;–—-]?\s*")


def parts_of(text: str) -> list[Part]:
    """The parts of a caption, between signs. A bracket is one where all in it is understood; else it stays whole."""
    cuts, whole = [], []
    for found in _BRACKET.finditer(text):
        if found.start() and _all_clear(found[1]):
            cuts += [(found.start(), found.start(1)), (found.end(1), found.end())]
        else:
            whole.append(found.span(1))
            if _all_clear(_SIGN.split(text[found.end() :], maxsplit=1)[0]):
                cuts.append((found.end(1) + 1, found.end()))
    cuts += [found.span() for found in _SIGN.finditer(text) if not any(a <= found.start() < b for a, b in whole)]
    parts, start = [], 0
    for end, behind in (*sorted(cuts), (len(text), len(text))):
        if text[start:end].strip():
            parts.append(Part(text[start:end], start, end))
        start = max(start, behind)
    return parts


def _all_clear(text: str) -> bool:
    """Whether all of some parts say something that is no title."""
    parts = [part for part in _SIGN.split(text) if part.strip()]
    return bool(parts) and all(_piece(part) or _sized_medium(part) or is_medium(part) for part in parts)


def _is_machines(text: str) -> bool:
    """Whether a part is what a machine calls a photo: a word and a long number."""
    return is_camera_name(text) and bool(re.search(r"[a-z]", text, re.IGNORECASE) and re.search(r"\d{3}", text))


def _title(text: str, parts: Sequence[Part]) -> str:
    """The title that begins a caption, with the signs in it, and without a size behind its first part."""
    if not parts:
        return ""
    begin, end = trailing_size(parts[0].text)[0], parts[-1].end
    if not text[end:].strip(" )],;"):
        end = len(text)  # a bracket that nothing follows is a part of it
    return re.sub(rf"\s*{_COMMA}\s*", ", ", begin + text[parts[0].end : end]).rstrip(",; ")


def _behind(parts: Iterable[Part]) -> tuple[list[str], dict[str, Any], list[Doubt]]:
    """The media, the other facts and the doubts in what stands behind a title."""
    media: list[str] = []
    said: dict[str, Any] = {}
    doubts: list[Doubt] = []
    for part in parts:
        medium, found = (
            ("", _piece(part.text)) if _piece(part.text) else _sized_medium(part.text) or trailing_size(part.text)
        )
        like = _like(medium)
        doubts += [_looks(medium, like, in_title=False)] if like else []
        state = medium.casefold() in _STATES or stands_apart(medium)
        doubts += [Doubt(f"“{medium}” names no medium; nothing was made of it", ("medium",))] if state else []
        media += [medium] if medium and not like and not state else []
        doubts += _of_unit(part.text, found)
        doubts += [_two(key, part.text) for key in ("year", "size_mm") if key in found.keys() & said.keys()]
        said |= besides(said, found)
    return media, said, doubts


# What is said behind a title of a work's state, and no medium. Common practice, no source.
_STATES = frozenset(("framed", "unframed", "matted", "mounted", "signed", "unsigned", "sold", "nfs", "not for sale"))


def _of_unit(text: str, found: Mapping[str, Any]) -> list[Doubt]:
    """What is told of a size whose unit was told by its fractions."""
    return [Doubt(AS_INCHES.format(text), ("size_mm",))] if found.get("unit") == "in" and wants_unit(text) else []


def _two(key: str, last: str) -> Doubt:
    """What is told where a caption gives one thing twice."""
    label = next(label for label, said in _KEYS_OF.items() if said == key)
    return Doubt(f"it gives the {label} twice; the last, “{last}”, was taken", (key,))


def _like(text: str) -> str:
    """What a text that was not understood looks like."""
    return "size" if _LIKE_A_SIZE.search(text) else "year" if _LIKE_A_YEAR.search(text) else ""


def _about_title(parts: Sequence[str], said: Mapping[str, Any], *, alone: bool) -> Iterator[Doubt]:
    """What is to be told of the parts that were taken for the title. alone: nothing else was understood."""
    odd = [part for part in parts if (like := _like(trailing_size(part)[0])) and _KEYS_OF[like] not in said]
    # A year in a title of one part is a part of it, as in "Harbour 2026".
    for part in odd:
        if _like(part) == "size" or len(parts) > 1:
            yield _looks(part, _like(part), in_title=True)
    asks = [part for part in parts[1:] if stands_apart(part) or asked_for(part) or part.casefold() in _STATES]
    for part in asks:
        yield Doubt(f"“{part}” is not understood, and was left in the title; say in a note what is meant", ("title",))
    more = [part for part in parts[1:] if part not in (*odd, *asks)]
    if more and not alone:
        listed = ", ".join(f"“{part}”" for part in more)
        yield Doubt(
            f"{listed} was taken into the title; if it is none, say in a note what it is, as in “medium: {more[-1]}”",
            ("title", "medium"),
        )


_KEYS_OF = {"size": "size_mm", "year": "year", "medium": "medium"}
_WRITTEN = {"size": "size: 30 x 40 cm", "year": "year: 2026"}


def _looks(text: str, like: str, *, in_title: bool) -> Doubt:
    done = "it was left in the title" if in_title else "nothing was made of it"
    written = _WRITTEN.get(like, f"{like}: {text}")
    settled_by = (_KEYS_OF[like], "title") if in_title else (_KEYS_OF[like],)
    return Doubt(f"“{text}” looks like a {like}; {done}; say it in a note, as in “{written}”", settled_by)


def _piece(piece: str) -> dict[str, Any]:
    return word(piece) or size(piece) or year(piece)


def _sized_medium(piece: str) -> tuple[str, dict[str, Any]] | None:
    """A part of a caption that is a medium with a size behind it, as in "watercolour 30x40", as these two."""
    for blank in re.finditer(r"\s+(?=\d)", piece):
        medium, sized = piece[: blank.start()], size(piece[blank.end() :])
        if sized and is_medium(medium):
            return medium, sized
    return None
