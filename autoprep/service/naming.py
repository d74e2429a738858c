"""The names under which finished files are published: numbers are given then, and no file of the artist's is met."""

import os
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from autoprep.ledger import Job, Ledger, Rendition
from autoprep.service.keeping import at_place, beside, is_alike, is_ours, next_free, under_another_name
from autoprep.service.places import counted, misplaced, places_for, plain_place
from autoprep.service.rule import Known
from autoprep.wishes.tables import Settings


def unnumbered(
    settings: Settings, ledger: Ledger, job: str, made: Mapping[str, Rendition], places: Mapping[str, Path]
) -> frozenset[str]:
    """The destinations of these places in which a photo's file has no number yet: the one in its name is a guess."""
    coming = ledger.coming(job)

    def has(name: str) -> bool:
        old = made.get(name)
        lies = old is not None and old.state == "in place" and old.path == places[name]
        return lies or (name in coming and coming[name][0] == places[name])

    return frozenset(name for name in places if counted(settings, name) and not has(name))


def named(
    settings: Settings,
    ledger: Ledger,
    job: Job,
    known: Known,
    takes: list[Known],
    rows: dict[str, Rendition],
    parts: list[tuple[Path, Path]],
) -> tuple[dict[str, Rendition], list[tuple[Path, Path]]]:
    """The same under the names that the files get now, and the names kept for them.

    Numbers that were open are given; a new photo that is known for a take now has the names of its work.
    """
    ordered = {name: row.path for name, row in rows.items() if row.path is not None}
    again = unnumbered(settings, ledger, job.job, known.made, ordered)
    if takes and not job.work:
        again = frozenset(ordered)
        ledger.release(job.job, again)
    known = replace(known, misplaced=misplaced(settings, ledger, known))
    places = places_for(settings, ledger, known, sorted(again), takes, may_ask=False) if again else {}
    ledger.reserve(job.job, {**ordered, **places}, [take.view.job for take in takes])
    moved = {ordered[name]: place for name, place in places.items() if place != ordered[name]}
    for name, row in rows.items():
        if row.path in moved and row.output is not None:
            place = moved[row.path]
            rows = {
                **rows,
                name: replace(row, path=place, output=at_place(row.output, place, settings.studio)),
            }
    told = {name: row for name, row in rows.items() if name not in known.made}
    rows = {**rows, **{name: _explained(settings, ledger, known, row) for name, row in told.items()}}
    return rows, [(part, moved.get(final, final)) for part, final in parts]


def _explained(settings: Settings, ledger: Ledger, known: Known, row: Rendition) -> Rendition:
    """The same with the reason, where a first file has a number at its end because of a file of the artist's."""
    if row.path is None or row.output is None or row.destination not in settings.destinations:
        return row
    plain = plain_place(settings, row.destination, known)
    met = row.path != plain and os.path.lexists(plain) and not ledger.is_taken(plain)
    return row if not met or counted(settings, row.destination) else replace(row, output=beside(row.output, plain.name))


def beside_foreign_files(
    settings: Settings,
    ledger: Ledger,
    job: Job,
    rows: dict[str, Rendition],
    parts: list[tuple[Path, Path]],
    before: Mapping[str, Rendition],
    handed: Mapping[Path, tuple[str, Rendition]],
) -> tuple[dict[str, Rendition], list[tuple[Path, Path]]]:
    """The same with other names where a file lies that is not, or no longer, ours."""
    coming, moved = ledger.coming(job.job), dict[Path, Path]()
    for name, row in rows.items():
        if row.path is None or row.output is None or not row.path.exists():
            continue
        old = before.get(name)
        known = [row.output.sha256, *coming.get(name, (None, ()))[1]]
        known += [old.output.sha256] if old and old.output and is_alike(old.path, row.path) else []
        replaced = handed[row.path][1].output if row.path in handed else None
        known += [replaced.sha256] if replaced is not None else []
        if not is_ours(row.path, *known):
            place = next_free(row.path, ledger)
            moved[row.path] = place
            output = under_another_name(row.output, place, settings.studio)
            rows = {**rows, name: replace(row, path=place, output=output)}
    fresh = {name: row.path for name, row in rows.items() if row.path in moved.values() and row.path is not None}
    if fresh:
        ledger.reserve(job.job, fresh)
    return rows, [(part, moved.get(final, final)) for part, final in parts]
