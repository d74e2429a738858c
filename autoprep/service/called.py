"""What a destination calls the file of a work: by its pattern, with the number that the work has or gets there."""

import contextlib
import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from autoprep.domain import WorkFacts
from autoprep.files.formats import ENCODERS
from autoprep.wishes.names import counts, file_stem, number_in, opening, shortened
from autoprep.wishes.tables import Settings

MOST_NUMBERS = 100_000
_DIGITS = re.compile(r"[0-9]+")
_ENDINGS = re.compile(r"(?:-[0-9]+)+$")


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

    def of_earlier_names(self, stems: Iterable[str]) -> set[int]:
        """What may be the numbers of names that begin in no way of today: the table's pattern was another one, or the
        artist's name. They are not given twice. Empty where numbers begin anew with each title, or the like.
        """
        if not self._counts_all:
            return set()
        return {number for stem in stems if not self._begins_so(stem) for number in _numbers_in(stem)}

    def earlier_number(self, stem: str, words: str) -> int | None:
        """The number in an earlier name of the work, where it is plain which it is; words: what else it was made of."""
        others = [*_numbers_in(words), *_numbers_in(self.shown)]
        found = [number for number in sorted(self.of_earlier_names([stem])) if number not in others]
        return found[0] if len(found) == 1 else None

    @property
    def _counts_all(self) -> bool:
        """Whether the names of all works begin alike, so that numbers are of all of them together."""
        other = Called(self.settings, self.destination, "Xq8z.jpg", WorkFacts())
        return self._counts and other._opening(1) == self._opening(1)

    def _begins_so(self, stem: str) -> bool:
        start = self._opening(1).removesuffix("01")
        # Earlier versions left blanks out of plain names.
        return any(re.match(rf"{re.escape(begins)}\d", stem) for begins in (start, start.replace("_", "")))

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

    def alike(self) -> list[Path]:
        """The files there that have the work's name, under whatever number, and with whatever number at the end.

        Where a name says nothing of the work, all have it: only the one that any work would have first is meant then.
        """
        folder = self.settings.folders.ready / self.destination
        if not self._tells:
            return [self.place()] if not self._counts and os.path.lexists(self.place()) else []
        names: list[str] = []
        with contextlib.suppress(OSError):
            names = os.listdir(folder)
        suffix, shapes = suffix_of(self.settings, self.destination), self._shapes()
        stems = (name.removesuffix(suffix) for name in names if name.endswith(suffix))
        return [folder / f"{stem}{suffix}" for stem in stems if any(self._fits(stem, *shape) for shape in shapes)]

    def fits(self, stem: str) -> bool:
        """Whether a file of the work may be called so, under whatever number, and with whatever number at the end."""
        return any(self._fits(stem, *shape) for shape in self._shapes())

    @property
    def _counts(self) -> bool:
        return counts(self.settings.destinations[self.destination])

    @property
    def _tells(self) -> bool:
        """Whether the work's name there tells it from others."""
        name = self.settings.destinations[self.destination].name
        said = {"photo": self.shown, "title": self.facts.title, "inv": self.facts.inventory}
        return any(value and f"{{{field}" in name for field, value in said.items())

    def _shapes(self) -> list[tuple[str, int, str]]:
        """What stands before the number, of how many digits that is, and what comes behind it."""
        if not self._counts:
            return [(self.place().stem, 0, "")]
        found = []
        for digits in range(2, len(str(MOST_NUMBERS - 1)) + 1):
            least = 10 ** (digits - 1)
            start = self._opening(least)
            if start.endswith(str(least)):
                found.append((start[:-digits], digits, self.place(least).stem[len(start) :]))
        return found

    def _fits(self, stem: str, before: str, digits: int, after: str) -> bool:
        """Whether a name has one of these shapes; one with a number at its end may be cut before that."""
        number = stem[len(before) :][:digits]
        if digits and not (stem.startswith(before) and len(number) == digits and number.isdecimal()):
            return False
        whole = f"{before}{number}{after}"
        run = _ENDINGS.search(stem)  # one of the artist's may have met one that had an ending already
        starts = [place for place in range(run.start(), len(stem)) if stem[place] == "-"] if run is not None else []
        return stem == whole or any(
            stem[:at] == whole or (whole.startswith(stem[:at]) and self.place(int(number or 1), stem[at:]).stem == stem)
            for at in starts
        )

    def files(self) -> list[Path]:
        """All that lies in the destination, whoever has put it there."""
        with contextlib.suppress(OSError):
            return list((self.settings.folders.ready / self.destination).iterdir())
        return []


def _numbers_in(text: str) -> list[int]:
    """What may be numbers of files in a text: 07, 12, 123, and neither 7 nor 007."""
    return [int(digits) for digits in _DIGITS.findall(text) if re.fullmatch(r"\d[1-9]|[1-9]\d{1,4}", digits)]


def suffix_of(settings: Settings, destination: str) -> str:
    """The ending of a destination's files."""
    return ENCODERS[settings.destinations[destination].format].suffix
