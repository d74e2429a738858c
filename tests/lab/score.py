"""Scores the outline and the correction on report seeds: `python -m tests.lab score --photos 6`.

Measures per photo: Jaccard index in the work's own frame (ICDAR 2015, SmartDoc challenge 1), error of the
proportion in percent, and, with the true outline given, L*, C* and spread of L* on truly bare paper, mean and 95th
percentile of CIEDE2000 against the truth. The truth is media-relative (paper at L* 96.5) on white, natural and cream
paper, and absolute, at the best single exposure, for paintings and toned paper.
"""

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

import cv2
import numpy as np

from autoprep.correction.outline import find_outline
from autoprep.correction.planning import Wishes, corrected, make_plan, rectify
from autoprep.domain import CorrectionPlan, Declined, Outline, Photo
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import Float32, Float64
from autoprep.imaging.colour import LUMINANCE, ciede2000, lab_fast, luminance_of_lightness
from autoprep.imaging.geometry import overlap_in_frame
from autoprep.imaging.transfer import encode_fast, quantise8

from .scene import Shot, encode_jpeg, random_spec, render
from .works import KINDS

REPORT_SEEDS = 20000
PAPER_Y = luminance_of_lightness(96.5)


@dataclass(frozen=True)
class Row:
    """One photo's measures; NaN where a measure does not apply."""

    seed: int
    kind: str
    desk: str
    paper: str
    jaccard: float
    confidence: float
    ratio_error_percent: float
    kind_found: str
    paper_found: str
    paper_lightness: float
    paper_chroma: float
    paper_lightness_sd: float
    delta_e: float
    delta_e_95: float
    delta_e_as_shot: float


def score_one(seed: int, kind: str, long_px: int, sheet: list[Float32] | None = None) -> Row:
    """Render, process and measure one photo."""
    spec = random_spec(seed, kind)
    shot = render(spec, long_px)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    outline = find_outline(photo)
    found = None if isinstance(outline, Declined) else outline
    jaccard = 0.0 if found is None else overlap_in_frame(shot.truth.corners_px, found.array())
    size = shot.truth.size_mm
    ratio = np.nan
    if found is not None and jaccard > 0.95:
        plan, _, _ = make_plan(photo, found, Wishes())
        ratio = abs(plan.geometry.ratio / (size[0] / size[1]) - 1) * 100
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    given = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    plan, judged, _ = make_plan(photo, given, Wishes(size_mm=size))
    light = _measure(photo, plan, shot, sheet)
    return Row(
        seed, kind, spec.desk, shot.truth.work.paper, jaccard, 0.0 if found is None else found.confidence, float(ratio),
        judged.kind, judged.paper, *light,
    )  # fmt: skip


def _measure(photo: Photo, plan: CorrectionPlan, shot: Shot, sheet: list[Float32] | None) -> tuple[float, ...]:
    work = rectify(photo, plan.geometry, 250_000)
    after = corrected(work.linear, plan)
    height, width = after.shape[:2]
    art = np.asarray(cv2.resize(shot.truth.work.reflectance, (width, height), interpolation=cv2.INTER_AREA), np.float32)
    clear = np.asarray(
        cv2.resize(shot.truth.work.bare.astype(np.float32), (width, height), interpolation=cv2.INTER_AREA)
    )
    bare, relative = clear > 0.99, shot.truth.work.paper in ("white", "natural", "cream")
    truth = art / np.median(art[bare], axis=0) * PAPER_Y if relative and bare.sum() > 50 else art
    inner = np.zeros((height, width), bool)
    inner[height // 25 : -height // 25, width // 25 : -width // 25] = True
    if sheet is not None:
        sheet += [work.linear, after, truth.astype(np.float32)]
    blur = [
        np.asarray(cv2.GaussianBlur(p.astype(np.float32), (0, 0), 1.5), np.float32) for p in (after, work.linear, truth)
    ]
    if not relative or bare.sum() <= 50:
        blur[0], blur[1] = (_best_exposure(picture, blur[2], inner) for picture in blur[:2])
    difference = ciede2000(lab_fast(blur[0]), lab_fast(blur[2]))[inner]
    as_shot = ciede2000(lab_fast(blur[1]), lab_fast(blur[2]))[inner].mean()
    paper = lab_fast(blur[0])[bare & inner] if relative and bare.sum() > 50 else np.full((1, 3), np.nan, np.float32)
    return (
        float(paper[:, 0].mean()), float(np.hypot(*paper[:, 1:].mean(axis=0))), float(paper[:, 0].std()),
        float(difference.mean()), float(np.percentile(difference, 95)), float(as_shot),
    )  # fmt: skip


def _best_exposure(picture: Float32, truth: Float32, inner: Float64) -> Float32:
    """The picture times the one factor that brings its mean luminance to the truth's: exposure is not in question."""
    return np.asarray(
        picture * np.float32((truth[inner] @ LUMINANCE).mean() / max((picture[inner] @ LUMINANCE).mean(), 1e-6))
    )


def score(photos: int, long_px: int, out: Path | None, kinds: Iterable[str] = KINDS) -> list[Row]:
    """Score `photos` report seeds of every kind; prints the table, and writes JSON and sheets into `out`."""
    rows: list[Row] = []
    for kind in kinds:
        sheet: list[Float32] = []
        for seed in range(REPORT_SEEDS, REPORT_SEEDS + photos):
            rows.append(score_one(seed, kind, long_px, sheet if out and len(sheet) < 24 else None))
        if out is not None:
            out.mkdir(parents=True, exist_ok=True)
            cv2.imwrite(str(out / f"{kind}.jpg"), _sheet(sheet))
    print_table(rows)
    if out is not None:
        (out / "score.json").write_text(json.dumps([asdict(row) for row in rows], indent=1), encoding="utf-8")
    return rows


def _sheet(pictures: list[Float32]) -> Float32:
    """As shot, corrected, truth; two photos to a row. (H, W, 3) uint8 BGR for writing."""
    cells = []
    for picture in pictures:
        code = quantise8(encode_fast(picture))[..., ::-1]
        scale = 300 / max(code.shape[:2])
        small = cv2.resize(code, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        cell = np.full((304, 304, 3), 90, np.uint8)
        cell[: small.shape[0], : small.shape[1]] = small
        cells.append(cell)
    while len(cells) % 6:
        cells.append(np.full((304, 304, 3), 90, np.uint8))
    return np.vstack([np.hstack(cells[k : k + 6]) for k in range(0, len(cells), 6)])


_MEANS = (
    "jaccard",
    "paper_lightness",
    "paper_chroma",
    "paper_lightness_sd",
    "delta_e",
    "delta_e_95",
    "delta_e_as_shot",
)
_PAPER_CLASSES = {"none": ("none",), **dict.fromkeys(("white", "natural", "cream"), ("white", "tinted"))}


def print_table(rows: list[Row], sure: float = 0.9) -> None:
    """A line per kind and one for all."""
    print("kind         n  Jaccard  sure%  wrong%  ratio95%  kind%  paper%   L*    C*   sd L*  dE00  dE95  as shot")
    for kind in [*dict.fromkeys(row.kind for row in rows), "all"]:
        part = [row for row in rows if kind in (row.kind, "all")]
        passed = [row for row in part if row.confidence >= sure]
        ratios = [row.ratio_error_percent for row in part if np.isfinite(row.ratio_error_percent)]
        mean = {key: _mean([getattr(row, key) for row in part]) for key in _MEANS}
        right_paper = np.mean([row.paper_found in _PAPER_CLASSES.get(row.paper, ("toned",)) for row in part]) * 100
        print(
            f"{kind:<11} {len(part):>3}  {mean['jaccard']:.4f}  {100 * len(passed) / len(part):>5.0f}  "
            f"{100 * _mean([float(row.jaccard < 0.95) for row in passed] or [0.0]):>6.1f}  "
            f"{np.percentile(ratios, 95) if ratios else np.nan:>8.2f}  "
            f"{100 * np.mean([row.kind == row.kind_found for row in part]):>5.0f}  {right_paper:>6.0f}  "
            f"{mean['paper_lightness']:>5.1f} {mean['paper_chroma']:>5.2f}  {mean['paper_lightness_sd']:>5.2f}  "
            f"{mean['delta_e']:>5.2f} {mean['delta_e_95']:>5.2f}  {mean['delta_e_as_shot']:>6.2f}"
        )


def _mean(values: list[float]) -> float:
    """The mean of what applies; NaN when nothing does."""
    finite = [value for value in values if np.isfinite(value)]
    return float(np.mean(finite)) if finite else float("nan")
