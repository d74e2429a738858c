"""What a finished file depends on: the correction plan, the settings, and those of the artist's words that reach it."""

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from autoprep.domain import CorrectionPlan, WorkFacts
from autoprep.job.folders import takes_files
from autoprep.job.orders import RENDERER
from autoprep.ledger import Rendition
from autoprep.rendering.mark_shape import shape_of
from autoprep.service.rule import told_of
from autoprep.told.explanations import BY_FOLDER, BY_MARK
from autoprep.wishes.fonts import font_problem
from autoprep.wishes.names import counts, file_stem
from autoprep.wishes.places import font_path
from autoprep.wishes.tables import Settings

_IN_RIGHTS = ("title", "year", "medium", "size_mm", "unit", "inventory", "description", "alt_text", "keywords")
# A blind destination waits while the words on the work name the artist, though they do not reach its file.
_WATCHED = ("names the artist",)
_OTHER: dict[str, Any] = {
    "title": "Xq7z", "year": "0001", "medium": "Xq7z", "size_mm": (7.0, 9.0), "unit": "mm", "inventory": "Xq7z",
}  # fmt: skip


def plan_digest(plan: CorrectionPlan | None) -> str:
    """A digest of a plan; empty without one."""
    return "" if plan is None else _digest(plan.model_dump(mode="json"))


# What a table says of lists, of when its pictures are made and of the call itself is in none of its files.
_IN_NO_FILE = {"when", "public", "listing", "prices", "checked"}


def settings_digest(settings: Settings, name: str) -> str:
    """A digest of all that the settings say of one destination's files, and of the renderer's version.

    The mark counts where it is drawn, the rights where they are written; the artist's name always: blind pictures wait
    while the words on the work hold it.
    """
    preset = settings.destinations[name]
    said = [preset.model_dump(mode="json", exclude=_IN_NO_FILE), settings.artist.model_dump(mode="json")]
    said += [settings.mark.model_dump(mode="json")] if preset.mark else []
    said += [settings.rights.model_dump(mode="json")] if preset.rights == "full" else []
    return _digest([RENDERER, *said])


def settings_digests(settings: Settings, name: str) -> tuple[str, str]:
    """By which digests files are known that were made by these settings: by this version, and by those up to 0.31."""
    tables = (settings.destinations[name], settings.mark, settings.rights, settings.artist)
    before = _digest([RENDERER, *(table.model_dump(mode="json") for table in tables)])
    return settings_digest(settings, name), before


_OF_TABLE = "table "
# A destination waits by its own table when a limit can't be kept (which has no kind), and in these cases.
_BY_TABLE = ("", "too few pixels", "glare")


def table_digest(settings: Settings, name: str) -> str:
    """A digest of one destination's table alone: what a photo that is not fit for it waits by."""
    return _OF_TABLE + _digest(settings.destinations[name].model_dump(mode="json"))


def mended(settings: Settings, made: Iterable[Rendition]) -> frozenset[str]:
    """The destinations that could not be made, or for which the photo was not fit, by settings that are others now,
    or by a picture or font of the mark that can be read now, or a folder that can be written to.

    Of those that wait only the table counts: with another mark or name a photo has no more pixels, and to try each
    again would read all their photos. What an earlier version left waiting says nothing of its table.
    """
    there = [row for row in made if row.destination in settings.destinations]
    return frozenset(row.destination for row in there if _is_mended(settings, row))


def _is_mended(settings: Settings, row: Rendition) -> bool:
    if row.why == BY_MARK and row.state in ("failed", "in place"):
        if not settings.mark.picture:
            return not font_problem(font_path(settings))
        return not shape_of(settings.studio / settings.mark.picture).problem
    if row.why == BY_FOLDER and row.state in ("failed", "in place"):
        return takes_files(settings, settings.folders.ready / row.destination)
    if row.state == "failed":
        return row.settings not in settings_digests(settings, row.destination)
    by_table = row.state == "held" and row.why in _BY_TABLE and row.settings.startswith(_OF_TABLE)
    return by_table and row.settings != table_digest(settings, row.destination)


def _digest(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True).encode()).hexdigest()[:24]


def told(settings: Settings, name: str, facts: WorkFacts, shown: str) -> dict[str, Any]:
    """The artist's words that reach one destination's file, its rights or its name, as JSON has them."""
    preset = settings.destinations[name]
    words = {"hold", *_in_name(settings, name, facts, shown)}
    words |= set(_IN_RIGHTS) if preset.rights == "full" else set(_WATCHED)
    if preset.size is not None:
        words.add("size_mm")
    if preset.mark and "{year}" in settings.mark.text:
        words.add("year")
    if preset.rights == "none" and preset.title:
        words.add("title")
    return {word: told_of(facts, shown, settings.artist.traces, word) for word in sorted(words)}


def _in_name(settings: Settings, name: str, facts: WorkFacts, shown: str) -> list[str]:
    """The words that the file's name depends on, found by changing one after the other."""

    def stem(said: WorkFacts, photo: str) -> str:
        return file_stem(settings.destinations[name], name, said, settings.artist.name, photo, 1)

    usual = stem(facts, shown)
    found = [word for word in _OTHER if stem(facts.model_copy(update={word: _OTHER[word]}), shown) != usual]
    found += ["order"] if counts(settings.destinations[name]) else []
    return [*found, "photo"] if stem(facts, "Xq8z.jpg") != usual else found


def same_name(settings: Settings, name: str, was: dict[str, Any], facts: WorkFacts, shown: str) -> bool:
    """Whether a file that was named by these words is still called so."""
    words = [word for word in _in_name(settings, name, facts, shown) if word in was]
    return all(was[word] == told_of(facts, shown, settings.artist.traces, word) for word in words)
