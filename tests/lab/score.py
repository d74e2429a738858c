"""Scores the outline and the correction: `python -m tests.lab score --photos 20`, a table per kind, JSON, sheets.

Light and colour are measured with the true outline and size given; what the found outline costs stands in its own
columns. Report seeds are the default; no tuning uses them.
"""

import json
import multiprocessing
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from autoprep.correction.camera import without_contrast
from autoprep.correction.outline import find_outline
from autoprep.correction.planning import Wishes, make_plan, plan_edges
from autoprep.correction.references import read_reference
from autoprep.domain import Declined, Outline, ReferenceShot
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray, Float32
from autoprep.imaging.transfer import encode_fast, quantise8
from autoprep.job.reference_shots import Seen, seen_with, usable, with_references
from autoprep.pixels import Photo
from autoprep.wishes.tables import CAMERA_CONTRAST

from .flatwork import blank_board
from .measures import (
    LEAST_BARE,
    ColourMeasures,
    OutlineMeasures,
    bare_share,
    ends_of_picture,
    measure_colour,
    measure_outline,
    ratio_error_percent,
    straightness_percent,
)
from .scene import Shot, encode_jpeg, random_spec, render, rough_spec
from .works import KINDS

REPORT_SEEDS = 20000
SURE = 0.9
_NOTHING = OutlineMeasures(0.0, np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class Row:
    """One photo: what it was, what was found, and the measures."""

    seed: int
    kind: str
    desk: str
    paper: str
    bare: float
    shadow: str
    glare: float
    confidence: float
    kind_found: str
    paper_found: str
    ratio_percent: float
    bow_percent: float
    told: str
    outline: OutlineMeasures
    colour: ColourMeasures


REFERENCES = ("none", "chart", "grey card", "chart apart", "board apart")
"""What tells the light: nothing, a chart or card beside the work, or a chart or a plain board in a photo of its own."""
# A reference beside the work needs room: the work fills less of the photo and lies to the left or at the top.
_ROOM: dict[str, Any] = {"fill": 0.62, "offset": (-0.9, -0.9), "over": "none"}


def _seen(shot: Shot, photo: Photo, outline: Outline, reference: str, long_px: int) -> Seen:
    if not reference.endswith("apart"):
        return with_references(photo, outline, reference == "grey card", ())
    # Another photo in the same light, with the white balance kept: of a chart, or of a plain board in the work's place.
    if reference == "chart apart":
        other = render(replace(shot.spec, reference="chart", **_ROOM), long_px)
        said: ReferenceShot = "colour chart"
    else:
        plain = replace(shot.spec, over="none", shadow="none", glare=0.0)
        other, said = render(plain, long_px, blank_board(shot.truth.work), placed_for=shot.truth.work), "blank board"
    told = usable(read_reference(read_photo(encode_jpeg(other, other.spec.jpeg_quality)), said, reference))
    return Seen(photo) if isinstance(told, Declined) else seen_with(told, photo)


def score_one(
    seed: int, kind: str, long_px: int, sheet: list[Float32] | None = None, reference: str = "none",
    rough: bool = False, find: bool = True,
) -> Row:  # fmt: skip
    """Render, process and measure one photo; rough: in the light and with the phone of everyday.

    find: whether its outline is looked for too; otherwise what is measured of that is as where none was found.
    """
    beside = {} if reference == "none" or reference.endswith("apart") else {"reference": reference, **_ROOM}
    spec = (rough_spec if rough else random_spec)(seed, kind, None, **beside)
    shot = render(spec, long_px)
    photo = read_photo(encode_jpeg(shot, spec.jpeg_quality))
    found = find_outline(photo) if find else Declined(reason="not looked for")
    ratio = bow = np.nan
    outline, confidence = _NOTHING, 0.0
    if not isinstance(found, Declined):
        plan = plan_edges(photo, found, Wishes())
        outline, confidence = measure_outline(shot, found, plan.geometry, ends_of_picture(plan)), found.confidence
        if outline.jaccard > 0.95:
            ratio, bow = ratio_error_percent(shot, plan.geometry), straightness_percent(shot, plan.geometry)
    corners = tuple((float(x), float(y)) for x, y in shot.truth.corners_px)
    given = Outline(corners_px=corners, confidence=1.0)  # type: ignore[arg-type]
    seen = _seen(shot, photo, given, reference, long_px)
    lit = seen.photo if seen.chart is not None else without_contrast(photo, CAMERA_CONTRAST)
    plan, judged, _ = make_plan(
        lit, given, Wishes(size_mm=shot.truth.size_mm), seen.chart, seen.reference, seen.absolute
    )
    colour = measure_colour(lit, plan, shot, sheet, as_shot=photo)
    return Row(
        seed, kind, spec.desk, shot.truth.work.paper, bare_share(shot), spec.shadow, spec.glare, confidence,
        judged.kind, judged.paper, ratio, bow, _told(seen), outline, colour,
    )  # fmt: skip


def _told(seen: Seen) -> str:
    return "chart" if seen.chart is not None else "" if seen.reference is None else seen.reference.name


def _job(job: tuple[int, str, int, bool, str, bool]) -> tuple[Row, list[AnyArray]]:
    cv2.setNumThreads(1)
    seed, kind, long_px, drawn, reference, rough = job
    sheet: list[Float32] | None = [] if drawn else None
    row = score_one(seed, kind, long_px, sheet, reference, rough)
    return row, [_cell(picture) for picture in sheet or []]


def score(
    photos: int, long_px: int, out: Path | None, kinds: Iterable[str] = KINDS, first: int = REPORT_SEEDS,
    reference: str = "none", rough: bool = False, processes: int = 2,
) -> list[Row]:  # fmt: skip
    """Score `photos` seeds of every kind from `first`; prints the table, and writes JSON and sheets into `out`.

    processes: so many of their own; one alone is this process itself.
    """
    kinds = list(kinds)
    # Every kind has seeds of its own: the same seed makes the same desk and the same mistakes.
    seeds = {kind: range(first + k * photos, first + (k + 1) * photos) for k, kind in enumerate(kinds)}
    jobs = [(seed, kind, long_px, out is not None, reference, rough) for kind in kinds for seed in seeds[kind]]
    if processes > 1:
        with multiprocessing.get_context("spawn").Pool(processes) as pool:
            done = pool.map(_job, jobs, chunksize=1)
    else:
        done = [_job(job) for job in jobs]
    rows = [row for row, _ in done]
    print_table(rows)
    if out is not None:
        out.mkdir(parents=True, exist_ok=True)
        for kind in kinds:
            cells = [cell for row, drawn in done if row.kind == kind for cell in drawn]
            cv2.imwrite(str(out / f"{kind}.jpg"), _sheet(cells))
        (out / "score.json").write_text(json.dumps([asdict(row) for row in rows], indent=1), encoding="utf-8")
    return rows


def _cell(picture: Float32) -> AnyArray:
    code = quantise8(encode_fast(picture))[..., ::-1]
    scale = 300 / max(code.shape[:2])
    small = cv2.resize(code, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    cell = np.full((304, 304, 3), 90, np.uint8)
    cell[: small.shape[0], : small.shape[1]] = small[:304, :304]
    return cell


def _sheet(cells: list[AnyArray]) -> AnyArray:
    """As shot, corrected, truth; two photos to a row. (H, W, 3) uint8 BGR for writing."""
    cells = cells + [np.full((304, 304, 3), 90, np.uint8)] * (-len(cells) % 6)
    return np.vstack([np.hstack(cells[k : k + 6]) for k in range(0, len(cells), 6)])


_PAPER_CLASSES = {"none": ("none",), **dict.fromkeys(("white", "natural", "cream"), ("white", "tinted"))}


def sure(rows: list[Row]) -> list[Row]:
    """The rows whose outline would pass without a question."""
    return [row for row in rows if row.confidence >= SURE]


def wrong_percent(rows: list[Row]) -> float:
    """Share of the passed outlines that overlap the truth by less than 0.95."""
    return 100 * mean(float(row.outline.jaccard < 0.95) for row in sure(rows))


def paper_right(row: Row) -> bool:
    """Whether the paper's class was seen; a watercolour without bare paper has none to be seen."""
    if row.bare < LEAST_BARE:
        return row.paper_found == "none"
    return row.paper_found in _PAPER_CLASSES.get(row.paper, ("toned",))


COLUMNS: tuple[tuple[str, str, Callable[[list[Row]], float]], ...] = (
    ("Jacc", ".4f", lambda rows: mean(row.outline.jaccard for row in rows)),
    ("sure%", ".0f", lambda rows: 100 * len(sure(rows)) / len(rows)),
    ("wrong%", ".1f", wrong_percent),
    ("corner%", ".2f", lambda rows: median(row.outline.corner_percent for row in sure(rows))),
    ("lost", ".1f", lambda rows: median(row.outline.lost_px for row in sure(rows))),
    ("left", ".1f", lambda rows: median(row.outline.left_px for row in sure(rows))),
    ("ratio95", ".2f", lambda rows: high(row.ratio_percent for row in rows)),
    ("bow95", ".2f", lambda rows: high(row.bow_percent for row in rows)),
    ("kind%", ".0f", lambda rows: 100 * mean(float(row.kind == row.kind_found) for row in rows)),
    ("paper%", ".0f", lambda rows: 100 * mean(float(paper_right(row)) for row in rows)),
    ("L*", ".1f", lambda rows: mean(row.colour.paper_lightness for row in rows)),
    ("C*", ".2f", lambda rows: mean(row.colour.paper_chroma for row in rows)),
    ("sdL*", ".2f", lambda rows: mean(row.colour.paper_sd for row in rows)),
    ("uneven%", ".1f", lambda rows: mean(row.colour.uneven_percent for row in rows)),
    ("noise", ".2f", lambda rows: mean(row.colour.noise_lightness for row in rows)),
    ("wash%", ".0f", lambda rows: mean(row.colour.wash_percent for row in rows)),
    ("top%", ".2f", lambda rows: mean(row.colour.new_top_percent for row in rows)),
    ("dE00", ".2f", lambda rows: mean(row.colour.delta_e for row in rows)),
    ("dE95", ".2f", lambda rows: mean(row.colour.delta_e_95 for row in rows)),
    ("asshot", ".2f", lambda rows: mean(row.colour.delta_e_as_shot for row in rows)),
)
"""The table's columns: heading, format, and what is taken of the rows."""


def print_table(rows: list[Row]) -> None:
    """A line per kind, one for all, and one for photos without shadow or glare."""
    print(f"{'kind':<11}   n " + " ".join(f"{name:>7}" for name, _, _ in COLUMNS))
    parts = {kind: [row for row in rows if row.kind == kind] for kind in dict.fromkeys(row.kind for row in rows)}
    parts["all"] = rows
    parts["bare paper"] = [row for row in rows if row.bare >= LEAST_BARE and row.paper_found != "none"]
    parts["washed over"] = [row for row in rows if row.kind == "watercolour" and row.bare < LEAST_BARE]
    parts["no shadow"] = [row for row in rows if row.shadow == "none" and row.glare == 0]
    parts["told"] = [row for row in rows if row.told]
    parts["hard desk"] = [row for row in rows if row.desk in ("clutter", "cloth", "sheets", "white")]
    for name, part in parts.items():
        if part:
            print(f"{name:<11} {len(part):>3} " + " ".join(f"{take(part):>7{form}}" for _, form, take in COLUMNS))


def mean(values: Iterable[float]) -> float:
    """The mean of what applies; NaN when nothing does."""
    finite = [value for value in values if np.isfinite(value)]
    return float(np.mean(finite)) if finite else float("nan")


def median(values: Iterable[float]) -> float:
    """The median of what applies."""
    finite = [value for value in values if np.isfinite(value)]
    return float(np.median(finite)) if finite else float("nan")


def high(values: Iterable[float]) -> float:
    """The 95th percentile of what applies."""
    finite = [value for value in values if np.isfinite(value)]
    return float(np.percentile(finite, 95)) if finite else float("nan")
