"""The studio's finished files: withdrawn, brought back. Nothing is deleted, and nothing of the artist's is moved.

A file is the service's own while its bytes are those that the ledger has of it: what the artist has edited, or laid
there, is theirs, and stays where it is.
"""

import contextlib
import hashlib
import os
import shutil
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

from autoprep.domain import JobRecord, OutputRecord
from autoprep.files.storage import sync_folder
from autoprep.ledger import Ledger, Rendition, key_of
from autoprep.wishes.tables import Settings


def withdrawn_place(settings: Settings, job: str, rendition: Rendition) -> Path:
    """Where a file lies that was withdrawn: records/withdrawn/<job>/<destination>/<name>."""
    assert rendition.path is not None
    return settings.folders.records / "withdrawn" / job / rendition.destination / rendition.path.name


def is_ours(place: Path, *sha256: str) -> bool:
    """Whether a plain file lies there, with one of these contents.

    Raises OSError where one lies there and can't be read: taken for somebody else's, it would be left out for good.
    """
    try:
        return not place.is_symlink() and hashlib.sha256(place.read_bytes()).hexdigest() in sha256
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError):
        return False


def take_out(settings: Settings, job: str, rendition: Rendition) -> bool:
    """Move a file of ours to where withdrawn ones lie; whether it lies there now. One that was edited stays."""
    if rendition.path is None or rendition.output is None:
        return False
    away = withdrawn_place(settings, job, rendition)
    if is_ours(rendition.path, rendition.output.sha256):
        _move(rendition.path, away)
        return True
    return is_ours(away, rendition.output.sha256)


def take_all_out(settings: Settings, ledger: Ledger, job: str, files: Iterable[Rendition]) -> None:
    """Take out several files of a photo; those that stay, because they were edited, are kept in mind."""
    for rendition in files:
        if not take_out(settings, job, rendition) and rendition.path and os.path.lexists(rendition.path):
            ledger.keep_stayed(job, rendition)


def with_stayed(settings: Settings, ledger: Ledger, record: JobRecord) -> JobRecord:
    """The record with the files that stayed, so that they are known where the ledger is lost."""
    places = ledger.stayed_of(record.job)
    stayed = tuple((destination, told_as(place, settings.studio)) for destination, place in places)
    return record.model_copy(update={"stayed": stayed})


def told_as(place: Path, studio: Path) -> str:
    """A place as records have it: from the studio on, which may be moved."""
    return str(place.relative_to(studio) if place.is_relative_to(studio) else place)


def is_alike(one: Path | None, two: Path | None) -> bool:
    """Whether two places are one on some disk."""
    return one is not None and two is not None and key_of(one) == key_of(two)


def left_behind(rows: Mapping[str, Rendition], before: Mapping[str, Rendition]) -> dict[bool, list[Rendition]]:
    """The files that are over when others are in place; under True those that must go first, because some disks take
    the two names for one: they differ in capitals alone, or in how letters are put together."""
    found: dict[bool, list[Rendition]] = {True: [], False: []}
    for name, row in rows.items():
        old = before.get(name)
        if old is not None and old.state == "in place" and (old.path != row.path or row.state != "in place"):
            found[is_alike(old.path, row.path) and row.state == "in place"].append(old)
    return found


def keep_aside(settings: Settings, job: str, rendition: Rendition) -> None:
    """The file of ours that another will replace, also where withdrawn ones lie: it is never missing in between."""
    if rendition.path is None or rendition.output is None or not is_ours(rendition.path, rendition.output.sha256):
        return
    away = withdrawn_place(settings, job, rendition)
    away.parent.mkdir(parents=True, exist_ok=True)
    part = away.with_name(f".autoprep-moved-{away.name[-60:]}.part")
    part.unlink(missing_ok=True)
    try:
        os.link(rendition.path, part)
    except OSError:  # another file system, or one without links
        _copy(rendition.path, part)
    part.replace(away)
    part.unlink(missing_ok=True)  # where both were the same file, nothing was renamed
    with contextlib.suppress(OSError):
        sync_folder(away.parent)


def bring_back(
    settings: Settings,
    job: str,
    rendition: Rendition,
    ledger: Ledger,
    takes: Collection[str] = (),
    instead: Path | None = None,
) -> Rendition | None:
    """The withdrawn file in its place again, or beside what lies there now; None where it is lost.

    takes: other photos of the work, which lend names that they have no file in place under; instead: where it goes
    because another work has its number.
    """
    assert rendition.output is not None
    assert rendition.path is not None
    away, sha256, output = withdrawn_place(settings, job, rendition), rendition.output.sha256, rendition.output
    place = instead or rendition.path
    if instead is not None:
        note = "another work has the number that it had; it was given the next one"
        output = at_place(output, place, settings.studio).model_copy(update={"notes": (*output.notes, note)})
    back = is_ours(place, sha256)
    if not back and not is_ours(away, sha256):
        return None
    if not back and (os.path.lexists(place) or (instead is None and ledger.is_taken(place, (job, *takes)))):
        place = next_free(place, ledger)
        output = under_another_name(output, place, settings.studio)
    if not back:
        _move(away, place)
    return Rendition(
        rendition.destination, "in place", place, rendition.told, rendition.plan, rendition.settings, rendition.asked,
        output=output,
    )  # fmt: skip


def next_free(place: Path, ledger: Ledger) -> Path:
    """The place under the next number that nobody has."""
    numbered = (place.with_stem(f"{place.stem}-{number}") for number in range(2, 100_000))
    return next(other for other in numbered if not os.path.lexists(other) and not ledger.is_taken(other))


def under_another_name(output: OutputRecord, place: Path, studio: Path) -> OutputRecord:
    """The output beside a file that is the artist's, and why."""
    return at_place(beside(output, Path(output.path).name), place, studio)


def beside(output: OutputRecord, name: str) -> OutputRecord:
    """The output with the word that a file of this name is the artist's."""
    note = f"{name} was there already and was not made, or was changed, by someone else; it stays"
    return output.model_copy(update={"notes": (*output.notes, note)})


def at_place(output: OutputRecord, place: Path, studio: Path) -> OutputRecord:
    """The output as it lies there."""
    return output.model_copy(update={"path": told_as(place, studio)})


def sweep(settings: Settings, ledger: Ledger) -> int:
    """After a crash: files that were moved away, and of which the ledger says that they are in place, come back."""
    back = 0
    root = settings.folders.records / "withdrawn"
    for folder in sorted(root.iterdir()) if root.is_dir() else ():
        for rendition in ledger.renditions(folder.name).values():
            if rendition.state == "in place" and rendition.path is not None and rendition.output is not None:
                away = withdrawn_place(settings, folder.name, rendition)
                with contextlib.suppress(OSError):  # the start goes on; the next one tries it again
                    if not os.path.lexists(rendition.path) and is_ours(away, rendition.output.sha256):
                        _move(away, rendition.path)
                        back += 1
    return back


def _move(source: Path, target: Path) -> None:
    """Also to another file system, and durably."""
    target.parent.mkdir(parents=True, exist_ok=True)
    try:
        source.replace(target)
        source.unlink(missing_ok=True)  # where both were one file already (keep_aside), nothing was renamed
    except OSError:
        part = target.with_name(f".autoprep-moved-{target.name[-60:]}.part")
        _copy(source, part)
        part.replace(target)
        source.unlink()
    for folder in {source.parent, target.parent}:
        with contextlib.suppress(OSError):
            sync_folder(folder)


def _copy(source: Path, target: Path) -> None:
    """Durably."""
    shutil.copyfile(source, target)
    with target.open("rb+") as handle:
        os.fsync(handle.fileno())
