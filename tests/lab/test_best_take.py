"""The measure of the best take must itself be right: truth orders takes as anybody would, and choices are counted."""

from dataclasses import replace
from typing import Any

import pytest

from autoprep.correction.planned import planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import JobRecord, Outline
from autoprep.files.reading import read_photo

from .best_take import TAKES, Take, chosen, off_truth, rank_by_truth, taken
from .scene import SceneSpec, encode_jpeg, random_spec, render
from .works import FlatWork, make_work

_LONG_PX = 640


def off(spec: SceneSpec, work: FlatWork) -> float:
    shot = render(spec, _LONG_PX, work)
    photo = read_photo(encode_jpeg(shot, 95))
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, _, _ = make_plan(photo, outline, Wishes())
    return off_truth(shot, planned(photo, plan).picture(600_000))


@pytest.mark.parametrize("kind", ["ink", "painting"])
def test_what_spoils_a_photo_moves_it_from_the_truth(kind: str) -> None:
    calm = random_spec(
        30010, kind, "wood", glare=0.0, shadow="none", over="none", distortion=0.0, motion_px=0.0, noise=0.2,
        blur_px=0.6, tilt_deg=0.0, pan_deg=0.0, fill=0.85, white_balance=1.0, tint=(0.0, 0.0),
    )  # fmt: skip
    work = make_work(kind, calm.work_seed, _LONG_PX)
    least = off(calm, work)
    assert least < (5 if kind == "ink" else 12)  # nothing tells a painting's light
    spoilt: tuple[dict[str, Any], ...] = ({"blur_px": 12.0}, {"motion_px": 30.0}, {"noise": 4.0}, {"glare": 0.8})
    for worse in spoilt:
        assert off(replace(calm, **worse), work) > least + 0.05, worse


def test_the_takes_of_a_work_differ_and_come_again() -> None:
    specs = [taken(30011, "ink", number) for number in range(TAKES)]
    assert len({spec.seed for spec, _ in specs}) == TAKES
    assert {spec.work_seed for spec, _ in specs} == {30011}
    assert specs[2] == taken(30011, "ink", 2)
    troubles = [trouble for seed in range(30012, 30062) for k in range(TAKES) for trouble in taken(seed, "ink", k)[1]]
    assert len(set(troubles)) == 9
    assert any(not taken(seed, "ink", 0)[1] for seed in range(30012, 30032))  # some are calm


def test_choices_are_ranked_by_truth() -> None:
    def take(off: float, blur_px: float) -> Take:
        measures = {"work_long_side_px": 3000.0, "blur_px": blur_px}
        record = JobRecord(job="j", photo="p.jpg", sha256="", outcome="ready", measures=measures)
        return Take(record, (), off)

    takes = [take(3.0, 2.0), take(1.0, 1.5), take(2.0, 1.0)]
    assert chosen(takes) == 2
    assert [rank_by_truth(takes, number) for number in range(3)] == [3, 1, 2]
    assert chosen(takes[:1]) == 0
