"""Whether words that leave with a blind picture name the artist."""

import re
import unicodedata

from anyascii import anyascii

from autoprep.domain import WorkFacts

_LEAST_LETTERS = 3  # shorter parts of a name, such as "de" or an initial, stand in too many words


def names_artist(facts: WorkFacts, artist: str) -> str:
    """Which of the words on a work holds a part of the artist's name, such as "title"; empty when none does.

    Accents, case and what stands between letters do not count, and other scripts are spelled in Latin letters;
    "Halloway's" and "WREN-HALLOWAY" are found.
    """
    parts = [part for part in _folded(artist).split() if len(part) >= _LEAST_LETTERS]
    words = {
        "title": facts.title, "medium": facts.medium, "alternative text": facts.alt_text,
        "description": facts.description, "keywords": " ".join(facts.keywords),
    }  # fmt: skip
    for name, text in words.items():
        if any(part in word for word in _folded(text).split() for part in parts):
            return name
    return ""


def _folded(text: str) -> str:
    plain = anyascii(unicodedata.normalize("NFC", text))
    return " ".join(re.findall(r"\w+", plain.casefold().replace("_", " ")))
