"""Whether words that leave with a blind picture name the artist."""

import re
import unicodedata

from anyascii import anyascii

from autoprep.domain import WorkFacts

# Of a name's parts, shorter ones, such as "de" or an initial, stand in too many words; short ones begin too many, and
# are looked for as whole words: "Lee" is not meant by "asleep", nor "Coal" by "charcoal".
_LEAST_LETTERS, _SHORT = 3, 4
# Scripts that leave no space between words.
_UNSPACED = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "THAI", "LAO", "KHMER", "MYANMAR")


def names_artist(facts: WorkFacts, artist: str) -> str:
    """Which of the words on a work holds a part of the artist's name, such as "title"; empty when none does.

    Accents, case and what stands between letters do not count, and other scripts are spelled in Latin letters;
    "Halloway's" and "WREN-HALLOWAY" are found.
    """
    parts = _parts(artist)
    if not parts:
        return ""
    meant = re.compile("|".join(parts))
    words = {
        "title": facts.title, "medium": facts.medium, "alternative text": facts.alt_text,
        "description": facts.description, "keywords": " ".join(facts.keywords),
    }  # fmt: skip
    for name, text in words.items():
        if meant.search(_folded(text)):
            return name
    return ""


def _parts(artist: str) -> list[str]:
    """Patterns of a name's parts, and of all of it in one word, as in an address."""
    found = []
    for given in artist.split():
        unspaced = any(unicodedata.name(ch, "").startswith(_UNSPACED) for ch in given)
        for part in _folded(given).split():
            if len(part) >= _LEAST_LETTERS:
                found.append(part if unspaced else rf"\b{part}\b" if len(part) <= _SHORT else rf"\b{part}")
    words = _folded(artist).split()
    whole = "".join(words)
    if not found and words:  # short ones alone stand in too many words, and in a row, first or last name first, in none
        found = [rf"\b{' '.join(row)}\b" for row in (words, [words[-1], *words[:-1]])]
        found += [rf"\b{whole}\b"] if len(whole) <= _SHORT else []
    return [*found, whole] if len(whole) > _SHORT else found


def _folded(text: str) -> str:
    plain = anyascii(unicodedata.normalize("NFC", text))
    return " ".join(re.findall(r"\w+", plain.casefold().replace("_", " ")))
