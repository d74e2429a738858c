"""The names of finished files: a destination's template, filled with what is known of the work, made safe."""

import re
import unicodedata
from pathlib import PurePosixPath
from string import Formatter

from anyascii import anyascii

from autoprep.domain import WorkFacts
from autoprep.files.storage import is_reserved, safe_stem
from autoprep.wishes.captions import IN_BRACKET, SIGNS_BEFORE, SIGNS_BEHIND, Part, parts_of
from autoprep.wishes.destinations import Preset
from autoprep.wishes.holding import held_name
from autoprep.wishes.lines import word


def file_stem(preset: Preset, destination: str, facts: WorkFacts, artist: str, shown: str, number: int) -> str:
    """A file name without its ending, safe on every system; never empty.

    number fills {nn}: where the name is too long, it is cut before that, for it tells works apart.
    """
    first, _, last = artist.strip().rpartition(" ")
    height, width = facts.sides()
    values = {
        "photo": without_wishes(PurePosixPath(shown).stem),
        "nn": f"{number:02d}",
        "last": last,
        "first": first,
        "initial": first[:1],
        "title": facts.title,
        "year": facts.year,
        "medium": facts.medium,
        "h": height,
        "w": width,
        "unit": facts.unit if height else "",
        "inv": facts.inventory,
        "destination": destination,
    }
    text, absent, before = "", False, ""
    for literal, name, _, _ in Formatter().parse(preset.name):
        # The x between two sides that are not known would stand alone.
        text += "" if absent and literal.strip() == "x" else literal
        if name == "nn" and not before:
            text = before = _room_for(values["nn"], text, preset)
        text += values[name] if name is not None else ""
        absent = name == "h" and not height
    fallback = f"{number:02d}" if preset.rights == "none" else values["photo"]
    return _shaped(text, preset) or _shaped(fallback, preset) or f"picture-{number:02d}"


def without_wishes(stem: str) -> str:
    """A photo's name without the parts that say what is to be done with the work: "Blue Jug, only for site".

    What it says of the work itself stays, and so does all of a name that says nothing else.
    """
    text = stem
    for found in reversed(list(IN_BRACKET.finditer(text))):
        text = text[: found.start()] + text[found.end() :] if _is_wish(found[1]) else text
    for number, part in reversed([*enumerate(parts_of(text))]):
        left = held_name(part.text)
        if left and part.text.replace("_", " ").startswith(left):  # "Blue Jug hold"
            text = text[: part.start + len(left)] + text[part.end :]
        elif left == "" or (number and word(part.text)):
            text = _without(text, part)
    return text.strip() or stem


def _is_wish(text: str) -> bool:
    return bool(word(text)) or held_name(text) == ""


def _without(text: str, part: Part) -> str:
    """A name without one of its parts, and without the sign before it, or the brackets around it."""
    before, behind = SIGNS_BEHIND.sub("", text[: part.start]), text[part.end :]
    opened = before.endswith(("(", "["))
    if opened and behind[:1] in (")", "]"):
        before, behind, opened = before[:-1].rstrip(), behind[1:], False
    behind = behind if before and not opened else SIGNS_BEFORE.sub("", behind)
    work = _OF_SEVERAL.search(part.text)
    return f"{before}{work[0] if work and not behind else ''}{behind}"


_OF_SEVERAL = re.compile(r"-\d{1,3}$")  # which of several works in a photo it is (part_name)


def _room_for(number: str, before: str, preset: Preset) -> str:
    """What stands before the number, short enough that this does not fall behind the longest name."""
    body = before.rstrip("-_ ")
    gap = before[len(body) :]
    while body and (over := len(_in_letters(body + gap + number, preset)) - preset.name_max) > 0:
        body = body[: max(0, len(body) - over)].rstrip("-_ ")
    return body + gap if body else ""


def opening(preset: Preset, destination: str, facts: WorkFacts, artist: str, shown: str, number: int) -> str:
    """How a numbered name begins, up to and with its number: no two files of a destination begin alike."""
    start = preset.name[: preset.name.index("{nn}") + 4]
    cut = preset.model_copy(update={"name": start})
    return file_stem(cut, destination, facts, artist, shown, number)


def number_in(preset: Preset, destination: str, facts: WorkFacts, artist: str, shown: str, stem: str) -> int | None:
    """The number that a file of a numbering destination bears; None where it has none, or begins in another way."""
    if not counts(preset):
        return None
    for found in re.findall(r"\d+", stem):
        start = opening(preset, destination, facts, artist, shown, int(found))
        for begins in (start, start.replace("_", "")):  # earlier versions left blanks out of plain names
            if int(found) and stem.startswith(begins) and not stem[len(begins) : len(begins) + 1].isdigit():
                return int(found)
    return None


def counts(preset: Preset) -> bool:
    """Whether the destination numbers its files."""
    return any(name == "nn" for _, name, _, _ in Formatter().parse(preset.name))


def _shaped(text: str, preset: Preset) -> str:
    """The text within the destination's rules; empty where nothing of it may stay."""
    text = _in_letters(text, preset)[: preset.name_max].strip("-_ ")
    # Last: what was cut or taken off may have left such a name.
    return _shaped(f"picture-{text}", preset) if is_reserved(text) else text


def _in_letters(text: str, preset: Preset) -> str:
    """The text in the letters, with the spaces and in the case that the destination wants, however long."""
    if preset.name_letters == "plain":
        text = plain_letters(text)
    text = safe_stem(text, fallback="")
    # An empty field leaves its separators behind: "02__Title_" -> "02_Title".
    text = re.sub(r"([-_ ])[-_ ]*", r"\1", text).strip("-_ ")
    plain = preset.name_letters == "plain"  # in which a blank would go, and "Sea Thrift" run together
    text = text.replace(" ", "_" if plain and preset.name_space == " " else preset.name_space)
    if plain:
        text = re.sub(r"[^A-Za-z0-9_-]", "", text)
    return {"lower": text.lower(), "upper": text.upper()}.get(preset.name_case, text)


def plain_letters(text: str) -> str:
    """Unaccented Latin letters; other scripts are spelled in them: "Möwe" as "Mowe", "Чайка" as "Chayka"."""
    return anyascii(unicodedata.normalize("NFC", text))


def shortened(stem: str, ending: str, limit: int) -> str:
    """The stem with an ending such as "-2", together no longer than the limit."""
    return stem[: max(1, limit - len(ending))].rstrip("-_ ") + ending


def part_name(shown: str, part: int) -> str:
    """The name of one of several works in a photo, after the photo's: "Cards/IMG_1.jpg" and 2 as "Cards/IMG_1-2.jpg".

    With the part 0 it is the photo's own.
    """
    place = PurePosixPath(shown)
    return str(place.with_stem(f"{place.stem}-{part}")) if part else shown


def whole_name(shown: str, part: int) -> str:
    """The name of the photo that `part_name` was given."""
    place = PurePosixPath(shown)
    return str(place.with_stem(place.stem.removesuffix(f"-{part}"))) if part else shown
