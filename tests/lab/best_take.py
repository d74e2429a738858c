"""Is the best take used? `python -m tests.lab best-take --works 20`: five takes of each work, ranked by truth.

A work is photographed five times from one place in one light, and each time something may go wrong: focus, a shaking
hand, noise, exposure, glare, a shadow, a slant, too far away. Truth is how far the corrected picture is from the flat
work; the service knows nothing of it. Its choice counts as right where it is the best or the second best by truth.
"""

import multiprocessing
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from autoprep.correction.planned import planned
from autoprep.correction.planning import Wishes, make_plan
from autoprep.domain import JobRecord, Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32
from autoprep.imaging.colour import ciede2000, lab_fast
from autoprep.imaging.likeness import likeness
from autoprep.imaging.transfer import srgb_to_linear
from autoprep.service.rule import is_better
from autoprep.service.takes import merit, merits

from .measures import LEAST_BARE, PAPER_Y, bare_share, best_exposure, flat_truth
from .scene import SceneSpec, Shot, encode_jpeg, random_spec, render
from .works import KINDS, make_work

BEST_SEEDS = 21600
TAKES = 5
_LONG_PX = 2400
_TRUTH_PX = 1_400_000  # of the pictures that are compared with the truth
_UNSEEN = 0.5  # a mean difference in CIEDE2000 that nobody sees
_LOOK_PX = 0.7  # what the eye blends at that size: the noise of single pixels counts less than that of patches


@dataclass(frozen=True)
class Take:
    """One take as the service knows it, what went wrong with it, and how far it is from the truth (CIEDE2000)."""

    record: JobRecord
    troubles: tuple[str, ...]
    off: float


def taken(seed: int, kind: str, take: int) -> tuple[SceneSpec, tuple[str, ...]]:
    """The parameters of one take, and its troubles in words: none to four of them, each of any strength."""
    rng = np.random.default_rng([seed, take, 5])
    calm: dict[str, Any] = {
        "glare": 0.0, "shadow": "none", "over": "none", "distortion": 0.0, "motion_px": 0.0,
        "blur_px": float(rng.uniform(0.6, 1.0)), "noise": float(rng.uniform(0.2, 0.4)),
        "exposure_ev": float(rng.uniform(0.4, 1.0)), "fill": float(rng.uniform(0.78, 0.9)),
        "tilt_deg": float(rng.normal(-3, 2)), "pan_deg": float(rng.normal(0, 2)), "roll_deg": float(rng.normal(0, 2)),
    }  # fmt: skip
    sign = rng.choice([-1.0, 1.0], 2)
    wrong: dict[str, dict[str, Any]] = {
        "out of focus": {"blur_px": float(rng.uniform(1.5, 7.0))},
        "shaken": {"motion_px": float(rng.uniform(3, 18)), "motion_deg": float(rng.uniform(0, 180))},
        "noisy": {"noise": float(rng.uniform(0.8, 2.5))},
        "dim": {"exposure_ev": float(rng.uniform(-1.8, -0.2)), "noise": float(rng.uniform(0.4, 0.9))},
        "burnt out": {"exposure_ev": float(rng.uniform(1.6, 2.6)), "keep_highlights": False},
        "glare": {"glare": float(rng.uniform(0.15, 0.8)), "glare_at": tuple(rng.uniform(-0.8, 0.8, 2).tolist())},
        "shadow": {
            "shadow": str(rng.choice(["hand", "phone", "head", "arm"])),
            "shadow_strength": float(rng.uniform(0.3, 0.85)), "shadow_at": tuple(rng.uniform(-0.8, 0.8, 2).tolist()),
            "shadow_softness_mm": float(rng.uniform(3, 30)), "shadow_turn_deg": float(rng.uniform(0, 360)),
        },
        "slanted": {
            "tilt_deg": float(sign[0] * rng.uniform(8, 25)), "pan_deg": float(sign[1] * rng.uniform(5, 22)),
        },
        "far away": {"fill": float(rng.uniform(0.4, 0.7))},
    }  # fmt: skip
    odds = {"out of focus": 0.35, "shaken": 0.25, "noisy": 0.3, "burnt out": 0.1}
    troubles = tuple(name for name in wrong if rng.random() < odds.get(name, 0.2))
    spec = random_spec(seed, kind, None, **calm)
    for name in troubles:
        spec = replace(spec, **wrong[name])
    return replace(spec, seed=seed * TAKES + take, work_seed=seed), troubles


def off_truth(shot: Shot, picture: Float32) -> float:
    """How far a corrected work is from the flat work: (h, w, 3) sRGB codes 0..1 -> CIEDE2000.

    Drawing and ground count by half each, for a drawing may cover little of its sheet: over the ground tint, shade and
    noise tell, along the drawing's edges also what blur takes away. White, natural and cream paper is compared with
    its own paper white, all else at the best single exposure, as `measures.measure_colour` does.
    """
    after = np.asarray(srgb_to_linear(picture), np.float32)
    art, bare, inner = flat_truth(shot, after.shape[:2])
    relative = shot.truth.work.paper in ("white", "natural", "cream") and bare_share(shot) >= LEAST_BARE
    if relative:
        art = np.asarray(art / np.median(art[bare], axis=0) * PAPER_Y, np.float32)
    seen, true = (np.asarray(cv2.GaussianBlur(p, (0, 0), _LOOK_PX), np.float32) for p in (after, art))
    if not relative:
        seen = best_exposure(seen, true, inner)
    lab = lab_fast(true)
    apart = ciede2000(lab_fast(seen), lab)
    slope = np.hypot(cv2.Sobel(lab[..., 0], cv2.CV_32F, 1, 0), cv2.Sobel(lab[..., 0], cv2.CV_32F, 0, 1))
    drawn = inner & (slope > np.quantile(slope[inner], 0.9))
    return float((apart[drawn].mean() + apart[inner & ~drawn].mean()) / 2)


def _photographed(job: tuple[int, str, int]) -> list[Take]:
    """All takes of one work, measured by the service's own means with the true outline."""
    cv2.setNumThreads(1)
    seed, kind, long_px = job
    work = make_work(kind, seed, round(0.85 * long_px))
    found = []
    for number in range(TAKES):
        spec, troubles = taken(seed, kind, number)
        shot = render(spec, long_px, work)
        photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
        corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
        outline = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
        plan, judged, measures = make_plan(photo, outline, Wishes())
        record = JobRecord(
            job=f"{seed}-{number}", photo=f"{seed}-{number}.jpg", sha256="", outcome="ready", plan=plan,
            kind=judged.kind, measures=measures, likeness=likeness(planned(photo, plan).whole),
        )  # fmt: skip
        found.append(Take(record, troubles, off_truth(shot, planned(photo, plan).picture(_TRUTH_PX))))
    return found


def chosen(takes: Sequence[Take]) -> int:
    """The place of the take that the service would use, coming in one after the other."""
    best = 0
    for number in range(1, len(takes)):
        if is_better(merit(takes[number].record), merit(takes[best].record)):
            best = number
    return best


def rank_by_truth(takes: Sequence[Take], number: int) -> int:
    """1 for the take that is nearest to the truth, and so on."""
    return 1 + sum(take.off < takes[number].off for take in takes)


def score_best(
    works: int, first: int = BEST_SEEDS, processes: int = 2, long_px: int = _LONG_PX, *, wordy: bool = False
) -> list[int]:
    """Photograph `works` works five times each; prints what was missed; returns each choice's rank by truth."""
    jobs = [(first + k, KINDS[k % len(KINDS)], long_px) for k in range(works)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        sets = pool.map(_photographed, jobs, chunksize=1)
    ranks = [rank_by_truth(takes, chosen(takes)) for takes in sets]
    for (seed, kind, _), takes, rank in zip(jobs, sets, ranks, strict=True):
        if rank > 2 or wordy:
            _tell(seed, kind, takes, rank)
    lost = np.array([takes[chosen(takes)].off - min(take.off for take in takes) for takes in sets])
    right = ranks.count(1) + ranks.count(2)
    print(
        f"{works} works: the choice is the best by truth {ranks.count(1)} times, the second {ranks.count(2)}, "
        f"another {works - right} ({100 * right / works:.0f} % best or second)"
    )
    print(
        f"CIEDE2000 given away: mean {lost.mean():.2f}, most {lost.max():.2f}; "
        f"{100 * np.mean(lost < _UNSEEN):.0f} % less than {_UNSEEN}; among the takes of a work lie, in the median, "
        f"{np.median([max(t.off for t in takes) - min(t.off for t in takes) for takes in sets]):.1f}"
    )
    return ranks


def _tell(seed: int, kind: str, takes: Sequence[Take], rank: int) -> None:
    print(f"  {seed} {kind}: the choice is number {rank} by truth")
    for number, take in enumerate(takes):
        parts = ", ".join(f"{name} {value:+.2f}" for name, value in merits(take.record).items() if abs(value) > 0.005)
        mark = "*" if number == chosen(takes) else " "
        print(f"   {mark} {take.off:5.2f} off; {', '.join(take.troubles) or 'calm'}; {parts}")
