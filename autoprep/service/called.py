"""What a destination calls the file of a work: by its pattern, with the number that the work has or gets there."""

import contextlib
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from autoprep.domain import WorkFacts
from autoprep.files.formats import ENCODERS
from autoprep.wishes.names import file_stem, number_in, opening, shortened
from autoprep.wishes.tables import Settings

MOST_NUMBERS = 100_000
_DIGITS = re.compile(r"[0-9]+")


@dataclass(frozen=True)
class Called:
    """One destination and one work; shown: the photo's name."""

    settings: Settings
    destination: str
    shown: str
    facts: WorkFacts

    def place(self, number: int = 1, ending: str = "") -> Path:
        """Where the file goes with this number, and an ending that tells it from others of the same name."""
        preset = self.settings.destinations[self.destination]
        stem = file_stem(preset, self.destination, self.facts, self.settings.artist.name, self.shown, number)
        name = f"{shortened(stem, ending, preset.name_max)}{suffix_of(self.settings, self.destination)}"
        return self.settings.folders.ready / self.destination / name

    def number_of(self, stem: str) -> int | None:
        """The number that a file of a numbering destination bears; None where it has none, or begins in another way."""
        preset = self.settings.destinations[self.destination]
        return number_in(preset, self.destination, self.facts, self.settings.artist.name, self.shown, stem)

    def is_given(self, number: int, places: Iterable[Path]) -> bool:
        """Whether one of these names bears a number already, whatever comes after it."""
        start = self._opening(number)
        stems = (place.stem for place in places)
        return any(stem.startswith(start) and not stem[len(start) : len(start) + 1].isdigit() for stem in stems)

    def next_number(self, stems: Iterable[str]) -> int:
        """The first number that is free; MOST_NUMBERS where none is. stems: names that the destination has given."""
        given = self._given([*stems, *(place.stem for place in self.files())])
        return next((number for number in range(1, MOST_NUMBERS) if number not in given), MOST_NUMBERS)

    def _given(self, stems: Sequence[str]) -> set[int]:
        """All numbers that these names bear, whatever comes after them: each name is read once, however many there are.

        A name begins alike for all numbers of as many digits: how much of it there is room for depends on these alone.
        """
        found: set[int] = set()
        for digits in range(2, len(str(MOST_NUMBERS - 1)) + 1):
            least = 10 ** (digits - 1)
            first = 1 if digits == 2 else least  # "07", and never "007"
            start = self._opening(least)
            if not start.endswith(str(least)):  # too short to hold it: no number of so many digits is free
                found.update(range(first, 10 * least))
                continue
            begins = start.removesuffix(str(least))
            behind = (_DIGITS.match(stem, len(begins)) for stem in stems if stem.startswith(begins))
            numbers = {int(number[0]) for number in behind if number is not None and len(number[0]) == digits}
            found |= {number for number in numbers if number >= first}
        return found

    def _opening(self, number: int) -> str:
        preset = self.settings.destinations[self.destination]
        return opening(preset, self.destination, self.facts, self.settings.artist.name, self.shown, number)

    def files(self) -> list[Path]:
        """All that lies in the destination, whoever has put it there."""
        with contextlib.suppress(OSError):
            return list((self.settings.folders.ready / self.destination).iterdir())
        return []


def suffix_of(settings: Settings, destination: str) -> str:
    """The ending of a destination's files."""
    return ENCODERS[settings.destinations[destination].format].suffix
