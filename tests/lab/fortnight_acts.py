"""What Wren Halloway does in the fortnight, and how it is seen whether it came to what it should."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image as PILImage

from .fortnight_studio import Studio

RIGHT = 0.95


class Acts:
    """Acts and checks; a check says what is wrong, and nothing where all is as it should be."""

    def __init__(self, studio: Studio, photos: Path) -> None:
        self.studio, self.photos = studio, photos

    def put(self, *numbers: int, folder: str = "") -> None:
        """The phone syncs some photos."""
        for number in numbers:
            file = f"IMG_{number}.jpg"
            self.studio.put(self.photos / file, f"{folder}{file}")

    def words(self, numbers: range, *lines: str, folder: str = "") -> None:
        """A note of the same lines beside each of these photos."""
        for number in numbers:
            self.studio.note(f"{folder}IMG_{number}.txt", *lines)

    def listed(self, *files: int, **wanted: str) -> str:
        """Whether one work is listed for these photos, with these cells; `goes` names where it must lie, and only."""
        names = [f"IMG_{number}.jpg" for number in files]
        found = [row for photo, row in self.studio.rows().items() if photo in names]
        if len(found) != 1:
            return f"{len(found)} works are listed for {', '.join(names)}"
        row = found[0]
        goes = sorted(part.split(":")[0].strip() for part in row["went to"].split(";") if part)
        row = {**{key.replace(" ", "_"): value for key, value in row.items()}, "goes": " ".join(goes)}
        return "; ".join(f"{key} is {row[key]!r}, not {value!r}" for key, value in wanted.items() if row[key] != value)

    def asks(self, *photos: str) -> str:
        """Whether these photos, and the ones that are meant to, ask."""
        unasked = [photo for photo in photos if self.studio.question(photo) is None]
        return f"no question about {', '.join(unasked)}" if unasked else ""

    def outlined(self, photo: str, *, right: bool = True) -> str:
        """Whether a photo is finished by its true outline (or by another one)."""
        record = self.studio.record(photo)
        if record.get("outcome") not in ("ready", "alternate"):
            return f"{photo} is {record.get('outcome', 'unknown')}"
        rightness = self.studio.rightness(photo, self.studio.outline(photo))
        return "" if (rightness >= RIGHT) == right else f"the outline of {photo} is {rightness:.0%} right"

    def says(self, photo: str, words: str) -> str:
        """Whether `show` says this of a photo."""
        said = self.studio.run("show", photo)[1]
        return "" if words in said else f"`show {photo}` does not say {words!r}"

    def choose(self, photo: str, *, right: bool) -> None:
        """Delete all choices but the most right one, or the least right one."""
        record, folder = self.studio.record(photo), self.studio.question(photo)
        assert folder is not None, f"no question about {photo}"
        assert record["choices"], f"no choices for {photo}"
        rightness = [self.studio.rightness(photo, choice["corners_px"]) for choice in record["choices"]]
        kept = int(np.argmax(rightness) if right else np.argmin(rightness)) + len(record["refused"]) + 1
        for picture in folder.glob("choice-*.jpg"):
            if picture.name != f"choice-{kept}.jpg" and picture.stem[-1].isdigit():
                picture.unlink()
        if len(record["choices"]) == 1:
            next(folder.glob("none*")).unlink()

    def refuse(self, photo: str) -> None:
        """None of these: delete all choices."""
        folder = self.studio.question(photo)
        assert folder is not None
        for picture in folder.glob("choice-*.jpg"):
            picture.unlink()

    def corner_note(self, photo: str, corners: Any) -> None:
        """The note that the corner page saves, put into the inbox itself."""
        said = " ".join(f"{x:.0f},{y:.0f}" for x, y in corners)
        self.studio.note(f"{Path(photo).stem}.corners.txt", f"photo: {photo}", f"corners: {said}")

    def settle(self, photo: str) -> None:
        """Take the right one of the next choices; where none is, set the corners."""
        choices = [choice["corners_px"] for choice in self.studio.record(photo)["choices"]]
        if max((self.studio.rightness(photo, choice) for choice in choices), default=0.0) >= RIGHT:
            self.choose(photo, right=True)
        else:
            self.corner_note(photo, self.studio.truth[photo])

    def within(self, photo: str, outer: Any) -> str:
        """Whether the outline lies inside this one on all sides."""
        now = np.array(self.studio.outline(photo))
        middle = np.array(outer).mean(axis=0)
        nearer = np.linalg.norm(now - middle, axis=1) < 0.99 * np.linalg.norm(np.array(outer) - middle, axis=1)
        return "" if nearer.all() else f"the outline of {photo} was {outer} and is {now.tolist()}"

    def shape(self, *files: int) -> tuple[int, int]:
        """Width and height of a work's picture for the site."""
        for photo in (f"IMG_{number}.jpg" for number in files):
            for output in self.studio.record(photo).get("outputs", []):
                place = self.studio.folder / output["path"]
                if output["destination"] == "site" and place.is_file():
                    with PILImage.open(place) as image:
                        return image.size
        return 0, 0

    def alone(self, *photos: str) -> str:
        """Whether photos are left alone: no work, no question."""
        jobs = json.loads(self.studio.run("jobs", "--all", "--json")[1])
        outcomes = {str(job["photo"]).rsplit("/", 1)[-1]: job["outcome"] for job in jobs}
        wrong = [f"{photo}: {outcomes.get(photo)}" for photo in photos if outcomes.get(photo) != "no work seen"]
        wrong += [f"{photo} asks" for photo in photos if self.studio.question(photo) is not None]
        return "; ".join(wrong + [f"{photo} is listed" for photo in photos if photo in self.studio.rows()])

    def entry(self, order: int) -> tuple[str, ...]:
        """What a call wants to know besides the title."""
        return (f"order: {order}", "year: 2026", "medium: watercolour", "size: 40 x 30 cm", "price: 240", "alt: Water")

    def called(self, *titles: str) -> str:
        """Whether the call's list names these works in this order, and its folder holds as many pictures."""
        said = self.studio.run("works", "--for", "submission")[1]
        lines = [line for line in said.splitlines() if line[:4].strip().isdigit()]
        wrong = len(lines) != len(titles) or any(title not in line for title, line in zip(titles, lines, strict=True))
        files = self.studio.ready("submission")
        return said if wrong else "" if len(files) == len(titles) else f"the folder holds {sorted(files)}"
