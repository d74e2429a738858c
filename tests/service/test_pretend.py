"""The worker that only pretends does what the real one does: what the service decides is tried with it."""

import os
from collections.abc import Mapping
from typing import Any

import pytest

from autoprep.domain import WorkFacts
from autoprep.job.orders import JobOrder, JobResult
from autoprep.job.story import process
from autoprep.wishes.destinations import Preset
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.pretend import photo, pretend

pytestmark = pytest.mark.usefixtures("looked_at_once")

_TABLES: Mapping[str, Mapping[str, Any]] = {
    "square": {"width_px": 400, "height_px": 400},
    "shop": {"long_side_px": 500, "max_kb": 1},
    "jury": {"long_side_px": 300, "rights": "none", "name": "{nn}"},
}


def order_in(settings: Settings, data: bytes, facts: WorkFacts) -> JobOrder:
    tables = {name: Preset.model_validate(table) for name, table in _TABLES.items()}
    settings = settings.model_copy(update={"destinations": tables})
    places = {name: settings.folders.ready / name / "01.jpg" for name in tables}
    for place in places.values():
        place.parent.mkdir(parents=True, exist_ok=True)
    return JobOrder(
        "j1", "Reeds.jpg", "0" * 64, data, settings, places, settings.folders.needs_a_look / "Reeds",
        settings.folders.records / "proof" / "j1", facts,
    )  # fmt: skip


def told(result: JobResult) -> dict[str, Any]:
    """What the service goes by: outcome, what was made, what waits and why, and the files that come with a question."""
    record = result.record
    names = {place.name for _, place in result.parts if "needs-a-look" in place.parts}
    for part, _ in result.parts:
        os.unlink(part)
    return {
        "outcome": record.outcome, "made": {out.destination for out in record.outputs}, "held": set(record.held),
        "kinds": record.held_kinds, "failed": set(record.failed), "none": record.offers_none, "plan": bool(record.plan),
        "asks": {name for name in names if not name.startswith("choice-")} - {"corners.html"},
        "choices": any(name.startswith("choice-") for name in names),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("said", "answer"),
    [
        ({}, "found"),
        ({"title": "By Wren Halloway"}, "found"),
        ({"hold": True}, "found"),
        ({"outline": "ask"}, "ask"),
        ({"outline": "ask", "medium": "ink"}, "ask"),
        ({"not_a_work": True}, "nothing"),
    ],
)
def test_it_says_what_the_real_one_says(studio: Settings, said: dict[str, Any], answer: str) -> None:
    facts = WorkFacts(**said)
    real = told(process(order_in(studio, photos.jpeg(), facts), lambda *_: None))
    assert told(pretend(order_in(studio, photo(1, answer=answer), facts))) == real
    assert real["held"] or real["choices"] or real["outcome"] == "no work seen"
