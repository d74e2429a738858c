"""Several reference shots tell of one photo: what was told first holds, and others add what is missing."""

import pytest

from autoprep.correction.references import Reference
from autoprep.domain import ChartFit, LightField, ToldBy
from autoprep.job.reference_shots import _joined


def chart(delta_e: float) -> ChartFit:
    return ChartFit(gain=(1, 1, 1), bend=(1, 0), matrix=((1, 0, 0), (0, 1, 0), (0, 0, 1)), delta_e=delta_e)


FIRST = Reference(name="chart.jpg", told_by=ToldBy(chart="chart.jpg"), chart=chart(1.0), exposure=0.5)
OTHER = Reference(
    name="later chart.jpg", told_by=ToldBy(chart="later chart.jpg"), chart=chart(2.0), exposure=0.25, gain=(1, 1, 2)
)
CARD = Reference(name="card.jpg", told_by=ToldBy(colour="card.jpg"), gain=(1.1, 1, 0.9), exposure=0.125)


def test_the_first_chart_holds_with_its_exposure() -> None:
    joined = _joined(FIRST, OTHER)
    assert (joined.chart, joined.exposure) == (FIRST.chart, 0.5)
    assert joined.told_by.chart == "chart.jpg"
    assert joined.gain == OTHER.gain


def test_a_chart_that_comes_second_brings_its_exposure() -> None:
    joined = _joined(CARD, FIRST)
    assert (joined.chart, joined.exposure, joined.gain) == (FIRST.chart, 0.5, CARD.gain)
    assert joined.told_by == ToldBy(chart="chart.jpg", colour="card.jpg")
    assert joined.name == "chart.jpg and card.jpg"


def test_what_has_no_chart_keeps_the_exposure() -> None:
    assert _joined(CARD, Reference(name="board.jpg", exposure=9.0)).exposure == 0.125
    assert _joined(FIRST, CARD).exposure == 0.5


@pytest.mark.parametrize("first", [True, False])
def test_the_light_over_the_frame_is_that_of_the_first(first: bool) -> None:
    one, two = (
        Reference(name=name, told_by=ToldBy(light=name), light=LightField(rows=1, cols=1, log_light=((x, x, x),)))
        for name, x in (("a.jpg", 0.1), ("b.jpg", 0.2))
    )
    joined = _joined(one if first else CARD, two)
    assert joined.light == (one if first else two).light
    assert joined.told_by.light == ("a.jpg" if first else "b.jpg")
