"""A photo that one picture fills from border to border: a work where paper shows or somebody says so."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from autoprep.correction.outline import Survey
from autoprep.correction.outline.answers import corners_of
from autoprep.domain import Outline, WorkFacts
from autoprep.imaging.arrays import UInt8
from autoprep.imaging.geometry import rectangle
from autoprep.job.orders import JobOrder
from autoprep.job.which_outline import may_be_view
from autoprep.told import explanations
from autoprep.wishes.tables import Settings
from tests import photos
from tests.service.engines import run_once
from tests.test_job import done, order_for

SIZE = (900, 600)
WHOLE = Outline(corners_px=corners_of(rectangle(*SIZE)), confidence=0.99, cut=(True,) * 4, evidence={"eye_chance": 1.0})


def sea() -> UInt8:
    """A sky over the sea behind Saltmere's rocks, of many colours and rough all over: a view, or a painting of it."""
    width, height = SIZE
    rng = np.random.default_rng(5)
    y = np.linspace(0, 1, height)[:, None, None]
    tones = np.where(y < 0.45, (150, 175, 215), (40, 85, 110)) * (1.2 - 0.5 * y)
    clouds = cv2.GaussianBlur(rng.normal(0, 1, (height, width)), (0, 0), 25)[..., None] * 900
    made = tones + clouds * (1, 0.7, 0.4) + rng.normal(0, 9, (height, width, 1))
    for x in range(0, width, 60):
        cv2.ellipse(made, (x, 520), (70, int(rng.uniform(40, 140))), 0, 0, 360, tuple(rng.uniform(20, 90, 3)), -1)
    return np.asarray(np.clip(made, 0, 255), np.uint8)


def page() -> UInt8:
    """A drawing on white paper that reaches beyond the photo."""
    width, height = SIZE
    made = np.full((height, width, 3), 226.0) + np.random.default_rng(6).normal(0, 2, (height, width, 1))
    for x in range(100, 800, 45):
        cv2.line(made, (x, 150), (x + 80, 430), (40, 40, 48), 3, cv2.LINE_AA)
    return np.asarray(np.clip(made, 0, 255), np.uint8)


@pytest.fixture
def all_is_work(monkeypatch: pytest.MonkeyPatch) -> None:
    """The eye takes every photo for a work that fills it, and is sure of it."""
    monkeypatch.setattr(Survey, "outline", lambda _: WHOLE)
    monkeypatch.setattr(Survey, "outlines", lambda _, most: [WHOLE][:most])
    monkeypatch.setattr(Survey, "several", False)
    monkeypatch.setattr(Survey, "shows_work", lambda _: (1.0, {}))


pytestmark = pytest.mark.usefixtures("all_is_work", "looked_at_once")


def seen(settings: Settings, picture: UInt8, **facts: object) -> JobOrder:
    return replace(order_for(settings, photos.jpeg(picture)), facts=WorkFacts(**facts))  # type: ignore[arg-type]


def for_works(settings: Settings) -> Settings:
    return settings.model_copy(update={"inbox": settings.inbox.model_copy(update={"holds": "works"})})


def test_a_view_is_a_question_and_a_drawn_page_is_a_work(studio: Settings) -> None:
    record = done(seen(studio, sea())).record
    assert (record.outcome, record.reasons) == ("needs a look", (explanations.FILLED,))
    assert record.choices == (WHOLE,)
    assert not record.outputs
    assert done(seen(studio, page())).record.outcome == "ready"


def test_who_says_that_it_is_a_work_is_not_asked(studio: Settings) -> None:
    assert done(seen(studio, sea(), kind="painting")).record.outcome == "ready"
    assert done(seen(for_works(studio), sea())).record.outcome == "ready"


def test_both_answers_are_understood(studio: Settings) -> None:
    for name, kept in (("Kelp.jpg", "choice-1.jpg"), ("Shore.jpg", "no-work.jpg")):
        (studio.folders.inbox / name).write_bytes(photos.jpeg(sea(), quality=90 + len(name)))
        assert run_once(studio)[name].outcome == "needs a look"
        folder = studio.folders.needs_a_look / Path(name).stem
        for picture in folder.glob("*.jpg"):
            if picture.name not in (kept, "where.jpg"):
                picture.unlink()
    after = run_once(studio)
    assert (after["Kelp.jpg"].outcome, after["Shore.jpg"].outcome) == ("ready", "no work seen")


@pytest.mark.parametrize("words", ["price: 240\n", "medium: oil on board\n", "Kelp at low water\n", "art only\n"])
def test_whatever_is_said_of_works_settles_it_afterwards_too(studio: Settings, words: str) -> None:
    photo = studio.folders.inbox / "IMG_7.jpg"
    photo.write_bytes(photos.jpeg(sea()))
    assert run_once(studio)[photo.name].outcome == "needs a look"
    photo.with_suffix(".txt").write_text(words, encoding="utf-8")
    assert run_once(studio)[photo.name].outcome == "ready"


def test_a_picture_without_any_level_of_paper_is_a_view(studio: Settings) -> None:
    y, x = np.mgrid[0 : SIZE[1], 0 : SIZE[0]]
    waves = 128 + 100 * np.stack([np.sin(x / 31 + y / 57), np.sin(x / 43 - y / 29 + 1), np.sin(y / 37 + 2)], axis=-1)
    record = done(seen(studio, np.asarray(waves, np.uint8))).record
    assert "bare_paper_share" not in record.kind_evidence
    assert record.reasons == (explanations.FILLED,)


@pytest.mark.parametrize(
    ("share", "chance", "cut", "view"),
    [
        (0.2, 1.0, 4, True), (0.35, 1.0, 4, False), (0.43, 0.8, 4, True), (0.6, 0.8, 4, False),
        (0.0, 1.0, 3, False),  # an edge of it is seen
    ],
)  # fmt: skip
def test_paper_tells_a_work_from_a_view(share: float, chance: float, cut: int, view: bool) -> None:
    sides = tuple(k < cut for k in range(4))
    outline = WHOLE.model_copy(update={"cut": sides, "evidence": {"eye_chance": chance}})
    assert may_be_view(outline, share) is view
