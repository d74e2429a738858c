"""Lines and folders that ask for something in words of no known form: they are answered, and never become titles."""

import re

# A line made of nothing but these is no title, however short. Chosen: words of wishes that artists write behind a work;
# one other word, as in "Inside the Cove" or "No Wind", makes a title of it.
_ASKING = frozenset((
    "no", "not", "only", "just", "without", "inside", "crop", "cropped", "cut", "trim", "trimmed", "remove",
))  # fmt: skip
_THINGS = frozenset((
    "art", "artwork", "picture", "frame", "frames", "mat", "mount", "border", "borders", "edge", "edges", "background",
    "desk", "title", "mark", "watermark",
))  # fmt: skip
_ALSO = frozenset(("painting", "drawing", "page", "sheet", "please"))  # with one that asks; alone they may be titles
_BETWEEN = frozenset(("a", "all", "and", "for", "in", "is", "it", "its", "of", "off", "on", "out", "the", "this", "to"))
_MOST_WORDS = 4
_FRAMED = frozenset(("art", "artwork", "drawing", "frame", "frames", "inside", "mat", "mount", "painting", "picture"))
_CUT = frozenset((
    "border", "borders", "crop", "cropped", "cut", "desk", "edge", "edges", "page", "sheet", "trim", "trimmed",
))  # fmt: skip
# How people ask for another lightness.
_LIGHTNESS = re.compile(
    r"(?:please )?(?:make (?:it|this) )?(?:(?:a (?:bit|little)|much|slightly|far) )?"
    r"(?:(?P<lighter>lighter|brighter|too dark)|darker|too (?:light|bright))(?: please)?"
)


def asked_for(text: str) -> str:
    """What is answered to words that read like a wish and are none that is known; empty where they may be a title.

    It names the line that would say it.
    """
    words = re.findall(r"[^\W_]+", text.lower())
    lightness = _LIGHTNESS.fullmatch(" ".join(words))
    if lightness is not None:
        line = f"{'lighter' if lightness['lighter'] else 'darker'}: 0.3"
        return f"“{text}” is not understood, and no title; write “{line}” (in stops); if it is one, “title: {text}”"
    if not 1 <= len(words) <= _MOST_WORDS or not {*words} <= _ASKING | _THINGS | _ALSO | _BETWEEN:
        return ""
    if not (_ASKING.intersection(words) or (len(words) == 1 and words[0] in _THINGS)):
        return ""  # "The Edge"
    known = ""
    if _FRAMED.intersection(words):
        known = "for the picture inside its frame write “outline: inside frame”, and "
    elif _CUT.intersection(words):
        known = "to choose where the work ends write “outline: ask”, and "
    return f"“{text}” is not understood, and no title; {known}if it is one, write “title: {text}”"
