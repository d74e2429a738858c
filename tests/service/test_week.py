"""A week in a studio, cut off at every boundary of every step: whatever the moment, it comes to the same end."""

import contextlib
import os
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from autoprep.ledger import Ledger
from autoprep.service import hands
from autoprep.wishes.places import ledger_path
from tests.conftest import studio_in
from tests.service.pretend import Studio, photo

DESTINATIONS = """
[square]
long_side_px = 300

[site]
long_side_px = 500
name = "{nn} {title}"
listing = true

[print]
long_side_px = 900
when = "asked"
"""


class Killed(BaseException):
    """The machine is switched off."""


class Cut:
    """Counts the boundaries, and keeps at those that are tried what a machine that is switched off there leaves behind.

    The service goes on meanwhile: all boundaries of an event are met by one run of it.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.names: list[str] = []
        self.kept: list[tuple[int, str]] = []
        self.seen: Counter[str] = Counter()
        self._keep: Callable[[int], None] | None = None
        monkeypatch.setattr(hands, "boundary", self.reached)
        for name in ("claim", "reserve", "announce", "apply", "move", "start", "add_finished", "postpone", "remember"):
            monkeypatch.setattr(Ledger, name, self._around(name, getattr(Ledger, name)))

    def _around(self, name: str, act: Callable[..., Any]) -> Callable[..., Any]:
        def acted(*given: Any, **named: Any) -> Any:
            self.reached(f"before {name}")
            result = act(*given, **named)
            self.reached(f"after {name}")
            return result

        return acted

    @contextlib.contextmanager
    def watching(self, keep: Callable[[int], None]) -> Iterator[None]:
        """Call keep with the number of each boundary that is tried, from 1, as soon as it is reached."""
        self.names, self.kept, self._keep = [], [], keep
        try:
            yield
        finally:
            self._keep = None

    def reached(self, name: str) -> None:
        if self._keep is None:
            return
        new = name not in self.names
        self.names.append(name)
        number = len(self.names)
        if new or number % _DOSE == 0:
            self.seen[name] += 1
            self.kept.append((number, name))
            self._keep(number)


def rename(old: str, new: str) -> Callable[[Studio], None]:
    def act(wren: Studio) -> None:
        (wren.inbox / new).parent.mkdir(parents=True, exist_ok=True)
        (wren.inbox / old).rename(wren.inbox / new)

    return act


def swap(one: str, other: str) -> Callable[[Studio], None]:
    """Two photos change names before anybody looks."""

    def act(wren: Studio) -> None:
        aside = wren.inbox.parent / "aside.jpg"
        (wren.inbox / one).rename(aside)
        (wren.inbox / other).rename(wren.inbox / one)
        aside.rename(wren.inbox / other)

    return act


def put(name: str, data: bytes | str) -> Callable[[Studio], None]:
    return lambda wren: void(wren.put(name, data))


def void(_: object) -> None:
    """For acts that return something."""


def remove(place: Callable[[Studio], Path]) -> Callable[[Studio], None]:
    return lambda wren: place(wren).unlink(missing_ok=True)


def both(one: Callable[[Studio], None], two: Callable[[Studio], None]) -> Callable[[Studio], None]:
    def act(wren: Studio) -> None:
        one(wren)
        two(wren)

    return act


def table(text: str) -> Callable[[Studio], None]:
    return lambda wren: void(wren.config.with_name("destinations.toml").write_text(text, encoding="utf-8"))


def edit(name: str) -> Callable[[Studio], None]:
    return lambda wren: void((wren.settings.folders.ready / name).write_bytes(b"retouched by hand"))


def pick_up(name: str) -> Callable[[Studio], None]:
    return remove(lambda wren: wren.settings.folders.ready / name)


def answer(folder: str, *others: int) -> Callable[[Studio], None]:
    """Delete the choices with these numbers."""

    def do(wren: Studio) -> None:
        for number in others:
            (wren.settings.folders.needs_a_look / folder / f"choice-{number}.jpg").unlink(missing_ok=True)

    return do


def each(folder: str) -> Callable[[Studio], None]:
    """Leave nothing of a question but the picture that shows several works."""

    def do(wren: Studio) -> None:
        for place in (wren.settings.folders.needs_a_look / folder).glob("*.jpg"):
            if place.stem.startswith(("choice-", "none-", "no-")):
                place.unlink()

    return do


# Every event of the week: what the artist does, after which the service is left alone until it rests.
WEEK: tuple[tuple[str, Callable[[Studio], None]], ...] = (
    ("Monday, a page and a boat", both(put("IMG_1.jpg", photo(1)), put("Boats.jpg", photo(2)))),
    ("its title comes late", put("IMG_1.txt", "title: Sea Thrift\nmedium: ink")),
    ("the same bytes again", put("IMG_1 (1).jpg", photo(1))),
    ("Tuesday, a better take", put("IMG_9.jpg", photo(2, sharp=9))),
    ("a worse one", put("IMG_10.jpg", photo(2, sharp=2))),
    ("on hold", rename("IMG_1.jpg", "hold/IMG_1.jpg")),
    ("Wednesday, released under another name", rename("hold/IMG_1.jpg", "Thrift.jpg")),
    ("a finished picture is retouched", edit("square/Thrift.jpg")),
    ("and its work renamed", put("Thrift.txt", "title: Sea Thrift at Low Tide")),
    ("Thursday, something to ask", put("Reeds.jpg", photo(4, answer="ask"))),
    ("none of these", answer("Reeds", 1, 2)),
    ("answered", answer("Reeds", 4)),
    ("of another kind after all", put("Reeds.txt", "kind: painting")),
    ("a print is asked for", lambda wren: wren.redo("Reeds.jpg", "print")),
    ("Friday, one more destination", table(DESTINATIONS + "\n[wide]\nlong_side_px = 700\n")),
    ("a new page for it", put("Gulls, 2026, ink, 20x30cm.jpg", photo(5))),
    ("picked up", pick_up("wide/Gulls, 2026, ink, 20x30cm.jpg")),
    ("a table goes", table(DESTINATIONS)),
    ("Saturday, sent elsewhere", put("Reeds.txt", "kind: painting\nfor: square")),
    ("no work", put("IMG_20.jpg", photo(6, answer="nothing"))),
    ("it is one", rename("IMG_20.jpg", "as watercolour/IMG_20.jpg")),
    ("the take that was used goes from the inbox", remove(lambda wren: wren.inbox / "IMG_9.jpg")),
    ("a better take of a page with words", put("IMG_31.jpg", photo(5, sharp=9, take=1))),
    ("which was none", put("IMG_31.txt", "not a work: yes")),
    ("two cards in one photo", put("Cards.jpg", photo(7, answer="several"))),
    ("each by itself", each("Cards")),
    ("one has a name", put("Cards-2.txt", "title: Kelp")),
    ("they go elsewhere", rename("Cards.jpg", "Box/Post.jpg")),
    ("and are one work", put("Box/Post.txt", "outline: whole photo")),
    ("which they are not", remove(lambda wren: wren.inbox / "Box" / "Post.txt")),
    ("each by itself again", each("Post")),
    ("two change names", swap("Thrift.jpg", "Gulls, 2026, ink, 20x30cm.jpg")),
    ("a note of one of them", put("Thrift.txt", "title: Gulls at Rest")),
    ("another takes a name that is left", both(rename("Thrift.jpg", "Terns.jpg"), rename("Reeds.jpg", "Thrift.jpg"))),
    *[
        ("Sunday, on hold, and back", both(put("note.txt", f"hold: {word}"), put("IMG_20.txt", "price: 20")))
        for word in ("yes", "no") * 4
    ],
)


@pytest.fixture
def wren(in_memory: Path, monkeypatch: pytest.MonkeyPatch) -> Studio:
    studio = studio_in(in_memory)
    studio.config_file.with_name("destinations.toml").write_text(DESTINATIONS, encoding="utf-8")
    return Studio(studio, monkeypatch)


def standing(wren: Studio) -> dict[str, object]:
    """All that the artist can see: the files, the records, the questions."""
    known = wren.records()
    records = {
        shown: record.model_dump(mode="json", exclude={"finished_at", "seconds"}) for shown, record in known.items()
    }
    for each in records.values():
        each["dates"] = sorted(each["dates"])  # of which destinations they are known, but not the moments
    on_disk = {}
    for shown, record in known.items():
        place = wren.settings.folders.records / "proof" / record.job / "record.json"
        if place.exists():
            on_disk[shown] = place.read_text(encoding="utf-8") == record.model_dump_json(indent=2)
    asked = sorted(str(path.name) for path in wren.settings.folders.needs_a_look.rglob("*"))
    return {"files": wren.files(), "records": records, "on disk": on_disk, "asked": asked}


def difference(found: Any, expected: Any, at: str = "") -> list[str]:
    """Where two standings differ, in a few words each."""
    if isinstance(found, dict) and isinstance(expected, dict):
        keys = sorted({*found, *expected}, key=str)
        return [
            said
            for key in keys
            for said in difference(found.get(key, "nothing"), expected.get(key, "nothing"), f"{at}/{key}")
        ]
    return [] if found == expected else [f"{at}: {str(found)[:300]} instead of {str(expected)[:300]}"]


def keep(wren: Studio, place: Path) -> None:
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(wren.settings.studio, place, copy_function=same_file)


def put_back(wren: Studio, place: Path) -> None:
    studio = wren.settings.studio
    for part in studio.iterdir():
        shutil.rmtree(part) if part.is_dir() else part.unlink()
    shutil.copytree(place, studio, dirs_exist_ok=True, copy_function=same_file)


def same_file(source: str, target: str) -> None:
    """What is replaced as a whole when it changes stays the very same file: the service knows files by their inodes,
    too. The ledger and the log, and what else lies beside them, are written to where they are."""
    if Path(source).parent.name == "records":
        shutil.copy2(source, target)
    else:
        os.link(source, target)


def check_sound(wren: Studio, said: str) -> None:
    """What must hold at any rest: files, records and lists say the same; nothing is left over."""
    ready, studio = wren.settings.folders.ready, wren.settings.studio
    ledger = Ledger(ledger_path(wren.settings))
    assert ledger.check() == "ok", said
    in_place = {
        str(row.path.relative_to(ready)): (job.job, row)
        for job in ledger.jobs()
        for row in ledger.renditions(job.job).values()
        if row.state == "in place" and row.path is not None
    }
    ledger.close()
    there = {name for name in wren.files() if "image-list" not in name and not name.startswith(".")}
    foreign = {name for name, data in wren.files().items() if data.startswith(b"retouched by hand")}
    assert there - foreign <= in_place.keys(), said
    assert not list(studio.rglob(".autoprep-*")), said
    for record in wren.records().values():
        if record.outcome in ("alternate", "needs a look", "reference"):
            assert not [name for name, (job, _) in in_place.items() if job == record.job], said


# All boundaries (AUTOPREP_DOSE=12) take minutes; the suite tries each kind once an event, and every twelfth of the
# others.
_DOSE = max(1, 12 // int(os.environ.get("AUTOPREP_DOSE", "1")))


@pytest.mark.slow
def test_a_week_cut_off_at_every_boundary(wren: Studio, monkeypatch: pytest.MonkeyPatch, in_memory: Path) -> None:
    cut = Cut(monkeypatch)
    # A stand-in, for a real one takes a tenth of a second a thousand times; when it is written is what counts here.
    monkeypatch.setattr(
        "autoprep.service.studio.list_pdf", lambda _settings, name, listed: (repr((name, listed)).encode("utf-8"), [])
    )
    for said, event in WEEK:
        event(wren)
        with cut.watching(lambda number: keep(wren, in_memory / f"cut {number}")):
            wren.rest()
        expected = standing(wren)
        check_sound(wren, said)
        keep(wren, in_memory / "after")
        for number, stopped in cut.kept:
            put_back(wren, in_memory / f"cut {number}")
            shutil.rmtree(in_memory / f"cut {number}")
            # With pages and lists at its end: they must be the same whenever they were written.
            wren.rest(pages=False)
            found = standing(wren)
            assert difference(found, expected) == [], f"{said}: cut off at {number}, {stopped}"
        put_back(wren, in_memory / "after")
    by_step = Counter(name.removeprefix("before ").removeprefix("after ") for name in cut.seen.elements())
    steps = ("publish", "withdraw", "restore", "record", "ledger", "done", "reserve", "announce", "apply", "claim")
    assert min(by_step[name] for name in steps) >= (20 if _DOSE == 1 else 5), by_step
