"""The lines of a note: which words may stand before a colon, and how what stands behind it is read."""

import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, get_args

from autoprep.domain import Kind, OutlineWord, PaperWord
from autoprep.wishes.asking import asked_for
from autoprep.wishes.holding import (
    INVISIBLE,
    JOINERS,
    NARROW,
    QUOTES,
    bare,
    holds,
    stands_apart,
    unlisted,
    unquoted,
)
from autoprep.wishes.media import is_medium
from autoprep.wishes.mistakes import nearest
from autoprep.wishes.sizes import number, size, wants_unit, year

_MOST_STOPS = 3.0

KEYS = {
    "title": "title", "name": "title", "year": "year", "date": "year", "medium": "medium", "technique": "medium",
    "media": "medium", "materials": "medium", "size": "size", "dimensions": "size", "inventory": "inventory",
    "inv": "inventory", "inventory number": "inventory", "number": "inventory", "inv. no.": "inventory",
    "inv no": "inventory", "inv.no.": "inventory", "inventory no": "inventory", "inventory no.": "inventory",
    "inv.": "inventory", "inv. no": "inventory", "inv nr": "inventory", "inv. nr.": "inventory", "price": "price",
    "description": "description", "caption": "description", "alt": "alt_text", "alt text": "alt_text",
    "alternative text": "alt_text", "keywords": "keywords", "tags": "keywords", "kind": "kind", "as": "kind",
    "for": "destinations", "destination": "destinations", "destinations": "destinations", "only for": "destinations",
    "also for": "also", "also": "also", "not for": "not_for", "except for": "not_for",
    "hold": "hold", "paper": "paper", "grey card": "grey_card",
    "gray card": "grey_card", "lighter": "lighter", "darker": "darker", "turn": "turn", "rotate": "turn",
    "outline": "outline", "edge": "outline", "edges": "outline", "corners": "corners", "not a work": "not_a_work",
    "as shot": "as_shot", "order": "order", "photo": "photo",
}  # fmt: skip
"""What may stand before a colon -> what it speaks of."""

# Texts that may run over several lines of a note. Keywords may not: whatever follows them would become public words.
_LONG = ("description", "alt_text")
# Keys whose slips are not guessed: "names" or "numbers" of a note are as often those of somebody or something else.
_NEVER_GUESSED = ("name", "number", "photo")
_SHORTEST_GUESS = 4


def word(text: str) -> dict[str, Any]:
    """Words that say something by themselves, as a folder, a line or a part of a name: `hold`, `turn left`."""
    folded = " ".join(unquoted(bare(text)).lower().replace("_", " ").split())
    if folded in ("hold", "not a work", "as shot"):
        return {folded.replace(" ", "_"): True}
    if folded in get_args(OutlineWord):
        return {"outline": folded}
    never = re.fullmatch(r"not[ -]for (?!sale\b)(.+)", folded)
    if never and not holds(text):
        return {"not_for": _listed(never[1])}
    # "For Anna" alone is as often whom a work was drawn for.
    sent = re.fullmatch(r"(only|also)[ -]for (.+)", folded)
    if sent:
        return {"destinations" if sent[1] == "only" else "also": _listed(sent[2])}
    if place := _only_place(text):
        return {"destinations": (place,)}
    turned = re.fullmatch(r"(?:turn(?:ed)?|rotated?) (.+)", folded)
    return _turn(turned[1]) if turned else {}


_ONLY = re.compile(r"[Oo]nly (?:on )?([\w-]+)|([\w-]+) only")


def _only_place(text: str) -> str:
    """Where a work goes alone by words such as "site only"; empty for what can't be a place: "ink only", "art only".

    With a capital what stands behind it is as often a title: "Only Gulls". A place that there is not holds the work,
    which is right for "Anna only" too.
    """
    found = _ONLY.fullmatch(" ".join(unquoted(bare(text)).replace("_", " ").split()))
    name = (found[1] or found[2]) if found else ""
    title = found is not None and found[1] and name[:1].isupper()
    none = title or name.lower() in ("", "not", "for", "if", "on") or is_medium(name) or holds(text) or asked_for(text)
    return "" if none else name.lower()


def besides(said: Mapping[str, Any], found: Mapping[str, Any]) -> dict[str, Any]:
    """The same with all places that the work is not for: each word on that adds to the others."""
    never = (*said.get("not_for", ()), *found.get("not_for", ()))
    return {**found, **({"not_for": tuple(dict.fromkeys(never))} if never else {})}


def instead(text: str, taken: str, known: tuple[str, ...]) -> str:
    """What was made of a word that is not known as it stands."""
    if taken:
        return f"“{text}” was read as “{taken}”"
    near = nearest(text, known)
    which = f"the nearest known word is “{near}”" if near else f"the known words are {', '.join(known)}"
    return f"“{text}” is not understood; {which}"


def meaning(key: str) -> str:
    """What a word before a colon speaks of; empty where it is not known. Case, spaces and low lines do not count."""
    return KEYS.get(taken(key), "")


def taken(key: str) -> str:
    """The known word that one before a colon is taken for: itself, or one that it is a slip of; empty where none is."""
    folded = _folded(key)
    if folded in KEYS or len(folded) < _SHORTEST_GUESS:
        return folded if folded in KEYS else ""
    if folded[0] == "h" and nearest(folded, KEYS) == "hold":
        return "hold"  # better held than given out
    near = difflib.get_close_matches(folded, set(KEYS).difference(_NEVER_GUESSED), 1, cutoff=0.8)
    return near[0] if near and near[0][0] == folded[0] and len(near[0]) >= _SHORTEST_GUESS else ""


def slip(key: str) -> str:
    """What was made of a word before a colon that is taken for a known one; empty where it is one, or is not taken."""
    return instead(key, taken(key), ()) if taken(key) not in ("", _folded(key)) else ""


def loose(text: str) -> tuple[list[tuple[str, str]], list[str]]:
    """`key: value` lines in any case, and the lines of a note that no key stands before.

    Texts, such as a description, go on over the lines that follow; so does any line that the next, set in, goes on.
    Never over one with a colon after a word or two, known or not: a private line must not end in a public text.
    """
    found: list[tuple[str, str]] = []
    others: list[str] = []
    open_to = ""  # what the last key speaks of, while a line may go on with it
    for line in text.splitlines():
        key, colon, value = _at_colon(_as_item(line))
        plain = " ".join(INVISIBLE.sub("", line).split())
        if colon and (meaning(key) or _like_a_key(key, value)):
            open_to = meaning(key) if meaning(key) != "keywords" else ""
            found.append((" ".join(key.split()), unquoted(value)))
        elif not any(letter.isalnum() for letter in plain):
            open_to = open_to if not plain else ""  # a line drawn below a text, or around a note's head, ends it
        elif open_to and (open_to in _LONG or line[0].isspace()) and _goes_on(plain):
            found[-1] = (found[-1][0], f"{found[-1][1]} {plain}".strip())
        else:
            open_to = ""
            others.append(plain)
    return found, others


def by_key(lines: Iterable[str]) -> dict[str, str]:
    """Lines that were said one after the other, by what they speak of: of each the last, but all that
    it is not for; one without a value unsays."""
    said: dict[str, str] = {}
    for line in lines:
        key, value = _key_and_value(line)
        before = said.pop(key, "")
        if value:
            places = dict.fromkeys((*_kept_from(before), *_kept_from(line))) if key == "not_for" else ()
            said[key] = f"not for: {', '.join(places)}" if places else line.strip()
    return said


def _kept_from(line: str) -> tuple[str, ...]:
    """The places that a line says the work is not for."""
    return word(line).get("not_for") or _listed(_key_and_value(line)[1]) if line else ()


def _key_and_value(line: str) -> tuple[str, str]:
    """What a line speaks of, and what it says of that; a word that stands alone, such as `hold`, says all."""
    spoken, _ = loose(line)
    if spoken:
        key, value = spoken[0]
        means = meaning(key) or key.lower()
        return "outline" if means == "corners" else means, value  # which is said by words or by its corners
    known = word(line) or {"hold": True}  # one that asks for it in other words, in whose stead "hold: no" stands
    return next(iter(known)), line.strip()


def _as_item(line: str) -> str:
    """The line, or what it says where it is an item of a list, or quoted, and begins with a known word then."""
    bare = unquoted(unlisted(line))
    return bare if meaning(_at_colon(bare)[0]) else line


def _folded(key: str) -> str:
    return " ".join(JOINERS.sub("", key).translate(NARROW).lower().replace("_", " ").replace("-", " ").split())


def _at_colon(line: str) -> tuple[str, str, str]:
    """What stands before the first colon, the colon, and what stands behind it; full width is as good.

    Behind a known word a dash is as good too, "Title - Harbour at dusk", and so are "=" and a tab. But for "photo", by
    which names begin.
    """
    found = re.search("[:：]", line)
    dash = _DASH.match(line) if found is None else None
    if dash is not None and _folded(dash[1]) in KEYS and _folded(dash[1]) != "photo":
        return dash[1], ":", line[dash.end() :]
    return (line, "", "") if found is None else (line[: found.start()], found[0], line[found.end() :])


_DASH = re.compile(r"\s*([^\W\d]+(?: [^\W\d]+){0,2})(?:\s+[-–—]\s+|\s*=\s*|\s*\t\s*)(?=\S)")


def _like_a_key(key: str, value: str) -> bool:
    """Whether what stands before a colon may be meant for a key: a word or two. A time and an address have none."""
    if (re.search(r"\d\s*$", key) and re.match(r"\d", value)) or value.startswith("//"):
        return False
    return 1 <= len(key.split()) <= 2


def _goes_on(line: str) -> bool:
    """Whether a line may go on with the text above it."""
    return not (word(line) or stands_apart(line))


def quoted(text: str) -> str:
    """A text as a line gives it to be read as it is: in one pair of quotes more where it would lose its own."""
    pairs = (('"', '"'), *QUOTES) if unquoted(text) != text else ()
    return next((more for start, end in pairs if unquoted(more := f"{start}{text}{end}") == text), text)


def _with_article(word: str) -> str:
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


AS_INCHES = "“{}” has no unit; it was read as inches"


def read(name: str, value: Any, called: str, warnings: list[str]) -> dict[str, Any]:
    """One line of a note as facts; what can't be used is told. called: the note's name in words."""
    text = ", ".join(str(v) for v in value) if isinstance(value, list) else " ".join(str(value).split())
    if name in _WORDS:  # hold:yes may end with a sign that nobody sees
        text = JOINERS.sub("", text).translate(NARROW)
    found = _READERS[name](text) if name in _READERS else {name: text} if text else {}
    if name == "kind" and found and found["kind"] != text.lower():
        warnings.append(f"{called}: {instead(text, found['kind'], get_args(Kind))}")
    if name == "size" and found and wants_unit(text):
        warnings.append(f"{called}: {AS_INCHES.format(text)}")
    if name == "hold" and not text:  # what was meant to stand there is as likely a yes
        warnings.append(f"{called} says “hold” and neither yes nor no; the work is held until it does")
        return {"hold": True}
    if not found and text:
        near = nearest(text, _WORDS.get(name, ()))
        hint = f"; the nearest word is “{near}”" if near else _EXAMPLES.get(name, "")
        held = "; the work is held until it is" if name == "hold" else ""
        warnings.append(
            f"{called} gives {_with_article(name.replace('_', ' '))} that is not understood: {text}{hint}{held}"
        )
        if name == "hold":  # said in words that are not known: better held than given out
            return {"hold": True}
    return found


def kind(text: str) -> dict[str, Any]:
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


# What lists of works have in place of a price.
_NO_PRICE = ("not for sale", "nfs", "on request", "price on request", "on application", "poa", "sold", "free")
_YES, _NO = ("yes", "true", "1", "y", "on"), ("no", "false", "0", "n", "off")


def _yes(name: str) -> Callable[[str], dict[str, Any]]:
    def found(text: str) -> dict[str, Any]:
        return {name: text.lower() in _YES} if text.lower() in _YES + _NO else {}

    return found


def _paper(text: str) -> dict[str, Any]:
    if text.lower() in ("keep", "clean"):
        return {"keep_paper": text.lower() == "keep"}
    word = {"gray": "toned", "grey": "toned"}.get(text.lower(), text.lower())
    return {"paper": word} if word in get_args(PaperWord) else {}


def _stops(text: str, sign: int) -> dict[str, Any]:
    """So many stops, in thirds too, as cameras count them; minus as programs set it."""
    found = re.fullmatch(r"([+\-−–]?)\s*(.*?)\s*(?:stops?|ev)?", text.strip(), re.IGNORECASE)
    value = None if found is None else number(found[2])
    if found is None or value is None or value > _MOST_STOPS:
        return {}
    return {"lighter": round(sign * (-value if found[1] in ("-", "−", "–") else value), 3)}


def _order(text: str) -> dict[str, Any]:
    found = re.fullmatch(r"(?:no\.?\s*|#)?(\d{1,4})\.?", text.strip(), re.IGNORECASE)
    return {"order": int(found[1])} if found and int(found[1]) > 0 else {}


def _price(text: str) -> dict[str, Any]:
    """A price in any currency, or a word in place of one."""
    return {"price": text} if any(ch.isdigit() for ch in text) or text.lower() in _NO_PRICE else {}


def _inventory(text: str) -> dict[str, Any]:
    """A number, or a sign of one word: a sentence is none, such as one of a description that begins with "Number:"."""
    return {"inventory": text} if any(ch.isdigit() for ch in text) or len(text.split()) == 1 else {}


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in re.split(r"[,;，；、،؛]", text) if part.strip())


def joined(text: str) -> tuple[str, ...]:
    """What words such as "and" join: "site and master", "site + master"."""
    return tuple(re.split(r"\s+(?:and|und|et|y|&|\+)\s+|\s*[&+]\s*", text.strip(), flags=re.IGNORECASE))


_READERS: dict[str, Callable[[str], dict[str, Any]]] = {
    "size": size,
    "kind": kind,
    "paper": _paper,
    "lighter": lambda text: _stops(text, 1),
    "darker": lambda text: _stops(text, -1),
    "year": year,
    "hold": _yes("hold"),
    "grey_card": _yes("grey_card"),
    "not_a_work": _yes("not_a_work"),
    "as_shot": _yes("as_shot"),
    "turn": _turn,
    "outline": _outline_word,
    "corners": _corners,
    "order": _order,
    "inventory": _inventory,
    "price": _price,
    "keywords": lambda text: {"keywords": _listed(text)},
    "destinations": lambda text: {"destinations": _listed(text)},
    "also": lambda text: {"also": _listed(text)},
    "not_for": lambda text: {"price": "not for sale"} if text.lower() == "sale" else {"not_for": _listed(text)},
}

# The words that a line may give, where they are few: the nearest is offered for one that is not known.
_WORDS: dict[str, tuple[str, ...]] = {
    "kind": get_args(Kind), "paper": (*get_args(PaperWord), "keep", "clean"), "turn": tuple(_TURNS),
    "outline": get_args(OutlineWord), **dict.fromkeys(("hold", "grey_card", "not_a_work", "as_shot"), (*_YES, *_NO)),
    "price": _NO_PRICE,
}  # fmt: skip
# Of what is free in form, one that is understood.
_EXAMPLES = {
    "size": "; write it as in 30 x 40 cm, 16 1/2 x 11 3/4 in, or A3", "year": "; write it as in 2026, or 2025–2026",
    "corners": "; write eight numbers, as in 120,80 1900,95 1880,2500 130,2480", "lighter": "; write stops, as in 0.3",
    "darker": "; write stops, as in 0.3", "order": "; write a number, as in 3",
    "inventory": "; write it as in WH-017", "price": "; write it as in 240, or “on request”",
    "turn": "; write left, right or upside down", "paper": "; write white, toned, none, keep or clean",
    "kind": f"; write {', '.join(get_args(Kind))}", "outline": f"; write {', '.join(get_args(OutlineWord))}",
    **dict.fromkeys(("hold", "grey_card", "not_a_work", "as_shot"), "; write yes or no"),
}  # fmt: skip
