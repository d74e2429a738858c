"""Numbers of a destination that numbers its files: the first that no name bears, whatever a name says besides."""

from dataclasses import replace

import pytest

from autoprep.domain import WorkFacts
from autoprep.service.called import Called
from autoprep.wishes.destinations import Preset
from autoprep.wishes.names import opening
from autoprep.wishes.tables import Settings

SAID = WorkFacts(title="Sea Thrift", year="2026")


def called(studio: Settings, template: str, **rules: object) -> Called:
    preset = Preset(long_side_px=100, name=template, **rules)  # type: ignore[arg-type]
    return Called(studio.model_copy(update={"destinations": {"call": preset}}), "call", "IMG_1.jpg", SAID)


@pytest.mark.parametrize(("template", "rules"), [
    ("{nn} {title}", {}), ("{last}_{nn}_{title}", {"name_letters": "plain"}), ("{year}{nn}", {}),
    ("{title} {title} {title} {nn}", {"name_max": 20}), ("wh-{nn} {title}", {"name_case": "upper"}),
])  # fmt: skip
@pytest.mark.parametrize("last", [1, 9, 98, 99, 130])
def test_the_next_number_is_the_first_that_no_name_bears(
    studio: Settings, template: str, rules: dict[str, object], last: int
) -> None:
    one = called(studio, template, **rules)
    own = [one.place(number).stem for number in range(1, last + 1)]
    assert one.next_number(own) == last + 1
    assert one.next_number([*own[:-1], "notes", "", f"{own[-1]}-2"]) == last + 1
    missing = last // 2 + 1
    rest = [stem for number, stem in enumerate(own, 1) if number != missing]
    wrong = [one.place(missing).stem.replace(f"{missing:02d}", f"{missing:05d}"), "007 Jug"]
    assert one.next_number([*rest, *wrong]) == missing


@pytest.mark.parametrize(
    ("shown", "stem", "words", "number"),
    [
        ("IMG_1.jpg", "Thrift 07", "", 7),
        ("IMG_12.jpg", "IMG_12 07", "", 7),  # what the photo's own name says is not the work's number
        ("IMG_1.jpg", "Thrift 26 07", "made in 26", 7),
        ("IMG_1.jpg", "Thrift 26 07", "", None),
    ],
)
def test_the_number_in_an_earlier_name_is_found_where_it_is_plain(
    studio: Settings, shown: str, stem: str, words: str, number: int | None
) -> None:
    one = replace(called(studio, "wh-{nn} {title}"), shown=shown)
    assert one.earlier_number(stem, words) == number


def test_a_long_list_of_names_costs_no_more_templates_than_a_short_one(
    studio: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    filled = 0

    def counting(*words: object) -> str:
        nonlocal filled
        filled += 1
        return opening(*words)  # type: ignore[arg-type]

    monkeypatch.setattr("autoprep.service.called.opening", counting)
    one = called(studio, "{nn} {title}")
    assert one.next_number(f"{number:02d} Jug" for number in range(1, 5001)) == 5001
    assert filled < 10


def test_where_a_name_has_no_room_for_a_number_none_is_free(studio: Settings) -> None:
    assert called(studio, "{nn} {title}", name_max=2).next_number(f"{n:02d}" for n in range(1, 100)) > 99_999
