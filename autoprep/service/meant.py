"""Which destinations are meant by words, as people write them in notes, names and folders."""

from autoprep.service.beside import letters
from autoprep.wishes.lines import joined
from autoprep.wishes.tables import Settings


def destination_called(settings: Settings, word: str) -> str:
    """The destination that a word means, as notes may write it ("Open Call" for open-call); empty for none."""
    return _meant(settings, word)


def destinations_meant(settings: Settings, said: tuple[str, ...]) -> tuple[tuple[str, ...], list[str]]:
    """The destinations that are meant, as the settings spell them, and the words that mean none."""
    meant = {one: _meant(settings, one) for word in said for one in _parted(settings, word)}
    return tuple(dict.fromkeys(filter(None, meant.values()))), [word for word, name in meant.items() if not name]


def _parted(settings: Settings, word: str) -> tuple[str, ...]:
    """The words of "site and master" where each means a destination, and not all of them together."""
    parts = joined(word)
    return parts if not _meant(settings, word) and all(_meant(settings, part) for part in parts) else (word,)


def _meant(settings: Settings, word: str) -> str:
    """The destination that a word means: the one of just this name, else the only one that differs in signs alone."""
    alike = [name for name in settings.destinations if letters(name) == letters(word)]
    exact = [name for name in alike if name.casefold() == word.casefold()]
    return next(iter(exact or alike), "") if len(exact or alike) == 1 else ""
