"""What a photo's correction is asked for: the settings, and the artist's word on the work, which wins."""

import json
from pathlib import Path
from typing import Any

import pytest

from autoprep.correction.planning import Wishes
from autoprep.domain import WorkFacts
from autoprep.job.story import wishes_of
from autoprep.wishes.settings import load
from autoprep.wishes.tables import Settings

TABLE = {
    "paper": "keep", "paper_lightness": 94.0, "sharpening": 0.4, "flat": False, "camera_contrast": 0.2,
}  # fmt: skip


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    file = tmp_path / "autoprep.toml"
    lines = (f"{key} = {json.dumps(value)}" for key, value in TABLE.items())
    file.write_text('[artist]\nname = "Wren Halloway"\n[correction]\n' + "\n".join(lines), encoding="utf-8")
    file.with_name("destinations.toml").write_text("[site]\nlong_side_px = 900\n", encoding="utf-8")
    return load(file)


def test_without_a_word_the_settings_are_asked_for(settings: Settings) -> None:
    assert wishes_of(settings, WorkFacts()) == Wishes("keep", 94.0, 0.4, flat=False)


@pytest.mark.parametrize("usual", ["keep", "clean"])
@pytest.mark.parametrize(("word", "paper"), [(True, "keep"), (False, "clean")])
def test_the_word_on_the_paper_wins(settings: Settings, usual: Any, word: bool, paper: str) -> None:
    usual_settings = settings.model_copy(update={"correction": settings.correction.model_copy(update={"paper": usual})})
    asked = wishes_of(usual_settings, WorkFacts(keep_paper=word))
    assert (asked.paper, asked.paper_asked) == (paper, True)
    unsaid = wishes_of(usual_settings, WorkFacts())
    assert (unsaid.paper, unsaid.paper_asked) == (usual, False)


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ({"kind": "ink"}, {"kind": "ink"}),
        ({"paper": "toned"}, {"said_paper": "toned"}),
        ({"lighter": 0.3}, {"lighter": 0.3}),
        ({"turn": 270}, {"turn": 270}),
        ({"as_shot": True}, {"as_shot": True}),
    ],
    ids=lambda value: next(iter(value)),
)
def test_what_is_said_of_a_work_reaches_its_correction(
    settings: Settings, said: dict[str, Any], asked: dict[str, Any]
) -> None:
    found, usual = (wishes_of(settings, WorkFacts(**facts)) for facts in (said, {}))
    differing = {key: value for key, value in vars(found).items() if value != vars(usual)[key]}
    assert differing == asked
