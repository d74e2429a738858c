"""What a destination calls the file of a work: by its pattern, with the number that the work has or gets there."""

import contextlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from autoprep.domain import WorkFacts
from autoprep.files.encoders import ENCODERS
from autoprep.wishes.names import file_stem, number_in, opening, shortened
from autoprep.wishes.tables import Settings

MOST_NUMBERS = 100_000


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
        preset = self.settings.destinations[self.destination]
        start = opening(preset, self.destination, self.facts, self.settings.artist.name, self.shown, number)
        stems = (place.stem for place in places)
        return any(stem.startswith(start) and not stem[len(start) : len(start) + 1].isdigit() for stem in stems)

    def next_number(self, stems: Iterable[str]) -> int:
        """The first number that is free; MOST_NUMBERS where none is. stems: names that the destination has given."""
        places = [*map(Path, stems), *self.files()]
        free = (number for number in range(1, MOST_NUMBERS) if not self.is_given(number, places))
        return next(free, MOST_NUMBERS)

    def files(self) -> list[Path]:
        """All that lies in the destination, whoever has put it there."""
        with contextlib.suppress(OSError):
            return list((self.settings.folders.ready / self.destination).iterdir())
        return []


def suffix_of(settings: Settings, destination: str) -> str:
    """The ending of a destination's files."""
    return ENCODERS[settings.destinations[destination].format].suffix
