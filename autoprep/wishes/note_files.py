"""The files in which the artist says something: where they lie, and what is read from them."""

import codecs
import contextlib
import os
import re
import stat
import time
import tomllib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from autoprep.logs import as_shown, composed
from autoprep.wishes.asking import asked_for
from autoprep.wishes.captions import Doubt, caption, open_doubts
from autoprep.wishes.holding import holds, holds_by, is_hold, stands_apart, unlisted
from autoprep.wishes.lines import KEYS, loose, meaning, read, slip, word
from autoprep.wishes.mistakes import nearest
from autoprep.wishes.slips import line_in
from autoprep.wishes.slips import slip as toml_slip

NOTE_ENDINGS = (".txt", ".toml", ".md", ".rtf")
_RICH = b"{\\rtf"  # how rich text begins, whatever its file is called; what it says stands between marks
WORK_LIST = "works.csv"  # in any capitals: the list of the works in its folder
LIST_COPIES = "/copies of the list"  # as which in_folder() has all of a folder's; no file is called so
# A folder is steady so long after its last change; the coarsest times that file systems keep are two seconds apart.
_STEADY_NS, _STEADY_BY_COARSE_NS = 100_000_000, 3_000_000_000
_LARGEST_NOTE = 64 * 1024
_NUMBERS = frozenset(("no", "nr", "num", "№"))  # of which a number may be: that of the inventory, or a place in lists
_TOO_LONG = f" is longer than {_LARGEST_NOTE // 1024} KiB; what stands behind that was not read"
_LONGEST_CAPTION = 200  # letters; a longer first line of a note is no caption
_NAMES = {
    "size_mm": "the size",
    "destinations": "where it goes",
    "hold": "whether it is held",
    "keep_paper": "the paper",
}
WHATEVER_ELSE = ("also", "not_for")  # what each source adds to the others
OF_THE_SIZE = ("unit", "size_free")  # what is said along with a size, and never by itself
_ESCAPES = re.compile(rb"\\(?:x([01][0-9a-f]|[7-9a-f][0-9a-f])|u(20[0-9a-f]{2}))")


def place_of(inbox: Path, shown: str) -> Path:
    """Where a photo lies, or its note would, that is shown so: the characters and bytes that are shown as escapes are
    none in the name on the disk, unless there is one that is really called so."""
    place = inbox / shown
    return inbox / as_it_lies(shown) if "\\" in shown and not os.path.lexists(place) else place


def as_it_lies(shown: str) -> str:
    """A name as the disk has it: with the bytes that are no UTF-8, and the characters that would break a line."""
    return os.fsdecode(_ESCAPES.sub(_unescaped, os.fsencode(shown)))


def _unescaped(found: re.Match[bytes]) -> bytes:
    one, more = found.groups()
    return bytes([int(one, 16)]) if one else chr(int(more, 16)).encode("utf-8")


def folded(name: str) -> str:
    """A name as it is compared: phones begin a note's with a capital, and computers put letters together otherwise."""
    return name.casefold() if name.isascii() else composed(composed(name).casefold())


def in_folder(folder: Path) -> Mapping[str, tuple[str, ...]]:
    """The notes of a folder: their names by how they are compared. Nothing where it can't be read."""
    try:
        changed = folder.stat().st_mtime_ns
    except OSError:
        return {}
    # A folder that was changed a moment ago may be changed again without another time.
    still = _STEADY_NS if changed % 1_000_000 else _STEADY_BY_COARSE_NS
    steady = changed if time.time_ns() - changed > still else -time.monotonic_ns()
    return _notes_in(str(folder), steady)


@lru_cache(maxsize=256)
def _notes_in(folder: str, _changed: int) -> Mapping[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    with contextlib.suppress(OSError):
        for name in sorted(os.listdir(folder)):
            key = folded(name)
            key = LIST_COPIES if is_list_copy(name) else key
            if key.endswith(NOTE_ENDINGS) or key in (WORK_LIST, LIST_COPIES):
                found[key] = (*found.get(key, ()), name)
    return found


def as_called(place: Path, notes: Mapping[str, tuple[str, ...]] | None = None) -> tuple[Path, ...]:
    """The places of a note as its files are really called: just so first, then in other capitals.

    notes: those of its folder, as in_folder() has them, for who asks after several there.
    """
    called = (in_folder(place.parent) if notes is None else notes).get(folded(place.name))
    if called is None:
        return (place,) if os.path.lexists(place) else ()
    return tuple(place.with_name(name) for name in sorted(called, key=lambda name: name != place.name))


def text_of(place: Path, most: int = _LARGEST_NOTE) -> str | None:
    """The text of a note, None where there is none; of a long one the whole lines of its first bytes, 64 KiB or most.

    Raises OSError where there is one that can't be read. A link is not followed: it may lead to anything.
    """
    try:
        mode = place.lstat().st_mode
    except (OSError, ValueError):  # none, or a name that no file can have
        return None
    if stat.S_ISLNK(mode):
        raise OSError("it is a link, and links are not followed")
    if not stat.S_ISREG(mode):
        raise OSError("it is a folder" if stat.S_ISDIR(mode) else "it is no plain file")
    try:
        data = _beginning_of(place, most)
    except FileNotFoundError:
        return None
    if data.startswith(_RICH):
        called = f", called {as_shown(place.stem)}.txt" if is_rich(place) else ""
        raise OSError(f"it is rich text; save it as plain text{called}")
    text = _text(data[:most], cut=len(data) > most)
    return text if len(data) <= most else text[: text.rfind("\n") + 1] or text


def _beginning_of(place: Path, most: int) -> bytes:
    with place.open("rb") as file:
        return file.read(most + 1)


def said_by(place: Path, warnings: list[str], called: str = "", *, keep_photo: bool = False) -> dict[str, Any] | None:
    """What the note there says; None where there is none. One that can't be read may say that the work is held: it is,
    until the note can be read."""
    called = called or f"the note {as_shown(place.name)}"
    try:
        text = text_of(place)
        is_long = text is not None and place.stat().st_size > _LARGEST_NOTE
    except OSError as problem:
        return held_unread(called, problem, warnings)
    said = None if text is None else said_in(text, place, warnings, called, keep_photo=keep_photo)
    if said is not None and is_long:  # what was not read may ask for a hold
        held = "" if "hold" in said else "; the work is held until it is shorter, or its beginning says “hold: no”"
        warnings.append(f"{called}{_TOO_LONG}{held}")
        said.setdefault("hold", True)
    return said


def held_unread(called: str, problem: OSError, warnings: list[str]) -> dict[str, Any]:
    """What is taken to be said by what is there and can't be read; that is told."""
    warnings.append(f"{called}{_UNREAD}{problem.strerror or problem}); the work is held until it can be")
    return {"hold": True}


def is_rich(place: Path) -> bool:
    """Whether a note is called like rich text, which is not read, and need not be where a plain note is beside it."""
    return place.suffix.lower() == NOTE_ENDINGS[-1]


def is_work_list(name: str) -> bool:
    """Whether a file is called like a list of the works in its folder."""
    # No letters fold to another count of these; nearly all names of an inbox are told by it.
    return len(name) == len(WORK_LIST) and folded(name) == WORK_LIST


def is_list_copy(name: str) -> bool:
    """Whether a file is called as browsers, sync tools and people call a copy of a list of works: “works (1).csv”."""
    if "." not in name or name[0] in ".~" or name[-4:].lower() != ".csv" or is_work_list(name):
        return False
    return _CALLED_WORKS.search(folded(name[:-4])) is not None


def has_rows(name: str) -> bool:
    """Whether a file is called like a list of works, or like a copy of one."""
    return is_work_list(name) or is_list_copy(name)


_CALLED_WORKS = re.compile(r"(?<![^\W\d_])works(?![^\W\d_])")
_UNREAD = " can't be read now ("


def is_unread(unclear: tuple[str, ...]) -> bool:
    """Whether some of what is told of a photo's words is that a note could not be read."""
    return any(_UNREAD in line for line in unclear)


def _text(data: bytes, *, cut: bool = False) -> str:
    """The text of a note in whatever way a phone or a computer has kept it. cut: it may end within a letter.

    Signs that stand for nothing go: between the letters of a word, as a note of four bytes a letter has them when it is
    read by two and two, they would make it another.
    """
    return _decoded(data, cut=cut).replace("\0", "")


def _decoded(data: bytes, *, cut: bool) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    odd, even = data[1::2].count(0), data[::2].count(0)
    if max(odd, even) > len(data) // 5:  # UTF-16 without its mark: every other byte of Latin letters is 0
        return data.decode("utf-16-le" if odd > even else "utf-16-be", "replace")
    try:
        return codecs.getincrementaldecoder("utf-8-sig")().decode(data, final=not cut)
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


# What several lines of one note say of these is meant together.
_ADD_UP = ("keywords", "also", "not_for")


def said_in(
    text: str, place: Path, warnings: list[str], called: str = "", *, keep_photo: bool = False
) -> dict[str, Any]:
    """What a note says. A first line without a colon is read like a photo's name."""
    called, text = called or f"the note {as_shown(place.name)}", composed(text)
    text = _EMPHASIS.sub(r"\2", text) if place.suffix.lower() == ".md" else text
    lines: list[tuple[str, Any]]
    lines, others = _of_toml(text, called, warnings) if place.suffix.lower() == ".toml" else loose(text)
    said: dict[str, Any] = {}
    given: dict[str, tuple[Any, Any]] = {}
    doubts: list[Doubt] = []
    idle: list[str] = []
    for line, found in _from_bare_lines(text, others, called, (warnings, idle), doubts):
        lay_over(said, found)
        warnings += _said_twice(given, {key: found[key] for key in found if key != "hold"}, line, called)
    keyed: set[str] = set()
    held = said.get("hold", False)  # by a line without a colon
    for key, value in lines:
        name = meaning(key)
        if name == "photo":
            said |= {"photo": str(value).strip()} if keep_photo else {}
        elif not name and holds_by(key, value):  # said in words that are not known: better held than given out
            said |= {"hold": True}
            held = True
            warnings.append(_held_until(called, f"{key}: {value}"))
        elif not name:
            number = "inventory" if key.strip(" .").casefold() in _NUMBERS else ""
            near = "" if stands_apart(key) else number or nearest(key, KEYS)
            which = f"; the nearest word is “{near}”" if near else "; nothing was made of that line"
            idle.append(f"{called} says “{short(key)}”, which is not understood{which}")
        else:
            warnings += [f"{called}: {slip(key)}"] if slip(key) else []
            found = read(name, value, called, warnings)
            keyed |= found.keys()
            warnings += _said_twice(given, found, value, called)
            if name in _ADD_UP and name in found:
                found = {name: tuple(dict.fromkeys((*said.get(name, ()), *found.get(name, ()))))}
            lay_over(said, found)
    warnings += [*_in_short(idle, called), *open_doubts(doubts, keyed, called)]
    _, *behind = re.split("[,;]", said["title"]) if "title" in keyed else ("",)
    if "hold" not in said and behind and is_hold(behind[-1]):
        said["hold"] = True  # as it would in a photo's name
        warnings.append(_held_until(called, f"title: {said['title']}"))
    if held and not said["hold"]:
        warnings.append(f"{called} says both that the work is held and that it is not; it is held")
        said["hold"] = True
    return said


def _of_toml(text: str, called: str, warnings: list[str]) -> tuple[list[tuple[str, Any]], list[str]]:
    """The lines of a note in TOML, those in its tables too. One with a slip is read like a plain note: a comma that was
    forgotten must not release what it holds."""
    try:
        return list(_flat(tomllib.loads(text))), []
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as problem:
        # Nesting without end and numbers of thousands of digits are no syntax errors to the parser.
        slipped = isinstance(problem, tomllib.TOMLDecodeError)
        reason = _slip_in(text, str(problem)) if slipped else "it holds a number or a nesting too large"
        warnings.append(f"{called} can't be read as TOML, so its lines are read like those of a plain note: {reason}")
    plain = (line for line in text.splitlines() if not line.lstrip().startswith(("#", "[")))
    lines, others = loose("\n".join(_ASSIGNED.sub(r"\1: ", line) for line in plain))
    found = [(key, _LIST_OF.sub("", value) if re.fullmatch(r"\[[^\[]*\]", value) else value) for key, value in lines]
    return [(key, value) for key, value in found if meaning(key) == "hold" or _is_whole(value)], others


def _slip_in(text: str, problem: str) -> str:
    """What is wrong in a note in TOML, and in which line."""
    said, at = toml_slip(text, line_in(text, problem), problem)
    return said if said == problem else f"{said} (line {at})"


def _is_whole(value: str) -> bool:
    """Whether a value in TOML that was read as plain words is all there: no bracket or quote of it is left open."""
    return value[:1] not in tuple("[{\"'") and len(value) <= _LONGEST_CAPTION


_ASSIGNED = re.compile(r"""^\s*["']?([^\W\d][\w -]*?)["']?\s*=\s*""")
_LIST_OF = re.compile(r"""^\[|\]$|["']""")


def _flat(table: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value)
        elif isinstance(value, list) and any(isinstance(each, dict) for each in value):
            yield from (line for each in value if isinstance(each, dict) for line in _flat(each))
        else:
            yield key, value


def _said_twice(given: dict[str, tuple[Any, Any]], found: dict[str, Any], value: Any, called: str) -> list[str]:
    """What is answered where a note gives one thing two values; given: what its lines gave so far, and their text."""
    told = []
    for what, means in found.items():
        field = "outline" if what == "corners_px" else what  # which is said by words or by its corners
        meant, text = given.get(field, (means, value))
        if meant != means and field not in (*_ADD_UP, *OF_THE_SIZE):
            both = f"“{short(str(text))}” and “{short(str(value))}”"
            told.append(f"{called} gives {in_words(field)} twice, {both}; the last holds")
        given[field] = (means, value)
    return told


def _from_bare_lines(
    text: str, others: list[str], called: str, told: tuple[list[str], list[str]], doubts: list[Doubt]
) -> Iterator[tuple[str, dict[str, Any]]]:
    """The lines without a colon that say something, each with what it says; the others are answered.

    told: what is to be told whatever else is, and of lines of which nothing was made.
    """
    warnings, idle = told
    first = next((" ".join(line.split()) for line in text.splitlines() if any(map(str.isalnum, line))), "")
    for line in others:
        sent = _SENT.fullmatch(unlisted(line))
        if word(line):
            yield line, word(line)
        elif sent:  # as a folder may be called; where it goes is no title
            name = "also" if sent[1].lower() == "also" else "destinations"
            yield line, read(name, sent[2], called, warnings)
        elif holds(line):  # said in words that are not known: better held than given out
            yield line, {"hold": True}
            warnings.append(_held_until(called, line))
        elif line == first and asked_for(unlisted(line)):
            doubts.append(Doubt(asked_for(unlisted(line)), ("outline", "corners_px")))
            yield line, {"noted": True}  # whoever asks for something of a photo says that it shows a work
        elif line == first and not stands_apart(line) and len(line) <= _LONGEST_CAPTION:
            found, open_in_it = caption(unlisted(line) if unlisted(line)[:1].isalpha() else line)
            doubts += open_in_it
            yield line, found
        else:
            idle.append(f"{called} says “{short(line)}” without a word and a colon before it; nothing was made of it")


# What makes words stout, slanted or even in Markdown: "**title:** Blue Jug".
_EMPHASIS = re.compile(r"(?<![\w*])(\*\*\*?|\*|__|`)(?=\S)([^*_`\n]*[^\s*_`])\1(?![\w*])")
_SENT = re.compile(r"(also|only)[\s-]+for\s+(\S.*)", re.IGNORECASE)
_MOST_IDLE = 12  # lines of one note that are answered one by one: a whole diary may be called like a note


def _in_short(idle: list[str], called: str) -> list[str]:
    """What is told of lines of which nothing was made; of many the first, and how many more there are."""
    if len(idle) <= _MOST_IDLE + 1:
        return idle
    more = len(idle) - _MOST_IDLE
    return [*idle[:_MOST_IDLE], f"{called} has {more} more lines that are not understood; nothing was made of them"]


def _held_until(called: str, line: str) -> str:
    return f"{called} says “{short(line)}”; the work is held until it says “hold: yes” or “hold: no”"


def short(text: str) -> str:
    """The text as a sentence quotes it: no more than 60 letters."""
    return text if len(text) <= 60 else f"{text[:59]}…"


def lay_over(said: dict[str, Any], source: dict[str, Any]) -> None:
    """Take over what a source says that wins over those before it. An outline is said by words or by its corners."""
    for one, other in (("corners_px", "outline"), ("outline", "corners_px")):
        if one in source and other not in source:
            said.pop(other, None)
    both = {name: (*said.get(name, ()), *source.get(name, ())) for name in WHATEVER_ELSE}
    said |= source
    said |= {name: tuple(dict.fromkeys(names)) for name, names in both.items() if names}


def in_words(key: str) -> str:
    """What is said, as a sentence calls it."""
    return _NAMES.get(key, f"the {key.replace('_', ' ').removesuffix(' px')}")
