"""What a worker's result leaves of each destination, also where words have changed meanwhile."""

from dataclasses import replace

import pytest

from autoprep.domain import WorkFacts
from autoprep.job.orders import JobOrder
from autoprep.service.depends import told
from autoprep.service.results import as_said_now, rows_of
from autoprep.told.explanations import HOLD
from autoprep.wishes.tables import Settings
from tests.service.test_messages import order, result

__all__ = ["order"]  # a fixture


def test_a_file_that_no_word_sent_there_stays_when_words_send_the_work_elsewhere(order: JobOrder) -> None:
    sent = replace(order, facts=WorkFacts(destinations=("square",)))
    now, record = WorkFacts(destinations=("site",)), result(order).record
    left, said, unwanted = as_said_now(sent, record, now, (), set())
    assert (left.places, said.outputs, unwanted) == ({}, (), set(order.places.values()))
    assert as_said_now(sent, record, now, (), {"square"}) == (sent, record, set())
    never = as_said_now(sent, record, WorkFacts(destinations=("site",), not_for=("square",)), (), {"square"})
    assert never[2] == set(order.places.values())


@pytest.mark.parametrize("hold", [True, False])
def test_a_take_on_hold_of_which_nothing_was_tried_waits_for_that(order: JobOrder, hold: bool) -> None:
    record = result(order, outputs=()).record
    rows = rows_of(order.settings, replace(order, facts=WorkFacts(hold=hold)), record, "p", set(), {})
    assert {name: (row.state, row.why, row.path) for name, row in rows.items()} == (
        {"square": ("held", HOLD.kind, None)} if hold else {}
    )


def test_the_year_reaches_a_file_that_tells_no_rights_by_the_mark_alone(studio: Settings) -> None:
    facts = WorkFacts(year="2024")
    square = studio.destinations["square"].model_copy(update={"rights": "none", "mark": True, "file": "{photo}"})

    def year(text: str, mark: bool = True) -> str | None:
        tables = {
            "destinations": {"square": square.model_copy(update={"mark": mark})},
            "mark": studio.mark.model_copy(update={"text": text}),
        }
        said = told(studio.model_copy(update=tables), "square", facts, "a.jpg")
        return said.get("year")

    assert [year("W. Halloway {year}"), year("W. Halloway"), year("{year}", mark=False)] == ["2024", None, None]
