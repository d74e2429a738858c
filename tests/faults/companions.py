"""`python -m tests.faults.companions --each 20`: what phones and programs put beside a photo, before it and after it.

A photo, its sidecar (.xmp of a program, .aae of a phone) and its film (.MOV) arrive in all six orders, each after the
one before has been looked at, and once the photo comes alone. The pictures must be the same to the byte, with one job
each, and no record of what came beside. About a minute and a half. Linux.
"""

import argparse
import hashlib
import io
import itertools
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from tests.faults.small import Trial, studio_in, until
from tests.service.test_watch import variants

ORDERS = tuple(itertools.permutations(("photo", "sidecar", "film")))
_APART_S = 1.2  # the inbox is looked at every half second, and a file settles within a tenth

# The film of a phone begins so; nothing in it is read.
_FILM = b"\0\0\0\x14ftypqt  \0\0\0\0qt  \0\0\0\x08wide" + bytes(range(256)) * 400
_XMP = (
    b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
    b'<rdf:Description xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmp:Rating="3"/></rdf:RDF></x:xmpmeta>'
)
_AAE = b'<?xml version="1.0"?><plist version="1.0"><dict><key>adjustmentBaseVersion</key></dict></plist>'


@dataclass(frozen=True)
class Beside:
    """A photo and what comes beside it."""

    name: str
    files: dict[str, tuple[str, bytes]]


def besides(count: int) -> Iterator[Beside]:
    """So many photos, every second a HEIC, and each in one of the ways in which companions are named."""
    for number, data in enumerate(variants(count)):
        stem, heic = f"IMG_{number:04}", bool(number % 2)
        name = f"{stem}.HEIC" if heic else f"{stem}.JPG"
        sidecar = ((f"{stem}.AAE", _AAE), (f"{stem}.xmp", _XMP), (f"{name}.xmp", _XMP))[number % 3]
        film = (f"{stem}.MOV", f"{stem}.mov", f"{stem}.MP4")[number // 2 % 3]
        yield Beside(name, {"photo": (name, _heic(data) if heic else data), "sidecar": sidecar, "film": (film, _FILM)})


def _heic(data: bytes) -> bytes:
    out = io.BytesIO()
    with Image.open(io.BytesIO(data)) as image:
        image.save(out, "HEIF", quality=90)
    return out.getvalue()


@dataclass(frozen=True)
class Came:
    """What came of one order: each photo's finished files by their bytes, and what was wrong."""

    pictures: dict[str, str]
    wrong: list[str]


def arrive(folder: Path, order: tuple[str, ...], count: int, limit_s: float = 120) -> Came:
    """So many photos with what comes beside them, in this order."""
    trial, all_of_them = Trial(studio_in(folder)), list(besides(count))
    trial.start()
    until(trial.listens, 30)
    for step, kind in enumerate(order):
        time.sleep(_APART_S if step else 0)
        for beside in all_of_them:
            name, data = beside.files[kind]
            (trial.settings.folders.inbox / name).write_bytes(data)
            if kind == "photo":
                trial.put[name] = data
    wrong = trial.finish(limit_s)
    records = trial.records()
    wrong += [] if len(records) == count else [f"{len(records)} records"]
    pictures = {
        record.photo: " ".join(sorted(_sha(trial.settings.studio / out.path) for out in record.outputs))
        for record in records
    }
    return Came(pictures, wrong)


def _sha(place: Path) -> str:
    return hashlib.sha256(place.read_bytes()).hexdigest()


def compare(folder: Path, orders: tuple[tuple[str, ...], ...], count: int) -> tuple[int, list[str]]:
    """Photos that came out under these orders, and what was wrong: with the photo alone, each comes out the same."""
    alone, came_out = arrive(folder / "alone", ("photo",), count), 0
    wrong = [*alone.wrong]
    for number, order in enumerate(orders):
        came, said = arrive(folder / str(number), order, count), ", ".join(order)
        wrong += [f"{said}: {line}" for line in came.wrong]
        wrong += [
            f"{said}: {name} is another" for name, sha in alone.pictures.items() if came.pictures.get(name) != sha
        ]
        came_out += len(came.pictures)
    return came_out, wrong


def main() -> None:
    """Let them arrive and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=20, help="so many photos in each order")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="autoprep-") as folder:
        came_out, wrong = compare(Path(folder), ORDERS, given.each)
    print(f"{len(ORDERS)} orders, {came_out} photos, {len(wrong)} things wrong")
    print("\n".join(wrong))


if __name__ == "__main__":
    main()
