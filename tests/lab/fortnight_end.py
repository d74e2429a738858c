"""The end of the fortnight: the whole studio against all that is known of it."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from .fortnight_studio import Studio


@dataclass(frozen=True)
class Expected:
    """One work as it must be listed at the end; of its photos any may be the one that is used."""

    photos: tuple[str, ...]
    title: str = ""
    year: str = ""
    medium: str = ""
    size: str = ""  # height x width unit, as the list has them
    goes: str = "site square"
    public: bool = True
    held: bool = False


def expected(*numbers: int, **said: object) -> Expected:
    """A work by the numbers of its photos."""
    return Expected(tuple(f"IMG_{number}.jpg" for number in numbers), **said)  # type: ignore[arg-type]


def last_look(studio: Studio, works: tuple[Expected, ...], questions: tuple[str, ...]) -> None:
    """The last steps: nothing is done any more, all is compared."""
    looks = (
        (
            "the works list, line by line",
            "all works, and what is asked",
            lambda: listed(studio.rows(), works, questions),
        ),
        ("works --json", "says the same as the CSV", lambda: _json(studio)),
        ("the inbox", "no photo was changed", lambda: _inbox(studio)),
        ("questions", "only those that are meant", lambda: _questions(studio, questions)),
        ("ready/ and withdrawn/", "nothing is in two places, and all that is listed is there", lambda: _places(studio)),
        ("check --ahead", "nothing is left to do", lambda: _ahead(studio)),
        ("status", "nothing set aside, nothing failed", lambda: _status(studio)),
        ("the log", "no errors", lambda: _log(studio)),
    )
    for did, wanted, look in looks:
        studio.step(15, did, wanted, lambda: None, look)


def listed(rows: dict[str, dict[str, str]], works: tuple[Expected, ...], questions: tuple[str, ...]) -> str:
    """What is wrong with the list of all works: each stands in it once, and each photo that asks says that it does."""
    rows, wrong = dict(rows), []
    for work in works:
        found = [photo for photo in work.photos if photo in rows]
        if len(found) != 1:
            wrong.append(f"{work.title or work.photos[0]} is listed {len(found)} times")
            continue
        wrong += differences(work, rows.pop(found[0]))
    for photo in questions:
        said = rows.pop(photo, {}).get("nowhere because", "nothing")
        wrong += [] if "waits for your answer" in said else [f"{photo} asks, and the list says {said!r}"]
    return "; ".join(wrong + [f"{photo} is listed, and is not known" for photo in rows])


def differences(work: Expected, row: dict[str, str]) -> list[str]:
    """Where a line of the list is not what is known of the work."""
    goes = " ".join(sorted(part.split(":")[0].strip() for part in row["went to"].split(";") if part))
    size = f"{row['height']} x {row['width']} {row['unit']}" if row["height"] else ""
    pairs = {
        "title": (row["title"], work.title), "year": (row["year"], work.year), "medium": (row["medium"], work.medium),
        "size": (size, work.size), "takes": (row["takes"], str(len(work.photos))), "goes": (goes, work.goes),
        "held": (bool(row["held"]), work.held), "public": (bool(row["public since"]), work.public),
    }  # fmt: skip
    name = work.title or work.photos[0]
    return [f"{name}: {key} is {seen!r}, not {known!r}" for key, (seen, known) in pairs.items() if seen != known]


def _json(studio: Studio) -> str:
    rows, objects = studio.rows(), studio.works()
    said = {work["photo"].rsplit("/", 1)[-1]: work for work in objects}
    if set(said) != set(rows):
        return f"the lists differ by {set(said) ^ set(rows)}"
    keys = ("title", "year", "medium", "height", "width", "unit", "kind", "price")
    cells = {photo: {**row, "kind": row["kind seen"]} for photo, row in rows.items()}
    return "; ".join(f"{p}: {k}" for p, row in cells.items() for k in keys if row[k].lstrip("'") != str(said[p][k]))


def _inbox(studio: Studio) -> str:
    found = {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in _photos(studio.inbox)}
    return "; ".join(name for name, sha in studio.hashes.items() if found.get(name) != sha)


def _photos(folder: Path) -> list[Path]:
    return [p for p in folder.rglob("*") if p.suffix in (".jpg", ".png")]


def _questions(studio: Studio, meant: tuple[str, ...]) -> str:
    folder = studio.folder / "needs-a-look"
    asked = [why.read_text("utf-8").splitlines()[0].rsplit("/", 1)[-1] for why in folder.glob("*/why.txt")]
    strays = [p.name for p in folder.iterdir() if not (p / "why.txt").is_file()]
    same = sorted(asked) == sorted(meant) and studio.status()["questions"] == len(meant)
    return "" if same and not strays else f"asked: {sorted(asked)}; without why.txt: {strays}"


def _places(studio: Studio) -> str:
    wrong = []
    listed = Counter(
        f"{sent['destination']}/{sent['file']}"
        for work in studio.works() for sent in work["went_to"] if sent["state"] == "in place"
    )  # fmt: skip
    there = {
        f"{folder.name}/{file}" for folder in (studio.folder / "ready").iterdir() for file in studio.ready(folder.name)
    }
    wrong += [f"{file} is listed {count} times" for file, count in listed.items() if count > 1]
    wrong += [f"{file} is listed, not there" for file in set(listed) - there]
    wrong += [f"{file} is there, not listed" for file in there - set(listed)]
    shas = Counter(_sha(p) for p in (studio.folder / "ready").rglob("*.jpg"))
    withdrawn = {_sha(p) for p in (studio.folder / "records/withdrawn").rglob("*.jpg")}
    wrong += [f"{count} equal pictures in ready" for count in shas.values() if count > 1]
    return "; ".join(wrong + ["a picture in ready also lies in withdrawn" for sha in shas if sha in withdrawn])


def _sha(place: Path) -> str:
    return hashlib.sha256(place.read_bytes()).hexdigest()


def _ahead(studio: Studio) -> str:
    said = studio.run("check", "--ahead")[1]
    return "" if "nothing to do" in said else said


def _status(studio: Studio) -> str:
    status = studio.status()
    return "" if not (status["set_aside"] or status["not_given_out"] or status["waiting"]) else str(status)


def _log(studio: Studio) -> str:
    lines = [json.loads(line) for line in (studio.folder / "records/log.jsonl").read_text("utf-8").splitlines()]
    return "; ".join(str(line) for line in lines if str(line.get("level", "")).lower() in ("error", "critical"))
