"""Scores the light on real photos of pages: `python -m tests.lab pages FOLDER`, a folder of photos with labels.json.

labels.json: name -> {"quad": four corners in px (they may lie a little outside the photo), "kind": ...}. The outline is
given, so that light alone counts. The photos are no part of the project; `pages_paper.tsv` says what paper each shows.
"""

import itertools
import json
import multiprocessing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from autoprep.correction.camera import without_contrast
from autoprep.correction.planning import Wishes, corrected, make_plan
from autoprep.correction.squaring import rectify
from autoprep.domain import Outline
from autoprep.files.reading import read_photo
from autoprep.imaging.arrays import AnyArray, Float32, Float64
from autoprep.imaging.colour import lab_from_linear
from autoprep.imaging.transfer import encode_fast, quantise8, srgb_to_linear
from autoprep.wishes.tables import CAMERA_CONTRAST

_TILES = 6
_PAPERS = Path(__file__).with_name("pages_paper.tsv")
# White paper that comes out darker or more tinted than this is left grey or tinted.
LEAST_L, MOST_C = 94.0, 2.0
EVEN_L = 1.5


@dataclass(frozen=True)
class Page:
    """One page: what it was taken for, and L*, a*, b* of its bare paper in 36 tiles, as shot and corrected."""

    name: str
    paper: str
    found: str
    before: Float64
    after: Float64
    pictures: tuple[AnyArray, AnyArray]

    @property
    def grey(self) -> bool:
        """Whether white paper was left grey or tinted."""
        lightness, a, b = np.median(self.after, axis=0)
        return bool(lightness < LEAST_L or np.hypot(a, b) > MOST_C)

    @property
    def tints(self) -> Float64:
        """(36,) C* of the tiles."""
        return np.asarray(np.hypot(self.after[:, 1], self.after[:, 2]))


def tiles(picture: AnyArray) -> Float64:
    """(H, W, 3) uint8 sRGB -> (36, 3): L* (75th percentile), a*, b* (median) of equal tiles within the rim."""
    lab = lab_from_linear(srgb_to_linear(picture.astype(np.float64) / 255))
    height, width = lab.shape[:2]
    ys = (height * (0.05 + 0.9 * np.arange(_TILES + 1) / _TILES)).astype(int)
    xs = (width * (0.05 + 0.9 * np.arange(_TILES + 1) / _TILES)).astype(int)
    found = []
    for y0, y1 in itertools.pairwise(ys):
        for x0, x1 in itertools.pairwise(xs):
            tile = lab[y0:y1, x0:x1].reshape(-1, 3)
            found.append([np.quantile(tile[:, 0], 0.75), np.median(tile[:, 1]), np.median(tile[:, 2])])
    return np.array(found)


def measure_page(job: tuple[Path, dict[str, Any], str]) -> Page:
    """Correct one page within its known outline."""
    cv2.setNumThreads(1)
    path, label, paper = job
    photo = read_photo(path.read_bytes())
    quad = np.clip(np.array(label["quad"], np.float64), 0, photo.full_px)
    outline = Outline(corners_px=tuple((float(x), float(y)) for x, y in quad), confidence=1.0)  # type: ignore[arg-type]
    lit = without_contrast(photo, CAMERA_CONTRAST)
    plan, judged, _ = make_plan(lit, outline, Wishes())
    work = rectify(lit, plan.geometry).linear
    before, after = _code(work), _code(corrected(work, plan))
    return Page(path.name, paper, judged.paper, tiles(before), tiles(after), (before, after))


def _code(linear: Float32) -> AnyArray:
    return quantise8(encode_fast(linear))


def score_pages(folder: Path, out: Path | None, processes: int = 2) -> list[Page]:
    """Score every labelled page of a folder; prints a line for each that is not right, and the figures."""
    labels = json.loads((folder / "labels.json").read_text(encoding="utf-8"))
    rows = [line.split("\t") for line in _PAPERS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    papers = dict(rows)
    jobs = [(folder / name, labels[name], papers.get(name, "white")) for name in sorted(labels)]
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        pages = pool.map(measure_page, jobs, chunksize=2)
    white = [page for page in pages if page.paper == "white"]
    for page in white:
        if page.grey or page.after[:, 0].std() > EVEN_L:
            lightness, a, b = np.median(page.after, axis=0)
            print(f"{page.name:<14} {page.found:<6} L* {lightness:5.1f} C* {np.hypot(a, b):4.1f} ", end="")
            print(f"sd L* {page.after[:, 0].std():4.1f}{'  left grey or tinted' if page.grey else ''}")
    print(f"white pages {len(white)}, left grey or tinted {sum(page.grey for page in white)}")
    print(f"tint of a tile, 95th percentile C* {np.percentile(np.concatenate([p.tints for p in white]), 95):.2f}")
    print(f"even (sd of L* below {EVEN_L}): {sum(p.after[:, 0].std() < EVEN_L for p in white)} of {len(white)}")
    if out is not None:
        _write_sheets(pages, out)
    return pages


def _write_sheets(pages: list[Page], out: Path) -> None:
    """Before and after, two pages to a row, ten to a sheet."""
    out.mkdir(parents=True, exist_ok=True)
    cells = [_cell(page) for page in pages]
    for first in range(0, len(cells), 10):
        part = cells[first : first + 10]
        part += [np.full_like(part[0], 90)] * (len(part) % 2)
        sheet = np.vstack([np.hstack(part[k : k + 2]) for k in range(0, len(part), 2)])
        cv2.imwrite(str(out / f"pages-{first // 10}.jpg"), sheet[..., ::-1])


def _cell(page: Page) -> AnyArray:
    cell = np.full((440, 740, 3), 90, np.uint8)
    for at, picture in zip((0, 370), page.pictures, strict=True):
        scale = min(360 / picture.shape[1], 415 / picture.shape[0])
        small = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        cell[20 : 20 + small.shape[0], at : at + small.shape[1]] = small
    lightness, a, b = np.median(page.after, axis=0)
    text = f"{page.name} {page.found} L* {lightness:.0f} C* {np.hypot(a, b):.1f}"
    cv2.putText(cell, text, (4, 14), cv2.FONT_HERSHEY_SIMPLEX, 0.45, (255, 255, 255), 1, cv2.LINE_AA)
    return cell
