"""Fonts that hold the letters of a text: the artist's own or the one that comes along, and one of this machine's."""

import os
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

from autoprep.rendering.mark import missing_glyphs

_ENDINGS = (".ttf", ".otf", ".ttc")
_MOST_LOOKED_AT = 2000


@lru_cache(maxsize=64)
def fonts_for(text: str, preferred: Path) -> tuple[tuple[Path, ...], str]:
    """The fonts that a text is written in: the preferred one, and where letters are missing in it, a second for those.

    Returns them and the letters that no font holds; the second is one of the machine's.
    """
    absent = missing_glyphs(text, preferred)
    if not absent:
        return (preferred,), ""
    for number, font in enumerate(_of_the_machine()):
        if number >= _MOST_LOOKED_AT:
            break
        # One letter first: of most fonts that settles it.
        if _holds(font, absent[:1]) and _holds(font, absent):
            return (preferred, font), ""
    return (preferred,), absent


def font_problem(font: Path) -> str:
    """Why the mark can't be written in a font, in a few words; empty where it can."""
    try:
        missing_glyphs("a", font)
    except OSError as problem:
        why = (
            problem.strerror.lower()
            if problem.strerror
            else "it is damaged, or no font"
            if font.is_file()
            else "it is away"
        )
        return f"the mark's font {font.name} can't be read: {why}"
    return ""


def _holds(font: Path, text: str) -> bool:
    try:
        return not missing_glyphs(text, font)
    except OSError:  # no font after all, or of a kind that can't be drawn
        return False


def _of_the_machine() -> Iterator[Path]:
    """The font files of this machine in a fixed order, upright and regular ones first."""
    found = sorted(
        (
            Path(folder) / name
            for place in _places()
            for folder, _, names in os.walk(place)
            for name in names
            if name.lower().endswith(_ENDINGS)
        ),
        key=lambda font: (any(word in font.stem.lower() for word in _NOT_PLAIN), font.name, str(font)),
    )
    yield from found


_NOT_PLAIN = ("bold", "italic", "oblique", "light", "thin", "black", "condensed", "mono", "emoji")


def _places() -> list[Path]:
    home = Path.home()
    if sys.platform == "win32":
        return [Path(os.environ.get("WINDIR", "C:/Windows")) / "Fonts", home / "AppData/Local/Microsoft/Windows/Fonts"]
    if sys.platform == "darwin":
        return [Path("/System/Library/Fonts"), Path("/Library/Fonts"), home / "Library/Fonts"]
    return [Path("/usr/share/fonts"), Path("/usr/local/share/fonts"), home / ".local/share/fonts", home / ".fonts"]
