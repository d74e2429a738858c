"""Whether words that leave with a blind picture name the artist."""

import re
import unicodedata

from anyascii import anyascii

from autoprep.domain import WorkFacts

# Of a name's parts, shorter ones, such as "de" or an initial, stand in too many words; short ones begin too many, and
# are looked for as whole words: "Lee" is not meant by "asleep", nor "Coal" by "charcoal".
_LEAST_LETTERS, _SHORT = 3, 4
# A name in an address of so many letters is meant wherever it stands; a shorter one is as often a word: "harbour".
_LONG = 9
_OWN = ("@", "~")  # what begins a page of one's own on a larger site
_AT = "atsign"  # what stands for the sign among folded words
# Scripts that leave no space between words.
_UNSPACED = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "THAI", "LAO", "KHMER", "MYANMAR")


def names_artist(facts: WorkFacts, artist: str, *addresses: str) -> str:
    """Which of the words on a work holds a part of the artist's name, such as "title"; empty when none does.

    Accents, case and what stands between letters do not count, and other scripts are spelled in Latin letters;
    "Halloway's" and "WREN-HALLOWAY" are found. addresses: of mail and of sites that are the artist's; they are found,
    and so are the names in them that others know the artist by.
    """
    parts = [*_parts(artist), *(part for address in addresses for part in _of_address(address))]
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


def _of_address(address: str) -> list[str]:
    """Patterns of an address of mail or of a site: all of it, and the names in it that others know the artist by.

    These are what stands before the @, the name of the site, and what leads to a page of one's own on a larger one. A
    name counts behind an @; by itself only where it is too long to be an ordinary word by chance.
    """
    bare = re.sub(r"^\w+:(//)?", "", address.strip().casefold())
    host, *path = re.split(r"[/?#]+", bare)
    before, _, host = host.rpartition("@")
    host = re.sub(r":\d+$", "", host).removeprefix("www.").strip(".")
    pages = [page for page in path if page and "." not in page]
    known = [before or host.partition(".")[0], *(page for page in pages if page.startswith(_OWN))]
    found = [rf"\b{_folded(f'{before}@{host}' if before else host)}\b"] if "." in host else []
    for name in dict.fromkeys((*known, *pages)):
        tokens = _folded(name.lstrip("".join(_OWN))).split()
        whole = "".join(tokens)
        if len(whole) >= _LEAST_LETTERS:
            found += [rf"\b{_AT} {form}\b" for form in dict.fromkeys((" ".join(tokens), whole))]
            found += [rf"\b{whole}\b"] if len(whole) >= _LONG and name in known else []
    return found


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
    plain = anyascii(unicodedata.normalize("NFC", text)).replace("@", f" {_AT} ")
    return " ".join(re.findall(r"\w+", plain.casefold().replace("_", " ")))
